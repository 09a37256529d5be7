"""The sheet laid into the nip, taken out, turned end for end."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics.beam import lay_out
from pinchline.physics.contact import arc_point, deepest, mean_normal
from pinchline.physics.rolls import CONTACT_END, CONTACT_START
from pinchline.physics.support import GIVE
from pinchline.solvers.rolls import REAR, roll_table
from pinchline.solvers.stepped.equilibrium.commit import let_go
from pinchline.solvers.stepped.equilibrium.window import accept, choose_window, settle
from pinchline.solvers.stepped.stepping import give_up, move_rear
from pinchline.solvers.supports import clamped_depths

if TYPE_CHECKING:
    from pinchline.solvers.stepped.state import State


def place(state: State, s: float, move: int) -> bool:
    """Lay the free sheet level into the nip with ``s`` on the nip line.

    Returns False where it cannot lie there: its curl is tighter than a pinch roll, or
    the rear roll stands in its way by more than half its radius.
    """
    length = state.elements * state.beam.length
    state.set_nip(length - s if state.turned else s)
    state.drive = 0.0
    state.noticed = state.noticed._replace(rear_touch=math.nan)
    state.gripped = True
    held = state.energy_held
    state.share = 0.0
    state.reset_rolls(move)
    state.forces[:] = 0.0
    state.forces[:, CONTACT_START] = math.inf
    _lay_level(state)
    n = state.elements
    depths = clamped_depths(state.case, state.sheet.foundation)
    for index, gripped in enumerate(depths):
        depth = deepest(state.beam, state.chain, 0, n, state.rolls[index])
        if depth > gripped - state.shift[index] + 0.02 * state.beam.half:
            return False
    choose_window(state)
    start = _clear_lift(state)
    if start < -0.5 * state.case.machine.rolls.rear_radius:
        return False
    state.set_axes(start, state.shift)
    if not settle(state):
        give_up(state, move, "laying the sheet in the nip", "place it flatter")
    accept(state, move)
    state.lay_arms()
    state.measure_height()
    state.work_clamp += state.energy_held - held
    if start < 0.0:
        move_rear(state, 0.0, move, lambda: False)
    state.lay_arms()
    return True


def _lay_level(state: State) -> None:
    """Lay the free shape out, level at the nip line."""
    c = state.chain
    length = state.beam.length
    element, xi = state.driven()
    c.theta[element] = -c.curvature[element] * length * 0.5 * (1.0 + xi)
    c.x[element] = c.y[element] = 0.0
    lay_out(c.x, c.y, c.theta, c.curvature, length, element, state.elements)
    lay_out(c.x, c.y, c.theta, c.curvature, length, element, 0)
    px, py, *_ = arc_point(c, element, length, xi, *mean_normal(c, element), 0.0)
    c.x[:] -= px
    c.y[:] -= py


def _clear_lift(state: State) -> float:
    """Lift (mm, at most 0) at which the rear roll stands clear of the placed sheet."""
    lift = 0.0
    while lift > -2.0 * state.case.machine.rolls.rear_radius:
        roll = roll_table(state.case.machine, state.case.sheet.thickness, lift)[REAR]
        depth = deepest(state.beam, state.chain, 0, state.elements, roll)
        if depth <= 1.0e-9:
            break
        lift -= max(depth, 0.1)
    return lift


def take_out(state: State, move: int) -> None:
    """Take the sheet out: all moment comes off, the free shape stays at the nip."""
    if not state.gripped:
        return
    held = state.energy_held
    let_go(
        state.beam, state.chain, state.work.scratch, state.energies, 0, state.elements
    )
    state.gripped = False
    state.drive = state.drive_force = 0.0
    state.energy_contact = state.energy_support = 0.0
    state.forces[:, :CONTACT_START] = 0.0
    state.forces[:, CONTACT_START] = math.inf
    state.forces[:, CONTACT_END] = -math.inf
    state.supports[:, GIVE] = 0.0
    state.stand_rolls()
    state.last = state.first
    state.lay_arms()
    state.measure_height()
    state.work_clamp += state.energy_held - held


def turn(state: State) -> None:
    """Turn the free sheet end for end; s stays where it is painted."""
    c = state.chain
    for array in (c.curvature, c.moment, c.low, c.high, c.anchor, c.history):
        array[:] = array[::-1].copy()
    state.peaks[:] = state.peaks[::-1].copy()
    state.turned = not state.turned
    state.set_nip(state.elements * state.beam.length - state.nip)

"""One equilibrium: the window that is solved, its Newton iteration, its acceptance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.physics.contact import roll_forces
from pinchline.physics.rolls import (
    AXIS_X,
    AXIS_Y,
    CONTACT_END,
    CONTACT_START,
    PRESSURE,
    REACH,
    TRAVEL_X,
)
from pinchline.physics.support import support_energy
from pinchline.physics.weight import weigh_arms
from pinchline.solvers.rolls import REAR, UPPER
from pinchline.solvers.stepped.equilibrium.assembly import (
    REPORT_DRIVE,
    REPORT_RESIDUAL,
    Tooling,
)
from pinchline.solvers.stepped.equilibrium.commit import commit
from pinchline.solvers.stepped.equilibrium.newton import CONVERGED, equilibrate
from pinchline.solvers.stepped.equilibrium.predictor import remember

if TYPE_CHECKING:
    from pinchline.solvers.stepped.state import State

MARGIN_ELEMENTS = 12
MARGIN_THICKNESSES = 3.0


def tooling(state: State) -> Tooling:
    """Give rolls and drive as the kernels take them."""
    element, xi = state.driven() if state.gripped else (-1, 0.0)
    return Tooling(
        rolls=state.rolls,
        supports=state.supports,
        arms=state.arms,
        foundation=state.sheet.foundation,
        driven=element,
        xi=xi,
        offset=state.sheet.drive_offset,
    )


def choose_window(state: State) -> None:
    """Nodes between the outermost contacts and a margin; the rest is free arm."""
    length = state.beam.length
    nip = state.nip
    lowest = highest = nip
    touched = [False, False, False]
    for roll, (*_, total, _, near, far) in enumerate(state.forces.tolist()):
        if total > 0.0 and math.isfinite(near):
            touched[roll] = True
            lowest, highest = min(lowest, near), max(highest, far)
    if not touched[REAR]:
        highest = max(highest, nip + state.case.machine.rear.distance)
    margin = max(
        MARGIN_ELEMENTS * length, MARGIN_THICKNESSES * state.case.sheet.thickness
    )
    state.first = max(0, math.floor((lowest - margin) / length))
    state.last = min(state.elements, math.ceil((highest + margin) / length))


def settle(state: State) -> bool:
    """Iterate the window to equilibrium; True when it holds.

    Nothing is committed. ``state.work.report`` says why where it does not hold.
    """
    report = state.work.report
    report[REPORT_DRIVE] = state.drive
    if state.beam.weight > 0.0:
        state.lay_arms()
        weigh_arms(state.beam, state.chain, state.first, state.last, state.arms)
    status, iterations = equilibrate(
        state.beam,
        state.chain,
        tooling(state),
        state.limits,
        state.work,
        state.first,
        state.last,
    )
    state.iterations += iterations
    state.residual = float(report[REPORT_RESIDUAL])
    state.rolls[:, TRAVEL_X:] = 0.0
    if status == CONVERGED:
        state.stand_rolls()
    return status == CONVERGED


def window_holds(state: State) -> bool:
    """Whether the free arms touch nothing; if not, the window grows to take them in."""
    state.lay_arms()
    c = state.chain
    grown = False
    slack = 1.0e-6 * state.beam.half
    for roll in state.rolls:
        for low, high in ((0, state.first), (state.last + 1, state.elements + 1)):
            apart = np.hypot(c.x[low:high] - roll[AXIS_X], c.y[low:high] - roll[AXIS_Y])
            inside = np.flatnonzero(apart < roll[REACH] - slack)
            if inside.size:
                grown = True
                margin = MARGIN_ELEMENTS
                state.first = max(0, min(state.first, low + int(inside[0]) - margin))
                state.last = min(
                    state.elements, max(state.last, low + int(inside[-1]) + margin)
                )
    return not grown


def accept(state: State, move: int) -> None:
    """Commit the equilibrium: history, peaks, energies, forces.

    The multiplier is what the sheet pushes back with along x; the force that works on
    the feed is its part along the sheet at the nip line. Driven off its mid-line by
    ``e``, the sheet moves by ``1 - e kappa`` of the feed there.
    """
    state.drive = float(state.work.report[REPORT_DRIVE])
    element, _ = state.driven()
    ends = state.chain.theta[element : element + 2]
    tilt, bend = 0.5 * (ends[0] + ends[1]), (ends[1] - ends[0]) / state.beam.length
    lag = 1.0 - state.sheet.drive_offset * bend
    state.drive_force = float(-state.drive * math.cos(tilt) * lag)
    commit(
        state.beam,
        state.chain,
        state.first,
        state.last,
        state.work.scratch,
        state.peaks,
        move,
        state.energies,
    )
    state.energy_support = float(support_energy(state.supports))
    state.energy_contact = roll_forces(
        state.beam,
        state.chain,
        state.first,
        state.last,
        state.sheet.foundation,
        state.rolls,
        state.forces,
    )


def memorise(state: State) -> None:
    """Remember this step's places for the step one element of feed later."""
    memory = state.memory
    element, _ = state.driven()
    remember(
        state.chain,
        state.first,
        state.last,
        element,
        memory.places[memory.turn],
        memory.pose[memory.turn],
    )
    memory.turn = (memory.turn + 1) % memory.size
    memory.valid = min(memory.valid + 1, memory.size)


def upper_patch(state: State) -> float:
    """Length of the contact on the upper roll, mm."""
    if state.forces[UPPER, PRESSURE] <= 0.0:
        return 0.0
    return (
        float(state.forces[UPPER, CONTACT_END] - state.forces[UPPER, CONTACT_START])
        + state.beam.length / 8.0
    )

"""The steps of a move: raise or lower the rear roll, feed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.errors import SolverError
from pinchline.physics.contact import deepest
from pinchline.physics.rolls import AXIS_Y, FORCE_Y, PRESSURE, TRAVEL_X, TRAVEL_Y
from pinchline.physics.support import GIVE
from pinchline.solvers.rolls import LOWER, REAR, UPPER
from pinchline.solvers.stepped import leading_edge
from pinchline.solvers.stepped.energy import overcounted_work, work_scale
from pinchline.solvers.stepped.equilibrium.assembly import (
    REPORT_GAP,
    REPORT_NODE,
    REPORT_PIVOTS,
    REPORT_RESIDUAL,
)
from pinchline.solvers.stepped.equilibrium.predictor import carry, predict_from_history
from pinchline.solvers.stepped.equilibrium.window import (
    accept,
    choose_window,
    memorise,
    settle,
    window_holds,
)
from pinchline.solvers.stepped.state import TRIAL_CHAIN

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pinchline.solvers.stepped.state import State

    Record = Callable[[], bool]  # called after each accepted step; True stops the move
    Barred = Callable[[float], bool]  # at a lift: whether the edge cannot go on

FIRST_LIFT = 0.5  # mm
LARGEST_LIFT = 1.0  # mm
SMALLEST_LIFT = 1.0e-3  # mm
FINE_LIFT = 0.05  # mm: no smaller for the energy account's sake
ENERGY_SHARE = 2.0e-3  # of the step's work that a lift step may lose
ENERGY_FLOOR = 3.0e-5  # of the scale of the account
EASY, HARD = 6, 14  # iterations below, above which the lift step grows, shrinks
FINEST_FEED = 32  # parts of a step that is cut back
MEETING = 8  # parts of the steps in which the edge meets the rear roll
MEETING_STEPS = 4  # until the edge has come to slide on it
WINDOW_TRIALS = 6
REACH = 8  # nodes of the arms kept in place from step to step
ARM_CHECK_FEED = 2.0  # mm of feed between looks at the arms


def _open(_lift: float) -> bool:
    """Bar nothing."""
    return False


class Watch:
    """Counts the feed since the arms were last looked at."""

    def __init__(self) -> None:
        self.fed = math.inf

    def due(self, feed: float) -> bool:
        """Add a feed (mm); True when the arms should be looked at."""
        self.fed += feed
        if self.fed < ARM_CHECK_FEED:
            return False
        self.fed = 0.0
        return True


def _guess_rolls(
    state: State, lift: float, shift: NDArray[np.float64], before: State | None
) -> None:
    """First guess with the rolls elsewhere: the last two states extended, or a push."""
    if before is None or before.lift == state.lift:
        rolls, axes = state.rolls[:, : AXIS_Y + 1].copy(), state.axes.copy()
        state.set_axes(lift, shift)
        state.rolls[:, : AXIS_Y + 1] = rolls
        state.rolls[:, TRAVEL_X : TRAVEL_Y + 1] = state.axes - axes
    else:
        c = state.chain
        ratio = (lift - state.lift) / (state.lift - before.lift)
        gives = state.supports[:, GIVE]
        gives += ratio * (gives - before.supports[:, GIVE])
        for name in TRIAL_CHAIN:
            array = getattr(c, name)
            array += ratio * (array - getattr(before.chain, name))
        state.drive += ratio * (state.drive - before.drive)
        state.set_axes(lift, shift)


def _try_lift(
    state: State, lift: float, shift: NDArray[np.float64], before: State | None
) -> bool:
    """Find the equilibrium at a new lift."""
    choose_window(state)
    _guess_rolls(state, lift, shift, before)
    return _settle_with_arms(state)


def _settle_with_arms(state: State) -> bool:
    """Settle; the window grows until the free arms touch nothing."""
    for _ in range(WINDOW_TRIALS):
        if not settle(state):
            return False
        if window_holds(state):
            return True
    return False


def move_rear(
    state: State, target: float, move: int, record: Record, barred: Barred = _open
) -> bool:
    """Raise or lower the rear roll to ``target`` (mm) in steps that adapt.

    Returns True when ``record`` stopped the move, or ``barred`` did as the roll was
    about to meet the edge.

    Raises
    ------
    SolverError
        No equilibrium was found even with the smallest step.
    """
    most = state.case.model.lift_step or LARGEST_LIFT
    step = min(FIRST_LIFT, most)
    before: State | None = None
    start = state.lift
    refused = False
    while abs(target - state.lift) > 1.0e-9:
        here = state.copy()
        rest = target - state.lift
        free = (
            rest < 0.0 and state.forces[REAR, PRESSURE] == 0.0 and state.track is None
        )
        whole = abs(rest) <= step or (free and not refused)
        stride = rest if whole else math.copysign(step, rest)
        lift = target if stride == rest else state.lift + stride
        if rest > 0.0 and leading_edge.meets(state, lift, 0.0) and barred(lift):
            return True
        spent = state.iterations
        state.share = (lift - start) / (target - start)
        shift = state.shift_at(move, state.share)
        found = _try_lift(state, lift, shift, before)
        if found:
            _accept_step(state, here, move, 0.0)
        if not found or (step > FINE_LIFT and _loses_energy(state, here)):
            if found or before is None:
                step = min(step, abs(stride)) / 2.0
            else:
                before = None  # the extension misled: push with the roll instead
            if step < SMALLEST_LIFT:
                give_up(
                    state,
                    move,
                    f"moving the rear roll from {here.lift:.3f} to {lift:.3f} mm",
                    "set a smaller model.lift_step or model.element",
                    here,
                )
            state.restore(here)
            refused = True
            continue
        refused = False
        spent = state.iterations - spent
        if spent <= EASY:
            step = min(1.5 * step, most)
        elif spent >= HARD:
            step = 0.6 * step
        before = here if state.forces[REAR, PRESSURE] > 0.0 else None
        if record():
            return True
    return False


def _loses_energy(state: State, before: State) -> bool:
    """Whether the mean of the forces at a step's ends misses the work between them."""
    missing = abs(state.energy_missing - before.energy_missing)
    work = abs(state.work_rear - before.work_rear)
    return missing > ENERGY_SHARE * work + ENERGY_FLOOR * work_scale(state)


def feed(
    state: State,
    way: int,
    by: float,
    lift_to: float,
    move: int,
    record: Record,
    barred: Barred = _open,
) -> bool:
    """Feed ``by`` (mm), toward the rear roll (+1) or the operator (-1).

    The lift changes linearly along the feed to ``lift_to`` (mm). Returns True when
    ``record`` stopped the move, or ``barred`` did as the edge was about to meet the
    rear roll.

    Raises
    ------
    SolverError
        No equilibrium was found even with the smallest part of a step.
    """
    state.memory.valid = 0
    steps = by / state.step_length
    whole = math.floor(steps + 1.0e-9)
    shares = [1.0] * whole
    if steps - whole > 1.0e-9:
        shares.append(steps - whole)
    start = state.lift
    done = 0.0
    watch = Watch()
    meeting = 0
    for share in shares:
        done += share
        state.share = min(1.0, done / steps)
        lift = start + (lift_to - start) * state.share
        ahead = way * share * state.step_length
        if way > 0 and leading_edge.meets(state, lift, ahead):
            if barred(lift):
                return True
            meeting = MEETING_STEPS
        _feed_step(state, way, share, lift, move, watch, meets=meeting > 0)
        meeting -= 1
        if record():
            return True
    return False


def _feed_step(
    state: State,
    way: int,
    share: float,
    lift: float,
    move: int,
    watch: Watch,
    *,
    meets: bool,
) -> None:
    """Feed a share of a step; in small parts where the edge meets the rear roll."""
    here = state.copy(trial=True)
    look = watch.due(share * state.step_length)
    shift = state.shift_at(move, state.share)
    whole = share == 1.0 and not meets
    if whole and _try_feed(state, way, share, lift, shift, look=look, whole=True):
        _accept_step(state, here, move, way * share * state.step_length)
        memorise(state)
        return
    state.restore(here, trial=True)
    parts = MEETING if meets else 1 if share < 1.0 else 2
    while True:
        if _feed_in_parts(state, way, share, lift, shift, move, parts):
            state.memory.valid = 0
            return
        parts *= 2
        if parts > FINEST_FEED:
            give_up(
                state,
                move,
                f"feeding from s = {state.nip_s:.3f} mm on the nip line",
                "set a smaller model.element, or more model.steps_per_element",
                here,
            )


def _feed_in_parts(
    state: State,
    way: int,
    share: float,
    lift: float,
    shift: NDArray[np.float64],
    move: int,
    parts: int,
) -> bool:
    """Feed a share of a step in equal parts, each accepted; False where one fails."""
    start, shifted = state.lift, state.shift
    end = state.nip_steps + state.nip_rest - way * share
    for part in range(1, parts + 1):
        here = state.copy(trial=True)
        to = start + (lift - start) * part / parts
        by = shifted + (shift - shifted) * part / parts
        if not _try_feed(state, way, share / parts, to, by, look=True, whole=False):
            state.restore(here, trial=True)
            if part == 1:
                return False
            left = (state.nip_steps + state.nip_rest - end) * way
            finer = 2 * (parts - part + 1)
            return _feed_in_parts(state, way, left, lift, shift, move, finer)
        _accept_step(state, here, move, way * share / parts * state.step_length)
    return True


def _try_feed(
    state: State,
    way: int,
    share: float,
    lift: float,
    shift: NDArray[np.float64],
    *,
    look: bool,
    whole: bool,
) -> bool:
    """Find the equilibrium after a share of a step of feed."""
    old_first, old_last = state.first, state.last
    _advance_nip(state, way * share)
    choose_window(state)
    low, high = state.first, state.last
    if low <= old_first - REACH + 1 or high >= old_last + REACH - 1:
        state.first, state.last = old_first, old_last
        state.lay_arms()
        state.first, state.last = low, high
    _guess_feed(state, way, share, lift, shift, whole=whole)
    return _settle_with_arms(state) if look else settle(state)


def _guess_feed(
    state: State,
    way: int,
    share: float,
    lift: float,
    shift: NDArray[np.float64],
    *,
    whole: bool,
) -> None:
    """First guess of a feed: what the places bore earlier, or the state moved on.

    The rear roll, where it moves and touches, takes the sheet along on it.
    """
    memory, chain = state.memory, state.chain
    here = state.first, state.last
    element, _ = state.driven()
    depth = deepest(state.beam, chain, *here, state.rolls[REAR])
    moves = lift != state.lift or shift is not state.shift
    if moves and depth > 0.0:
        state.set_axes(lift, shift)
        moves = False
    if whole and not moves and memory.valid >= memory.size // 2:
        ago = memory.element_ago
        predict_from_history(
            state.beam,
            chain,
            *here,
            element,
            memory.places[ago],
            memory.pose[ago],
            memory.places[memory.turn],
            memory.pose[memory.turn],
            1.0 if memory.valid == memory.size else 0.0,
            state.rolls[REAR],
            depth,
            state.guess,
        )
    else:
        carry(
            state.beam,
            chain,
            *here,
            max(1, min(element, state.elements - 1)),
            share / state.steps_per_element,
            way,
            state.rolls[REAR],
            depth,
            state.guess,
        )
    if moves:
        _guess_rolls(state, lift, shift, None)


def _advance_nip(state: State, steps: float) -> None:
    """Move the sheet on by steps (+ toward the rear): less of it before the nip."""
    if steps in (1.0, -1.0):
        state.nip_steps -= int(steps)
        return
    total = state.nip_rest - steps
    whole = math.floor(total + 1.0e-9)
    state.nip_steps += whole
    state.nip_rest = max(0.0, total - whole)


def _accept_step(state: State, here: State, move: int, fed: float) -> None:
    """Commit a step and account its work by the mean of the forces at its ends.

    In a feed whole points of contact come and go between two steps; what the mean
    counts too much there comes off the work of the drive. A lift step that is too long
    for the mean is taken back instead (``_loses_energy``).
    """
    drive = state.drive_force
    push = state.forces[:, : FORCE_Y + 1].copy()
    travel = state.axes - here.axes
    held = state.energy_support
    accept(state, move)
    work = 0.5 * np.sum((push + state.forces[:, : FORCE_Y + 1]) * travel, axis=1)
    state.work_rear += float(work[REAR])
    state.work_clamp += float(work[UPPER] + work[LOWER])
    if fed:
        nodes = here.first - REACH, here.last + REACH
        over = overcounted_work(state, here, held, nodes)
        state.work_drive += 0.5 * (drive + state.drive_force) * fed - over
        state.fed += fed
    if state.beam.weight > 0.0:
        state.lay_arms()
        state.measure_height()
    else:
        state.lay_arms(REACH)


def give_up(
    state: State, move: int, where: str, change: str, here: State | None = None
) -> None:
    """Raise with a diagnosis; the state goes back to the last good step."""
    report = state.work.report.copy()
    node = int(report[REPORT_NODE])
    if here is not None:
        state.restore(here, trial=True)
        state.lay_arms()
    s = node * state.beam.length
    if state.turned:
        s = state.elements * state.beam.length - s
    message = (
        f"Move {move}: no equilibrium was found {where}: the residual stays at "
        f"{report[REPORT_RESIDUAL]:.3g} N/mm at s = {s:.2f} mm "
        f"(allowed {state.limits.force:.1g}), at the smallest step. "
        f"What may help: {change}."
    )
    diagnosis: dict[str, object] = {
        "move": move,
        "lift": state.lift,
        "nip": state.nip_s,
        "node": node,
        "residual": float(report[REPORT_RESIDUAL]),
        "gap": float(report[REPORT_GAP]),
        "pivots": int(report[REPORT_PIVOTS]),
    }
    raise SolverError(message, diagnosis=diagnosis)

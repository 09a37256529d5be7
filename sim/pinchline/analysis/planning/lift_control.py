"""Lift control along a run: the rear roll follows a wanted curvature.

What a skilled hand would do that could see the set under the rolls: at every piece of
feed the set that the place of the largest moment would keep is read, and the lift
corrected. It serves where the sheet is curved already and no steady pass is a guide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.analysis.planning.job import Knot, Run
from pinchline.solvers.stepped.stepping import feed, move_rear

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pinchline.solvers.stepped.state import State

    Array = NDArray[np.float64]

# thicknesses round the nip line that are read
BEHIND_THICKNESSES, AHEAD_THICKNESSES = 8.0, 12.0
# of the wanted curvature: what a piece may leave too much
EXCESS_CURVATURE_SHARE = 0.02
# mm of lift a step while raising; halved where the set is passed
FIRST_LIFT_STEP_MM = 0.5
FINEST_LIFT_STEP_MM = 0.06  # and for a piece that is done again
MAX_REPEATS = 4  # times that it is
PIECE_THICKNESSES = 1.5  # thicknesses of feed
LIFT_CORRECTION_SHARE = 0.5  # of the lift that would mend the set at once
# of the last change of lift: along a ramp the next is like it
KEPT_LIFT_CHANGE_SHARE = 0.7
MAX_LIFT_CHANGE_MM = 2.5  # mm of lift in a piece


def set_under_rolls(state: State) -> float:
    """Curvature (1/mm) that the place of the largest moment would keep now."""
    element, _ = state.driven()
    t, h = state.case.sheet.thickness, state.beam.length
    low = max(0, int(element - BEHIND_THICKNESSES * t / h))
    high = min(state.elements, int(element + AHEAD_THICKNESSES * t / h) + 1)
    moment = state.chain.moment[low:high]
    at = int(np.argmax(moment))
    taken = float(moment[at]) / state.sheet.law.bending
    return float(state.chain.curvature[low + at]) - taken


def _go_on() -> bool:
    return False


def lift_until(state: State, least: float, wanted: float, most: float) -> float:
    """Raise the rear roll until the sheet under it keeps a set (1/mm); the lift, mm.

    Sheet that is curved already may not take all that is ``wanted``: beyond ``least``
    the roll stops as well where more lift leaves no more set.

    ``most``: lift that the machine has (mm).
    """
    step, before = FIRST_LIFT_STEP_MM, 0.0
    while state.lift < most:
        kept = state.copy()
        move_rear(state, min(state.lift + step, most), 0, _go_on)
        now = set_under_rolls(state)
        if now < wanted and (now >= before or before < least):
            before = now
            continue
        if step <= FINEST_LIFT_STEP_MM:
            break
        state.restore(kept)
        step *= 0.5
    return state.lift


def set_curvatures(state: State) -> Array:
    """Curvature (1/mm) that every element would keep now."""
    return state.chain.curvature - state.chain.moment / state.sheet.law.bending


def follow_curvature(
    state: State,
    wanted: Callable[[float], float],
    until: float,
    slope: float,
    most: float,
) -> list[Knot]:
    """Feed toward the operator and keep the set as wanted; lift by place.

    A piece of feed that bends some place more sharply is done again with less lift:
    sheet that is bent already lies on to the upper roll all at once.

    Parameters
    ----------
    wanted : curvature (1/mm) by place, mm from the edge nearer the operator
    until : place at which the run ends, mm
    slope : curvature per mm of lift, 1/mm2
    most : longest lift, mm
    """
    piece = PIECE_THICKNESSES * state.case.sheet.thickness
    trace = [Knot(state.nip, state.lift)]
    first, more = set_curvatures(state), 0.0
    while until - state.nip > 1.0e-6:
        by = until - state.nip
        if by > 1.5 * piece:  # no idle end
            by = piece
        bend = wanted(state.nip + 0.5 * by)
        more = (
            KEPT_LIFT_CHANGE_SHARE * more
            + LIFT_CORRECTION_SHARE * (bend - set_under_rolls(state)) / slope
        )
        more = float(np.clip(more, -MAX_LIFT_CHANGE_MM, MAX_LIFT_CHANGE_MM))
        lift = min(max(state.lift + more, 0.0), most)
        allowed = (1.0 + EXCESS_CURVATURE_SHARE) * np.maximum(bend, first)
        allowed = np.maximum(allowed, set_curvatures(state))
        for _ in range(MAX_REPEATS):
            kept = state.copy()
            feed(state, -1, by, lift, 0, _go_on)
            over = float(np.max(set_curvatures(state) - allowed))
            if over <= 0.0 or lift == 0.0:
                break
            state.restore(kept)
            lift = max(
                lift - max(LIFT_CORRECTION_SHARE * over / slope, FINEST_LIFT_STEP_MM),
                0.0,
            )
        else:
            feed(state, -1, by, lift, 0, _go_on)
        more = lift - trace[-1].lift
        trace.append(Knot(state.nip, state.lift))
    return trace


def roll_run(state: State, run: Run) -> None:
    """Step a run with a sheet that is laid in: raise, then feed from knot to knot."""
    first, *rest = run.knots
    move_rear(state, first.lift, 0, _go_on)
    for knot in rest:
        feed(state, -1, knot.u - state.nip, knot.lift, 0, _go_on)

"""The second run: the edge nearer the rear roll, bent with the sheet turned round."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.analysis.planning.job import Knot, Run
from pinchline.analysis.planning.lift_control import (
    follow_curvature,
    lift_until,
    roll_run,
)
from pinchline.analysis.planning.lift_table import BEND_LAG, correct_run, thinned
from pinchline.solvers.stepped.placing import place, take_out, turn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.analysis.planning.lift_table import LiftTable
    from pinchline.parts.assess import FinishedPart
    from pinchline.solvers.stepped.state import State

    Array = NDArray[np.float64]

# of the wanted curvature: set at rest where the run starts
START_CURVATURE_FACTOR = 1.3
# thicknesses after the start: the lift follows what is wanted
SETTLED_THICKNESSES = 6.0
EDGE_PIECES = 5  # of feed, at most, from start to end
LIFT_TOLERANCE_MM = 0.06  # mm: as near as the pieces keep to the lift that was followed
# of the curvature: where the first run's curve begins to fade
EVEN_CURVATURE_SHARE = 0.97
EAGER = 0.5  # of what is missing: sheet that is curved feels a lift twice as much
OVERLAP = 0.15  # of the distance: how far it goes into that curve
REPLAYS = 1  # of a second run after one pass
JOINT_DEPTH_LAGS = 3.0  # of LAG: beyond the joint, up to where the arc is read


class DoesNotLieError(Exception):
    """The bent sheet, turned end for end, does not lie in the nip."""


def find_edge_run(
    state: State,
    made: FinishedPart,
    start: float,
    bend: float,
    table: LiftTable,
    *,
    replays: int = REPLAYS,
) -> tuple[Run, float]:
    """Compute the second run on the sheet as the first one left it.

    Parameters
    ----------
    state, made : the free sheet after the first run
    start : where it is gripped, from the edge nearer the rear roll, mm
    bend : curvature wanted there, 1/mm
    table : of lifts
    replays : of the run on the kept sheet, each corrected by what it left

    Returns
    -------
    run : lifts by place from that edge
    arc_flat : flat (mm) of the sharp-edged part that would turn as much

    Raises
    ------
    DoesNotLieError
    """
    distance = state.case.machine.rear.distance
    state = state.copy()
    turn(state)
    if not place(state, made.length - start, 0):
        raise DoesNotLieError
    laid = state.copy()
    curve = made.curvature[::-1]
    even = np.flatnonzero(curve > EVEN_CURVATURE_SHARE * bend)
    joint = float(even[0]) * made.element if even.size else made.arc_flats[1]
    until = joint + OVERLAP * distance
    slope, most = table.slope(bend), table.most
    lift_until(state, bend, START_CURVATURE_FACTOR * bend, most)
    trace = follow_curvature(state, lambda _: bend, until, slope, most)
    run = edge_knots(trace, state.case.sheet.thickness)
    for replay in range(replays + 1):
        state.restore(laid)
        roll_run(state, run)
        take_out(state, 0)
        curve = state.chain.curvature
        if replay < replays:
            run = corrected_edge_run(run, curve, made.element, bend, table, distance)
    inside = int((joint + JOINT_DEPTH_LAGS * BEND_LAG * distance) / made.element)
    arc_flat = inside * made.element - float(np.sum(curve[:inside])) * (
        made.element / bend
    )
    return run, arc_flat


def corrected_edge_run(
    run: Run,
    curve: Array,
    element: float,
    bend: float,
    table: LiftTable,
    distance: float,
) -> Run:
    """Correct a second run by the curvature (1/mm) left, counted from its edge."""
    u = np.asarray((np.arange(curve.size) + 0.5) * element - BEND_LAG * distance)
    knots = run.knots
    here = (u >= knots[0].u) & (u <= knots[-1].u)
    missing = EAGER * (bend - curve[here])
    slopes = np.full(missing.size, table.slope(bend))
    return correct_run(run, u[here], missing, slopes)


def edge_knots(trace: list[Knot], thickness: float) -> Run:
    """Give the traced lift in a few knots, as it can be cranked.

    The first pieces after the raise, while the hand that follows finds its lift again,
    are left out.
    """
    settled = trace[0].u + SETTLED_THICKNESSES * thickness
    line = [trace[0], *(k for k in trace if k.u >= settled)]
    kept = thinned([(k.u, k.lift) for k in line], EDGE_PIECES + 1, LIFT_TOLERANCE_MM)
    return Run(tuple(Knot(float(u), float(lift)) for u, lift in kept), turned=True)

"""Planning in several passes where one demands more drive than the machine has.

The drive of a settled pass is what the bending takes per mm of feed; each of several
passes takes a share of it. Every pass but the first bends sheet that is curved already
and touches the rear roll higher up: its lift is found by following, then corrected by
what it leaves. Where the flat at the end of a pass comes over the rear roll, the next
one would bend more sharply and ask for more drive: it ends before, and the run with the
sheet turned end for end, its lift carried along the feed, bends the rest.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from pinchline.analysis.planning.edge_run import EAGER
from pinchline.analysis.planning.job import Knot, Run, job
from pinchline.analysis.planning.lift_control import (
    follow_curvature,
    lift_until,
    roll_run,
)
from pinchline.analysis.planning.search import GRIPPED, Search
from pinchline.errors import InputError, SolverError
from pinchline.parts.assess import FLAT_QUANTITIES, template_gap
from pinchline.parts.wanted import wanted_part
from pinchline.solvers.stepped.placing import place, take_out
from pinchline.solvers.stepped.program import run_to_state

if TYPE_CHECKING:
    from collections.abc import Callable

    from pinchline.analysis.planning.draft import Draft
    from pinchline.analysis.planning.lift_table import LiftTable
    from pinchline.case.case import Case
    from pinchline.solvers.stepped.state import State

    Progress = Callable[[float, str], None]

MAX_PASSES = 3  # passes
# of the progress: where two passes begin, what each takes
TWO_PASSES_FROM, PROGRESS_PER_PASS = 0.35, 0.15
# distances: where the sheet is laid in, to where it is followed
LAY_IN_DISTANCES, FOLLOW_DISTANCES = 0.6, 1.7
PASS_OVERRUN_DISTANCES = 1.5  # distances that a pass goes further than the next one
READING_DISTANCES = 0.7  # distances of it: there a pass has settled
LIFT_CORRECTIONS = 2  # times that a pass's lift is corrected by what it leaves


def in_passes(
    case: Case, table: LiftTable, wanted: float, report: Progress
) -> tuple[Search, Draft] | None:
    """Search the job of a part in two passes or more; None where none bends it.

    What may still be missed are flats. ``wanted``: curvature (1/mm). A part with more
    than one radius is not tried: every pass would have to follow it.
    """
    target = case.target
    assert target is not None
    if target.nose is not None or target.drawing is not None:
        return None
    for count in range(2, MAX_PASSES + 1):
        start = TWO_PASSES_FROM + PROGRESS_PER_PASS * (count - 2)
        report(start, f"in {count} passes")
        try:
            lifts = pass_lifts(case, table, wanted, count)
            search = Search(case, table, lifts)
            draft = search.solve(_progress_within(report, start))
            made = _bends_it(search, draft)
        except (SolverError, InputError):  # no equilibrium, or no part round its flats
            continue
        if made:
            return search, draft
    return None


def _progress_within(report: Progress, start: float) -> Progress:
    def scaled(share: float, text: str) -> None:
        report(start + PROGRESS_PER_PASS * share, text)

    return scaled


def _bends_it(search: Search, draft: Draft) -> bool:
    """Whether radii, angle and outline are the wanted ones, whatever the flats.

    The radius of a half may hide where last pass and turned run meet; the outline does
    not.
    """
    if draft.stopped or (search.edge_refused and len(draft.runs) == 1):
        return False
    own = search.target.model_copy(update={"flat_operator": None, "flat_rear": None})
    part = wanted_part(own, search.thickness, draft.made.arc_flats)
    apart = template_gap(draft.made, part)
    good = all(d.good for d in draft.deviations if d.quantity not in FLAT_QUANTITIES)
    return good and apart <= search.target.tolerance_opening


def pass_lifts(
    case: Case, table: LiftTable, wanted: float, count: int
) -> tuple[float, ...]:
    """Find the lift (mm) of every pass, each bending as much more as the first.

    Raises
    ------
    SolverError
        A pass finds no equilibrium, or the bent sheet does not lie in the nip.
    """
    distance, start = case.machine.rear.distance, GRIPPED * case.sheet.thickness
    blank = (FOLLOW_DISTANCES + PASS_OVERRUN_DISTANCES * count) * distance
    lifts = [table.lift(wanted / count)]
    run = Run((Knot(start, lifts[0]), Knot(blank - start, lifts[0])))
    _, left = run_to_state(job(case, (run,), blank))
    for number in range(2, count + 1):
        bend = wanted * number / count
        lift = _followed_lift(left.copy(), bend, table)
        for _ in range(LIFT_CORRECTIONS):
            state = left.copy()
            _lay_in(state, start)
            stop = (
                FOLLOW_DISTANCES + PASS_OVERRUN_DISTANCES * (count - number)
            ) * distance
            roll_run(state, Run((Knot(start, lift), Knot(stop, lift))))
            take_out(state, 0)
            short = bend - _even_bend(state, FOLLOW_DISTANCES * distance)
            lift = min(lift + EAGER * short / table.slope(bend), table.most)
        lifts.append(lift)
        left = state
    return tuple(lifts)


def _followed_lift(state: State, bend: float, table: LiftTable) -> float:
    """Lift (mm) at which a hand that follows a bend (1/mm) comes to rest."""
    distance = state.case.machine.rear.distance
    _lay_in(state, LAY_IN_DISTANCES * distance)
    lift_until(state, bend, bend, table.most)
    until, slope = FOLLOW_DISTANCES * distance, table.slope(bend)
    return follow_curvature(state, partial(_even, bend), until, slope, table.most)[
        -1
    ].lift


def _lay_in(state: State, s: float) -> None:
    if not place(state, s, 0):
        message = "the bent sheet does not lie in the nip again"
        raise SolverError(message)


def _even_bend(state: State, until: float) -> float:
    """Curvature (1/mm) of the last stretch before a place, mm."""
    h, distance = state.beam.length, state.case.machine.rear.distance
    low, high = int((until - READING_DISTANCES * distance) / h), int(until / h)
    return float(np.mean(state.chain.curvature[low:high]))


def _even(bend: float, _place: float) -> float:
    return bend

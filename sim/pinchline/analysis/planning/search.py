"""Search the job for a wanted part: first guess, run, correct, run again.

All bending is done toward the operator: the sheet comes flat over the rear roll into
the nip, nothing that is bent already stands in its way, and every lift leaves its own
even curve. What the rear roll cannot reach, the edge nearer it, is bent in a second
run with the sheet turned end for end, the lift carried along the feed as the curve
that is there already comes over the rear roll.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.analysis.planning.draft import Draft
from pinchline.analysis.planning.edge_run import (
    EAGER,
    OVERLAP,
    REPLAYS,
    DoesNotLieError,
    corrected_edge_run,
    find_edge_run,
)
from pinchline.analysis.planning.job import PLACE_STEP_MM, Knot, Run, job
from pinchline.analysis.planning.lift_table import (
    BEND_LAG,
    LiftTable,
    correct_run,
    lift_table,
    thinned,
)
from pinchline.case.demand import MACHINE_LIMITS, LimitKind
from pinchline.errors import InputError, SolverError
from pinchline.parts.assess import (
    FinishedPart,
    closing_correction,
    deviations_from_target,
    read_finished_part,
    zone_radius,
    zones_of,
)
from pinchline.parts.wanted import WantedPart, wanted_part
from pinchline.solvers.rolls import GRIP_EDGE
from pinchline.solvers.stepped.program import run_to_state

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.case.target import Target
    from pinchline.results.schema import Result

    Array = NDArray[np.float64]
    Progress = Callable[[float, str], None]

GRIPPED = GRIP_EDGE + 1.0  # thicknesses left in hand at an edge
# thicknesses from where the roll is raised to where the arc begins
START_THICKNESSES = 4.0
# of that distance: as far ahead of the nip line a stopped run bends
BEND_AHEAD_SHARE = 0.12
# of the distance to the rear roll: the flat it leaves, at first
FIRST_RUN_OUT_SHARE = 0.6
JUMP_THICKNESSES = 4.0  # thicknesses over which a jump of curvature is carried
CORRECTION_ROUNDS, MULTI_PASS_ROUNDS = 5, 8  # of correction; where passes go before
# of how much further a run went: a flat that got less shorter than that
LEAST_FLAT_GAIN = 0.5
# distances before the end: there passes before leave a flat on that roll
LATE_DISTANCES = 2.0
# of the distance: of a pass after its start, and before its end
PASS_END_DISTANCES = 0.4
# of the wanted bend: where the flat of a pass before sharpens it
SHARPENED_BEND_RATIO = 1.02
# thicknesses before the place where the machine's limit stops a run
STOP_MARGIN_THICKNESSES = 1.5
BEND_TOLERANCE = 1.0e-3  # of a bend: not to be corrected
GOOD_TOLERANCE_SHARE = 0.5  # of a tolerance: near enough to stop
# of the sharpest: as near as the pieces keep to a wanted bend
PIECE_CURVATURE_TOLERANCE = 5.0e-3
MAX_FEED_PIECES = 6  # most pieces of feed in a run that follows a varying curvature


class Search:
    """The search for one case with a target.

    ``passes``: lifts (mm) of the passes that bend it, the last that of the first run;
    without, one pass does by the table.
    """

    def __init__(
        self,
        case: Case,
        table: LiftTable | None = None,
        passes: tuple[float, ...] = (),
    ) -> None:
        assert case.target is not None
        self.case = case
        self.target: Target = case.target
        self.thickness = case.sheet.thickness
        self.distance = case.machine.rear.distance
        self.table = table or lift_table(case)
        self.passes = passes
        self.gap = case.measure.straightedge_gap
        self.least = GRIPPED * self.thickness
        # sheet behind the nip (mm) where a first run ends, and a pass before it
        self.in_hand = self.least
        self.in_hand_before = [self.least for _ in passes[:-1]]
        self.held_by: LimitKind | None = None  # what ends it sooner
        self.edge_refused = False
        self.one_run_flat = math.nan

    def part(self, machine_flats: tuple[float, float]) -> WantedPart:
        """Build the wanted part; flats left to the machine are those given (mm)."""
        return wanted_part(self.target, self.thickness, machine_flats)

    def do(self, runs: tuple[Run, ...], blank: float, part: WantedPart | None) -> Draft:
        """Run a job and measure it; without ``part`` the machine's own flats count."""
        start = runs[0].knots[0].u
        before = tuple(
            Run((Knot(start, lift), Knot(blank - left, lift)))
            for lift, left in zip(self.passes[:-1], self.in_hand_before, strict=True)
        )
        case = job(self.case, (*before, *runs), blank)
        result, state = run_to_state(case)
        bend = part.sharpest if part is not None else self.table.tightest
        made = read_finished_part(result, bend, self.distance)
        part = self._part_of(result, made, part)
        rows = deviations_from_target(case, part, made)
        length = case.sheet.length
        return Draft(before, runs, length, case, result, state, made, part, rows)

    def _part_of(
        self, result: Result, made: FinishedPart, part: WantedPart | None
    ) -> WantedPart:
        """Build the wanted part round the flats made; ``part`` where none are."""
        try:
            return self.part(made.arc_flats)
        except InputError:
            if part is None or all(event.level != "stop" for event in result.events):
                raise
            return part

    def solve(self, progress: Progress | None = None) -> Draft:
        """Find the job: run, add a second run where an edge asks for it, correct."""
        report = progress or (lambda _share, _text: None)
        report(0.1, "first run toward the operator")
        draft = self.held_back(self.first_guess())
        if draft.stopped:
            return draft
        best, before = draft, None
        rounds = MULTI_PASS_ROUNDS if self.passes else CORRECTION_ROUNDS
        for number in range(rounds):
            due = self.edge_is_due(draft, before) and not self.edge_refused
            if draft.stopped or (not due and best.miss <= GOOD_TOLERANCE_SHARE):
                break
            report(0.2 + 0.5 * number / rounds, "second run" if due else "corrected")
            try:
                better = self.with_edge(draft) if due else self.improve(draft)
            except SolverError:
                break
            if better is None:
                continue
            if due or (better.miss < best.miss and not better.stopped):
                best = better
            before, draft = draft, better
        return best

    def edge_is_due(self, draft: Draft, before: Draft | None) -> bool:
        """Whether one run to its end leaves a longer rear flat than is wanted.

        It has come to its end too where it went further than ``before`` and hardly
        bent more: the edge, sliding off the rear roll, no longer bears.
        """
        if len(draft.runs) > 1:
            return False
        further = before.left - draft.left if before is not None else 0.0
        spent = False
        if before is not None and further > PLACE_STEP_MM:
            shorter = before.made.flats[1] - draft.made.flats[1]
            spent = shorter < LEAST_FLAT_GAIN * further
        if draft.left > self.in_hand + PLACE_STEP_MM and not spent:
            return False
        if not self.asked[1]:
            return True
        wanted = draft.part.straightedge(self.gap)[1]
        return draft.made.flats[1] > wanted + 0.5 * self.target.tolerance_flat

    # first run

    def lifts(
        self, part: WantedPart, start: float, arc_flat: float, stop: float
    ) -> Run:
        """Lay out the first run: raised at ``start``, the arc begins at ``arc_flat``.

        Places from the operator's edge, mm.
        """
        if self.passes:
            return Run((Knot(start, self.passes[-1]), Knot(stop, self.passes[-1])))
        pattern = curvature_knots(part, JUMP_THICKNESSES * self.thickness)
        lag = BEND_LAG * self.distance
        knots = [Knot(start, self.table.lift(pattern[0][1]))]
        for x, k in pattern[1:-1]:
            knots.append(Knot(arc_flat + x - lag, self.table.lift(k)))
        knots.append(Knot(stop, self.table.lift(pattern[-1][1])))
        return Run(tuple(k for k in knots if start <= k.u <= stop))

    def first_guess(self) -> Draft:
        """Do the first run with the span solver's lifts."""
        to_arc = START_THICKNESSES * self.thickness
        run_out = FIRST_RUN_OUT_SHARE * self.distance
        part = self.part((self.least, run_out))
        start = self.least
        if self.target.flat_operator is not None or self.target.drawing is not None:
            start = max(part.flats[0] - to_arc, self.least)
        arc_flat = start + to_arc
        arc = part.length - sum(part.flats)
        blank = arc_flat + arc + run_out
        left = self.in_hand
        if self.asked[1]:
            flat = part.straightedge(self.gap)[1]
            if flat > run_out + to_arc:
                left = flat + BEND_AHEAD_SHARE * self.distance
                self.in_hand_before = [left for _ in self.in_hand_before]
                blank += part.flats[1] - run_out
        run = self.lifts(part, start, arc_flat, blank - left)
        return self.do((run,), blank, part)

    def held_back(self, draft: Draft) -> Draft:
        """End a first run sooner that a limit of the machine stops near its end.

        The edge, as it slides off the rear roll, asks for more drive than the pass.
        """
        start = draft.runs[0].knots[0].u
        late = LATE_DISTANCES if self.passes else 1.0
        for _ in range(CORRECTION_ROUNDS):
            end = (
                float(draft.result.steps["nip"][-1])
                - STOP_MARGIN_THICKNESSES * self.thickness
            )
            left = draft.blank - end
            if (
                draft.stopped not in MACHINE_LIMITS
                or start >= end
                or left >= late * self.distance
            ):
                break
            if draft.stopped_pass < len(draft.before):
                self.in_hand_before[draft.stopped_pass] = left
                end = draft.runs[0].knots[-1].u
            else:
                if self.passes:
                    end = self._even_until(draft, end)
                self.held_by, self.in_hand = draft.stopped, draft.blank - end
            run = draft.runs[0].placed(start, end)
            draft = self.do((run,), draft.blank, draft.part)
        return draft

    def _even_until(self, draft: Draft, end: float) -> float:
        """Where a later pass begins to bend more, as the flat of another comes (mm)."""
        made, lag = draft.made, BEND_LAG * self.distance
        low = max(
            made.arc_flats[0] + PASS_END_DISTANCES * self.distance,
            end - PASS_END_DISTANCES * self.distance,
        )
        sharp = made.curvature > SHARPENED_BEND_RATIO * draft.part.sharpest
        more = made.s[(made.s > low) & (made.s < end) & sharp]
        return min(float(more[0]) - lag, end) if more.size else end

    def improve(self, draft: Draft) -> Draft:
        """Correct first run, edges and blank by what came out, and run again.

        A first run whose own end of the part is good keeps its lifts: what is off then
        comes from the second one.
        """
        blank, starts, stop = self._places(draft)
        if draft.before and len(draft.runs) > 1:
            # all that lies by the rear edge is shifted alike: where runs meet stays
            shift = starts[1] - draft.runs[1].knots[0].u
            self.in_hand += shift
            self.in_hand_before = [left + shift for left in self.in_hand_before]
            stop -= shift
        share, _ = closing_correction(self.target, draft.part, draft.made)
        if (
            len(draft.runs) > 1
            and abs(share) < BEND_TOLERANCE
            and self._begins_well(draft)
        ):
            runs = [draft.runs[0].placed(starts[0], stop)]
        else:
            runs = [self._corrected(draft, starts[0], stop, share)]
        if len(draft.runs) > 1:
            runs.append(self._corrected_edge(draft, starts[1]))
        return self.do(tuple(runs), blank, draft.part)

    def _begins_well(self, draft: Draft) -> bool:
        """Whether the radius at the operator's end is near enough to stop."""
        zones = zones_of(self.target, draft.part, self.distance)[:1]
        near = GOOD_TOLERANCE_SHARE * self.target.tolerance_radius
        return bool(zones) and all(
            abs(zone_radius(draft.made, zone) / zone.radius - 1.0) <= near
            for zone in zones
        )

    def _places(self, draft: Draft) -> tuple[float, tuple[float, float], float]:
        """Give blank, starts of the runs, and stop of the first one, corrected (mm)."""
        made, part = draft.made, draft.part
        _, more = closing_correction(self.target, part, made)
        off = [0.0, 0.0]
        straight = part.straightedge(self.gap)
        for side in range(2):
            if self.asked[side]:
                off[side] = straight[side] - made.flats[side]
        first = draft.runs[0].knots
        starts = [first[0].u, draft.runs[-1].knots[0].u]
        moved = max(starts[0] + off[0], self.least) - starts[0]
        starts[0] += moved
        blank = draft.blank + moved + more
        if len(draft.runs) > 1:
            shift = max(starts[1] + off[1], self.least) - starts[1]
            starts[1] += shift
            return blank + shift, (starts[0], starts[1]), blank + shift - self.in_hand
        left = draft.left
        if self.asked[1]:
            before = max(left, made.flats[1] + BEND_AHEAD_SHARE * self.distance)
            if left < before and off[1] <= 0.0:
                before = left  # the sheet ran out: the flat is the machine's
            after = max(before + off[1], self.in_hand)
            blank += off[1]
            left = after
        return blank, (starts[0], math.nan), blank - left

    @property
    def asked(self) -> tuple[bool, bool]:
        """Whether the target specifies the operator's and the rear flat."""
        target = self.target
        whole = target.drawing is not None
        return (
            whole or target.flat_operator is not None,
            whole or target.flat_rear is not None,
        )

    def _corrected(self, draft: Draft, start: float, stop: float, share: float) -> Run:
        """Move the knots of the first run to their places, their lifts to the bend."""
        made, part = draft.made, draft.part
        old = draft.runs[0].knots
        arc_flat = made.arc_flats[0] + start - old[0].u
        run = self.lifts(part, start, arc_flat, stop)
        if len(run.knots) != len(old):
            return run
        run = Run(tuple(Knot(k.u, o.lift) for k, o in zip(run.knots, old, strict=True)))
        s = made.s - BEND_LAG * self.distance
        low = made.arc_flats[0] + 3.0 * BEND_LAG * self.distance
        high = made.length - made.arc_flats[1] - 3.0 * BEND_LAG * self.distance
        if len(draft.runs) > 1:
            high = made.length - draft.runs[1].knots[-1].u - BEND_LAG * self.distance
        here = (made.s > low) & (made.s < high)
        if not np.any(here):  # too short an arc to tell its bend
            return run
        wanted = self._wanted(part, made.s[here] - made.arc_flats[0])
        missing = (1.0 + share) * wanted - made.curvature[here]
        slopes = self.table.slopes(wanted)
        if len(old) == 2:  # one lift all along, judged over a zone of its own
            lacks, slope = float(np.mean(missing)), float(np.mean(slopes))
            zones = [] if draft.before else zones_of(self.target, part, self.distance)
            for zone in zones[:1]:
                lacks = (1.0 + share) / zone.radius - 1.0 / zone_radius(made, zone)
            run = run.raised_by((EAGER if self.passes else 1.0) * lacks / slope)
        else:
            run = correct_run(run, s[here] + start - old[0].u, missing, slopes)
        most = self.table.most if self.passes else float(self.table.lifts[-1])
        return run.below(most)

    def _wanted(self, part: WantedPart, x: Array) -> Array:
        """Give the wanted curvature (1/mm) at places from the start of the arc (mm)."""
        return part.mean_curvature(x + part.flats[0], 0.5 * self.thickness)

    # second run, the sheet turned end for end

    def with_edge(self, draft: Draft) -> Draft | None:
        """Add the run that bends the edge nearer the rear roll; None if it cannot."""
        self.edge_refused = True
        self.one_run_flat = draft.made.flats[1]
        part = draft.part
        start = self.least
        if self.asked[1]:
            start = max(part.flats[1] - START_THICKNESSES * self.thickness, self.least)
        bend = float(part.curvature[part.curvature > 0.0][-1])
        try:
            edge, arc_flat = find_edge_run(
                draft.state,
                draft.made,
                start,
                bend,
                self.table,
                replays=0 if draft.before else REPLAYS,
            )
        except (DoesNotLieError, SolverError):
            return None
        _, starts, _ = self._places(draft)
        moved = starts[0] - draft.runs[0].knots[0].u
        arc = part.length - sum(part.flats)
        blank = draft.made.arc_flats[0] + moved + arc + arc_flat
        if blank - self.in_hand <= starts[0]:
            return None  # the second run would have to bend it all
        if self._begins_well(draft):
            first = draft.runs[0].placed(starts[0], blank - self.in_hand)
        else:
            first = self._corrected(draft, starts[0], blank - self.in_hand, 0.0)
        try:
            longer = self.do((first, edge), blank, part)
        except SolverError:
            return None
        self.edge_refused = bool(longer.stopped)
        return None if self.edge_refused else longer

    def _corrected_edge(self, draft: Draft, start: float) -> Run:
        """Correct the second run's lifts by the curvature that it left."""
        made, part = draft.made, draft.part
        bend = float(part.curvature[part.curvature > 0.0][-1])
        if draft.before:
            lacks = self._edge_lacks(draft)
            run = draft.runs[1].raised_by(EAGER * lacks / self.table.slope(bend))
        else:
            run = corrected_edge_run(
                draft.runs[1],
                made.curvature[::-1],
                made.element,
                bend,
                self.table,
                self.distance,
            )
        moved = start - run.knots[0].u
        return run._replace(knots=tuple(Knot(k.u + moved, k.lift) for k in run.knots))

    def _edge_lacks(self, draft: Draft) -> float:
        """Curvature (1/mm) that the halves lack which the second run works on."""
        end = draft.blank - draft.runs[1].knots[-1].u - OVERLAP * self.distance
        zones = zones_of(self.target, draft.part, self.distance)
        if end > zones[0].high:
            zones = zones[1:]
        lacks = [1.0 / z.radius - 1.0 / zone_radius(draft.made, z) for z in zones]
        return float(np.mean(lacks))


def curvature_knots(part: WantedPart, jump: float) -> list[tuple[float, float]]:
    """Give curvature (1/mm) by place from the start of the arc (mm), in few knots.

    A jump is carried over ``jump`` (mm); between knots it is linear.
    """
    start, end = part.flats
    s, k = part.s, part.curvature
    inside = (s >= start - 1.0e-9) & (s <= part.length - end + 1.0e-9) & (k != 0.0)
    x, k = s[inside] - start, k[inside]
    knots: list[tuple[float, float]] = []
    for here, value in zip(x, k, strict=True):
        if knots and here - knots[-1][0] < 1.0e-9:
            before = knots.pop()
            knots.append((before[0] - 0.5 * jump, before[1]))
            knots.append((here + 0.5 * jump, float(value)))
        else:
            knots.append((float(here), float(value)))
    sharpest = max(abs(value) for _, value in knots)
    return thinned(knots, MAX_FEED_PIECES + 1, PIECE_CURVATURE_TOLERANCE * sharpest)

"""Passes up the lift by the span solver, judged as a run would judge them.

Beside each steady pass stands the raise at rest that comes before it; what both ask of
the machine goes through ``process.effort`` as in a run. What the steady pass does not
show is that the drive passes a peak after the raise, before the bend has settled: it is
taken from ``START``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from pinchline.analysis.pass_efforts import pass_efforts
from pinchline.analysis.passes import (
    EDGE,
    HARDLY,
    STRAIN,
    Pass,
    Way,
    needed_length,
    sheet_limit,
    surface_strain,
)
from pinchline.analysis.span import SOLVED, Follower
from pinchline.process.effort import Asked, Effort, asked_of, grip_slack
from pinchline.process.geometry import wrap_curvature

if TYPE_CHECKING:
    from pinchline.analysis.span import Pass as Steady
    from pinchline.model.case import Case

LIES = 0.995  # of the upper roll's curvature: more lift does nothing
# peak of the drive after a raise at rest over that of the settled pass: 1 + a (1 - k^n)
# with k the loaded curvature over the upper roll's; fitted to the stepped solver's, 70
# passes (eight sheets, three machines): half within 0.02, all within 0.07
START: dict[Way, tuple[float, int]] = {"rear": (0.225, 4), "operator": (0.16, 5)}
TRIALS = 2  # lifts that may be lost before the way is, or before any raise is found


class Judged(NamedTuple):
    """A pass, and how near it is to what forbids it: that, and asked over allowed."""

    made: Pass
    nearest: str
    share: float


class Raises:
    """Raises at rest of a case, which serve both ways.

    Where one is lost, deep in wrap, the highest that was found counts for all above:
    its forces hardly rise there.
    """

    def __init__(self, case: Case) -> None:
        self._follower = Follower(case, "rest", case.sheet.curvature)
        self._found: dict[float, Steady] = {}
        self._end = math.inf  # lowest lift that was lost above one that was found
        self._lost = 0

    def at(self, lift: float) -> Steady | None:
        """Give the raise to a lift (mm); None as long as none was found."""
        if lift in self._found:
            return self._found[lift]
        if lift < self._end and (self._found or self._lost < TRIALS):
            raised = self._follower.at(lift)
            if raised.status == SOLVED:
                self._found[lift] = raised
                return raised
            if self._found:
                self._end = lift
            self._lost += 1
        below = [there for there in self._found if there <= lift]
        return self._found[max(below)] if below else None


class Climb:
    """Passes of a case one way, and the raises before them, by the span solver."""

    def __init__(self, case: Case, way: Way, raises: Raises | None = None) -> None:
        self.case, self.way = case, way
        self.bound = wrap_curvature(case.machine, case.sheet.thickness)
        self._passes = Follower(case, way, case.sheet.curvature)
        self._raises = raises or Raises(case)

    def at(self, lift: float) -> Pass | None:
        """Give the pass at a lift (mm); None where none was found."""
        there = self.judged(lift)
        return None if there is None else there.made

    def judged(self, lift: float) -> Judged | None:
        """Solve pass and raise at a lift (mm); None where no pass was found."""
        steady = self._passes.at(lift)
        return None if steady.status != SOLVED else self._judge(steady)

    def furthest(self) -> Judged | None:
        """Give the last pass that was found on the way to one that was not."""
        there = self._passes.here
        return None if math.isnan(there) else self.judged(there)

    def lies_on_roll(self, p: Pass) -> bool:
        """Whether more lift does nothing."""
        return 1.0 / p.loaded >= LIES * self.bound

    def _judge(self, steady: Steady) -> Judged:
        case = self.case
        size, power = START[self.way]
        wrapped = min(max(steady.loaded / self.bound, 0.0), 1.0)
        effort, asked = self._asked(steady, 1.0 + size * (1.0 - wrapped**power))
        opening = steady.nip_opening
        raised = self._raises.at(steady.lift)
        if raised is not None:
            at_rest, more = self._asked(raised, 1.0)
            worst = (max(pair) for pair in zip(effort, at_rest, strict=True))
            effort = Effort(*worst)._replace(grip_margin=effort.grip_margin)
            asked += more
            opening = max(opening, raised.nip_opening)
        radius, loaded = _radius(steady.residual), _radius(steady.loaded)
        exceeds = next((a.kind for a in asked if a.exceeded), "")
        made = Pass(
            lift=steady.lift,
            way=self.way,
            radius=radius,
            loaded=loaded,
            strain=surface_strain(case, loaded),
            limit=exceeds or sheet_limit(case, radius, loaded, steady.reach),
            grip_margin=effort.grip_margin,
            hand_force=effort.hand_force,
            screw_force=effort.screw_force,
            pinch_force=effort.pinch_force,
            roll_deflection=effort.roll_deflection,
            nip_opening=opening,
        )
        sheet = case.sheet
        asked += (
            Asked(EDGE, needed_length(case, steady.reach), sheet.length),
            Asked(STRAIN, made.strain, sheet.material.allowable_strain),
        )
        nearest = max(asked, key=lambda a: a.share)
        return Judged(made, nearest.kind, nearest.share)

    def _asked(self, steady: Steady, peak: float) -> tuple[Effort, tuple[Asked, ...]]:
        """Efforts at ``peak`` times the drive, and beside what is allowed."""
        effort = pass_efforts(self.case, steady, peak)
        slack = grip_slack(self.case, self._passes.first_yield)
        return effort, asked_of(self.case, effort, peak * abs(steady.drive), slack)


def _radius(curvature: float) -> float:
    return 1.0 / curvature if curvature > HARDLY else math.inf

"""Continuation in lift: steady passes by the span solver, rated as in a run.

Each steady pass comes with the lift in place before it; what both demand of
the machine is rated by ``solvers.ratings`` as in a run. What the steady pass does not
show is that the drive peaks after the lift in place, before the bend has settled; it is
computed from how much sharper than the pass that bends (``DRIVE_PEAK_FIT``).

The bulge is left out: near wrap and for lifts in place there the span solver
does not converge with it, and that would name the wrong limit.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from pinchline.analysis.limits.single_pass import (
    SinglePass,
    Way,
    needed_length,
    sheet_limit,
    surface_strain,
)
from pinchline.case.demand import Demand, LimitKind
from pinchline.parts.measure import FLAT_CURVATURE
from pinchline.solvers.ratings import (
    LimitCheck,
    Rating,
    demand_of_pass,
    first_exceeded,
    grip_slack,
    limit_checks,
)
from pinchline.solvers.rolls import wrap_curvature
from pinchline.solvers.steady.solver import SOLVED, Follower

if TYPE_CHECKING:
    from pinchline.case.case import Case
    from pinchline.solvers.steady.solver import SteadyPass as Steady

LYING_CURVATURE_SHARE = 0.995  # of the upper roll's curvature: more lift does nothing
# peak of the drive over that of the settled pass: 1 + a (1 - (k / c)^n) with k what the
# pass leaves and c the crease that the raise leaves, curvatures: the drive bends on
# what the raise bent sharper. One law for both ways, fitted to the stepped solver's
# peaks of 59 passes (ten sheets of 1.1 to 6.3 mm, yield 30 to 490 MPa): half within
# 0.01, nine of ten within 0.035, up to 0.11 where hardly anything is left bent
DRIVE_PEAK_FIT = (0.24, 2.1)
MAX_UNCONVERGED_LIFTS = 2  # lifts without convergence


def _without_bulge(case: Case) -> Case:
    """Give the case with a sheet that does not bulge; itself where it does not."""
    plain = case.model.plain
    return case if plain is case.model else case.replace({"model": plain})


class RatedPass(NamedTuple):
    """A pass and the limit that governs it, with demand over rating of that limit."""

    rolled: SinglePass
    governing_limit: LimitKind
    utilisation: float


class LiftsInPlace:
    """Lifts in place of a case by continuation, shared by both directions.

    Where one does not converge, deep in wrap, the highest solved counts for all above:
    the push on the pinch rolls hardly rises there, that on the rear roll by half.
    """

    def __init__(self, case: Case) -> None:
        self._follower = Follower(_without_bulge(case), "rest", case.sheet.curvature)
        self._solved: dict[float, Steady] = {}
        self._end = math.inf  # lowest lift without convergence above a solved one
        self._unconverged = 0

    def at(self, lift: float) -> Steady | None:
        """Give the lift in place to a lift (mm); None as long as none has converged."""
        if lift in self._solved:
            return self._solved[lift]
        if lift < self._end and (
            self._solved or self._unconverged < MAX_UNCONVERGED_LIFTS
        ):
            in_place = self._follower.at(lift)
            if in_place.status == SOLVED:
                self._solved[lift] = in_place
                return in_place
            if self._solved:
                self._end = lift
            self._unconverged += 1
        below = [solved for solved in self._solved if solved <= lift]
        return self._solved[max(below)] if below else None


class LiftContinuation:
    """Continuation in lift of the passes one way, each with its lift in place."""

    def __init__(
        self, case: Case, way: Way, lifts_in_place: LiftsInPlace | None = None
    ) -> None:
        self.case, self.way = case, way
        self.bound = wrap_curvature(case.machine, case.sheet.thickness)
        self._passes = Follower(_without_bulge(case), way, case.sheet.curvature)
        self._lifts_in_place = lifts_in_place or LiftsInPlace(case)

    def at(self, lift: float) -> SinglePass | None:
        """Give the pass at a lift (mm); None where it does not converge."""
        rated_pass = self.rated(lift)
        return None if rated_pass is None else rated_pass.rolled

    def rated(self, lift: float) -> RatedPass | None:
        """Solve and rate the pass at a lift (mm); None where it does not converge."""
        steady = self._passes.at(lift)
        return None if steady.status != SOLVED else self._rate(steady)

    def furthest(self) -> RatedPass | None:
        """Give the last pass that converged on the way to one that did not."""
        rated_pass = self._passes.here
        return None if math.isnan(rated_pass) else self.rated(rated_pass)

    def lies_on_roll(self, p: SinglePass) -> bool:
        """Whether the sheet lies on the upper roll, so that more lift does nothing."""
        return 1.0 / p.loaded >= LYING_CURVATURE_SHARE * self.bound

    def _rate(self, steady: Steady) -> RatedPass:
        case, sheet = self.case, self.case.sheet
        in_place = self._lifts_in_place.at(steady.lift)
        demand, checks = self._checked(steady, _peak(steady, in_place, sheet.curvature))
        opening = steady.nip_opening
        if in_place is not None:
            at_rest, more = self._checked(in_place, 1.0)
            worst = (max(pair) for pair in zip(demand, at_rest, strict=True))
            demand = Demand(*worst)._replace(grip_margin=demand.grip_margin)
            checks += more
            opening = max(opening, in_place.nip_opening)
        radius, loaded = _radius(steady.residual), _radius(steady.loaded)
        limit = first_exceeded(checks) or sheet_limit(
            case, radius, loaded, steady.reach
        )
        strain = surface_strain(case, loaded)
        length = needed_length(case, steady.reach)
        checks += (
            LimitCheck(LimitKind.EDGE, length, sheet.length),
            LimitCheck(LimitKind.STRAIN, strain, Rating.of(case).surface_strain),
        )
        rolled = SinglePass(
            lift=steady.lift,
            way=self.way,
            radius=radius,
            loaded=loaded,
            strain=strain,
            limit=limit,
            demand=demand,
            nip_opening=opening,
        )
        nearest = max(checks, key=lambda check: check.utilisation)
        return RatedPass(rolled, nearest.kind, nearest.utilisation)

    def _checked(
        self, steady: Steady, peak: float
    ) -> tuple[Demand, tuple[LimitCheck, ...]]:
        """Demand at ``peak`` times the drive, and its checks against the ratings."""
        demand = demand_of_pass(self.case, steady, peak)
        slack = grip_slack(self.case, self._passes.first_yield)
        drive = peak * abs(steady.drive)
        return demand, limit_checks(self.case, demand, drive, slack)


def _peak(steady: Steady, in_place: Steady | None, natural: float) -> float:
    """Largest drive over that of the settled pass; at its most without a raise.

    ``natural``: curvature that the sheet came with, 1/mm.
    """
    size, power = DRIVE_PEAK_FIT
    crease = math.inf if in_place is None else in_place.residual - natural
    left = max(steady.residual - natural, 0.0)
    milder = min(left / crease, 1.0) if crease > 0.0 else 1.0
    return float(1.0 + size * (1.0 - milder**power))


def _radius(curvature: float) -> float:
    return 1.0 / curvature if curvature > FLAT_CURVATURE else math.inf

"""The tightest feasible pass of a sheet on a machine, by the span solver.

Passes are continued in lift (``sweep``), with the lifts in place before them. The
sweep ends where the sheet lies on the upper roll, at a limit, or at the longest
lift.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from pinchline.analysis.limits.single_pass import (
    SinglePass,
    Way,
    longest_lift,
    one_pass,
    sheet_limit,
    surface_strain,
)
from pinchline.analysis.limits.sweep import (
    MAX_UNCONVERGED_LIFTS,
    LiftContinuation,
    LiftsInPlace,
    RatedPass,
)
from pinchline.case.demand import LIFT_LIMITS, NO_DEMAND, Demand, LimitKind
from pinchline.solvers.layers import section_law
from pinchline.solvers.regime import width_regime
from pinchline.solvers.rolls import wrap_curvature
from pinchline.solvers.section_bend import bend_and_release

if TYPE_CHECKING:
    from pinchline.case.case import Case

CONTINUATION_LIFTS = 16  # to the longest
LAST_LIFT_SHARE = 0.998  # of the longest lift
FIRST_LIFT = 2  # of those lifts: below it hardly anything is bent
# what a pass asks over what is allowed: aimed at, and near enough to the limit
AIMED_UTILISATION, ACCEPTED_UTILISATION = 0.9995, 0.999
MAX_BRACKET_PASSES = 10  # passes between one that can be made and one that cannot
BRACKET_MARGIN = 0.02  # of the way between them, from either
YIELD_FACTORS = (1.2, 2.0, 3.0, 4.0, 6.0, 8.0)  # times the yield strength
SPAN, WRAPPED_SHEET, STEPPED = "span", "wrapped sheet", "stepped"
STEPPED_HALVINGS = 6
# beside the span's answer; 6 halvings leave 0.03 % of lift, 0.6 % of a long radius
CHECK_STEP_SHARE, MAX_CHECKS, CHECK_HALVINGS = 0.02, 6, 6


class TightestPass(NamedTuple):
    """Tightest pass of one sheet on one machine, in either direction.

    radius, loaded: of the mid-line, free and under the rolls (mm); NaN where no pass
    leaves a set; lift (mm); way: fed toward, "" without a pass; limit: what keeps it
    from being tighter; by: what found it; demand: of the pass.
    """

    radius: float
    loaded: float
    strain: float
    lift: float
    way: str
    limit: LimitKind | None
    by: str
    demand: Demand

    @classmethod
    def read(cls, row: list[Any]) -> TightestPass:
        """Read one from the row of a file: its fields, the demand a row of its own."""
        found = cls(*row)
        limit = None if found.limit is None else LimitKind(found.limit)
        return found._replace(limit=limit, demand=Demand(*found.demand))


def _no_pass(limit: LimitKind | None, by: str) -> TightestPass:
    nan = math.nan
    return TightestPass(nan, nan, nan, nan, "", limit, by, NO_DEMAND)


class _DirectionResult(NamedTuple):
    """Best pass in one direction, if any, and its limit; None if not converged."""

    best: SinglePass | None
    limit: LimitKind | None

    @property
    def radius(self) -> float:
        """Of the best pass, mm; infinite without one."""
        return math.inf if self.best is None else self.best.radius


def _one_way(case: Case, way: Way, lifts_in_place: LiftsInPlace) -> _DirectionResult:
    """Continue the passes in one direction up to the first limit."""
    longest, end = longest_lift(case)
    continuation = LiftContinuation(case, way, lifts_in_place)
    best: RatedPass | None = None
    unconverged = 0
    for number in range(FIRST_LIFT, CONTINUATION_LIFTS + 1):
        there = continuation.rated(
            LAST_LIFT_SHARE * longest * number / CONTINUATION_LIFTS
        )
        found = there is not None
        if there is None:
            unconverged += 1
            there = continuation.furthest()
        if there is not None and not there.rolled.possible:
            return _pass_at_rating(continuation, best, there)
        best = there or best
        if best is not None and continuation.lies_on_roll(best.rolled):
            return _DirectionResult(best.rolled, LimitKind.WRAP)
        if unconverged > MAX_UNCONVERGED_LIFTS:
            break
    return _DirectionResult(best and best.rolled, end if found else None)


def _pass_at_rating(
    continuation: LiftContinuation, good: RatedPass | None, bad: RatedPass
) -> _DirectionResult:
    """Find the pass between two whose demand just meets the rating.

    False position on what is asked over what is allowed.
    """
    for number in range(MAX_BRACKET_PASSES):
        low, least = (good.rolled.lift, good.utilisation) if good else (0.0, 0.0)
        share = min(
            max(
                (AIMED_UTILISATION - least) / (bad.utilisation - least), BRACKET_MARGIN
            ),
            1.0 - BRACKET_MARGIN,
        )
        if number % 2 and number > 2:  # it creeps where what is asked is far from even
            share = 0.5
        there = continuation.rated(low + share * (bad.rolled.lift - low))
        if there is None:
            break
        if not there.rolled.possible:
            bad = there
            continue
        good = there
        if good.utilisation > ACCEPTED_UTILISATION:
            return _DirectionResult(good.rolled, good.governing_limit)
    return _DirectionResult(good and good.rolled, bad.governing_limit)


def tightest(case: Case, *, back_only: bool = False) -> TightestPass:
    """Find the tightest pass of a case's sheet on its machine, in either direction.

    ``back_only``: toward the operator, as plans bend.

    A pass toward the operator that lies on the upper roll is not bettered by one toward
    the rear. Where the span solver fails (thin soft sheet), a harder sheet of
    the same thickness that does lie on the roll shows that this one does, and the
    section's law says what it springs back to; without one the stepped solver answers.
    """
    lifts_in_place = LiftsInPlace(case)
    back = _one_way(case, "operator", lifts_in_place)
    if back.limit == LimitKind.WRAP:
        return _answer(back.best, LimitKind.WRAP, SPAN)
    if not back.limit:
        return _wrapped_sheet(case) or _by_steps(case)
    if back_only:
        return _answer(back.best, back.limit, SPAN)
    there = _one_way(case, "rear", lifts_in_place)
    best = there if there.limit and there.radius < back.radius else back
    return _answer(best.best, best.limit, SPAN)


def _answer(p: SinglePass | None, limit: LimitKind | None, by: str) -> TightestPass:
    """Build the result from the tightest feasible pass and its limit."""
    if p is None or math.isinf(p.radius):
        # of itself the sheet stays flat where only the lift or the roll ends it
        return _no_pass(
            LimitKind.NO_SET if limit in (LimitKind.WRAP, *LIFT_LIMITS) else limit, by
        )
    values = p._asdict()
    kept = {name: values[name] for name in TightestPass._fields if name in values}
    return TightestPass(**(kept | {"limit": limit, "by": by}))


def _wrapped_sheet(case: Case) -> TightestPass | None:
    """Bend the section to the upper roll; efforts are those of a harder sheet."""
    sheet = case.sheet
    if sheet.curvature or sheet.material.curve is not None:
        return None
    held = width_regime(case, longest_lift(case)[0]).held
    law = section_law(sheet.material, sheet.thickness, case.model, held)
    (bent,) = bend_and_release(
        law, [1.0 / wrap_curvature(case.machine, sheet.thickness)]
    )
    if math.isinf(bent.free):  # not even the roll's curvature leaves a set
        return _no_pass(LimitKind.NO_SET, WRAPPED_SHEET)
    if sheet_limit(case, bent.free, bent.loaded, 0.0) != LimitKind.WRAP:
        return None
    for times in YIELD_FACTORS:
        strength = times * sheet.material.yield_strength
        harder = case.replace({"sheet.material.yield_strength": strength})
        found = _one_way(harder, "operator", LiftsInPlace(harder))
        if found.limit == LimitKind.WRAP and found.best is not None:
            strain = surface_strain(case, bent.loaded)
            on_roll = found.best._replace(
                radius=bent.free, loaded=bent.loaded, strain=strain
            )
            return _answer(on_roll, LimitKind.WRAP, WRAPPED_SHEET)
    return None


def _by_steps(case: Case) -> TightestPass:
    """Answer by the stepped solver, toward the operator: halving of the lift."""
    longest, end = longest_lift(case)
    high = one_pass(case, LAST_LIFT_SHARE * longest, "operator")
    if high.possible:
        return _stepped(high, end)
    return _halved(case, None, high, STEPPED_HALVINGS)


def check_by_stepping(
    case: Case, found: TightestPass, halvings: int = CHECK_HALVINGS
) -> TightestPass:
    """Find the tightest pass by the stepped solver, from the span solver's result.

    Up or down in steps of the lift until a pass that can be made lies beside one that
    cannot, then ``halvings`` between them.
    """
    longest, end = longest_lift(case)
    way: Way = "rear" if found.way == "rear" else "operator"
    here = one_pass(case, found.lift, way)
    if here.possible and found.limit in (LimitKind.WRAP, end):
        return _stepped(here, end)
    good, bad = (here, None) if here.possible else (None, here)
    step = CHECK_STEP_SHARE if here.possible else -CHECK_STEP_SHARE
    for number in range(1, MAX_CHECKS + 1):
        lift = min((1.0 + step * number) * found.lift, LAST_LIFT_SHARE * longest)
        there = one_pass(case, lift, way)
        good, bad = (there, bad) if there.possible else (good, there)
        if good is not None and (bad is not None or lift == LAST_LIFT_SHARE * longest):
            break
    if bad is None:
        return _stepped(good, end)
    return _halved(case, good, bad, halvings)


def _halved(
    case: Case, good: SinglePass | None, bad: SinglePass, halvings: int
) -> TightestPass:
    """Halve the lift between a pass that can be made and one that cannot."""
    for _ in range(halvings):
        lift = 0.5 * ((good.lift if good else 0.0) + bad.lift)
        there = one_pass(case, lift, bad.way)
        good, bad = (there, bad) if there.possible else (good, there)
    return _stepped(good, bad.limit)


def _stepped(p: SinglePass | None, limit: LimitKind | None) -> TightestPass:
    wraps = p is not None and p.limit == LimitKind.WRAP
    return _answer(p, LimitKind.WRAP if wraps else limit, STEPPED)

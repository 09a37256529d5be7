"""The tightest pass that a machine makes of a sheet, by the span solver.

Steady passes are followed up the lift, and beside them the raise at rest that comes
before; what each asks of the machine goes through ``process.effort`` as in a run. The
way ends where the sheet lies on the upper roll, where a limit is met, or at the longest
lift. What the steady pass does not show is that the drive passes a peak after the
raise, before the bend has settled: it is taken from ``START``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.analysis.passes import (
    ENDS,
    HARDLY,
    NO_SET,
    WRAP,
    Pass,
    Way,
    longest_lift,
    one_pass,
    pass_case,
    sheet_limit,
    surface_strain,
)
from pinchline.analysis.rule_range import bends
from pinchline.analysis.span import SOLVED, Follower
from pinchline.analysis.span import Pass as Steady
from pinchline.process.effort import Effort, exceeded, grip_slack, over_the_width
from pinchline.process.geometry import wrap_curvature
from pinchline.process.layers import section_law
from pinchline.process.regime import width_regime

if TYPE_CHECKING:
    from pinchline.model.case import Case

LIFTS = 16  # to the longest
LAST = 0.998  # of the longest lift
LIES = 0.995  # of the upper roll's curvature: more lift does nothing
FIRST = 2  # of those lifts: below it hardly anything is bent
TRIALS = 2  # lifts that may be lost before the way is
HALVINGS = 7  # of the lift between a pass that can be made and one that cannot
# peak of the drive after a raise at rest over that of the settled pass: 1 + a (1 - k^n)
# with k the loaded curvature over the upper roll's; fitted to the stepped solver's, 70
# passes (eight sheets, three machines): half within 0.02, all within 0.07
START: dict[Way, tuple[float, int]] = {"rear": (0.225, 4), "operator": (0.16, 5)}
HARDER = (1.2, 2.0, 3.0, 4.0, 6.0, 8.0)  # times the yield strength
SPAN, WRAPPED_SHEET, STEPPED = "span", "wrapped sheet", "stepped"
STEPPED_HALVINGS = 6
NEARBY, CHECKS, CHECK_HALVINGS = 0.03, 5, 3  # of the lift, beside the span's answer


class Tightest(NamedTuple):
    """Tightest pass of one sheet on one machine, either way.

    radius, loaded: of the mid-line, free and under the rolls (mm); NaN where no pass
    leaves a set; lift (mm); way: fed toward, "" without a pass; limit: what keeps it
    from being tighter; by: what found it; the rest: what the pass asks for.
    """

    radius: float
    loaded: float
    strain: float
    lift: float
    way: str
    limit: str
    by: str
    grip_margin: float
    hand_force: float
    screw_force: float
    pinch_force: float
    roll_deflection: float


EFFORTS = Tightest._fields[-5:]


def _none(limit: str, by: str) -> Tightest:
    nan = math.nan
    return Tightest(nan, nan, nan, nan, "", limit, by, *(nan,) * 5)


def _radius(curvature: float) -> float:
    return 1.0 / curvature if curvature > HARDLY else math.inf


class Climb:
    """Passes of a case one way, and the raises before them, by the span solver."""

    def __init__(self, case: Case, way: Way) -> None:
        self.case, self.way = case, way
        self.bound = wrap_curvature(case.machine, case.sheet.thickness)
        self._passes = Follower(case, way, case.sheet.curvature)
        self._raises = Follower(case, "rest", case.sheet.curvature)
        self._raised: Steady | None = None
        self._lost = 0  # raises that were not found

    def at(self, lift: float) -> Pass | None:
        """Solve pass and raise at a lift (mm); None where no pass was found.

        Where the raise is lost, deep in wrap, the last that was found counts: its
        forces hardly rise there.
        """
        steady = self._passes.at(lift)
        if steady.status != SOLVED:
            return None
        if self._lost < TRIALS:
            raised = self._raises.at(lift)
            if raised.status == SOLVED:
                self._raised = raised
            else:
                self._lost += 1
        return self._judged(steady)

    def lies_on_roll(self, p: Pass) -> bool:
        """Whether more lift does nothing."""
        return 1.0 / p.loaded >= LIES * self.bound

    def _judged(self, steady: Steady) -> Pass:
        size, power = START[self.way]
        share = min(max(steady.loaded / self.bound, 0.0), 1.0)
        peak = 1.0 + size * (1.0 - share**power)
        asked, exceeds = self._asked(steady, peak)
        opening = steady.nip_opening
        if self._raised is not None:
            at_rest, more = self._asked(self._raised, 1.0)
            worst = (max(pair) for pair in zip(asked, at_rest, strict=True))
            asked = Effort(*worst)._replace(grip_margin=asked.grip_margin)
            exceeds += more
            opening = max(opening, self._raised.nip_opening)
        radius, loaded = _radius(steady.residual), _radius(steady.loaded)
        limit = sheet_limit(self.case, radius, loaded, steady.reach)
        return Pass(
            lift=steady.lift,
            way=self.way,
            radius=radius,
            loaded=loaded,
            strain=surface_strain(self.case, loaded),
            limit=exceeds[0] if exceeds else limit,
            grip_margin=asked.grip_margin,
            hand_force=asked.hand_force,
            screw_force=asked.screw_force,
            pinch_force=asked.pinch_force,
            roll_deflection=asked.roll_deflection,
            nip_opening=opening,
        )

    def _asked(self, steady: Steady, peak: float) -> tuple[Effort, list[str]]:
        """Efforts of the whole machine at ``peak`` times the drive; what exceeds."""
        drive = peak * abs(steady.drive)
        margin = self.case.machine.nip.friction * steady.grip - drive
        pushed, one = steady.pushed[np.newaxis], np.ones(1)
        asked = over_the_width(self.case, 0.0 * one, pushed, drive * one, margin * one)
        slack = grip_slack(self.case, self._passes.first_yield)
        found = exceeded(self.case, asked, drive, slack)
        return asked, [excess.kind for excess in found]


class _Found(NamedTuple):
    """Best pass one way, None where none can be made; what binds, "" where lost."""

    best: Pass | None
    limit: str

    @property
    def radius(self) -> float:
        """Of the best pass, mm; infinite without one."""
        return math.inf if self.best is None else self.best.radius


def _one_way(case: Case, way: Way) -> _Found:
    """Follow the passes one way until something binds."""
    longest, end = longest_lift(case)
    climb = Climb(case, way)
    best: Pass | None = None
    there: Pass | None = None
    lost = 0
    for number in range(FIRST, LIFTS + 1):
        there = climb.at(LAST * longest * number / LIFTS)
        if there is None:
            lost += 1
            if lost > TRIALS:
                return _Found(best, "")
            continue
        if not there.possible:
            return _between(climb, best, there)
        best = there
        if climb.lies_on_roll(there):
            return _Found(best, WRAP)
    return _Found(best, "" if there is None else end)


def _between(climb: Climb, good: Pass | None, bad: Pass) -> _Found:
    """Halve the lift between a pass that can be made and one that cannot."""
    for _ in range(HALVINGS):
        there = climb.at(0.5 * ((good.lift if good else 0.0) + bad.lift))
        if there is None:
            break
        good, bad = (there, bad) if there.possible else (good, there)
    return _Found(good, bad.limit)


def tightest(case: Case) -> Tightest:
    """Find the tightest pass of a case's sheet on its machine, either way.

    A pass toward the operator that lies on the upper roll is not bettered by one toward
    the rear. Where the span solver loses the pass (thin soft sheet), a harder sheet of
    the same thickness that does lie on the roll shows that this one does, and the
    section's law says what it springs back to; without one the stepped solver answers.
    """
    back = _one_way(case, "operator")
    if back.limit == WRAP:
        return _answer(back.best, WRAP, SPAN)
    if not back.limit:
        return _wrapped_sheet(case) or _by_steps(case)
    there = _one_way(case, "rear")
    best = there if there.limit and there.radius < back.radius else back
    return _answer(best.best, best.limit, SPAN)


def _answer(p: Pass | None, limit: str, by: str) -> Tightest:
    """Read an answer from the tightest pass that can be made, and what binds it."""
    if p is None or math.isinf(p.radius):
        # of itself the sheet stays flat where only the lift or the roll ends it
        return _none(NO_SET if limit in (WRAP, *ENDS) else limit, by)
    values = p._asdict()
    kept = {name: values[name] for name in Tightest._fields if name in values}
    return Tightest(**(kept | {"limit": limit, "by": by}))


def _wrapped_sheet(case: Case) -> Tightest | None:
    """Bend the section to the upper roll; efforts are those of a harder sheet."""
    sheet = case.sheet
    if sheet.curvature or sheet.material.curve is not None:
        return None
    held = width_regime(pass_case(case, longest_lift(case)[0], "operator")).held
    law = section_law(sheet.material, sheet.thickness, case.model, held)
    (bent,) = bends(law, [1.0 / wrap_curvature(case.machine, sheet.thickness)])
    if math.isinf(bent.free):  # not even the roll's curvature leaves a set
        return _none(NO_SET, WRAPPED_SHEET)
    if sheet_limit(case, bent.free, bent.loaded, 0.0) != WRAP:
        return None
    for times in HARDER:
        harder = with_yield(case, times * sheet.material.yield_strength)
        found = _one_way(harder, "operator")
        if found.limit == WRAP and found.best is not None:
            strain = surface_strain(case, bent.loaded)
            on_roll = found.best._replace(
                radius=bent.free, loaded=bent.loaded, strain=strain
            )
            return _answer(on_roll, WRAP, WRAPPED_SHEET)
    return None


def with_yield(case: Case, strength: float) -> Case:
    """Give a case with another yield strength (MPa), all else the same."""
    material = case.sheet.material.model_copy(update={"yield_strength": strength})
    sheet = case.sheet.model_copy(update={"material": material})
    return case.model_copy(update={"sheet": sheet})


def _by_steps(case: Case) -> Tightest:
    """Answer by the stepped solver, toward the operator: halving of the lift."""
    longest, end = longest_lift(case)
    high = one_pass(case, LAST * longest, "operator")
    if high.possible:
        return _stepped(high, end)
    return _halved(case, None, high, STEPPED_HALVINGS)


def checked(case: Case, found: Tightest) -> Tightest:
    """Ask the stepped solver the same question, from where the span found its answer.

    Up or down in steps of the lift until a pass that can be made lies beside one that
    cannot, then halved.
    """
    longest, end = longest_lift(case)
    way: Way = "rear" if found.way == "rear" else "operator"
    here = one_pass(case, found.lift, way)
    if here.possible and found.limit in (WRAP, end):
        return _stepped(here, end)
    good, bad = (here, None) if here.possible else (None, here)
    step = NEARBY if here.possible else -NEARBY
    for number in range(1, CHECKS + 1):
        lift = min((1.0 + step * number) * found.lift, LAST * longest)
        there = one_pass(case, lift, way)
        good, bad = (there, bad) if there.possible else (good, there)
        if good is not None and (bad is not None or lift == LAST * longest):
            break
    if bad is None:
        return _stepped(good, end)
    return _halved(case, good, bad, CHECK_HALVINGS)


def _halved(case: Case, good: Pass | None, bad: Pass, halvings: int) -> Tightest:
    """Halve the lift between a pass that can be made and one that cannot."""
    for _ in range(halvings):
        lift = 0.5 * ((good.lift if good else 0.0) + bad.lift)
        there = one_pass(case, lift, bad.way)
        good, bad = (there, bad) if there.possible else (good, there)
    return _stepped(good, bad.limit)


def _stepped(p: Pass | None, limit: str) -> Tightest:
    wraps = p is not None and p.limit == WRAP
    return _answer(p, WRAP if wraps else limit, STEPPED)

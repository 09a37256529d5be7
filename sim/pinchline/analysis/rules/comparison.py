"""Comparison of hand rules with the model for a job, and where they are good.

The sheet of the case is rolled over the whole range of lift, both ways; a few passes to
the end of the sheet tell its flats; pure bending covers radius, thickness and temper.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import parallel
from pinchline.analysis.explain import explain_flats
from pinchline.analysis.limits.limits import WAYS, limits
from pinchline.analysis.limits.single_pass import on_blank, one_pass
from pinchline.analysis.rules import rule_book as book
from pinchline.analysis.rules.pure_bending import (
    FAIR_RULE_ERROR,
    GOOD_RULE_ERROR,
    RulePoint,
    allowance_points,
    diameter_point,
    least_bend_points,
    metal,
    pure_bending,
    springback_points,
    strain_points,
)
from pinchline.case.layout import rear_roll_centre
from pinchline.case.moves import Feed, Lift, Lower, Place
from pinchline.errors import InputError, SolverError
from pinchline.solvers.regime import width_regime
from pinchline.solvers.rolls import GRIP_EDGE
from pinchline.solvers.section_bend import PureBend
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from collections.abc import Callable

    from pinchline.analysis.limits.limits import Limits
    from pinchline.analysis.limits.single_pass import SinglePass, Way
    from pinchline.case.case import Case
    from pinchline.results.schema import Result

    Progress = Callable[[float, str], None]

LIMITS_SHARE_OF_TIME = 0.8  # of the work: the passes of the limits
MEASURED_FLAT_LIFTS = 4  # lifts at which the flats are measured
# sheet from the mark, in distances from nip to rear roll; the edge lies over its axis
FLAT_AHEAD_DISTANCES, FLAT_BEHIND_DISTANCES = 1.0, 1.6
NEEDS_FLAT_SHEET = "the rule begins with flat sheet"
NEEDS_PYRAMID_SET = "a pyramid set's rule; this is a pinch set"
NO_RATING = "the machine's card names no rated thickness"


class MeasuredFlats(NamedTuple):
    """Edge flats of one pass toward the rear roll to the end of the sheet, mm.

    lead_in, run_out: by straightedge; unbent: run-out by moment. NaN where nothing is
    bent or the pass was stopped.
    """

    lift: float
    lead_in: float
    run_out: float
    unbent: float


class MeasuredPlateau(NamedTuple):
    """Even stretch of the case's own part: inside radius, angle turned, length."""

    inside: float
    turned: float
    length: float


@dataclass(frozen=True)
class RuleComparison:
    """Comparison of all rules: their points and the passes behind them.

    chosen: the case's own lift (mm) each way; own: those passes; flats: by rising lift.
    """

    points: tuple[RulePoint, ...]
    limits: Limits
    chosen: dict[Way, float]
    flats: tuple[MeasuredFlats, ...]
    material: str

    def of(self, rule: str) -> list[RulePoint]:
        """Points of one rule."""
        return [p for p in self.points if p.rule == rule]

    @property
    def job(self) -> list[RulePoint]:
        """The case's own points, in the order of the rule book."""
        order = list(book.RULES)
        return sorted(
            (p for p in self.points if p.job), key=lambda p: order.index(p.rule)
        )


def compare(
    case: Case, *, workers: int | None = None, progress: Progress | None = None
) -> RuleComparison:
    """Compare every hand rule with the model, at the case and over its range.

    Parameters
    ----------
    case : its sheet and machine count; its moves say at which lift each way
    workers : processes; None takes all cores
    progress : called with the share done (0..1) and what is being done
    """

    def report(share: float, words: str) -> None:
        if progress is not None:
            progress(share, words)

    rolled = limits(
        case,
        quick=True,
        workers=workers,
        progress=lambda share, words: report(LIMITS_SHARE_OF_TIME * share, words),
    )
    chosen = chosen_lifts(case, rolled)
    passes = [p for way in rolled.ways for p in way.passes]
    jobs = [(case, chosen[way], way) for way in WAYS]
    lifts = _flat_lifts(rolled, chosen["rear"])
    with parallel.workers(workers, len(lifts) + 1) as do_all:
        report(LIMITS_SHARE_OF_TIME, "the job itself")
        own = list(do_all(_roll, jobs))
        report(0.85, "flats and the part")
        flats = list(do_all(_flats, [(case, lift) for lift in lifts]))
        (plateau,) = do_all(_plateau, [case])
    report(0.97, "pure bending over radius, thickness and temper")
    held = width_regime(case).held
    points = [q for p in passes for q in _pass_points(case, p, held, job=False)]
    points += [q for p in own for q in _pass_points(case, p, held, job=True)]
    points += [q for f in flats for q in _flat_points(case, f, chosen["rear"])]
    points += list(_machine_points(case, rolled))
    t, material = case.sheet.thickness, case.sheet.material.name
    points += allowance_points(
        plateau.inside, t, plateau.turned, plateau.length, job=True
    )
    points += pure_bending(case, held)
    return RuleComparison(tuple(points), rolled, chosen, tuple(flats), material)


def chosen_lifts(case: Case, rolled: Limits) -> dict[Way, float]:
    """Give the lift (mm) of the case's first feed each way.

    Where it has none, that of its other feed; without any, that of the tightest pass.
    """
    found: dict[Way, float] = {}
    for step in case.program:
        if isinstance(step.move, Feed) and step.lift_before > 0.0:
            found.setdefault(step.move.toward, step.lift_before)
    best = rolled.tightest
    spare = best.tightest.lift if best and best.tightest else rolled.longest
    other = next(iter(found.values()), spare)
    return {way: found.get(way, other) for way in WAYS}


def _roll(answers: tuple[Case, float, Way]) -> SinglePass:
    return one_pass(*answers)


def _pass_points(
    case: Case, p: SinglePass, held: float, *, job: bool
) -> list[RulePoint]:
    """Ask the rules of circle, springback and strain of one pass."""
    t = case.sheet.thickness
    curved = NEEDS_FLAT_SHEET if case.sheet.curvature else ""
    where = {"axis": "lift", "at": p.lift, "way": p.way, "job": job}
    where["material"] = case.sheet.material.name
    free, loaded = (p.radius, p.loaded) if p.possible else (math.nan, math.nan)
    points = []
    for rule, answer in _circles(case, p.lift).items():
        for of, model in (("radius under rolls", loaded), ("free radius", free)):
            points.append(
                RulePoint(
                    rule=rule, of=of, low=answer, high=answer, model=model,
                    thickness=t, outside=curved, **where,  # type: ignore[arg-type]
                )
            )  # fmt: skip
    bent = PureBend(loaded, free)
    if math.isfinite(loaded):
        of_sheet = metal(case.sheet.material, held)
        sprung = springback_points(bent, t, of_sheet, **where)
        points += [replace(q, outside=q.outside or curved) for q in sprung]
        strains = strain_points(bent, t, **where)
        points += [replace(q, outside=curved) for q in strains]
    return points


def _circles(case: Case, lift: float) -> dict[str, float]:
    """Give the mid-line radius (mm) by both circles at a lift."""
    t, machine = case.sheet.thickness, case.machine
    x, y = rear_roll_centre(machine, t, lift)
    reach = machine.rolls.rear_radius + 0.5 * t
    return {
        "circle": book.circle_radius(x, y, reach),
        "chord": book.chord_radius(x, y + reach),
    }


def _flat_lifts(rolled: Limits, own: float) -> list[float]:
    """Choose lifts of forward passes that leave a set, the case's own among them."""
    forward = next(way for way in rolled.ways if way.way == "rear")
    good = [p.lift for p in forward.passes if p.possible and math.isfinite(p.radius)]
    if not good:
        return [own]
    places = np.linspace(0, len(good) - 1, min(MEASURED_FLAT_LIFTS, len(good)))
    return sorted({own, *(good[round(i)] for i in places)})


def flat_case(case: Case, lift: float, ahead: float = FLAT_AHEAD_DISTANCES) -> Case:
    """Give the job of one pass toward the rear until the nip just holds the sheet.

    ``ahead``: sheet beyond the nip at the start, in distances to the rear roll.
    """
    distance = case.machine.rear.distance
    length = (ahead + FLAT_BEHIND_DISTANCES) * distance
    least = GRIP_EDGE * case.sheet.thickness
    moves = (
        Place(at=FLAT_BEHIND_DISTANCES * distance),
        Lift(to=lift),
        Feed(toward="rear", leave=least),
        Lower(),
    )
    return on_blank(case, length, moves, "flats")


def _flats(answers: tuple[Case, float]) -> MeasuredFlats:
    case, lift = answers
    nothing = MeasuredFlats(lift, *(math.nan,) * 3)
    try:
        result = run_case(flat_case(case, lift))
    except (InputError, SolverError):  # curved sheet: the blank closes on itself
        return nothing
    operator, rear = explain_flats(result)
    if result.stopped or "not bent at all" in (operator.reason, rear.reason):
        return nothing
    return MeasuredFlats(
        lift, rear.straightedge, operator.straightedge, operator.moment
    )


def _flat_points(case: Case, f: MeasuredFlats, own: float) -> list[RulePoint]:
    """Ask the rules of the edge flats of one pass to the end of the sheet."""
    t, d = case.sheet.thickness, case.machine.rear.distance
    half, whole = (
        (share * d, share * d)
        for share in (book.LEAD_IN_SPAN_SHARE, book.LEAD_IN_DISTANCE_SHARE)
    )
    short, general = (
        (low * t, high * t)
        for low, high in (book.PREBENT_FLAT_THICKNESSES, book.FLAT_THICKNESSES)
    )
    edge, by = "lead-in flat, straightedge", "run-out flat, "
    answers = [
        ("lead-in half", edge, half, f.lead_in, NEEDS_PYRAMID_SET),
        ("lead-in", edge, whole, f.lead_in, ""),
        ("run-out prebent", f"{by}straightedge", short, f.run_out, ""),
        ("run-out prebent", f"{by}moment", short, f.unbent, ""),
        ("run-out", f"{by}straightedge", general, f.run_out, ""),
        ("run-out", f"{by}moment", general, f.unbent, ""),
    ]
    name, job = case.sheet.material.name, f.lift == own
    return [
        RulePoint(
            rule, of, "lift", f.lift, *answer, model, name, t, "rear", outside, job=job
        )
        for rule, of, answer, model, outside in answers
    ]


def _machine_points(case: Case, rolled: Limits) -> list[RulePoint]:
    """Ask tightest diameter and least bend of the tightest pass that can be made."""
    t, name = case.sheet.thickness, case.sheet.material.name
    roll = case.machine.rolls.upper_radius
    best = rolled.tightest.tightest if rolled.tightest else None
    radius, loaded = (best.radius, best.loaded) if best else (math.nan, math.nan)
    own = diameter_point(roll, radius - 0.5 * t, t, material=name, job=True)
    low, high = book.RATED_DIAMETER_RATIO
    rated = replace(own, rule="diameter rated", low=low, high=high, outside=NO_RATING)
    return [own, rated, *least_bend_points(name, t, loaded - 0.5 * t, job=True)]


def _plateau(case: Case) -> MeasuredPlateau:
    """Do the case's own programme and measure the even stretch of its part."""
    nothing = MeasuredPlateau(math.nan, math.nan, math.nan)
    if not case.moves:
        return nothing
    try:
        result: Result = run_case(case)
    except SolverError:
        return nothing
    low, high = result.summary["zone_from"], result.summary["zone_to"]
    s, curvature = result.sheet["s"], result.sheet["curvature_residual"]
    here = (s > low) & (s < high)
    if not np.any(here):
        return nothing
    length = float(np.count_nonzero(here)) * result.inputs["element"]
    turned = float(np.sum(curvature[here])) * result.inputs["element"]
    inside = result.summary["radius_fit"] - 0.5 * case.sheet.thickness
    return MeasuredPlateau(inside, abs(turned), length)


def verdict(point: RulePoint) -> str:
    """Say how good a rule is at one point."""
    if math.isnan(point.model):
        return "no answer of the model"
    if point.outside:
        return f"outside its own range: {point.outside}"
    if point.bound:
        return "does not bind" if point.high <= point.model else "binds"
    if point.good(GOOD_RULE_ERROR):
        return "good to 5 %"
    return "good to 10 %" if point.good(FAIR_RULE_ERROR) else "fails"

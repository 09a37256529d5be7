"""Hand rules compared with pure bending, over radius, thickness and temper.

A point is one answer of one rule beside the model's; a series of points along an axis
says where a rule is good.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from pinchline.analysis.rules import rule_book as book
from pinchline.case.metal.tempers import tempers
from pinchline.solvers.layers import bending_modulus, plastic_modulus, section_law
from pinchline.solvers.section_bend import bend_and_release

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pinchline.case.case import Case
    from pinchline.case.metal.material import Material
    from pinchline.solvers.section_bend import PureBend

# errors of a rule that is good, and of one that will do
GOOD_RULE_ERROR = 0.05
FAIR_RULE_ERROR = 0.10
RADIUS_OVER_THICKNESS = tuple(
    float(r) for r in np.geomspace(20.0, 300.0, 28)
)  # R/t under the rolls
GAUGES_IN = (0.016, 0.025, 0.040, 0.063, 0.090, 0.125, 0.190)  # in
SPRINGBACK_RULES = ("cubic", "cubic wide", "plastic", "hardening")
SQUARE_BEND_DEG = 90.0  # deg, the bend of which the allowance is taken
_IN = 25.4

Axis = Literal["lift", "R/t", "thickness"]


@dataclass(frozen=True)
class RulePoint:
    """A rule's value, from low to high, and the model's, in mm or 1.

    rule: key of the rule book; of: what is asked; axis, at: where in the range (mm, or
    1 for R/t); material, thickness (mm), way: of the sheet and the pass; outside: why
    the rule does not claim to hold here, "" where it does; bound: it says what must not
    be, so that it is no estimate; job: whether it is the case's own.
    """

    rule: str
    of: str
    axis: Axis
    at: float
    low: float
    high: float
    model: float
    material: str = ""
    thickness: float = math.nan
    way: str = ""
    outside: str = ""
    bound: bool = False
    job: bool = False

    @property
    def ratio(self) -> float:
        """Rule over model; 1 inside a range or where both say flat; NaN unknown."""
        if math.isnan(self.model) or math.isnan(self.low):
            return math.nan
        if self.low <= self.model <= self.high:
            return 1.0
        nearest = self.high if self.model > self.high else self.low
        if math.isinf(self.model):
            return 0.0
        return nearest / self.model if self.model else math.inf

    @property
    def error(self) -> float:
        """Relative error of the rule; infinite where only the rule says flat."""
        return self.ratio - 1.0

    def good(self, within: float) -> bool:
        """Whether the rule claims to hold here and is right within a share."""
        return not self.outside and not self.bound and abs(self.error) <= within


class RuleMetal(NamedTuple):
    """Constants of the hand rules: moduli, yield (MPa), hardening, strip or not.

    youngs, strength: in tension; modulus, flow: as the strip bends by its width; h:
    tangent modulus over modulus in bending.
    """

    youngs: float
    strength: float
    modulus: float
    flow: float
    h: float


def metal(material: Material, held: float) -> RuleMetal:
    """Give what the rules ask of a material; of clad sheet, that of the whole sheet."""
    youngs, strength = material.youngs_modulus, material.yield_strength
    tangent = material.tangent_modulus
    if material.clad is not None:
        skin = 2.0 * material.clad.share
        youngs += skin * (material.clad.youngs_modulus - youngs)
        strength += skin * (material.clad.yield_strength - strength)
        tangent += skin * (material.clad.tangent_modulus - tangent)
    whole = material.model_copy(update={"youngs_modulus": youngs})
    modulus = bending_modulus(whole, held)
    flow = strength * (1.0 + held * (2.0 / math.sqrt(3.0) - 1.0))
    hard = plastic_modulus(youngs, tangent) * (1.0 + held / 3.0)
    return RuleMetal(youngs, strength, modulus, flow, hard / (modulus + hard))


def springback_points(
    bend: PureBend, thickness: float, of: RuleMetal, **where: object
) -> Iterator[RulePoint]:
    """Ask the four springback rules for the free radius of a bend."""
    r, t = bend.loaded, thickness
    c = 0.5 / book.gardiner_number(r, t, of.modulus, of.flow)
    x = book.gardiner_number(r, t, of.youngs, of.strength)
    elastic = "not yielded by its own x above 0.5"
    answers = {
        "cubic": book.cubic(r, t, of.youngs, of.strength),
        "cubic wide": book.cubic(r, t, of.modulus, of.flow),
        "plastic": book.fully_plastic(r, t, of.modulus, of.flow),
        "hardening": book.hardening(r, t, of.modulus, of.flow, of.h),
    }
    outside = {
        "cubic": elastic if x > 0.5 else "",
        "cubic wide": elastic if c < 1.0 else "",
        "plastic": "elastic core over a third of t" if c < 3.0 else "",
        "hardening": "not yielded by its own c below 1" if c < 1.0 else "",
    }
    for rule, free in answers.items():
        yield _point(rule, "free radius", free, bend.free, outside[rule], where, r, t)


def strain_points(
    bend: PureBend, thickness: float, **where: object
) -> Iterator[RulePoint]:
    """Ask the strain of the free part's inside radius, where a bend is left."""
    r, t = bend.loaded, thickness
    if math.isfinite(bend.free):
        rule = book.surface_strain(bend.free - 0.5 * t, t)
        yield _point("strain", "surface strain", rule, 0.5 * t / r, "", where, r, t)


def _point(
    rule: str,
    of: str,
    answer: float,
    model: float,
    outside: str,
    where: dict[str, object],
    radius: float,
    thickness: float,
) -> RulePoint:
    place: dict[str, object] = {"axis": "R/t", "at": radius / thickness} | where
    return RulePoint(
        rule=rule,
        of=of,
        low=answer,
        high=answer,
        model=model,
        outside=outside,
        thickness=thickness,
        **place,  # type: ignore[arg-type]
    )


def pure_bending(case: Case, held: float) -> list[RulePoint]:
    """Bend every temper and gauge to the whole range of R/t and ask the rules."""
    points: list[RulePoint] = []
    wrap = case.machine.rolls.upper_radius
    for name, gauges in tempers(case, [_IN * gauge for gauge in GAUGES_IN]).items():
        for thickness, material in gauges:
            law = section_law(material, thickness, case.model, held)
            of = metal(material, held)
            radii = [ratio * thickness for ratio in reversed(RADIUS_OVER_THICKNESS)]
            for bend in bend_and_release(law, radii):
                points += springback_points(bend, thickness, of, material=name)
                points += strain_points(bend, thickness, material=name)
            if wrap < thickness:
                continue
            (at_wrap,) = bend_and_release(law, [wrap + 0.5 * thickness])
            inside = at_wrap.free - 0.5 * thickness
            points.append(diameter_point(wrap, inside, thickness, material=name))
            points += least_bend_points(name, thickness, wrap)
    points += [
        p
        for ratio in (1.0, 2.0, 5.0, *RADIUS_OVER_THICKNESS)
        for p in _allowances(ratio)
    ]
    return points


def _allowances(ratio: float) -> Iterator[RulePoint]:
    """Ask both allowances for a square bend of a sheet one thick."""
    turned = math.radians(SQUARE_BEND_DEG)
    yield from allowance_points(ratio, 1.0, turned, turned * (ratio + 0.5))


def allowance_points(
    inside: float, thickness: float, turned: float, length: float, *, job: bool = False
) -> Iterator[RulePoint]:
    """Ask both allowances for the length (mm) of mid-line that turns by an angle."""
    allowances = {
        "allowance": book.bend_allowance,
        "allowance k": book.bend_allowance_k,
    }
    for rule, answer in allowances.items():
        value = answer(inside, thickness, math.degrees(turned))
        yield RulePoint(
            rule, "length of the bend", "R/t", inside / thickness, value, value,
            length, thickness=thickness, job=job,
        )  # fmt: skip


def diameter_point(
    roll: float, inside: float, thickness: float, *, material: str, job: bool = False
) -> RulePoint:
    """Ask the tightest inside diameter over that of the upper roll."""
    return RulePoint(
        "diameter", "inside diameter over roll's", "thickness", thickness,
        *book.TIGHTEST_DIAMETER_RATIO, inside / roll, material, thickness, job=job,
    )  # fmt: skip


def least_bend_points(
    alloy: str, thickness: float, reached: float, *, job: bool = False
) -> Iterator[RulePoint]:
    """Ask both tables for the least inside radius, beside what the machine reaches."""
    table = book.least_bend(alloy, thickness)
    shop = book.least_bend_shop(alloy, thickness)
    answers = {"least bend": table, "least bend shop": shop and (shop, shop)}
    for rule, answer in answers.items():
        low, high = answer or (math.nan, math.nan)
        yield RulePoint(
            rule, "least inside radius", "thickness", thickness, low, high, reached,
            alloy, thickness, outside="" if answer else "no entry for this sheet",
            bound=True, job=job,
        )  # fmt: skip


def good_intervals(
    points: Sequence[RulePoint], within: float
) -> list[tuple[float, float]]:
    """Stretches of the axis on which every point of a rule is good within a share."""
    by_place = groupby(sorted(points, key=lambda p: p.at), key=lambda p: round(p.at, 6))
    places = [(at, all(p.good(within) for p in here)) for at, here in by_place]
    runs = groupby(places, key=lambda place: place[1])
    stretches = [[at for at, _ in run] for good, run in runs if good]
    return [(run[0], run[-1]) for run in stretches]

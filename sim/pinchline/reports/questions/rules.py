"""Comparison of hand rules with the model, as text and as a table."""

from __future__ import annotations

import math
import textwrap
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pinchline import units
from pinchline.analysis.rules.comparison import verdict
from pinchline.analysis.rules.pure_bending import (
    FAIR_RULE_ERROR,
    GOOD_RULE_ERROR,
    good_intervals,
)
from pinchline.analysis.rules.rule_book import RULES
from pinchline.results.tables import Column, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pinchline.analysis.rules.comparison import RuleComparison
    from pinchline.analysis.rules.pure_bending import RulePoint
    from pinchline.units import System

UNITLESS_KEYS = ("surface strain", "inside diameter over roll's")
TEXT_WIDTH = 88
_TEXT_COLUMNS = (
    ("of", "what is asked"),
    ("axis", "what the range runs over"),
    ("material", "material"),
    ("way", "the way it is fed"),
    ("outside", "why the rule does not claim to hold"),
)
_NUMBER_COLUMNS = (
    ("at", "mm or 1", "place in the range: lift, thickness (mm) or R/t (1)"),
    ("thickness", "mm", "thickness of the sheet"),
    ("low", "mm or 1", "answer of the rule, its lower end"),
    ("high", "mm or 1", "answer of the rule, its upper end"),
    ("model", "mm or 1", "answer of the model"),
    ("ratio", "1", "rule over model, 1 inside the rule's interval"),
)


def rules_table(comparison: RuleComparison, title: str) -> Table:
    """Give every point as a row, the case's own first."""
    points = [*comparison.job, *(p for p in comparison.points if not p.job)]
    columns = [Column("rule", "1", "name of the rule", _text(_names(points)))]
    columns += [
        Column(name, "1", words, _text(getattr(p, name) for p in points))
        for name, words in _TEXT_COLUMNS
    ]
    columns += [
        Column(name, unit, words, np.array([getattr(p, name) for p in points]))
        for name, unit, words in _NUMBER_COLUMNS
    ]
    plain = ["1" if p.of in UNITLESS_KEYS else "mm" for p in points]
    columns += [
        Column("unit", "1", "unit of low, high and model", _text(plain)),
        Column(
            "job", "1", "1 for the case's own", np.array([int(p.job) for p in points])
        ),
        Column("verdict", "1", "how good", _text(verdict(p) for p in points)),
    ]
    about: dict[str, str | float | int] = {"title": title}
    about |= {r.name: f"{r.formula}; {r.source}" for r in RULES.values()}
    return Table("pinchline-rules", "point", tuple(columns), about)


def _names(points: Iterable[RulePoint]) -> list[str]:
    return [RULES[p.rule].name for p in points]


def _text(words: Iterable[str]) -> np.ndarray:
    return np.array(list(words), dtype=object)


def rules_words(comparison: RuleComparison, title: str, system: System) -> str:
    """Say the table of the case, then every rule with its source and a sentence."""
    lines = [title, "", f"{'':<36}{'rule':>18}{'model':>12}{'ratio':>8}"]
    told = ""
    for point in comparison.job:
        name = RULES[point.rule].name
        if name != told:
            lines.append(name)
            told = name
        lines.append(_row(point, system))
    lines += ["", "What each is worth:"]
    for key, rule in RULES.items():
        lines += ["", rule.name, f"  {rule.formula}", f"  source: {rule.source}"]
        said = rule_sentence(comparison, key, system)
        lines += textwrap.wrap(
            said, TEXT_WIDTH, initial_indent="  ", subsequent_indent="  "
        )
    lines += [
        "",
        *textwrap.wrap(
            "Radii of the mid-line unless called inside. R/t is that under the rolls; "
            "pure bending takes every card on file in the grain direction of the case. "
            "Of clad sheet the rules take the whole sheet's tensile values. Good means "
            "beside the model, at the strength of the card: real sheet differs. "
            "Over the range of lift the model is the span solver, whose radius was "
            "within 0.7 % of the stepped one's toward the rear and 2.3 % toward the "
            "operator; at the case's own lifts, and for its flats and part, it is the "
            "stepped one.",
            TEXT_WIDTH,
        ),
    ]
    return "\n".join(lines)


def _row(point: RulePoint, system: System) -> str:
    low, high, model = (
        answer_text(point, value, system)
        for value in (point.low, point.high, point.model)
    )
    answer = low if low == high else f"{low} .. {high}"
    ratio = "" if math.isnan(point.ratio) else f"{point.ratio:.3f}"
    if point.low < point.high and point.ratio == 1.0:
        ratio = "within"
    of = f"{point.of}{', ' + point.way if point.way and point.axis == 'lift' else ''}"
    return f"  {of:<34}{answer:>18}{model:>12}{ratio:>8}  {verdict(point)}".rstrip()


def answer_text(point: RulePoint, value: float, system: System) -> str:
    """Say one answer in its unit."""
    if math.isnan(value):
        return "none"
    if math.isinf(value):
        return "flat"
    if point.of in UNITLESS_KEYS:
        return f"{value:.3g}"
    return units.format(value, "length", system)


def rule_sentence(comparison: RuleComparison, key: str, system: System) -> str:
    """Say in plain words what a rule is worth here and over the range."""
    points = comparison.of(key)
    bounds = [p for p in points if p.bound]
    parts = [] if bounds else [_own_case_words(points)]
    if bounds:
        parts.append(_bound_words(bounds, comparison.material, system))
    elif all(p.outside for p in points):
        parts.append("the rule does not claim to hold here")
    else:
        parts += _over_lift([p for p in points if p.axis == "lift"], system)
        parts += _over_ratio(
            [p for p in points if p.axis == "R/t"], comparison.material
        )
        parts += _over_thickness([p for p in points if p.axis == "thickness"], system)
    rule = RULES[key]
    parts.append(f"its own range: {rule.holds}")
    return ". ".join(_capital(p) for p in (*parts, rule.why) if p) + "."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _own_case_words(points: Sequence[RulePoint]) -> str:
    """Say what it answers at the case itself."""
    said = []
    for p in (p for p in points if p.job and not math.isnan(p.ratio)):
        direction = f" toward the {p.way}" if p.way else ""
        ratio = "within" if p.low < p.high and p.ratio == 1.0 else f"{p.ratio:.2f} of"
        said.append(f"{ratio} the model's {p.of}{direction}")
    return f"here {'; '.join(said)}" if said else "no answer here"


def _valid_ranges(points: Sequence[RulePoint], within: float, form: str) -> str:
    """Say the stretches on which a rule is good, or that there is none."""
    runs = good_intervals(points, within)
    pieces = [
        f"at {a:{form}}" if a == b else f"from {a:{form}} to {b:{form}}"
        for a, b in runs
    ]
    return " and ".join(pieces) if pieces else "nowhere"


def validity_words(points: Sequence[RulePoint], form: str) -> str:
    """Say where a rule is good to 5 and to 10 %; beyond that it fails."""
    fine, fair = (
        _valid_ranges(points, share, form)
        for share in (GOOD_RULE_ERROR, FAIR_RULE_ERROR)
    )
    if fair == "nowhere":
        return "fails throughout"
    if fine == fair:
        return f"good to 5 % {fine}, fails elsewhere"
    return f"good to 5 % {fine}, to 10 % {fair}, fails elsewhere"


def _over_lift(points: Sequence[RulePoint], system: System) -> list[str]:
    """Say over the lifts that leave a set, each answer and way by itself."""
    groups = dict.fromkeys((p.of, p.way) for p in points if not p.outside)
    unit = "in" if system == "inch" else "mm"
    said = []
    for of, direction in groups:
        here = [
            _in_units(p, system)
            for p in points
            if (p.of, p.way) == (of, direction) and math.isfinite(p.model)
        ]
        if here:
            words = validity_words(here, ".3g")
            low, high = min(p.at for p in here), max(p.at for p in here)
            over = f"{low:.3g} to {high:.3g} {unit} lift"
            said.append(f"{of} toward the {direction}, over {over}: {words}")
    return said


def _in_units(point: RulePoint, system: System) -> RulePoint:
    scale = 1.0 / 25.4 if system == "inch" else 1.0
    return replace(point, at=point.at * scale)


def _over_ratio(points: Sequence[RulePoint], own: str) -> list[str]:
    """Say over R/t in pure bending: the case's temper, then soft to hard."""
    tempers = list(dict.fromkeys(p.material for p in points if not p.job))
    if not tempers:
        return []
    said = []
    if own in tempers:
        mine = [p for p in points if p.material == own and not p.job]
        said.append(f"{own} over R/t, at every gauge: {validity_words(mine, '.0f')}")
    elif tempers == [""]:
        return [f"over inside R/t: {validity_words(points, '.0f')}"]
    reach = []
    for temper in tempers:
        runs = good_intervals(
            [p for p in points if p.material == temper], FAIR_RULE_ERROR
        )
        reach.append(f"{temper} {runs[0][1]:.0f}" if runs else f"{temper} nowhere")
    said.append(f"good to 10 % up to R/t, soft to hard: {', '.join(reach)}")
    return said


def _over_thickness(points: Sequence[RulePoint], system: System) -> list[str]:
    """Say over thickness at the machine's tightest, temper by temper."""
    said = []
    for temper in dict.fromkeys(p.material for p in points):
        here = [_in_units(p, system) for p in points if p.material == temper]
        said.append(f"{temper} {_valid_ranges(here, FAIR_RULE_ERROR, '.3g')}")
    unit = "in" if system == "inch" else "mm"
    return [f"good to 10 % in {unit} of thickness: {'; '.join(said)}"] if said else []


def _bound_words(points: Sequence[RulePoint], own: str, system: System) -> str:
    """Say whether a table keeps the sheet from what the machine reaches."""
    mine = [p for p in points if p.material == own and not p.outside]
    if not mine:
        return f"the table has no entry for {own}"
    requirements = [
        f"here it asks for {answer_text(p, p.high, system)} at most, where the machine "
        f"reaches {answer_text(p, p.model, system)}. "
        for p in mine
        if p.job
    ]
    binds = [p.at for p in mine if p.high > p.model]
    thin, thick, first = (
        units.format(value, "length", system)
        for value in (
            min(p.at for p in mine),
            max(p.at for p in mine),
            min(binds, default=0.0),
        )
    )
    words = f"it binds for {own} from {first} up: this machine is tighter"
    if not binds:
        least = max(p.high / p.model for p in mine)
        words = (
            f"for {own} of {thin} to {thick} it binds nowhere on this machine: it asks "
            f"for {least:.2f} of the radius that the roll makes, at most"
        )
    return "".join(requirements) + _capital(words)

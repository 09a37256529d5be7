"""All checks together: collected, and rendered as text or as a Markdown table."""

from __future__ import annotations

import math
from importlib import import_module
from typing import TYPE_CHECKING

from pinchline.errors import PinchlineError
from pinchline.verify.check import EQUAL_TOLERANCE_SHARE, Check

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Progress = Callable[[float, str], None]
    Dossier = dict[str, list[Check]]

TOPICS = {
    "Large deflection": "elastica",
    "Section": "section",
    "Yielding beam": "beam",
    "Springback": "springback",
    "Wide sheet and narrow strip": "width",
    "Roll on sheet": "contact",
    "Roll as a shaft": "shaft",
    "Shape of the part": "geometry",
    "Handbook values": "material",
    "Facts of the trade": "trade",
}
COLUMNS = (
    "what",
    "source",
    "published",
    "computed",
    "difference",
    "tolerance",
    "verdict",
)
_INDENT = 9  # of what stands under a row


def collect(progress: Progress | None = None) -> Dossier:
    """Make all checks, by topic; what cannot be computed is a check that fails."""
    found: Dossier = {}
    for i, (topic, module) in enumerate(TOPICS.items()):
        if progress is not None:
            progress(i / len(TOPICS), topic)
        found[topic] = list(_kept(topic, module))
    return found


def _kept(topic: str, module: str) -> Iterator[Check]:
    try:
        checks: Iterator[Check] = import_module(f"pinchline.verify.{module}").checks()
        yield from checks
    except PinchlineError as error:
        yield Check(
            what=f"the rest of: {topic}",
            source="",
            published=0.0,
            computed=math.nan,
            relative=False,
            reason=f"could not be computed: {error}",
        )


def failures(dossier: Dossier) -> int:
    """Return how many checks fail."""
    return sum(c.verdict == "FAILS" for checks in dossier.values() for c in checks)


def cells(check: Check) -> tuple[str, ...]:
    """Return the row of a check, in the order of ``COLUMNS``."""
    unit = f" {check.unit}" if check.unit else ""
    return (
        check.what,
        check.source,
        _published(check) + unit,
        number(check.computed) + unit,
        _difference(check),
        _share(check.tolerance, check),
        check.verdict,
    )


def as_text(dossier: Dossier) -> str:
    """Render for a terminal: a row of numbers, under it source and reasons."""
    names = ("verdict", "published", "computed", "difference", "tolerance", "what")
    lines = [_columns(names)]
    for topic, checks in dossier.items():
        lines += ["", topic]
        for check in checks:
            what, source, *values, verdict = cells(check)
            lines.append(_columns((verdict, *values, what)))
            lines.append(f"{'':<{_INDENT}}source: {source}")
            lines.append(f"{'':<{_INDENT}}tolerance: {check.reason}")
            if check.finding:
                lines.append(f"{'':<{_INDENT}}finding: {check.finding}")
    return "\n".join([*lines, "", tally(dossier)])


def _columns(texts: tuple[str, ...]) -> str:
    verdict, published, computed, difference, tolerance, what = texts
    return (
        f"{verdict:<{_INDENT}}{published:>20}{computed:>20}{difference:>14}"
        f"{tolerance:>12}  {what}"
    )


def as_markdown(dossier: Dossier) -> str:
    """Render as one Markdown table."""
    lines = [_row(COLUMNS), _row(["---"] * len(COLUMNS))]
    notes = []
    for topic, checks in dossier.items():
        lines.append(_row([f"**{topic}**", *[""] * (len(COLUMNS) - 1)]))
        for check in checks:
            row = list(cells(check))
            if check.finding and check.finding not in notes:
                notes.append(check.finding)
            if check.finding:
                row[-1] += f" {notes.index(check.finding) + 1}"
            lines.append(_row(row))
    lines += ["", tally(dossier)]
    lines += ["", *(f"{i}. {note}." for i, note in enumerate(notes, 1))]
    return "\n".join(lines).rstrip()


def tally(dossier: Dossier) -> str:
    """Return how many checks hold, are findings, fail."""
    checks = [check for rows in dossier.values() for check in rows]
    counts = {
        word: sum(check.verdict == word for check in checks)
        for word in ("holds", "finding", "FAILS")
    }
    return (
        f"{len(checks)} checks: {counts['holds']} hold, {counts['finding']} are "
        f"findings (a known difference), {counts['FAILS']} fail."
    )


def number(value: float) -> str:
    """Return four digits of a number, which no machine's rounding moves."""
    if not math.isfinite(value):
        return "none"
    if value != 0.0 and not 1.0e-3 <= abs(value) < 1.0e6:
        return f"{value:.3e}"
    digits = max(0, 3 - math.floor(math.log10(abs(value)))) if value else 0
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _row(texts: tuple[str, ...] | list[str]) -> str:
    return f"| {' | '.join(text.replace('|', '/') for text in texts)} |"


def _published(check: Check) -> str:
    low = number(check.published)
    if check.upper is None:
        return low
    if math.isinf(check.upper):
        return f"at least {low}"
    return f"{low} to {number(check.upper)}"


def _difference(check: Check) -> str:
    value = check.difference
    if not math.isfinite(value):
        return "none"
    if abs(value) <= EQUAL_TOLERANCE_SHARE * check.tolerance:
        return "0"
    return _share(value, check)


def _share(value: float, check: Check) -> str:
    """Return a difference or a tolerance: two digits, in percent where relative."""
    if value == 0.0:
        return "0"
    if check.relative:
        return f"{100.0 * value:.2g} %"
    return f"{value:.2g}{' ' if check.unit else ''}{check.unit}"

"""One check: a published value, the computed one, and the tolerance between them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Row = tuple[str, float, float]  # what, published value, computed value
Verdict = Literal["holds", "FAILS", "finding"]

EQUAL_TOLERANCE_SHARE = (
    0.01  # of a tolerance: below it rows of a table are equally good
)


@dataclass(frozen=True, kw_only=True)
class Check:
    """A published value or range against what the package computes.

    Attributes
    ----------
    what, source : in words; a value from memory says so
    published, upper : the value, or the range up to ``upper`` (inf: at least)
    computed : by the package
    unit : of both; empty for a plain number
    tolerance : how far outside they may part: relative, or in ``unit``
    reason : of the tolerance
    relative : whether tolerance and difference are shares of the published value
    finding : what a known deviation means; such a check does not hold, and fails only
        where the deviation outgrows its tolerance
    """

    what: str
    source: str
    published: float
    computed: float
    reason: str
    unit: str = ""
    tolerance: float = 0.0
    upper: float | None = None
    relative: bool = True
    finding: str = ""

    @property
    def difference(self) -> float:
        """Computed less published, or less the nearer end of the range."""
        low = self.published
        high = low if self.upper is None else self.upper
        if low <= self.computed <= high:
            return 0.0
        end = low if self.computed < low or math.isinf(high) else high
        apart = self.computed - end
        return apart / abs(end) if self.relative else apart

    @property
    def verdict(self) -> Verdict:
        """Whether it holds; a NaN does not."""
        if not abs(self.difference) <= self.tolerance:
            return "FAILS"
        return "finding" if self.finding else "holds"


def worst_of(
    of: str,
    rows: Iterable[Row],
    *,
    source: str,
    reason: str,
    tolerance: float,
    unit: str = "",
    relative: bool = True,
) -> Check:
    """Return the worst row of a table whose other columns are the same in all rows."""
    checks = [
        Check(
            what=what,
            source=source,
            published=published,
            computed=computed,
            reason=reason,
            unit=unit,
            tolerance=tolerance,
            relative=relative,
        )
        for what, published, computed in rows
    ]
    return worst(checks, of)


def worst(checks: Sequence[Check], of: str) -> Check:
    """Return the row of a table that parts most from it; it says of how many."""

    def share(check: Check) -> float:
        value = abs(check.difference) / check.tolerance
        if not math.isfinite(value):
            return math.inf
        return (
            value if value > EQUAL_TOLERANCE_SHARE else 0.0
        )  # rounding: the first row stands

    found = max(checks, key=share)
    return replace(found, what=f"{of}, worst of {len(checks)}: {found.what}")

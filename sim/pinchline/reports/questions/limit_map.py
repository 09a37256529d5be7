"""A map of the tightest radius as text and as table."""

from __future__ import annotations

import math
from collections import Counter
from itertools import groupby
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from pinchline import units
from pinchline.analysis.limits.limit_map import ALMOST_FLAT_RADIUS_MM
from pinchline.analysis.limits.tightest import SPAN, STEPPED, WRAPPED_SHEET
from pinchline.reports.questions.limits import demand_columns
from pinchline.results.tables import Column, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from typing import Any

    from numpy.typing import NDArray

    from pinchline.analysis.limits.limit_map import LimitMap, MapPoint
    from pinchline.units import System

T = TypeVar("T")

MOST_SHOWN = 6  # columns and rows of the printed table, at most; alloys are all shown
_SOLUTION_COLUMNS = (
    (
        "radius",
        "mm",
        "tightest residual radius of the mid-line, NaN where none is left",
    ),
    ("loaded", "mm", "radius under the rolls"),
    ("strain", "1", "largest surface strain"),
    ("lift", "mm", "lift of the rear roll from touch"),
)


def limit_map_table(limit_map: LimitMap, title: str) -> Table:
    """Give every point as a row: sheet, answer, and the stepped solver's beside it."""
    points = limit_map.points
    answers = [p.found for p in points]
    columns = [
        _numbers("thickness", "mm", "thickness", (p.thickness for p in points)),
        Column("material", "1", "alloy and temper", _text(p.material for p in points)),
        _numbers(
            "yield_strength",
            "MPa",
            "yield strength in bending",
            (p.yield_strength for p in points),
        ),
    ]
    columns += [
        _numbers(name, unit, words, (getattr(a, name) for a in answers))
        for name, unit, words in _SOLUTION_COLUMNS
    ]
    columns += [
        Column("toward", "1", "the way it is fed", _text(a.way for a in answers)),
        Column("limit", "1", "what binds", _text(str(a.limit or "") for a in answers)),
        Column("by", "1", "what found it", _text(a.by for a in answers)),
    ]
    columns += demand_columns([a.demand for a in answers])
    stepped = [p.stepped for p in points]
    columns += [
        _numbers(
            "stepped_radius",
            "mm",
            "the same by the stepped solver, on a sample",
            (s.radius if s else math.nan for s in stepped),
        ),
        Column(
            "stepped_limit",
            "1",
            "what binds by the stepped solver",
            _text(str(s.limit or "") if s else "" for s in stepped),
        ),
        _numbers(
            "error",
            "1",
            "radius over stepped_radius, less 1",
            (p.error for p in points),
        ),
    ]
    about: dict[str, str | float | int] = {"title": title, "map": limit_map.kind}
    return Table("pinchline-limit-map", "point", tuple(columns), about)


def _numbers(name: str, unit: str, words: str, values: Iterable[float]) -> Column:
    return Column(name, unit, words, np.array(list(values), dtype=np.float64))


def _text(words: Iterable[str]) -> NDArray[Any]:
    return np.array(list(words), dtype=object)


def rows_by_strength(limit_map: LimitMap) -> list[tuple[str, list[MapPoint]]]:
    """Rows of a map from soft to hard, each with its name."""

    def key(point: MapPoint) -> tuple[str, float]:
        by_yield = limit_map.kind == "yield"
        return ("", point.yield_strength) if by_yield else (point.material, 0.0)

    rows = [list(run) for _, run in groupby(limit_map.points, key=key)]
    return [(row[0].material, row) for row in rows]


def limit_map_words(limit_map: LimitMap, title: str, system: System) -> str:
    """Say the tightest radius over the map, what binds, and how far that is off."""
    rows = rows_by_strength(limit_map)
    thicknesses = sorted({p.thickness for p in limit_map.points})
    shown = _evenly(thicknesses)
    if limit_map.kind == "yield":
        rows = _evenly(rows)
    table = [["", *(units.format(t, "length", system) for t in shown)]]
    for name, row in rows:
        strength = units.format(row[0].yield_strength, "stress", system)
        by = {p.thickness: p for p in row}
        label = name if limit_map.kind == "alloy" else strength
        cells = [_cell(by[t], system) if t in by else "-" for t in shown]
        table.append([label, *cells])
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    lines = [title, "", "Tightest residual radius and what binds, by thickness", ""]
    for label, *cells in table:
        aligned = (f"  {cell:>{w}}" for cell, w in zip(cells, widths[1:], strict=True))
        lines.append(f"{label:<{widths[0]}}" + "".join(aligned))
    return "\n".join([*lines, "", *_account(limit_map)])


def _evenly(items: list[T]) -> list[T]:
    places = np.linspace(0, len(items) - 1, min(MOST_SHOWN, len(items)))
    return [items[round(float(place))] for place in places]


def _cell(point: MapPoint, system: System) -> str:
    answer = point.found
    limit = answer.limit.label if answer.limit else ""
    if math.isnan(answer.radius):
        return f"none: {limit}"
    if answer.radius > ALMOST_FLAT_RADIUS_MM:
        return f"almost flat: {limit}"
    return f"{units.format(answer.radius, 'length', system)} {limit}"


def _account(limit_map: LimitMap) -> Iterator[str]:
    kinds = Counter(p.found.limit for p in limit_map.points)
    counts = ", ".join(f"{kind or ''} {count}" for kind, count in kinds.most_common())
    yield f"What binds, of {len(limit_map.points)} sheets: {counts}."
    ways = Counter(p.found.by for p in limit_map.points)
    words = {
        SPAN: "by the span solver",
        WRAPPED_SHEET: "by the springback of sheet that lies on the roll",
        STEPPED: "by the stepped solver",
    }
    yield "Found " + ", ".join(f"{n} {words[by]}" for by, n in ways.most_common()) + "."
    errors = limit_map.errors
    if errors:
        median, worst = 100.0 * float(np.median(errors)), 100.0 * errors[-1]
        yield (
            f"On {len(errors)} of the sheets the stepped solver was asked as well: the "
            f"radius differs by {median:.1f} % in the middle, {worst:.1f} % at worst."
        )
    yield "Radii of the mid-line; the inside is half a thickness tighter."

"""A study in words and as a table of its points."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from pinchline.results.tables import Column, Table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.results.study_schema import StudyResult, Variable

ROW_FORMAT = "{:<28}{:>12}{:>12}{:>12}  {}"


def at_points(variable: Variable, result: StudyResult) -> NDArray[np.generic]:
    """Values of a coordinate or result at every point, flat, the last dimension first.

    Returns
    -------
    (points) in the order of the file
    """
    names = list(result.dimensions)
    values = variable.values
    for axis, name in enumerate(names):
        if name not in variable.dimensions:
            values = np.expand_dims(values, axis)
    shape = tuple(result.dimensions.values())
    return np.broadcast_to(values, shape).ravel()


def study_table(result: StudyResult) -> Table:
    """Give every computed point as a row: what was varied, what came of it."""
    done = result.done.ravel()
    columns = [
        Column(v.name, v.units or "1", v.long_name, at_points(v, result)[done])
        for v in (*result.coordinates.values(), *result.results.values())
    ]
    for name, words in (("event", result.event), ("message", result.message)):
        text = words.ravel()[done].astype(object)
        meaning = "what failed or stopped the point"
        columns.append(Column(name, "1", meaning, text))
    about = {"title": result.title, "study": result.study_text}
    return Table("pinchline-study-table", "point", tuple(columns), dict(about))


def study_words(result: StudyResult) -> str:
    """Say what was varied, the range of every result, and what failed."""
    done, count = int(result.done.sum()), result.done.size
    points = f"{done} points" if done == count else f"{done} of {count} points"
    lines = [result.title, "", f"{points}, varied:"]
    lines += [f"  {coordinate_words(v)}" for v in result.coordinates.values()]
    lines += ["", ROW_FORMAT.format("result", "least", "median", "most", "unit")]
    for variable in result.results.values():
        computed = variable.values[result.done]
        finite = computed[np.isfinite(computed)]
        cells = ["-"] * 3
        if finite.size:
            low, middle, high = np.quantile(finite, (0.0, 0.5, 1.0))
            cells = [f"{value:.5g}" for value in (low, middle, high)]
        lines.append(ROW_FORMAT.format(variable.name, *cells, variable.units))
    events = Counter(result.event[result.done & (result.event != "")].tolist())
    if events:
        lines += ["", "points with an event, which the file tells:"]
        lines += [f"  {number} {kind}" for kind, number in events.most_common()]
    return "\n".join(lines)


def coordinate_words(variable: Variable) -> str:
    """Say what a coordinate is and which values it takes."""
    values = variable.values
    if variable.words:
        what = ", ".join(dict.fromkeys(str(value) for value in values))
    elif values.size <= 6:
        what = f"{', '.join(f'{v:g}' for v in values)} {unit_words(variable.units)}"
    else:
        what = (
            f"{values.min():g} to {values.max():g} {unit_words(variable.units)}, "
            f"{np.unique(values).size} values"
        )
    return f"{variable.name} ({variable.key}): {what.rstrip()}"


def unit_words(units: str) -> str:
    """Return a unit as it is written behind a number; nothing for pure numbers."""
    return "" if units in ("", "1") else units

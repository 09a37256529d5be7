"""The profile of a wanted part from a file: points, curvature, or arcs of a drawing."""

import csv
import io
import re
from collections.abc import Iterator
from itertools import pairwise
from math import atan2, degrees, hypot, isfinite, pi
from pathlib import Path
from typing import NamedTuple

from pinchline import library, units
from pinchline.case.measured.columns import data_lines
from pinchline.case.outline.drawing import read_dxf
from pinchline.case.outline.points import MIN_OUTLINE_POINTS, Curvatures, OutlinePoints
from pinchline.errors import InputError
from pinchline.units import Dimension

PROFILE_KINDS = "a .csv of points (x, y) or curvature (s, curvature), or a .dxf"
MAX_PROFILE_ROWS = 20000
_HEADER_EXAMPLES = 'a first line such as "x [mm], y [mm]" or "s [mm], curvature [1/mm]"'
_HEADER_CELL = re.compile(
    r"([a-z]+)[\s_/]*[\[(]?\s*([^\[\]()]*?)\s*[\])]?", re.IGNORECASE
)
_COLUMNS: dict[tuple[str, str], tuple[Dimension, Dimension]] = {
    ("x", "y"): ("length", "length"),
    ("s", "curvature"): ("length", "curvature"),
}
_MAX_POINT_TURN = 0.5 * pi  # turn between points that no bent sheet makes


class NumberPair(NamedTuple):
    """Two numbers and the line they stand in."""

    line: int
    first: float
    second: float


def read_profile(name: str, *, folder: Path, file: str) -> OutlinePoints | Curvatures:
    """Read the profile that ``target.profile`` of a case names.

    The part curls up: a profile that turns the other way is mirrored.

    Parameters
    ----------
    name : as the case names it
    folder : where relative paths start
    file : the case, for the error

    Raises
    ------
    InputError
        that names file, line, value and what is allowed
    """
    path = folder / name
    suffix = path.suffix.lower()
    if suffix == ".csv":
        text = library.read_text(
            path, name, file, "target.profile", "a readable CSV file in UTF-8"
        )
        return _from_csv(text, str(path))
    if suffix == ".dxf":
        return upward(read_dxf(path, name, file), str(path))
    message = "is of no known kind"
    raise InputError(
        message,
        file=file,
        key="target.profile",
        value=name,
        allowed=PROFILE_KINDS,
    )


def _from_csv(text: str, where: str) -> OutlinePoints | Curvatures:
    names, rows = _table(text, where)
    first, second = (
        tuple(column) for column in zip(*(r[1:] for r in rows), strict=True)
    )
    if names == ("x", "y"):
        return upward(OutlinePoints(x=first, y=second), where)
    for before, after in pairwise(rows):
        if after.first < before.first:
            message = "s falls"
            allowed = "s that rises from line to line; the same s twice is a jump"
            raise _fault(message, where, after.line, f"{after.first:g} mm", allowed)
    if rows[-1].first <= rows[0].first:
        message = "the profile has no length"
        raise _fault(message, where, rows[-1].line, "", "s that rises")
    start = first[0]
    return upward(
        Curvatures(s=tuple(s - start for s in first), curvature=second), where
    )


def _table(text: str, where: str) -> tuple[tuple[str, str], list[NumberPair]]:
    lines, mark = data_lines(text)
    if not lines:
        message = "the profile is empty"
        raise InputError(message, file=where, allowed=_HEADER_EXAMPLES)
    head = next(csv.reader([lines[0][1]], delimiter=mark))
    names, factors = _head(head, where)
    rows = list(_rows(lines[1:], mark, factors, where))
    least = MIN_OUTLINE_POINTS if names[0] == "x" else 2
    if not least <= len(rows) <= MAX_PROFILE_ROWS:
        message = f"the profile has {len(rows)} rows of numbers"
        raise InputError(
            message, file=where, allowed=f"{least} to {MAX_PROFILE_ROWS} rows"
        )
    return names, rows


def _head(cells: list[str], where: str) -> tuple[tuple[str, str], tuple[float, float]]:
    matches = [_HEADER_CELL.fullmatch(cell.strip()) for cell in cells]
    named = [("", "") if m is None else (m[1].lower(), m[2]) for m in matches]
    names = tuple(name for name, _ in named)
    for known, dimensions in _COLUMNS.items():
        if names == known:
            try:
                factors = [
                    units.parse(f"1 {unit}", dimension)
                    for (_, unit), dimension in zip(named, dimensions, strict=True)
                ]
            except InputError as error:
                raise InputError(
                    error.message,
                    file=where,
                    key="line 1",
                    value=", ".join(cells),
                    allowed=_HEADER_EXAMPLES,
                ) from None
            return known, (factors[0], factors[1])
    message = "the columns are not known"
    value = ", ".join(cell.strip() for cell in cells)
    raise InputError(
        message, file=where, key="line 1", value=value, allowed=_HEADER_EXAMPLES
    )


def _rows(
    lines: list[tuple[int, str]], mark: str, factors: tuple[float, float], where: str
) -> Iterator[NumberPair]:
    for number, line in lines:
        cells = next(csv.reader(io.StringIO(line), delimiter=mark))
        try:
            first, second = (float(cell) for cell in cells)
        except ValueError:
            message = "is not two numbers"
            allowed = "two numbers in every line, as the first line names them"
            raise _fault(message, where, number, line, allowed) from None
        if not (isfinite(first) and isfinite(second)):
            message = "is not a finite number"
            raise _fault(message, where, number, line, "finite numbers")
        yield NumberPair(number, first * factors[0], second * factors[1])


def upward(
    profile: OutlinePoints | Curvatures, where: str
) -> OutlinePoints | Curvatures:
    """Return the profile as it curls up; refuse points that no sheet passes through."""
    if isinstance(profile, Curvatures):
        s, k = profile.s, profile.curvature
        turned = sum(
            0.5 * (k[i] + k[i + 1]) * (s[i + 1] - s[i]) for i in range(len(s) - 1)
        )
        if turned >= 0.0:
            return profile
        return Curvatures(s=s, curvature=tuple(-value for value in k))
    if sum(_turns(profile, where)) >= 0.0:
        return profile
    return OutlinePoints(x=profile.x, y=tuple(-value for value in profile.y))


def _turns(points: OutlinePoints, where: str) -> Iterator[float]:
    """Turn of the line at every inner point, rad."""
    x, y = points.x, points.y
    headings = []
    for i in range(len(x) - 1):
        dx, dy = x[i + 1] - x[i], y[i + 1] - y[i]
        if hypot(dx, dy) < 1.0e-9:
            message = "the profile has the same point twice"
            raise InputError(
                message,
                file=where,
                key=f"point {i + 2}",
                value=f"({x[i + 1]:.4g}, {y[i + 1]:.4g}) mm",
                allowed="points that lie apart",
            )
        headings.append(atan2(dy, dx))
    for i in range(len(headings) - 1):
        turn = (headings[i + 1] - headings[i] + pi) % (2.0 * pi) - pi
        if abs(turn) > _MAX_POINT_TURN:
            message = f"the profile turns by {abs(degrees(turn)):.0f} deg at a point"
            raise InputError(
                message,
                file=where,
                key=f"point {i + 2}",
                value=f"({x[i + 1]:.4g}, {y[i + 1]:.4g}) mm",
                allowed="the points in order from edge to edge, with no corner",
            )
        yield turn


def _fault(message: str, where: str, line: int, value: str, allowed: str) -> InputError:
    return InputError(
        message, file=where, key=f"line {line}", value=value or None, allowed=allowed
    )

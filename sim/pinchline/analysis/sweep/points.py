"""The points of a study: every combination, a filling of ranges, or a table."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline import library, units
from pinchline.case.study.study import MAX_STUDY_POINTS, check_unique_axes, known_keys
from pinchline.case.study.values import Axis, default_name, kind_of
from pinchline.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.study.study import Study
    from pinchline.case.variation import Kind

POINT = "point"


@dataclass(frozen=True)
class Coordinate:
    """What one axis is at the points.

    Attributes
    ----------
    axis : name, keys and unit
    dimension : index of the dimension it runs along
    values : along that dimension; numbers in the axis' unit, or words
    """

    axis: Axis
    dimension: int
    values: NDArray[Any]


@dataclass(frozen=True)
class StudyPoints:
    """The points of a study, counted through its dimensions, the last the fastest.

    Attributes
    ----------
    dimensions : names
    shape : how many there are along each
    coordinates : in the order of the study
    """

    dimensions: tuple[str, ...]
    shape: tuple[int, ...]
    coordinates: tuple[Coordinate, ...]

    @property
    def count(self) -> int:
        """How many points there are."""
        return math.prod(self.shape)

    def values(self, point: int) -> dict[str, Any]:
        """Dotted keys and values of a point, as they stand in a TOML file."""
        places = np.unravel_index(point, self.shape)
        found: dict[str, Any] = {}
        for coordinate in self.coordinates:
            value = coordinate.values[places[coordinate.dimension]]
            axis = coordinate.axis
            text = axis.written(
                value.item() if isinstance(value, np.generic) else value
            )
            found |= dict.fromkeys(axis.keys, text)
        return found


def points_of(study: Study) -> StudyPoints:
    """Lay out the points of a study.

    Raises
    ------
    InputError
        A table of points cannot be read, or there are too many points.
    """
    if study.sample.method == "table":
        return _table(study)
    if study.sample.fills:
        return _filling(study)
    return _grid(study)


def _array(values: Any, axis: Axis) -> NDArray[Any]:
    if axis.unit == "":
        return np.array(values, dtype=object)
    return np.array(values, dtype=np.float64)


def _grid(study: Study) -> StudyPoints:
    """Every combination; what is zipped runs along one dimension together."""
    dimensions: list[str] = []
    shape: list[int] = []
    coordinates = []
    for axis in study.axes:
        name = axis.zipped or axis.name
        if name not in dimensions:
            dimensions.append(name)
            shape.append(len(axis.values))
        place = dimensions.index(name)
        coordinates.append(Coordinate(axis, place, _array(axis.values, axis)))
    if math.prod(shape) > MAX_STUDY_POINTS:
        message = f"the grid has {math.prod(shape)} points"
        raise InputError(
            message,
            file=study.path,
            key="vary",
            allowed=f"up to {MAX_STUDY_POINTS}",
        )
    return StudyPoints(tuple(dimensions), tuple(shape), tuple(coordinates))


def _filling(study: Study) -> StudyPoints:
    """Latin hypercube or scrambled Sobol points, the same for the same seed."""
    from scipy.stats import qmc

    sample = study.sample
    count = sample.count or 1
    size = len(study.axes)
    if sample.method == "sobol":
        engine = qmc.Sobol(size, rng=np.random.default_rng(sample.seed))
        shares = engine.random_base2(count.bit_length() - 1)
    else:
        engine = qmc.LatinHypercube(size, rng=np.random.default_rng(sample.seed))
        shares = engine.random(count)
    coordinates = tuple(
        Coordinate(axis, 0, _at_shares(axis, shares[:, column]))
        for column, axis in enumerate(study.axes)
    )
    return StudyPoints((POINT,), (count,), coordinates)


def _at_shares(axis: Axis, shares: NDArray[np.float64]) -> NDArray[Any]:
    """Values at shares (0 to 1) of the range, or of the list."""
    if axis.values:
        places = np.minimum(
            (shares * len(axis.values)).astype(int), len(axis.values) - 1
        )
        return _array([axis.values[place] for place in places], axis)
    if axis.log:
        return axis.low * (axis.high / axis.low) ** shares
    values = axis.low + (axis.high - axis.low) * shares
    return np.rint(values) if axis.whole else values


def _table(study: Study) -> StudyPoints:
    """Points of a CSV whose header names keys with their units."""
    folder, file = Path(study.path).parent, study.sample.file or ""
    source = library.fetch(
        "studies", Path(file), folder=folder, file=study.path, key="sample.file"
    )
    lines = source.text.splitlines()
    rows = [r for r in csv.reader(io.StringIO("\n".join(lines))) if any(r)]
    if len(rows) < 2:
        allowed = "a header, such as sheet.thickness [mm], and a row for every point"
        message = "the table has no points"
        raise InputError(message, file=source.where, allowed=allowed)
    known = known_keys(study.case.table, study.solver)
    header, body = rows[0], rows[1:]
    for number, row in enumerate(body, 2):
        if len(row) != len(header):
            message = f"row {number} has {len(row)} cells, the header {len(header)}"
            allowed = "as many cells in every row"
            raise InputError(message, file=source.where, allowed=allowed)
    coordinates = []
    for column, cell in enumerate(header):
        axis, kind = _column(cell.strip(), known, source.where)
        values = [
            _cell(row[column], kind, axis, n, source.where)
            for n, row in enumerate(body, 2)
        ]
        coordinates.append(Coordinate(axis, 0, _array(values, axis)))
    check_unique_axes([c.axis for c in coordinates], source.where, place="column")
    return StudyPoints((POINT,), (len(body),), tuple(coordinates))


def _column(cell: str, known: dict[str, Kind], file: str) -> tuple[Axis, Kind]:
    """Axis of a header such as ``sheet.thickness [mm]``."""
    key, _, rest = cell.partition("[")
    key, unit = key.strip(), rest.rstrip("] ").strip()
    kind = kind_of(key, known, file=file, place="header")
    if kind.dimension is not None:
        try:
            units.parse(f"1 {unit}", kind.dimension)
        except InputError as error:
            allowed = f"{key} [unit]"
            raise InputError(
                error.message if unit else "has no unit",
                file=file,
                key="header",
                value=cell,
                allowed=allowed,
            ) from None
    sort = {"quantity": unit, "number": "1"}.get(kind.sort, "")
    axis = Axis(name=default_name(key), keys=(key,), unit=sort, whole=kind.whole)
    return axis, kind


def _cell(cell: str, kind: Kind, axis: Axis, row: int, file: str) -> float | str | bool:
    """Value of a cell."""
    text = cell.strip()
    if kind.sort == "word":
        return text
    if kind.sort == "switch" and text in ("true", "false"):
        return text == "true"
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if kind.sort == "switch" or not math.isfinite(number):
        allowed = "true or false" if kind.sort == "switch" else "a finite number"
        message = f"is not {allowed}"
        raise InputError(
            message,
            file=file,
            key=f"row {row}, {axis.keys[0]}",
            value=cell,
            allowed=allowed,
        )
    return number

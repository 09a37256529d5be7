"""The groups of a result as tables, one for each kind of row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline.results.schema import DIMENSIONS, ROLLS, columns, fields_of
from pinchline.results.tables import Column, Table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.results.schema import Field, Result

SCHEMA = "pinchline-export"


def export_tables(result: Result, group: str) -> list[Table]:
    """Return the tables of one group.

    Datasets along the same dimensions share a table; a shape in a frame is one row for
    each frame and node. Single numbers are rows of name, value, unit and meaning.
    """
    data = columns(result.events) if group == "events" else getattr(result, group)
    kinds: dict[tuple[str, ...], list[Field]] = {}
    for field in fields_of(group):
        kinds.setdefault(field.dims, []).append(field)
    about: dict[str, str | float | int] = {"title": result.title, "group": group}
    return [
        Table(SCHEMA, dims[-1] if dims else "quantity", _columns(data, fields), about)
        for dims, fields in kinds.items()
    ]


def _columns(data: dict[str, Any], fields: list[Field]) -> tuple[Column, ...]:
    dims = fields[0].dims
    if not dims:
        return _scalars(data, fields)
    values = [np.asarray(data[field.name]) for field in fields]
    return tuple(_indices(dims, values[0].shape)) + tuple(
        Column(field.name, field.units, field.long_name, _plain(column))
        for field, column in zip(fields, values, strict=True)
    )


def _indices(dims: tuple[str, ...], shape: tuple[int, ...]) -> list[Column]:
    """Count the rows along each dimension from 0; rolls have names."""
    grid = np.indices(shape)
    indices = []
    for dim, rows in zip(dims, grid, strict=True):
        values: NDArray[Any] = rows.ravel()
        if dim == "roll":
            values = np.array(ROLLS, dtype=object)[values]
        indices.append(Column(dim, "1", DIMENSIONS[dim], values))
    return indices


def _scalars(data: dict[str, Any], fields: list[Field]) -> tuple[Column, ...]:
    def text(name: str) -> NDArray[Any]:
        return np.array([getattr(field, name) for field in fields], dtype=object)

    values = np.array([data[field.name] for field in fields])
    return (
        Column("name", "1", "name of the dataset", text("name")),
        Column("value", "as told", "its value", values),
        Column("unit", "1", "its unit", text("units")),
        Column("meaning", "1", "what it is", text("long_name")),
    )


def _plain(values: NDArray[Any]) -> NDArray[Any]:
    return values.astype(object).ravel() if values.dtype.kind == "U" else values.ravel()

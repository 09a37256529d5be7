"""A result in the units of a shop, for pictures: every dataset by its own unit."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

from pinchline import units
from pinchline.messages import in_inches
from pinchline.results.schema import fields_of

if TYPE_CHECKING:
    from pinchline.results.schema import Result
    from pinchline.units import Dimension, System

UNIT_DIMENSIONS: dict[str, Dimension] = {
    "mm": "length",
    "1/mm": "curvature",
    "N/mm": "line_force",
    "N": "force",
    "N mm": "torque",
    "N mm/mm": "line_moment",
}
_INCH_DECIMALS = 2  # decimals that an inch has beyond a millimetre


class Unit(NamedTuple):
    """Unit of length of a picture, and of forces per width."""

    length: str
    per_width: str
    decimals: int

    def bare(self, value: float, decimals: int = 0) -> str:
        """Say a length, with the decimals that it would have in mm."""
        return f"{value:.{decimals + self.decimals}f}"

    def say(self, value: float, decimals: int = 1) -> str:
        """Say a length with its unit."""
        return f"{self.bare(value, decimals)} {self.length}"


METRIC_UNIT = Unit("mm", "N per mm", 0)
INCH_UNIT = Unit("in", "lbf per in", _INCH_DECIMALS)


def in_unit_system(result: Result, system: System) -> tuple[Result, Unit]:
    """Return a result in a system's units, and how lengths are said in it."""
    if system == "metric":
        return result, METRIC_UNIT
    moves = in_inches(result.labels.get("moves", ""))
    groups: dict[str, Any] = {
        group: _converted(group, getattr(result, group))
        for group in ("inputs", "summary", "sheet", "steps", "frames")
    }
    return replace(result, labels=result.labels | {"moves": moves}, **groups), INCH_UNIT


def _converted(group: str, table: dict[str, Any]) -> dict[str, Any]:
    converted = dict(table)
    for field in fields_of(group):
        dimension = UNIT_DIMENSIONS.get(field.units)
        if dimension is not None and field.name in converted:
            _, size, _ = units.display_unit(dimension, "inch")
            metric = units.FACTORS[dimension][field.units]
            converted[field.name] = converted[field.name] * (metric / size)
    return converted

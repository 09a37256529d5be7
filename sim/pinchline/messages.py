"""Sentences with metric quantities in them, said in inches.

Messages are written deep inside, where a thing happens, in the units computed in.
Whoever asks for inches gets them at the edge: here every number with its unit in a
sentence is found and said anew. What stands in quotes is what a file holds, or an
example, and stays.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pinchline import units

if TYPE_CHECKING:
    from pinchline.units import Dimension, System

_SPELLED: dict[str, tuple[Dimension, float]] = {
    "N/mm per mm": ("line_stiffness", 1.0),
    "N/mm/mm": ("line_stiffness", 1.0),
    "N mm/mm": ("line_moment", 1.0),
    "N/mm": ("line_force", 1.0),
    "N mm": ("torque", 1.0),
    "N m": ("torque", 1000.0),
    "kN": ("force", 1000.0),
    "N": ("force", 1.0),
    "MPa": ("stress", 1.0),
    "GPa": ("stress", 1000.0),
    "1/mm": ("curvature", 1.0),
    "kg/m3": ("density", 1.0),
    "mm": ("length", 1.0),
}
_NUMBER = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_QUANTITY = re.compile(
    rf"(?<![\w.\"'])({_NUMBER})(?: (to|and) ({_NUMBER}))? "
    rf"({'|'.join(map(re.escape, _SPELLED))})(?![\w/])"
)
_EXTRA_FIGURES = 1  # figures than the metric number has: most inch units are coarser
_MIN_FIGURES = 3


def inches_first(text: str) -> str:
    """Say every quantity in inches and what goes with them, the metric beside it."""
    return _QUANTITY.sub(lambda match: f"{_said(match)} ({match[0]})", text)


def in_inches(text: str) -> str:
    """Say every quantity in inches and what goes with them, alone."""
    return _QUANTITY.sub(_said, text)


def worded(text: str, system: System) -> str:
    """Say a text's quantities in the units that come first, the others beside them."""
    return text if system == "metric" else inches_first(text)


def alone(text: str, system: System) -> str:
    """Say a text's quantities in the units of a system only."""
    return text if system == "metric" else in_inches(text)


def _said(match: re.Match[str]) -> str:
    dimension, size = _SPELLED[match[4]]
    unit, factor, _ = units.display_unit(dimension, "inch")
    numbers = [
        _number(number, dimension, size / factor)
        for number in (match[1], match[3])
        if number is not None
    ]
    return f" {match[2]} ".join(numbers) + f" {unit}"


def _number(text: str, dimension: Dimension, factor: float) -> str:
    """Convert a number with the figures that it is told in, lengths to a thousandth."""
    value = float(text) * factor
    mantissa, _, exponent = text.lstrip("-").partition("e")
    whole, _, decimals = mantissa.partition(".")
    if dimension == "length" and not exponent:
        return f"{value:.{4 if len(decimals) > 1 else 3}f}"
    told = len((whole + decimals).lstrip("0"))
    return units.figures(value, max(_MIN_FIGURES, told + _EXTRA_FIGURES))

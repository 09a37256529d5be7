"""Quantities with units: text such as ``"0.032 in"`` to internal floats and back.

Inside, lengths are mm, forces N, line forces N per mm of width, torques N mm, stresses
MPa, angles rad, curvatures 1/mm, densities kg/m3. The usual spellings are converted
from a table; ``pint`` is loaded only for the others, and judges the table in the tests.
"""

from __future__ import annotations

import difflib
import functools
import math
import re
from typing import Any, Literal, NoReturn

from pinchline.errors import InputError

Dimension = Literal[
    "length",
    "stress",
    "angle",
    "force",
    "line_force",
    "stiffness",
    "line_stiffness",
    "line_moment",
    "torque",
    "curvature",
    "density",
]
System = Literal["metric", "inch"]

_IN = 25.4
_LBF = 4.4482216152605
_PSI = _LBF / (_IN * _IN)
_LB_IN3 = 0.45359237 / (_IN * _IN * _IN * 1.0e-9)
_DEG = math.pi / 180.0

FACTORS: dict[Dimension, dict[str, float]] = {
    "length": {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "um": 1.0e-3,
        "in": _IN,
        "inch": _IN,
        "inches": _IN,
        "thou": _IN / 1000.0,
        "ft": 12.0 * _IN,
    },
    "stress": {
        "MPa": 1.0,
        "GPa": 1000.0,
        "kPa": 1.0e-3,
        "Pa": 1.0e-6,
        "N/mm2": 1.0,
        "N/mm^2": 1.0,
        "psi": _PSI,
        "ksi": 1000.0 * _PSI,
    },
    "angle": {
        "deg": _DEG,
        "degree": _DEG,
        "degrees": _DEG,
        "°": _DEG,
        "rad": 1.0,
        "mrad": 1.0e-3,
    },
    "force": {"N": 1.0, "kN": 1000.0, "lbf": _LBF, "kgf": 9.80665},
    "line_force": {"N/mm": 1.0, "kN/m": 1.0, "N/m": 1.0e-3, "lbf/in": _LBF / _IN},
    "stiffness": {"N/mm": 1.0, "kN/mm": 1000.0, "lbf/in": _LBF / _IN},
    "line_stiffness": {
        "N/mm/mm": 1.0,
        "N/mm2": 1.0,
        "N/mm^2": 1.0,
        "lbf/in/in": _PSI,
        "lbf/in^2": _PSI,
    },
    "line_moment": {
        "N mm/mm": 1.0,
        "N*mm/mm": 1.0,
        "N m/m": 1.0,
        "lbf in/in": _LBF,
    },
    "torque": {
        "N mm": 1.0,
        "N m": 1000.0,
        "N*m": 1000.0,
        "lbf in": _LBF * _IN,
        "lbf ft": 12.0 * _LBF * _IN,
    },
    "curvature": {"1/mm": 1.0, "1/m": 1.0e-3, "1/in": 1.0 / _IN},
    "density": {
        "kg/m3": 1.0,
        "kg/m^3": 1.0,
        "g/cm3": 1000.0,
        "g/cm^3": 1000.0,
        "lb/in3": _LB_IN3,
        "lb/in^3": _LB_IN3,
    },
}

# shop display: unit, decimals; metric first, inch second
_DISPLAY: dict[Dimension, dict[System, tuple[str, int]]] = {
    "length": {"metric": ("mm", 2), "inch": ("in", 3)},
    "stress": {"metric": ("MPa", 0), "inch": ("ksi", 1)},
    "angle": {"metric": ("deg", 1), "inch": ("deg", 1)},
    "force": {"metric": ("N", 1), "inch": ("lbf", 1)},
    "line_force": {"metric": ("N/mm", 2), "inch": ("lbf/in", 1)},
    "stiffness": {"metric": ("N/mm", 0), "inch": ("lbf/in", 0)},
    "line_stiffness": {"metric": ("N/mm/mm", 1), "inch": ("lbf/in/in", 0)},
    "line_moment": {"metric": ("N mm/mm", 1), "inch": ("lbf in/in", 1)},
    "torque": {"metric": ("N m", 1), "inch": ("lbf in", 0)},
    "curvature": {"metric": ("1/mm", 6), "inch": ("1/in", 5)},
    "density": {"metric": ("kg/m3", 0), "inch": ("lb/in3", 3)},
}

_WORDS: dict[Dimension, tuple[str, str]] = {
    "length": ("a length", '"0.8 mm" or "0.032 in"'),
    "stress": ("a stress", '"325 MPa" or "47 ksi"'),
    "angle": ("an angle", '"90 deg"'),
    "force": ("a force", '"150 N" or "35 lbf"'),
    "line_force": ("a force per width", '"4 N/mm" or "23 lbf/in"'),
    "stiffness": ("a stiffness", '"20 kN/mm"'),
    "line_stiffness": ("a stiffness per width", '"60 N/mm/mm"'),
    "line_moment": ("a moment per width", '"80 N mm/mm"'),
    "torque": ("a torque", '"12 N m" or "9 lbf ft"'),
    "curvature": ("a curvature", '"0.002 1/mm"'),
    "density": ("a density", '"2680 kg/m3" or "0.097 lb/in3"'),
}

_QUANTITY = re.compile(
    r"(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?:/(?P<under>\d+))?"
    r"(?:\s+|(?=[^\d.,\s]))(?P<unit>\S.*)"
)
_NUMBER_ONLY = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf(?:inity)?)\b", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d")
_MAX_UNIT_LENGTH = 24


def allowed_text(dimension: Dimension, bounds: str = "") -> str:
    """Describe what is accepted for a dimension, with an example."""
    word, example = _WORDS[dimension]
    return f"{word}{f' {bounds}' if bounds else ''} with its unit, such as {example}"


def parse(text: object, dimension: Dimension) -> float:
    """Convert text with a unit to the internal unit of its dimension.

    Parameters
    ----------
    text : such as ``"0.8 mm"``, ``"5/32 in"``, ``"0.002 1/mm"``, or a pint quantity
    dimension : what it must be

    Returns
    -------
    The value in mm, N, MPa, rad, N/mm, 1/mm or kg/m3.

    Raises
    ------
    InputError
        where the text is no finite number with a unit of that dimension
    """
    if is_pint(text):
        text = as_text(text)
    number, unit = split(text, dimension)
    value = number * _factor(unit, dimension, str(text))
    if not math.isfinite(value):
        _refuse("is not a finite number", text, dimension)
    return value


def split(text: object, dimension: Dimension) -> tuple[float, str]:
    """Give number and unit of a quantity as they are written, the unit unchecked.

    Raises
    ------
    InputError
        where the text is no number with a unit
    """
    if not isinstance(text, str):
        _refuse(_why_no_text(text), text, dimension)
    plain = text.strip()
    match = _QUANTITY.fullmatch(plain)
    if match is None:
        _refuse(_why_no_quantity(plain), text, dimension)
    number = float(match["number"])
    if match["under"] is not None:
        under = int(match["under"][:300])
        if under == 0:
            _refuse("divides by zero", text, dimension)
        number /= under
    return number, match["unit"]


def is_pint(value: object) -> bool:
    """Whether a value is a quantity of pint, which is not imported for the question."""
    return hasattr(value, "magnitude") and hasattr(value, "units")


def as_text(quantity: Any) -> str:
    """Quantity of pint the way a file writes it, every digit kept."""
    unit = f"{quantity.units:~C}".replace("**", "^")
    try:
        number = repr(float(quantity.magnitude)).removesuffix(".0")
    except TypeError:  # of several numbers
        return str(quantity)
    return f"{number} {unit}"


def display(
    value: float, dimension: Dimension, system: System = "metric"
) -> tuple[float, str]:
    """Return an internal value in the shop unit of a system, and that unit."""
    unit, _ = _DISPLAY[dimension][system]
    return value / FACTORS[dimension][unit], unit


def format(value: float, dimension: Dimension, system: System = "metric") -> str:
    """Return an internal value as shop text, such as ``"0.80 mm"``; NaN as a dash."""
    number, unit = display(value, dimension, system)
    if math.isnan(number):
        return "-"
    decimals = _DISPLAY[dimension][system][1]
    return f"{number:.{decimals}f} {unit}"


def figures(number: float, count: int) -> str:
    """Return a number to so many figures, without exponent and idle zeros."""
    if number == 0.0:
        return "0"
    before = math.floor(math.log10(abs(number))) + 1
    text = f"{number:.{max(0, count - before)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def phrase(dimension: Dimension) -> str:
    """Name a quantity in words, such as "a length"."""
    return _WORDS[dimension][0]


def display_unit(dimension: Dimension, system: System) -> tuple[str, float, int]:
    """Return the shop unit, its size in the internal unit, and the decimals shown."""
    unit, decimals = _DISPLAY[dimension][system]
    return unit, FACTORS[dimension][unit], decimals


def _refuse(message: str, value: object, dimension: Dimension) -> NoReturn:
    raise InputError(message, value=value, allowed=allowed_text(dimension))


def _why_no_text(value: object) -> str:
    """Say why a value that is no text is no quantity."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "is not text in quotes"
    if isinstance(value, float) and not math.isfinite(value):
        return "is not a finite number"
    return "a bare number has no unit"


def _why_no_quantity(text: str) -> str:
    """Say why a text is no number with a unit."""
    if _NOT_FINITE.match(text):
        return "is not a finite number"
    if _NUMBER_ONLY.fullmatch(text):
        return "a bare number has no unit"
    if _DECIMAL_COMMA.match(text):
        return "has a decimal comma; write a point"
    return "is not a number with a unit"


def _factor(spelling: str, dimension: Dimension, text: str) -> float:
    """Return the factor from a spelled unit to the internal unit."""
    unit = re.sub(r"\s*([/*^])\s*", r"\1", spelling.strip())
    unit = f"1{unit}" if unit.startswith("/") else unit
    if unit in FACTORS[dimension]:
        return FACTORS[dimension][unit]
    others = [d for d in FACTORS if unit in FACTORS[d]]
    if others:
        word = _WORDS[others[0]][0]
        _refuse(f"{unit} is the unit of {word}", text, dimension)
    factor = _pint_factor(unit, dimension)
    if factor is not None:
        return factor
    lowered = {name.lower(): name for name in FACTORS[dimension]}
    close = difflib.get_close_matches(unit.lower(), lowered, n=1, cutoff=0.5)
    hint = f"; did you mean {lowered[close[0]]}?" if close else ""
    word = _WORDS[dimension][0]
    _refuse(f"{unit} is not a unit of {word}{hint}", text, dimension)


@functools.cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@functools.lru_cache(maxsize=256)
def _pint_factor(unit: str, dimension: Dimension) -> float | None:
    """Return the factor by pint, or None where it does not know or fit the unit.

    Angles stay with the table: to pint every pure number is an angle.
    """
    if dimension == "angle" or len(unit) > _MAX_UNIT_LENGTH or "**" in unit:
        return None
    import tokenize

    import pint

    target = _PINT_TARGET[dimension]
    registry = _registry()
    try:
        factor = float(registry.Quantity(1.0, registry.parse_units(unit)).m_as(target))
    except (
        pint.PintError,
        tokenize.TokenError,
        ArithmeticError,
        AssertionError,
        AttributeError,
        KeyError,
        RecursionError,
        SyntaxError,
        TypeError,
        ValueError,
    ):
        return None
    return factor if math.isfinite(factor) and factor > 0.0 else None


_PINT_TARGET: dict[Dimension, str] = {
    "length": "mm",
    "stress": "MPa",
    "angle": "rad",
    "force": "N",
    "line_force": "N/mm",
    "stiffness": "N/mm",
    "line_stiffness": "N/mm^2",
    "line_moment": "N",
    "torque": "N*mm",
    "curvature": "1/mm",
    "density": "kg/m^3",
}

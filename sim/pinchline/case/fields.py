"""Field types of the tables of a case, and the translation of their errors.

Text from a file needs a unit for every dimensional value. Code that builds the same
objects passes plain floats in internal units; the ranges hold for both.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from math import isfinite
from typing import Annotated, Any, ClassVar, NoReturn, TypeVar, get_args

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    ValidationError,
    ValidationInfo,
)

from pinchline import units
from pinchline.errors import InputError
from pinchline.library import did_you_mean
from pinchline.units import Dimension

_RELATIVE_ROUNDING = 1.0e-12
_PERCENT = re.compile(r"(\d+\.?\d*|\.\d+)\s*%")


class Record(BaseModel):
    """Base of every table: frozen, no unknown keys."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PythonRecord(Record):
    """Base of the records that engineers write in Python: faults are ``InputError``.

    Values without a name fill the fields in their order, but for the kind.
    """

    place: ClassVar[str] = ""  # of the table in a file, before the key in a message
    origin: ClassVar[frozenset[str]] = frozenset()  # fields in which equals may differ

    def __init__(self, *values: object, **keys: object) -> None:
        names = [name for name in type(self).model_fields if name != "kind"]
        given = dict(zip(names, values, strict=False))
        if len(values) > len(names) or not keys.keys().isdisjoint(given):
            message = f"{type(self).__name__} takes each of {', '.join(names)} once"
            raise TypeError(message)
        try:
            super().__init__(**given, **keys)
        except ValidationError as error:
            raise _translated(error, type(self), "", self.place) from None

    # pydantic goes on validating tables itself: through here they lose their context
    __init__.__dict__["__pydantic_base_init__"] = True

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, type(self)):
            return NotImplemented
        mine, others = dict(self), dict(other)
        return all(mine[k] == others[k] for k in mine.keys() - self.origin)


M = TypeVar("M", bound=Record)


class RefusedError(ValueError):
    """Carries an ``InputError`` through pydantic, which adds the key."""

    def __init__(self, error: InputError) -> None:
        super().__init__(error.message)
        self.error = error


def refuse(
    message: str,
    *,
    key: str | None = None,
    value: object = None,
    allowed: str | None = None,
) -> NoReturn:
    """Raise what a validator raises; ``key`` is relative to its table."""
    raise RefusedError(InputError(message, key=key, value=value, allowed=allowed))


@dataclass(frozen=True)
class Bounds:
    """Limits of a number in internal units; None is no limit."""

    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None

    def hold(self, value: float) -> bool:
        """Whether a value lies inside, a rounding error aside."""
        slack = _RELATIVE_ROUNDING * abs(value)
        return (
            (self.above is None or value > self.above)
            and (self.at_least is None or value >= self.at_least - slack)
            and (self.below is None or value < self.below)
            and (self.at_most is None or value <= self.at_most + slack)
        )

    def words(self, dimension: Dimension | None = None) -> str:
        """Spell the limits, such as ``above 0`` or ``from 30 deg to 150 deg``."""

        def say(value: float) -> str:
            if dimension is None or value == 0.0:
                return f"{value:g}"
            number, unit = units.display(value, dimension)
            return f"{number:.6g} {unit}"

        low = self.at_least
        if low is not None and self.at_most is None and self.below is None:
            return f"from {say(low)} up"
        parts = [
            f"{word} {say(limit)}"
            for word, limit in (
                ("above", self.above),
                ("from", self.at_least),
                ("below", self.below),
                ("to" if self.at_least is not None else "up to", self.at_most),
            )
            if limit is not None
        ]
        return " ".join(parts) if self.at_most is not None else " and ".join(parts)


@dataclass(frozen=True)
class Quantity:
    """Validator of a dimensional value."""

    dimension: Dimension
    bounds: Bounds = Bounds()

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        return units.allowed_text(self.dimension, self.bounds.words(self.dimension))

    def __call__(self, value: object, info: ValidationInfo) -> float:
        """Return the value in internal units, or refuse it."""
        try:
            if _is_number(value) and not (info.context or {}).get("from_file"):
                number = _as_float(value)
            else:
                number = units.parse(value, self.dimension)
        except InputError as error:
            refuse(error.message, value=value, allowed=self.allowed)
        if not isfinite(number):
            refuse("is not a finite number", value=value, allowed=self.allowed)
        if not self.bounds.hold(number):
            refuse("is out of range", value=value, allowed=self.allowed)
        return number


@dataclass(frozen=True)
class Number:
    """Validator of a pure number; ``whole`` for a count."""

    bounds: Bounds = Bounds()
    whole: bool = False

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        word = "a whole number" if self.whole else "a number without unit"
        return f"{word} {self.bounds.words()}".rstrip()

    def __call__(self, value: object) -> float:
        """Return the number, or refuse it."""
        if not _is_number(value):
            refuse("is not a number", value=value, allowed=self.allowed)
        number = _as_float(value)
        if not isfinite(number):
            refuse("is not a finite number", value=value, allowed=self.allowed)
        if self.whole and number != int(number):
            refuse("is not a whole number", value=value, allowed=self.allowed)
        if not self.bounds.hold(number):
            refuse("is out of range", value=value, allowed=self.allowed)
        return int(number) if self.whole else number


@dataclass(frozen=True)
class Percentage:
    """Validator of a part of a whole, as ``"1 %"`` or as a number."""

    bounds: Bounds = Bounds(at_least=0.0, at_most=1.0)

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        low, high = (
            self.bounds.above or self.bounds.at_least or 0.0,
            self.bounds.at_most,
        )
        word = "above" if self.bounds.above is not None else "from"
        return (
            f"a share {word} {100.0 * low:g} % to {100.0 * (high or 1.0):g} %, such as "
            '"1 %" or 0.01'
        )

    def __call__(self, value: object) -> float:
        """Return the share, or refuse it."""
        if isinstance(value, str):
            match = _PERCENT.fullmatch(value.strip())
            if match is None:
                refuse("is not a share", value=value, allowed=self.allowed)
            number = float(match[1]) / 100.0
        elif _is_number(value):
            number = _as_float(value)
        else:
            refuse("is not a share", value=value, allowed=self.allowed)
        if not isfinite(number) or not self.bounds.hold(number):
            refuse("is out of range", value=value, allowed=self.allowed)
        return number


@dataclass(frozen=True)
class Choice:
    """Validator of one word out of a few."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        return " or ".join(f'"{word}"' for word in self.words)

    def __call__(self, value: object) -> str:
        """Return the word, or refuse it."""
        if isinstance(value, str) and value in self.words:
            return value
        hint = did_you_mean(value, list(self.words)) if isinstance(value, str) else ""
        refuse(f"is not known{hint}", value=value, allowed=self.allowed)


@dataclass(frozen=True)
class Switch:
    """Validator of a yes or no."""

    allowed: str = "true or false, without quotes"

    def __call__(self, value: object) -> bool:
        """Return the value, or refuse it."""
        if not isinstance(value, bool):
            refuse("is neither true nor false", value=value, allowed=self.allowed)
        return value


@dataclass(frozen=True)
class Words:
    """Validator of text that is not empty."""

    allowed: str = "text in quotes, not empty"

    def __call__(self, value: object) -> str:
        """Return the text, or refuse it."""
        if not isinstance(value, str):
            refuse("is not text", value=value, allowed=self.allowed)
        if not value.strip():
            refuse("is empty", value=value, allowed=self.allowed)
        return value


@dataclass(frozen=True)
class SubTable:
    """Validator of a table that another model reads."""

    allowed: str

    def __call__(self, value: object) -> dict[str, Any]:
        """Return the table, or refuse it."""
        if not isinstance(value, dict):
            refuse("is not a table", value=value, allowed=self.allowed)
        return value


@dataclass(frozen=True)
class Tables:
    """Validator of a list of tables that another model reads."""

    allowed: str

    def __call__(self, value: object) -> list[dict[str, Any]]:
        """Return the list, or refuse it."""
        if not isinstance(value, list):
            refuse("is not a list of tables", value=value, allowed=self.allowed)
        for number, table in enumerate(value, 1):
            if not isinstance(table, dict):
                message = f"entry {number} is not a table"
                refuse(message, value=table, allowed=self.allowed)
        return value


_POSITIVE = Bounds(above=0.0)
_NOT_NEGATIVE = Bounds(at_least=0.0)
_SHARE = Bounds(at_least=0.0, at_most=1.0)

Length = Annotated[float, BeforeValidator(Quantity("length", _POSITIVE))]
LengthOrZero = Annotated[float, BeforeValidator(Quantity("length", _NOT_NEGATIVE))]
SignedLength = Annotated[float, BeforeValidator(Quantity("length"))]
Stress = Annotated[float, BeforeValidator(Quantity("stress", _POSITIVE))]
StressOrZero = Annotated[float, BeforeValidator(Quantity("stress", _NOT_NEGATIVE))]
Curvature = Annotated[float, BeforeValidator(Quantity("curvature"))]
Density = Annotated[float, BeforeValidator(Quantity("density", _POSITIVE))]
Force = Annotated[float, BeforeValidator(Quantity("force", _POSITIVE))]
LineForceOrZero = Annotated[
    float, BeforeValidator(Quantity("line_force", _NOT_NEGATIVE))
]
Stiffness = Annotated[float, BeforeValidator(Quantity("stiffness", _POSITIVE))]
LineStiffness = Annotated[float, BeforeValidator(Quantity("line_stiffness", _POSITIVE))]
Torque = Annotated[float, BeforeValidator(Quantity("torque", _POSITIVE))]
Positive = Annotated[float, BeforeValidator(Number(_POSITIVE))]
NotNegative = Annotated[float, BeforeValidator(Number(_NOT_NEGATIVE))]
Share = Annotated[float, BeforeValidator(Number(_SHARE))]
Text = Annotated[str, BeforeValidator(Words())]
YesNo = Annotated[bool, BeforeValidator(Switch())]


def read(
    model: type[M], data: object, *, file: str, key: str = "", converted: bool = False
) -> M:
    """Validate a table of a file.

    Parameters
    ----------
    model : what the table must be
    data : the table as TOML gives it
    file : the file, for the error
    key : the dotted key of the table in it; empty for the whole file
    converted : the values are plain floats in internal units already

    Raises
    ------
    InputError
        for the first fault, unknown keys before all others
    """
    try:
        return model.model_validate(data, context={"from_file": not converted})
    except ValidationError as error:
        raise _translated(error, model, file, key) from None


def dotted(key: str, parts: Iterable[str | int]) -> str:
    """Join a key and the parts below it; counts start at 1, as people count."""
    for part in parts:
        if isinstance(part, int):
            key += f"[{part + 1}]"
        else:
            key += f"{'.' if key and not key.endswith(': ') else ''}{part}"
    return key.removesuffix(": ")


def overlaid(base: dict[str, Any], top: dict[str, Any]) -> dict[str, Any]:
    """Merge nested tables; ``top`` wins."""
    merged = dict(base)
    for key, value in top.items():
        below = merged.get(key)
        if isinstance(value, dict) and isinstance(below, dict):
            merged[key] = overlaid(below, value)
        else:
            merged[key] = value
    return merged


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _as_float(value: Any) -> float:
    try:
        return float(value)
    except OverflowError:
        return float("inf")


def _translated(
    error: ValidationError, model: type[Record], file: str, key: str
) -> InputError:
    """Turn pydantic's account into one error in the user's words."""
    faults = error.errors(include_url=False)
    fault = next((f for f in faults if f["type"] == "extra_forbidden"), faults[0])
    place = fault["loc"]
    where = dotted(key, place)
    carried = fault.get("ctx", {}).get("error")
    if isinstance(carried, RefusedError):
        inner = carried.error
        below = where if inner.key is None else dotted(key, (*place, inner.key))
        return InputError(
            inner.message,
            file=file,
            key=below or None,
            value=inner.value,
            allowed=inner.allowed,
        )
    if fault["type"] == "extra_forbidden":
        known = _known_keys(model, place[:-1])
        hint = did_you_mean(str(place[-1]), known, cutoff=0.0)
        return InputError(
            f"unknown key{hint}",
            file=file,
            key=where,
            value=fault["input"],
            allowed=", ".join(known),
        )
    if fault["type"] == "missing":
        return InputError(
            "is missing", file=file, key=where, allowed=_allowed_at(model, place)
        )
    return InputError(
        "is of the wrong kind",
        file=file,
        key=where or None,
        value=fault["input"],
        allowed=_allowed_at(model, place),
    )


def _record_in(annotation: Any) -> type[Record] | None:
    """Find the table type inside an annotation such as ``list[X]`` or ``X | None``."""
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return annotation
    found = (_record_in(part) for part in get_args(annotation))
    return next((part for part in found if part is not None), None)


def _field_at(model: type[Record], key: str | int) -> Any:
    for name, field in model.model_fields.items():
        if key in {name, field.alias}:
            return field
    return None


def _known_keys(model: type[Record], place: Iterable[str | int]) -> list[str]:
    """Keys of the table at a place."""
    for part in place:
        field = _field_at(model, part)
        inner = None if field is None else _record_in(field.annotation)
        model = inner or model
    return [field.alias or name for name, field in model.model_fields.items()]


def _allowed_at(model: type[Record], place: tuple[str | int, ...]) -> str:
    """Say what is accepted at a place."""
    names = [part for part in place if isinstance(part, str)]
    field = None
    for part in names:
        field = _field_at(model, part)
        inner = None if field is None else _record_in(field.annotation)
        model = inner or model
    for item in [] if field is None else field.metadata:
        allowed = getattr(getattr(item, "func", None), "allowed", None)
        if isinstance(allowed, str):
            return allowed
    label = names[-1] if names else "these"
    is_list = field is not None and "list" in str(field.annotation)
    keys = ", ".join(_known_keys(model, ()))
    if is_list and len(place) == len(names):
        return f"a list of tables [[{label}]], with the keys {keys}"
    return f"a table with the keys {keys}"

"""What a study varies: lists and ranges of values under dotted keys of a case.

Moves are numbered from 1: ``move.2.to``. Keys of a material card stand below
``sheet.material``, those of a machine card below ``machine``, as a case overrides them.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal, NoReturn, get_args, get_origin

from pydantic import BeforeValidator, Field, model_validator

from pinchline import units
from pinchline.case.case import CaseTable
from pinchline.case.fields import Bounds, Choice, Number, Record, Text, Words, refuse
from pinchline.case.machine import MachineTable
from pinchline.case.metal.material import Card
from pinchline.case.moves import MOVE_TYPES
from pinchline.case.sheet import SheetTable
from pinchline.case.variation import Kind, kind_in
from pinchline.errors import InputError
from pinchline.library import did_you_mean
from pinchline.units import Dimension

Spacing = Literal["even", "log"]

MOST_VALUES = 100_000

_SUB_TABLES: dict[str, type[Record]] = {
    "sheet": SheetTable,
    "sheet.material": Card,
    "machine": MachineTable,
}
_NOT_VARIED = {
    "title",
    "kind",
    "basis",
    "source",
    "sources",
    "typical",
    "target",
    "scatter",
}
_LISTS = (list, dict, tuple)

ValueCount = Annotated[
    int, BeforeValidator(Number(Bounds(at_least=2, at_most=MOST_VALUES), whole=True))
]


@dataclass(frozen=True)
class Plain(Words):
    """Validator of a word that names something in a file, or a file."""

    pattern: str = r"[A-Za-z][A-Za-z0-9_]*"

    def __call__(self, value: object) -> str:
        """Return the word, or refuse it."""
        word = super().__call__(value)
        if re.fullmatch(self.pattern, word, re.ASCII) is None:
            refuse("is no plain name", value=value, allowed=self.allowed)
        return word


Label = Annotated[
    str, BeforeValidator(Plain("a name of letters, digits and _, such as lift"))
]


class _Values:
    """Validator of a list of values, of whatever kind."""

    allowed = 'a list of values, such as ["0.8 mm", "1 mm"]'

    def __call__(self, value: object) -> list[Any]:
        """Return the list, or refuse it."""
        if not isinstance(value, list) or not value:
            refuse("is not a list of values", value=value, allowed=self.allowed)
        return value


@dataclass(frozen=True)
class Names:
    """Validator of a list of words, none twice; a lone word is a list of one."""

    allowed: str
    least: int = 0
    most: int = MOST_VALUES

    def __call__(self, value: object) -> list[str]:
        """Return the list, or refuse it."""
        names = [value] if isinstance(value, str) else value
        if not isinstance(names, list) or not self.least <= len(names) <= self.most:
            refuse("is not such a list", value=value, allowed=self.allowed)
        for name in names:
            if not isinstance(name, str) or not name.strip():
                refuse("holds what is not a name", value=name, allowed=self.allowed)
            if names.count(name) > 1:
                refuse("names one thing twice", value=name, allowed=self.allowed)
        return names


class Vary(Record):
    """One table ``[[vary]]``.

    Attributes
    ----------
    key : dotted, of the case
    also : further keys that take the same value
    name : of the coordinate; None takes the last part of the key
    values : a list, or
    start, end, count, spacing : a range with its ends (TOML: ``from``, ``to``); a
        sample fills it without a count
    zipped : word that entries share which run side by side
    """

    key: Text
    also: Annotated[
        list[str],
        BeforeValidator(Names('a list of dotted keys, such as ["move.4.to"]')),
    ] = Field(default_factory=list)
    name: Label | None = None
    values: Annotated[list[Any], BeforeValidator(_Values())] | None = None
    start: Any = Field(default=None, alias="from")
    end: Any = Field(default=None, alias="to")
    count: ValueCount | None = None
    spacing: Annotated[Spacing, BeforeValidator(Choice(("even", "log")))] = "even"
    zipped: Label | None = None

    @model_validator(mode="after")
    def _one_form(self) -> "Vary":
        allowed = "values, or a range from ... to ... with its count"
        ranged = self.start is not None and self.end is not None
        if self.values is None and not ranged:
            refuse("has neither values nor a range", key="values", allowed=allowed)
        extra = (self.start, self.end, self.count)
        if self.values is not None and any(part is not None for part in extra):
            refuse("has values beside a range", key="values", allowed=allowed)
        return self


class Axis(Record):
    """Axis of a study: the checked values of one ``[[vary]]``.

    Attributes
    ----------
    name : of the coordinate
    keys : dotted, that take its value
    unit : in which the study writes it; "1" for numbers, "" for words and switches
    values : in that unit, or words; empty for a range that a sample fills
    low, high : of the range, in that unit
    log, whole : spaced by factors; a count
    zipped : what it runs beside; "" for nothing
    """

    name: str
    keys: tuple[str, ...]
    unit: str
    values: tuple[float | str | bool, ...] = ()
    low: float = 0.0
    high: float = 0.0
    log: bool = False
    whole: bool = False
    zipped: str = ""

    def written(self, value: Any) -> Any:
        """Value the way it stands in a TOML file."""
        return written(value, self.unit, whole=self.whole)


def written(value: Any, unit: str, *, whole: bool = False) -> Any:
    """Value with its unit the way it stands in a TOML file; words as they are."""
    if isinstance(value, str | bool) or unit == "":
        return value
    if unit == "1":
        number = float(value)
        return int(number) if whole and number.is_integer() else number
    return f"{float(value)!r} {unit}"


def default_name(key: str) -> str:
    """Name of a coordinate: the last part of its key; moves keep their number."""
    parts = key.split(".")
    return "_".join(parts) if parts[0] == "move" else parts[-1]


def read_axis(
    vary: Vary, known: dict[str, Kind], *, fills: bool, file: str, at: str
) -> Axis:
    """Make an axis of a ``[[vary]]``.

    Parameters
    ----------
    vary : the table
    known : keys of the case, by ``keys_of``
    fills : a sample fills the ranges: they need no count
    file, at : the study, and the key of the table in it, for errors
    """
    kind = kind_of(vary.key, known, file=file, place=f"{at}.key")
    for number, key in enumerate(vary.also, 1):
        place = f"{at}.also[{number}]"
        if kind_of(key, known, file=file, place=place).dimension != kind.dimension:
            message, allowed = "is of another kind than the key", "keys of one kind"
            raise InputError(message, file=file, key=place, value=key, allowed=allowed)
    if fills and vary.zipped is not None:
        message, allowed = "says nothing in a sample", "a grid, or no zipped"
        raise InputError(
            message,
            file=file,
            key=f"{at}.zipped",
            value=vary.zipped,
            allowed=allowed,
        )
    maker = _Maker(vary, kind, fills, file, at)
    whole: dict[str, Any] = {
        "name": vary.name or default_name(vary.key),
        "keys": (vary.key, *vary.also),
        "log": vary.spacing == "log",
        "whole": kind.whole,
        "zipped": vary.zipped or "",
    }
    return Axis(**whole, **(maker.listed() if vary.values else maker.ranged()))


class _Maker:
    """Turns the values of a ``[[vary]]`` into numbers of one unit, or words."""

    def __init__(
        self,
        vary: Vary,
        kind: Kind,
        fills: bool,  # noqa: FBT001 - called in one place
        file: str,
        at: str,
    ) -> None:
        self.vary, self.kind, self.fills = vary, kind, fills
        self.file, self.at = file, at

    def refuse(self, message: str, name: str, value: Any, allowed: str) -> NoReturn:
        raise InputError(
            message,
            file=self.file,
            key=f"{self.at}.{name}",
            value=value,
            allowed=allowed,
        )

    def listed(self) -> dict[str, Any]:
        """Return unit and values of a list."""
        given = self.vary.values or []
        sort = self.kind.sort
        if sort in ("word", "switch"):
            wanted = str if sort == "word" else bool
            for number, value in enumerate(given, 1):
                if not isinstance(value, wanted):
                    message = f"is not a {sort}"
                    self.refuse(message, f"values[{number}]", value, self.kind.allowed)
            return {"unit": "", "values": tuple(given)}
        names = [f"values[{number}]" for number in range(1, len(given) + 1)]
        unit, numbers = self.numbers(given, names)
        return {"unit": unit, "values": numbers}

    def ranged(self) -> dict[str, Any]:
        """Return unit and values of a range; its ends alone where a sample fills it."""
        vary = self.vary
        if self.kind.sort in ("word", "switch"):
            message = f"has no range: {vary.key} is a {self.kind.sort}"
            self.refuse(message, "from", vary.start, "values = [...]")
        unit, (low, high) = self.numbers([vary.start, vary.end], ["from", "to"])
        if vary.spacing == "log" and min(low, high) <= 0.0:
            message = "a range by factors needs both ends above zero"
            self.refuse(message, "from", vary.start, 'above zero, or spacing = "even"')
        if low == high:
            self.refuse("is as large as from", "to", vary.end, "another value")
        if self.fills:
            if vary.count is not None:
                message = "is told by [sample] count"
                self.refuse(message, "count", vary.count, "nothing here")
            return {"unit": unit, "low": low, "high": high}
        if vary.count is None:
            allowed = "the number of values, both ends counted"
            self.refuse("is missing", "count", None, allowed)
        return {
            "unit": unit,
            "values": spread_values(low, high, vary.count, vary.spacing),
        }

    def numbers(
        self, given: list[Any], names: list[str]
    ) -> tuple[str, tuple[float, ...]]:
        """Numbers in the unit of the first."""
        if self.kind.dimension is None:
            for name, value in zip(names, given, strict=True):
                if isinstance(value, bool) or not isinstance(value, int | float):
                    self.refuse("is not a number", name, value, self.kind.allowed)
            return "1", tuple(float(value) for value in given)
        dimension = self.kind.dimension
        unit = ""
        found = []
        for name, value in zip(names, given, strict=True):
            try:
                units.parse(value, dimension)
                unit = unit or units.split(value, dimension)[1]
                found.append(in_unit(value, unit, dimension))
            except InputError as error:
                self.refuse(error.message, name, value, self.kind.allowed)
        return unit, tuple(found)


def in_unit(value: object, unit: str, dimension: Dimension) -> float:
    """Give a quantity in a unit; to the digit where it is written in that unit."""
    number, own = units.split(value, dimension)
    if own == unit:
        return number
    return units.parse(value, dimension) / units.parse(f"1 {unit}", dimension)


def spread_values(
    low: float, high: float, count: int, spacing: Spacing
) -> tuple[float, ...]:
    """Values from one end of a range to the other, by steps or by factors."""
    shares = [i / (count - 1) for i in range(count)]
    if spacing == "log":
        inner = [low * (high / low) ** share for share in shares]
    else:
        inner = [low + (high - low) * share for share in shares]
    return (low, *(float(f"{value:.12g}") for value in inner[1:-1]), high)


def keys_of(case: dict[str, Any]) -> dict[str, Kind]:
    """Keys of a case that can be varied; ``case`` is its TOML table."""
    found = keys_below("", CaseTable)
    moves = case.get("move", [])
    for number, move in enumerate(moves if isinstance(moves, list) else [], 1):
        kind = move.get("kind") if isinstance(move, dict) else None
        if isinstance(kind, str) and kind in MOVE_TYPES:
            found |= keys_below(f"move.{number}.", MOVE_TYPES[kind])
    return found


def kind_of(key: str, known: dict[str, Kind], *, file: str, place: str) -> Kind:
    """Look up a key; where there is none, name the nearest.

    Parameters
    ----------
    key : dotted
    known : by ``keys_of``
    file, place : the file and the key in it that ask, for the error
    """
    if key in known:
        return known[key]
    hint = did_you_mean(key, list(known), cutoff=0.0)
    message = f"a case has no such key{hint}"
    raise InputError(
        message,
        file=file,
        key=place,
        value=key,
        allowed="a dotted key of the case, such as sheet.thickness, "
        "machine.rear.distance or move.2.to (moves count from 1)",
    )


def keys_below(place: str, model: type[Record]) -> dict[str, Kind]:
    """Keys of a table and the tables in it; ``place`` stands before each."""
    return dict(_entries(place, model))


def _entries(place: str, model: type[Record]) -> Iterator[tuple[str, Kind]]:
    for name, field in model.model_fields.items():
        key = f"{place}{field.alias or name}"
        if name in _NOT_VARIED:
            continue
        kind = kind_in([*field.metadata, field.annotation])
        if kind is not None:
            yield key, kind
        inner = _SUB_TABLES.get(key) or _record(field.annotation)
        if inner is not None:
            yield from _entries(f"{key}.", inner)


def _record(annotation: Any) -> type[Record] | None:
    """Table type of an annotation such as ``X | None``; lists of tables have none."""
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return annotation
    if get_origin(annotation) in _LISTS:
        return None
    found = (_record(part) for part in get_args(annotation))
    return next((part for part in found if part is not None), None)

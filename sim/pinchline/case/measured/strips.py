"""Scrap strips that were rolled once and measured: settings and readings from a CSV.

One row is one reading of a strip, or several in cells of their own; what a strip's
first row says of its setting holds for its other rows. ``cases/README.md`` lists the
columns.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from pinchline import units
from pinchline.case.fields import Record
from pinchline.case.measured.columns import Columns, CsvLine, read_columns
from pinchline.case.measured.readings import (
    READING_TYPES,
    FeedDirection,
    Kind,
    Reading,
    Side,
)
from pinchline.library import did_you_mean
from pinchline.units import Dimension

Screw = Literal["lift", "turns", "gap"]

STRIP_HEADER_EXAMPLE = (
    "a header such as strip, lift [mm], toward, side, chord [mm], rise [mm], "
    "rise error [mm]"
)
LIFT_ERROR_MM = 0.05  # mm: how well a lift is set where the file does not say; assumed
_FEED_DIRECTIONS: tuple[FeedDirection, ...] = ("rear", "operator")
_SIDES: tuple[Side, ...] = ("inside", "middle", "outside")
_SCREWS: dict[Screw, Dimension | None] = {
    "lift": "length",
    "turns": None,
    "gap": "length",
}
_COMPANION_COLUMNS = tuple(
    dict.fromkeys(k.beside for k in READING_TYPES.values() if k.beside)
)
_NUMBER_COLUMNS = (*_SCREWS, *READING_TYPES)
_NON_NEGATIVE_COLUMNS = (
    *_SCREWS,
    *(k for k, kind in READING_TYPES.items() if kind.from_zero),
)
KNOWN_COLUMNS = (
    *("strip", "toward", "side", "note", *_COMPANION_COLUMNS, "width"),
    *_NUMBER_COLUMNS,
    *(f"{k} error" for k in _NUMBER_COLUMNS),
)


class ScrapStrip(Record):
    """A strip, rolled flat and once through at one setting.

    Attributes
    ----------
    name : as the file calls it
    screw : what was set: the lift, turns of the screws from touch, or the gap between
        upper and rear roll
    setting, setting_error : mm or turns; without an error ``LIFT_ERROR_MM`` counts
    way : fed toward
    width : along the rolls, mm; None is that of the case
    readings : what was measured
    """

    name: str
    screw: Screw
    setting: float
    setting_error: float | None
    way: FeedDirection
    width: float | None = None
    readings: tuple[Reading, ...]


def read_strips(source: str | Path) -> tuple[ScrapStrip, ...]:
    """Read the strips of a measurement file.

    Raises
    ------
    InputError
        that names file, line, column, value and what is allowed
    """
    table = read_columns(source, STRIP_HEADER_EXAMPLE)
    _check_heads(table)
    strips: dict[str, ScrapStrip] = {}
    for line in table.lines:
        name = line.cells.get("strip")
        if name is None:
            message = "the row does not say which strip it is of"
            raise table.fault(message, "a name or number in every row", line, "strip")
        before = strips.get(name)
        own = _strip(table, line, name, before)
        found = tuple(_readings(table, line, own))
        earlier = () if before is None else before.readings
        strips[name] = own.model_copy(update={"readings": (*earlier, *found)})
    for name, strip in strips.items():
        if not strip.readings:
            message = f"strip {name} has no reading"
            raise table.fault(message, f"one of {', '.join(READING_TYPES)}")
    return tuple(strips.values())


def _check_heads(table: Columns) -> None:
    """Refuse a header with unknown names, without a unit, or with too little."""
    for name, head in table.heads.items():
        if name not in KNOWN_COLUMNS:
            message = (
                f"the column is not known{did_you_mean(name, list(KNOWN_COLUMNS))}"
            )
            raise table.fault(message, ", ".join(KNOWN_COLUMNS), None, head.name)
    for name in ("strip", "toward"):
        if name not in table.heads:
            message = f"there is no column {name}"
            raise table.fault(message, STRIP_HEADER_EXAMPLE)
    if not any(name in table.heads for name in _SCREWS):
        message = "no column says how the rear roll stood"
        raise table.fault(message, "lift [mm], turns or gap [mm]")
    if not any(name in table.heads for name in READING_TYPES):
        message = "there is no column of readings"
        raise table.fault(message, f"one of {', '.join(READING_TYPES)}, with its unit")
    for kind, what in READING_TYPES.items():
        for needed in (f"{kind} error", what.beside or kind):
            if kind in table.heads and needed not in table.heads:
                message = f"there is no column {needed} beside {kind}"
                unit, *_ = units.display_unit(_dimension(needed) or "length", "metric")
                meaning = "how far a reading may be off, one standard deviation"
                allowed = f"{needed} [{unit}]"
                allowed += f": {meaning}" if "error" in needed else ""
                raise table.fault(message, allowed)
    for name in table.heads:
        dimension = _dimension(name)
        if dimension is not None:
            unit, *_ = units.display_unit(dimension, "metric")
            table.factor(name, dimension, f"{name} [{unit}]")


def _dimension(name: str) -> Dimension | None:
    """Of a column, None for words and pure numbers."""
    plain = name.removesuffix(" error")
    if plain in (*_COMPANION_COLUMNS, "width"):
        return "length"
    for kind, what in READING_TYPES.items():
        if kind == plain:
            return what.dimension
    return next((d for screw, d in _SCREWS.items() if screw == plain), None)


def _number(table: Columns, line: CsvLine, column: str) -> float | None:
    """Give a cell in internal units; it must be above zero where it is given."""
    if column not in table.heads:
        return None
    value = table.number(line, column)
    if value is None:
        return None
    if value < 0.0 or (value == 0.0 and column not in _NON_NEGATIVE_COLUMNS):
        allowed = "from 0 up" if column in _NON_NEGATIVE_COLUMNS else "above 0"
        message = "is out of range"
        raise table.fault(message, f"a number {allowed}", line, column)
    dimension = _dimension(column)
    return value if dimension is None else value * table.factor(column, dimension, "")


def _word(
    table: Columns, line: CsvLine, column: str, known: tuple[str, ...]
) -> str | None:
    word = line.cells.get(column)
    if word is None:
        return None
    if word.lower() not in known:
        message = f"is not known{did_you_mean(word, list(known))}"
        raise table.fault(message, ", ".join(known), line, column)
    return word.lower()


def _strip(
    table: Columns, line: CsvLine, name: str, before: ScrapStrip | None
) -> ScrapStrip:
    """Read the setting of a strip; a later row may repeat it, not change it."""
    screws = [s for s in _SCREWS if _number(table, line, s) is not None]
    if len(screws) > 1:
        message = "the row says twice how the rear roll stood"
        raise table.fault(message, "one of lift, turns and gap", line, screws[1])
    way = _word(table, line, "toward", _FEED_DIRECTIONS)
    width = _number(table, line, "width")
    if before is None:
        if not screws:
            message = f"nothing says how the rear roll stood for strip {name}"
            raise table.fault(message, "lift, turns or gap in its first row", line)
        if way is None:
            message = f"nothing says which way strip {name} was fed"
            raise table.fault(message, "rear or operator", line, "toward")
        screw = screws[0]
        return ScrapStrip(
            name=name,
            screw=screw,
            setting=_number(table, line, screw) or 0.0,
            setting_error=_number(table, line, f"{screw} error"),
            way=way,  # type: ignore[arg-type]
            width=width,
            readings=(),
        )
    again = {
        "toward": (way, before.way),
        "width": (width, before.width),
        before.screw: (_number(table, line, before.screw), before.setting),
    }
    for column, (now, then) in again.items():
        if now is not None and now != then:
            message = f"strip {name} was rolled otherwise in an earlier row"
            allowed = "one setting for one strip: another name for another strip"
            raise table.fault(message, allowed, line, column)
    if screws and screws[0] != before.screw:
        message = f"strip {name} was set by its {before.screw} in an earlier row"
        raise table.fault(message, "the same column, or an empty cell", line, screws[0])
    return before


def _readings(table: Columns, line: CsvLine, strip: ScrapStrip) -> Iterator[Reading]:
    side = _word(table, line, "side", _SIDES)
    for kind, what in READING_TYPES.items():
        value = _number(table, line, kind)
        if value is None:
            continue
        error = _number(table, line, f"{kind} error")
        if error is None:
            message = f"the reading of {kind} has no error"
            allowed = "how far it may be off, one standard deviation"
            raise table.fault(message, allowed, line, f"{kind} error")
        if what.on_a_face and side is None:
            message = f"nothing says on which side of the sheet the {kind} was measured"
            raise table.fault(message, "side: inside, middle or outside", line, "side")
        beside = 0.0
        if what.beside:
            beside = _companion_value(table, line, kind, what.beside)
        wrong = what.fault(value, beside, strip.way)
        if wrong is not None:
            raise table.fault(*wrong, line, kind)
        yield Reading(
            kind=kind,
            value=value,
            error=error,
            side=side or "middle",  # type: ignore[arg-type]
            beside=beside,
            line=line.number,
        )


def _companion_value(table: Columns, line: CsvLine, kind: Kind, name: str) -> float:
    """Read the chord of a rise or the marks of an opening."""
    beside = _number(table, line, name)
    if beside is None:
        message = f"the {kind} has no {name}"
        raise table.fault(message, f"the {name} it was measured over", line, name)
    return beside

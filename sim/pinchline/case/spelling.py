"""What is written in Python as the tables of a case file."""

from pathlib import Path
from typing import Any, get_args

from pinchline import units
from pinchline.case.fields import Quantity, Record
from pinchline.case.machine import Machine
from pinchline.case.sheet import MATERIAL, Sheet
from pinchline.errors import InputError
from pinchline.units import Dimension


def case_table(given: dict[str, Any]) -> dict[str, Any]:
    """Tables of a file for the arguments of a case; None is left out.

    Parameters
    ----------
    given : by the key in a file, and ``moves``; each part a record or a table, the
        machine also the name or path of its card
    """
    table = {("move" if key == "moves" else key): part for key, part in given.items()}
    machine = table.get("machine")
    if isinstance(machine, str | Path):
        table["machine"] = {"use": machine}
    plain: dict[str, Any] = _plain(table)
    return plain


def _plain(value: Any) -> Any:
    """Return a value the way TOML holds it."""
    if isinstance(value, Record):
        return _record(value)
    if isinstance(value, dict):
        kept = {key: part for key, part in value.items() if part is not None}
        return {key: _plain(part) for key, part in kept.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, Path):
        return value.as_posix()
    if hasattr(value, "m_as"):  # of pint
        return f"{value.magnitude!r} {value.units:~C}"
    return value


def _record(record: Record) -> dict[str, Any]:
    """Table of a record, without what is at its default; internal units, exact."""
    table = {}
    for name, field in type(record).model_fields.items():
        value = getattr(record, name)
        if value is None or (value == field.default and name != "kind"):
            continue
        dimension = _dimension([*field.metadata, field.annotation])
        if dimension is not None and isinstance(value, float):
            value = units.exact(value, dimension)
        table[field.alias or name] = _plain(value)
    if isinstance(record, Machine):
        del table["name"]
    if isinstance(record, Sheet):
        if record.source is None:
            message = "is a record of which no card is known"
            raise InputError(message, key="sheet.material", allowed=MATERIAL)
        direction = record.material.direction
        table |= {"material": _plain(table.pop("source")), "direction": direction}
    return table


def _dimension(parts: list[Any]) -> Dimension | None:
    """Dimension by the validator somewhere in an annotation."""
    for part in parts:
        validator = getattr(part, "func", None)
        if isinstance(validator, Quantity):
            return validator.dimension
        inner = [*getattr(part, "__metadata__", ()), *get_args(part)]
        found = _dimension(inner) if inner else None
        if found is not None:
            return found
    return None

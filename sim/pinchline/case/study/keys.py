"""Every value of a case by its dotted key, and what it may be.

Moves are numbered from 1: ``move.2.to``. Keys of a material card stand below
``sheet.material``, those of a machine card below ``machine``, as a case overrides them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args, get_origin

from pinchline.case.case import CaseTable
from pinchline.case.fields import Record
from pinchline.case.machine import MachineTable
from pinchline.case.material import Card
from pinchline.case.moves import KINDS
from pinchline.case.sheet import SheetTable
from pinchline.case.variation import Kind, kind_in
from pinchline.errors import InputError
from pinchline.library import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator


_BELOW: dict[str, type[Record]] = {
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


def keys_of(case: dict[str, Any]) -> dict[str, Kind]:
    """Keys of a case that can be varied; ``case`` is its TOML table."""
    found = keys_below("", CaseTable)
    moves = case.get("move", [])
    for number, move in enumerate(moves if isinstance(moves, list) else [], 1):
        kind = move.get("kind") if isinstance(move, dict) else None
        if isinstance(kind, str) and kind in KINDS:
            found |= keys_below(f"move.{number}.", KINDS[kind])
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
        inner = _BELOW.get(key) or _record(field.annotation)
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

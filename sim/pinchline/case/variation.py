"""Changes of a case: values under dotted keys, in its records and in its TOML text.

A case is changed in its records, which check what they hold as they do for a file. What
concerns a card or another file is put into the table of the case's file, and the parts
that it concerns are read again; so is what a record refuses, for the file's message.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args, get_origin

from pinchline import library, units
from pinchline.case.fields import Choice, Number, Quantity, Record, Switch, Words
from pinchline.case.machine import Machine, load_machine
from pinchline.case.metal.material import Material, load_material
from pinchline.case.sheet import Sheet
from pinchline.errors import InputError

if TYPE_CHECKING:
    from pinchline.units import Dimension

Changes = Mapping[str, object]
Tree = dict[str, Any]

_LISTS = (list, dict, tuple)
_CASE_FIELDS = {"move": "moves"}  # of a case, where its file has another word
# what a file may say in another way, or in another file
_KEYS_FROM_FILES = {"sheet.curvature", "target.profile"}
# of a material and a target: what their tables in a file do not have, or not beside
# the yield strength
_NOT_WRITTEN = {"name", "direction", "yield_tension", "yield_compression", "drawing"}


@dataclass(frozen=True)
class Kind:
    """What the value of a key may be.

    Attributes
    ----------
    sort : a quantity has a unit, a number none, a word is text, a switch true or false
    dimension : of a quantity
    whole : a number that counts
    allowed : what is accepted, in words
    """

    sort: Literal["quantity", "number", "word", "switch"]
    allowed: str
    dimension: Dimension | None = None
    whole: bool = False


def kind_in(parts: list[Any], *, inside: bool = False) -> Kind | None:
    """Kind of value by the validator somewhere in an annotation.

    ``inside``: the validator of what a list holds counts too.
    """
    for part in parts:
        validator = getattr(part, "func", None)
        if isinstance(validator, Quantity):
            return Kind("quantity", validator.allowed, validator.dimension)
        if isinstance(validator, Number):
            return Kind("number", validator.allowed, whole=validator.whole)
        if isinstance(validator, Words | Choice):
            return Kind("word", validator.allowed)
        if isinstance(validator, Switch):
            return Kind("switch", validator.allowed)
        if get_origin(part) in _LISTS and not inside:
            continue
        below = [*getattr(part, "__metadata__", ()), *get_args(part)]
        found = (
            kind_in(below, inside=inside) if below and part is not Annotated else None
        )
        if found is not None:
            return found
    return None


def strengthened(
    material: Material, ratio: float, youngs: float | None = None
) -> Material:
    """Material with every stress of its yielding in a ratio, skins and curve included.

    ``youngs``: its Young's modulus (MPa) from now on; None keeps it.
    """
    youngs = material.youngs_modulus if youngs is None else youngs
    values: Tree = {
        "yield_strength": ratio * material.yield_strength,
        "youngs_modulus": youngs,
    }
    clad, curve = material.clad, material.curve
    if clad is not None:
        values["clad"] = {"yield_strength": ratio * clad.yield_strength}
    if curve is not None:
        values["curve"] = curve.moved(ratio, material.youngs_modulus, youngs)
    found: Material = rebuilt(material, values)
    return found


def rebuilt(record: Any, tree: Tree) -> Any:
    """Copy of a checked record with other values, numbers in internal units, checked.

    Parameters
    ----------
    record : a ``Record``, or a tuple of them
    tree : values by name, below a part another such table; by number, from 1, in a
        tuple

    Raises
    ------
    LookupError
        The record has no such value, or nothing is there to be changed.
    ValueError
        The record refuses a value.
    """
    if record is None:
        raise LookupError
    if isinstance(record, tuple):
        pieces = list(record)
        for number, below in tree.items():
            at = _place(number, record)
            pieces[at] = rebuilt(pieces[at], below)
        return tuple(pieces)
    kind = type(record)
    fields = kind.model_fields
    values = {name: getattr(record, name) for name in record.model_fields_set}
    for word, value in tree.items():
        name = _CASE_FIELDS.get(word, word)
        if name not in fields or (name == "material" and isinstance(value, str)):
            raise LookupError(name)  # a card is read for direction and thickness
        below = isinstance(value, dict)
        values[name] = rebuilt(getattr(record, name), value) if below else value
    moved = kind is Material and record.curve is not None and "curve" not in tree
    if moved:
        del values["curve"]
    found = kind.model_validate({fields[n].alias or n: v for n, v in values.items()})
    if not moved:
        return found
    curve = record.curve.moved(
        found.yield_strength / record.yield_strength,
        record.youngs_modulus,
        found.youngs_modulus,
    )
    return found.model_copy(update={"curve": curve})


def nested_table(changes: Changes, *, own: bool) -> Tree:
    """Nested table of values under dotted keys.

    ``own``: the material is one of the case's own, not that of a card.

    Raises
    ------
    LookupError
        A value concerns a file that the case reads, or stands below another.
    """
    tree: Tree = {}
    if "sheet.thickness" in changes and "sheet.material" not in changes:
        raise LookupError
    for key in _by_depth(changes):
        value = changes[key]
        of_card = key.startswith("sheet.material.") and not own
        gone = value is None and key != "target"
        if of_card or gone or key in _KEYS_FROM_FILES or isinstance(value, dict | list):
            raise LookupError(key)
        *path, last = key.split(".")
        below = tree
        for part in path:
            below = below.setdefault(part, {})
            if not isinstance(below, dict):
                raise LookupError(key)
        below[last] = value
    return tree


def joined_changes(before: Changes, after: Changes) -> dict[str, object]:
    """Put changes after others; a part that is replaced takes those in it along."""
    kept = {
        key: value
        for key, value in before.items()
        if not any(key.startswith(f"{other}.") for other in after)
    }
    return kept | dict(after)


def changed(table: Tree, values: Changes, *, file: str | None = None) -> Tree:
    """Copy of a case's TOML table with other values under dotted keys; None takes away.

    Raises
    ------
    InputError
        There is no such move.
    """
    table = copy.deepcopy(table)
    for key in _by_depth(values):
        *path, last = key.split(".")
        held: Any = table
        if path and path[0] == "move":
            held, path = _move(table, key, file), path[2:]
        for part in path:
            below = held.get(part)
            if isinstance(below, str):  # the name of a card: its values are overridden
                below = {"use": below}
            elif isinstance(below, Record):
                below = as_table(below)
            held[part] = {} if below is None else below
            held = held[part]
        if values[key] is None:
            held.pop(last, None)
        else:
            held[last] = values[key]
    return table


def _by_depth(keys: Changes) -> list[str]:
    """Keys, a part before what is in it."""
    return sorted(keys, key=lambda key: key.count("."))


def _move(table: Tree, key: str, file: str | None) -> Tree:
    moves = table.get("move", [])
    try:
        found: Tree = moves[_place(key.split(".")[1], moves)]
    except LookupError:
        allowed = f"move.1 to move.{len(moves)}" if moves else "a case with moves"
        message = "the case has no such move"
        raise InputError(message, file=file, key=key, allowed=allowed) from None
    return found


def _place(number: str, pieces: Sequence[object]) -> int:
    """Place of a piece, from 0, by its number, from 1."""
    if not number.isdecimal() or not 0 < int(number) <= len(pieces):
        raise LookupError(number)
    return int(number) - 1


@lru_cache(maxsize=64)
def toml_table(text: str, path: str) -> Tree:
    """TOML table of a text, kept: it is not to be written into."""
    return library.parse_toml(text, path)


def text_with(text: str, values: Changes) -> str:
    """TOML text of a case with other values under dotted keys; comments stay."""
    import tomlkit  # slow to import

    plain = {key: value for key, value in values.items() if key.split(".")[0] != "move"}
    if "move" not in values:
        return tomlkit.dumps(changed(tomlkit.parse(text), values))
    document: Any = changed(tomlkit.parse(text), {**plain, "move": None})
    moves = tomlkit.aot()
    for move in changed(toml_table(text, ""), values)["move"]:
        moves.append(tomlkit.item(move))
    document.append("move", moves)
    return tomlkit.dumps(document)


def text_of(parts: Tree) -> str:
    """TOML text of a case for its parts in Python.

    Parameters
    ----------
    parts : by the key in a file, and ``moves``; each a record or a table, the machine
        also the name or path of its card; None is left out
    """
    import tomlkit  # slow to import

    machine = parts.get("machine")
    if isinstance(machine, str | Path):
        parts = {**parts, "machine": {"use": machine}}
    words = {field: word for word, field in _CASE_FIELDS.items()}
    table = {words.get(name, name): part for name, part in parts.items()}
    return tomlkit.dumps(_spelled(table, None))


def as_table(record: Record) -> Tree:
    """Give a record the way a file writes it; what it was not told stays out."""
    if isinstance(record, Sheet):
        return _sheet_table(record)
    if isinstance(record, Machine):
        with suppress(InputError):  # no card of that name
            if load_machine(record.name) == record:
                return {"use": record.name}
    told = record.model_fields_set | {"kind"}
    table = {}
    for name, field in type(record).model_fields.items():
        value = getattr(record, name)
        if name in told and name not in _NOT_WRITTEN and value is not None:
            table[field.alias or name] = _spelled(value, field)
    return table


def _sheet_table(sheet: Sheet) -> Tree:
    """Table of a sheet: its card where that gives its material, or all of the metal."""
    metal, source = sheet.material, sheet.source
    table: Tree = {"material": as_table(metal), "direction": metal.direction}
    if source is not None:
        with suppress(InputError):  # a card in the folder of another case
            if load_material(source, metal.direction, sheet.thickness, "") == metal:
                table["material"] = _spelled(source, None)
    for name in ("thickness", "length", "width", "off_centre", "curvature"):
        field, value = Sheet.model_fields[name], getattr(sheet, name)
        if value != field.default:
            table[name] = _spelled(value, field)
    return table


def as_written(case: Record, changes: Changes) -> dict[str, object]:
    """Give changes of a case the way a file writes them, from internal units."""
    return {
        key: _spelled(value, _field_at(case, key)) for key, value in changes.items()
    }


def _field_at(record: Any, key: str) -> Any:
    """Field of a record under a dotted key; None where there is none."""
    *path, last = key.split(".")
    try:
        for part in path:
            if isinstance(record, tuple):
                record = record[_place(part, record)]
            else:
                record = getattr(record, _CASE_FIELDS.get(part, part))
        return type(record).model_fields.get(last)
    except (LookupError, AttributeError):
        return None


def _spelled(value: Any, field: Any) -> Any:
    """Write a value of a field as TOML has it; numbers with their internal unit."""
    if isinstance(value, Record):
        return as_table(value)
    if isinstance(value, dict):
        return {k: _spelled(v, None) for k, v in value.items() if v is not None}
    if isinstance(value, list | tuple):
        return [_spelled(one, field) for one in value]
    if isinstance(value, Path):
        return value.as_posix()
    if units.is_pint(value):
        return units.as_text(value)
    if isinstance(value, bool) or not isinstance(value, int | float) or field is None:
        return value
    kind = kind_in([*field.metadata, field.annotation], inside=True)
    if kind is None or kind.dimension is None:
        return value
    unit = next(u for u, f in units.FACTORS[kind.dimension].items() if f == 1.0)
    return f"{repr(float(value)).removesuffix('.0')} {unit}"

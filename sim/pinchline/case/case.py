"""A case: one sheet, one machine, one programme, and what to measure."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from math import ceil
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BeforeValidator, Field, PrivateAttr, model_validator

from pinchline import library
from pinchline.case.checks import check_case
from pinchline.case.fields import (
    Bounds,
    Choice,
    Length,
    LengthOrZero,
    Number,
    Positive,
    PythonRecord,
    Record,
    Share,
    SubTable,
    Tables,
    Text,
    YesNo,
    read,
    refuse,
)
from pinchline.case.machine import Machine, read_machine
from pinchline.case.metal.material import Material
from pinchline.case.moves import Move, read_moves
from pinchline.case.program import ProgramTrace, trace_program
from pinchline.case.sheet import Sheet, read_sheet
from pinchline.case.spread import ScatterTable
from pinchline.case.target import Target, read_target
from pinchline.case.variation import (
    Changes,
    as_written,
    changed,
    joined_changes,
    nested_table,
    rebuilt,
    text_of,
    text_with,
    toml_table,
)

_ELEMENT_THICKNESSES = 0.25  # of the thickness
_HALF_SHEET_FOUNDATION = 32.0 / 13.0  # E'/t: half the thickness, even pressure
_BULGING_FOUNDATION = 0.8  # E'/t: with bulging, calibrated on a continuum
_MIN_STEPS_PER_ELEMENT, _MAX_STEP_MM = (
    2,
    0.2,
)  # mm: longer ones step over the peak at a roll
_FLAT_ESTIMATE_DISTANCES = 0.4  # to the rear roll; unplanned
# what the length of a blank is estimated from, beside the sheet
_BLANK_KEYS = {"target", "machine.use", "machine.rear.distance"}
_IN_PYTHON = "a case in Python"
_HARDENING_SHARES = {"isotropic": 0.0, "kinematic": 1.0}


class _Hardening(Number):
    """Validator of the kinematic share, by word or number."""

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        return '"isotropic", "kinematic", or the kinematic share, a number from 0 to 1'

    def __call__(self, value: object) -> float:
        """Return the kinematic share, or refuse the value."""
        if isinstance(value, str):
            if value in _HARDENING_SHARES:
                return _HARDENING_SHARES[value]
            hint = library.did_you_mean(value, list(_HARDENING_SHARES))
            refuse(f"is not known{hint}", value=value, allowed=self.allowed)
        return super().__call__(value)


Section = Annotated[
    Literal["layered", "closed-form"],
    BeforeValidator(Choice(("layered", "closed-form"))),
]
Regime = Annotated[
    Literal["auto", "wide", "narrow"],
    BeforeValidator(Choice(("auto", "wide", "narrow"))),
]
Hardening = Annotated[
    float, BeforeValidator(_Hardening(Bounds(at_least=0.0, at_most=1.0)))
]
Layers = Annotated[
    int, BeforeValidator(Number(Bounds(at_least=6, at_most=64), whole=True))
]


StepsPerElement = Annotated[
    int, BeforeValidator(Number(Bounds(at_least=1, at_most=16), whole=True))
]


class ModelOptions(Record):
    """How the case is computed.

    Attributes
    ----------
    element : wished element length, mm; None takes a quarter of the thickness
    steps_per_element : feed steps in which one element of sheet goes through the nip;
        None takes two, or as many as keep a step within 0.2 mm
    section : through-thickness layers, or the closed form
    hardening : kinematic share, 0 to 1; None takes the card's
    bulging : whether bent sheet bulges on its hollow side, and pressure works on that
    contact : foundation stiffness as a multiple of E'/t; None takes 0.8, calibrated to
        stand for bulging too, and with bulging that of half the thickness, 32/13
    layers : per half thickness
    drive_share : share of the drive that acts at the upper roll, 0 to 1
    lift_step : largest lift per step, mm; None leaves it to the solver
    regime : "wide" is held flat across by its width (plane strain), "narrow" is not;
        "auto" decides by the Searle number
    weight : whether the sheet's own weight counts
    """

    element: Length | None = None
    steps_per_element: StepsPerElement | None = None
    section: Section = "layered"
    hardening: Hardening | None = None
    bulging: YesNo = False
    contact: Positive | None = None
    layers: Layers = 20
    drive_share: Share = 0.5
    lift_step: Length | None = None
    regime: Regime = "auto"
    weight: YesNo = False

    @property
    def foundation(self) -> float:
        """Foundation stiffness, times E'/t."""
        return self.contact or (
            _HALF_SHEET_FOUNDATION if self.bulging else _BULGING_FOUNDATION
        )

    @property
    def plain(self) -> Self:
        """Without bulging; a foundation that stands for it takes its place."""
        if not self.bulging:
            return self
        contact = self.foundation * _BULGING_FOUNDATION / _HALF_SHEET_FOUNDATION
        return self.model_copy(update={"bulging": False, "contact": contact})


class Measures(Record):
    """What to measure on the free part.

    Attributes
    ----------
    straightedge_gap : gap at which the straightedge flat ends, mm
    gauge_operator, gauge_rear : s of the gauge lines, mm; None takes the edges
    zone_from, zone_to : s of the zone of the radius, mm; None finds the plateau
    """

    straightedge_gap: Length = 0.1
    gauge_operator: LengthOrZero | None = None
    gauge_rear: LengthOrZero | None = None
    zone_from: LengthOrZero | None = None
    zone_to: LengthOrZero | None = None


class CaseTable(Record):
    """Top level of a case file."""

    title: Text | None = None
    sheet: Annotated[
        dict[str, Any],
        BeforeValidator(
            SubTable("a table [sheet] with material, direction, thickness ...")
        ),
    ]
    machine: Annotated[
        dict[str, Any],
        BeforeValidator(SubTable('a table [machine], such as use = "bench-60"')),
    ]
    model: ModelOptions = ModelOptions()
    move: Annotated[
        list[dict[str, Any]],
        BeforeValidator(Tables("tables [[move]], each with its kind")),
    ] = Field(default_factory=list)
    measure: Measures = Measures()
    scatter: ScatterTable = ScatterTable()
    target: Annotated[
        dict[str, Any] | None,
        BeforeValidator(SubTable("a table [target] with radius and angle, or others")),
    ] = None


class Case(PythonRecord):
    """A checked case; every number in internal units.

    In Python the parts are records or tables with the keys of a case file, and
    quantities are text with units or ``pint`` quantities; the case is then read from
    its own TOML text, with the checks and messages of a file. Two cases are equal where
    they compute the same: text and path do not count.

    Attributes
    ----------
    title : one line
    written : the TOML text of its file, verbatim (argument ``text``)
    path : where it was read; relative paths start in its folder
    sheet, machine, model, moves, measure : its parts
    scatter : how far what it says may be off
    target : the wanted part; a case with one may leave moves and sheet length to a plan

    Examples
    --------
    >>> import pinchline as pl
    >>> sheet = pl.Sheet(
    ...     material="5052-H32",
    ...     direction="LT",
    ...     thickness="1 mm",
    ...     length="260 mm",
    ...     width="400 mm",
    ... )
    >>> moves = [pl.Place("130 mm"), pl.Lift("26 mm"), pl.Feed("rear", leave="18 mm")]
    >>> moves += [pl.Lower(), pl.Release()]
    >>> case = pl.Case(title="a trial", sheet=sheet, machine="bench-60", moves=moves)
    >>> print(case.to_toml().splitlines()[0])
    title = "a trial"
    >>> case.replace({"sheet.thickness": "0.8 mm"}).sheet.thickness
    0.8
    """

    origin: ClassVar[frozenset[str]] = frozenset({"written", "path"})

    title: str
    written: str = Field(alias="text")
    path: str
    sheet: Sheet
    machine: Machine
    model: ModelOptions = ModelOptions()
    moves: tuple[Move, ...]
    measure: Measures = Measures()
    scatter: ScatterTable = ScatterTable()
    target: Target | None = None
    _changes: dict[str, object] = PrivateAttr(default_factory=dict)

    @property
    def text(self) -> str:
        """TOML text of the case; what was changed since the file is written in."""
        if not self._changes:
            return self.written
        changes = self._changes
        if self._blank_found:
            changes = {**changes, "sheet.length": self.sheet.length}
        return text_with(self.written, as_written(self, changes))

    @property
    def table(self) -> dict[str, Any]:
        """TOML table of the case; its material is a record where it was set as one."""
        return self._table(self._changes)

    def _table(self, changes: Changes) -> dict[str, Any]:
        written = as_written(self, changes)
        metal = changes.get("sheet.material")
        if isinstance(metal, Material):
            written["sheet.material"] = metal
        return changed(toml_table(self.written, self.path), written, file=self.path)

    def replace(self, changes: Changes) -> "Case":
        """Give the case with other values under the dotted keys of its file, checked.

        Parameters
        ----------
        changes : key to value: ``{"sheet.thickness": "0.8 mm", "move.2.to": "26 mm"}``.
            Text and numbers as in a file, or plain floats in internal units; None takes
            a key away. A whole part may be a record: ``sheet.material``, ``move`` (a
            tuple of moves). Another thickness or direction takes the values of the
            material's card for it, unless a material comes with it; another yield
            strength moves the whole stress-strain curve.

        Raises
        ------
        InputError
            as for a file with these values
        """
        every = joined_changes(self._changes, changes)
        parts = {key.split(".")[0] for key in changes}
        blank = self._blank_found and "sheet.length" not in changes
        blank = blank and not _BLANK_KEYS.isdisjoint({*parts, *changes})
        own = isinstance(self._changes.get("sheet.material"), Material)
        case: Case | None = None
        if not blank:
            with suppress(LookupError, ValueError):
                case = rebuilt(self, nested_table(changes, own=own))
        if case is None:
            case = self._read_again(every, parts | {"sheet"} if blank else parts)
        if own and any(key.startswith("sheet.material.") for key in changes):
            every = joined_changes(every, {"sheet.material": case.sheet.material})
        case._changes = every
        return case

    @property
    def _blank_found(self) -> bool:
        """Whether the length of the sheet is an estimate, until a plan finds it."""
        told = toml_table(self.written, self.path)["sheet"]
        return "length" not in told and "sheet.length" not in self._changes

    def _read_again(self, changes: Changes, parts: set[str]) -> "Case":
        """Read parts from the table of the file with all changes; the rest stays."""
        kept = {
            part: getattr(self, part)
            for part in ("sheet", "machine", "target")
            if part not in parts
        }
        table = self._table(changes)
        return build_case(table, text=self.written, path=self.path, kept=kept)

    @model_validator(mode="before")
    @classmethod
    def _from_python(cls, data: dict[str, Any]) -> dict[str, Any]:
        """Read a case without text as a file would be read."""
        if "text" in data:
            return data
        path = str(data.get("path", _IN_PYTHON))
        text = text_of({key: part for key, part in data.items() if key != "path"})
        return _parts(library.parse_toml(text, path), text=text, path=path)

    def to_toml(self) -> str:
        """Return the case as the text of a case file, which loads to an equal case.

        A material that was set as a record stands there with all its values; the case
        that is loaded calls it ``inline``.
        """
        return self.text

    @property
    def elements(self) -> int:
        """Number of elements of the sheet."""
        wished = self.model.element or _ELEMENT_THICKNESSES * self.sheet.thickness
        return max(1, ceil(self.sheet.length / wished - 1.0e-9))

    @property
    def element(self) -> float:
        """Length of an element, mm: the sheet holds a whole number of them."""
        return self.sheet.length / self.elements

    @property
    def steps_per_element(self) -> int:
        """Feed steps of an element."""
        asked = self.model.steps_per_element
        return asked or max(
            _MIN_STEPS_PER_ELEMENT, ceil(self.element / _MAX_STEP_MM - 1.0e-9)
        )

    @property
    def program(self) -> ProgramTrace:
        """Where sheet and rear roll stand before and after every move."""
        return trace_program(self.moves, self.sheet.length)

    @model_validator(mode="after")
    def _possible(self) -> "Case":
        check_case(self)
        return self


def parse_case(text: str, *, path: str) -> Case:
    """Build a case from TOML text.

    Parameters
    ----------
    text : the TOML text
    path : where it comes from; relative paths in it start in that folder

    Raises
    ------
    InputError
        that names file, key, value and what is allowed
    """
    return build_case(library.parse_toml(text, path), text=text, path=path)


def build_case(
    data: dict[str, Any],
    *,
    text: str,
    path: str,
    kept: Mapping[str, Any] = MappingProxyType({}),
) -> Case:
    """Build a case from the table of its TOML ``text``; ``kept``: parts that stay."""
    return Case(**_parts(data, text=text, path=path, kept=kept))


def _parts(
    data: dict[str, Any],
    *,
    text: str,
    path: str,
    kept: Mapping[str, Any] = MappingProxyType({}),
) -> dict[str, Any]:
    """Fields of a case from its table."""
    table = read(CaseTable, data, file=path)
    target = kept.get("target")
    if "target" not in kept and table.target is not None:
        target = read_target(table.target, path)
    machine = kept.get("machine") or read_machine(table.machine, path)
    blank = _blank(target, machine)
    return {
        "title": table.title or Path(path).stem,
        "text": text,
        "path": path,
        "sheet": kept.get("sheet") or read_sheet(table.sheet, path, blank),
        "machine": machine,
        "model": table.model,
        "moves": read_moves(table.move, path),
        "measure": table.measure,
        "scatter": table.scatter,
        "target": target,
    }


def _blank(target: Target | None, machine: Machine) -> Callable[[float], float] | None:
    """Length of a blank for a target, by the sheet's thickness; both in mm."""
    if target is None:
        return None
    flat = _FLAT_ESTIMATE_DISTANCES * machine.rear.distance
    return lambda thickness: target.blank(thickness, flat)


def load_case(source: str | Path) -> Case:
    """Build a case from a file, or from the name of a shipped one.

    Parameters
    ----------
    source : a path (ends in ``.toml`` or holds a separator) or a name

    Returns
    -------
    The checked case; every number in mm, N, MPa or rad.

    Raises
    ------
    InputError
        that names file, key, value and what is allowed

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.load_case("strut-fairing").sheet.length
    260.0
    """
    found = library.fetch("cases", source)
    return parse_case(found.text, path=found.where)

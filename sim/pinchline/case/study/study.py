"""A study: one case, the keys varied in it, the results kept, and their pictures."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from pinchline import library
from pinchline.case.case import Case, parse_case
from pinchline.case.fields import (
    Bounds,
    Choice,
    LengthOrZero,
    Number,
    Record,
    SubTable,
    Tables,
    Text,
    read,
    refuse,
)
from pinchline.case.moves import Toward
from pinchline.case.study.picture import Picture
from pinchline.case.study.values import (
    Axis,
    Names,
    Vary,
    keys_below,
    keys_of,
    kind_of,
    read_axis,
)
from pinchline.case.variation import Kind
from pinchline.errors import InputError

RESERVED_NAMES = ("point", "done", "event", "message")  # names in the file of a study

Solver = Literal["stepped", "span"]
Method = Literal["grid", "latin-hypercube", "sobol", "table"]

MAX_STUDY_POINTS = 10_000_000
_PASS_PREFIX = "pass."  # keys of the span solver's pass, beside those of the case
_CARD_KEYS = ("machine.use", "sheet.material", "sheet.material.use")

Count = Annotated[
    int,
    BeforeValidator(Number(Bounds(at_least=1, at_most=MAX_STUDY_POINTS), whole=True)),
]
Seed = Annotated[int, BeforeValidator(Number(Bounds(at_least=0), whole=True))]


class Sample(Record):
    """How the points are chosen.

    Attributes
    ----------
    method : every combination; a filling of the ranges; or a table of points
    count, seed : of a filling
    file : of the table, CSV
    """

    method: Annotated[
        Method,
        BeforeValidator(Choice(("grid", "latin-hypercube", "sobol", "table"))),
    ] = "grid"
    count: Count | None = None
    seed: Seed = 0
    file: Text | None = None

    @property
    def fills(self) -> bool:
        """Whether ranges are filled by a sample of so many points."""
        return self.method in ("latin-hypercube", "sobol")

    @model_validator(mode="after")
    def _whole(self) -> "Sample":
        if self.fills and self.count is None:
            refuse("is missing", key="count", allowed="the number of points")
        if not self.fills and self.count is not None:
            allowed = 'method = "latin-hypercube" or "sobol" beside it'
            refuse("says nothing", key="count", value=self.count, allowed=allowed)
        if self.method == "sobol" and (self.count or 0).bit_count() != 1:
            message = "does not fill the ranges evenly"
            allowed = "a power of two for sobol: 64, 128, 256 ..."
            refuse(message, key="count", value=self.count, allowed=allowed)
        if (self.method == "table") != (self.file is not None):
            message = "goes with method table, and only with it"
            refuse(message, key="file", value=self.file, allowed="the path of a CSV")
        return self


class _StudyTable(Record):
    """Top level of a study file."""

    title: Text | None = None
    case: Text
    solver: Annotated[Solver, BeforeValidator(Choice(("stepped", "span")))] = "stepped"
    keep: Annotated[
        list[str], BeforeValidator(Names('a list of results: ["opening"]', 1))
    ]
    set: Annotated[
        dict[str, Any],
        BeforeValidator(SubTable('a table [set], such as "sheet.width" = "300 mm"')),
    ] = Field(default_factory=dict)
    sample: Sample = Sample()
    vary: Annotated[
        list[dict[str, Any]],
        BeforeValidator(Tables("tables [[vary]], each with its key and values")),
    ] = Field(default_factory=list)
    picture: list[Picture] = Field(default_factory=list)


class StudiedPass(Record):
    """The pass of the span solver: lift (mm), and where the sheet is fed."""

    lift: LengthOrZero
    toward: Toward


class Study(Record):
    """A checked study.

    Attributes
    ----------
    title : one line
    text, path : the TOML text, verbatim, and where it was read
    case_text, case_path : those of the case
    case : with the changes of ``[set]``
    steady : lift and direction of the span solver's pass as ``[set]`` gives them
    solver : the whole programme by the stepped solver, or one steady pass by the span
    keep : names of the results that are kept
    sample, axes : how the points are chosen, from which values
    pictures : what is drawn
    """

    title: str
    text: str
    path: str
    case_text: str
    case_path: str
    case: Case
    steady: dict[str, Any]
    solver: Solver
    keep: tuple[str, ...]
    sample: Sample
    axes: tuple[Axis, ...]
    pictures: tuple[Picture, ...]


def load_study(source: str | Path) -> Study:
    """Build a study from a path (ends in ``.toml`` or holds a separator) or a name."""
    found = library.fetch("studies", source)
    return parse_study(found.text, path=found.where)


def parse_study(text: str, *, path: str) -> Study:
    """Build a study from TOML text.

    Parameters
    ----------
    text : the TOML text
    path : where it comes from; relative paths in it start in that folder

    Raises
    ------
    InputError
        that names file, key, value and what is allowed
    """
    table = read(_StudyTable, library.parse_toml(text, path), file=path)
    base = library.fetch(
        "cases", table.case, folder=Path(path).parent, file=path, key="case"
    )
    case = parse_case(base.text, path=base.where)
    known = known_keys(case.table, table.solver)
    fixed = dict(_flat(table.set))
    for key in fixed:
        kind_of(key, known, file=path, place="set")
    case, steady = case_at_point(case, {}, fixed, folder=Path(path).parent)
    axes = _axes(table, known, path)
    varied = {key for axis in axes for key in axis.keys}
    if table.solver == "span" and table.sample.method != "table":
        _check_steady(steady, varied, path)
    return Study(
        title=table.title or Path(path).stem,
        text=text,
        path=path,
        case_text=base.text,
        case_path=base.where,
        case=case,
        steady=steady,
        solver=table.solver,
        keep=tuple(table.keep),
        sample=table.sample,
        axes=axes,
        pictures=tuple(table.picture),
    )


def known_keys(case: dict[str, Any], solver: Solver) -> dict[str, Kind]:
    """Keys that a study of a case may vary; ``case`` is its TOML table."""
    return keys_of(case) | (
        keys_below(_PASS_PREFIX, StudiedPass) if solver == "span" else {}
    )


def case_at_point(
    case: Case,
    steady: dict[str, Any],
    values: dict[str, Any],
    *,
    folder: Path,
) -> tuple[Case, dict[str, Any]]:
    """Case and table of a pass with other values; cards by path start in ``folder``."""
    own = {k: v for k, v in values.items() if not k.startswith(_PASS_PREFIX)}
    for key, value in own.items():
        if isinstance(value, str) and key in _CARD_KEYS and library.is_path(value):
            own[key] = str((folder / value).resolve())
    passed = {
        k.removeprefix(_PASS_PREFIX): v
        for k, v in values.items()
        if k.startswith(_PASS_PREFIX)
    }
    return case.replace(own), steady | passed


def read_pictures(text: str, *, path: str) -> tuple[Picture, ...]:
    """Pictures of a study's text, without a look at its case."""
    table = read(_StudyTable, library.parse_toml(text, path), file=path)
    return tuple(table.picture)


def _flat(table: dict[str, Any], place: str = "") -> Iterator[tuple[str, Any]]:
    """Entries of nested tables under dotted keys: TOML nests a key without quotes."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{place}{key}.")
        else:
            yield f"{place}{key}", value


def _axes(table: _StudyTable, known: dict[str, Kind], path: str) -> tuple[Axis, ...]:
    if table.sample.method == "table":
        if table.vary:
            message = "stands beside a table of points"
            allowed = "[[vary]], or file in [sample], not both"
            raise InputError(message, file=path, key="vary", allowed=allowed)
        return ()
    if not table.vary:
        allowed = "tables [[vary]], each with its key and values"
        message = "is missing"
        raise InputError(message, file=path, key="vary", allowed=allowed)
    axes = []
    for number, entry in enumerate(table.vary, 1):
        at = f"vary[{number}]"
        vary = read(Vary, entry, file=path, key=at)
        axes.append(read_axis(vary, known, fills=table.sample.fills, file=path, at=at))
    check_unique_axes(axes, path)
    if not table.sample.fills:
        _check_zipped(axes, path)
    return tuple(axes)


def check_unique_axes(axes: Sequence[Axis], path: str, *, place: str = "vary") -> None:
    """Refuse a key that is varied twice, and a name that is used twice."""
    keys: list[str] = []
    names = list(RESERVED_NAMES)
    for number, axis in enumerate(axes, 1):
        for word, held, part, allowed in (
            *((key, keys, "key", "every key once") for key in axis.keys),
            (axis.name, names, "name", 'name = "..." to tell them apart'),
        ):
            if word in held:
                where = f"{place}[{number}].{part}"
                message = "is used already"
                raise InputError(
                    message, file=path, key=where, value=word, allowed=allowed
                )
            held.append(word)


def _check_zipped(axes: list[Axis], path: str) -> None:
    for axis in axes:
        together = [
            other for other in axes if axis.zipped and other.zipped == axis.zipped
        ]
        if len({len(other.values) for other in together}) > 1:
            value = ", ".join(
                f"{other.name}: {len(other.values)}" for other in together
            )
            message = f"what is zipped as {axis.zipped} differs in length ({value})"
            raise InputError(
                message,
                file=path,
                key="vary",
                allowed="as many values of each",
            )


def _check_steady(steady: dict[str, Any], varied: set[str], path: str) -> None:
    """Lift and direction of a steady pass must come from somewhere."""
    for name, example in (("lift", '"20 mm"'), ("toward", '"rear"')):
        key = f"{_PASS_PREFIX}{name}"
        if name not in steady and key not in varied:
            allowed = f"{key} = {example} in [set], or {key} varied"
            message = "is missing"
            raise InputError(message, file=path, key=key, allowed=allowed)

"""Worker of a study: builds and solves the case of a point."""

from __future__ import annotations

import hashlib
import math
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from pinchline._version import __version__
from pinchline.case.fields import read
from pinchline.case.study.study import StudiedPass, case_at_point
from pinchline.errors import InputError, SolverError
from pinchline.library import did_you_mean
from pinchline.results.schema import fields_of
from pinchline.solvers.steady.solver import SOLVED, solve_pass
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinchline.analysis.sweep.points import StudyPoints
    from pinchline.case.case import Case
    from pinchline.case.study.study import Solver, Study

INPUT, NO_EQUILIBRIUM, PROGRAM_FAULT = "input refused", "no equilibrium", "fault"
CHECKED_VALUES = 50  # values of a range that are tried before the study starts
END_OF_TRAVEL = "end of screw travel"

_SPAN_RESULTS = {
    "radius": ("mm", "residual radius of the mid-line"),
    "residual": ("1/mm", "residual curvature"),
    "loaded": ("1/mm", "largest curvature under the rolls"),
    "moment": ("N mm/mm", "largest moment"),
    "force_upper": ("N/mm", "force of the upper roll on the sheet"),
    "force_lower": ("N/mm", "force of the lower roll on the sheet"),
    "force_rear": ("N/mm", "force of the rear roll on the sheet"),
    "drive": ("N/mm", "force that drives the sheet, + toward the rear roll"),
    "nip_opening": ("mm", "opening of the nip"),
    "give_upper": ("mm", "how far the upper roll has given way"),
    "give_lower": ("mm", "how far the lower roll has given way"),
    "give_rear": ("mm", "how far the rear roll has given way along its slide"),
}
_GIVE_RESULTS = ("give_upper", "give_lower", "give_rear")


class PointOutcome(NamedTuple):
    """Outcome of a point: its results, what failed or stopped it, in words."""

    values: tuple[float, ...]
    event: str
    message: str


class Chunk(NamedTuple):
    """Outcomes of several points: by which version, in how many seconds."""

    version: str
    seconds: float
    rows: list[PointOutcome]


class Task(NamedTuple):
    """Settings shared by all points of a study, serialisable between machines."""

    solver: Solver
    case: Case
    folder: str
    steady: dict[str, Any]
    keep: tuple[str, ...]


def task_of(study: Study) -> Task:
    """Give what the points of a study share."""
    path = str(Path(study.case_path).resolve())
    return Task(
        solver=study.solver,
        case=study.case.model_copy(update={"path": path}),
        folder=str(Path(study.path).resolve().parent),
        steady=study.steady,
        keep=study.keep,
    )


def results_of(solver: Solver) -> dict[str, tuple[str, str]]:
    """Results that a study may keep: name to unit and meaning."""
    if solver == "span":
        return dict(_SPAN_RESULTS)
    fields = (*fields_of("summary"), *fields_of("inputs"))
    # a time differs from run to run, and the file of a study must not
    return {f.name: (f.units, f.long_name) for f in fields if f.units != "s"}


def check_study(study: Study, points: StudyPoints) -> str:
    """Refuse results that there are not, and single values that no case may have.

    Returns
    -------
    A digest of all that the cases hold, cards included.

    Raises
    ------
    InputError
        that names the nearest result, or the value
    """
    known = results_of(study.solver)
    for number, name in enumerate(study.keep, 1):
        if name not in known:
            hint = did_you_mean(name, list(known), cutoff=0.0)
            message = f"the {study.solver} solver has no such result{hint}"
            raise InputError(
                message,
                file=study.path,
                key=f"keep[{number}]",
                value=name,
                allowed=", ".join(known),
            )
    task = task_of(study)
    middle = points.values(points.count // 2)
    digest = hashlib.sha256()
    for coordinate in points.coordinates:
        axis, listed = coordinate.axis, bool(coordinate.axis.values)
        values = list(dict.fromkeys(coordinate.values.tolist()))
        step = 1 if axis.unit == "" else math.ceil(len(values) / CHECKED_VALUES)
        digest.update(repr(values).encode())
        for value in values[::step]:
            text = axis.written(value)
            point = middle | dict.fromkeys(axis.keys, text)
            try:
                case, steady = _build(task, point)
            except InputError as error:
                if listed:
                    raise _at_value(error, study, axis.name, text) from None
                continue
            held = case.model_dump_json(exclude={"path", "written"})
            digest.update(f"{held} {steady!r}".encode())
    return digest.hexdigest()


def _at_value(error: InputError, study: Study, name: str, text: object) -> InputError:
    """Say which value of the study it was that the case refused."""
    return InputError(
        f"{error.message} (where {name} is {text})",
        file=study.path,
        key=error.key,
        value=error.value,
        allowed=error.allowed,
    )


def _build(task: Task, point: dict[str, Any]) -> tuple[Case, StudiedPass | None]:
    case, passed = case_at_point(
        task.case, task.steady, point, folder=Path(task.folder)
    )
    if task.solver == "stepped":
        return case, None
    return case, read(StudiedPass, passed, file=task.folder, key="pass")


def do_points(task: Task, points: Sequence[dict[str, Any]]) -> Chunk:
    """Solve points one after another; none of them ends the others."""
    started = time.perf_counter()
    rows = [do_point(task, point) for point in points]
    return Chunk(__version__, time.perf_counter() - started, rows)


def do_point(task: Task, point: dict[str, Any]) -> PointOutcome:
    """Solve a point.

    Parameters
    ----------
    task : what it shares with the others
    point : dotted keys and values, as they stand in a TOML file
    """
    nothing = (math.nan,) * len(task.keep)
    try:
        case, steady = _build(task, point)
        if steady is not None:
            return _span_row(case, steady, task.keep)
        return _stepped_row(case, task.keep)
    except InputError as error:
        return PointOutcome(nothing, INPUT, str(error))
    except SolverError as error:
        return PointOutcome(nothing, NO_EQUILIBRIUM, str(error))
    except Exception as error:  # a fault of ours at one point must not lose the others
        return PointOutcome(nothing, PROGRAM_FAULT, f"{type(error).__name__}: {error}")


def _stepped_row(case: Case, keep: tuple[str, ...]) -> PointOutcome:
    result = run_case(case)
    held = result.inputs | result.summary
    stop = next((event for event in result.events if event.level == "stop"), None)
    values = tuple(float(held[name]) for name in keep)
    return PointOutcome(values, stop.kind if stop else "", stop.message if stop else "")


def _span_row(case: Case, steady: StudiedPass, keep: tuple[str, ...]) -> PointOutcome:
    found = solve_pass(
        case, steady.lift, steady.toward, natural_curvature=case.sheet.curvature
    )
    gives = dict(zip(_GIVE_RESULTS, found.gives, strict=True))
    values = tuple(
        gives[name] if name in gives else float(getattr(found, name)) for name in keep
    )
    travel = case.machine.rear.travel
    if found.status != SOLVED:
        message = f"the span solver: {found.status} at {steady.lift:g} mm lift"
        return PointOutcome((math.nan,) * len(keep), found.status, message)
    if steady.lift > travel:
        message = (
            f"the rear roll stands at {travel:g} mm, {steady.lift:g} was asked for"
        )
        return PointOutcome(values, END_OF_TRAVEL, message)
    return PointOutcome(values, "", "")

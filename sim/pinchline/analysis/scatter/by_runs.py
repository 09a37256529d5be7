"""Response of a part to scatter by stepped runs, one input off at a time.

A job that lays the sheet in again bends what it has bent before. There the stepped
solver rolls it whole, with one thing off at a time, and the curvature that is left at
every place of the sheet goes with each of them by itself: along a parabola with what
bends most, along a straight line with the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import parallel
from pinchline.analysis.scatter.inputs import settings_in, varied_case
from pinchline.analysis.scatter.part import measured, on_record
from pinchline.analysis.scatter.sampling import lift_scale, sheet_inputs, values_of
from pinchline.errors import PinchlineError, SolverError
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import NDArray

    from pinchline.analysis.scatter.inputs import ScatterInput, VariedValues
    from pinchline.analysis.scatter.part import PartRecord
    from pinchline.analysis.scatter.sampling import ScatterSample

    Array = NDArray[np.float64]

QUADRATIC_INPUTS = ("thickness", "yield_strength")
PARTS_PER_TASK = 512  # parts that a process takes at a time


class _Axis(NamedTuple):
    """One varied coordinate: an input of the sheet, or a setting of the lift."""

    key: str
    setting: int
    step: float  # of its own size, as far as a run puts it off


@dataclass(frozen=True)
class RunResponse:
    """Polynomial response of the part's curvature to the scattered inputs.

    Attributes
    ----------
    record, inputs : of the job
    middle : curvature (1/mm) of every element with all in the middle of their laws
    slopes, bends : of it by each coordinate, first and second order ``(d, elements)``
    runs : of the stepped solver
    """

    record: PartRecord
    inputs: tuple[ScatterInput, ...]
    middle: Array
    slopes: Array
    bends: Array
    runs: int

    def coordinates(self, sample: ScatterSample) -> Array:
        """Give how far points are off the middle, each in its own size ``(n, d)``."""
        place = {one.key: i for i, one in enumerate(self.inputs)}
        columns = [
            (sample.table[:, place[one.key]] - one.middle) / one.spread
            for one in sheet_inputs(self.inputs)
        ]
        scale = lift_scale(self.inputs)
        if scale < np.inf:
            columns += list(sample.lifts.T / scale)
        return np.column_stack(columns)

    def curvatures(self, x: Array) -> Array:
        """Curvature (1/mm) of every element at coordinates ``(n, elements)``."""
        found: Array = self.middle + x @ self.slopes + x**2 @ self.bends
        return found

    def measured(self, sample: ScatterSample, *, workers: int | None = None) -> Array:
        """Quantities ``(n, quantities)`` of the parts at points."""
        x = self.coordinates(sample)
        jobs = [
            (self, x[i : i + PARTS_PER_TASK])
            for i in range(0, x.shape[0], PARTS_PER_TASK)
        ]
        with parallel.workers(workers, len(jobs)) as do_all:
            return np.vstack(list(do_all(_measure, jobs)))


def _measure(job: tuple[RunResponse, Array]) -> Array:
    response, x = job
    rows = [measured(response.record, k) for k in response.curvatures(x)]
    return np.array(rows)


def run_response(
    record: PartRecord,
    inputs: tuple[ScatterInput, ...],
    *,
    middle: Array | None = None,
    curved: Collection[str] = QUADRATIC_INPUTS,
    workers: int | None = None,
) -> RunResponse:
    """Compute the response by stepped runs with one input off at a time.

    Parameters
    ----------
    record, inputs : the job, and what scatters about it
    middle : curvature with all in the middle of their laws; None rolls that too
    curved : inputs that are put off both ways
    workers : processes; None takes all cores

    Raises
    ------
    SolverError
        The job stops with all in the middle, or with something off either way.
    """
    axes = _axes(record, inputs)
    steps = [
        (number, sign * axis.step)
        for number, axis in enumerate(axes)
        for sign in ((1.0, -1.0) if axis.key in curved else (1.0,))
    ]
    offs = np.zeros((len(steps) + 1, len(axes)))
    for row, (number, step) in enumerate(steps, 1):
        offs[row, number] = step
    first = 0 if middle is None else 1
    found = _roll(record, _values(record, inputs, axes, offs[first:]), workers)
    # what a limit stops is put off the other way, unless that is done anyhow
    gone = [i for i, k in enumerate(found, first) if k is None and i > 0]
    again = [i for i in gone if axes[steps[i - 1][0]].key not in curved]
    offs[again] *= -1.0
    turned = _roll(record, _values(record, inputs, axes, offs[again]), workers)
    known = {i: k for i, k in enumerate(found, first) if k is not None}
    known |= {i: k for i, k in zip(again, turned, strict=True) if k is not None}
    if middle is not None:
        known[0] = middle
    slopes, bends = _derivatives(known, offs, len(axes))
    return RunResponse(record, inputs, known[0], slopes, bends, len(found) + len(again))


def _axes(record: PartRecord, inputs: tuple[ScatterInput, ...]) -> list[_Axis]:
    # an even law ends at one, a normal one at three, and most of it lies within 1.5
    axes = [
        _Axis(one.key, -1, 1.0 if one.law == "even" else 1.5)
        for one in sheet_inputs(inputs)
    ]
    if lift_scale(inputs) < np.inf:
        count = len(settings_in(record.case.moves))
        axes += [_Axis("lift", number, 1.5) for number in range(count)]
    return axes


def _values(
    record: PartRecord, inputs: tuple[ScatterInput, ...], axes: list[_Axis], offs: Array
) -> tuple[VariedValues, ...]:
    """Sheets, nips and hands at coordinates ``(n, axes)``."""
    case = record.case
    by_key = {one.key: one for one in inputs}
    lifts = np.zeros((offs.shape[0], len(settings_in(case.moves))))
    varied = {}
    for number, axis in enumerate(axes):
        if axis.setting < 0:
            varied[axis.key] = by_key[axis.key].at(offs[:, number])
        else:
            lifts[:, axis.setting] = lift_scale(inputs) * offs[:, number]
    friction = np.full(offs.shape[0], case.machine.nip.friction)
    return values_of(case, varied, lifts, friction)


def _roll(
    record: PartRecord, values: tuple[VariedValues, ...], workers: int | None
) -> list[Array | None]:
    jobs = [(record, one) for one in values]
    with parallel.workers(workers, len(jobs)) as do_all:
        return list(do_all(rolled, jobs))


def rolled(job: tuple[PartRecord, VariedValues]) -> Array | None:
    """Curvature (1/mm) of a stepped run, at the record's elements; None if it stops."""
    record, values = job
    try:
        result = run_case(varied_case(record.case, values))
    except PinchlineError:
        return None
    if result.stopped:
        return None
    return on_record(record, result.sheet["curvature_residual"], result.sheet["s"])


def _derivatives(
    known: dict[int, Array], offs: Array, count: int
) -> tuple[Array, Array]:
    """First and second order of each coordinate, from the runs that are known."""
    if 0 not in known:
        message = (
            "a limit ends the job with sheet and nip in the middle of what scatters"
        )
        raise SolverError(message)
    slopes = np.zeros((count, known[0].size))
    bends = np.zeros_like(slopes)
    for number in range(count):
        mine = [i for i in known if offs[i, number] != 0.0]
        if not mine:
            message = "a limit ends the job as soon as something is off, either way"
            raise SolverError(message)
        change = [(known[i] - known[0]) / offs[i, number] for i in mine]
        slopes[number] = np.mean(change, axis=0)
        if len(mine) == 2:
            bends[number] = (change[0] - change[1]) / (
                offs[mine[0], number] - offs[mine[1], number]
            )
    return slopes, bends

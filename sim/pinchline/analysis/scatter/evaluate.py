"""Evaluation of a job for many sheets: one stepped run and response surfaces."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import parallel
from pinchline.analysis.scatter.by_runs import PARTS_PER_TASK, rolled
from pinchline.analysis.scatter.inputs import ScatterInput, settings_in, varied_case
from pinchline.analysis.scatter.part import curvature_of, measured, record_of
from pinchline.analysis.scatter.sampling import (
    lift_scale,
    power_of,
    sheet_inputs,
    values_of,
)
from pinchline.analysis.scatter.surrogate import (
    MOMENT,
    READINGS,
    STATION_LIFT_MM,
    VariedPasses,
    fit_surface,
    read_pass,
    solutions_for,
    solve_passes,
    stations_of,
)
from pinchline.errors import (
    InputError,
    SolverError,
    StoppedError,
)
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pinchline.analysis.scatter.inputs import VariedValues
    from pinchline.analysis.scatter.part import PartRecord
    from pinchline.analysis.scatter.sampling import ScatterSample
    from pinchline.analysis.scatter.surrogate import (
        BendPlace,
        ProgramStretch,
        ResponseSurface,
    )
    from pinchline.case.case import Case
    from pinchline.results.schema import Result
    from pinchline.solvers.steady.solver import Way

    Array = NDArray[np.float64]

SURFACE_RANGE_FACTOR = 1.15  # than the laws: what the surfaces are laid through
_NORMAL = ScatterInput("lift", 0.0, 1.0, "normal", "", 0.0)


@dataclass(frozen=True)
class JobResponse:
    """Model of a case's part for varied sheets: its record and response surfaces.

    Attributes
    ----------
    record, inputs, stations, stretches : the job
    surfaces : one for every station
    solutions : of the span solver behind them
    not_converged : whether the span solver fails at a station, so that its surface
        is that of the next lift
    """

    record: PartRecord
    inputs: tuple[ScatterInput, ...]
    stations: tuple[BendPlace, ...]
    stretches: tuple[ProgramStretch, ...]
    surfaces: tuple[ResponseSurface, ...]
    solutions: int
    not_converged: tuple[bool, ...]

    @classmethod
    def of(
        cls,
        case: Case,
        inputs: tuple[ScatterInput, ...],
        *,
        result: Result | None = None,
        solutions: int | None = None,
        near: float = 0.0,
        workers: int | None = None,
        seed: int = 1,
        report: Callable[[float, str], None] = lambda _share, _words: None,
    ) -> JobResponse:
        """Run a case's job, unless its ``result`` is there, and lay the surfaces.

        Parameters
        ----------
        case, inputs : the job, and what scatters about it
        result : of the job
        solutions : of the span solver for each surface; None takes what its number of
            coordinates asks for
        near : lifts (mm) that lie so near each other share a surface
        workers, seed : as ``scatter``
        report : called with the share done (0.1 to 0.4) and what is being done
        """
        result = run_case(case) if result is None else result
        refuse_stopped(result)
        stations, stretches = stations_of(case)
        if not stations:
            message = "the job bends nothing, so nothing of it scatters"
            raise InputError(message, file=case.path, key="move", allowed="a lift")
        record = record_of(case, result, stations, stretches)
        laid = _Laying(case, inputs, solutions, seed)
        shared = _shared(stations, near)
        keys = sorted(set(shared.values()))
        surfaces: dict[tuple[Way, float], ResponseSurface] = {}
        not_converged: dict[tuple[Way, float], SolverError] = {}
        report(0.1, "passes of other sheets")
        points = [laid.points(*key) for key in keys]
        solved = solve_passes(
            case, [passes_to_solve for passes_to_solve, _ in points], workers=workers
        )
        for key, (_, x), (mine, *passes) in zip(keys, points, solved, strict=True):
            try:
                surfaces[key] = fit_surface(x, passes, mine)
            except SolverError as error:
                not_converged[key] = error
        own = dict(surfaces)
        for key, why in not_converged.items():
            surfaces[key] = _borrowed(key, own, why)
        return cls(
            record=record,
            inputs=inputs,
            stations=stations,
            stretches=stretches,
            surfaces=tuple(surfaces[shared[s.way, s.lift]] for s in stations),
            solutions=sum(s.found for s in own.values()),
            not_converged=tuple(shared[s.way, s.lift] not in own for s in stations),
        )

    def ratios(self, sample: ScatterSample) -> Array:
        """Ratios ``(n, stations, READ)`` at points, by the surfaces."""
        scale = lift_scale(self.inputs)
        found = np.empty((sample.friction.size, len(self.stations), READINGS))
        for number, station in enumerate(self.stations):
            off = station.error(sample.lifts)[:, np.newaxis] / scale
            x = np.hstack([sample.x, off]) if scale < math.inf else sample.x
            found[:, number] = self.surfaces[number].at(x)
        return found

    def solved(self, sample: ScatterSample, workers: int | None) -> Array:
        """Ratios of the moment ``(n, stations)``, by the span solver itself."""
        moments = self.ratios(sample)[:, :, MOMENT]
        mine = [i for i, gone in enumerate(self.not_converged) if not gone]
        stations = [self.stations[i] for i in mine]
        passes_to_solve = [
            VariedPasses(s.way, s.lift, sample.values, s.lift + s.error(sample.lifts))
            for s in stations
        ]
        solved = solve_passes(self.record.case, passes_to_solve, workers=workers)
        for number, passes in zip(mine, solved, strict=True):
            own = self.surfaces[number].own[MOMENT]
            moments[:, number] = [read_pass(p)[MOMENT] / own for p in passes]
        return moments

    def measured(
        self,
        sample: ScatterSample,
        *,
        by_span: bool = False,
        workers: int | None = None,
    ) -> Array:
        """Quantities ``(n, quantities)`` of the parts at points."""
        if by_span:
            moments = self.solved(sample, workers)
        else:
            moments = self.ratios(sample)[:, :, MOMENT]
        size = len(sample.values)
        jobs = [
            (
                self.record,
                sample.values[i : i + PARTS_PER_TASK],
                moments[i : i + PARTS_PER_TASK],
            )
            for i in range(0, size, PARTS_PER_TASK)
        ]
        with parallel.workers(workers, len(jobs)) as do_all:
            return np.vstack(list(do_all(_measure, jobs)))

    def stepped(
        self,
        sample: ScatterSample,
        *,
        workers: int | None = None,
        report: Callable[[float, str], None],
    ) -> Array:
        """Quantities at points, by the stepped solver; NaN where the job stops."""
        jobs = [(self.record, values) for values in sample.values]
        rows = np.empty((len(jobs), len(self.record.quantities)))
        with parallel.workers(workers, len(jobs)) as do_all:
            for number, row in enumerate(do_all(_step, jobs)):
                rows[number] = row
                share = 0.7 + 0.3 * (number + 1) / len(jobs)
                report(share, f"stepped solver, {number + 1} of {len(jobs)}")
        return rows


def _shared(
    stations: tuple[BendPlace, ...], near: float
) -> dict[tuple[Way, float], tuple[Way, float]]:
    """Way and lift of the surface that each way and lift takes: the lowest near it."""
    found: dict[tuple[Way, float], tuple[Way, float]] = {}
    last: tuple[Way, float] | None = None
    for key in sorted({(s.way, s.lift) for s in stations}):
        if last is None or key[0] != last[0] or key[1] - last[1] > near:
            last = key
        found[key] = last
    return found


def _borrowed(
    key: tuple[Way, float],
    own: dict[tuple[Way, float], ResponseSurface],
    why: SolverError,
) -> ResponseSurface:
    """Take the surface of the next lift the same way, where there is one close by."""
    way, lift = key
    near = [(abs(other - lift), other) for same, other in own if same == way]
    if not near or min(near)[0] > 1.5 * STATION_LIFT_MM:
        raise why
    return own[way, min(near)[1]]


def _measure(job: tuple[PartRecord, tuple[VariedValues, ...], Array]) -> Array:
    record, values, moments = job
    rows = np.full((len(values), len(record.quantities)), math.nan)
    for number, (one, ratios) in enumerate(zip(values, moments, strict=True)):
        if np.all(np.isfinite(ratios)):
            curvature = curvature_of(record, varied_case(record.case, one), ratios)
            rows[number] = measured(record, curvature)
    return rows


def _step(job: tuple[PartRecord, VariedValues]) -> Array:
    record, _ = job
    curvature = rolled(job)
    if curvature is None:
        return np.full(len(record.quantities), math.nan)
    return measured(record, curvature)


def refuse_stopped(result: Result) -> None:
    """Refuse a job that a limit ends, for no part comes of it."""
    stops = [event.message for event in result.events if event.level == "stop"]
    if stops:
        message = (
            f"{result.case_path}: the job as it stands is stopped: {stops[0]}; of it "
            "no part comes out, so nothing scatters"
        )
        raise StoppedError(message)


class _Laying(NamedTuple):
    """Settings from which response surfaces are fitted."""

    case: Case
    inputs: tuple[ScatterInput, ...]
    solutions: int | None
    seed: int

    def points(self, way: Way, at: float) -> tuple[VariedPasses, Array]:
        """Lay out passes one way about a lift (mm), the case's own first.

        Beside them the coordinates of the rest, as ``ResponseSurface.at`` takes them.
        """
        from scipy.stats import qmc  # slow to import

        sheet = sheet_inputs(self.inputs)
        scale = lift_scale(self.inputs)
        lifted = scale < math.inf
        count = self.solutions or solutions_for(len(sheet) + lifted)
        engine = qmc.Sobol(
            len(sheet) + 1, rng=np.random.default_rng([self.seed, len(sheet)])
        )
        shares = engine.random(1 << (count - 1).bit_length())[:count]
        values_at = [
            one.at(SURFACE_RANGE_FACTOR * one.standard(shares[:, i]))
            for i, one in enumerate(sheet)
        ]
        lift = (
            SURFACE_RANGE_FACTOR * _NORMAL.standard(shares[:, -1])
            if lifted
            else np.zeros(count)
        )
        off = lift * scale if lifted else lift
        varied = {one.key: v for one, v in zip(sheet, values_at, strict=True)}
        columns = [power_of(one, varied[one.key]) for one in sheet]
        nip = self.case.machine.nip
        lifts = np.zeros((count, len(settings_in(self.case.moves))))
        friction = np.full(count, nip.friction)
        values = values_of(self.case, varied, lifts, friction)
        own = values_of(self.case, {}, lifts[:1], friction[:1])
        passes_to_solve = VariedPasses(
            way, at, own + values, at + np.concatenate(([0.0], off))
        )
        columns += [lift] if lifted else []
        return passes_to_solve, np.column_stack(columns) if columns else np.zeros(
            (count, 0)
        )

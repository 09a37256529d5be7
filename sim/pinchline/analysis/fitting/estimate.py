"""Bayesian fit of sheet and machine to scrap strips: estimates and covariance.

Maximum a posteriori: the squares of what the readings are off, over their errors, and
of what the parameters are off their prior are made least together. The error of every
strip's lift is a parameter of its own. The span solver predicts; the stepped solver,
run for every strip at the estimates, corrects it until neither moves. Intervals are
those of the linearised model round the estimate (Laplace), wider where the readings
scatter by more than their errors.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline import parallel
from pinchline.analysis.fitting.solution import Estimate, Fit, Residual
from pinchline.analysis.fitting.strip_model import (
    MAX_PRIOR_DEVIATIONS,
    StripModel,
    parameters_of,
)
from pinchline.analysis.limits.single_pass import one_pass, run_out_flat
from pinchline.case.measured.readings import in_error_measure, predicted, sigma
from pinchline.case.measured.strips import read_strips
from pinchline.errors import InputError, SolverError
from pinchline.parts.measure import FLAT_CURVATURE

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from pinchline.analysis.limits.single_pass import Way
    from pinchline.case.case import Case
    from pinchline.case.measured.readings import PredictedStrip, Reading
    from pinchline.case.measured.strips import ScrapStrip

    Array = NDArray[np.float64]
    Progress = Callable[[float, str], None]

# error of the curvature that the model itself makes, relative: of the span solver
# (analysis.span), and once the stepped solver has corrected it (its own element: 0.3 %)
SPAN_SOLVER_ERROR, STEPPED_SOLVER_ERROR = 0.010, 0.004
MAX_CORRECTION_ROUNDS = 4  # of correction by the stepped solver at most
# change of a correction that no longer counts
CORRECTION_TOLERANCE = 0.25 * STEPPED_SOLVER_ERROR
# chance of scatter so large by chance: below it intervals are widened
CHI2_SIGNIFICANCE = 0.01
OUTLIER_PROBABILITY = 0.0027  # of one strip, three standard deviations
LIFT_SHIFT_STEP_MM = 0.05  # mm: of the lift, for derivatives


def fit(
    case: Case,
    measurements: str | Path | tuple[ScrapStrip, ...],
    *,
    stepped: bool = True,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Fit:
    """Fit sheet and machine of a case to measured scrap strips.

    Parameters
    ----------
    case : sheet, machine and model; its moves do not matter
    measurements : a CSV, or strips
    stepped : whether the stepped solver corrects the span solver
    workers : processes for it; None takes all cores
    progress : called with a share from 0 to 1 and a few words

    Returns
    -------
    An estimate of every parameter with its deviation, in internal units, and what is
    left over at every reading.

    Raises
    ------
    InputError
        where the file is wrong, or the model finds no pass for any strip
    SolverError
        where the span solver loses a pass that it had found

    Examples
    --------
    >>> import pinchline as pl
    >>> case = pl.load_case("strut-fairing")
    >>> try:
    ...     pl.fit(case, "missing.csv")
    ... except pl.InputError as error:
    ...     print(error.file)
    missing.csv
    """
    source = "strips" if isinstance(measurements, tuple) else str(measurements)
    strips = (
        measurements if isinstance(measurements, tuple) else read_strips(measurements)
    )
    problem = _Problem(case, strips, source)
    say = progress or (lambda _share, _text: None)
    say(0.1, "span solver")
    solution = problem.solve(np.zeros(problem.size))
    if stepped:
        for number in range(MAX_CORRECTION_ROUNDS):
            say(0.2 + 0.8 * number / MAX_CORRECTION_ROUNDS, "stepped solver")
            changed = problem.correct(solution, workers)
            solution = problem.solve(solution)
            if changed < CORRECTION_TOLERANCE:
                break
    return problem.report(solution)


class _Problem:
    """Residuals of readings and prior over the parameters and the shifts of lift."""

    def __init__(self, case: Case, strips: tuple[ScrapStrip, ...], source: str) -> None:
        self.case, self.source = case, source
        self.parameters = parameters_of(case)
        self.count = len(self.parameters)
        self.names = [p.name for p in self.parameters]
        self.notes: list[str] = []
        self.not_converged: set[str] = set()  # strips, on the way
        models = [StripModel(case, strip, self.parameters) for strip in strips]
        self.models = [m for m in models if self._found(m)]
        if not self.models:
            message = "the model finds no pass for any strip"
            allowed = "lifts that the machine has, below jam"
            raise InputError(message, file=source, allowed=allowed)
        self.size = self.count + len(self.models)
        self.errors = [SPAN_SOLVER_ERROR] * len(self.models)
        self.stepped = [math.nan] * len(self.models)
        self.sigmas: list[Array] = [np.ones(len(m.strip.readings)) for m in self.models]

    def _found(self, model: StripModel) -> bool:
        bent = model.bent(np.zeros(self.count), 0.0)
        good = math.isfinite(bent.curvature)
        if not good:
            self.notes.append(
                f"strip {model.strip.name} is left out: the model finds no pass at "
                f"{model.lift_set(model.case):.2f} mm lift toward the {model.strip.way}"
            )
        return good

    def _bents(self, z: Array) -> list[PredictedStrip]:
        x = z[: self.count]
        return [
            m.bent(x, m.lift_error * float(z[self.count + i]))
            for i, m in enumerate(self.models)
        ]

    def residuals(self, z: Array) -> Array:
        """Residuals of readings, parameters and shifts, in standard deviations."""
        bents = self._bents(z)
        self.not_converged |= {
            model.strip.name
            for model, bent in zip(self.models, bents, strict=True)
            if math.isnan(bent.curvature)
        }
        rows = [self._off(i, bent) for i, bent in enumerate(bents)]
        return np.concatenate((*rows, z))

    def _off(self, number: int, bent: PredictedStrip) -> Array:
        """Residuals of a strip's readings, in standard deviations."""
        readings = self.models[number].strip.readings
        apart = [
            in_error_measure(r, r.value) - in_error_measure(r, predicted(r, bent))
            for r in readings
        ]
        off: Array = np.array(apart) / self.sigmas[number]
        return off

    def _weigh(self, z: Array) -> None:
        """Set the errors of all readings, the model's own at a prediction with them.

        They stay while the parameters are sought: errors that grow with what is
        predicted would pull the estimate.
        """
        for i, (model, bent) in enumerate(
            zip(self.models, self._bents(z), strict=True)
        ):
            more = bent._replace(curvature=1.001 * bent.curvature)
            self.sigmas[i] = np.asarray(
                [
                    sigma(
                        r,
                        self.errors[i],
                        predicted(r, bent),
                        predicted(r, more),
                        model.run_out_error,
                    )
                    for r in model.strip.readings
                ]
            )

    def jacobian(self, z: Array) -> Array:
        """Give the derivatives of ``residuals`` by central differences, strip by strip.

        The lift's shift acts as the touch offset does.
        """
        readings = sum(len(m.strip.readings) for m in self.models)
        table = np.zeros((readings + self.size, self.size))
        table[readings:] = np.eye(self.size)
        row = 0
        for i, model in enumerate(self.models):
            end = row + len(model.strip.readings)
            shift = model.lift_error * float(z[self.count + i])
            for j, parameter in enumerate(self.parameters):
                step = np.zeros(self.count)
                step[j] = parameter.step
                x = z[: self.count]
                table[row:end, j] = self._slope(
                    i, (x + step, shift), (x - step, shift), 2.0 * parameter.step
                )
            table[row:end, self.count + i] = self._by_shift(i, z, table[row:end])
            row = end
        return table

    def _by_shift(self, number: int, z: Array, slopes: Array) -> Array:
        """Give the derivative by a strip's own shift of lift, in its deviations."""
        model = self.models[number]
        if model.strip.screw != "gap":
            touch = self.names.index("touch offset")
            share = model.lift_error / self.parameters[touch].spread
            same: Array = slopes[:, touch] * share
            return same
        x, shift = z[: self.count], model.lift_error * float(z[self.count + number])
        above, below = (x, shift + LIFT_SHIFT_STEP_MM), (x, shift - LIFT_SHIFT_STEP_MM)
        slope = self._slope(number, above, below, 2.0 * LIFT_SHIFT_STEP_MM)
        return model.lift_error * slope

    def _slope(
        self,
        number: int,
        above: tuple[Array, float],
        below: tuple[Array, float],
        width: float,
    ) -> Array:
        model = self.models[number]
        sides = [self._off(number, model.bent(x, shift)) for x, shift in (above, below)]
        not_converged = [bool(np.any(np.isnan(side))) for side in sides]
        if any(not_converged):
            self.not_converged.add(model.strip.name)
            middle = (0.5 * (above[0] + below[0]), 0.5 * (above[1] + below[1]))
            here = self._off(number, model.bent(*middle))
            sides = [
                here if gone else side
                for gone, side in zip(not_converged, sides, strict=True)
            ]
            width *= 0.5  # of one side, where the other is lost
        slope: Array = (sides[0] - sides[1]) / width
        return slope

    def solve(self, start: Array) -> Array:
        """Find the most likely parameters and shifts, from a start."""
        from scipy.optimize import least_squares

        self._weigh(start)
        if not np.all(np.isfinite(self.residuals(start))):
            names = ", ".join(sorted(self.not_converged))
            message = (
                "the span solver does not converge on the pass of a strip: "
                f"{names}; leave it out, or roll it at less lift"
            )
            raise SolverError(message)
        found = least_squares(
            self.residuals,
            start,
            jac=self.jacobian,
            bounds=(-MAX_PRIOR_DEVIATIONS, MAX_PRIOR_DEVIATIONS),
            # a thousandth of the sum of squares: what the solver's mesh scatters by
            xtol=1.0e-3,
            ftol=1.0e-3,
            gtol=1.0e-3,
            max_nfev=30,
        )
        best: Array = found.x
        return best

    def correct(self, z: Array, workers: int | None) -> float:
        """Run every strip by the stepped solver and correct the span solver by it.

        Returns by how much the corrections change at most.
        """
        jobs = []
        for i, model in enumerate(self.models):
            case, lift = model.setting(
                z[: self.count], model.lift_error * float(z[self.count + i])
            )
            flat = any(r.type.of_the_edge for r in model.strip.readings)
            jobs.append((case, lift, model.strip.way, flat))
        with parallel.workers(workers, len(jobs)) as do_all:
            found = list(do_all(_stepped, jobs))
        changed = 0.0
        for i, (model, (radius, flat), bent) in enumerate(
            zip(self.models, found, self._bents(z), strict=True)
        ):
            if math.isfinite(flat) and math.isfinite(radius):
                model.set_run_out(flat, radius)
            plain = bent.curvature / model.correction
            if math.isfinite(radius) and plain > FLAT_CURVATURE:
                before, model.correction = model.correction, 1.0 / (radius * plain)
                changed = max(changed, abs(model.correction - before))
                self.errors[i] = STEPPED_SOLVER_ERROR
                self.stepped[i] = model.correction
        return changed

    def report(self, z: Array) -> Fit:
        """Assemble the fit at the most likely parameters."""
        from scipy.stats import chi2

        off, table = self.residuals(z), self.jacobian(z)
        readings = off.size - self.size
        total = float(off @ off)
        chance = float(chi2.sf(total, readings))
        widened = math.sqrt(total / readings) if chance < CHI2_SIGNIFICANCE else 1.0
        if widened > 1.0 and self.not_converged:
            names = ", ".join(sorted(self.not_converged))
            self.notes.append(
                f"the span solver did not converge on {names} on its way, "
                "deep in wrap, so the fit may have stopped short: leave that strip out "
                "and fit again"
            )
        covariance = np.asarray(np.linalg.inv(table.T @ table), dtype=np.float64)
        count = self.count
        information = np.linalg.inv(covariance[:count, :count]) - np.eye(count)
        wide = widened**2 * covariance[:count, :count]
        deviations = np.sqrt(np.diag(wide))
        return Fit(
            case=self.case,
            source=self.source,
            strips=tuple(m.strip for m in self.models),
            lifts=tuple(m.lift_set(m.case) for m in self.models),
            curvatures=tuple(self._curvatures(z)),
            estimates=tuple(
                Estimate(p, float(x), float(d))
                for p, x, d in zip(self.parameters, z, deviations, strict=False)
            ),
            covariance=wide,
            information=information,
            residuals=tuple(self._rows(z, off)),
            chi2=total,
            readings=readings,
            chance=chance,
            widened=widened,
            outliers=tuple(self._strange(off, table, covariance)),
            corrected=tuple(self.stepped),
            notes=tuple(self.notes),
        )

    def _rows(self, z: Array, off: Array) -> list[Residual]:
        before = self._bents(np.zeros(self.size))
        found: list[Residual] = []
        for model, bent, prior in zip(self.models, self._bents(z), before, strict=True):
            found += [
                Residual(
                    strip=model.strip.name,
                    reading=reading,
                    predicted=predicted(reading, bent),
                    before=predicted(reading, prior),
                    off=float(off[len(found) + n]),
                )
                for n, reading in enumerate(model.strip.readings)
            ]
        return found

    def _curvatures(self, z: Array) -> list[tuple[float, float]]:
        """Measured (mean over the readings) and predicted curvature of every strip."""
        found = []
        for model, bent in zip(self.models, self._bents(z), strict=True):
            measured = [
                measured_curvature(reading, bent)
                for reading in model.strip.readings
                if reading.type.on_a_face
            ]
            mean = float(np.mean(measured)) if measured else math.nan
            found.append((mean, bent.curvature))
        return found

    def _strange(
        self, off: Array, table: Array, covariance: Array
    ) -> list[tuple[str, float]]:
        """Name outliers: strips that the others and the prior do not predict.

        What a strip is off the prediction without it is ``(1 - H)^-1 e``, with the
        variance ``(1 - H)^-1``; ``H = J C J'`` of its rows (deleted residuals).
        """
        from scipy.stats import chi2

        found, row = [], 0
        for model in self.models:
            end = row + len(model.strip.readings)
            own = table[row:end]
            rest = np.eye(end - row) - own @ covariance @ own.T
            square = float(off[row:end] @ np.linalg.solve(rest, off[row:end]))
            chance = float(chi2.sf(square, end - row))
            if chance < OUTLIER_PROBABILITY:
                found.append((model.strip.name, chance))
            row = end
        return sorted(found, key=lambda pair: pair[1])


def measured_curvature(reading: Reading, bent: PredictedStrip) -> float:
    """Mid-line curvature (1/mm) implied by a reading alone, by Newton."""
    k = max(bent.curvature, 1.0e-5)
    for _ in range(30):
        here = in_error_measure(reading, predicted(reading, bent._replace(curvature=k)))
        step = 1.0e-4 * k
        more = bent._replace(curvature=k + step)
        slope = (in_error_measure(reading, predicted(reading, more)) - here) / step
        if slope == 0.0:
            break
        change = (in_error_measure(reading, reading.value) - here) / slope
        k = max(k + change, 0.2 * k)
        if abs(change) < 1.0e-9 * k:
            break
    return k


def _stepped(jobs: tuple[Case, float, Way, bool]) -> tuple[float, float]:
    """Residual radius (mm) of one pass by the stepped solver, and its flat if asked.

    NaN where it stops.
    """
    case, lift, way, flat = jobs
    return one_pass(case, lift, way).radius, (
        run_out_flat(case, lift) if flat else math.nan
    )

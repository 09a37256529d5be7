"""Result of a fit: estimates with intervals, residuals, goodness of fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.analysis.fitting.strip_model import varied

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.analysis.fitting.strip_model import Parameter, ParameterName
    from pinchline.case.case import Case
    from pinchline.case.measured.readings import Reading
    from pinchline.case.measured.strips import ScrapStrip

    Array = NDArray[np.float64]

QUANTILE_95 = 1.959964


class Estimate(NamedTuple):
    """Estimate of a parameter: x and its posterior deviation, in prior deviations."""

    parameter: Parameter
    x: float
    deviation: float

    @property
    def value(self) -> float:
        """Estimate, internal unit."""
        return self.parameter.value(self.x)

    @property
    def interval(self) -> tuple[float, float]:
        """Where the value lies with 95 %, internal unit."""
        reach = QUANTILE_95 * self.deviation
        return self.parameter.value(self.x - reach), self.parameter.value(
            self.x + reach
        )

    @property
    def prior(self) -> tuple[float, float]:
        """Where the prior lets it lie with 95 %, internal unit."""
        return (
            self.parameter.value(-QUANTILE_95),
            self.parameter.value(QUANTILE_95),
        )


class Residual(NamedTuple):
    """A reading and its prediction by the model; both in mm or N.

    off: measured less predicted over its error with the model's, in deviations.
    """

    strip: str
    reading: Reading
    predicted: float
    before: float
    off: float


@dataclass(frozen=True)
class Fit:
    """Result of a fit to measured strips.

    Attributes
    ----------
    case : as it was asked
    source : the measurement file
    strips : those that count, ``lifts`` their lifts by the scale (mm), ``curvatures``
        measured and predicted mid-line curvature (1/mm), NaN where none was measured
    estimates : of every parameter
    covariance : of the parameters in prior units, widened
    information : what the readings alone add to the prior's precision (unit matrix)
    residuals : of every reading
    chi2, readings, chance : sum of squares at the estimate, how many readings, and the
        chance of one so large
    widened : factor on all deviations for that, 1 for none
    outliers : strips that the others do not bear out, with the chance of each
    corrected : factor of the stepped over the span solver by strip, NaN where it could
        not be run
    notes : what else the reader should know
    """

    case: Case
    source: str
    strips: tuple[ScrapStrip, ...]
    lifts: tuple[float, ...]
    curvatures: tuple[tuple[float, float], ...]
    estimates: tuple[Estimate, ...]
    covariance: Array
    information: Array
    residuals: tuple[Residual, ...]
    chi2: float
    readings: int
    chance: float
    widened: float
    outliers: tuple[tuple[str, float], ...]
    corrected: tuple[float, ...]
    notes: tuple[str, ...]

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """The fitted parameters."""
        return tuple(e.parameter for e in self.estimates)

    @property
    def x(self) -> Array:
        """Estimates in prior units."""
        return np.array([e.x for e in self.estimates])

    @property
    def values(self) -> dict[ParameterName, float]:
        """Estimates by name, internal units."""
        return {e.parameter.name: e.value for e in self.estimates}

    @property
    def best(self) -> Case:
        """The case with the estimates in it, and the touch offset on its screws."""
        offset = {"machine.rear.touch_offset": self.values["touch offset"]}
        return varied(self.case, self.values).replace(offset)

    def estimate(self, name: ParameterName) -> Estimate:
        """Give the estimate of a parameter."""
        return next(e for e in self.estimates if e.parameter.name == name)

"""Identifiability of a fit's parameters, and the strip to roll next."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.analysis.fitting.solution import QUANTILE_95
from pinchline.analysis.fitting.strip_model import StripModel, lift_error
from pinchline.analysis.limits.single_pass import longest_lift
from pinchline.analysis.limits.sweep import LiftContinuation
from pinchline.case.demand import LimitKind
from pinchline.case.measured.strips import ScrapStrip
from pinchline.case.moves import Feed
from pinchline.solvers.steady.solver import SOLVED, solve_lifts

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from pinchline.analysis.fitting.solution import Fit
    from pinchline.analysis.limits.single_pass import Way
    from pinchline.case.case import Case

    Array = NDArray[np.float64]

# of the prior's precision: above it the strips say more than the prior
INFORMATIVE_PRECISION_RATIO = 1.0
LEAST_NAMED_SHARE = 0.15  # of the largest share of a combination: less is not named
# correlation at which two parameters are told together only
INSEPARABLE_CORRELATION = 0.7
CANDIDATE_LIFTS = 14  # candidates each way
LIFT_ROUNDING_MM = 0.5  # mm: what an advised lift is rounded to
# of the curvature: error of a reading where the file has none of a radius
USUAL_CURVATURE_ERROR = 0.02
# of the deviation: another strip that leaves more than that is idle
WORTHWHILE_DEVIATION_RATIO = 0.9
_FAR_FROM_PRIOR_SD = 3.0  # prior deviations: an estimate so far from its card
_WAYS: tuple[Way, ...] = ("rear", "operator")


class CorrelatedPair(NamedTuple):
    """Two parameters that the strips determine only in combination."""

    first: str
    second: str
    correlation: float


class Identifiability(NamedTuple):
    """Which parameters, and combinations of them, the strips determine.

    combinations: how many independent combinations of parameters they say more of than
    the prior; of: how many parameters; leading: parameters in the one they say most of;
    pairs: told only together; far: parameters far from their prior.
    """

    combinations: int
    of: int
    leading: tuple[str, ...]
    pairs: tuple[CorrelatedPair, ...]
    far: tuple[str, ...]


def identifiability(found: Fit) -> Identifiability:
    """Compute what the strips determine, and what they cannot separate."""
    names = [p.name for p in found.parameters]
    deviations = np.sqrt(np.diag(found.covariance))
    correlation = found.covariance / np.outer(deviations, deviations)
    pairs = [
        CorrelatedPair(names[i], names[j], float(correlation[i, j]))
        for i in range(len(names))
        for j in range(i)
        if abs(correlation[i, j]) >= INSEPARABLE_CORRELATION
    ]
    strength, directions = np.linalg.eigh(found.information)
    most = np.abs(directions[:, -1])
    order = [i for i in np.argsort(-most) if most[i] >= LEAST_NAMED_SHARE * most.max()]
    return Identifiability(
        combinations=int(np.sum(strength > INFORMATIVE_PRECISION_RATIO)),
        of=len(names),
        leading=tuple(names[i] for i in order),
        pairs=tuple(sorted(pairs, key=lambda p: -abs(p.correlation))),
        far=tuple(
            e.parameter.name for e in found.estimates if abs(e.x) >= _FAR_FROM_PRIOR_SD
        ),
    )


class PassPrediction(NamedTuple):
    """Prediction of a pass from a fit, with its sensitivities.

    lift: by the screws' scale (mm); way; curvature (1/mm); slope: of its logarithm by
    each parameter in prior units; lift_slope: by the lift (1/mm).
    """

    lift: float
    way: Way
    curvature: float
    slope: Array
    lift_slope: float

    def deviation(self, covariance: Array) -> float:
        """Deviation of the logarithm of the radius."""
        return math.sqrt(max(0.0, float(self.slope @ covariance @ self.slope)))


class Forecast:
    """Predictions of a fit over lift and direction, at the case's own width."""

    def __init__(self, found: Fit) -> None:
        self.found = found
        self._models: dict[Way, StripModel] = {}

    def at(self, lift: float, way: Way, *, prior: bool = False) -> PassPrediction:
        """Predict a pass at a lift (mm) on the screws' scale; NaN where none is found.

        ``prior``: with the card's parameters instead of the estimates.
        """
        found = self.found
        if way not in self._models:
            strip = _strip(lift, way)
            self._models[way] = StripModel(found.case, strip, found.parameters)
        model = self._models[way]
        x = np.zeros(len(found.parameters)) if prior else found.x
        return _sensed(model, x, lift)

    def band(
        self, lift: float, way: Way, *, prior: bool = False
    ) -> tuple[float, float, float]:
        """Give the curvature (1/mm) and where it lies with 95 %; NaN for not found.

        Round the estimate the logarithm is taken as straight. The prior is too wide for
        that: its ends are solutions at the likeliest parameters that move the curvature
        so far (first-order reliability).
        """
        middle = self.at(lift, way, prior=prior)
        if not prior:
            reach = math.exp(QUANTILE_95 * middle.deviation(self.found.covariance))
            return middle.curvature, middle.curvature / reach, middle.curvature * reach
        size = float(np.linalg.norm(middle.slope))
        if not size > 0.0:
            return middle.curvature, math.nan, math.nan
        model = self._models[way]
        shift = lift - model.strip.setting
        furthest = QUANTILE_95 * middle.slope / size
        low, high = (model.bent(s * furthest, shift).curvature for s in (-1.0, 1.0))
        return middle.curvature, low, high


def _strip(lift: float, way: Way) -> ScrapStrip:
    return ScrapStrip(
        name="next",
        screw="lift",
        setting=lift,
        setting_error=None,
        way=way,
        readings=(),
    )


def _sensed(model: StripModel, x: Array, lift: float) -> PassPrediction:
    way, shift = model.strip.way, lift - model.strip.setting
    curvature = model.bent(x, shift).curvature
    slope = np.zeros(x.size)
    if not curvature > 0.0:
        return PassPrediction(lift, way, math.nan, slope, math.nan)
    lift_slope = math.nan
    for j, parameter in enumerate(model.parameters):
        step = np.zeros(x.size)
        step[j] = parameter.step
        ends = [model.bent(x + sign * step, shift).curvature for sign in (1.0, -1.0)]
        if not all(k > 0.0 for k in ends):
            return PassPrediction(lift, way, math.nan, slope, math.nan)
        slope[j] = math.log(ends[0] / ends[1]) / (2.0 * parameter.step)
        if parameter.name == "touch offset":
            lift_slope = slope[j] / parameter.spread
    return PassPrediction(lift, way, curvature, slope, lift_slope)


class Advice(NamedTuple):
    """The strip to roll next.

    lift: by the screws' scale (mm); way; radius: expected (mm); now, then: deviation of
    the logarithm of the job's radius, or where there is no job the geometric mean of
    the parameters' deviations, before and after; wanted: what they are of, in words.
    """

    lift: float
    way: Way
    radius: float
    now: float
    then: float
    wanted: str

    @property
    def worth(self) -> bool:
        """Whether another strip reduces the uncertainty enough."""
        return self.then < WORTHWHILE_DEVIATION_RATIO * self.now


def job_passes(found: Fit) -> list[PassPrediction]:
    """Give the passes of the case's job, or where it has no moves of its wanted part.

    A feed whose lift changes counts at its mean; passes that leave nothing are left
    out.
    """
    forecast = Forecast(found)
    passes = [forecast.at(lift, way) for lift, way in _settings(found)]
    return [p for p in passes if math.isfinite(p.curvature)]


def _settings(found: Fit) -> Iterator[tuple[float, Way]]:
    case = found.case
    scale = case.machine.rear.touch_offset
    for step in case.program:
        if isinstance(step.move, Feed):
            yield 0.5 * (step.lift_before + step.lift) - scale, step.move.toward
    if not case.moves and case.target is not None and case.target.radius:
        found_lift = lift_for(found.best, case.target.radius, "operator")
        if math.isfinite(found_lift):
            yield found_lift - found.values["touch offset"], "operator"


def lift_for(case: Case, radius: float, way: Way) -> float:
    """Find the true lift (mm) of a pass that leaves a radius (mm); NaN for none."""
    longest, _ = longest_lift(case)
    longest = min(longest, case.machine.rear.travel)
    lifts = np.linspace(0.15, 0.99, 40) * longest
    before = (math.nan, 0.0)
    for one in solve_lifts(case, lifts, way, natural_curvature=case.sheet.curvature):
        if one.status != SOLVED:
            continue
        if one.residual >= 1.0 / radius:
            if math.isnan(before[0]):
                return math.nan
            low, high = max(before[1], 1.0e-9), one.residual
            share = math.log(1.0 / radius / low) / math.log(high / low)
            return before[0] + share * (one.lift - before[0])
        before = (one.lift, one.residual)
    return math.nan


def advise(found: Fit) -> Advice | None:
    """Find the most informative lift and direction; None where no pass can be made.

    A reading is taken to be as good as those of the file are in the middle; the lift is
    set as well. Only lifts are asked that the machine makes and the sheet bears.
    """
    error = _reading_error(found)
    set_to = max(lift_error(found.case, s) for s in found.strips)
    wanted = job_passes(found)
    best: Advice | None = None
    for candidate in _candidates(found):
        own = error**2 + (candidate.lift_slope * set_to) ** 2
        lever = found.covariance @ candidate.slope
        after = found.covariance - np.outer(lever, lever) / (
            own + float(candidate.slope @ lever)
        )
        now, then = (_aim(wanted, c) for c in (found.covariance, after))
        advice = Advice(
            lift=candidate.lift,
            way=candidate.way,
            radius=1.0 / candidate.curvature,
            now=now,
            then=then,
            wanted="the job's radius" if wanted else "all parameters together",
        )
        if best is None or advice.then < best.then:
            best = advice
    return best


def _aim(wanted: list[PassPrediction], covariance: Array) -> float:
    if wanted:
        return math.sqrt(
            sum(p.deviation(covariance) ** 2 for p in wanted) / len(wanted)
        )
    _, logarithm = np.linalg.slogdet(covariance)
    return math.exp(0.5 * float(logarithm) / covariance.shape[0])


def _candidates(found: Fit) -> Iterator[PassPrediction]:
    """Yield feasible passes in both directions, over the lifts of the machine."""
    best, offset = found.best, found.values["touch offset"]
    longest, _ = longest_lift(best)
    longest = min(longest, best.machine.rear.travel)
    forecast = Forecast(found)
    for way in _WAYS:
        continuation = LiftContinuation(best, way)
        lifts = np.linspace(0.2, 0.97, CANDIDATE_LIFTS) * longest
        for lift in sorted(
            {LIFT_ROUNDING_MM * round((v - offset) / LIFT_ROUNDING_MM) for v in lifts}
        ):
            one = continuation.at(lift + offset)
            if one is None or not one.possible or not math.isfinite(one.radius):
                continue
            sensed = forecast.at(lift, way)
            if math.isfinite(sensed.curvature):
                yield sensed
            if one.limit == LimitKind.WRAP:  # more lift does nothing
                break


def _reading_error(found: Fit) -> float:
    """Give the relative error of curvature of a reading, the middle one of the file."""
    shares = [
        abs(r.reading.error / r.reading.value)
        for r in found.residuals
        if r.reading.type.proportional and r.reading.value
    ]
    return float(np.median(shares)) if shares else USUAL_CURVATURE_ERROR

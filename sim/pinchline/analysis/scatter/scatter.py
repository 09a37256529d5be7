"""Spread of a part under scatter, and the share of each input in it.

Points fill the laws of ``inputs`` by Sobol's sequence, scrambled with a seed:
two samples A and B of as many points, and for every input A with that input as in B,
from which come the shares of the spread that it explains alone and with the others
(I. M. Sobol, Math. Comput. Simul. 55 (2001) 271; estimators of A. Saltelli and others,
Comput. Phys. Commun. 181 (2010) 259). All
points together give the quantiles.

Each point is a part by ``part``. Its error is measured, not assumed: at some
points the span solver is asked itself, and at fewer the stepped solver rolls the whole
job. The latter is the control variate: a straight line through stepped over quick
answers corrects every point, where the two go together.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from scipy.stats import qmc

from pinchline.analysis.scatter.by_runs import run_response
from pinchline.analysis.scatter.evaluate import JobResponse
from pinchline.analysis.scatter.inputs import inputs_of, laid_in_again, settings_in
from pinchline.analysis.scatter.part import OPENING, QuantityTolerance, measured
from pinchline.analysis.scatter.sampling import columns_of, sample_of
from pinchline.analysis.scatter.stops import job_limits
from pinchline.case.checks import require_programme
from pinchline.errors import InputError, SolverError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from pinchline.analysis.scatter.inputs import ScatterInput
    from pinchline.analysis.scatter.part import PartRecord, ScatterQuantity
    from pinchline.case.case import Case
    from pinchline.case.demand import Demand, LimitKind

    Array = NDArray[np.float64]
    Progress = Callable[[float, str], None]

DEFAULT_POINTS = 1024  # of samples A and B: some ten thousand parts in all
FEWEST_POINTS, MOST_POINTS = 16, 65536
# points at which the span and the stepped solver are asked
SPAN_CHECKS, STEPPED_CHECKS = 32, 8
MOST_CHECKS = 256
MAX_SURFACE_ERROR = 0.1  # of the spread: a surface that misses by more is refused
# correlation and points from which the line corrects
LEAST_CORRELATION, LEAST_LINE_POINTS = 0.9, 4
# of the spread: how far quick answers may be off that are told as they are
MAX_UNCORRECTED_ERROR = 0.5


class StopShare(NamedTuple):
    """Share of the jobs that one limit of the machine ends."""

    kind: LimitKind
    share: float


@dataclass(frozen=True)
class SurrogateCheck:
    """Surrogate against the solvers at the first points; ``(points, quantities)``.

    Attributes
    ----------
    surface, span : by the surfaces, and with the span solver asked at each point
    quick, stepped : by the surfaces, and by the stepped solver; NaN where it stopped
    """

    surface: Array
    span: Array
    quick: Array
    stepped: Array

    def surface_error(self, number: int) -> float:
        """Error (rms) of a quantity by the surfaces against the span solver."""
        off = self.surface[:, number] - self.span[:, number]
        off = off[np.isfinite(off)]
        return float(np.sqrt(np.mean(off**2))) if off.size else math.nan

    def line(self, number: int) -> SurrogateLine:
        """Line through stepped over quick answers of a quantity.

        Where the two neither go together nor lie together, the quick answers are worth
        nothing: the line then gives them the mean and the spread of the stepped ones.
        """
        x, y = self.quick[:, number], self.stepped[:, number]
        both = np.isfinite(x) & np.isfinite(y)
        x, y = x[both], y[both]
        count = int(x.size)
        if count < LEAST_LINE_POINTS or float(np.std(x)) == 0.0:
            return SurrogateLine(0.0, 1.0, math.nan, count, "quick")
        mx, my = float(np.mean(x)), float(np.mean(y))
        wide, tall = float(np.std(x)), float(np.std(y))
        common = float(np.mean((x - mx) * (y - my)))
        together = common / (wide * tall) if tall > 0.0 else 0.0
        if together >= LEAST_CORRELATION:
            slope = common / wide**2
            return SurrogateLine(my - slope * mx, slope, together, count, "corrected")
        if float(np.sqrt(np.mean((y - x) ** 2))) <= MAX_UNCORRECTED_ERROR * wide:
            return SurrogateLine(0.0, 1.0, together, count, "quick")
        slope = tall / wide
        return SurrogateLine(my - slope * mx, slope, together, count, "stepped")


class SurrogateLine(NamedTuple):
    """Line that corrects surrogate values to reported ones, with the correlation.

    told : "corrected" by it; "quick" as they are; "stepped", the answers of the stepped
    solver alone
    """

    start: float
    slope: float
    together: float
    points: int
    told: Literal["corrected", "quick", "stepped"]

    @property
    def used(self) -> bool:
        """Whether quick and stepped answers go together, so that the line corrects."""
        return self.told == "corrected"

    def at(self, quick: Array) -> Array:
        """Corrected values."""
        corrected: Array = self.start + self.slope * quick
        return corrected


@dataclass(frozen=True)
class Scatter:
    """Sampled spread of a part.

    Attributes
    ----------
    inputs : what scatters, and by how much
    quantities : what is measured of every part
    points : value of every input at every point ``(n, inputs)``; of several settings of
        the lift the one that is farthest off
    quick : quantities of every part ``(n, quantities)`` before the line corrects them
    demands : worst that every job asks of the machine
    limits : what ends every job, None where nothing does
    stated : quantities of the part as the case says it, by the stepped solver
    first, total : shares of each quantity's spread that an input explains alone, and
        with the others ``(quantities, inputs)``; NaN where nothing spreads
    allowed : what is good
    check : how near the quick answers are
    solutions : of the span solver, behind the surfaces
    seed : of the sequence
    runs : of the stepped solver behind the quick answers, where the job bends sheet
        that it has bent before (``scatter_steps``); 0 where the surfaces give them
    """

    inputs: tuple[ScatterInput, ...]
    quantities: tuple[ScatterQuantity, ...]
    points: Array
    quick: Array
    demands: tuple[Demand, ...]
    limits: tuple[LimitKind | None, ...]
    stated: Array
    first: Array
    total: Array
    allowed: tuple[QuantityTolerance, ...]
    check: SurrogateCheck
    solutions: int
    seed: int
    runs: int

    @cached_property
    def made(self) -> NDArray[np.bool_]:
        """Whether no limit of the machine ends the job ``(n)``."""
        return np.array([limit is None for limit in self.limits])

    @property
    def stops(self) -> list[StopShare]:
        """What ends those that are not made, the most frequent first."""
        kinds = Counter(limit for limit in self.limits if limit is not None)
        count = len(self.limits)
        return [StopShare(kind, n / count) for kind, n in kinds.most_common()]

    def values(self, number: int) -> Array:
        """Give a quantity of the parts that are made, corrected by the line."""
        return self.check.line(number).at(self.quick[self.made, number])

    def quantile(self, number: int, level: float) -> float:
        """Quantile of a quantity over the parts that are made."""
        values = self.values(number)
        return float(np.quantile(values, level)) if values.size else math.nan

    @property
    def within(self) -> float:
        """Share of all jobs that are made and good; NaN where nothing is asked."""
        if not self.allowed:
            return math.nan
        good = np.ones(int(np.count_nonzero(self.made)), dtype=bool)
        for one in self.allowed:
            good &= one.good(self.values(one.quantity))
        return float(np.count_nonzero(good)) / self.made.size


def scatter(
    case: Case,
    *,
    points: int = DEFAULT_POINTS,
    seed: int = 1,
    checks: int = STEPPED_CHECKS,
    tolerance: float | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Scatter:
    """Compute the spread of a case's part.

    Parameters
    ----------
    case : with moves; its ``[scatter]`` tells how far what it says may be off
    points : of each of two samples, a power of two; parts are as many times the number
        of inputs and two
    seed : of the sequence; the same seed gives the same numbers, bit for bit
    checks : points at which the stepped solver rolls the whole job
    tolerance : of the opening (mm), about what the target wants or the case's part has
    workers : processes; None takes all cores
    progress : called with the share done (0..1) and what is being done

    Returns
    -------
    Inputs and quantities of every part, arrays ``(n, inputs)`` and ``(n, quantities)``
    in internal units, and the shares of the spread ``(quantities, inputs)``.

    Raises
    ------
    InputError
        The case has no moves, nothing scatters, or an option is out of range.
    StoppedError
        A limit of the machine ends the job as it stands.
    SolverError
        The job as it stands fails, or its passes cannot be followed.

    Examples
    --------
    >>> import pinchline as pl
    >>> case = pl.load_case("strut-fairing")
    >>> try:
    ...     pl.scatter(case, points=3)
    ... except pl.InputError as error:
    ...     print(error.message)
    so many points fill no Sobol sequence
    """
    require_programme(case)
    _check_options(points, checks, seed)
    inputs = inputs_of(case)
    if not inputs:
        message = "nothing scatters: every spread is zero"
        allowed = "at least one spread above zero"
        raise InputError(message, file=case.path, key="scatter", allowed=allowed)

    def report(share: float, words: str) -> None:
        if progress is not None:
            progress(share, words)

    report(0.0, "the job as it stands")
    spread = JobResponse.of(case, inputs, workers=workers, seed=seed, report=report)
    report(0.4, "many parts")
    shares = design(inputs, len(settings_in(case.moves)), points, seed)
    sample = sample_of(case, inputs, shares)
    response = None
    if laid_in_again(case):
        response = run_response(spread.record, inputs, workers=workers)
        quick = response.measured(sample, workers=workers)
    else:
        quick = spread.measured(sample, workers=workers)
    asked = job_limits(
        spread.record, spread.stretches, spread.ratios(sample), sample.friction
    )
    report(0.6, "the span solver at some of them")
    direct = quick[:0]
    if response is None:
        some = sample.rows(np.arange(min(SPAN_CHECKS, points)))
        direct = spread.measured(some, by_span=True, workers=workers)
    report(0.7, "the stepped solver at some of them")
    stepped = spread.stepped(
        sample.rows(np.arange(checks)), workers=workers, report=report
    )
    check = SurrogateCheck(quick[: direct.shape[0]], direct, quick[:checks], stepped)
    even = as_curvatures(quick, spread.record.quantities)
    first, total = sobol_indices_of(even, points, len(inputs))
    for number in range(quick.shape[1]):
        if check.line(number).told == "stepped":
            first[number] = total[number] = math.nan
    record = spread.record
    stated = measured(record, record.result.sheet["curvature_residual"])
    found = Scatter(
        inputs=inputs,
        quantities=record.quantities,
        points=sample.table,
        quick=quick,
        demands=asked.demands,
        limits=asked.limits,
        stated=stated,
        first=first,
        total=total,
        allowed=_allowed(record, stated, tolerance),
        check=check,
        solutions=spread.solutions,
        seed=seed,
        runs=0 if response is None else response.runs,
    )
    if response is None:
        _refuse_far(found)
    return found


def _check_options(points: int, checks: int, seed: int) -> None:
    if not (FEWEST_POINTS <= points <= MOST_POINTS and points & (points - 1) == 0):
        message = "so many points fill no Sobol sequence"
        allowed = f"a power of two from {FEWEST_POINTS} to {MOST_POINTS}"
        raise InputError(message, key="--points", value=points, allowed=allowed)
    if not 0 <= checks <= min(points, MOST_CHECKS):
        message = "is out of range"
        allowed = f"0 to {min(points, MOST_CHECKS)}"
        raise InputError(message, key="--checks", value=checks, allowed=allowed)
    if seed < 0:
        message = "is below zero"
        allowed = "0 or a whole number above"
        raise InputError(message, key="--seed", value=seed, allowed=allowed)


def _allowed(
    record: PartRecord, stated: Array, tolerance: float | None
) -> tuple[QuantityTolerance, ...]:
    if tolerance is None:
        return record.allowed
    wanted = float(stated[OPENING])
    target = record.case.target
    if record.wanted is not None and target is not None:
        hand = target.hand_opening
        wanted = record.wanted.opening() if hand is None else wanted
    return (QuantityTolerance(OPENING, wanted, tolerance),)


def _refuse_far(found: Scatter) -> None:
    """Refuse surfaces that miss the span solver by much of the spread."""
    error = found.check.surface_error(OPENING)
    spread = float(np.std(found.quick[found.made, OPENING]))
    if not error <= MAX_SURFACE_ERROR * spread and spread > 0.0:
        message = (
            f"between the span solutions the opening is missed by {error:.3g} mm, "
            f"more than a tenth of its spread of {spread:.3g} mm; narrow the spreads "
            f"in [scatter]"
        )
        raise SolverError(message)


def design(
    inputs: tuple[ScatterInput, ...], settings: int, points: int, seed: int
) -> Array:
    """Lay out A, B, and A with each input as in B, one below the other, as shares."""
    columns = columns_of(inputs, settings)
    size = columns[-1][-1] + 1
    both = qmc.Sobol(2 * size, rng=np.random.default_rng(seed)).random(points)
    a, b = both[:, :size], both[:, size:]
    mixed = []
    for own in columns:
        one = a.copy()
        one[:, own] = b[:, own]
        mixed.append(one)
    return np.vstack([a, b, *mixed])


def as_curvatures(quick: Array, quantities: Sequence[ScatterQuantity]) -> Array:
    """Give curvatures in place of radii: one half almost straight outweighs all else.

    ``quick (n, quantities)``, of which a copy is returned.
    """
    even = quick.copy()
    for number, quantity in enumerate(quantities):
        if quantity.name.startswith("radius"):
            even[:, number] = 1.0 / even[:, number]
    return even


def sobol_indices_of(quick: Array, points: int, inputs: int) -> tuple[Array, Array]:
    """Share of each quantity's spread that each input explains alone, and with others.

    Of values at the points of ``design``: ``mean(f_B (f_AB - f_A)) / V`` and
    ``mean((f_A - f_AB)^2) / (2 V)`` (Saltelli and others 2010, table 2, b and f, from
    memory). NaN where a quantity is not known everywhere, or is the same everywhere.
    """
    blocks = quick.T.reshape(quick.shape[1], inputs + 2, points)
    known = np.all(np.isfinite(blocks), axis=(1, 2)) & (np.ptp(quick, axis=0) > 0.0)
    # about the mean: the first estimator loses figures to a large one
    blocks = blocks[known] - np.mean(blocks[known], axis=(1, 2), keepdims=True)
    a, b, mixed = blocks[:, :1], blocks[:, 1:2], blocks[:, 2:]
    variance = np.var(blocks[:, :2], axis=(1, 2))[:, np.newaxis]
    first = np.full((quick.shape[1], inputs), math.nan)
    total = first.copy()
    first[known] = np.mean(b * (mixed - a), axis=2) / variance
    total[known] = np.mean((a - mixed) ** 2, axis=2) / (2.0 * variance)
    return first, total

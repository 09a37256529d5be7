"""Response surfaces of a job's passes over sheet, nip and settings.

Every pass of the job is a *station*: a way, a lift, and the settings that make it. At a
station the span solver gives largest moment and forces for some hundred sheets about
the case's. They go with powers of thickness, strength and lift, so that a polynomial in
the logarithms goes through the logarithms of them, each over its value for the case
itself; of the degree that misses least where one solution at a time is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations_with_replacement, islice
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import parallel
from pinchline.analysis.scatter.inputs import VariedValues, settings_in, varied_case
from pinchline.case.moves import Feed, Lift
from pinchline.errors import SolverError
from pinchline.solvers.steady.follower import Neighbours
from pinchline.solvers.steady.solver import SOLVED

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.solvers.steady.solver import SteadyPass, Way

    Array = NDArray[np.float64]

STATION_LIFT_MM, MOST_STATIONS = (
    4.0,
    4,
)  # mm of a lift that changes along a feed, and in all
# what is read of a pass
MOMENT, GRIP, DRIVE, PUSH, PINCH = range(5)
READINGS = 5
SOLUTIONS_PER_TASK = 40  # solutions that share first guesses
CONTINUATION_HALVINGS = 3  # of the way to a pass that is not found at once
LEAST_SOLVED_SHARE = 0.7  # of the solutions that must be found
POLYNOMIAL_DEGREES = (1, 2, 3)
LEAST_READING = 1.0e-6  # N mm/mm, N/mm: no moment and no force
SOLUTIONS_PER_TERM = 2.0  # solutions for each term of a polynomial, at least


@dataclass(frozen=True)
class BendPlace:
    """A pass at one lift in which a part of the sheet is bent.

    way, lift (mm) : of the pass; ``rest``: raised, and never fed
    first, last : settings of the lift at start and end of the feed, numbers in the
        order of ``settings_in``
    along : share of the way from first to last
    """

    way: Way
    lift: float
    first: int
    last: int
    along: float

    def error(self, lifts: Array) -> Array:
        """Error of the lift (mm) by those of the settings, ``(..., settings)``."""
        wrong: Array = (1.0 - self.along) * lifts[..., self.first]
        wrong = wrong + self.along * lifts[..., self.last]
        return wrong


class ProgramStretch(NamedTuple):
    """One feed, or a lift in place that no feed follows.

    moves : numbers (from 1) of the moves whose bends it accounts for; feed : its own
    number; stations : in the order of the feed, by lift
    """

    moves: tuple[int, ...]
    feed: int
    stations: tuple[int, ...]


def stations_of(case: Case) -> tuple[tuple[BendPlace, ...], tuple[ProgramStretch, ...]]:
    """Cut the moves of a case into stretches and their stations."""
    stations: list[BendPlace] = []
    stretches: list[ProgramStretch] = []
    waiting: list[int] = []
    setting = {place: i for i, place in enumerate(settings_in(case.moves))}
    last = -1
    program = case.program
    for number, step in enumerate(program, 1):
        was = last
        last = setting.get(number - 1, last)
        if isinstance(step.move, Lift):
            waiting.append(number)
        elif isinstance(step.move, Feed) and max(step.lift_before, step.lift) > 0.0:
            first = len(stations)
            lifts = (step.lift_before, step.lift)
            stations += _along(step.move, lifts, (was, last))
            own = tuple(range(first, len(stations)))
            stretches.append(ProgramStretch((*waiting, number), number, own))
            waiting = []
    if waiting:
        stations.append(BendPlace("rest", program[-1].lift, last, last, 0.0))
        own = (len(stations) - 1,)
        stretches.append(ProgramStretch(tuple(waiting), waiting[-1], own))
    return tuple(stations), tuple(stretches)


def _along(
    move: Feed, lifts: tuple[float, float], settings: tuple[int, int]
) -> Iterator[BendPlace]:
    low, high = lifts
    pieces = min(math.ceil(abs(high - low) / STATION_LIFT_MM), MOST_STATIONS - 1)
    for i in range(pieces + 1):
        share = i / pieces if pieces else 1.0
        there = (1.0 - share) * low + share * high
        if there > 0.0:
            first = settings[0] if settings[0] >= 0 else settings[1]
            yield BendPlace(move.toward, there, first, settings[1], share)


class VariedPasses(NamedTuple):
    """Passes of varied sheets one way, about a lift (mm): sheets, and their lifts."""

    way: Way
    lift: float
    values: tuple[VariedValues, ...]
    lifts: Array


def solve_passes(
    case: Case, asked: list[VariedPasses], *, workers: int | None = None
) -> list[list[SteadyPass]]:
    """Solve passes of varied sheets; the same for any ``workers``."""
    jobs = [
        (
            case,
            one._replace(
                values=one.values[i : i + SOLUTIONS_PER_TASK],
                lifts=one.lifts[i : i + SOLUTIONS_PER_TASK],
            ),
        )
        for one in asked
        for i in range(0, len(one.values), SOLUTIONS_PER_TASK)
    ]
    with parallel.workers(workers, len(jobs)) as do_all:
        done = iter([p for part in do_all(_solve, jobs) for p in part])
    return [list(islice(done, len(one.values))) for one in asked]


def _solve(job: tuple[Case, VariedPasses]) -> list[SteadyPass]:
    """Solve passes from the case's own outward, each by way of those found before."""
    case, asked = job
    follower = Neighbours(case, asked.way, case.sheet.curvature)
    follower.climb_rungs(np.array([asked.lift]))
    solved: list[tuple[Case, float]] = [(case, asked.lift)]
    goals = [
        (varied_case(case, values), max(float(lift), 0.0))
        for values, lift in zip(asked.values, asked.lifts, strict=True)
    ]
    found: dict[int, SteadyPass] = {}
    for number in np.argsort([_apart(solved[0], goal) for goal in goals]):
        goal = goals[number]
        start = min(solved, key=lambda one: _apart(one, goal))
        p = _reach(follower, start, goal, CONTINUATION_HALVINGS) or follower.cold_start(
            *goal
        )
        found[int(number)] = p
        if p.status == SOLVED:
            solved.append(goal)
    return [found[number] for number in range(len(goals))]


def _reach(
    follower: Neighbours,
    start: tuple[Case, float],
    goal: tuple[Case, float],
    halvings: int,
) -> SteadyPass | None:
    """Solve a pass by way of passes between it and one that is solved."""
    found = follower.warm_start(*goal)
    if found is not None or halvings == 0:
        return found
    middle = (_between(start[0], goal[0]), 0.5 * (start[1] + goal[1]))
    if _reach(follower, start, middle, halvings - 1) is None:
        return None
    return _reach(follower, middle, goal, halvings - 1)


def _between(one: Case, other: Case) -> Case:
    """Give the sheet and clamp half way between two of a case's."""
    a, b = one.sheet.material, other.sheet.material
    strength = 0.5 * (1.0 + b.yield_strength / a.yield_strength)
    clamp = [case.machine.nip.clamp or 0.0 for case in (one, other)]
    half = VariedValues(
        thickness=0.5 * (one.sheet.thickness + other.sheet.thickness),
        strength=strength,
        tangent_modulus=0.5 * (a.tangent_modulus + b.tangent_modulus),
        youngs_modulus=0.5 * (a.youngs_modulus + b.youngs_modulus),
        clamp=0.5 * sum(clamp),
        friction=one.machine.nip.friction,
        lifts=(0.0,) * len(settings_in(one.moves)),
    )
    return varied_case(one, half)


def _apart(one: tuple[Case, float], other: tuple[Case, float]) -> float:
    """Roughly how far two passes lie apart."""
    sheets = (one[0].sheet, other[0].sheet)
    materials = [sheet.material for sheet in sheets]
    pairs = (
        [sheet.thickness for sheet in sheets],
        [material.yield_strength for material in materials],
        [material.youngs_modulus for material in materials],
        [max(one[1], 0.1) ** 2, max(other[1], 0.1) ** 2],
    )
    return sum(abs(math.log(b / a)) for a, b in pairs)


def read_pass(p: SteadyPass) -> Array:
    """Give moment and forces of a pass; NaN where not converged."""
    return np.array(
        [p.moment, p.grip, abs(p.drive), p.push_rear, max(p.force_upper, p.force_lower)]
    )


@dataclass(frozen=True)
class ResponseSurface:
    """Response surface of a station: polynomial in logarithms over the own pass.

    powers : terms, each as the coordinates it multiplies; weights : ``(terms, READ)``;
    left_out : relative error (rms) of the moment of a solution that is left out; found,
    asked : solutions; own : what the case's own pass gives
    """

    powers: tuple[tuple[int, ...], ...]
    weights: Array
    left_out: float
    found: int
    asked: int
    own: Array

    def at(self, x: Array) -> Array:
        """Ratios ``(n, READ)`` at coordinates ``(n, d)``."""
        ratios: Array = np.exp(_terms(self.powers, x) @ self.weights)
        return ratios


def _terms(powers: tuple[tuple[int, ...], ...], x: Array) -> Array:
    columns = np.ones((x.shape[0], len(powers)))
    for i, power in enumerate(powers):
        for place in power:
            columns[:, i] *= x[:, place]
    return columns


def _powers(count: int, degree: int) -> tuple[tuple[int, ...], ...]:
    return tuple(
        power
        for order in range(degree + 1)
        for power in combinations_with_replacement(range(count), order)
    )


def solutions_for(count: int) -> int:
    """How many solutions a surface over ``count`` coordinates asks for."""
    return max(
        3 * SOLUTIONS_PER_TASK // 4,
        math.ceil(SOLUTIONS_PER_TERM * len(_powers(count, POLYNOMIAL_DEGREES[-1]))),
    )


def fit_surface(x: Array, passes: list[SteadyPass], own: SteadyPass) -> ResponseSurface:
    """Fit a response surface to passes at coordinates ``x (n, d)``.

    Raises
    ------
    SolverError
        Too few of the passes converged.
    """
    read = np.array([read_pass(p) for p in passes])
    found = np.array([p.status == SOLVED for p in passes])
    if (
        own.status != SOLVED
        or np.count_nonzero(found) < LEAST_SOLVED_SHARE * found.size
    ):
        reason = own.status if own.status != SOLVED else "about it too few are found"
        message = (
            f"the span solver does not follow the pass toward the {own.way} at a lift "
            f"of {own.lift:.2f} mm ({reason}); its scatter is not known"
        )
        raise SolverError(message)
    mine = read_pass(own)
    # a drive may pass through nothing, and then nothing depends on it
    ratios = np.log(
        np.maximum(read[found], LEAST_READING) / np.maximum(mine, LEAST_READING)
    )
    best: ResponseSurface | None = None
    for degree in POLYNOMIAL_DEGREES:
        powers = _powers(x.shape[1], degree)
        terms = _terms(powers, x[found])
        if terms.shape[0] < 1.2 * terms.shape[1]:
            break
        q, r = np.linalg.qr(terms)
        weights = np.linalg.solve(r, q.T @ ratios)
        off = ratios[:, MOMENT] - terms @ weights[:, MOMENT]
        off /= 1.0 - np.minimum(np.sum(q * q, axis=1), 0.999)
        error = float(np.sqrt(np.mean(off**2)))
        if best is None or error < best.left_out:
            count = int(np.count_nonzero(found))
            best = ResponseSurface(powers, weights, error, count, found.size, mine)
    assert best is not None
    return best

"""Tightest radius of a sheet on a machine in both directions, and what limits it.

Passes over the whole range of lift, both ways; then, where a pass that can be made is
next to one that cannot, more between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pinchline import parallel
from pinchline.analysis.limits.single_pass import (
    SinglePass,
    Way,
    longest_lift,
    one_pass,
)
from pinchline.analysis.limits.sweep import LiftContinuation, LiftsInPlace
from pinchline.analysis.limits.tightest import LAST_LIFT_SHARE
from pinchline.case.demand import LimitKind

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pinchline.case.case import Case

    Progress = Callable[[float, str], None]

SWEEP_LIFTS = 14  # of the first sweep, each way
REFINEMENT_ROUNDS = 3  # rounds of halving beside the tightest pass
PASSES_PER_REFINEMENT = 3  # passes of a round, evenly between the neighbours
WAYS: tuple[Way, ...] = ("rear", "operator")
SAME_RADIUS_TOLERANCE = 0.01  # of the radius: no tighter


@dataclass(frozen=True)
class DirectionLimits:
    """Passes in one feed direction by rising lift, and the tightest feasible one.

    tightest: None where no pass leaves a set; binds: what keeps it from being tighter;
    beyond: lift (mm) of the nearest pass that cannot be made, NaN where there is none.
    """

    way: Way
    passes: tuple[SinglePass, ...]
    tightest: SinglePass | None
    binds: LimitKind | None
    beyond: float


@dataclass(frozen=True)
class Limits:
    """Limits of a sheet on a machine in both directions; longest lift (mm), its end."""

    ways: tuple[DirectionLimits, DirectionLimits]
    longest: float
    end: LimitKind

    @property
    def tightest(self) -> DirectionLimits | None:
        """The direction with the smaller radius; None where neither leaves a set."""
        made = [way for way in self.ways if way.tightest is not None]
        return min(made, key=_radius, default=None)


def _radius(way: DirectionLimits) -> float:
    return math.inf if way.tightest is None else way.tightest.radius


def limits(
    case: Case,
    *,
    quick: bool = False,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Limits:
    """Compute radius against lift in both directions, and the governing limit.

    Parameters
    ----------
    case : its sheet's thickness, width and material, and its machine count; its moves
        do not
    quick : let the span solver do the passes that it finds, with its error
    workers : processes; None takes all cores
    progress : called with the share done (0..1) and what is being rolled
    """
    longest, end = longest_lift(case)
    lifts = np.linspace(longest / SWEEP_LIFTS, LAST_LIFT_SHARE * longest, SWEEP_LIFTS)
    lifts_in_place = LiftsInPlace(case)
    continuations = (
        {way: LiftContinuation(case, way, lifts_in_place) for way in WAYS}
        if quick
        else {}
    )
    jobs = [(case, float(lift), way) for way in WAYS for lift in lifts]
    rounds = 1 + REFINEMENT_ROUNDS
    total = len(jobs) + REFINEMENT_ROUNDS * PASSES_PER_REFINEMENT * len(WAYS)
    made: list[SinglePass] = []
    with parallel.workers(workers, len(jobs)) as do_all:
        for _ in range(rounds):
            for found in _rolled(jobs, continuations, do_all):
                made.append(found)
                if progress is not None:
                    words = f"pass at {found.lift:.1f} mm toward the {found.way}"
                    progress(min(len(made) / total, 1.0), words)
            jobs = [(case, lift, way) for way in WAYS for lift in _between(made, way)]
    first, second = (_direction_limits(made, way, end) for way in WAYS)
    return Limits((first, second), longest, end)


def _rolled(
    jobs: list[tuple[Case, float, Way]],
    continuations: dict[Way, LiftContinuation],
    do_all: parallel.Map,
) -> Iterator[SinglePass]:
    """Solve every pass by continuation where it converges, else by stepping."""
    left = []
    for job in jobs:
        _, lift, way = job
        found = continuations[way].at(lift) if continuations else None
        if found is None:
            left.append(job)
        else:
            yield found
    yield from do_all(_roll, left)


def _roll(jobs: tuple[Case, float, Way]) -> SinglePass:
    return one_pass(*jobs)


def _passes_in_direction(made: list[SinglePass], way: Way) -> list[SinglePass]:
    return sorted((p for p in made if p.way == way), key=lambda p: p.lift)


def _tightest(passes: list[SinglePass]) -> int | None:
    """Index of the lowest lift that comes as tight as any pass that can be made."""
    good = [i for i, p in enumerate(passes) if p.possible and math.isfinite(p.radius)]
    least = min((passes[i].radius for i in good), default=math.inf)
    return next(
        (i for i in good if passes[i].radius <= (1.0 + SAME_RADIUS_TOLERANCE) * least),
        None,
    )


def _between(made: list[SinglePass], way: Way) -> list[float]:
    """Lifts between the tightest pass and a neighbour that cannot be made."""
    passes = _passes_in_direction(made, way)
    best = _tightest(passes)
    if best is None or best + 1 >= len(passes) or passes[best + 1].possible:
        return []
    low, high = passes[best].lift, passes[best + 1].lift
    return [float(x) for x in np.linspace(low, high, PASSES_PER_REFINEMENT + 2)[1:-1]]


def _direction_limits(
    made: list[SinglePass], way: Way, end: LimitKind
) -> DirectionLimits:
    passes = _passes_in_direction(made, way)
    best = _tightest(passes)
    if best is None:
        binds = next((p.limit for p in reversed(passes) if p.limit), None)
        return DirectionLimits(way, tuple(passes), None, binds, math.nan)
    tightest = passes[best]
    later = passes[best + 1 :]
    beyond = next((p.lift for p in later if not p.possible), math.nan)
    if tightest.limit == LimitKind.WRAP:
        binds = LimitKind.WRAP
    elif later and not later[0].possible:
        binds = later[0].limit
    else:
        binds = end
    return DirectionLimits(way, tuple(passes), tightest, binds, beyond)

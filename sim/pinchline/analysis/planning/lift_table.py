"""Table of lift against residual curvature, by the span solver, for first guesses."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import PchipInterpolator

from pinchline import parallel
from pinchline.analysis.limits.single_pass import SinglePass, longest_lift, one_pass
from pinchline.analysis.planning.job import Knot, Run
from pinchline.solvers.ratings import steady_limit
from pinchline.solvers.steady.solver import SOLVED, solve_lifts

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.case.demand import LimitKind

    Array = NDArray[np.float64]
    Row = tuple[float, float, float, LimitKind | None]  # lift, curvature, loaded, limit

BEND_LAG = (
    0.06  # of the distance to the rear roll: that far ahead the sheet is bent most
)
# of a knot's own weight: knots that nothing tells of stay where they are
RIDGE_WEIGHT = 0.05
TABULATED_LIFTS = 28  # passes tabulated
FEWEST_PASSES = 4  # passes that make a table
STEPPED_LIFTS = 14  # passes tabulated by the stepped solver
MAX_UNCONVERGED_IN_ROW = 3  # in a row
LEAST_SET_SHARE = 2.0e-3  # of the upper roll's curvature: less is no set to speak of


@dataclass(frozen=True)
class LiftTable:
    """Table of passes toward the operator by rising lift, as far as curvature rises.

    Attributes
    ----------
    lifts, curvatures, loaded : of passes that leave a set: lift (mm), curvature left
        and under the rolls (1/mm), all rising
    limits : what each exceeds, None for nothing
    most : longest lift that the machine allows, mm; ``end``: what ends it
    """

    lifts: Array
    curvatures: Array
    loaded: Array
    limits: tuple[LimitKind | None, ...]
    most: float
    end: LimitKind

    @property
    def tightest(self) -> float:
        """Largest curvature that a pass leaves, 1/mm; 0 where none leaves a set."""
        return float(self.curvatures[-1]) if self.curvatures.size else 0.0

    @property
    def good(self) -> int:
        """How many passes, from the weakest on, exceed no limit."""
        return next(
            (i for i, limit in enumerate(self.limits) if limit), len(self.limits)
        )

    def capped(self, lift: float) -> LiftTable:
        """Give the table up to a lift (mm), its last where it lies inside."""
        kept = max(1, int(np.count_nonzero(self.lifts <= lift + 1.0e-9)))
        if kept == self.lifts.size or lift <= self.lifts[0]:
            return replace(
                self,
                lifts=self.lifts[:kept],
                curvatures=self.curvatures[:kept],
                loaded=self.loaded[:kept],
                limits=self.limits[:kept],
            )

        def ended(values: Array) -> Array:
            return np.append(values[:kept], np.interp(lift, self.lifts, values))

        return replace(
            self,
            lifts=np.append(self.lifts[:kept], lift),
            curvatures=np.exp(ended(np.log(self.curvatures))),
            loaded=ended(self.loaded),
            limits=(*self.limits[:kept], None),
        )

    @cached_property
    def _curve(self) -> PchipInterpolator:
        """Lift over the logarithm of curvature, rising throughout."""
        return PchipInterpolator(np.log(self.curvatures), self.lifts)

    def lift(self, curvature: float) -> float:
        """Lift (mm) that leaves a curvature (1/mm), the nearest where none does."""
        within = float(np.clip(curvature, self.curvatures[0], self.curvatures[-1]))
        if self.lifts.size == 1:
            return float(self.lifts[0])
        return float(self._curve(math.log(within)))

    def slopes(self, curvatures: Array) -> Array:
        """Curvature per mm of lift, at curvatures that passes leave (1/mm2)."""
        k = self.curvatures
        if k.size == 1:
            return np.full(curvatures.shape, k[0] / self.lifts[0])
        within = np.clip(curvatures, k[0], k[-1])
        return np.asarray(within / self._curve(np.log(within), 1))

    def slope(self, curvature: float) -> float:
        """Curvature per mm of lift, at one curvature (1/mm2)."""
        return float(self.slopes(np.array(curvature)))


def correct_run(run: Run, u: Array, missing: Array, slopes: Array) -> Run:
    """Correct the lifts of a run so that missing curvature is made up.

    Parameters
    ----------
    u : places (mm), told where the nip line was as they were bent
    missing : curvature (1/mm) that they lack
    slopes : curvature per mm of lift there (1/mm2)

    Least squares over the knots, the lift being linear between them.
    """
    places = np.array([k.u for k in run.knots])
    hats = np.array([np.interp(u, places, row) for row in np.eye(places.size)]).T
    weighed = hats * slopes[:, None]
    normal = weighed.T @ weighed
    normal += RIDGE_WEIGHT * np.diag(np.diag(normal)) + 1.0e-12 * np.eye(places.size)
    more = np.linalg.solve(normal, weighed.T @ missing)
    return run._replace(
        knots=tuple(
            Knot(k.u, k.lift + float(m)) for k, m in zip(run.knots, more, strict=True)
        )
    )


def thinned(
    knots: list[tuple[float, float]], most: int, near: float
) -> list[tuple[float, float]]:
    """Keep the knots that matter most for a line through them (Douglas-Peucker).

    At most ``most``, and no more once all are within ``near`` of the line.
    """
    kept = [0, len(knots) - 1]
    x, y = (np.array(column) for column in zip(*knots, strict=True))
    while len(kept) < most:
        off = np.abs(y - np.interp(x, x[kept], y[kept]))
        worst = int(np.argmax(off))
        if off[worst] < near:
            break
        kept = sorted([*kept, worst])
    return [knots[i] for i in kept]


def lift_table(
    case: Case, *, stepped: bool = True, workers: int | None = None
) -> LiftTable:
    """Tabulate the passes of a case's sheet toward the operator.

    By the span solver; by the stepped one, ``stepped``, where that finds too few.
    """
    most, end = longest_lift(case)
    most = most if math.isfinite(most) else case.machine.rear.travel
    rows = list(_by_span(case, most))
    if stepped and len(rows) < FEWEST_PASSES:
        rows = list(_by_steps(case, most, workers))
    rising = [row for i, row in enumerate(rows) if not i or row[1] > rows[i - 1][1]]
    columns = np.array([row[:3] for row in rising]).reshape(-1, 3).T
    limits = tuple(row[3] for row in rising)
    return LiftTable(columns[0], columns[1], columns[2], limits, most, end)


def calibrated(
    case: Case, table: LiftTable, curvatures: tuple[float, ...]
) -> LiftTable:
    """Correct a table by the stepped solver at some curvatures (1/mm).

    The ratio of the two solvers hardly changes along the table; between and beyond the
    passes that are run it is carried on.
    """
    known = []
    for wanted in sorted(set(curvatures)):
        found = one_pass(case, table.lift(wanted), "operator")
        if math.isfinite(found.radius) and found.radius > 0.0:
            known.append((wanted, 1.0 / (wanted * found.radius)))
    if not known:
        return table
    at, ratios = np.array(known).T
    return replace(
        table, curvatures=table.curvatures * np.interp(table.curvatures, at, ratios)
    )


def _by_span(case: Case, most: float) -> Iterator[Row]:
    natural = case.sheet.curvature
    least = natural + LEAST_SET_SHARE / case.machine.rolls.upper_radius
    lifts = np.linspace(0.1 * most, 0.995 * most, TABULATED_LIFTS)
    before, unconverged = least, 0
    for one in solve_lifts(case, lifts, "operator", natural_curvature=natural):
        if one.status == SOLVED and one.residual > before:
            before, unconverged = one.residual, 0
            yield one.lift, one.residual, one.loaded, steady_limit(case, one)
        elif before > least:
            unconverged += 1
            if unconverged == MAX_UNCONVERGED_IN_ROW or one.status == SOLVED:
                return


def _by_steps(case: Case, most: float, workers: int | None) -> Iterator[Row]:
    lifts = np.linspace(0.1 * most, 0.995 * most, STEPPED_LIFTS)
    with parallel.workers(workers, STEPPED_LIFTS) as do_all:
        for one in do_all(_pass, [(case, float(lift)) for lift in lifts]):
            if math.isfinite(one.radius) and one.radius > 0.0:
                limit = None if one.possible else one.limit
                yield one.lift, 1.0 / one.radius, 1.0 / one.loaded, limit


def _pass(job: tuple[Case, float]) -> SinglePass:
    return one_pass(*job, "operator")

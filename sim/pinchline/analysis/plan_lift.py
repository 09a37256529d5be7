"""Which lift leaves which curvature: the span solver, inverted, for first guesses."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pinchline.analysis.passes import longest_lift
from pinchline.analysis.plan_job import Knot, Run
from pinchline.analysis.span import SOLVED, Pass, climb_lifts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.model.case import Case

    Array = NDArray[np.float64]

LAG = 0.06  # of the distance to the rear roll: that far ahead the sheet is bent most
RIDGE = 0.05  # of a knot's own weight: knots that nothing tells of stay where they are
LIFTS = 28  # passes tabulated
SET = 2.0e-3  # of the upper roll's curvature: less is no set to speak of


@dataclass(frozen=True)
class LiftTable:
    """Passes toward the operator by rising lift, as far as more lift bends more.

    Attributes
    ----------
    lifts, curvatures : of passes that leave a set, mm and 1/mm, both rising
    passes : the same, in full
    most : longest lift that the machine allows, mm; ``end``: what ends it
    """

    lifts: Array
    curvatures: Array
    passes: tuple[Pass, ...]
    most: float
    end: str

    @property
    def tightest(self) -> float:
        """Largest curvature that a pass leaves, 1/mm; 0 where none leaves a set."""
        return float(self.curvatures[-1]) if self.curvatures.size else 0.0

    def capped(self, lift: float) -> LiftTable:
        """Give the table without passes at more than a lift (mm), but for one."""
        kept = max(1, int(np.count_nonzero(self.lifts <= lift + 1.0e-9)))
        return replace(
            self,
            lifts=self.lifts[:kept],
            curvatures=self.curvatures[:kept],
            passes=self.passes[:kept],
        )

    def lift(self, curvature: float) -> float:
        """Lift (mm) that leaves a curvature (1/mm), the highest where none does."""
        return float(np.interp(curvature, self.curvatures, self.lifts))

    def slope(self, curvature: float) -> float:
        """Curvature per mm of lift, at a curvature that a pass leaves (1/mm2)."""
        k, last = self.curvatures, self.curvatures.size - 1
        if last < 1:
            return float(k[0] / self.lifts[0])
        i = int(np.clip(np.searchsorted(k, curvature), 1, last))
        return float((k[i] - k[i - 1]) / (self.lifts[i] - self.lifts[i - 1]))


def mend(run: Run, u: Array, missing: Array, slopes: Array) -> Run:
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
    normal += RIDGE * np.diag(np.diag(normal)) + 1.0e-12 * np.eye(places.size)
    more = np.linalg.solve(normal, weighed.T @ missing)
    return Run(
        tuple(
            Knot(k.u, k.lift + float(m)) for k, m in zip(run.knots, more, strict=True)
        )
    )


def lift_table(case: Case) -> LiftTable:
    """Tabulate the passes of a case's sheet toward the operator."""
    most, end = longest_lift(case)
    least = SET / case.machine.rolls.upper_radius
    natural = case.sheet.curvature
    found: list[Pass] = []
    lifts = np.linspace(0.1 * most, 0.995 * most, LIFTS)
    for one in climb_lifts(case, lifts, "operator", natural_curvature=natural):
        if one.status != SOLVED or not one.residual - natural > least:
            if found:
                break
            continue
        if found and one.residual <= found[-1].residual:
            break
        found.append(one)
    return LiftTable(
        lifts=np.array([p.lift for p in found]),
        curvatures=np.array([p.residual for p in found]),
        passes=tuple(found),
        most=most if math.isfinite(most) else case.machine.rear.travel,
        end=end,
    )

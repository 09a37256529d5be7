"""Many steady passes that vary one case: each starts at the nearest one solved."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline import parallel
from pinchline.case.variation import rebuilt
from pinchline.solvers.rolls import jam_lift
from pinchline.solvers.steady import continuation, shooting
from pinchline.solvers.steady.march import (
    DRIVE,
    LARGEST,
    NX,
    NY,
    PUSH,
    REAR_Y,
    STATES,
    M,
)
from pinchline.solvers.steady.solver import SOLVED, Follower, SteadyPass, Way

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case

    Array = NDArray[np.float64]

# columns of the parameters of solve_many; NaN takes the case's own
THICKNESS, YIELD, TANGENT, YOUNGS, CLAMP, STIFFNESS, LIFT = range(7)
_OF_METAL = {
    "yield_strength": YIELD,
    "tangent_modulus": TANGENT,
    "youngs_modulus": YOUNGS,
}
_OF_CASE = {
    "sheet.thickness": THICKNESS,
    "machine.nip.clamp": CLAMP,
    "machine.nip.stiffness": STIFFNESS,
}
# what a ratio of each does to the bend, roughly: tells which solution is nearest
_WEIGHTS = np.array([1.0, 1.0, 0.1, 1.0, 0.1, 0.1, 2.0])
# columns of a path that are forces or moments, and their rates
_FORCES = np.array([1 + k + r for r in (0, STATES) for k in (M, NX, NY, LARGEST, PUSH)])
MOST_STARTS = 200  # kept of a chunk


class Neighbours(Follower):
    """Solutions of variations of one case, from which others start."""

    def __init__(self, case: Case, way: Way, natural: float) -> None:
        super().__init__(case, way, natural)
        self.starts: list[shooting.Solution] = []
        self.places: list[Array] = []
        self.yields: list[float] = []  # moments at first yield, N mm/mm

    def climb_rungs(self, lifts: Array) -> None:
        """Keep solutions of the case at these lifts (mm), where there are any."""
        for lift in lifts:
            if self.cold_start(self.case, float(lift)).status == SOLVED:
                self._keep(self._place(self.case, float(lift)))

    def near(self, case: Case, lift: float) -> SteadyPass:
        """Solve a pass by a warm start; by a cold start where that fails."""
        found = self.warm_start(case, lift)
        if found is None:
            found = self.cold_start(case, lift)
            self._keep_good(found, self._place(case, lift))
        return found

    def warm_start(self, case: Case, lift: float) -> SteadyPass | None:
        """Solve a pass from the nearest solution kept; None where that fails."""
        if not self.starts or lift >= jam_lift(case.machine, case.sheet.thickness):
            return None
        setting = self._setting(case, lift)
        place = self._place(case, lift)
        apart = np.abs(np.array(self.places) - place) @ _WEIGHTS
        start = int(np.argmin(apart))
        continuation.copy_solution(self.starts[start], self.solution)
        self._scale(setting.strip.first_yield / self.yields[start])
        status, spent = self._approach(setting, lift)
        if status != shooting.CONVERGED:
            return None
        found = self._end(case, setting, lift, status, spent)
        self._keep_good(found, place)
        return found

    def _scale(self, ratio: float) -> None:
        """Scale the forces of the solution to sheet that is so much stronger."""
        rows = int(self.solution.mesh[2])
        self.solution.path[:rows, _FORCES] *= ratio
        self.solution.q[[DRIVE, REAR_Y]] *= ratio

    def _keep_good(self, found: SteadyPass, place: Array) -> None:
        if found.status == SOLVED and len(self.starts) < MOST_STARTS:
            self._keep(place)

    def _keep(self, place: Array) -> None:
        """Keep the present solution as a start for what lies near it."""
        rows = int(self.solution.mesh[2])
        kept = shooting.Solution(
            states=self.solution.states.copy(),
            q=self.solution.q.copy(),
            path=self.solution.path[:rows].copy(),
            mesh=self.solution.mesh.copy(),
        )
        self.starts.append(kept)
        self.yields.append(self.first_yield)
        self.places.append(place)

    @staticmethod
    def _place(case: Case, lift: float) -> Array:
        """Where a case lies among its variations: logarithms, so that ratios count."""
        sheet, nip = case.sheet, case.machine.nip
        material = sheet.material
        sizes = np.zeros(LIFT + 1)
        sizes[THICKNESS], sizes[LIFT] = sheet.thickness, lift
        sizes[YIELD] = material.yield_strength
        sizes[TANGENT], sizes[YOUNGS] = (
            material.tangent_modulus,
            material.youngs_modulus,
        )
        sizes[CLAMP], sizes[STIFFNESS] = nip.clamp or 0.0, nip.stiffness or 0.0
        places: Array = np.log(np.maximum(sizes, 1.0e-3))
        return places


def _varied(case: Case, row: Array) -> Case:
    """Give a case with the parameters of a row; NaN leaves the case's own."""
    metal = {
        key: float(row[column])
        for key, column in _OF_METAL.items()
        if not np.isnan(row[column])
    }
    changes: dict[str, object] = {
        key: float(row[column])
        for key, column in _OF_CASE.items()
        if not np.isnan(row[column])
    }
    changes["sheet.material"] = rebuilt(case.sheet.material, metal)
    return case.replace(changes)


def _chunk(job: tuple[Case, Way, Array, float, int]) -> list[SteadyPass]:
    case, way, parameters, natural, rungs = job
    solver = Neighbours(case, way, natural)
    lifts = parameters[:, LIFT]
    solver.climb_rungs(np.unique(np.quantile(lifts, np.linspace(0.0, 1.0, rungs))))
    return [solver.near(_varied(case, row), float(row[LIFT])) for row in parameters]


def solve_many(
    case: Case,
    way: Way,
    parameters: Array,
    *,
    natural_curvature: float = 0.0,
    workers: int | None = None,
    chunk: int = 500,
    rungs: int = 3,
) -> list[SteadyPass]:
    """Solve many passes that vary a case; in order, the same for any ``workers``.

    Parameters
    ----------
    parameters : (n, 7) thickness (mm), yield strength, tangent and Young's modulus
        (MPa), clamp (N/mm), stiffness (N/mm per mm), lift (mm); NaN takes the case's
        own, but for the lift
    workers : processes; None takes all cores
    chunk : rows that share first guesses
    rungs : first guesses of a chunk, solutions of the case over its lifts
    """
    rows = np.atleast_2d(np.asarray(parameters, dtype=np.float64))
    parts = [rows[i : i + chunk] for i in range(0, rows.shape[0], chunk)]
    jobs = [(case, way, part, natural_curvature, rungs) for part in parts]
    with parallel.workers(workers, len(jobs)) as do_all:
        return [item for part in do_all(_chunk, jobs) for item in part]

"""Sheet outside the machine, under dead loads and held nodes.

The rolls' equilibrium knows neither. They are added here to the package's own forces
and tangent; everything else is left to it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.errors import SolverError
from pinchline.physics.beam import Chain, lay_out
from pinchline.physics.support import SUPPORT
from pinchline.solvers.stepped.equilibrium.assembly import Tooling, assemble, workspace
from pinchline.solvers.stepped.equilibrium.banded_solve import factor, solve
from pinchline.solvers.stepped.equilibrium.commit import PEAKS, commit, let_go
from pinchline.solvers.stepped.equilibrium.step_control import move, prepare

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.physics.beam import Beam

X, Y, THETA = range(3)
NO_ROLLS = Tooling(
    rolls=np.zeros((0, 6)),
    supports=np.zeros((0, SUPPORT)),
    arms=np.zeros((2, 3)),
    foundation=0.0,
    driven=-1,
    xi=0.0,
    offset=0.0,
)
MOST_TURN = 0.3  # rad in one iteration
MOST_ITERATIONS = 100


class SheetCopy(NamedTuple):
    """What a step changes of a held sheet: its chain and its energies, copied."""

    chain: Chain
    energies: NDArray[np.float64]


class HeldSheet:
    """A sheet whose nodes are loaded and held by hand.

    ``rounding``: of a force, in units of ``EI / length^2``. ``energies`` (3) as the
    kernels keep them: elastic of bending, plastic, elastic of stretch and shear.
    """

    def __init__(self, beam: Beam, chain: Chain) -> None:
        n = int(chain.moment.shape[0])
        self.beam, self.chain = beam, chain
        self.elements, self.length = n, n * beam.length
        unit = beam.bending / self.length**2
        self.rounding = 1.0e-15 * n * beam.axial / unit
        self.size = 3 * (n + 1)
        self.work = workspace(n, 0)
        self.loads = np.zeros(self.size)
        self.held: dict[int, float] = {}
        self.peaks = np.zeros((n, PEAKS))
        self.energies = np.zeros(3)

    def copy(self) -> SheetCopy:
        """Copy all that an equilibrium changes."""
        chain = Chain(*(array.copy() for array in self.chain))
        return SheetCopy(chain, self.energies.copy())

    def restore(self, kept: SheetCopy) -> None:
        """Go back to a copy, which stays good."""
        for array, copy in zip(self.chain, kept.chain, strict=True):
            array[:] = copy
        self.energies[:] = kept.energies

    def lay_out(self) -> None:
        """Place the nodes by the curvature alone, from the first node on."""
        c = self.chain
        lay_out(c.x, c.y, c.theta, c.curvature, self.beam.length, 0, self.elements)

    def push(self, node: int, direction: int, force: float) -> None:
        """Dead load: force along X or Y (N/mm), or a moment about THETA."""
        self.loads[3 * node + direction] = force

    def hold(self, node: int, direction: int, value: float = 0.0) -> None:
        """Hold a position (X, Y) or a rotation (THETA) of a node at a value."""
        self.held[3 * node + direction] = value

    def clamp(self, node: int = 0) -> None:
        """Hold all of a node where it is."""
        for direction in (X, Y, THETA):
            unknown = 3 * node + direction
            self.held[unknown] = self._place(unknown)

    def reaction(self, node: int, direction: int) -> float:
        """Force that the last equilibrium asks of a node."""
        return float(self.work.forces[3 * node + direction])

    def settle(self) -> None:
        """Equilibrium under the dead loads and held nodes, accepted.

        Raises
        ------
        SolverError
            A hundred iterations do not find it; nothing is accepted.
        """
        scale = self.beam.bending / self.length**2
        moments = np.ones(self.size)
        moments[THETA::3] = self.length
        for _ in range(MOST_ITERATIONS):
            self._forces()
            free = self.work.forces[: self.size] - self.loads
            gaps = {i: value - self._place(i) for i, value in self.held.items()}
            free[list(self.held)] = 0.0
            worst = np.max(np.abs(free) / moments) / scale
            far = max((abs(gap) for gap in gaps.values()), default=0.0)
            if worst < self.rounding and far < 1.0e-13 * self.length:
                break
            self._step(free, gaps)
        else:
            message = f"no equilibrium: residual {worst:.1e} of EI / L^2"
            raise SolverError(message)
        self._accept()

    def release(self) -> None:
        """Take all loads off: no moment anywhere."""
        let_go(
            self.beam,
            self.chain,
            self.work.scratch,
            self.energies,
            0,
            self.elements,
        )

    def _accept(self) -> None:
        commit(
            self.beam,
            self.chain,
            0,
            self.elements,
            self.work.scratch,
            self.peaks,
            1,
            self.energies,
        )

    def _forces(self) -> None:
        assemble(
            self.beam,
            self.chain,
            NO_ROLLS,
            self.work,
            self.work.forces,
            0,
            self.elements,
            False,  # noqa: FBT003 - kernels take no keywords
        )

    def _place(self, unknown: int) -> float:
        node, direction = divmod(unknown, 3)
        places = (self.chain.x, self.chain.y, self.chain.theta)
        return float(places[direction][node])

    def _step(self, free: NDArray[np.float64], gaps: dict[int, float]) -> None:
        work, size = self.work, self.size
        right = work.right
        right[:] = 0.0
        right[:size, 0] = -free
        for i, gap in gaps.items():
            for d in range(1, 6):
                right[i + d, 0] -= work.band[i, d] * gap
                work.band[i, d] = 0.0
                if i >= d:
                    right[i - d, 0] -= work.band[i - d, d] * gap
                    work.band[i - d, d] = 0.0
            work.band[i, 0] = 1.0
        for i, gap in gaps.items():
            right[i, 0] = gap
        right[size:] = 0.0
        factor(work.band, size)
        solve(work.band, size, right)
        prepare(self.beam, self.chain, work, 0, self.elements)
        turn = float(np.max(np.abs(right[THETA:size:3, 0])))
        share = min(1.0, MOST_TURN / turn) if turn > 0.0 else 1.0
        move(self.chain, work, 0, self.elements, share)

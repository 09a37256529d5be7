"""A rig for strips of sheet: dead loads, held ends, rolls.

The package has no dead loads: its sheet is moved by rolls. The rig adds them, and held
nodes, to the package's own forces and tangent, and leaves everything else to it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.errors import SolverError
from pinchline.physics.banded import factor, solve
from pinchline.physics.beam import Beam, Chain, strains
from pinchline.physics.history import PEAKS, commit, let_go
from pinchline.physics.newton import (
    CONVERGED,
    Limits,
    Tooling,
    _assemble,
    _move,
    _prepare,
    equilibrate,
    workspace,
)
from pinchline.physics.support import SUPPORT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.process.layers import SectionLaw

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


class Strip:
    """A straight strip of sheet, node 0 at the origin, along x.

    ``rigidity`` of stretch and ``shear_rigidity`` in units of ``EI / length^2``; size
    of the strip in mm.
    """

    def __init__(
        self,
        law: SectionLaw,
        length: float,
        elements: int,
        thickness: float,
        *,
        rigidity: float = 1.0e7,
        shear_rigidity: float | None = None,
    ) -> None:
        n = elements
        unit = law.bending / length**2
        self.rounding = 1.0e-15 * n * rigidity  # of a force, in those units
        self.elements, self.length, self.law = n, length, law
        self.beam = Beam(
            axial=rigidity * unit,
            shear=(shear_rigidity or rigidity) * unit,
            bending=law.bending,
            length=length / n,
            half=thickness / 2.0,
            first_yield=law.first_yield,
            weight=0.0,
            law=law.law,
            layers=law.layers,
        )
        self.chain = Chain(
            x=np.linspace(0.0, length, n + 1),
            y=np.zeros(n + 1),
            theta=np.zeros(n + 1),
            axial=np.zeros(n),
            shear=np.zeros(n),
            curvature=np.zeros(n),
            moment=np.zeros(n),
            low=np.full(n, law.low),
            high=np.full(n, law.high),
            anchor=np.zeros(n),
            history=np.repeat(law.virgin[np.newaxis], n, axis=0),
        )
        self.size = 3 * (n + 1)
        self.work = workspace(n, 0)
        self.loads = np.zeros(self.size)
        self.held: dict[int, float] = {}
        self.peaks = np.zeros((n, PEAKS))
        self.energies = np.zeros(3)

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
            A hundred iterations do not find it.
        """
        scale = self.beam.bending / self.length**2
        moments = np.ones(self.size)
        moments[THETA::3] = self.length
        for _ in range(100):
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

    def internal(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give the nodes' forces as they stand, and their tangent (size, size)."""
        c = self.chain
        for e in range(self.elements):
            stretch, shear, *_ = strains(c.x, c.y, c.theta, e, self.beam.length)
            c.axial[e] = self.beam.axial * stretch
            c.shear[e] = self.beam.shear * shear
        self._forces()
        size, band = self.size, self.work.band
        tangent = np.zeros((size, size))
        for d in range(6):
            column = np.diag(band[: size - d, d], -d)
            tangent += column + (column.T if d else 0.0)
        return self.work.forces[:size].copy(), tangent

    def settle_between(
        self,
        rolls: NDArray[np.float64],
        foundation: float,
        driven: int,
        xi: float = 0.0,
    ) -> None:
        """Equilibrium between rolls by the package's own iteration, accepted.

        ``rolls (rolls, 6)``: axis, reach, travel to make; they are moved.

        Raises
        ------
        SolverError
            The iteration does not end.
        """
        limits = Limits(
            force=self.rounding * self.beam.bending / self.length**2,
            length=1.0e-12 * self.length,
            iterations=60,
            turn=0.2,
        )
        tooling = NO_ROLLS._replace(
            rolls=rolls,
            supports=np.zeros((rolls.shape[0], SUPPORT)),
            foundation=foundation,
            driven=driven,
            xi=xi,
        )
        status, _ = equilibrate(
            self.beam, self.chain, tooling, limits, self.work, 0, self.elements
        )
        if status != CONVERGED:
            message = f"no equilibrium: residual {self.work.report[1]:.2e} N/mm"
            raise SolverError(message)
        rolls[:, 3:] = 0.0
        self._accept()

    def release(self) -> None:
        """Take the strip out: no load, no hold, no moment anywhere."""
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
        _assemble(
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
        _prepare(self.beam, self.chain, work, 0, self.elements)
        turn = float(np.max(np.abs(right[THETA:size:3, 0])))
        share = min(1.0, MOST_TURN / turn) if turn > 0.0 else 1.0
        _move(self.chain, work, 0, self.elements, share)


def bent_and_released(
    law: SectionLaw,
    thickness: float,
    curvature: float,
    *,
    steps: int = 4,
    elements: int = 4,
) -> float:
    """Curvature (1/mm) that is left of a uniform bend, through beam and release.

    The strip is held at one end and its other end is turned; then it is let go.

    Raises
    ------
    SolverError
        The bend, or what is left of it, is not uniform.
    """
    strip = Strip(law, 20.0 * thickness, elements, thickness)
    strip.clamp()
    for share in np.linspace(0.0, 1.0, steps + 1)[1:]:
        strip.hold(elements, THETA, share * curvature * strip.length)
        strip.settle()
    bent = strip.chain.curvature.copy()
    strip.release()
    left = strip.chain.curvature
    slack = 1.0e-12 * abs(curvature)
    if not np.allclose(bent, curvature, rtol=1.0e-9):
        message = "the bend is not uniform"
        raise SolverError(message)
    if not np.allclose(left, left[0], rtol=1.0e-9, atol=slack):
        message = "what is left of the bend is not uniform"
        raise SolverError(message)
    return float(left[0])

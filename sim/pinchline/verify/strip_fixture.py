"""A fixture for strips of sheet under dead loads, constrained ends or rolls."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.errors import SolverError
from pinchline.physics.beam import Beam, Chain, strains
from pinchline.physics.rolls import TRAVEL_X
from pinchline.physics.support import SUPPORT
from pinchline.solvers.stepped.equilibrium.assembly import REPORT_RESIDUAL
from pinchline.solvers.stepped.equilibrium.newton import (
    CONVERGED,
    StopCriteria,
    equilibrate,
)
from pinchline.solvers.stepped.loaded_strip import NO_ROLLS, THETA, HeldSheet, X, Y

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.solvers.layers import SectionLaw

__all__ = ["THETA", "StripFixture", "X", "Y", "bent_and_released"]


class StripFixture(HeldSheet):
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
        self.law = law
        beam = Beam(
            axial=rigidity * unit,
            shear=(shear_rigidity or rigidity) * unit,
            bending=law.bending,
            length=length / n,
            half=thickness / 2.0,
            first_yield=law.first_yield,
            weight=0.0,
            bulge=0.0,
            own=1.0,
            law=law.law,
            layers=law.layers,
        )
        chain = Chain(
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
        super().__init__(beam, chain)

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
        limits = StopCriteria(
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
            message = (
                f"no equilibrium: residual {self.work.report[REPORT_RESIDUAL]:.2e} N/mm"
            )
            raise SolverError(message)
        rolls[:, TRAVEL_X:] = 0.0
        self._accept()


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
    strip = StripFixture(law, 20.0 * thickness, elements, thickness)
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

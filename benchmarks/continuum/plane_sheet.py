"""The sheet in our own elements, those of ``plane``; nip rigid, solved in bands."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from mesh import Mesh, sheet_block
from plane import ROLL_RESULTS, Metal, Solid, add_elements, add_roll, gradients
from rolling import HOLDING, Rolling
from scipy.linalg import LinAlgError, solve_banded, solveh_banded

from pinchline.solvers.layers import plastic_modulus

if TYPE_CHECKING:
    from mesh import Array, Numbers
    from programme import Fineness

    from pinchline.case.case import Case


class PlaneSheet(Rolling):
    """A sheet between rolls in eight-node quadrilaterals."""

    def __init__(self, case: Case, fineness: Fineness, hold: str = "nip") -> None:
        super().__init__(case, fineness, hold)
        if case.machine.nip.gives:
            message = f"{case.path}: the rolls of plane.py stand still; use --library"
            raise ValueError(message)
        mesh, sheet = Mesh(), case.sheet
        block = sheet_block(mesh, self.columns, sheet.thickness, fineness.rows)
        self.top, self.bottom = _faces(block[:, -1]), _faces(block[:, 0])
        self.middle = block[:, fineness.rows] - 1
        self.corner_top, self.corner_bottom = block[::2, -1] - 1, block[::2, 0] - 1
        places = np.array(mesh.nodes)
        elements = np.array(mesh.elements) - 1
        slopes, weights = gradients(places, elements)
        n = elements.shape[0]
        self.solid = Solid(
            places, elements, slopes, weights, np.zeros((n, 4, 4)), np.zeros((n, 4))
        )
        m = sheet.material
        self.metal = Metal(
            bulk=m.youngs_modulus / (3.0 * (1.0 - 2.0 * m.poisson_ratio)),
            shear=m.youngs_modulus / (2.0 * (1.0 + m.poisson_ratio)),
            strength=m.yield_strength,
            hard=plastic_modulus(m.youngs_modulus, m.tangent_modulus),
        )
        c, s = math.cos(self.tilt) - 1.0, math.sin(self.tilt)
        self.u = (places @ np.array([[c, s], [-s, c]])).ravel()
        self.width = 2 * int(np.max(np.ptp(elements, axis=1))) + 2
        self.band = np.zeros((self.width, self.u.size))
        self.new = (self.solid.plastic.copy(), self.solid.slip.copy())
        self.forces = np.zeros((3, ROLL_RESULTS))

    def residual(self, u: Array, *, stiff: bool) -> Array:
        """Unbalanced forces; fills the band, the roll forces and the trial history."""
        force = np.zeros(u.size)
        if stiff:
            self.band[:] = 0.0
        add_elements(self.solid, self.metal, u, *self.new, force, self.band, stiff)
        self.forces[:] = 0.0
        for i, roll in enumerate(self.rolls()):
            faces = self.top if i == 0 else self.bottom
            add_roll(
                self.solid.places,
                faces,
                u,
                roll,
                self.push[i],
                force,
                self.band,
                stiff,
                self.forces[i],
            )
        e, xi, shift = self.held()
        nodes = self.middle[2 * e : 2 * e + 3]
        shares = (0.5 * xi * (xi - 1.0), 1.0 - xi * xi, 0.5 * xi * (xi + 1.0))
        gap = float(np.dot(shares, u[2 * nodes])) - shift
        self.drive = -HOLDING * gap
        for a, na in zip(shares, nodes, strict=True):
            force[2 * na] += HOLDING * gap * a
            if stiff:
                for b, nb in zip(shares, nodes, strict=True):
                    if na >= nb:
                        self.band[2 * (na - nb), 2 * nb] += HOLDING * a * b
        return force

    def solve(self, right: Array) -> Array:
        """Solve the tangent; it may lose its definiteness on the way to a solution."""
        try:
            return np.asarray(solveh_banded(self.band, right, lower=True))
        except LinAlgError:
            w = self.width
            full = np.zeros((2 * w - 1, right.size))
            full[w - 1 :] = self.band
            for d in range(1, w):
                full[w - 1 - d, d:] = self.band[d, : right.size - d]
            return np.asarray(solve_banded((w - 1, w - 1), full, right))

    def keep(self) -> None:
        """Make the last trial history the metal's."""
        self.solid.plastic[:] = self.new[0]
        self.solid.slip[:] = self.new[1]

    def corners(self) -> tuple[Array, Array, Array]:
        """Places of the corner columns now."""
        now = self.solid.places + self.u.reshape(-1, 2)
        return now[self.corner_top], now[self.middle[::2]], now[self.corner_bottom]

    def pushes(self) -> Array:
        """Forces of the last residual."""
        return self.forces


def _faces(line: Numbers) -> Numbers:
    """Faces of three nodes, counted from 0, along a line of node numbers."""
    return np.stack((line[:-2:2], line[1:-1:2], line[2::2]), axis=1) - 1

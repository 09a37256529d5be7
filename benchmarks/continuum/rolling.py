"""The moves of a case on the plane continuum of ``plane``, step by step.

Newton with a banded solve; the point of the mid-line that is on the nip line is held
along x, as in the engine, or one edge, as in the CalculiX model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from history import History
from mesh import Mesh, sheet_block
from plane import ROLL_RESULTS, Metal, Solid, add_elements, add_roll, gradients
from programme import (
    Fineness,
    clearance,
    columns_of,
    play,
    schedule_of,
    start_of,
    toward_rear,
)
from scipy.linalg import LinAlgError, solve_banded, solveh_banded

from pinchline.model.checks import rear_roll_centre
from pinchline.process.layers import plastic_modulus

if TYPE_CHECKING:
    from mesh import Array, Numbers

    from pinchline.model.case import Case

HOLDING = 1.0e5  # N/mm per mm: the drive of 1 N/mm moves the held point by 1e-5 mm
TOLERANCE = 1.0e-5  # N/mm at any node; the rear roll pushes with 1 N/mm
ITERATIONS = 30
FINEST = 64  # parts of a step that is cut
LINE_TRIALS = 6


class NoEquilibriumError(Exception):
    """A step found no equilibrium even in its smallest parts."""


@dataclass
class Continuum:
    """A sheet between rolls; lengths mm, forces N per mm of width."""

    case: Case
    fineness: Fineness
    hold: str = "nip"
    rows: list[tuple[Any, ...]] = field(default_factory=list)

    def __post_init__(self) -> None:
        case, mesh = self.case, Mesh()
        sheet = case.sheet
        self.columns = columns_of(case, self.fineness)
        block = sheet_block(mesh, self.columns, sheet.thickness, self.fineness.rows)
        self.top, self.bottom = _faces(block[:, -1]), _faces(block[:, 0])
        self.middle = block[:, self.fineness.rows] - 1
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
        tilt, self.lift = play(case)
        c, s = math.cos(tilt) - 1.0, math.sin(tilt)
        self.u = (places @ np.array([[c, s], [-s, c]])).ravel()
        self.fed = 0.0
        self.width = 2 * int(np.max(np.ptp(elements, axis=1))) + 2
        self.band = np.zeros((self.width, self.u.size))
        self.new = (self.solid.plastic.copy(), self.solid.slip.copy())
        self.forces = np.zeros((3, ROLL_RESULTS))
        self.push = self.fineness.stiffness(case)
        self.drive = 0.0
        self.before: tuple[Array, float, float] | None = None

    def rolls(self) -> Array:
        """Axis and radius of the three rolls, in the frame of the sheet."""
        machine, t = self.case.machine, self.case.sheet.thickness
        radii = machine.rolls
        half = 0.5 * (t + clearance(self.case))
        x, y = rear_roll_centre(machine, t, self.lift)
        return np.array(
            [
                [-self.fed, radii.upper_radius + half, radii.upper_radius],
                [-self.fed, -radii.lower_radius - half, radii.lower_radius],
                [x - self.fed, y, radii.rear_radius],
            ]
        )

    def held(self) -> tuple[Numbers, Array, float]:
        """Nodes, their shares, and the x at which their weighted mean is held."""
        if self.hold == "nip":
            e = int(np.searchsorted(self.columns, -self.fed, side="right")) - 1
            e = min(max(e, 0), self.columns.size - 2)
            low, high = self.columns[e], self.columns[e + 1]
            xi = 2.0 * (-self.fed - low) / (high - low) - 1.0
            shares = np.array(
                [0.5 * xi * (xi - 1.0), 1.0 - xi * xi, 0.5 * xi * (xi + 1.0)]
            )
            return self.middle[2 * e : 2 * e + 3], shares, 0.0
        edge = 0 if toward_rear(self.case) else -1
        place = self.solid.places[self.middle[edge], 0]
        return (
            self.middle[edge : edge + 1 or None],
            np.ones(1),
            place * (math.cos(play(self.case)[0]) - 1.0),
        )

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
        nodes, shares, target = self.held()
        gap = float(shares @ u[2 * nodes]) - target
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

    def settle(self) -> bool:
        """Iterate to equilibrium; False where it is not found."""
        u = self.u
        for _ in range(ITERATIONS):
            force = self.residual(u, stiff=True)
            if float(np.max(np.abs(force))) < TOLERANCE:
                self.u = u
                return True
            step = self.solve(-force)
            if not np.all(np.isfinite(step)):
                return False
            u = u + self._share(u, step, float(step @ force)) * step
        return False

    def _share(self, u: Array, step: Array, start: float) -> float:
        """Share of a step at which its work is done: line search by false position."""
        low, high, share = 0.0, math.inf, 1.0
        at_low, at_high = start, math.nan
        for _ in range(LINE_TRIALS):
            work = float(step @ self.residual(u + share * step, stiff=False))
            if abs(work) <= 0.7 * abs(start):
                break
            if work * start > 0.0:
                break  # not yet at the minimum: a full step is as good as any
            high, at_high = share, work
            share = low + (high - low) * at_low / (at_low - at_high)
            share = max(share, 0.1 * high)
        return share

    def move(self, lift: float, fed: float, stage: int) -> None:
        """Go to a lift and feed, in parts where one step finds no equilibrium."""
        start = (self.lift, self.fed)
        parts, done = 1, 0.0
        while done < 1.0 - 1.0e-12:
            kept = (self.u.copy(), self.lift, self.fed)
            goal = min(1.0, done + 1.0 / parts)
            self._guess(
                start[0] + goal * (lift - start[0]), start[1] + goal * (fed - start[1])
            )
            if self.settle():
                self.before = kept
                self._accept(stage)
                done = goal
                continue
            self.u, self.lift, self.fed = kept
            self.before = None
            parts *= 2
            if parts > FINEST:
                message = f"at lift {self.lift:.4f}, fed {self.fed:.4f} mm"
                raise NoEquilibriumError(message)

    def _guess(self, lift: float, fed: float) -> None:
        """Extend the last two states where they were on the same way."""
        if self.before is not None:
            u, lift0, fed0 = self.before
            last = np.array([self.lift - lift0, self.fed - fed0])
            coming = np.array([lift - self.lift, fed - self.fed])
            along = float(last @ coming) / float(last @ last)
            if np.allclose(coming, along * last, atol=1.0e-9) and along > 0.0:
                self.u = self.u + along * (self.u - u)
        self.lift, self.fed = lift, fed

    def _accept(self, stage: int) -> None:
        self.residual(self.u, stiff=False)
        self.solid.plastic[:] = self.new[0]
        self.solid.slip[:] = self.new[1]
        now = self.solid.places + self.u.reshape(-1, 2)
        across = now[self.corner_top] - now[self.corner_bottom]
        force = np.hypot(self.forces[:, 0], self.forces[:, 1])
        total = np.where(self.forces[:, 3] > 0.0, self.forces[:, 3], np.nan)
        middle = now[self.middle[::2]]
        self.rows.append(
            (
                stage,
                self.lift,
                self.fed,
                force,
                self.forces[:, 2] / total + self.fed,
                self.drive,
                np.unwrap(np.arctan2(-across[:, 0], across[:, 1])),
                middle[:, 0] + self.fed,
                middle[:, 1],
            )
        )

    def run(self) -> History:
        """Make all moves of the case."""
        schedule = schedule_of(self.case, self.fineness)
        if not self.settle():
            message = "as placed"
            raise NoEquilibriumError(message)
        self._accept(0)
        ends = pairwise(schedule)
        for stage, (before, after) in enumerate(ends, 1):
            self.before = None
            count = round(after[0] - before[0])
            for share in np.linspace(0.0, 1.0, count + 1)[1:]:
                lift, fed = before[1:] + share * (after[1:] - before[1:])
                self.move(float(lift), float(fed), stage)
        return History(
            start_of(self.case) + self.columns,
            start_of(self.case),
            *(np.array(column) for column in zip(*self.rows, strict=True)),
        )


def _faces(line: Numbers) -> Numbers:
    """Faces of three nodes, counted from 0, along a line of node numbers."""
    return np.stack((line[:-2:2], line[1:-1:2], line[2::2]), axis=1) - 1

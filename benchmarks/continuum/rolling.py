"""The moves of a case on a plane continuum, step by step, whichever solver holds it.

Newton with a line search; the point of the mid-line that is on the nip line is held
along x, as in the engine, or one edge, as in the CalculiX model.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from history import History
from programme import (
    Fineness,
    clearance,
    columns_of,
    play,
    schedule_of,
    start_of,
    toward_rear,
)

from pinchline.case.checks import rear_roll_centre

if TYPE_CHECKING:
    from mesh import Array

    from pinchline.case.case import Case

HOLDING = 1.0e5  # N/mm per mm: the drive of 1 N/mm moves the held point by 1e-5 mm
TOLERANCE = 1.0e-5  # N/mm at any node; the rear roll pushes with 1 N/mm
ITERATIONS = 30
FINEST = 64  # parts of a step that is cut
LINE_TRIALS = 6


class NoEquilibriumError(Exception):
    """A step found no equilibrium even in its smallest parts."""


class Rolling(ABC):
    """A sheet between rolls; lengths mm, forces N per mm of width.

    Attributes
    ----------
    columns : places of the corner columns from the first nip line, mm
    u : unknowns, displacements among them
    lift, fed : where the rolls stand, mm
    push : pressure over overlap on each roll, MPa/mm
    drive : force along x that holds the sheet
    """

    u: Array
    drive: float = 0.0

    def __init__(self, case: Case, fineness: Fineness, hold: str = "nip") -> None:
        self.case, self.fineness, self.hold = case, fineness, hold
        self.columns = columns_of(case, fineness)
        self.push = fineness.stiffness(case)
        self.tilt, self.lift = play(case)
        self.fed = 0.0
        self.before: tuple[Array, float, float] | None = None
        self.rows: list[tuple[Any, ...]] = []

    @abstractmethod
    def residual(self, u: Array, *, stiff: bool) -> Array:
        """Unbalanced forces; with ``stiff`` the tangent is formed as well."""

    @abstractmethod
    def solve(self, right: Array) -> Array:
        """Solve with the tangent that was formed last."""

    @abstractmethod
    def keep(self) -> None:
        """Make the strains of ``u`` the metal's history."""

    @abstractmethod
    def corners(self) -> tuple[Array, Array, Array]:
        """Places (columns, 2) of top face, mid-line and bottom face now, mm."""

    @abstractmethod
    def pushes(self) -> Array:
        """Force x, y, its first moment along x, and total, of each roll (3, 4)."""

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

    def held(self) -> tuple[int, float, float]:
        """Column before the held point, place (-1 to 1) to the next, shift along x."""
        last = self.columns.size - 2
        if self.hold == "nip":
            e = int(np.searchsorted(self.columns, -self.fed, side="right")) - 1
            e = min(max(e, 0), last)
            low, high = self.columns[e], self.columns[e + 1]
            return e, float(2.0 * (-self.fed - low) / (high - low) - 1.0), 0.0
        e, xi, column = (0, -1.0, 0) if toward_rear(self.case) else (last, 1.0, -1)
        return e, xi, float(self.columns[column] * (math.cos(self.tilt) - 1.0))

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
                self.accept(stage)
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

    def accept(self, stage: int) -> None:
        """Keep the state, and its row of the record."""
        self.residual(self.u, stiff=False)
        forces = self.pushes()
        self.keep()
        top, middle, bottom = self.corners()
        across = top - bottom
        force = np.hypot(forces[:, 0], forces[:, 1])
        total = np.where(forces[:, 3] > 0.0, forces[:, 3], np.nan)
        self.rows.append(
            (
                stage,
                self.lift,
                self.fed,
                force,
                forces[:, 2] / total + self.fed,
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
        self.accept(0)
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

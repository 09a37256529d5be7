"""Offsets of the rolls from their positions, along the moves of a job.

The progress of a job is the number of the move, from 1, and the share of it done.
Across the width of a sheet the rolls' shafts stand elsewhere at every place and at
every step; a track carries that into the job of one place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

POINTS = 201  # of every move


@dataclass(frozen=True)
class Track:
    """Quantities along a job, ``(moves, POINTS, quantities)``.

    Shifts of the three rolls away from the sheet (mm), or forces (N/mm).
    """

    values: Array

    def at(self, move: int, share: float) -> Array:
        """Interpolate in a move (from 1) at a share (0..1) of it."""
        place = min(max(share, 0.0), 1.0) * (POINTS - 1)
        low = min(int(place), POINTS - 2)
        rest = place - low
        rows = self.values[move - 1]
        found: Array = (1.0 - rest) * rows[low] + rest * rows[low + 1]
        return found


class Log:
    """Takes down quantities of a running job, to be read as a track."""

    def __init__(self) -> None:
        self.rows: list[tuple[int, float, Array]] = []

    def note(self, move: int, share: float, values: Array) -> None:
        """Add the quantities of one accepted step."""
        self.rows.append((move, share, values))

    def track(self, moves: int) -> Track:
        """Resample; a move without steps keeps what the one before it ended with."""
        shares = np.linspace(0.0, 1.0, POINTS)
        last = np.zeros_like(self.rows[0][2]) if self.rows else np.zeros(0)
        values = np.zeros((moves, POINTS, last.size))
        for number in range(1, moves + 1):
            own = [row for row in self.rows if row[0] == number]
            places = np.array([0.0, *(share for _, share, _ in own)])
            table = np.array([last, *(numbers for _, _, numbers in own)])
            for column in range(last.size):
                values[number - 1, :, column] = np.interp(
                    shares, places, table[:, column]
                )
            last = table[-1]
        return Track(values)

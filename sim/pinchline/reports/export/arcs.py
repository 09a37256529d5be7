"""A curve as tangent arcs and lines within a tolerance.

Each stretch is fitted by a biarc: two arcs that leave the first point along its
tangent, meet smoothly and reach the last point along its tangent (K. M. Bolton, Biarc
curves, Computer-Aided Design 7 (1975) 89-92, from memory; here with equal tangent
lengths). As arcs join smoothly, lines at a fixed distance are made of concentric arcs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

FLAT_PER_MM = 1.0e-8  # 1/mm: a metre of it rises by a micrometre
_MIN_LINE_ELEMENTS = 4  # elements
_PARALLEL_SINE = 1.0e-12


@dataclass(frozen=True)
class TangentArc:
    """An arc, or a line where it does not turn.

    start, end : points, mm
    turn : from the first tangent to the last, rad, + to the left
    """

    start: tuple[float, float]
    end: tuple[float, float]
    turn: float

    @property
    def bulge(self) -> float:
        """Tangent of a quarter of the turn, as drawing files have it."""
        return math.tan(0.25 * self.turn)

    def away(self, x: Array, y: Array) -> Array:
        """Distance of points from the whole circle or line, mm."""
        dx, dy = self.end[0] - self.start[0], self.end[1] - self.start[1]
        chord = math.hypot(dx, dy)
        along = ((x - self.start[0]) * dx + (y - self.start[1]) * dy) / chord
        left = ((y - self.start[1]) * dx - (x - self.start[0]) * dy) / chord
        half = 0.5 * self.turn
        if abs(half) < FLAT_PER_MM:
            return np.abs(left)
        radius = 0.5 * chord / math.sin(half)
        centre = 0.5 * chord / math.tan(half)
        return np.abs(np.hypot(along - 0.5 * chord, left - centre) - abs(radius))


def fit_arcs(x: Array, y: Array, heading: Array, tolerance: float) -> list[TangentArc]:
    """Fit a curve by arcs and lines that join smoothly.

    Parameters
    ----------
    x, y : points, mm
    heading : direction of the curve in them, rad
    tolerance : largest distance of a point from what is fitted, mm

    Returns
    -------
    Pieces in order. Straight stretches become lines; the rest as few biarcs as a search
    from the start finds.
    """
    pieces: list[TangentArc] = []
    turn = np.abs(np.diff(heading)) <= FLAT_PER_MM * np.hypot(np.diff(x), np.diff(y))
    cuts = np.flatnonzero(np.diff(turn)) + 1
    bounds = [0, *cuts.tolist(), turn.size]
    waiting = 0  # first point that no piece has reached
    for start, end in pairwise(bounds):
        if turn[start] and end - start >= _MIN_LINE_ELEMENTS:
            pieces += _fit_biarcs(x, y, heading, waiting, start, tolerance)
            pieces.append(TangentArc((x[start], y[start]), (x[end], y[end]), 0.0))
            waiting = end
    return pieces + _fit_biarcs(x, y, heading, waiting, turn.size, tolerance)


def _fit_biarcs(
    x: Array, y: Array, heading: Array, start: int, end: int, tolerance: float
) -> list[TangentArc]:
    """Fit the points from ``start`` to ``end`` by the longest biarcs that serve."""
    pieces: list[TangentArc] = []
    while start < end:
        good, bad, reach = start + 1, end + 1, 2
        while good < end and good + 1 < bad:  # double the reach, then halve the doubt
            doubled = bad > end
            trial = min(start + reach, end) if doubled else (good + bad) // 2
            reach *= 2
            arcs = _biarc(x, y, heading, start, trial)
            if arcs and _deviation(arcs, x, y, start, trial) <= tolerance:
                good = trial
            else:
                bad = trial
        pieces += _biarc(x, y, heading, start, good) or [
            TangentArc((x[start], y[start]), (x[good], y[good]), 0.0)
        ]
        start = good
    return pieces


def _deviation(
    arcs: list[TangentArc], x: Array, y: Array, start: int, end: int
) -> float:
    """Largest distance (mm) from the biarc to the points between its ends."""
    px, py = x[start : end + 1], y[start : end + 1]
    first, second = arcs
    # the joint parts the points at the normal through it
    tx, ty = _direction(first), _direction(second)
    normal = (tx[0] + ty[0], tx[1] + ty[1])
    before = (px - first.end[0]) * normal[0] + (py - first.end[1]) * normal[1] < 0.0
    return float(np.max(np.where(before, first.away(px, py), second.away(px, py))))


def _direction(piece: TangentArc) -> tuple[float, float]:
    dx, dy = piece.end[0] - piece.start[0], piece.end[1] - piece.start[1]
    size = math.hypot(dx, dy)
    return dx / size, dy / size


def _biarc(
    x: Array, y: Array, heading: Array, start: int, end: int
) -> list[TangentArc]:
    """Two arcs between two points and their tangents; none where they turn back."""
    ends = [(float(x[i]), float(y[i])) for i in (start, end)]
    tangents = [(math.cos(heading[i]), math.sin(heading[i])) for i in (start, end)]
    (ax, ay), (bx, by) = tangents
    vx, vy = ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]
    over = vx * (ax + bx) + vy * (ay + by)
    square, apart = vx * vx + vy * vy, 2.0 * (1.0 - ax * bx - ay * by)
    if over <= 0.0 or abs(heading[end] - heading[start]) > math.pi:
        return []
    # positive root, written so that it holds for parallel tangents too
    reach = square / (over + math.sqrt(over * over + apart * square))
    joint = (
        0.5 * (ends[0][0] + ends[1][0] + reach * (ax - bx)),
        0.5 * (ends[0][1] + ends[1][1] + reach * (ay - by)),
    )
    first = _turn(tangents[0], ends[0], joint)
    second = -_turn((-bx, -by), ends[1], joint)
    return [TangentArc(ends[0], joint, first), TangentArc(joint, ends[1], second)]


def _turn(
    tangent: tuple[float, float],
    start: tuple[float, float],
    end: tuple[float, float],
) -> float:
    """Twice the angle from the tangent to the chord: what an arc turns, rad."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    across = tangent[0] * dy - tangent[1] * dx
    return 2.0 * math.atan2(across, tangent[0] * dx + tangent[1] * dy)


def offset_arcs(
    pieces: list[TangentArc], heading: float, offset: float
) -> list[TangentArc]:
    """Return the pieces of the line at a distance (mm, + to the left).

    ``heading`` is the direction at the start, rad.
    """
    moved, angle = [], heading
    for piece in pieces:
        after = angle + piece.turn
        points = [
            (point[0] - offset * math.sin(phi), point[1] + offset * math.cos(phi))
            for point, phi in ((piece.start, angle), (piece.end, after))
        ]
        moved.append(TangentArc(points[0], points[1], piece.turn))
        angle = after
    return moved

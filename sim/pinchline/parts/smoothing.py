"""Curvature of a line through drawn points, smoothed no more than they scatter.

The unknown is the curvature itself, linear between knots along s that lie as densely as
the points; the line is its exact integral, and its distance from the points is made
small together with the slope of the curvature. A circle keeps its curvature up to its
ends, which splines of x and y do not. How much slope costs is chosen by generalised
cross-validation (P. Craven, G. Wahba, Numer. Math. 31 (1979) 377-403), with degrees of
freedom counted 1.4 times so that scatter is not followed (Y.-J. Kim, C. Gu, J. R. Stat.
Soc. B 66 (2004) 337-356; both from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from threadpoolctl import threadpool_limits

from pinchline.parts.measure import Outline, free_outline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

MAX_KNOTS = 160
CELLS_PER_KNOT = 6  # of the line between knots
MAX_ROUNDS = 30
WEIGHT_ROUNDS = 4  # of them choose the weight of the slope anew
FREEDOM_PENALTY = 1.4
SLOPE_WEIGHTS = 10.0 ** np.arange(-14.0, 4.5, 1.0)
MIN_SCATTER_SHARE = 1.0e-7  # of the length: the least scatter that is looked for


class SmoothedCurvature(NamedTuple):
    """Curvature (1/mm) at knots s (mm) from the first point; rms scatter (mm)."""

    s: Array
    curvature: Array
    scatter: float


class _Frame(NamedTuple):
    """Knots and nodes of the line (mm); mean of every knot's hat over the cells."""

    knots: Array
    s: Array
    hats: Array  # (cells, knots)

    @property
    def cells(self) -> Array:
        """Length of the cells, mm."""
        cells: Array = np.diff(self.s)
        return cells

    @property
    def turned(self) -> Array:
        """Turn (rad) at every node that a unit of curvature at a knot makes."""
        rise = np.cumsum(self.hats * self.cells[:, np.newaxis], axis=0)
        return np.vstack((np.zeros(self.knots.size), rise))

    def cell(self, s: Array) -> NDArray[np.intp]:
        """Cell that every s lies in."""
        at = np.searchsorted(self.s, s, side="right") - 1
        return np.clip(at, 0, self.s.size - 2)


def fit_curvature(x: Array, y: Array) -> SmoothedCurvature:
    """Curvature of the smooth line through points in order (n, n >= 5), mm."""
    with threadpool_limits(limits=1, user_api="blas"):  # threads take 30 times as long
        return _fit(x, y)


def _fit(x: Array, y: Array) -> SmoothedCurvature:
    chords = np.hypot(np.diff(x), np.diff(y))
    heading = np.unwrap(np.arctan2(np.diff(y), np.diff(x)))
    reached = np.concatenate(([0.0], np.cumsum(chords)))
    frame = _frame(reached)
    curvature = _first_guess(reached, heading, frame)
    pose = np.array([x[0], y[0], heading[0] - 0.5 * curvature[0] * chords[0]])
    weight, scatter = SLOPE_WEIGHTS[-1], math.inf
    for turn in range(MAX_ROUNDS):
        line = _lay(pose, curvature, frame)
        reached = _feet(frame, line, x, y, reached)
        off, slopes = _misses(frame, line, x, y, reached)
        if turn < WEIGHT_ROUNDS:
            weight = _weight(off, slopes, curvature, frame)
        change = _step(off, slopes, curvature, weight, frame)
        pose, curvature = pose + change[:3], curvature + change[3:]
        before, scatter = scatter, float(np.sqrt(np.mean(off[1:] ** 2)))
        if abs(before - scatter) <= 1.0e-4 * scatter + MIN_SCATTER_SHARE * reached[-1]:
            break
    inside = frame.knots[frame.knots < reached[-1]]
    s = np.append(inside, reached[-1])
    return SmoothedCurvature(s, np.interp(s, frame.knots, curvature), scatter)


def _frame(reached: Array) -> _Frame:
    """Lay knots as densely as the points, with room for arcs longer than chords."""
    count = min(MAX_KNOTS, max(4, reached.size))
    at = np.linspace(0.0, reached.size - 1.0, count)
    knots = 1.02 * np.interp(at, np.arange(reached.size), reached)
    share = (np.arange(CELLS_PER_KNOT * (count - 1)) + 0.5) / CELLS_PER_KNOT
    left = share.astype(int)
    hats = np.zeros((share.size, count))
    rows = np.arange(share.size)
    hats[rows, left] = 1.0 - (share - left)
    hats[rows, left + 1] = share - left
    nodes = np.interp(
        np.arange(share.size + 1) / CELLS_PER_KNOT, np.arange(count), knots
    )
    return _Frame(knots, nodes, hats)


def _slope(frame: _Frame) -> Array:
    """Slope of the curvature between knots, over the line's scale, to be kept small."""
    apart, count = np.diff(frame.knots), frame.knots.size
    rows = np.zeros((count - 1, count + 3))
    rows[:, 3:] = (np.eye(count)[1:] - np.eye(count)[:-1]) / np.sqrt(apart)[
        :, np.newaxis
    ]
    scale: float = frame.s[-1] ** 2.5
    return rows * scale


def _first_guess(reached: Array, heading: Array, frame: _Frame) -> Array:
    """Curvature whose integral follows the headings of the chords, smoothed well."""
    middles = 0.5 * (reached[1:] + reached[:-1])
    columns = frame.turned.T
    rows = np.array([np.interp(middles, frame.s, column) for column in columns]).T
    table = np.column_stack((np.ones(middles.size), rows))
    smooth = 1.0e-2 * _slope(frame)[:, 2:] / frame.s[-1]
    zeros = np.zeros(smooth.shape[0])
    found, *_ = np.linalg.lstsq(
        np.vstack((table, smooth)), np.concatenate((heading, zeros)), rcond=None
    )
    guess: Array = found[1:]
    return guess


def _lay(pose: Array, curvature: Array, frame: _Frame) -> Outline:
    shape = free_outline(frame.hats @ curvature, frame.cells)
    c, sn = math.cos(pose[2]), math.sin(pose[2])
    return Outline(
        pose[0] + c * shape.x - sn * shape.y,
        pose[1] + sn * shape.x + c * shape.y,
        shape.theta + pose[2],
    )


def _at(frame: _Frame, line: Outline, s: Array) -> tuple[Array, Array, Array]:
    """Places and heading at s: within a cell the arc that its ends bound."""
    cell = frame.cell(s)
    run = s - frame.s[cell]
    bend = (line.theta[cell + 1] - line.theta[cell]) / frame.cells[cell]
    heading = line.theta[cell] + 0.5 * bend * run
    chord = run * np.sinc(0.5 * bend * run / np.pi)
    return (
        line.x[cell] + chord * np.cos(heading),
        line.y[cell] + chord * np.sin(heading),
        line.theta[cell] + bend * run,
    )


def _feet(frame: _Frame, line: Outline, x: Array, y: Array, reached: Array) -> Array:
    """Move every s to the point of the line nearest its drawn point; the first is 0."""
    for _ in range(3):
        px, py, heading = _at(frame, line, reached)
        reached = reached + (x - px) * np.cos(heading) + (y - py) * np.sin(heading)
        reached = np.clip(reached, 0.0, frame.s[-1])
        reached[0] = 0.0
    return reached


def _misses(
    frame: _Frame, line: Outline, x: Array, y: Array, reached: Array
) -> tuple[Array, Array]:
    """Signed distances (n + 1) of the points from the line, and their derivatives.

    The one more, first, is that of the first point along the line. Derivatives (n + 1,
    3 + knots) of the distances by start x, y, heading and the knots' curvature.
    """
    px, py, heading = _at(frame, line, reached)
    nx, ny = -np.sin(heading), np.cos(heading)
    turned, cell = frame.turned, frame.cell(reached)
    share = ((reached - frame.s[cell]) / frame.cells[cell])[:, np.newaxis]
    # a turn at a cell moves what follows it across the cell's heading
    middle = 0.5 * (line.theta[1:] + line.theta[:-1])
    mean = 0.5 * (turned[1:] + turned[:-1]) * frame.cells[:, np.newaxis]
    paths = []
    for part in (-np.sin(middle), np.cos(middle)):
        moved = np.cumsum(part[:, np.newaxis] * mean, axis=0)
        moved = np.vstack((np.zeros(frame.knots.size), moved))
        paths.append(moved[cell] * (1.0 - share) + moved[cell + 1] * share)
    lever = nx * -(py - py[0]) + ny * (px - px[0])
    by_knots = nx[:, np.newaxis] * paths[0] + ny[:, np.newaxis] * paths[1]
    slopes = np.column_stack((nx, ny, lever, by_knots))
    off = nx * (x - px) + ny * (y - py)
    tx, ty = math.cos(heading[0]), math.sin(heading[0])
    first = np.zeros(slopes.shape[1])
    first[:2] = tx, ty
    along = tx * (x[0] - px[0]) + ty * (y[0] - py[0])
    return np.concatenate(([along], off)), np.vstack((first, slopes))


def _system(
    off: Array, slopes: Array, curvature: Array, weight: float, frame: _Frame
) -> tuple[Array, Array]:
    smooth = math.sqrt(weight) * _slope(frame)
    right = np.concatenate((off, -smooth[:, 3:] @ curvature))
    return np.vstack((slopes, smooth)), right


def _step(
    off: Array, slopes: Array, curvature: Array, weight: float, frame: _Frame
) -> Array:
    table, right = _system(off, slopes, curvature, weight, frame)
    change: Array = np.linalg.lstsq(table, right, rcond=None)[0].astype(float)
    return change


def _weight(off: Array, slopes: Array, curvature: Array, frame: _Frame) -> float:
    """Weight of the slope by generalised cross-validation, linearised here."""
    n = off.size
    best, least = float(SLOPE_WEIGHTS[-1]), math.inf
    floor = n * (MIN_SCATTER_SHARE * frame.s[-1]) ** 2
    for weight in SLOPE_WEIGHTS[::-1]:
        table, right = _system(off, slopes, curvature, float(weight), frame)
        q = np.linalg.qr(table)[0]
        rest = off - q[:n] @ (q.T @ right)
        free = n - FREEDOM_PENALTY * float(np.sum(q[:n] ** 2))
        if free <= 0.05 * n:
            break
        score = (float(rest @ rest) + floor) / free**2
        if score < least:
            best, least = float(weight), score
    return best

"""Curvature of a line through drawn points, smoothed no more than they scatter.

The unknown is the curvature itself, linear between knots along s; the line is its exact
integral, and its distance from the points is made small together with the slope of the
curvature. A circle keeps its curvature up to its ends, which splines of x and y do not.
How much slope costs is chosen by generalised cross-validation (P. Craven, G. Wahba,
Numer. Math. 31 (1979) 377-403), with degrees of freedom counted 1.4 times so that
scatter is not followed (Y.-J. Kim, C. Gu, J. R. Stat. Soc. B 66 (2004) 337-356; both
from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.process.measure import Outline, free_outline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

MOST_KNOTS = 160
CELLS = 6  # of the line between knots
ROUNDS = 30
CHOOSING = 5  # of them choose the weight of the slope anew
FREEDOM = 1.4
WEIGHTS = 10.0 ** np.arange(-14.0, 4.5, 0.5)
ROUNDING = 1.0e-7  # of the length: the least scatter that is looked for


class Fit(NamedTuple):
    """Curvature (1/mm) at knots s (mm) from the first point; rms scatter (mm)."""

    s: Array
    curvature: Array
    scatter: float


class _Line(NamedTuple):
    """Places s of the nodes (mm), their shape, and the knots' hats over the cells."""

    s: Array
    shape: Outline
    hats: Array  # (cells, knots)


def fit_curvature(x: Array, y: Array) -> Fit:
    """Fit the line through points in order (n, n >= 5), mm."""
    chords = np.hypot(np.diff(x), np.diff(y))
    length = float(np.sum(chords)) * 1.02  # room for arcs longer than their chords
    knots = min(MOST_KNOTS, max(4, x.size))
    heading = np.unwrap(np.arctan2(np.diff(y), np.diff(x)))
    reached = np.concatenate(([0.0], np.cumsum(chords)))
    hats, s = _hats(length, knots)
    curvature = _first_guess(reached, heading, hats, s)
    pose = np.array([x[0], y[0], heading[0] - 0.5 * curvature[0] * chords[0]])
    weight, scatter = WEIGHTS[-1], math.inf
    for turn in range(ROUNDS):
        line = _lay(pose, curvature, hats, s)
        reached = _feet(line, x, y, reached)
        off, slopes = _misses(line, x, y, reached)
        if turn < CHOOSING:
            weight = _weight(off, slopes, curvature, length)
        change = _step(off, slopes, curvature, weight, length)
        pose, curvature = pose + change[:3], curvature + change[3:]
        before, scatter = scatter, float(np.sqrt(np.mean(off[1:] ** 2)))
        if abs(before - scatter) <= 1.0e-4 * scatter + ROUNDING * length:
            break
    end = float(reached[-1])
    at = np.linspace(0.0, end, knots)
    bent = np.interp(at, np.linspace(0.0, length, knots), curvature)
    return Fit(at, bent, scatter)


def _hats(length: float, knots: int) -> tuple[Array, Array]:
    """Mean of every knot's hat over the cells (cells, knots), and the nodes' s."""
    cells = CELLS * (knots - 1)
    share = (np.arange(cells) + 0.5) / CELLS
    at = np.minimum(share.astype(int), knots - 2)
    hats = np.zeros((cells, knots))
    rows = np.arange(cells)
    hats[rows, at] = 1.0 - (share - at)
    hats[rows, at + 1] = share - at
    return hats, np.linspace(0.0, length, cells + 1)


def _slope(knots: int, length: float) -> Array:
    """Slope of the curvature between knots times length^3, to be kept small."""
    apart = length / (knots - 1)
    rows = np.zeros((knots - 1, knots + 3))
    rows[:, 3:] = (np.eye(knots)[1:] - np.eye(knots)[:-1]) / apart
    return rows * length**3 / math.sqrt(knots - 1)


def _first_guess(reached: Array, heading: Array, hats: Array, s: Array) -> Array:
    """Curvature whose integral follows the headings of the chords, smoothed well."""
    middles = 0.5 * (reached[1:] + reached[:-1])
    turned = np.vstack((np.zeros(hats.shape[1]), np.cumsum(hats, axis=0)))
    turned *= s[1]
    rows = np.array([np.interp(middles, s, column) for column in turned.T]).T
    table = np.column_stack((np.ones(middles.size), rows))
    smooth = 1.0e-2 * _slope(hats.shape[1], float(s[-1]))[:, 2:] / s[-1]
    smooth[:, 0] = 0.0
    zeros = np.zeros(smooth.shape[0])
    found, *_ = np.linalg.lstsq(
        np.vstack((table, smooth)), np.concatenate((heading, zeros)), rcond=None
    )
    guess: Array = found[1:]
    return guess


def _lay(pose: Array, curvature: Array, hats: Array, s: Array) -> _Line:
    shape = free_outline(hats @ curvature, float(s[1]))
    c, sn = math.cos(pose[2]), math.sin(pose[2])
    turned = Outline(
        pose[0] + c * shape.x - sn * shape.y,
        pose[1] + sn * shape.x + c * shape.y,
        shape.theta + pose[2],
    )
    return _Line(s, turned, hats)


def _at(line: _Line, s: Array) -> tuple[Array, Array, Array]:
    """Places and heading at s: within a cell the arc that its ends bound."""
    cell = np.clip((s / line.s[1]).astype(int), 0, line.s.size - 2)
    run = s - line.s[cell]
    bend = (line.shape.theta[cell + 1] - line.shape.theta[cell]) / line.s[1]
    heading = line.shape.theta[cell] + 0.5 * bend * run
    chord = run * np.sinc(0.5 * bend * run / np.pi)
    return (
        line.shape.x[cell] + chord * np.cos(heading),
        line.shape.y[cell] + chord * np.sin(heading),
        line.shape.theta[cell] + bend * run,
    )


def _feet(line: _Line, x: Array, y: Array, reached: Array) -> Array:
    """Move every s to the point of the line nearest its drawn point; the first is 0."""
    for _ in range(3):
        px, py, heading = _at(line, reached)
        reached = reached + (x - px) * np.cos(heading) + (y - py) * np.sin(heading)
        reached = np.clip(reached, 0.0, line.s[-1])
        reached[0] = 0.0
    return reached


def _misses(line: _Line, x: Array, y: Array, reached: Array) -> tuple[Array, Array]:
    """Signed distances (n + 1) of the points from the line, and their derivatives.

    The one more, first, is that of the first point along the line. Derivatives (n + 1,
    3 + knots) of the distances by start x, y, heading and the knots' curvature.
    """
    px, py, heading = _at(line, reached)
    nx, ny = -np.sin(heading), np.cos(heading)
    turned = np.vstack((np.zeros(line.hats.shape[1]), np.cumsum(line.hats, axis=0)))
    turned *= line.s[1]
    # a turn at u moves the point at s by the turn times the lever between them
    middle = 0.5 * (line.shape.theta[1:] + line.shape.theta[:-1])
    mean = 0.5 * (turned[1:] + turned[:-1]) * line.s[1]
    paths = []
    for part in (-np.sin(middle), np.cos(middle)):
        moved = np.vstack(
            (
                np.zeros(line.hats.shape[1]),
                np.cumsum(part[:, np.newaxis] * mean, axis=0),
            )
        )
        cell = np.clip((reached / line.s[1]).astype(int), 0, line.s.size - 2)
        share = (reached / line.s[1] - cell)[:, np.newaxis]
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
    off: Array, slopes: Array, curvature: Array, weight: float, length: float
) -> tuple[Array, Array]:
    smooth = math.sqrt(weight) * _slope(curvature.size, length)
    right = np.concatenate((off, -smooth[:, 3:] @ curvature))
    return np.vstack((slopes, smooth)), right


def _step(
    off: Array, slopes: Array, curvature: Array, weight: float, length: float
) -> Array:
    table, right = _system(off, slopes, curvature, weight, length)
    change: Array = np.linalg.lstsq(table, right, rcond=None)[0].astype(float)
    return change


def _weight(off: Array, slopes: Array, curvature: Array, length: float) -> float:
    """Weight of the slope by generalised cross-validation, linearised here."""
    n = off.size
    best, least = float(WEIGHTS[-1]), math.inf
    floor = n * (ROUNDING * length) ** 2
    for weight in WEIGHTS[::-1]:
        table, right = _system(off, slopes, curvature, float(weight), length)
        q = np.linalg.qr(table)[0]
        rest = off - q[:n] @ (q.T @ right)
        free = n - FREEDOM * float(np.sum(q[:n] ** 2))
        if free <= 0.05 * n:
            break
        score = (float(rest @ rest) + floor) / free**2
        if score < least:
            best, least = float(weight), score
    return best

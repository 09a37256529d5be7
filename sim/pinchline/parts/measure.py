"""What is measured on the free part: flats, radius, springback, opening, crease."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

FLAT_CURVATURE = 1.0e-6  # 1/mm: less is no bend
PLATEAU_BAND = 0.10  # total width of the band of curvature that counts as one plateau


class Outline(NamedTuple):
    """Mid-line of the free part, its operator's edge level at the origin, mm, rad."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    theta: NDArray[np.float64]


class Circle(NamedTuple):
    """Circle of least orthogonal distance: centre, radius, rms residual, mm."""

    x: float
    y: float
    radius: float
    residual: float


def free_outline(
    curvature: NDArray[np.float64], length: float | NDArray[np.float64]
) -> Outline:
    """Shape of elements of ``length`` (mm) with residual ``curvature`` (1/mm).

    Each element is an arc, integrated exactly: its chord is ``sin(a)/a`` of its length,
    with ``a`` half the angle it turns.
    """
    theta = np.concatenate(([0.0], np.cumsum(curvature * length)))
    mean = 0.5 * (theta[:-1] + theta[1:])
    chord = length * np.sinc(0.5 * curvature * length / np.pi)
    x = np.concatenate(([0.0], np.cumsum(chord * np.cos(mean))))
    y = np.concatenate(([0.0], np.cumsum(chord * np.sin(mean))))
    return Outline(x, y, theta)


def straightedge_flat(
    outline: Outline, s: NDArray[np.float64], gap: float, *, from_end: bool
) -> float:
    """Length from an edge until a straightedge laid on it gapes by more than ``gap``.

    ``s`` (mm) of the nodes. The straightedge lies along the edge; between nodes the
    deviation is taken as linear.
    """
    x, y, theta = outline
    if from_end:
        x, y, theta, s = x[::-1], y[::-1], theta[::-1] + math.pi, s[::-1]
    away = np.abs(-(x - x[0]) * math.sin(theta[0]) + (y - y[0]) * math.cos(theta[0]))
    reached = np.abs(s - s[0])
    beyond = np.flatnonzero(away > gap)
    if beyond.size == 0:
        return float(reached[-1])
    i = int(beyond[0])
    share = (gap - away[i - 1]) / (away[i] - away[i - 1])
    return float(reached[i - 1] + share * (reached[i] - reached[i - 1]))


def moment_flat(
    peak: NDArray[np.float64], length: float, first_yield: float, *, from_end: bool
) -> float:
    """Length (mm) from an edge over which no moment reached first yield."""
    ratio = np.abs(peak[::-1] if from_end else peak) / first_yield
    beyond = np.flatnonzero(ratio >= 1.0)
    if beyond.size == 0:
        return float(peak.size * length)
    i = int(beyond[0])
    if i == 0:
        return 0.0
    share = (1.0 - ratio[i - 1]) / (ratio[i] - ratio[i - 1])
    return float((i - 0.5 + share) * length)


def fit_circle(x: NDArray[np.float64], y: NDArray[np.float64]) -> Circle:
    """Orthogonal-distance circle by Gauss-Newton from the algebraic fit.

    NaN where the points are fewer than three or straight to a millionth.
    """
    nothing = Circle(math.nan, math.nan, math.nan, math.nan)
    if x.size < 3:
        return nothing
    table = np.column_stack((x, y, np.ones_like(x)))
    (a, b, c), _, rank, _ = np.linalg.lstsq(table, x**2 + y**2, rcond=1.0e-12)
    if rank < 3:
        return nothing
    centre = np.array([a / 2.0, b / 2.0])
    radius = math.sqrt(max(c + centre @ centre, 0.0))
    span = float(np.hypot(np.ptp(x), np.ptp(y)))
    if radius > 1.0e6 * span or radius == 0.0:
        return nothing
    for _ in range(50):
        dx, dy = x - centre[0], y - centre[1]
        apart = np.hypot(dx, dy)
        jacobian = np.column_stack((-dx / apart, -dy / apart, -np.ones_like(apart)))
        step, *_ = np.linalg.lstsq(jacobian, radius - apart, rcond=None)
        centre += step[:2]
        radius += float(step[2])
        if float(np.max(np.abs(step))) < 1.0e-10 * radius:
            break
    apart = np.hypot(x - centre[0], y - centre[1])
    rms = float(np.sqrt(np.mean((apart - radius) ** 2)))
    return Circle(float(centre[0]), float(centre[1]), radius, rms)


def chord_and_rise(outline: Outline, start: int, stop: int) -> tuple[float, float]:
    """Chord (mm) between two nodes, and the largest rise of the part over it."""
    x, y = outline.x[start : stop + 1], outline.y[start : stop + 1]
    dx, dy = x[-1] - x[0], y[-1] - y[0]
    chord = math.hypot(dx, dy)
    if chord == 0.0:
        return 0.0, math.nan
    rise = np.abs(dx * (y - y[0]) - dy * (x - x[0])) / chord
    return chord, float(np.max(rise))


def plateau(curvature: NDArray[np.float64], least: float) -> tuple[int, int] | None:
    """Longest run of elements whose curvature stays in a band of ten percent.

    Elements below ``least`` (1/mm) in size count as flat. Returns first and one past
    the last element, or None where nothing is bent.
    """
    best: tuple[int, int] | None = None
    start = 0
    n = curvature.size
    rising: list[int] = []
    falling: list[int] = []
    for i in range(n):
        k = curvature[i]
        if abs(k) < least:
            start = i + 1
            rising, falling = [], []
            continue
        while rising and curvature[rising[-1]] >= k:
            rising.pop()
        while falling and curvature[falling[-1]] <= k:
            falling.pop()
        rising.append(i)
        falling.append(i)
        while True:
            low, high = curvature[rising[0]], curvature[falling[0]]
            if high - low <= PLATEAU_BAND * 0.5 * abs(high + low):
                break
            start += 1
            rising = [j for j in rising if j >= start]
            falling = [j for j in falling if j >= start]
        if best is None or i + 1 - start > best[1] - best[0]:
            best = (start, i + 1)
    return best


def opening(outline: Outline, s: NDArray[np.float64], low: float, high: float) -> float:
    """Straight distance (mm) between the points ``s = low`` and ``s = high``."""
    ends = [
        (np.interp(at, s, outline.x), np.interp(at, s, outline.y)) for at in (low, high)
    ]
    return float(math.hypot(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]))


def halves_difference(curvature: NDArray[np.float64], least: float) -> float:
    """Relative difference of the mean curvature of the bent parts of the two halves.

    (rear half - operator half) over their mean; NaN where a half is not bent.
    """
    middle = curvature.size // 2
    halves = []
    for half in (curvature[:middle], curvature[curvature.size - middle :]):
        bent = half[np.abs(half) >= least]
        if bent.size == 0:
            return math.nan
        halves.append(float(np.mean(bent)))
    mean = 0.5 * (halves[0] + halves[1])
    return (halves[1] - halves[0]) / mean if mean else math.nan

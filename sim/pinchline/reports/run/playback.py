"""What a playback shows of a run: chosen frames and places, and how sharply it bends.

A file may hold tens of thousands of frames of thousands of nodes. A reader's eye and a
page of a few MB ask for less: both are thinned here, and what was left out is told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pinchline.results.schema import Result

    Array = NDArray[np.float64]
    Index = NDArray[np.intp]

MOST_FRAMES, MOST_NODES = 400, 401  # the most that are shown
BEND_CLASSES = 6  # of bend, from flat to sharpest


@dataclass(frozen=True)
class Playback:
    """Chosen frames of a run.

    Attributes
    ----------
    rows : which frames of the file
    nodes : which nodes of the sheet
    s, x, y : of those nodes, mm; x and y (frames, nodes)
    curvature : (frames, nodes), 1/mm, NaN where the sheet lies nowhere
    on_file : frames in the file
    """

    rows: Index
    nodes: Index
    s: Array
    x: Array
    y: Array
    curvature: Array
    on_file: int


def playback(
    result: Result, frames: int = MOST_FRAMES, nodes: int = MOST_NODES
) -> Playback:
    """Choose frames and nodes of a run, ``frames`` and ``nodes`` at most."""
    recorded = result.frames
    rows = choose_rows(recorded["move"], frames)
    every = result.sheet["s_node"]
    picked = _even_rows(every.size, nodes)
    x, y = (np.asarray(recorded[axis][rows][:, picked], dtype="f8") for axis in "xy")
    s = every[picked]
    return Playback(rows, picked, s, x, y, _curvature(x, y, s), recorded["move"].size)


def choose_rows(move: NDArray[Any], most: int) -> Index:
    """Choose frames: first and last of each move where they fit in, the rest evenly."""
    if move.size <= most:
        return np.arange(move.size)
    last = np.flatnonzero(np.diff(move))
    ends = np.unique(np.concatenate(([0], last, last + 1, [move.size - 1])))
    if ends.size > most:
        return ends[_even_rows(ends.size, most)]
    return np.union1d(ends, _even_rows(move.size, max(2, most - ends.size)))


def bend_edges(curvature: Array) -> tuple[float, ...]:
    """Curvatures that part the classes of bend, at radii with two figures; 1/mm.

    The sharpest bend counts as the one that a hundredth of all places exceed: a crease
    of a few places must not leave the rest in one class.
    """
    size = np.abs(curvature[np.isfinite(curvature)])
    top = float(np.quantile(size, 0.99)) if size.size else 0.0
    if top < 1.0e-5:  # a radius of 100 m: nothing is bent
        top = 1.0e-3
    radii = [_two_figures(BEND_CLASSES / (i * top)) for i in range(1, BEND_CLASSES)]
    return tuple(1.0 / radius for radius in radii)


def _two_figures(value: float) -> float:
    return float(f"{value:.1e}")


def _even_rows(size: int, most: int) -> Index:
    """Choose rows evenly, both ends among them."""
    if size <= most:
        return np.arange(size)
    return np.unique(np.linspace(0, size - 1, most).round().astype(np.intp))


def _curvature(x: Array, y: Array, s: Array) -> Array:
    """Turn between neighbouring chords over the length between their middles, 1/mm."""
    curvature = np.zeros_like(x)
    if s.size < 3:
        return curvature
    heading = np.unwrap(np.arctan2(np.diff(y), np.diff(x)), axis=1)
    curvature[:, 1:-1] = np.diff(heading, axis=1) / (0.5 * (s[2:] - s[:-2]))
    curvature[:, 0], curvature[:, -1] = curvature[:, 1], curvature[:, -2]
    return curvature


def accumulated_travel(result: Result) -> Array:
    """Path of the sheet and the rear roll added up, mm, at every step."""
    moved = [np.diff(result.steps[name], prepend=0.0) for name in ("fed", "lift")]
    return np.cumsum(np.nan_to_num(np.abs(moved[0]) + np.abs(moved[1])))


def thinned_rows(values: Sequence[Array], most: int) -> Index:
    """Choose rows of curves over one axis that keep every curve's peaks.

    Of each stretch the rows where a curve is lowest and highest stay.
    """
    size = values[0].size
    share = 2 * len(values)
    if size <= most:
        return np.arange(size)
    cuts = np.linspace(0, size, max(1, most // share) + 1).astype(int)
    kept = {0, size - 1}
    for start, end in pairwise(cuts):
        for curve in values:
            part = np.nan_to_num(curve[start:end], nan=math.inf)
            kept.add(start + int(np.argmin(part)))
            part = np.where(np.isinf(part), -math.inf, part)
            kept.add(start + int(np.argmax(part)))
    return np.array(sorted(kept))

"""The record of a continuum run, whichever solver made it, and how it is measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from mesh import Array

WINDOW = 0.5  # thicknesses: stretch over which a curvature is taken


@dataclass(frozen=True)
class History:
    """What happened, one row per increment.

    Attributes
    ----------
    s : (columns) of the sheet from the operator's edge, mm
    start : s on the nip line at first, mm
    stage : number of the move, from 1; 0 before them
    lift, fed : mm
    force : (increments, 3) force of each roll on the sheet, N/mm
    contact : (increments, 3) x of its centre from the nip line, mm
    drive : force along x that holds the sheet, + toward the rear roll, N/mm
    angle : (increments, columns) rotation of the sections, rad
    x, y : (increments, columns) mid-line from the nip, mm
    """

    s: Array
    start: float
    stage: Array
    lift: Array
    fed: Array
    force: Array
    contact: Array
    drive: Array
    angle: Array
    x: Array
    y: Array


def curvature(s: Array, angle: Array, window: float) -> Array:
    """Slope of the rotation over a window about each column, 1/mm.

    A straight line is fitted to the columns at most half a window away, three at least.
    """
    result = np.zeros(angle.shape)
    for i in range(s.size):
        near = np.flatnonzero(np.abs(s - s[i]) <= 0.5 * window + 1.0e-9)
        low, high = min(near[0], i - 1), max(near[-1], i + 1)
        low, high = max(low, 0), min(high, s.size - 1)
        arm = s[low : high + 1] - s[low : high + 1].mean()
        result[..., i] = angle[..., low : high + 1] @ arm / (arm @ arm)
    return result

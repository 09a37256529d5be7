"""The free part of a result, laid out with both edges level."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.parts.measure import Outline, free_outline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.results.schema import Result

    Array = NDArray[np.float64]


def level_outline(result: Result) -> Outline:
    """Mid-line of the free part: operator's edge at the origin, the other level."""
    x, y, theta = free_outline(
        result.sheet["curvature_residual"], result.inputs["element"]
    )
    tilt = math.atan2(float(y[-1]), float(x[-1]))
    cosine, sine = math.cos(tilt), math.sin(tilt)
    return Outline(cosine * x + sine * y, cosine * y - sine * x, theta - tilt)


def offset_line(outline: Outline, offset: float) -> tuple[Array, Array]:
    """Line at a distance from the mid-line, mm, + on the inside of the curl."""
    x, y, theta = outline
    return x - offset * np.sin(theta), y + offset * np.cos(theta)


def inside_face(result: Result) -> tuple[Array, Array, Array]:
    """Places s and points x, y (mm) of the inside face."""
    x, y = offset_line(level_outline(result), 0.5 * result.inputs["thickness"])
    return arc_lengths(result), x, y


def arc_lengths(result: Result) -> Array:
    """Places s (mm) of the outline's points."""
    return np.linspace(0.0, result.inputs["length"], result.sheet["s"].size + 1)

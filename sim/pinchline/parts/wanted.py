"""The wanted free part: curvature along s, its outline, opening and blank."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.outline.points import OutlinePoints
from pinchline.errors import InputError
from pinchline.parts import measure
from pinchline.parts.smoothing import fit_curvature

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.target import Nose, Side, Target

    Array = NDArray[np.float64]

OUTLINE_SPACING_MM = (
    0.25  # mm between points of an outline, and of a curve that is carried over
)
MAX_THICKNESS_OVER_RADIUS = 0.25  # thickness over radius, as far as beam theory holds
STRAIGHT_CURVATURE_SHARE = (
    1.0e-9  # of the sharpest curvature: what counts as a straight edge
)


@dataclass(frozen=True)
class WantedPart:
    """Mid-line of a free part that is wanted.

    Attributes
    ----------
    s : from the operator's edge, mm (knots); a repeated s is a jump
    curvature : at the knots, linear between, + curls up, 1/mm (knots)
    thickness : mm
    scatter : rms distance of the drawn points from the line through them, mm
    """

    s: Array
    curvature: Array
    thickness: float
    scatter: float = 0.0

    @property
    def length(self) -> float:
        """Length of the blank, mm: of the middle, which keeps its length."""
        return float(self.s[-1])

    @property
    def turned(self) -> float:
        """Angle from edge to edge, rad."""
        return float(self._turned_to()[-1])

    @property
    def sharpest(self) -> float:
        """Largest curvature, 1/mm."""
        return float(np.max(np.abs(self.curvature)))

    @property
    def flats(self) -> tuple[float, float]:
        """Straight lengths at the operator's and the rear edge, mm."""
        bent = np.abs(self.curvature) > STRAIGHT_CURVATURE_SHARE * self.sharpest
        at = np.flatnonzero(bent)
        first, last = int(at[0]), int(at[-1])
        low = first - 1 if first and self.s[first - 1] < self.s[first] else first
        last_knot = self.s.size - 1
        high = last
        if last < last_knot and self.s[last + 1] > self.s[last]:
            high = last + 1
        return float(self.s[low]), self.length - float(self.s[high])

    @property
    def asymmetry(self) -> float:
        """Largest difference of curvature between the halves, over the sharpest."""
        middles = (np.arange(200) + 0.5) * self.length / 200
        k = self.mean_curvature(middles, 0.5 * self.length / 200)
        return float(np.max(np.abs(k - k[::-1]))) / self.sharpest

    def _turned_to(self) -> Array:
        rise = 0.5 * (self.curvature[1:] + self.curvature[:-1]) * np.diff(self.s)
        return np.concatenate(([0.0], np.cumsum(rise)))

    def turned_at(self, s: Array) -> Array:
        """Angle (rad) by which the part turns from the operator's edge to ``s``."""
        at = np.clip(np.searchsorted(self.s, s, side="right") - 1, 0, self.s.size - 2)
        run, width = s - self.s[at], np.diff(self.s)[at]
        slope = np.diff(self.curvature)[at] / np.where(width > 0.0, width, np.inf)
        total: Array = self._turned_to()[at] + run * (
            self.curvature[at] + 0.5 * slope * run
        )
        return total

    def mean_curvature(self, middles: Array, reach: float) -> Array:
        """Mean curvature (1/mm) over ``middles - reach .. middles + reach`` (mm).

        Of what lies on the part; 0 beyond it.
        """
        low = np.clip(middles - reach, 0.0, self.length)
        high = np.clip(middles + reach, 0.0, self.length)
        turned = self.turned_at(high) - self.turned_at(low)
        mean: Array = turned / np.where(high > low, high - low, np.inf)
        return mean

    def in_elements(self, count: int) -> Array:
        """Mean curvature (1/mm) of ``count`` equal elements, as a run gives it."""
        ends = np.linspace(0.0, self.length, count + 1)
        rise: Array = np.diff(self.turned_at(ends)) * count / self.length
        return rise

    def outline(
        self, spacing: float = OUTLINE_SPACING_MM
    ) -> tuple[Array, measure.Outline]:
        """Places s (mm) and the mid-line there, level at the operator's edge."""
        count = max(8, math.ceil(self.length / spacing))
        shape = measure.free_outline(self.in_elements(count), self.length / count)
        return np.linspace(0.0, self.length, count + 1), shape

    def face(
        self, side: Side, spacing: float = OUTLINE_SPACING_MM
    ) -> tuple[Array, Array]:
        """Points x, y (mm) of a face or the middle, as ``outline`` lays the part."""
        _, shape = self.outline(spacing)
        half = 0.5 * self.thickness
        off = {"inside": half, "middle": 0.0, "outside": -half}[side]
        return (
            shape.x - off * np.sin(shape.theta),
            shape.y + off * np.cos(shape.theta),
        )

    def opening(self, low: float = 0.0, high: float | None = None) -> float:
        """Straight distance (mm) between gauge lines at s, the edges unless told."""
        s, shape = self.outline()
        return measure.opening(shape, s, low, self.length if high is None else high)

    def straightedge(self, gap: float) -> tuple[float, float]:
        """Flats (mm) at operator's and rear edge as a straightedge finds them."""
        s, shape = self.outline()
        return (
            measure.straightedge_flat(shape, s, gap, from_end=False),
            measure.straightedge_flat(shape, s, gap, from_end=True),
        )


def wanted_part(
    target: Target, thickness: float, machine_flats: tuple[float, float] = (0.0, 0.0)
) -> WantedPart:
    """Build the part that a target asks for.

    Parameters
    ----------
    target : of the case
    thickness : of the sheet, mm
    machine_flats : what the machine leaves at operator's and rear edge (mm); counts
        where the target leaves a flat to it

    Raises
    ------
    InputError
        No arc opens as asked between such flats.
    """
    drawing = target.drawing
    if drawing is not None:
        scatter = 0.0
        if isinstance(drawing, OutlinePoints):
            fit = fit_curvature(np.array(drawing.x), np.array(drawing.y))
            s, curvature, scatter = fit.s, fit.curvature, fit.scatter
        else:
            s, curvature = np.array(drawing.s), np.array(drawing.curvature)
        s, curvature = _to_middle(s, curvature, target, thickness)
        return WantedPart(s, curvature, thickness, scatter)
    flats = target.flats(machine_flats)
    if target.nose is not None:
        pieces = _nose(target.nose, target, thickness)
    else:
        arc = target.arc(thickness, flats)
        pieces = [(arc.radius * arc.angle, 1.0 / arc.radius, 1.0 / arc.radius)]
    pieces = [(flats[0], 0.0, 0.0), *pieces, (flats[1], 0.0, 0.0)]
    pieces = [piece for piece in pieces if piece[0] > 0.0]
    ends = np.cumsum([0.0, *(length for length, *_ in pieces)])
    s = np.repeat(ends, 2)[1:-1]
    curvature = np.array([k for _, start, end in pieces for k in (start, end)])
    return WantedPart(s, curvature, thickness)


def _nose(
    nose: Nose, target: Target, thickness: float
) -> list[tuple[float, float, float]]:
    """Length (mm) and curvatures (1/mm) at the ends of arc, blend and arc."""
    radii = [
        target.to_middle(radius, thickness)
        for radius in (nose.radius_operator, nose.radius_rear)
    ]
    first, second = 1.0 / radii[0], 1.0 / radii[1]
    arcs = (radii[0] * nose.angle_operator, radii[1] * nose.angle_rear)
    half = 0.5 * nose.blend
    return [
        (arcs[0] - half, first, first),
        (nose.blend, first, second),
        (arcs[1] - half, second, second),
    ]


def _to_middle(
    s: Array, curvature: Array, target: Target, thickness: float
) -> tuple[Array, Array]:
    """Carry curvature along one side of the sheet over to its middle.

    A parallel line at a distance ``e`` toward the centre has ``ds' = (1 - e k) ds``
    and ``k' = k / (1 - e k)``.

    Raises
    ------
    InputError
        The profile curls tighter than the sheet allows.
    """
    away = -target.to_middle(0.0, thickness)  # toward the centre
    tightest = MAX_THICKNESS_OVER_RADIUS / thickness
    if np.any(
        np.abs(curvature)
        > tightest * (1.0 - away * curvature) + STRAIGHT_CURVATURE_SHARE
    ):
        message = "the profile curls too tightly for its thickness"
        raise InputError(
            message,
            key="target.profile",
            value=f"{target.profile}, a radius of "
            f"{1.0 / float(np.max(np.abs(curvature))):.4g} mm as drawn",
            allowed=f"mid-line radii of {1.0 / tightest:.4g} mm or more",
        )
    if away == 0.0:
        return s, curvature
    parts = np.maximum(1, np.ceil(np.diff(s) / OUTLINE_SPACING_MM)).astype(int)
    parts[np.diff(curvature) == 0.0] = 1
    fine_s, fine_k = [s[:1]], [curvature[:1]]
    for i, count in enumerate(parts):
        share = np.arange(1, count + 1) / count
        fine_s.append(s[i] + share * (s[i + 1] - s[i]))
        fine_k.append(curvature[i] + share * (curvature[i + 1] - curvature[i]))
    s, curvature = np.concatenate(fine_s), np.concatenate(fine_k)
    stretch = 1.0 - away * curvature
    steps = np.diff(s) * 0.5 * (stretch[1:] + stretch[:-1])
    return np.concatenate(([0.0], np.cumsum(steps))), curvature / stretch

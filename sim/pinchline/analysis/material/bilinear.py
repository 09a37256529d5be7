"""Bilinear fit of a stress-strain curve for a range of bends.

Yield strength and tangent modulus are chosen so that the section bears the curve's
moment at both ends of the range of curvature that the job works in. What is left of the
bend once it is free is that curvature less ``M / E' I``, so that equal moments leave
equal radii. ``cases/studies/bilinear.md`` compares it with other ways.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import units
from pinchline.case.case import ModelOptions
from pinchline.errors import InputError
from pinchline.solvers.layers import section_law
from pinchline.solvers.section_bend import bend_and_release
from pinchline.solvers.sublayers import hardening_curve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pinchline.case.metal.material import Material
    from pinchline.solvers.layers import SectionLaw
    from pinchline.solvers.section_bend import PureBend

    Array = NDArray[np.float64]

# of the curvature under load: where the range begins for one radius
RANGE_START_SHARE = 0.6
# loaded radii at which the lines are judged, over that of the tightest bend
COMPARED_RADIUS_RATIOS = (2.0, 1.6, 1.3, 1.0, 0.8)
FLAT_RADIUS_RATIO = (
    10.0  # times the loaded radius: past this the part is as good as flat
)
MAX_THICKNESS_OVER_RADIUS = 0.25  # thickness over radius, as far as beam theory holds
_TRIAL_RADIUS_RATIO = 1.25  # from one trial radius to the next
_KINEMATIC = ModelOptions(section="layered", hardening=1.0)


class BendComparison(NamedTuple):
    """One bend by the full curve and by the fit: radii in mm, error of the free radius.

    error: by the two lines; plain: by yield at 0.2 % and the metal's own chord.
    """

    loaded: float
    free: float
    error: float
    plain: float


class BilinearFit(NamedTuple):
    """Bilinear fit of a metal's curve for a range of bends.

    strength, tangent: MPa; weak, tight: loaded radii (mm) between which the moments
    were made equal; off: what the moments still differ by, at worst (relative); judged:
    bends from weak to tight.
    """

    strength: float
    tangent: float
    weak: float
    tight: float
    off: float
    judged: tuple[BendComparison, ...]


def fit_bilinear(
    metal: Material, thickness: float, radii: Sequence[float]
) -> BilinearFit:
    """Fit two straight lines to a metal's curve, for bends of a wide sheet.

    Parameters
    ----------
    metal : with its curve
    thickness : mm
    radii : of the free mid-line (mm): of the part, or tightest and widest of a range;
        for one the range begins at 60 % of its curvature under load

    Raises
    ------
    InputError
        where the bend is too tight for beam theory or goes past the curve's end
    """
    from scipy.optimize import least_squares

    law = _law(metal, thickness)
    tight = loaded_radius(law, thickness, min(radii))
    weak = tight / RANGE_START_SHARE
    if max(radii) > min(radii):
        weak = loaded_radius(law, thickness, max(radii))
    _within(metal, thickness, tight)
    aim = np.array([b.moment for b in bend_and_release(law, [weak, tight])])
    start = _lines_through(metal, thickness / (2.0 * weak), thickness / (2.0 * tight))
    youngs = metal.youngs_modulus

    def off(x: Array) -> Array:
        lines = with_bilinear(metal, x[0] * start[0], x[1] * youngs)
        found = bend_and_release(_law(lines, thickness), [weak, tight])
        apart: Array = np.array([b.moment for b in found]) / aim - 1.0
        return apart

    best = least_squares(
        off,
        (1.0, min(max(start[1] / youngs, 1.0e-3), 0.5)),
        bounds=((0.2, 0.0), (3.0, 0.9)),
        x_scale=(0.1, 0.01),
        diff_step=1.0e-4,
        xtol=1.0e-10,
        ftol=1.0e-14,
        gtol=1.0e-14,
    )
    strength, tangent = float(best.x[0] * start[0]), float(best.x[1] * youngs)
    lines = with_bilinear(metal, strength, tangent)
    return BilinearFit(
        strength=strength,
        tangent=tangent,
        weak=weak,
        tight=tight,
        off=float(np.max(np.abs(best.fun))),
        judged=_compared(metal, lines, thickness, weak, tight),
    )


def with_bilinear(metal: Material, strength: float, tangent: float) -> Material:
    """Give the metal with yield and tangent modulus (MPa) instead of its curve."""
    keys = {
        "yield_strength": strength,
        "yield_tension": None,
        "yield_compression": None,
        "tangent_modulus": tangent,
        "curve": None,
    }
    return metal.model_copy(update=keys)


def loaded_radius(law: SectionLaw, thickness: float, free: float) -> float:
    """Radius (mm) that a section must be bent to so that ``free`` (mm) is left.

    Raises
    ------
    InputError
        where that is tighter than beam theory holds
    """
    from scipy.optimize import brentq

    loaded = free
    while bend_and_release(law, [loaded])[0].free > free:
        loaded /= _TRIAL_RADIUS_RATIO
        if loaded < thickness / MAX_THICKNESS_OVER_RADIUS:
            message = "the radius is too tight for the thickness"
            least = thickness / MAX_THICKNESS_OVER_RADIUS
            allowed = f"radii that need no less than {least:.4g} mm"
            value = units.format(free, "length")
            raise InputError(message, key="--radius", value=value, allowed=allowed)

    def more(radius: float) -> float:
        left = bend_and_release(law, [radius])[0].free
        return 1.0 / free - (0.0 if math.isinf(left) else 1.0 / left)

    return float(brentq(more, loaded, loaded * _TRIAL_RADIUS_RATIO, xtol=1.0e-9 * free))


def _law(metal: Material, thickness: float) -> SectionLaw:
    return section_law(metal, thickness, _KINEMATIC)


def _within(metal: Material, thickness: float, loaded: float) -> None:
    """Refuse a bend whose surface is stretched past the end of the curve."""
    curve = metal.curve
    assert curve is not None
    if curve.strain is None:
        return
    # plane strain raises the equivalent strain of the surface by 2/sqrt(3) at most
    strain = thickness / loaded / math.sqrt(3.0)
    if strain > curve.strain[-1]:
        message = (
            f"the bend strains the surface by {strain:.2%}, the curve ends at "
            f"{curve.strain[-1]:.2%}"
        )
        allowed = "a curve that reaches that far, or a wider radius"
        raise InputError(
            message,
            file=curve.source,
            key="--radius",
            value=units.format(loaded, "length"),
            allowed=allowed,
        )


def _lines_through(metal: Material, near: float, far: float) -> tuple[float, float]:
    """Lines through the curve at two strains: yield and tangent modulus, MPa."""
    assert metal.curve is not None
    youngs = metal.youngs_modulus
    offset = metal.curve.yield_offset or metal.yield_strength
    plastic, on = hardening_curve(metal.curve, youngs, offset)
    low, high = np.interp((near, far), on / youngs + plastic, on)
    tangent = float(high - low) / (far - near)
    return (float(high) - tangent * far) / (1.0 - tangent / youngs), tangent


def _compared(
    metal: Material, lines: Material, thickness: float, weak: float, tight: float
) -> tuple[BendComparison, ...]:
    """Bend by curve and lines, from past the weak end to past the tight one."""
    widest = max(weak, COMPARED_RADIUS_RATIOS[0] * tight)
    radii = sorted(
        {widest, weak, *(share * tight for share in COMPARED_RADIUS_RATIOS)},
        reverse=True,
    )
    radii = [r for r in radii if r >= thickness / MAX_THICKNESS_OVER_RADIUS]
    plain = with_bilinear(metal, metal.yield_strength, metal.tangent_modulus)
    sets: list[list[PureBend]] = [
        bend_and_release(_law(m, thickness), radii) for m in (metal, lines, plain)
    ]
    return tuple(
        BendComparison(
            full.loaded,
            full.free,
            two.free / full.free - 1.0,
            card.free / full.free - 1.0,
        )
        for full, two, card in zip(*sets, strict=True)
        if full.free < FLAT_RADIUS_RATIO * full.loaded
    )

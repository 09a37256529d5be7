"""Evaluation of a tensile test: modulus, yield, and the smoothed curve.

The smooth curve is a sum of pieces ``a_i min(e, e_i)`` with ``a_i >= 0`` that add to
Young's modulus: straight at first, then ever less steep, as a metal that hardens is. It
is the same sum as that of Besseling's sub-layers (``process.overlay``).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import units
from pinchline.case.metal.curve import PROOF_STRAIN, Curve
from pinchline.case.metal.material import Material
from pinchline.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.measured.tensile_test import TensileTest

    Array = NDArray[np.float64]

# of the yield strength: where the elastic line is laid
ELASTIC_YIELD_SHARES = (0.1, 0.4)
MIN_ELASTIC_POINTS = 4  # points there
CURVE_KNOTS, READING_BINS = 48, 240
DEFAULT_POISSON = 0.33  # of aluminium, where no card says
# over the card's modulus: no reading error, a wrong unit or sheet
MAX_MODULUS_RATIO = 1.25
MIN_MODULUS_RATIO = 0.02
METAL_MODULI_MPA = (10.0e3, 450.0e3)  # MPa: Young's moduli of metals
_SLOPE_SUM_WEIGHT = 1.0e3  # weight of "the slopes make one", against 1 of a stress


class TensileResult(NamedTuple):
    """Result of evaluating a tensile test.

    metal: with its curve, its yield strength at 0.2 % plastic strain and, as tangent
    modulus, the chord from there to the end; modulus: slope of the test's own elastic
    line (MPa); toe: strain at which that line begins; scatter: rms distance of the
    points from the smooth curve (MPa); ultimate: largest true stress (MPa), ``last``
    the true strain there; points: true strain and stress, on the metal's elastic line.
    """

    metal: Material
    modulus: float
    toe: float
    scatter: float
    ultimate: float
    last: float
    points: tuple[Array, Array]


def metal_of(test: TensileTest, card: Material | None = None) -> TensileResult:
    """Give the metal of a tensile test.

    Parameters
    ----------
    test : as recorded
    card : whose modulus, Poisson's ratio and density hold; the strain is then corrected
        for the difference of the elastic slopes, as for a machine that gives. Without
        one the test's own slope is Young's modulus.

    Raises
    ------
    InputError
        where the test has no elastic part, or one that is no metal's
    """
    strain, stress = np.asarray(test.strain), np.asarray(test.stress)
    order = np.argsort(strain, kind="stable")
    strain, stress = strain[order], stress[order]
    top = int(np.argmax(stress)) + 1  # past the largest load the strip necks
    strain, stress = strain[:top], stress[:top]
    modulus, toe = _elastic_line(test, strain, stress)
    if card is None:
        if not METAL_MODULI_MPA[0] <= modulus <= METAL_MODULI_MPA[1]:
            raise _no_metal(test, modulus, "10 to 450 GPa, as metals have it")
    elif not MIN_MODULUS_RATIO <= modulus / card.youngs_modulus <= MAX_MODULUS_RATIO:
        near = units.format(card.youngs_modulus, "stress")
        raise _no_metal(test, modulus, f"a slope near the card's modulus, {near}")
    youngs = modulus if card is None else card.youngs_modulus
    total = strain - toe - stress * (1.0 / modulus - 1.0 / youngs)
    if test.measure == "engineering":
        stress, total = stress * (1.0 + total), np.log1p(total)
    knots, values, scatter = _smoothed(test, total, stress, youngs)
    plastic = knots - values / youngs
    if plastic[-1] <= PROOF_STRAIN:
        message = "the curve ends before 0.2 % plastic strain"
        allowed = "a test that goes on past yield"
        raise InputError(message, file=test.path, allowed=allowed)
    strength = float(np.interp(PROOF_STRAIN, plastic, values))
    rise = float(values[-1]) - strength
    tangent = rise / (float(knots[-1]) - PROOF_STRAIN - strength / youngs)
    curve = Curve(
        strain=tuple(map(float, knots)),
        stress=tuple(map(float, values)),
        measure="true",
        source=f"tensile test {test.path}",
    )
    metal = _metal(test, card, youngs, strength, tangent, curve)
    end = (float(values[-1]), float(knots[-1]))
    return TensileResult(metal, modulus, toe, scatter, *end, (total, stress))


def _no_metal(test: TensileTest, modulus: float, allowed: str) -> InputError:
    message = (
        f"the elastic part rises by {modulus / 1000.0:.4g} GPa; is a unit in the "
        "header wrong?"
    )
    return InputError(message, file=test.path, allowed=allowed)


def _elastic_line(
    test: TensileTest, strain: Array, stress: Array
) -> tuple[float, float]:
    """Slope (MPa) of the elastic line and the strain at which it begins.

    Least squares over the points between 10 and 40 % of the yield strength, which the
    line itself then tells; from a tenth of the largest stress on, until it stands.
    """
    strength = 0.5 * float(np.max(stress))
    modulus, toe = math.nan, math.nan
    for _ in range(20):
        low, high = (
            ELASTIC_YIELD_SHARES[0] * strength,
            ELASTIC_YIELD_SHARES[1] * strength,
        )
        first = int(np.argmax(stress > high)) if np.any(stress > high) else stress.size
        inside = np.arange(stress.size) < first
        inside &= stress >= low
        if (
            np.count_nonzero(inside) < MIN_ELASTIC_POINTS
            or np.ptp(strain[inside]) <= 0.0
        ):
            message = "the curve has no elastic part to lay a line through"
            allowed = (
                f"{MIN_ELASTIC_POINTS} points or more between 10 and 40 % of the yield "
                f"strength, here {low:.4g} to {high:.4g} MPa"
            )
            raise InputError(message, file=test.path, allowed=allowed)
        slope, start = np.polyfit(strain[inside], stress[inside], 1)
        if slope <= 0.0:
            message = "the stress does not rise where the curve should be elastic"
            allowed = "stress that rises with strain from the start"
            raise InputError(message, file=test.path, allowed=allowed)
        modulus, toe = float(slope), float(-start / slope)
        beyond = stress < modulus * (strain - toe - PROOF_STRAIN)
        crossed = beyond & (stress > high)
        found = float(stress[int(np.argmax(crossed))]) if crossed.any() else strength
        if abs(found - strength) <= 1.0e-3 * strength:
            break
        strength = found
    return modulus, toe


def _smoothed(
    test: TensileTest, strain: Array, stress: Array, youngs: float
) -> tuple[Array, Array, float]:
    """Knots of the smooth curve (strain, MPa), and its rms distance in MPa."""
    from scipy.optimize import nnls

    last = float(strain[-1])
    start = 0.2 * float(np.max(stress)) / youngs
    if last <= 1.2 * start:
        message = "the curve has no plastic part"
        raise InputError(message, file=test.path, allowed="a test that goes past yield")
    edges = np.geomspace(start, last, READING_BINS)
    number = np.searchsorted(edges, strain)
    x, y = (
        np.array([np.mean(values[number == n]) for n in np.unique(number)])
        for values in (strain, stress)
    )
    x, y = x[x > 0.0], y[x > 0.0]
    knots = np.geomspace(start, last, CURVE_KNOTS)
    rows = np.minimum(x[:, None], knots[None, :]) * youngs
    scale = float(np.max(stress))
    table = np.vstack((rows / scale, np.full(CURVE_KNOTS, _SLOPE_SUM_WEIGHT)))
    share, _ = nnls(table, np.append(y / scale, _SLOPE_SUM_WEIGHT))
    share /= share.sum()
    kept = np.flatnonzero(share > 0.0)
    if kept[-1] != CURVE_KNOTS - 1:
        kept = np.append(kept, CURVE_KNOTS - 1)
    if kept.size < 3:  # a curve of two straight lines: a point more on the first
        kept = np.unique(np.concatenate(([0], kept, [CURVE_KNOTS - 2])))

    def at(strains: Array) -> Array:
        values: Array = youngs * np.minimum(strains[:, None], knots[None, :]) @ share
        return values

    away = stress - at(np.maximum(strain, 0.0))
    return (
        knots[kept],
        at(knots[kept]),
        float(np.sqrt(np.mean(away[strain > 0.0] ** 2))),
    )


def _metal(
    test: TensileTest,
    card: Material | None,
    youngs: float,
    strength: float,
    tangent: float,
    curve: Curve,
) -> Material:
    origin = f"tensile test {test.path}"
    changed = {
        "yield_strength": strength,
        "yield_tension": None,
        "yield_compression": None,
        "tangent_modulus": tangent,
        "clad": None,
        "curve": curve,
    }
    if card is not None:
        sources = dict(card.sources)
        sources |= dict.fromkeys(("yield_strength", "tangent_modulus", "curve"), origin)
        return card.model_copy(update={**changed, "sources": sources})
    sources = dict.fromkeys(
        ("youngs_modulus", "yield_strength", "tangent_modulus", "curve"), origin
    )
    sources["poisson_ratio"] = "assumed: aluminium"
    return Material(
        name="tensile test",
        title=f"metal of {test.path}",
        direction="L",
        youngs_modulus=youngs,
        poisson_ratio=DEFAULT_POISSON,
        yield_strength=strength,
        tangent_modulus=tangent,
        curve=curve,
        sources=sources,
    )

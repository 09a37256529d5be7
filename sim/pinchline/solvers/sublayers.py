"""A full stress-strain curve as sub-layers that lie side by side in every layer.

Sub-layers of one metal that differ in yield and do not harden yield one after the other
(J. F. Besseling, J. Appl. Mech. 25 (1958) 529-536, from memory): together they follow
any curve that rises ever less steeply, and back again twice the curve (Masing), so all
hardening shifts and none widens. Uniaxial, each share is a change of slope. In plane
strain the shares of the uniaxial curve would leave the moment up to 1.3 % low, because
each sub-layer thins by itself; there they are fitted to the curve that one metal has
which hardens as a whole (von Mises, associated flow).
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.case.metal.curve import PROOF_STRAIN
from pinchline.physics import section

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.metal.curve import Curve
    from pinchline.case.metal.material import Material

SUBLAYERS = 12
# plastic strain at which the first sub-layer yields, and past which none is left to
# yield: beyond what a sheet a quarter as thick as its roll's radius can reach (11 %)
_FIRST, _LAST = 1.0e-5, 0.12
_FINE = 600  # strains at which the curve is met
_LIMP = 1.0e-6  # of Young's modulus: least slope of a curve that ends
_WHOLE = 1.0e3  # weight of "the shares make one", against 1 of a stress


class SubLayers(NamedTuple):
    """Yield (MPa) of each sub-layer, rising, and its share of the layer, 1 in all."""

    strength: NDArray[np.float64]
    share: NDArray[np.float64]


def sub_layers(material: Material, *, flat: bool) -> SubLayers:
    """Sub-layers of a material with a curve, held flat across its width or not."""
    curve = material.curve
    assert curve is not None
    offset = curve.yield_offset or material.yield_strength
    return _fitted(
        curve, material.youngs_modulus, material.poisson_ratio, offset, flat=flat
    )


def overlaid(
    layers: NDArray[np.float64], count: int, parts: SubLayers
) -> NDArray[np.float64]:
    """Split the first ``count`` of the layers ``(7, rows)``, those of the core."""
    split = np.repeat(layers[:, :count], parts.share.size, axis=1)
    split[section.W] *= np.tile(parts.share, count)
    split[section.YIELD] = np.tile(parts.strength, count)
    split[section.HI] = split[section.HK] = 0.0
    return np.concatenate((split, layers[:, count:]), axis=1)


def hardening_curve(
    curve: Curve, youngs: float, offset: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Plastic strain, rising from 0, and the true stress (MPa) that it takes.

    Engineering values become true by the plastic strain alone, which keeps the volume:
    ``s (1 + e_p)``, ``ln(1 + e_p)``. The elastic strain's share of it, below 0.3 % of
    the stress, is left out: the elastic line stays straight.

    Parameters
    ----------
    curve : with an exponent or points
    youngs, offset : MPa; the stress at 0.2 % plastic strain counts with an exponent
    """
    if curve.exponent is not None:
        plastic = np.geomspace(1.0e-9, 2.0 * _LAST, 2000)
        stress = offset * (plastic / PROOF_STRAIN) ** (1.0 / curve.exponent)
        start = float(stress[0])
    else:
        stress = np.asarray(curve.stress)
        plastic = np.asarray(curve.strain) - stress / youngs
        plastic = np.maximum.accumulate(np.maximum(plastic, 0.0))
        rise, further = stress[1] - stress[0], plastic[1] - plastic[0]
        slope = rise / further if further > 0.0 else 0.0
        start = max(float(stress[0] - slope * plastic[0]), 0.0)
    if curve.measure == "engineering":
        stress = stress * (1.0 + plastic)
        plastic = np.log1p(plastic)
    return np.concatenate(([0.0], plastic)), np.concatenate(([start], stress))


@functools.lru_cache(maxsize=64)
def _fitted(
    curve: Curve, youngs: float, poisson: float, offset: float, *, flat: bool
) -> SubLayers:
    """Shares that meet the curve best, none below zero (least squares).

    The errors of the stress count in proportion, at small strain as at large: what
    remains of a bend is a small difference of moments, of a weak bend above all.
    """
    from scipy.optimize import nnls

    plastic, stress = hardening_curve(curve, youngs, offset)
    yielding = np.geomspace(_FIRST, _LAST, SUBLAYERS)
    strength = youngs * yielding + np.interp(yielding, plastic, stress)
    strains = np.geomspace(0.5 * strength[0], 1.2 * strength[-1], _FINE) / youngs
    if flat:
        aim = _in_plane_strain(plastic, stress, youngs, poisson, strains)
    else:
        total = np.concatenate(([0.0], stress / youngs + plastic))
        aim = np.interp(strains, total, np.concatenate(([0.0], stress)))
    alone = _alone(strength, youngs, poisson, strains, flat=flat)
    rows = np.vstack((alone / aim[:, None], np.full(SUBLAYERS, _WHOLE)))
    share, _ = nnls(rows, np.append(np.ones(_FINE), _WHOLE))
    kept = share > 0.0
    return SubLayers(strength[kept], share[kept] / share.sum())


def _alone(
    strength: NDArray[np.float64],
    youngs: float,
    poisson: float,
    strains: NDArray[np.float64],
    *,
    flat: bool,
) -> NDArray[np.float64]:
    """Stress ``(strains, sub-layers)`` of sub-layers that fill the layer alone, MPa."""
    layers = np.zeros((section.LAYER, strength.size))
    layers[section.Y] = layers[section.W] = 1.0
    layers[section.CA] = youngs / (1.0 - poisson) if flat else youngs
    layers[section.CB] = youngs / (1.0 + poisson) if flat else 0.0
    layers[section.YIELD] = strength
    law = section.J2_PLANE_STRAIN if flat else section.UNIAXIAL
    history = np.zeros((section.HISTORY, strength.size))
    scratch = np.zeros((section.HISTORY, section.SCRATCH))
    rows = np.empty((strains.size, strength.size))
    for i, step in enumerate(np.diff(strains, prepend=0.0)):
        section.section_commit(law, layers, history, float(step), scratch)
        rows[i] = (history[0] + history[1]) / math.sqrt(2.0) if flat else history[0]
    return rows


def _in_plane_strain(
    plastic: NDArray[np.float64],
    stress: NDArray[np.float64],
    youngs: float,
    poisson: float,
    strains: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Stress along the strain (MPa) of a wide sheet that hardens as a whole.

    Von Mises with its flow rule; stress ``x, z`` with none through the thickness:
    ``(C + n n' / H) d(x, z) = (de, 0)``, ``C`` Hooke's compliance, ``n`` the slope of
    the equivalent stress q, ``1/H`` that of plastic strain over q. Runge-Kutta's fourth
    order in steps that raise an elastic stress by half of q at most.
    """
    rise = np.maximum(np.diff(stress), _LIMP * youngs * np.diff(plastic))
    give = np.diff(plastic) / np.maximum(rise, 1.0e-12 * youngs)
    give = np.concatenate(([0.0], give, [1.0 / (_LIMP * youngs)]))

    def rate(x: float, z: float) -> tuple[float, float]:
        q = math.sqrt(max(x * x - x * z + z * z, 1.0e-300))
        soft = float(give[np.searchsorted(stress, q)])
        nx, nz = (x - 0.5 * z) / q, (z - 0.5 * x) / q
        xx, zz = 1.0 / youngs + soft * nx * nx, 1.0 / youngs + soft * nz * nz
        xz = soft * nx * nz - poisson / youngs
        root = xx * zz - xz * xz
        return zz / root, -xz / root

    x = z = 0.0
    out = np.empty_like(strains)
    for i, step in enumerate(np.diff(strains, prepend=0.0)):
        parts = 1 + int(2.0 * youngs * step / max(x, float(stress[0]), 1.0))
        h = float(step) / parts
        for _ in range(parts):
            a = rate(x, z)
            b = rate(x + 0.5 * h * a[0], z + 0.5 * h * a[1])
            c = rate(x + 0.5 * h * b[0], z + 0.5 * h * b[1])
            d = rate(x + h * c[0], z + h * c[1])
            x += h / 6.0 * (a[0] + 2.0 * b[0] + 2.0 * c[0] + d[0])
            z += h / 6.0 * (a[1] + 2.0 * b[1] + 2.0 * c[1] + d[1])
        out[i] = x
    return out

"""The section law of a sheet: its layers, stiffness and first yield."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.physics import section
from pinchline.physics.section import section_commit, section_moment
from pinchline.solvers.sublayers import overlaid, sub_layers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import ModelOptions
    from pinchline.case.metal.material import Material

SKIN_LAYERS = 4


class SectionLaw(NamedTuple):
    """Law of one mm of width.

    law: code; layers: (7, rows); virgin: (5, rows) history of a flat annealed section;
    low, high: elastic range of curvature (1/mm); bending: elastic stiffness (N mm);
    first_yield: moment at which the (core) material first yields (N mm/mm), and
    ``yield_curvature`` (1/mm); first_set: moment at which anything yields, which in
    clad sheet are the skins (N mm/mm).
    """

    law: int
    layers: NDArray[np.float64]
    virgin: NDArray[np.float64]
    low: float
    high: float
    bending: float
    first_yield: float
    yield_curvature: float
    first_set: float


def plane_strain_modulus(material: Material) -> float:
    """``E / (1 - nu^2)``, MPa."""
    return material.youngs_modulus / (1.0 - material.poisson_ratio**2)


def plastic_modulus(youngs: float, tangent: float) -> float:
    """Uniaxial slope of stress against plastic strain, MPa."""
    return youngs * tangent / (youngs - tangent)


def bending_modulus(material: Material, constrained: float) -> float:
    """Modulus (MPa) of a strip held flat across over a share of its width."""
    youngs = material.youngs_modulus
    return youngs + constrained * (plane_strain_modulus(material) - youngs)


def bulge(material: Material, thickness: float, constrained: float = 1.0) -> float:
    """How far the faces of bent sheet stand off its mid-line, over the curvature, mm2.

    ``c t^2/10``, both toward the hollow side; ``c`` is the strain across the sheet over
    that along it, ``nu/(1 - nu)`` held flat across and ``nu`` free. A pressure takes as
    much times itself off the section's moment (derived, THEORY 5.5).
    """
    nu = material.poisson_ratio
    return nu / (1.0 - constrained * nu) * thickness**2 / 10.0


def bulge_share(length: float) -> float:
    """Share of its own curvature in an element's bulge; neighbours have the rest alike.

    The pressure of a line load goes across the sheet over a mean square of ``t^2/210``
    along it (derived, THEORY 5.6). An element, ``length`` in thicknesses, spreads it
    by ``L^2/12`` itself; its neighbours add ``L^2`` of their share.
    """
    return min(1.0, max(1.0 / 3.0, 1.0 - (1.0 / (210.0 * length**2) - 1.0 / 12.0)))


def section_law(
    material: Material,
    thickness: float,
    options: ModelOptions,
    constrained: float = 1.0,
) -> SectionLaw:
    """Build the law that a case asks for.

    Parameters
    ----------
    material, thickness, options : of the sheet (mm), of the case
    constrained : fraction of the width held flat across: 1 plane strain, 0 uniaxial
    """
    share = options.hardening
    kinematic = material.kinematic_share if share is None else share
    if options.section == "closed-form":
        return _profile(material, thickness, kinematic, constrained)
    return _layered(material, thickness, options.layers, kinematic, constrained)


def _weights(heights: NDArray[np.float64], start: float) -> NDArray[np.float64]:
    """Weights that integrate ``stress * y`` exactly for stress linear between heights.

    ``start`` is the lower end (mm): 0, where the stress vanishes, or the first height.
    """
    moment = np.zeros_like(heights)
    lower = np.concatenate(([start], heights[:-1]))
    step = (heights - lower) / 6.0
    moment += step * (lower + 2.0 * heights)
    moment[:-1] += step[1:] * (2.0 * lower[1:] + heights[1:])
    weights: NDArray[np.float64] = moment / heights
    return weights


def _layered(
    material: Material,
    thickness: float,
    count: int,
    kinematic: float,
    constrained: float,
) -> SectionLaw:
    half = thickness / 2.0
    clad = material.clad
    parts: list[tuple[NDArray[np.float64], float, float, float, float]] = []
    core_half = half if clad is None else half - clad.share * thickness
    heights = np.linspace(0.0, core_half, count + 1)[1:]
    parts.append(
        (
            heights,
            0.0,
            material.youngs_modulus,
            material.yield_strength,
            material.tangent_modulus,
        )
    )
    if clad is not None and clad.share > 0.0:
        skin = np.linspace(core_half, half, SKIN_LAYERS)
        parts.append(
            (
                skin,
                core_half,
                clad.youngs_modulus,
                clad.yield_strength,
                clad.tangent_modulus,
            )
        )
    nu = material.poisson_ratio
    kinds = [
        np.concatenate(
            [_part(*part, nu, kinematic, flat=flat) for part in parts], axis=1
        )
        for flat in (True, False)
    ]
    if material.curve is not None:
        kinds = [
            overlaid(layers, count, sub_layers(material, flat=flat))
            for layers, flat in zip(kinds, (True, False), strict=True)
        ]
    for layers, share in zip(kinds, (constrained, 1.0 - constrained), strict=True):
        layers[section.W] *= share
    strain = material.yield_strength / material.youngs_modulus
    first = strain * (1.0 - nu * nu) / math.sqrt(1.0 - nu + nu * nu)
    law = section.MIXED
    if constrained == 1.0:
        law, layers = section.J2_PLANE_STRAIN, kinds[0]
    elif constrained == 0.0:
        law, layers, first = section.UNIAXIAL, kinds[1], strain
    else:
        layers, first = np.concatenate(kinds, axis=1), min(first, strain)
    virgin = np.zeros((section.HISTORY, layers.shape[1]))
    return _finish(law, layers, virgin, first / core_half)


def _part(
    heights: NDArray[np.float64],
    start: float,
    youngs: float,
    strength: float,
    tangent: float,
    poisson: float,
    kinematic: float,
    *,
    flat: bool,
) -> NDArray[np.float64]:
    """Layers of one material, held flat across its width or free to curl."""
    layers = np.zeros((section.LAYER, heights.size))
    layers[section.Y] = heights
    layers[section.W] = _weights(heights, start)
    layers[section.CA] = youngs / (1.0 - poisson) if flat else youngs
    layers[section.CB] = youngs / (1.0 + poisson) if flat else 0.0
    layers[section.YIELD] = strength
    hard = plastic_modulus(youngs, tangent)
    layers[section.HI] = (1.0 - kinematic) * hard
    layers[section.HK] = kinematic * hard
    return layers


def _profile(
    material: Material, thickness: float, kinematic: float, constrained: float
) -> SectionLaw:
    layers = np.zeros((section.LAYER, 1))
    layers[section.Y] = thickness / 2.0
    layers[section.CA] = bending_modulus(material, constrained)
    wide = 1.0 + constrained * (2.0 / math.sqrt(3.0) - 1.0)
    layers[section.YIELD] = wide * material.yield_strength
    hard = plastic_modulus(material.youngs_modulus, material.tangent_modulus)
    hard *= 1.0 + constrained / 3.0
    layers[section.HI] = (1.0 - kinematic) * hard
    layers[section.HK] = kinematic * hard
    virgin = np.zeros((section.HISTORY, section.BREAKPOINTS))
    virgin[0, 1] = thickness / 2.0
    virgin[3, :2] = layers[section.YIELD]
    virgin[4, 0] = 2.0
    curvature = 2.0 * float(layers[section.YIELD, 0]) / float(layers[section.CA, 0])
    return _finish(section.PROFILE, layers, virgin, curvature / thickness)


def _finish(
    law: int,
    layers: NDArray[np.float64],
    virgin: NDArray[np.float64],
    yield_curvature: float,
) -> SectionLaw:
    scratch = np.zeros((section.HISTORY, section.SCRATCH))
    history = virgin.copy()
    _, _, low, high = section_commit(law, layers, history, 0.0, scratch)
    tiny = 1.0e-6 * yield_curvature
    elastic, _ = section_moment(law, layers, virgin, tiny, scratch)
    first, _ = section_moment(law, layers, virgin, yield_curvature, scratch)
    stiffness = elastic / tiny
    return SectionLaw(
        law=law,
        layers=layers,
        virgin=virgin,
        low=low,
        high=high,
        bending=stiffness,
        first_yield=first,
        yield_curvature=yield_curvature,
        first_set=min(first, stiffness * high),
    )

"""Section laws that a check bends by hand: wide sheet, narrow beam, one mm of sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.case import ModelOptions
from pinchline.case.metal.material import Cladding, Material
from pinchline.physics import section
from pinchline.solvers.layers import section_law

if TYPE_CHECKING:
    from pinchline.solvers.layers import SectionLaw


def metal(
    *,
    modulus: float,
    poisson: float,
    strength: float,
    hardening: float = 0.0,
    clad: Cladding | None = None,
) -> Material:
    """Return a material with a tangent modulus of ``hardening`` times Young's."""
    return Material(
        name="metal of the check",
        title="metal of the check",
        direction="L",
        youngs_modulus=modulus,
        poisson_ratio=poisson,
        yield_strength=strength,
        tangent_modulus=hardening * modulus,
        clad=clad,
    )


def layered(
    material: Material,
    thickness: float,
    *,
    kinematic: float = 0.0,
    layers: int = 20,
    held: float = 1.0,
) -> SectionLaw:
    """Return the package's layers with plane-strain von Mises plasticity.

    ``held`` is the share of the width held flat: 0 leaves one dimension.
    """
    options = ModelOptions(section="layered", hardening=kinematic, layers=layers)
    return section_law(material, thickness, options, held)


def closed_form(
    material: Material, thickness: float, *, kinematic: float = 0.0, held: float = 1.0
) -> SectionLaw:
    """Return the package's closed form for a wide sheet, or a narrow one."""
    options = ModelOptions(section="closed-form", hardening=kinematic)
    return section_law(material, thickness, options, held)


def beam_profile(
    modulus: float,
    flow: float,
    thickness: float,
    *,
    hardening: float = 0.0,
    kinematic: float = 0.0,
) -> SectionLaw:
    """Return the closed form of a narrow beam: no plane-strain factor anywhere."""
    narrow = metal(modulus=modulus, poisson=0.3, strength=flow, hardening=hardening)
    return closed_form(narrow, thickness, kinematic=kinematic, held=0.0)


def beam_layers(
    modulus: float,
    flow: float,
    thickness: float,
    *,
    hardening: float = 0.0,
    kinematic: float = 0.0,
    layers: int = 20,
) -> SectionLaw:
    """Return one-dimensional layers, those of a narrow beam."""
    narrow = metal(modulus=modulus, poisson=0.3, strength=flow, hardening=hardening)
    return layered(narrow, thickness, kinematic=kinematic, layers=layers, held=0.0)


class SectionFixture:
    """One mm of sheet that is bent step by step, without the beam around it."""

    def __init__(self, law: SectionLaw, *, sub: int = 1) -> None:
        self.law = law
        self.sub = sub
        self.history = law.virgin.copy()
        self.scratch = np.zeros((section.HISTORY, section.SCRATCH))
        self.curvature = self.moment = 0.0
        self.plastic_work = self.work = 0.0
        self.low, self.high = law.low, law.high

    def bend_to(self, curvature: float) -> float:
        """Go to a curvature (1/mm) in ``sub`` steps; the moment (N mm/mm)."""
        change = (curvature - self.curvature) / self.sub
        for _ in range(self.sub):
            before = self.moment
            self.moment, spent, self.low, self.high = section.section_commit(
                self.law.law, self.law.layers, self.history, change, self.scratch
            )
            self.plastic_work += spent
            self.work += 0.5 * (before + self.moment) * change
        self.curvature = curvature
        return self.moment

    def try_at(self, curvature: float) -> tuple[float, float]:
        """Moment and tangent at a curvature; nothing is kept."""
        return section.section_moment(
            self.law.law,
            self.law.layers,
            self.history,
            curvature - self.curvature,
            self.scratch,
        )

    def elastic_energy(self) -> float:
        """Energy per length that the stresses hold (N mm/mm/mm)."""
        layers, h = self.law.layers, self.history
        if self.law.law == section.PROFILE:
            count = int(h[4, 0])
            y, s = h[0, :count], h[1, :count]
            square = s[:-1] ** 2 + s[:-1] * s[1:] + s[1:] ** 2
            return float(np.diff(y) @ square) / 3.0 / float(layers[section.CA, 0])
        held = h[0] ** 2 / layers[section.CA]
        if self.law.law == section.J2_PLANE_STRAIN:
            held = held + h[1] ** 2 / layers[section.CB]
        return float(layers[section.W] @ held)

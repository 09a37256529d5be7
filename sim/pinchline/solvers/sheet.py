"""Beam and contact constants of a sheet, for both solvers."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pinchline.solvers.layers import (
    SectionLaw,
    bending_modulus,
    bulge,
    plane_strain_modulus,
    section_law,
)

if TYPE_CHECKING:
    from pinchline.case.case import Case

SHEAR_FACTOR = 5.0 / 6.0
GRAVITY = 9.80665e-9  # kg/m3 to N/mm3, standard gravity


class SheetProperties(NamedTuple):
    """Constants of the sheet of a case, per mm of width.

    law: of the section; axial, shear: elastic stiffness (N/mm); foundation: contact
    stiffness per area (MPa/mm); bulge: how far both faces stand off the mid-line, over
    the curvature (mm2), 0 where the model leaves it out; weight: per area of the sheet
    (N/mm2), 0 where it does not count; drive_offset: of the centre of the drive over
    the mid-line (mm).
    """

    law: SectionLaw
    axial: float
    shear: float
    foundation: float
    bulge: float
    weight: float
    drive_offset: float


def sheet_properties(case: Case, constrained: float) -> SheetProperties:
    """Beam and contact constants of a sheet; ``constrained``: fraction held flat."""
    model, material, t = case.model, case.sheet.material, case.sheet.thickness
    shear = material.youngs_modulus / (2.0 * (1.0 + material.poisson_ratio))
    return SheetProperties(
        law=section_law(material, t, model, constrained),
        axial=bending_modulus(material, constrained) * t,
        shear=SHEAR_FACTOR * shear * t,
        foundation=model.foundation * plane_strain_modulus(material) / t,
        bulge=bulge(material, t, constrained) if model.bulging else 0.0,
        weight=material.density * GRAVITY * t if model.weight else 0.0,
        drive_offset=(model.drive_share - 0.5) * t,
    )

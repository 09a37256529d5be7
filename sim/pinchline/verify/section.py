"""The section: moment against curvature, one-dimensional and in plane strain."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.metal.material import Cladding
from pinchline.physics import section
from pinchline.verify.check import Check, worst_of
from pinchline.verify.section_fixtures import (
    SectionFixture,
    beam_layers,
    beam_profile,
    closed_form,
    layered,
    metal,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pinchline.solvers.layers import SectionLaw

THICKNESS = 0.8128  # 0.032 in
MODULUS, POISSON, STRENGTH = 72395.0, 0.33, 289.6  # 2024-T3: 10.5e3 and 42 ksi
LAYERS_TOLERANCE = 1.0e-3  # the design asks for 0.1 % of the closed form

PRAGER = "Prager & Hodge, Theory of Perfectly Plastic Solids (1951), from memory"
DERIVED = "derived (references.md 2)"

# references.md 2: m = M/M_y at c = kappa/kappa_y, for each share of hardening
HARDENINGS = (0.0, 0.01, 0.1)
MOMENTS = [
    (1.5, 1.277778, 1.280000, 1.300000),
    (2.0, 1.375000, 1.381250, 1.437500),
    (3.0, 1.444444, 1.460000, 1.600000),
    (5.0, 1.480000, 1.515200, 1.832000),
    (10.0, 1.495000, 1.580050, 2.345500),
    (20.0, 1.498750, 1.683763, 3.348875),
    (50.0, 1.499800, 1.984802, 6.349820),
]
# references.md 2: stress of the surface over yield, bent to c and let go, no hardening
RESIDUAL_STRESS = [
    (1.5, -0.27778),
    (2.0, -0.375),
    (5.0, -0.48),
    (10.0, -0.495),
    (20.0, -0.49875),
]
# references.md 4.1: share of cladding per side, what it carries of the stiffness
CLADDING = [(0.05, 0.271), (0.025, 0.143)]


def bilinear_moment(c: float, h: float) -> float:
    """M/M_y of a rectangle at ``c`` times first-yield curvature, first loading.

    ``h`` is the slope after yield over Young's; Prager and Hodge (1951), from memory,
    with hardening derived in references.md 2.
    """
    if c < 1.0:
        return c
    return (1.0 - h) * (1.5 - 0.5 / c**2) + h * c


def surface_stress(piece: SectionFixture) -> float:
    """Stress of the surface along the bend, MPa."""
    if piece.law.law == section.PROFILE:
        return float(piece.history[1, int(piece.history[4, 0]) - 1])
    return float(piece.history[0, -1] + piece.history[1, -1]) / math.sqrt(2.0)


def checks() -> Iterator[Check]:
    """Check the section in one dimension, then in plane strain, then clad."""
    yield _moments()
    yield _layers()
    yield _reversed()
    yield from _perfect()
    yield from _plane_strain()
    yield _clad()


def _narrow(hardening: float, kinematic: float = 0.0) -> SectionLaw:
    return beam_profile(
        MODULUS, STRENGTH, THICKNESS, hardening=hardening, kinematic=kinematic
    )


def _ratio(law: SectionLaw, c: float) -> float:
    return SectionFixture(law).bend_to(c * law.yield_curvature) / law.first_yield


def _moments() -> Check:
    return worst_of(
        "moment of a narrow rectangle",
        (
            (
                f"M/M_y at c = {row[0]:g}, h = {h:g}",
                row[1 + i],
                _ratio(_narrow(h), row[0]),
            )
            for row in MOMENTS
            for i, h in enumerate(HARDENINGS)
        ),
        source=f"{PRAGER}; hardening {DERIVED}",
        tolerance=1.0e-6,
        reason="the profile is exact, the table has six decimals",
    )


def _layers() -> Check:
    return worst_of(
        "moment of 20 layers",
        (
            (
                f"M/M_y at c = {c:.3g}, h = {h:g}",
                bilinear_moment(c, h),
                _ratio(beam_layers(MODULUS, STRENGTH, THICKNESS, hardening=h), c),
            )
            for h in HARDENINGS
            for c in np.geomspace(1.0, 30.0, 40)
        ),
        source=f"{PRAGER}; hardening {DERIVED}",
        tolerance=LAYERS_TOLERANCE,
        reason="asked of the layers: 0.1 % from first yield to 30 times it",
    )


def _reversed() -> Check:
    h, top = 0.05, 12.0
    law = _narrow(h, kinematic=1.0)
    piece = SectionFixture(law)
    piece.bend_to(top * law.yield_curvature)
    rows = []
    for c in (8.0, 2.0, -4.0, -12.0):
        moment = piece.bend_to(c * law.yield_curvature) / law.first_yield
        branch = bilinear_moment(top, h) - 2.0 * bilinear_moment(0.5 * (top - c), h)
        rows.append((f"M/M_y at c = {c:g} after {top:g}", branch, moment))
    return worst_of(
        "unload and reversed load, kinematic hardening",
        rows,
        source="the first loading doubled, G. Masing (1926), from memory",
        tolerance=1.0e-9,
        reason="both exact: rounding",
    )


def _perfect() -> Iterator[Check]:
    law = _narrow(0.0)
    yield Check(
        what="shape factor M_p/M_y of a rectangle",
        source=PRAGER,
        published=1.5,
        computed=_ratio(law, 1000.0),
        tolerance=1.0e-6,
        reason="at 1000 times first yield the core keeps 3e-7 of the moment",
    )
    piece = SectionFixture(law)
    piece.bend_to(5.0 * law.yield_curvature)
    yield Check(
        what="half depth of the elastic core over t/2 at c = 5",
        source=PRAGER,
        published=0.2,
        computed=float(piece.history[0, 1]) / (0.5 * THICKNESS),
        tolerance=1.0e-9,
        reason="a breakpoint of the exact profile: rounding",
    )
    rows = []
    for c, stress in RESIDUAL_STRESS:
        piece = SectionFixture(law)
        moment = piece.bend_to(c * law.yield_curvature)
        piece.bend_to(c * law.yield_curvature - moment / law.bending)
        rows.append(
            (
                f"surface stress over yield, bent to c = {c:g} and let go",
                stress,
                surface_stress(piece) / STRENGTH,
            )
        )
    yield worst_of(
        "residual stress",
        rows,
        source=DERIVED,
        tolerance=1.0e-5,
        reason="five decimals are printed",
    )


def _plane_strain() -> Iterator[Check]:
    sheet = metal(modulus=MODULUS, poisson=POISSON, strength=STRENGTH)
    law = layered(sheet, THICKNESS, layers=64)
    bend = 0.3 * law.yield_curvature
    inertia = THICKNESS**3 / 12.0
    yield Check(
        what="elastic modulus of a wide sheet over E",
        source="1/(1 - nu^2), any text; 1.122209 at nu = 0.33 (references.md 10.3)",
        published=1.122209,
        computed=SectionFixture(law).bend_to(bend) / bend / inertia / MODULUS,
        tolerance=1.0e-6,
        reason="six decimals are printed; a linear stress is integrated exactly",
    )
    yield Check(
        what="surface stress at first yield over Y, nu = 0.33",
        source="von Mises, Y/sqrt(1 - nu + nu^2), derived (references.md 3.4)",
        published=1.133,
        computed=law.high
        * 12.0
        * law.bending
        / THICKNESS**3
        * 0.5
        * THICKNESS
        / STRENGTH,
        tolerance=5.0e-4,
        reason="three decimals are printed",
    )
    piece = SectionFixture(law, sub=200)
    moment = piece.bend_to(60.0 * law.yield_curvature)
    source = "2/sqrt(3), R. Hill, Mathematical Theory of Plasticity (1950), from memory"
    yield Check(
        what="surface stress of a wide sheet bent far, over Y",
        source=source,
        published=2.0 / math.sqrt(3.0),
        computed=surface_stress(piece) / STRENGTH,
        tolerance=1.0e-6,
        reason="the stress turns to it exponentially",
    )
    yield Check(
        what="moment of a wide sheet bent far, over Y t^2/4",
        source=source,
        published=2.0 / math.sqrt(3.0),
        computed=moment / (STRENGTH * THICKNESS**2 / 4.0),
        tolerance=LAYERS_TOLERANCE,
        reason="asked of the layers: 0.1 %; the core keeps 1/(3 60^2)",
    )
    yield from _fast(closed_form(sheet, THICKNESS), law)
    yield from _hardening()


def _fast(fast: SectionLaw, full: SectionLaw) -> Iterator[Check]:
    """Compare closed form and layers in curvature left: the known cost of the first."""
    left = []
    for law in (full, fast):
        bend = 2.0 * fast.yield_curvature
        moment = SectionFixture(law, sub=200).bend_to(bend)
        left.append(bend - moment / law.bending)
    yield Check(
        what="curvature left of a bend to c = 2, layers over closed form",
        source="design.md 4: a few percent apart for weak bends",
        published=1.0,
        upper=1.02,
        computed=left[0] / left[1],
        reason="yield at 1.133 Y against 1.155 Y: less moment, more left",
    )


def _hardening() -> Iterator[Check]:
    """Check the slope of the moment of a wide sheet that is bent far.

    Of von Mises with plastic modulus H: no strain across fixes the ratio r of the
    stresses, ``(r - nu)/E + (r - 1/2)/H = 0``, and the strain along is ``(1 - nu r)/E +
    (1 - r/2)/H`` per stress. The closed form takes r = 1/2 in its second term alone.
    """
    h, c = 0.05, 60.0
    sheet = metal(modulus=MODULUS, poisson=POISSON, strength=STRENGTH, hardening=h)
    plastic = h / (1.0 - h)  # over E
    ratio = (POISSON * plastic + 0.5) / (1.0 + plastic)
    full = 1.0 / (1.0 - POISSON * ratio + (1.0 - 0.5 * ratio) / plastic)
    fast = 1.0 / (1.0 - POISSON**2 + 0.75 / plastic)
    for name, law, published in (
        ("layers", layered(sheet, THICKNESS, layers=64), full),
        ("closed form", closed_form(sheet, THICKNESS), fast),
    ):
        piece = SectionFixture(law, sub=200)
        piece.bend_to(c * law.yield_curvature)
        _, slope = piece.try_at(1.001 * c * law.yield_curvature)
        yield Check(
            what=f"slope of M of a wide sheet bent far over E t^3/12, h = 0.05, {name}",
            source="von Mises in plane strain, derived; 4/3 H in the closed form",
            published=published,
            computed=slope / (MODULUS * THICKNESS**3 / 12.0),
            tolerance=LAYERS_TOLERANCE,
            reason="asked of the layers: 0.1 %; the stress is still turning a little",
        )


def _clad() -> Check:
    rows = []
    for share, published in CLADDING:
        whole, halved = (
            layered(
                metal(
                    modulus=MODULUS,
                    poisson=POISSON,
                    strength=STRENGTH,
                    clad=Cladding(
                        share=share,
                        youngs_modulus=part * MODULUS,
                        yield_strength=STRENGTH,
                        tangent_modulus=0.0,
                    ),
                ),
                THICKNESS,
            ).bending
            for part in (1.0, 0.5)
        )
        rows.append(
            (
                f"share of the bending stiffness, {share:.1%} per side",
                published,
                2.0 * (1.0 - halved / whole),
            )
        )
    return worst_of(
        "cladding",
        rows,
        source="1 - (1 - 2 share)^3, derived (references.md 4.1)",
        tolerance=5.0e-4,
        reason="three decimals are printed",
        relative=False,
    )

"""Wide sheet and narrow strip: how much of plane strain a width brings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.physics.width import plane_strain_share, searle_number
from pinchline.verify.check import Check, worst_of
from pinchline.verify.section_fixtures import layered, metal

if TYPE_CHECKING:
    from collections.abc import Iterator

SOURCE = "elastic strip, D. G. Ashwell, J. R. Aero. Soc. 54 (1950), solved in "
SOURCE += "references.md 10.3"
POISSON = 0.33
# references.md 10.3: Searle's parameter w^2/(R t), M/(E I kappa)
STIFFENED = [
    (0.1, 1.000036),
    (0.5, 1.000900),
    (1.0, 1.003518),
    (2.0, 1.012862),
    (5.0, 1.049139),
    (10.0, 1.078105),
    (20.0, 1.090649),
    (50.0, 1.101921),
    (100.0, 1.107872),
    (200.0, 1.112071),
    (1000.0, 1.117675),
]


def stiffened(searle: float) -> float:
    """M/(E I kappa) of an elastic strip, by the law that the solver takes for it."""
    modulus, thickness = 70.0e3, 1.0
    strip = metal(modulus=modulus, poisson=POISSON, strength=200.0)
    law = layered(strip, thickness, held=plane_strain_share(searle, POISSON))
    return law.bending / (modulus * thickness**3 / 12.0)


def checks() -> Iterator[Check]:
    """Check the stiffening of a strip, and the parameter of a sheet and a coupon."""
    yield worst_of(
        "bent strip, nu = 0.33",
        (
            (f"M/(E I kappa) at w^2/(R t) = {searle:g}", published, stiffened(searle))
            for searle, published in STIFFENED
        ),
        source=SOURCE,
        tolerance=1.0e-6,
        reason="six decimals are printed",
    )
    for what, width, published, digits in (
        ("sheet 48 in wide", 48.0, 7200.0, 1.0e-3),
        ("coupon 1 in wide", 1.0, 3.1, 1.0e-2),
    ):
        yield Check(
            what=f"w^2/(R t) of a {what}, 0.032 in, at R = 10 in",
            source="Searle, Experimental Elasticity (1908); references.md 10.3",
            published=published,
            computed=searle_number(width, 10.0, 0.032),
            tolerance=digits,
            reason="two digits are printed",
        )

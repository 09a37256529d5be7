"""A roll as a shaft on two bearings: beams of the handbooks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.physics.shaft import (
    Shaft,
    bearing_loads,
    influence,
    middle_compliance,
    shear_coefficient,
)
from pinchline.verify.check import Check

if TYPE_CHECKING:
    from collections.abc import Iterator

SPAN, MODULUS, POISSON = 520.0, 206.0e3, 0.3
# shear deflects a shaft this slim by 2e-12 of what bending does
SLIM_SHAFT = Shaft(SPAN, 1.0e-6 * SPAN, 0.0, MODULUS, POISSON, math.inf)
STIFFNESS = MODULUS * math.pi * SLIM_SHAFT.diameter**4 / 64.0
SLIM_SHAFT_SOURCE = "closed forms; shear is 2e-12 of the bending of a shaft this slim"


def checks() -> Iterator[Check]:
    """Check uniform, partial and point loads, shear, and what the bearings carry."""
    yield _closed(
        "uniform load q over the whole span, over q L^4/384 EI",
        "Roark's Formulas for Stress and Strain, table 8.1 case 2e, from memory",
        5.0,
        middle_compliance(SLIM_SHAFT, SPAN, 0.0) * 384.0 * STIFFNESS / SPAN**4,
    )
    c = 400.0
    yield _closed(
        "load w over the central 400 of 520 mm, over w c/384 EI, mm3",
        "8 L^3 - 4 L c^2 + c^3, handbooks of beams, from memory",
        8.0 * SPAN**3 - 4.0 * SPAN * c**2 + c**3,
        middle_compliance(SLIM_SHAFT, c, 0.0) * 384.0 * STIFFNESS / c,
    )
    yield from _point_loads()
    yield Check(
        what="share of the section of a solid roll that carries shear",
        source="6(1 + nu)/(7 + 6 nu), G. R. Cowper, J. Appl. Mech. 33 (1966), "
        "from memory",
        published=0.886,
        computed=shear_coefficient(0.0, POISSON),
        tolerance=6.0e-4,
        reason="three decimals are printed",
    )
    left, right = bearing_loads(
        SLIM_SHAFT, np.array([100.0]), np.array([300.0]), np.array([2.0])
    )
    yield _closed(
        "share of a load at 200 of 520 mm that the right bearing carries",
        "law of the lever",
        200.0 / 520.0,
        right / (left + right),
    )
    yield _bearings()
    yield _roll()


def _closed(what: str, source: str, published: float, computed: float) -> Check:
    return Check(
        what=what,
        source=source,
        published=published,
        computed=computed,
        tolerance=1.0e-9,
        reason=SLIM_SHAFT_SOURCE,
    )


def _point_loads() -> Iterator[Check]:
    width = 1.0e-3 * SPAN
    for what, share, factor, form in (
        ("point load at mid-span, over P L^3/48 EI", 0.5, 48.0, 1.0),
        ("point load at 0.3 L, under it, over P a^2 b^2/3 E I L", 0.3, 3.0, 0.0441),
    ):
        place = np.array([share * SPAN])
        sink = influence(SLIM_SHAFT, place, place - 0.5 * width, place + 0.5 * width)
        yield Check(
            what=what,
            source="any handbook of beams, from memory",
            published=1.0,
            computed=float(sink[0, 0]) / width * factor * STIFFNESS / SPAN**3 / form,
            tolerance=1.0e-5,
            reason="a strip of a thousandth of the span: its width squared",
        )


def _bearings() -> Check:
    """Sink of a load at 0.3 L by the bearings' springs: (0.7^2 + 0.3^2) F/c."""
    spring, width = 4.0e4, 1.0
    place = np.array([0.3 * SPAN])
    stiff, soft = (
        float(influence(roll, place, place - 0.5 * width, place + 0.5 * width)[0, 0])
        for roll in (
            Shaft(SPAN, 60.0, 0.0, MODULUS, POISSON, stiffness)
            for stiffness in (math.inf, spring)
        )
    )
    return Check(
        what="what bearing springs of c add under a load F at 0.3 L, over F/c",
        source="statics of a bar on two springs",
        published=0.58,
        computed=(soft - stiff) * spring / width,
        tolerance=1.0e-9,
        reason="closed forms; what is left is rounding",
    )


def _roll() -> Check:
    """Middle of a real roll with shear: bending and M/kGA of the handbook, by hand."""
    diameter, c = 60.0, 400.0
    roll = Shaft(SPAN, diameter, 0.0, MODULUS, POISSON, math.inf)
    bending = MODULUS * math.pi * diameter**4 / 64.0
    area = math.pi * diameter**2 / 4.0
    shear = 0.886 * MODULUS / (2.0 * (1.0 + POISSON)) * area
    by_hand = c * (8.0 * SPAN**3 - 4.0 * SPAN * c**2 + c**3) / (384.0 * bending)
    by_hand += (c * SPAN / 4.0 - c**2 / 8.0) / shear
    return Check(
        what="stiffness at the middle of a 60 mm steel roll, 520 mm span, 400 mm sheet",
        source="handbooks of beams, with shear M/kGA, k = 0.886; from memory",
        published=1.0 / by_hand,
        computed=1.0 / middle_compliance(roll, c, 0.0),
        unit="N/mm per mm",
        tolerance=1.0e-4,
        reason="k has three digits and shear is 4 % of the deflection",
    )

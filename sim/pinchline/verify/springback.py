"""Bent and let go: what is left of a bend, through beam, acceptance and release."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pinchline.verify.check import Check, worst, worst_of
from pinchline.verify.section import DERIVED, HARDENINGS, PRAGER, bilinear_moment
from pinchline.verify.section_fixtures import (
    SectionFixture,
    beam_profile,
    closed_form,
    metal,
)
from pinchline.verify.strip_fixture import bent_and_released

if TYPE_CHECKING:
    from collections.abc import Iterator

# references.md 2: c and (c - m)/c for each share of hardening; exact at any c where
# unloading stays elastic, as it does with isotropic hardening
CURVATURE_LEFT = [
    (1.5, 0.148148, 0.146667, 0.133333),
    (2.0, 0.312500, 0.309375, 0.281250),
    (3.0, 0.518519, 0.513333, 0.466667),
    (5.0, 0.704000, 0.696960, 0.633600),
    (10.0, 0.850500, 0.841995, 0.765450),
    (20.0, 0.925062, 0.915812, 0.832556),
    (50.0, 0.970004, 0.960304, 0.873004),
]


class Example(NamedTuple):
    """A worked example of springback: any consistent units, mid-plane radii."""

    source: str
    modulus: float
    strength: float
    thickness: float
    radius: float
    x: float  # R Y / E t
    ratio: float
    free: float
    digits: float  # relative, of what is printed


EXAMPLES = [
    Example(
        "Kalpakjian & Schmid, Manufacturing Engineering and Technology, from memory",
        *(29.0e6, 40.0e3, 0.0359, 0.5, 0.019210, 0.942397, 0.530562, 5.0e-6),
    ),
    Example(
        "D. Morales-Palma, Univ. Seville, sheet-bending notebook, example 8",
        *(210.0e3, 210.0, 1.0, 100.0, 0.1, 0.704, 142.045, 5.0e-6),
    ),
    Example(
        "D. Morales-Palma, Univ. Seville, sheet-bending notebook, example 9",
        *(75.0e3, 180.0, 1.6, 5.0, 7.5e-3, 0.978, 5.115, 6.0e-4),
    ),
]

# references.md 3.4, inches and ksi: thickness; first-yield radius and what 2 in springs
# to, both LT 42 ksi; the bend that ends at 6 in, LT 42 and L 47
SHEET_2024 = [
    (0.020, 2.430, 45.308, 1.3966, 1.2878),
    (0.025, 3.037, 12.904, 1.6311, 1.5098),
    (0.032, 3.887, 6.748, 1.9187, 1.7841),
    (0.040, 4.859, 4.791, 2.2015, 2.0564),
    (0.050, 6.074, 3.817, 2.5022, 2.3487),
    (0.063, 7.653, 3.242, 2.8269, 2.6676),
]
# the same, of a strip too narrow for plane strain: thickness and first-yield radius
NARROW_2024 = [
    (0.020, 2.5),
    (0.025, 3.125),
    (0.032, 4.0),
    (0.040, 5.0),
    (0.050, 6.25),
    (0.063, 7.875),
]
MODULUS_2024, POISSON_2024 = 10.5e3, 0.33  # ksi

# references.md 3.3: E' (MPa), first-yield radius (mm), M_e and M_p (N)
SEVILLE = (230.8e3, 1199.1, 27.71, 41.57)
# as the notebook prints them, with a flow stress of 86.6 MPa: sqrt(3)/2 of yield
SEVILLE_FLOW, SEVILLE_PRINTED = 86.6, (230.8e3, 1599.0, 20.8, 31.2)


def gardiner(x: float) -> float:
    """Give loaded over free radius, F. J. Gardiner, Trans. ASME 79 (1957) 1-9."""
    return 4.0 * x**3 - 3.0 * x + 1.0


def checks() -> Iterator[Check]:
    """Check what is left of a bend: table, cubic, worked examples, plane strain."""
    yield _left()
    yield _trap()
    yield _cubic()
    yield from _examples()
    yield from _fully_plastic()
    yield from _sheet_2024()
    yield from _seville()


def _left() -> Check:
    t = 1.3
    rows = []
    for c, *published in CURVATURE_LEFT:
        for h, share in zip(HARDENINGS, published, strict=True):
            law = beam_profile(70.0e3, 250.0, t, hardening=h)
            bend = c * law.yield_curvature
            rows.append(
                (
                    f"curvature left over loaded at c = {c:g}, h = {h:g}",
                    share,
                    bent_and_released(law, t, bend) / bend,
                )
            )
    return worst_of(
        "bent and let go",
        rows,
        source=f"{PRAGER}; hardening {DERIVED}",
        tolerance=5.0e-6,
        reason="six decimals are printed; a uniform bend has no mesh error",
    )


def kinematic_left(c: float, h: float) -> float:
    """Share of a bend to ``c`` that kinematic hardening leaves, by Masing's rule.

    Unloading is the first loading doubled: it takes all moment off where half of it
    bends by half the way back.
    """
    half = 0.5 * bilinear_moment(c, h)
    low, high = 0.0, c
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (
            (middle, high) if bilinear_moment(middle, h) < half else (low, middle)
        )
    return 1.0 - 2.0 * low / c


def _trap() -> Check:
    t, c, h = 1.0, 20.0, 0.1
    law = beam_profile(70.0e3, 250.0, t, hardening=h, kinematic=1.0)
    bend = c * law.yield_curvature
    return Check(
        what="the same at c = 20, h = 0.1, kinematic: yields again on the way back",
        source="the first loading doubled, G. Masing (1926), from memory",
        published=kinematic_left(c, h),
        computed=bent_and_released(law, t, bend) / bend,
        tolerance=1.0e-6,
        reason="both exact; the search for no moment ends at 1e-12",
    )


def _cubic() -> Check:
    t, modulus, strength = 1.0, 70.0e3, 250.0
    law = beam_profile(modulus, strength, t)
    rows = []
    for x in (0.001, 0.01, 0.0192, 0.1, 0.3, 0.45):
        radius = x * modulus * t / strength
        rows.append(
            (
                f"R loaded over R free at x = R Y/E t = {x:g}",
                gardiner(x),
                bent_and_released(law, t, 1.0 / radius) * radius,
            )
        )
    return worst_of(
        "springback without hardening",
        rows,
        source="F. J. Gardiner, Trans. ASME 79 (1957) 1-9",
        tolerance=1.0e-8,
        reason="the same law: rounding",
    )


def _examples() -> Iterator[Check]:
    for case in EXAMPLES:
        law = beam_profile(case.modulus, case.strength, case.thickness)
        left = bent_and_released(law, case.thickness, 1.0 / case.radius)
        unit = "in" if case.modulus > 1.0e6 else "mm"
        yield Check(
            what=f"free radius of {case.thickness:g} {unit} sheet bent to "
            f"{case.radius:g} {unit}",
            source=case.source,
            published=case.free,
            computed=1.0 / left,
            unit=unit,
            tolerance=case.digits,
            reason="as many digits as are printed",
        )


def _fully_plastic() -> Iterator[Check]:
    t, radius, strength, modulus = 0.036, 5.0, 33.0e3, 33.0e6
    source = "Hosford & Caddell, Metal Forming, bending chapter, from memory"
    law = beam_profile(modulus, strength, t)
    back = 1.0 / radius - bent_and_released(law, t, 1.0 / radius)
    core = 1.0 / (3.0 * (1.0 / radius / law.yield_curvature) ** 2)
    yield Check(
        what="springback of 0.036 in steel at 5 in, elastic core put back",
        source=source,
        published=0.08333,
        computed=back / (1.0 - core),
        unit="1/in",
        tolerance=5.0e-5,
        reason="four digits are printed; the formula leaves the core out, 2.6 %",
    )
    tool = 3.53
    yield Check(
        what="free radius of that sheet from a tool of 3.53 in",
        source=source,
        published=5.0,
        computed=1.0 / bent_and_released(law, t, 1.0 / tool),
        unit="in",
        tolerance=6.0e-3,
        reason="the formula leaves the core out, 1.3 % of the springback there",
    )


def _sheet_2024() -> Iterator[Check]:
    source = "MIL-HDBK-5J; perfectly plastic, plane strain (references.md 3.4)"
    first, free, tools = [], [], []
    for t, radius, sprung, *tool in SHEET_2024:
        laws = {
            name: closed_form(
                metal(modulus=MODULUS_2024, poisson=POISSON_2024, strength=ksi), t
            )
            for name, ksi in (("LT", 42.0), ("L", 47.0))
        }
        first.append((f"{t:g} in", radius, 1.0 / laws["LT"].yield_curvature))
        free.append((f"{t:g} in", sprung, 1.0 / bent_and_released(laws["LT"], t, 0.5)))
        tools += [
            Check(
                what=f"{t:g} in {name} bent to {loaded:g} in",
                published=6.0,
                computed=1.0 / bent_and_released(law, t, 1.0 / loaded),
                tolerance=1.0e-3,
                reason="half of the tool's last digit, five times over",
                source=source,
                unit="in",
            )
            for (name, law), loaded in zip(laws.items(), tool, strict=True)
        ]
    yield worst_of(
        "first-yield radius of 2024-T3 sheet, LT",
        first,
        source=source,
        unit="in",
        tolerance=5.0e-4,
        reason="four digits are printed",
    )
    yield worst_of(
        "free radius of 2024-T3 sheet bent to 2 in, LT",
        free,
        source=source,
        unit="in",
        tolerance=5.0e-4,
        reason="near first yield the fifth digit is lost in rounding",
    )
    yield worst(tools, "free radius of 2024-T3 sheet")
    yield worst_of(
        "first-yield radius of a narrow strip of 2024-T3, LT",
        (
            (
                f"{t:g} in",
                radius,
                1.0 / beam_profile(MODULUS_2024, 42.0, t).yield_curvature,
            )
            for t, radius in NARROW_2024
        ),
        source="E t/2Y (references.md 3.4)",
        unit="in",
        tolerance=1.0e-9,
        reason="exact",
    )


def _seville() -> Iterator[Check]:
    t, source = 1.2, "D. Morales-Palma, Univ. Seville, bending notebook"
    steel = metal(modulus=210.0e3, poisson=0.3, strength=100.0)
    printed = beam_profile(SEVILLE_PRINTED[0], SEVILLE_FLOW, t)
    names = (("E'", "MPa"), ("first-yield radius", "mm"), ("M_e", "N"), ("M_p", "N"))
    for law, values, of, remark, digits in (
        (
            closed_form(steel, t),
            SEVILLE,
            "1.2 mm steel, Y 100 MPa",
            "plane-strain factor put right (references.md 3.3, ERR)",
            5.0e-4,
        ),
        (
            printed,
            SEVILLE_PRINTED,
            f"1.2 mm steel that flows at {SEVILLE_FLOW:g} MPa",
            "as printed",
            2.0e-3,
        ),
    ):
        found = (
            12.0 * law.bending / t**3,
            1.0 / law.yield_curvature,
            law.first_yield,
            SectionFixture(law).bend_to(1000.0 * law.yield_curvature),
        )
        yield worst(
            [
                Check(
                    what=name,
                    source=f"{source}; {remark}",
                    published=published,
                    computed=computed,
                    unit=unit,
                    tolerance=digits,
                    reason="three or four digits are printed",
                )
                for (name, unit), published, computed in zip(
                    names, values, found, strict=True
                )
            ],
            of,
        )

"""Handbook values of sheet, read back from the shipped cards in other units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.case.metal.material import load_material
from pinchline.errors import InputError
from pinchline.verify.check import Check, Row, worst, worst_of

if TYPE_CHECKING:
    from collections.abc import Iterator

INCH, KSI = 25.4, 6.894757  # mm; MPa, references.md 4.1
HANDBOOK = "MIL-HDBK-5J (2003), sheet tables"

# references.md 4.1 and 4.2: card, thickness (in), direction; Fty and Fcy (ksi; None:
# not in the table), E (ksi), density (lb/in^3)
ALLOWABLES = [
    ("2024-T3", 0.032, "L", 47.0, 39.0, 10.5e3, 0.100),
    ("2024-T3", 0.032, "LT", 42.0, 45.0, 10.5e3, 0.100),
    ("2024-T3", 0.200, "L", 47.0, 39.0, 10.5e3, 0.100),
    ("6061-T4", 0.032, "LT", 16.0, 16.0, 9.9e3, 0.098),
    ("6061-T6", 0.032, "L", 36.0, 35.0, 9.9e3, 0.098),
    ("6061-T6", 0.032, "LT", 35.0, 36.0, 9.9e3, 0.098),
    ("5052-O", 0.040, "L", 9.5, None, 10.1e3, 0.097),
    ("5052-H32", 0.040, "L", 23.0, 22.0, 10.1e3, 0.097),
    ("5052-H32", 0.040, "LT", 22.0, 23.0, 10.1e3, 0.097),
]
# typical values in tension (references.md 4.2): card, Fty (MPa), density (kg/m^3)
TYPICAL = [("3003-H14", 145.0, 2730.0)]
# from memory there: card, Fty (ksi)
YIELDS_FROM_MEMORY = [("1100-O", 5.0), ("2024-O", 11.0)]
POUND_PER_CUBIC_INCH = 27679.9  # kg/m^3, exact to six digits
# the same handbook's metric column, rounded (references.md 4.1): 2024-T3, 0.032 in
METRIC = [("L", 324.0, 269.0), ("LT", 290.0, 310.0)]
METRIC_MODULUS, METRIC_DENSITY = 72.4e3, 2768.0
# clad 2024-T3, table 3.2.3.0(e1), basis A: Fty and Fcy (ksi) of the whole sheet, either
# side of the step in cladding at 0.063 in
CLAD_STRENGTHS = [
    (0.062, 0.05, "L", 44.0, 36.0),
    (0.062, 0.05, "LT", 39.0, 42.0),
    (0.063, 0.025, "L", 45.0, 37.0),
    (0.063, 0.025, "LT", 40.0, 43.0),
]
# FAA AC 43.13-1B, table 4-6, larger figure (references.md 5.1): least inside radius in
# thicknesses, of sheet as thick as the column; its column placement from memory
BEND_RADII = [
    ("2024-T3", (3.0, 4.0, 5.0, 6.0, 7.0)),
    ("5052-H32", (0.0, 0.0, 1.0, 1.5, 1.5)),
    ("6061-T4", (1.0, 1.0, 1.5, 2.0, 4.0)),
    ("6061-T6", (1.0, 1.5, 2.0, 3.0, 4.0)),
    ("7075-T6", (4.0, 5.0, 6.0, 7.0, 10.0)),
]
BEND_COLUMNS = (0.016, 0.032, 0.064, 0.128, 0.258)  # in


def checks() -> Iterator[Check]:
    """Check strengths, stiffness and density; the clad sheet; bend radii."""
    yield worst_of(
        "yield strength of a card",
        _strengths(),
        source=HANDBOOK,
        unit="MPa",
        tolerance=1.0e-6,
        reason="a conversion: seven digits of MPa in a ksi",
    )
    yield worst(list(_constants()), "modulus and density of a card")
    yield worst(list(_metric()), "2024-T3 sheet against the metric column")
    yield worst(list(_typical()), "typical value of a card")
    yield worst_of(
        "clad 2024-T3, core and skins together",
        _clad(),
        source="MIL-HDBK-5J, Table 3.2.3.0(e1)",
        unit="MPa",
        tolerance=2.0e-4,
        reason="the card keeps the core's strength to 0.01 ksi",
    )
    yield worst_of(
        "least bend radius",
        _bend_radii(),
        source="FAA AC 43.13-1B, Table 4-6, larger figure; columns from memory",
        tolerance=1.0e-9,
        reason="read back",
        relative=False,
    )
    thin = load_material("2024-T3", "LT", 0.040 * INCH, "verify").minimum_bend_radius
    yield Check(
        what="least bend radius of 0.040 in 2024-T3, in thicknesses",
        source="FAA-H-8083-31, chapter 4: 0.16 in",
        published=4.0,
        upper=math.inf,
        computed=math.nan if thin is None else thin,
        reason="the card takes the larger figure of the AC's next column",
    )


def _strengths() -> Iterator[Row]:
    for name, inch, direction, tension, compression, *_ in ALLOWABLES:
        card = load_material(name, direction, inch * INCH, "verify")
        values = [("Fty", tension, card.yield_tension)]
        if compression is not None:
            values.append(("Fcy", compression, card.yield_compression))
            mean = 0.5 * (tension + compression)
            values.append(("mean, used in bending", mean, card.yield_strength))
        for what, published, computed in values:
            known = math.nan if computed is None else computed
            row = f"{what} of {name} {direction}, {inch:g} in"
            yield row, published * KSI, known


def _constants() -> Iterator[Check]:
    for name, inch, direction, _, _, modulus, density in ALLOWABLES:
        card = load_material(name, direction, inch * INCH, "verify")
        for what, unit, published, computed in (
            ("E", "MPa", modulus * KSI, card.youngs_modulus),
            ("density", "kg/m3", density * POUND_PER_CUBIC_INCH, card.density),
        ):
            yield Check(
                what=f"{what} of {name}",
                source=HANDBOOK,
                published=published,
                computed=computed,
                unit=unit,
                tolerance=2.0e-6,
                reason="a conversion: six digits",
            )


def _metric() -> Iterator[Check]:
    for direction, tension, compression in METRIC:
        card = load_material("2024-T3", direction, 0.032 * INCH, "verify")
        for what, unit, published, computed in (
            ("Fty", "MPa", tension, card.yield_tension),
            ("Fcy", "MPa", compression, card.yield_compression),
            ("E", "MPa", METRIC_MODULUS, card.youngs_modulus),
            ("density", "kg/m3", METRIC_DENSITY, card.density),
        ):
            yield Check(
                what=f"{what}, {direction}",
                source=HANDBOOK,
                published=published,
                computed=math.nan if computed is None else computed,
                unit=unit,
                tolerance=2.0e-3,
                reason="three digits are printed",
            )


def _typical() -> Iterator[Check]:
    public = "public material files"
    rows = [
        (f"Fty of {name}", strength, "MPa", public, name, "yield_strength")
        for name, strength, _ in TYPICAL
    ]
    rows += [
        (f"density of {name}", density, "kg/m3", public, name, "density")
        for name, _, density in TYPICAL
    ]
    rows += [
        (f"Fty of {name}", ksi * KSI, "MPa", "from memory", name, "yield_strength")
        for name, ksi in YIELDS_FROM_MEMORY
    ]
    for what, published, unit, source, name, key in rows:
        card = load_material(name, "L", 0.040 * INCH, "verify")
        yield Check(
            what=what,
            source=f"typical values, {source}",
            published=published,
            computed=float(getattr(card, key)),
            unit=unit,
            tolerance=1.0e-3,
            reason="three digits are printed",
        )


def _clad() -> Iterator[Row]:
    for inch, share, direction, tension, compression in CLAD_STRENGTHS:
        card = load_material("2024-T3-clad", direction, inch * INCH, "verify")
        clad = card.clad
        for what, published, core in (
            ("Fty", tension, card.yield_tension),
            ("Fcy", compression, card.yield_compression),
        ):
            whole = math.nan
            if clad is not None and core is not None:
                whole = (1.0 - 2.0 * share) * core + 2.0 * share * clad.yield_strength
            yield f"{what} of {inch:g} in {direction}", published * KSI, whole


def _bend_radii() -> Iterator[Row]:
    for name, radii in BEND_RADII:
        for inch, radius in zip(BEND_COLUMNS, radii, strict=True):
            try:
                card = load_material(name, "L", min(inch, 0.249) * INCH, "verify")
            except InputError:
                continue  # no strength on file for sheet so thin or so thick
            found = card.minimum_bend_radius
            known = math.nan if found is None else found
            yield f"{name}, {inch:g} in, in thicknesses", radius, known

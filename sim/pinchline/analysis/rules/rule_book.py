"""The hand rules of the trade and the textbooks: formula, source, own range.

Every formula is written as its source prints it and knows nothing of the model. Any
consistent units, mm and MPa here; radii are those of the mid-line unless they are
called inside radii; infinite means that the sheet stays flat.
"""

from __future__ import annotations

import math
from typing import NamedTuple

COMMON = "common practice, no source"
FABRICATOR = 'S. Lazinsky, "Roll control", The Fabricator, Feb 2021'
THOMAS = 'G. H. Thomas, "Workshop bending rolls", Model Engineer, Oct 1976'
BUILDER = "a machine builder's public note"
AC_TABLE = "FAA AC 43.13-1B, Table 4-6, a copy read; column placement from memory"
SHOP_TABLE = "a design shop's public table of bend radii, read"

NO_EXAMPLE = "no worked example on file"

LEAD_IN_SPAN_SHARE = 0.5  # lead-in flat over the span of a pyramid set
LEAD_IN_DISTANCE_SHARE = 1.0  # lead-in flat over the distance from nip to rear roll
PREBENT_FLAT_THICKNESSES = (1.5, 2.0)  # flat of a pre-bent edge, in thicknesses
FLAT_THICKNESSES = (0.8, 5.0)  # flat in general, in thicknesses
TIGHTEST_DIAMETER_RATIO = (
    1.2,
    1.5,
)  # least inside diameter over that of the upper roll
RATED_DIAMETER_RATIO = (
    3.0,
    5.0,
)  # the same at the thickness that the machine is rated for

_IN = 25.4


class Rule(NamedTuple):
    """One hand rule: its name, formula as text, source, and where it holds by itself.

    why: in plain words, what makes it part from the model.
    """

    name: str
    formula: str
    source: str
    holds: str
    why: str


RULES: dict[str, Rule] = {
    "circle": Rule(
        "circle through three rolls",
        "R = (x^2 + y^2 - p^2) / 2(y + p); x, y axis of the rear roll from the nip, "
        "p = r + t/2",
        f"tangents of a circle, derived (references.md 7); in use: {COMMON}",
        "no springback, and a bend that is a circle from nip to rear roll",
        "the bend is sharpest at the nip and fades to nothing at the rear roll, and "
        "the part springs back",
    ),
    "chord": Rule(
        "circle by distance and lift",
        "R = (d^2 + h^2) / 2h; d, h from nip to the rear roll's contact at touch, "
        "raised",
        COMMON,
        "no springback, a circular bend, and rolls of no thickness",
        "it leaves out that the contact walks round the rear roll, that the bend fades "
        "toward it, and springback",
    ),
    "cubic": Rule(
        "cubic springback",
        "R/Rf = 4 x^3 - 3 x + 1, x = R Y/(E t)",
        "F. J. Gardiner, Trans. ASME 79 (1957) 1-9",
        "x up to 0.5: beyond it the section has not yielded",
        "it takes the sheet for a narrow strip that does not harden",
    ),
    "cubic wide": Rule(
        "cubic springback, wide sheet",
        "the same with 2Y/sqrt 3 and E/(1 - nu^2)",
        "F. J. Gardiner, Trans. ASME 79 (1957) 1-9; plane strain any text, from memory",
        "x up to 0.5: beyond it the section has not yielded",
        "it leaves out hardening, and the earlier first yield of wide sheet",
    ),
    "plastic": Rule(
        "perfectly plastic springback",
        "1/R - 1/Rf = 3 S/(t E'), S = 2Y/sqrt 3 and E' = E/(1 - nu^2) of wide sheet",
        "Hosford & Caddell, Metal Forming, bending chapter, from memory",
        "a section that is plastic throughout; our reading: an elastic core of less "
        "than a third of the thickness",
        "it leaves out the elastic core, so it takes too much bend off a gentle one",
    ),
    "hardening": Rule(
        "pure-bending springback with hardening",
        "Rf/R = c/(c - m), m = (1 - h)(1.5 - 0.5/c^2) + h c, c = t E'/(2 S R)",
        "bilinear section, derived (references.md 2); h = 0: Prager & Hodge (1951), "
        "from memory",
        "c from 1 up, and no yielding back as the part opens",
        "it yields wide sheet all at once at 2Y/sqrt 3; real first yield is earlier",
    ),
    "allowance": Rule(
        "bend allowance of the aviation handbook",
        "BA = (0.01743 R + 0.0078 t) N; R inside, N degrees",
        "FAA-H-8083-31, ch. 4",
        "none printed",
        "its neutral line lies at 0.447 t, the model's in the middle",
    ),
    "allowance k": Rule(
        "bend allowance by K",
        "BA = 2 pi N/360 (R + K t), K = 0.33 below R = 2 t, else 0.5; R inside",
        "Groover, Fundamentals of Modern Manufacturing, from memory",
        "none printed",
        "from R = 2 t up its neutral line lies in the middle, as the model's does",
    ),
    "least bend": Rule(
        "minimum bend radius, advisory circular",
        "R = n t; R inside, n by alloy, temper and thickness, for 90 deg",
        AC_TABLE,
        "the alloys and thicknesses of the table",
        "the model knows no crack: it says what the machine reaches, not what tears",
    ),
    "least bend shop": Rule(
        "minimum bend radius, shop table",
        "R by alloy, temper and gauge; R inside",
        SHOP_TABLE,
        "the alloys and gauges of the table",
        "the model knows no crack: it says what the machine reaches, not what tears",
    ),
    "diameter": Rule(
        "tightest diameter",
        "D = 1.2 to 1.5 times the upper roll's; D inside",
        f"{FABRICATOR}; {NO_EXAMPLE}",
        "plate rolls at the thickness they pre-bend",
        "under the rolls the sheet is as tight as the roll; what it opens to then "
        "depends on thickness and temper, which the rule does not ask for",
    ),
    "diameter rated": Rule(
        "tightest diameter at rated thickness",
        "D = 3 to 5 times the upper roll's; D inside",
        f"{FABRICATOR}; {NO_EXAMPLE}",
        "sheet of the thickness that the machine is rated for",
        "it is what a machine's strength bears, and no bound of the bend",
    ),
    "lead-in half": Rule(
        "lead-in flat, half the span",
        "flat = 0.5 d, d between the rolls that carry the sheet",
        f"{THOMAS}; a fabricator's guide; {NO_EXAMPLE}",
        "a pyramid set",
        "in a pinch set the sheet is bent at the nip, not midway",
    ),
    "lead-in": Rule(
        "lead-in flat, nip to rear roll",
        "flat = about d, d from nip to rear roll",
        f"a hobby account of turning the sheet end for end, read; {NO_EXAMPLE}",
        "a pinch set, one pass on flat sheet; here its edge lay over the rear roll's "
        "axis",
        "the raise bends some of the sheet ahead of the nip, more the higher it goes; "
        "the rest stays flat, and with more sheet ahead the flat grows one for one",
    ),
    "run-out prebent": Rule(
        "edge flat after a pre-bend",
        "flat = 1.5 to 2 t",
        f"{FABRICATOR}; {NO_EXAMPLE}",
        "a pinch-type plate roll, edge pre-bent",
        "no sheet bends before it reaches the nip: the flat is what is left in hand "
        "and the arm of the nip",
    ),
    "run-out": Rule(
        "edge flat in general",
        "flat = 0.8 to 5 t",
        f"{BUILDER}; {NO_EXAMPLE}",
        "none printed",
        "no sheet bends before it reaches the nip: the flat is what is left in hand "
        "and the arm of the nip",
    ),
    "strain": Rule(
        "surface strain",
        "e = t/(2 R + t); R inside, of the part",
        "any text, from memory",
        "strain by the radius that the bend has: under the rolls, not once free",
        "the part was tighter under the rolls than it is when it is measured; with the "
        "radius under the rolls the rule is exact",
    ),
}  # fmt: skip


def circle_radius(x: float, y: float, reach: float) -> float:
    """Give the circle that is level at the nip and lies on the rear roll.

    ``x``, ``y``: the roll's axis from the nip; ``reach``: its radius and half the
    thickness. From ``x^2 + (R - y)^2 = (R + reach)^2``.
    """
    rise = y + reach
    if rise <= 0.0:
        return math.inf
    return (x * x + y * y - reach * reach) / (2.0 * rise)


def chord_radius(distance: float, rise: float) -> float:
    """Give the circle level at the nip through a point at ``distance`` and ``rise``."""
    if rise <= 0.0:
        return math.inf
    return (distance * distance + rise * rise) / (2.0 * rise)


def cubic(radius: float, thickness: float, modulus: float, strength: float) -> float:
    """Give the free radius by Gardiner's cubic; infinite from ``x = 0.5`` up."""
    x = gardiner_number(radius, thickness, modulus, strength)
    if x >= 0.5:
        return math.inf
    return radius / (4.0 * x**3 - 3.0 * x + 1.0)


def gardiner_number(
    radius: float, thickness: float, modulus: float, strength: float
) -> float:
    """``x = R Y/(E t)``: half the share of the thickness that stays elastic."""
    return radius * strength / (modulus * thickness)


def fully_plastic(
    radius: float, thickness: float, modulus: float, strength: float
) -> float:
    """Give the free radius by ``1/R - 3 S/(t E')``; infinite where nothing is left."""
    left = 1.0 / radius - 3.0 * strength / (thickness * modulus)
    return 1.0 / left if left > 0.0 else math.inf


def bilinear_moment(c: float, h: float) -> float:
    """``M/M_y`` at ``c`` times the yield curvature; h: tangent over Young's modulus."""
    return c if c <= 1.0 else (1.0 - h) * (1.5 - 0.5 / c**2) + h * c


def hardening(
    radius: float, thickness: float, modulus: float, strength: float, h: float
) -> float:
    """Give the free radius of a bilinear section that opens elastically."""
    c = 0.5 / gardiner_number(radius, thickness, modulus, strength)
    return radius * c / (c - bilinear_moment(c, h)) if c > 1.0 else math.inf


def bend_allowance(inside: float, thickness: float, degrees: float) -> float:
    """``(0.01743 R + 0.0078 T) N`` of the aviation handbook."""
    return (0.01743 * inside + 0.0078 * thickness) * degrees


def bend_allowance_k(inside: float, thickness: float, degrees: float) -> float:
    """Bend allowance with the neutral line at 0.33 t below ``R = 2 t``, else 0.5 t."""
    k = 0.33 if inside < 2.0 * thickness else 0.5
    return math.radians(degrees) * (inside + k * thickness)


def surface_strain(inside: float, thickness: float) -> float:
    """``t/(2 R + t)`` of the inside radius."""
    return thickness / (2.0 * inside + thickness)


# thickness of a column (in): least and largest radius in thicknesses, by alloy
_COLUMNS = (0.016, 0.032, 0.064, 0.128, 0.258)
_LEAST = {
    "2024-O": ((0, 1), (0, 1), (0, 1), (0, 1), (0, 1)),
    "2024-T3": ((1.5, 3), (2, 4), (3, 5), (4, 6), (5, 7)),
    "5052-H32": ((0, 0), (0, 0), (0.5, 1), (0.5, 1.5), (0.5, 1.5)),
    "6061-T4": ((0, 1), (0, 1), (0.5, 1.5), (1, 2), (2.5, 4)),
    "6061-T6": ((0, 1), (0.5, 1.5), (1, 2), (1.5, 3), (3, 4)),
    "7075-T6": ((2, 4), (3, 5), (4, 6), (5, 7), (6, 10)),
}
# gauge (in): inside radius (in), by alloy
_GAUGES = (0.020, 0.025, 0.032, 0.040, 0.050, 0.063, 0.080, 0.090, 0.125)
_SHOP = {
    "2024-T3": (0.063, 0.094, 0.125, 0.188, 0.188, 0.250, 0.344, 0.375, 0.562),
    "6061-T6": (0.063, 0.094, 0.094, 0.125, 0.156, 0.188, 0.281, 0.312, 0.500),
    "5052-H32": (0.063, 0.063, 0.063, 0.063, 0.094, 0.094, 0.156, 0.156, 0.188),
}
_PRINTED = 0.0005  # in: half the last digit of a printed gauge
Interval = tuple[float, float]


def _column(edges: tuple[float, ...], thickness: float) -> int | None:
    """Find the column of a thickness (mm): the first that is not thinner."""
    inches = thickness / _IN
    return next((i for i, e in enumerate(edges) if inches <= e + _PRINTED), None)


def _plain(alloy: str) -> str:
    return alloy.removesuffix("-clad")


def least_bend(alloy: str, thickness: float) -> Interval | None:
    """Least inside radius (mm) of a sheet (mm), the table's two figures.

    The next thicker column, as a shop reads it; None where there is no entry.
    """
    column = _column(_COLUMNS, thickness)
    row = _LEAST.get(_plain(alloy))
    if row is None or column is None:
        return None
    low, high = row[column]
    return low * thickness, high * thickness


def least_bend_shop(alloy: str, thickness: float) -> float | None:
    """Least inside radius (mm) of the shop's table; None where there is no entry."""
    column = _column(_GAUGES, thickness)
    row = _SHOP.get(_plain(alloy))
    if row is None or column is None:
        return None
    return row[column] * _IN

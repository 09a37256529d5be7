"""Shape of the part: arcs laid out, chord and rise, fitted circle, blanks, a nose."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.parts.measure import (
    Outline,
    chord_and_rise,
    fit_circle,
    free_outline,
    straightedge_flat,
)
from pinchline.parts.smoothing import fit_curvature
from pinchline.verify.check import Check, Row, worst_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

SOURCE = "exact (references.md 10.2)"
# references.md 10.2: radius, chord; rise and arc
SEGMENTS = [
    (10.0, 10.0, 1.339746, 10.471976),
    (10.0, 5.0, 0.317542, 5.053605),
    (50.0, 24.0, 1.461356, 24.236585),
    (6.0, 4.0, 0.343146, 4.078043),
]
# FAA-H-8083-31 and AC 43.13-1B (references.md 5.3): 90 deg bend of 0.040 in sheet at
# an inside radius of 0.156 in
BEND_ALLOWANCE, BEND_RADIUS, BEND_THICKNESS = 0.27280, 0.156, 0.040

NACA = "NACA 4-digit section, formula (references.md 10.1)"
# references.md 10.1: thickness over chord; arc length of one surface, in chords, from
# the nose to each of NOSE_ENDS
NOSE_ENDS = (0.05, 0.10, 0.30, 1.00)
NOSES = {
    0.09: (0.059441, 0.110172, 0.310539, 1.012190),
    0.12: (0.064762, 0.116052, 0.316705, 1.019636),
    0.15: (0.070696, 0.122697, 0.323714, 1.028286),
    0.18: (0.077107, 0.129961, 0.331422, 1.037992),
}
NOSE_POINTS = 121


def nose_points(
    share: float, end: float, count: int = NOSE_POINTS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points of a 4-digit section of unit chord, round the nose from x = end to end.

    ``share``: thickness over chord. Their root of x is evenly spaced.
    """
    root = np.linspace(-math.sqrt(end), math.sqrt(end), count)
    x = root * root
    rest = x * (-0.1260 + x * (-0.3516 + x * (0.2843 - 0.1015 * x)))
    return x, 5.0 * share * (0.2969 * root + np.sign(root) * rest)


def arc(radius: float, length: float, elements: int) -> Outline:
    """Lay out a part that is bent to one radius (mm) over its length (mm)."""
    return free_outline(np.full(elements, 1.0 / radius), length / elements)


def checks() -> Iterator[Check]:
    """Check segments, the straightedge, the blank of a bend, the nose of a section."""
    yield from _segments()
    yield _straightedge()
    yield _blank()
    yield from _noses()


def _segments() -> Iterator[Check]:
    chords: list[Row] = []
    rises: list[Row] = []
    radii: list[Row] = []
    elements = 40
    for radius, chord, rise, length in SEGMENTS:
        outline = arc(radius, length, elements)
        measured = chord_and_rise(outline, 0, elements)
        named = f"R = {radius:g}, chord {chord:g}, arc {length:g}"
        for bag, published, computed in (
            (chords, chord, measured[0]),
            (rises, rise, measured[1]),
            (radii, radius, fit_circle(outline.x, outline.y).radius),
        ):
            bag.append((named, published, computed))
    reason = "six decimals of rise and arc are printed"
    for of, rows in (
        ("chord of an arc laid out", chords),
        ("rise over that chord", rises),
        ("circle fitted to that arc", radii),
    ):
        yield worst_of(
            of, rows, source=SOURCE, unit="mm", tolerance=2.0e-6, reason=reason
        )


def _straightedge() -> Check:
    """Where a straightedge on the edge of an arc gapes by 0.1 mm: R (1 - cos) = 0.1."""
    radius, gap, elements, length = 75.0, 0.1, 400, 100.0
    outline = arc(radius, length, elements)
    s: NDArray[np.float64] = np.linspace(0.0, length, elements + 1)
    return Check(
        what="straightedge laid on the edge of an arc of 75 mm gapes by 0.1 mm at",
        source="R arccos(1 - gap/R), exact",
        published=radius * math.acos(1.0 - gap / radius),
        computed=straightedge_flat(outline, s, gap, from_end=False),
        unit="mm",
        tolerance=1.0e-3,
        reason="the gap is taken as linear over an element of 0.25 mm",
    )


def _blank() -> Check:
    """Length of mid-line that turns by a right angle, as a blank is cut."""
    elements = 90
    middle = BEND_RADIUS + 0.5 * BEND_THICKNESS
    length = 0.5 * math.pi * middle
    turned = float(arc(middle, length, elements).theta[-1])
    return Check(
        what="blank of a 90 deg bend, 0.040 in sheet, inside radius 0.156 in",
        source="FAA bend allowance (0.01743 R + 0.0078 T) N (references.md 5.3)",
        published=BEND_ALLOWANCE,
        computed=length * 0.5 * math.pi / turned,
        unit="in",
        tolerance=0.02,
        reason="the allowance's neutral line lies at 0.447 t, ours in the middle",
        finding="our neutral line is the middle of the sheet; 0.05 t matter at a "
        "radius of 4 t (1.3 %), and are 0.1 % of the blank at radii that rolls make",
    )


def _noses() -> Iterator[Check]:
    """Blank and nose radius of a part drawn by points, as a plan's target is."""
    lengths: list[Row] = []
    radii: list[Row] = []
    for share, row in NOSES.items():
        name = f"00{100.0 * share:02.0f}"
        for end, published in zip(NOSE_ENDS, row, strict=True):
            fit = fit_curvature(*nose_points(share, end))
            lengths.append(
                (f"{name} to x/c = {end:g}", published, 0.5 * float(fit.s[-1]))
            )
            if end == NOSE_ENDS[0]:
                middle = np.interp(0.5 * fit.s[-1], fit.s, np.abs(fit.curvature))
                radii.append((name, 1.1019 * share * share, 1.0 / float(middle)))
    yield worst_of(
        "blank of a nose through points, from the nose to x",
        lengths,
        source=NACA,
        unit="chords",
        tolerance=2.0e-5,
        reason="six decimals are printed; 121 points on the longest line",
    )
    yield worst_of(
        "radius of a nose through points, 1.1019 t^2 c",
        radii,
        source=NACA,
        unit="chords",
        tolerance=0.02,
        reason="the section is 0.5 to 1.9 % tighter just beside its "
        "nose, which smooth points round off",
    )

"""Shape of the free part: arcs laid out, chord and rise, the fitted circle, blanks."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.process.measure import (
    Outline,
    chord_and_rise,
    fit_circle,
    free_outline,
    straightedge_flat,
)
from pinchline.verify.check import Check, worst

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


def arc(radius: float, length: float, elements: int) -> Outline:
    """Lay out a part that is bent to one radius (mm) over its length (mm)."""
    return free_outline(np.full(elements, 1.0 / radius), length / elements)


def checks() -> Iterator[Check]:
    """Check segments of a circle, the straightedge, and the blank of a bend."""
    yield from _segments()
    yield _straightedge()
    yield _blank()


def _segments() -> Iterator[Check]:
    chords: list[Check] = []
    rises: list[Check] = []
    radii: list[Check] = []
    elements = 40
    for radius, chord, rise, length in SEGMENTS:
        outline = arc(radius, length, elements)
        found = chord_and_rise(outline, 0, elements)
        named = f"R = {radius:g}, chord {chord:g}, arc {length:g}"
        for bag, published, computed in (
            (chords, chord, found[0]),
            (rises, rise, found[1]),
            (radii, radius, fit_circle(outline.x, outline.y).radius),
        ):
            bag.append(
                Check(
                    what=named,
                    source=SOURCE,
                    published=published,
                    computed=computed,
                    unit="mm",
                    tolerance=2.0e-6,
                    reason="six decimals of rise and arc are printed",
                )
            )
    yield worst(chords, "chord of an arc laid out")
    yield worst(rises, "rise over that chord")
    yield worst(radii, "circle fitted to that arc")


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

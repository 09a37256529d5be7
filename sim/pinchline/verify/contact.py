"""A roll on the sheet: the foundation's own closed form, and Hertz beside it.

The give of the sheet at a roll is a foundation of springs, which is not Hertz: the
checks hold the kernels to the foundation's closed form, and the findings say how far
that is from a half-space.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.case.case import parse_case
from pinchline.physics.contact import roll_forces
from pinchline.physics.rolls import (
    CONTACT_END,
    CONTACT_START,
    FORCE_Y,
    LARGEST_DEPTH,
    ROLL_RESULTS,
)
from pinchline.solvers.stepped.state import new_state
from pinchline.solvers.supports import clamped_depths
from pinchline.verify.check import Check, worst
from pinchline.verify.elastica import elastic
from pinchline.verify.strip_fixture import StripFixture

if TYPE_CHECKING:
    from collections.abc import Iterator

# references.md 9: steel roll on flat 2024-T3 sheet; E* of the pair (MPa); line force
# (N/mm), half-width b (mm), largest pressure p0 (MPa)
ROLL, THICKNESS, CONTACT_MODULUS = 38.1, 0.8, 59865.0
HERTZ = [
    (1.0, 0.02847, 22.36),
    (5.0, 0.06365, 50.01),
    (10.0, 0.09002, 70.72),
    (20.0, 0.12730, 100.02),
    (50.0, 0.20129, 158.14),
    (100.0, 0.28466, 223.64),
    (200.0, 0.40257, 316.28),
]
JOHNSON = "K. L. Johnson, Contact Mechanics (1985)"
FOUNDATION = f"elastic foundation, {JOHNSON} section 4.3, from memory, derived again"

CLAMP_FORCE = 20.0  # N/mm of clamp
RIGID, CLAMPED = 'clearance = "0.05 mm"', f'clamp = "{CLAMP_FORCE} N/mm"'
SHEET = f"""
[sheet]
material = "2024-T3"
direction = "LT"
thickness = "{THICKNESS} mm"
length = "100 mm"
width = "400 mm"
[machine]
use = "bench-76"
[machine.nip]
{RIGID}
[[move]]
kind = "place"
at = "50 mm"
"""


class PressedSheet(NamedTuple):
    """A roll pressed into flat sheet: force (N/mm), half patch, depth (mm)."""

    force: float
    half_patch: float
    depth: float


def foundation() -> float:
    """Stiffness per area (MPa/mm) that the solver gives the sheet of ``SHEET``."""
    return new_state(parse_case(SHEET, path="verify")).sheet.foundation


def press(depth: float, stiffness: float, radius: float = ROLL) -> PressedSheet:
    """Press a roll into straight sheet to a depth; what the kernels make of it."""
    reach = radius + 0.5 * THICKNESS
    half = math.sqrt(2.0 * reach * depth)
    elements = 64
    strip = StripFixture(elastic(THICKNESS), 4.0 * half, elements, THICKNESS)
    rolls = np.array([[2.0 * half, reach - depth, reach, 0.0, 0.0, 0.0]])
    out = np.zeros((1, ROLL_RESULTS))
    element = strip.beam.length
    roll_forces(strip.beam, strip.chain, 0, elements, stiffness, rolls, out)
    patch = out[0, CONTACT_END] - out[0, CONTACT_START] + element / 8.0
    return PressedSheet(
        -float(out[0, FORCE_Y]), 0.5 * float(patch), float(out[0, LARGEST_DEPTH])
    )


def press_with(force: float, stiffness: float) -> PressedSheet:
    """Press the roll with a line force (N/mm)."""
    low, high = 0.0, 0.1 * THICKNESS
    for _ in range(60):
        depth = 0.5 * (low + high)
        state = press(depth, stiffness)
        low, high = (depth, high) if state.force < force else (low, depth)
    return state


def checks() -> Iterator[Check]:
    """Check a roll on flat sheet."""
    k = foundation()
    yield from _closed_form(k)
    yield _clamp(k)
    yield from _hertz(k)
    yield _layer(k)


def _closed_form(k: float) -> Iterator[Check]:
    """Hold the kernels to ``P = 2/3 k a^3/R`` and ``a^2 = 2 R d`` on a parabola."""
    reach = ROLL + 0.5 * THICKNESS
    forces: list[Check] = []
    patches: list[Check] = []
    for depth in (1.0e-4, 1.0e-3, 4.0e-3):
        state = press(depth, k)
        half = math.sqrt(2.0 * reach * depth)
        for bag, what, published, computed in (
            (forces, "N/mm", 2.0 / 3.0 * k * half**3 / reach, state.force),
            (patches, "mm", half, state.half_patch),
        ):
            bag.append(
                Check(
                    what=f"{depth:g} mm deep",
                    source=FOUNDATION,
                    published=published,
                    computed=computed,
                    unit=what,
                    tolerance=5.0e-3 if what == "mm" else 1.0e-3,
                    reason="256 points across the patch, which ends between two",
                )
            )
    yield worst(forces, "force of a roll pressed into flat sheet")
    yield worst(patches, "half-width of its patch")


def _clamp(k: float) -> Check:
    """Take the depth to which the clamp sinks the upper roll: its force comes back."""
    case = parse_case(SHEET.replace(RIGID, CLAMPED), path="verify")
    depth, _ = clamped_depths(case, k)
    return Check(
        what=f"force of a roll as deep as a clamp of {CLAMP_FORCE:g} N/mm sinks it",
        source=FOUNDATION,
        published=CLAMP_FORCE,
        computed=press(depth, k, case.machine.rolls.upper_radius).force,
        unit="N/mm",
        tolerance=1.0e-3,
        reason="256 points across the patch",
    )


def _hertz(k: float) -> Iterator[Check]:
    """Compare the foundation's patch and pressure with those of Hertz."""
    wide = (
        "the foundation is wider and softer than Hertz at any force that hand rolls "
        "reach: it is calibrated on passes near wrap, where the patch is about as "
        "wide as the sheet is thick, not on flat sheet in the nip"
    )
    for force, half, pressure in (HERTZ[2], HERTZ[5], HERTZ[6]):
        state = press_with(force, k)
        for what, unit, known, published, computed in (
            ("half-width b", "mm", 1.2, half, state.half_patch),
            ("largest pressure p0", "MPa", 0.5, pressure, k * state.depth),
        ):
            yield Check(
                what=f"{what} of a 76.2 mm roll on flat 0.8 mm 2024-T3, {force:g} N/mm",
                source=f"Hertz; {JOHNSON} eqs 4.43-4.45, from memory",
                published=published,
                computed=computed,
                unit=unit,
                tolerance=known,
                reason="what the foundation is known to part by",
                finding=wide,
            )
    # both patches alike: (3PR/2k)^(1/3) = (4PR/(pi E*))^(1/2)
    force = (1.5 * ROLL / k) ** 2 * (math.pi * CONTACT_MODULUS / (4.0 * ROLL)) ** 3
    state = press_with_half(1.5 * math.pi * CONTACT_MODULUS / (4.0 * k), k)
    yield Check(
        what="half-width over thickness at which both patches are alike",
        source="Hertz asks for b much less than t (references.md 9)",
        published=0.5,
        computed=state.half_patch / THICKNESS,
        tolerance=0.7,
        reason="what the foundation is known to part by",
        relative=False,
        finding="the two patches meet beyond all of Hertz's own range, at "
        f"{force / 1000.0:.1f} kN/mm",
    )


def press_with_half(half: float, stiffness: float) -> PressedSheet:
    """Press the roll until its patch is ``half`` (mm) to each side."""
    return press(half**2 / (2.0 * (ROLL + 0.5 * THICKNESS)), stiffness)


def _layer(k: float) -> Check:
    """Compare the stiffness with that of half a layer squeezed between flats."""
    case = parse_case(SHEET, path="verify")
    material = case.sheet.material
    modulus = material.youngs_modulus / (1.0 - material.poisson_ratio**2)
    return Check(
        what="foundation over half a layer squeezed between flats, 2 E'/t",
        source="plane strain, no friction; derived",
        published=1.0,
        computed=k / (2.0 * modulus / THICKNESS),
        tolerance=0.65,
        reason="what the foundation is known to part by",
        finding="0.8 E'/t, calibrated on a continuum: softer, for it stands also for "
        "the moment that a patch narrower than the sheet is thick takes off",
    )

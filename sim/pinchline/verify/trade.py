"""Facts of the trade on a rolled part: flats, smallest diameter, springback, forces."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.verify.check import Check
from pinchline.verify.contact import CONTACT_MODULUS, JOHNSON
from pinchline.verify.job import (
    THICKNESS,
    TOP_ROLL_RADIUS,
    bare_move,
    feed,
    lift,
    mean_over,
    place,
    roll,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pinchline.results.schema import Result

REAR_DISTANCE_MM = 64.0  # nip line to rear roll of the machine, mm
SHEET_LEFT_MM = 2.0  # mm of sheet in hand at the operator's edge when the feed stops
PASS_LIFT_MM = 26.0  # mm of lift of the pass
THOMAS = 'G. H. Thomas, "Workshop bending rolls", Model Engineer, Oct 1976'
FABRICATOR = "The Fabricator, Feb 2021"

ONE_PASS = (
    place(230)
    + lift(PASS_LIFT_MM)
    + feed("rear", leave=SHEET_LEFT_MM)
    + bare_move("lower")
)
TURNED = ONE_PASS + bare_move("turn") + ONE_PASS.replace("230", "70")
AT_WRAP = place(40) + lift(34) + feed("operator", by=60)


def checks() -> Iterator[Check]:
    """Check one forward pass, a pass from each end, and a pass at wrap."""
    one = roll(ONE_PASS)
    yield from _flats(one)
    yield from _mechanics(one)
    yield from _smallest()


def _flats(one: Result) -> Iterator[Check]:
    lead, run_out = (
        one.summary[f"flat_{k}_straightedge"] for k in ("rear", "operator")
    )
    yield Check(
        what="lead-in flat over run-out flat after one forward pass",
        source=f"the leading end stays straight, {THOMAS}",
        published=3.0,
        upper=math.inf,
        computed=lead / run_out,
        reason="much longer; three times is our reading, no number in the source",
    )
    yield Check(
        what="lead-in flat over the distance from nip to rear roll",
        source="a flat forms between front and back rolls, hobby account; half the "
        f"span of a pyramid set, {THOMAS}",
        published=1.0,
        computed=lead / REAR_DISTANCE_MM,
        tolerance=0.25,
        reason="'about' in the sources; the rear contact nears the nip as it rises",
    )
    yield Check(
        what="run-out flat that bore no yield, in thicknesses, 2 t left in hand",
        source=f"0.8 to 5 t, a machine builder's public note; 1.5 to 2 t, {FABRICATOR}",
        published=0.8,
        upper=5.0,
        computed=one.summary["flat_operator_moment"] / THICKNESS,
        reason="the note's own range; the flat follows what is left in hand",
    )
    yield Check(
        what="the same over what was left in hand: never less",
        source="no sheet bends before the nip; zero would need infinite force, a "
        "machine builder's public note",
        published=1.0,
        upper=math.inf,
        computed=one.summary["flat_operator_moment"] / SHEET_LEFT_MM,
        reason="a bound",
    )
    turned = roll(TURNED)
    yield Check(
        what="lead-in flat after a second pass, turned end for end, over that of one",
        source="turning end for end cures the flat, hobby account; common practice",
        published=0.0,
        upper=1.0 / 3.0,
        computed=turned.summary["flat_rear_straightedge"] / lead,
        reason="cured; a third is our reading, no number in the source",
    )


def _mechanics(one: Result) -> Iterator[Check]:
    zone = 60.0, 150.0
    yield Check(
        what="place of the largest moment over the distance to the rear roll",
        source=f"the moment is greatest at the nip, {THOMAS}",
        published=0.0,
        upper=0.1,
        computed=mean_over(one, "moment_peak_place", *zone) / REAR_DISTANCE_MM,
        reason="at the nip; a tenth is our reading, no number in the source",
    )
    loaded, moment, left = (
        mean_over(one, f"{name}", *zone)
        for name in ("curvature_loaded_peak", "moment_peak", "curvature_residual")
    )
    inputs = one.inputs
    stiffness = inputs["moment_first_yield"] / inputs["curvature_first_yield"]
    yield Check(
        what="curvature left on the plateau over loaded curvature less M/E'I",
        source="closed-loop roll bending, an abstract read (references.md 7)",
        published=1.0,
        computed=left / (loaded - moment / stiffness),
        tolerance=1.0e-3,
        reason="largest curvature and moment may fall a step apart: 0.01 % of each",
    )
    yield Check(
        what="closing error of that pass's energy account, over the work",
        source="first law; design.md 4 asks for 0.5 %",
        published=0.0,
        upper=0.005,
        computed=one.summary["energy_error_max"],
        reason="asked at the shipped resolution",
    )
    yield Check(
        what="largest force of a roll over that at which sheet yields under it",
        source=f"Hertz, p0 = 1.79 Y, {JOHNSON}, from memory",
        published=0.0,
        upper=1.0,
        computed=one.summary["force_upper_max"]
        / yielding_force(one.inputs["yield_strength"]),
        reason="so that the contact may be taken as elastic",
    )


def yielding_force(strength: float) -> float:
    """Line force (N/mm) of a roll on flat sheet at ``p0 = 1.79 Y``, Hertz.

    The pair's modulus is that of steel on 2024-T3, 3 % above that of 5052.
    """
    return (1.79 * strength) ** 2 * math.pi * TOP_ROLL_RADIUS / CONTACT_MODULUS


def _smallest() -> Iterator[Check]:
    zone = 65.0, 95.0
    soft, hard = (roll(AT_WRAP, 160.0, name) for name in ("5052-H32", "2024-T3"))
    loaded = mean_over(soft, "curvature_loaded_peak", *zone)
    yield Check(
        what="radius of the wrap bound",
        source="geometry: mid-line of a 1 mm sheet on a roll of 30 mm",
        published=30.5,
        computed=1.0 / soft.inputs["curvature_wrap"],
        unit="mm",
        tolerance=1.0e-9,
        reason="a sum",
    )
    yield Check(
        what="radius under the rolls at wrap over that of roll and half thickness",
        source="geometry: the sheet lies on the rigid roll",
        published=1.0,
        computed=1.0 / loaded / (TOP_ROLL_RADIUS + 0.5 * THICKNESS),
        tolerance=0.01,
        reason="the contact's patch gives a little",
    )
    springs = (
        "the range is that of plate rolls on mild steel; hard thin sheet springs "
        "further: it already lies on the roll, and more lift does nothing"
    )
    for name, result, finding in (("5052-H32", soft, ""), ("2024-T3", hard, springs)):
        inside = 1.0 / mean_over(result, "curvature_residual", *zone) - 0.5 * THICKNESS
        yield Check(
            what=f"least inside diameter over that of the top roll, 1 mm {name}",
            source=f"1.2 to 1.5, {FABRICATOR}",
            published=1.2,
            upper=1.5,
            computed=inside / TOP_ROLL_RADIUS,
            tolerance=0.15 if finding else 0.0,
            reason="the trade's own range",
            finding=finding,
        )

"""What a set-up sheet says: moves, measurements, corrections, closing, cautions."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline import units
from pinchline.analysis.scatter.inputs import inputs_of, laid_in_again
from pinchline.messages import alone
from pinchline.reports.plan.setup_sketch import rule_length
from pinchline.reports.style.paper import Block, Cells
from pinchline.reports.style.table import SAFETY_CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinchline.analysis.planning.plan import Effect, Plan
    from pinchline.reports.plan.measurements import Measurement
    from pinchline.reports.plan.steps import Steps
    from pinchline.units import System

RULE_MEASURED_MM = 20.0  # mm: longer sizes are measured with a rule, not a gauge
MIN_OPENING_PER_LIFT = 1.0  # mm of opening per mm of lift: less is no handle on it
# what a row of corrections mends of the opening: mm, and in words
CORRECTION_STEPS: dict[System, tuple[float, str]] = {
    "metric": (1.0, "1 mm"),
    "inch": (25.4 / 16.0, "1/16 in"),
}


def setup_blocks(
    plan: Plan,
    measured: Sequence[Measurement],
    steps: Steps,
    system: System,
    *,
    noted: bool,
) -> list[Block]:
    """Everything below the sketches, in the order it is read."""
    blocks = [
        _moves(plan, steps, system),
        _measure(plan, measured, system),
        _correct(plan, steps, system),
        *_closing(plan, system),
    ]
    if not plan.reached:
        blocks.insert(0, _refusal(plan, system))
    if noted and plan.notes:
        notes = "\n".join(f"{note[:1].upper()}{note[1:]}." for note in plan.notes)
        blocks.append(Block("Notes", alone(notes, system)))
    return [*blocks, Block("Cautions", SAFETY_CAUTIONS)]


def _refusal(plan: Plan, system: System) -> Block:
    """Say in a box that the part cannot be made, why, and what would help."""
    missed = [
        f"{d.name} {units.format(d.made, d.dimension, system)} for "
        f"{units.format(d.wanted, d.dimension, system)}"
        for d in plan.deviations
        if not d.good
    ]
    words = f"What binds: {plan.limit}."
    if missed:
        words += f" This job makes the nearest part: {', '.join(missed)}."
    stops = [event.message for event in plan.result.events if event.level == "stop"]
    if stops:
        words += f" It stops on the way: {stops[0]}."
    if plan.changes:
        words += f" What would help: {'; or '.join(plan.changes)}."
    return Block("THE WANTED PART IS NOT REACHED", alone(words, system), boxed=True)


def _number(value: float, decimals: int) -> str:
    return "" if math.isnan(value) else f"{value:.{decimals}f}"


def _mm(value: float, system: System, decimals: tuple[int, int]) -> str:
    """Give a length without its unit, with its decimals in mm and in inches."""
    number, _ = units.display(value, "length", system)
    return _number(number, decimals[system == "inch"])


def _moves(plan: Plan, steps: Steps, system: System) -> Block:
    """List the order of moves."""
    unit = units.display(0.0, "length", system)[1]
    rows = [
        (
            str(i),
            row.do,
            row.mark,
            _mm(row.fed, system, (1, 2)),
            _number(row.crank, 2),
            _mm(row.lift, system, (2, 3)),
            _number(row.turns, 2),
            _mm(row.gap, system, (2, 3)),
        )
        for i, row in enumerate(steps.rows, 1)
    ]
    heads = ("", "", "mark", "feed", "crank", "lift", "screw", "gap")
    number, _ = units.display(plan.case.machine.rolls.upper_radius, "length", system)
    offset = plan.case.machine.rear.touch_offset
    counted = "Lift, screw turns: from"
    if offset != 0.0:
        side = "above" if offset > 0.0 else "below"
        counted = (
            "Screw turns: from the zero of the scale, "
            f"{rule_length(abs(offset), system)} {side} touch as strips showed. "
            "Lift: from"
        )
    words = (
        f"{counted} touch, where the rear roll just meets the flat "
        "gripped sheet. Gap: gauge blocks between upper and rear roll, both ends, "
        "unloaded, scraps of the sheet in the nip. The nip line lies "
        f"{number:.4g} {unit} behind a square set against the front of the upper roll."
    )
    widths = (7.0, 0.0, 12.0, 15.0, 14.0, 15.0, 14.0, 15.0)
    columns = zip(heads, widths, zip(*rows, strict=True), strict=True)
    filled = [column for column in columns if any(column[2])]
    cells = Cells(
        tuple(head for head, *_ in filled),
        tuple(width for _, width, _ in filled),
        tuple(zip(*(texts for *_, texts in filled), strict=True)),
    )
    return Block(f"Order of moves ({unit}, turns)", words, cells)


def _measure(plan: Plan, measured: Sequence[Measurement], system: System) -> Block:
    """List what to measure, what to expect, how far it may be off."""
    unit = units.display(0.0, "length", system)[1]
    rows = []
    for one in measured:
        decimals = (1, 2) if one.expected > RULE_MEASURED_MM else (2, 3)
        expected, *bands = (
            _mm(value, system, decimals)
            for value in (one.expected, one.band, one.tolerance)
        )
        rows.append((one.words, expected or "-", *map(_plus_minus, bands)))
    spread = any(not math.isnan(one.band) for one in measured)
    words = _spread_words(plan, system) if spread else ""
    heads = ("", "expect", "spread", "tolerance")
    table = Cells(heads, (0.0, 18.0, 18.0, 21.0), tuple(rows))
    return Block(f"Measure on the free part ({unit})", words, table)


def _plus_minus(text: str) -> str:
    """Say a band, "-" without one; what rounds to nothing is less than a last digit."""
    if not text:
        return "-"
    return f"\u00b1 {text}" if float(text) else f"< {text[:-1]}1"


def _spread_words(plan: Plan, system: System) -> str:
    """Say what the spread of the measurements stands for."""
    known = {one.key: one for one in inputs_of(plan.case, centred=True)}
    each = []
    for key, name in (("thickness", "thickness"), ("yield_strength", "yield strength")):
        if key in known and known[key].middle > 0.0:
            one = known[key]
            wide = "within" if one.law == "even" else "standard deviation"
            each.append(f"{name} {wide} {100.0 * one.spread / one.middle:.1f} %")
    if "lift" in known and not laid_in_again(plan.case):  # there two runs tell it
        each.append(
            f"lifts within {units.format(known['lift'].spread, 'length', system)}"
        )
    return (
        f"Spread: nine strips in ten, about this plan's sheet: {', '.join(each)} (from "
        "the card, from [scatter] of the case, or assumed; pinchline scatter tells)."
    )


def _correct(plan: Plan, steps: Steps, system: System) -> Block:
    """Say what to change where the part comes out open or tight."""
    unit = units.display(0.0, "length", system)[1]
    amount, step = CORRECTION_STEPS[system]
    rows = [
        _effect_row(plan, effect, steps, system, amount)
        for effect in plan.effects
        if abs(effect.opening) >= MIN_OPENING_PER_LIFT
    ]
    heading = "If it comes out open or tight"
    if not rows:
        return Block(heading, "More lift hardly changes this part.")
    words = (
        f"Next strip: per {step} of opening too wide, this much more lift in ONE of "
        "the rows, the one that mends the half that is off; too tight, as much less."
    )
    heads = ("", f"lift, {unit}", "screw turns", "radius, half O", "half R")
    return Block(
        heading, words, Cells(heads, (0.0, 20.0, 26.0, 30.0, 20.0), tuple(rows))
    )


def _effect_row(
    plan: Plan, effect: Effect, steps: Steps, system: System, amount: float
) -> tuple[str, ...]:
    """Give the lift that closes the opening by an amount (mm), and its effects."""
    first = steps.of_move(effect.move)
    last = first
    while last < len(steps.rows) and not steps.rows[last].do.startswith("Lower"):
        last += 1
    lifted = [
        i for i in range(first, last + 1) if not math.isnan(steps.rows[i - 1].lift)
    ]
    which = (
        f"Step {first}" if lifted == [first] else f"Steps {first} to {last}, every lift"
    )
    more = -amount / effect.opening
    radii = [r * more for r in (effect.radius_operator, effect.radius_rear)]
    pitch = plan.case.machine.rear.screw_pitch
    return (
        which,
        _signed(_mm(more, system, (2, 3))),
        _signed(_number(more / pitch, 2)),
        *(_signed(_mm(r, system, (1, 3))) or "-" for r in radii),
    )


def _signed(text: str) -> str:
    if not text or float(text) == 0.0:
        return text.removeprefix("-")
    return text if text.startswith("-") else f"+{text}"


def _closing(plan: Plan, system: System) -> list[Block]:
    """Say how the hand closes the rest."""
    closing = plan.closing
    if closing is None:
        return []
    width = plan.case.sheet.width

    def size(value: float) -> str:
        return rule_length(value, system)

    def force(value: float) -> str:
        whole = units.format(value * width, "force", system)
        return f"{units.format(value, 'line_force', system)} ({whole} in all)"

    verb = "Press" if closing.opening_wanted < closing.opening_before else "Pull"
    words = (
        f"It comes off {size(closing.opening_before)} open (middle of the edges), "
        f"wanted {size(closing.opening_wanted)}. "
    )
    if closing.reached:
        words += (
            f"{verb} the edges to {size(closing.opening_pressed)}, with "
            f"{force(closing.force)}, let go: {size(closing.opening_wanted)} stays. "
        )
    else:
        words += "No pressing leaves that opening. "
    if not math.isnan(closing.force_held):
        kept = "and keeps no set" if closing.elastic else "and yields on the way"
        words += (
            f"Held by a frame at the wanted opening it takes "
            f"{force(closing.force_held)} {kept}."
        )
    return [Block("Closing by hand", words)]

"""The set-up sheet of a plan: one page to tape to the machine, as PDF and PNG."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline import units
from pinchline.analysis.plan_spread import STRENGTH, THICKNESS
from pinchline.errors import InputError
from pinchline.output import look
from pinchline.output.measurements import measurements
from pinchline.output.paper import (
    A4,
    GAP,
    LETTER,
    Block,
    Cells,
    Page,
    draw_block,
    height_of,
    line_height,
    to_scale,
)
from pinchline.output.plan_steps import steps_of
from pinchline.output.setup_sketch import (
    Frame,
    blank_height,
    draw_blank,
    draw_part,
    draw_rolls,
    mark_levels,
    sized,
)
from pinchline.output.table import CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.figure import Figure

    from pinchline.analysis.plan import Effect, Plan
    from pinchline.analysis.plan_spread import Varied
    from pinchline.output.paper import Paper
    from pinchline.output.plan_steps import Steps
    from pinchline.units import System

TITLE = 14.0  # points
SIZES = (10.0, 9.0, 8.0)  # of the words; smaller only where the moves fill the page
SKETCH = (34.0, 72.0)  # mm: least and largest height of part and rolls
COARSE = 20.0  # mm: longer sizes are measured with a rule, not a gauge
WEAK = 1.0  # mm of opening per mm of lift: less is no handle on it
CORRECTED = {"metric": 1.0, "inch": 25.4 / 16.0}  # mm of opening that a row mends


def setup_sheet(
    plan: Plan,
    varied: Sequence[Varied] = (),
    *,
    system: System = "metric",
    paper: Paper | None = None,
) -> Figure:
    """Draw the set-up sheet of a plan.

    Parameters
    ----------
    plan : of a case
    varied : its job with the sheet a little off (``plan_spread.vary``); bands are left
        out without
    system : mm or inches
    paper : A4 for mm and Letter for inches unless told

    Raises
    ------
    InputError
        The job has more moves than one page holds.
    """
    paper = paper or (A4 if system == "metric" else LETTER)
    with to_scale():
        page = Page(paper)
        steps = steps_of(plan.settings)
        levels = mark_levels(page, plan, steps.marks, system)
        strip = blank_height(1 + max((n for n, _ in levels.values()), default=0))
        for blocks, size, sketch in _layouts(page, plan, varied, steps, strip, system):
            if sketch >= SKETCH[0]:
                _draw(page, plan, steps, blocks, size, min(sketch, SKETCH[1]), system)
                return page.figure
    message = "the job has more moves than a set-up sheet of one page holds"
    raise InputError(message, value=f"{len(plan.settings)} moves")


def _layouts(
    page: Page,
    plan: Plan,
    varied: Sequence[Varied],
    steps: Steps,
    strip: float,
    system: System,
):  # type: ignore[no-untyped-def]
    """Give blocks, their type and what is left for the sketches: roomiest first."""
    room = page.paper.height - 2.0 * page.paper.margin
    head = _head_height(page, plan)
    for size in SIZES:
        for noted in (True, False):
            blocks = _blocks(plan, varied, steps, system, noted=noted)
            used = sum(height_of(page, block, size) + GAP for block in blocks)
            yield blocks, size, room - head - strip - used - 2.0 * GAP


def _blocks(
    plan: Plan,
    varied: Sequence[Varied],
    steps: Steps,
    system: System,
    *,
    noted: bool,
) -> list[Block]:
    """Everything below the sketches, in the order it is read."""
    blocks = [
        _moves(plan, steps, system),
        _measure(plan, varied, system),
        _correct(plan, steps, system),
        *_closing(plan, system),
    ]
    if not plan.reached:
        blocks.insert(0, _refusal(plan, system))
    if noted and plan.notes:
        notes = "\n".join(f"{note[:1].upper()}{note[1:]}." for note in plan.notes)
        blocks.append(Block("Notes", notes))
    return [*blocks, Block("Cautions", CAUTIONS)]


def _draw(
    page: Page,
    plan: Plan,
    steps: Steps,
    blocks: Sequence[Block],
    size: float,
    sketch: float,
    system: System,
) -> None:
    paper = page.paper
    y = paper.height - paper.margin
    y = _head(page, plan, y)
    half = 0.5 * (paper.width - 2.0 * paper.margin)
    frames = [
        Frame(paper.margin + i * half, y - sketch, half - 3.0, sketch) for i in (0, 1)
    ]
    draw_part(page, plan, frames[0], system)
    raised = [s for s in plan.settings if s.move.kind == "lift"]
    draw_rolls(page, plan, raised[0], frames[1], system)
    y -= sketch + GAP
    draw_blank(page, plan, steps.marks, y, system)
    levels = mark_levels(page, plan, steps.marks, system)
    y -= blank_height(1 + max((n for n, _ in levels.values()), default=0)) + GAP
    for block in blocks:
        y = draw_block(page, block, y, size)


def _head_lines(page: Page, plan: Plan) -> list[str]:
    width = page.paper.width - 2.0 * page.paper.margin
    return page.wrapped(plan.case.title, width, TITLE, bold=True)[:2]


def _head_height(page: Page, plan: Plan) -> float:
    lines = len(_head_lines(page, plan))
    return lines * line_height(TITLE) + line_height(SIZES[0]) + GAP


def _head(page: Page, plan: Plan, top: float) -> float:
    """Write title and machine; returns where the sketches start."""
    y = top
    for line in _head_lines(page, plan):
        page.write(page.paper.margin, y, line, TITLE, fontweight="bold")
        y -= line_height(TITLE)
    text = f"Set-up sheet for {plan.case.machine.title}"
    width = page.paper.width - 2.0 * page.paper.margin
    page.write(page.paper.margin, y, page.wrapped(text, width, SIZES[0])[0], SIZES[0])
    return y - line_height(SIZES[0]) - GAP


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
    if plan.changes:
        words += f" What would help: {'; or '.join(plan.changes)}."
    return Block("THE WANTED PART IS NOT REACHED", words, boxed=True)


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
    heads = (
        "", "", "mark", f"feed\n{unit}", "crank\nturns", f"lift\n{unit}",
        "screw\nturns", f"gap\n{unit}",
    )  # fmt: skip
    number, _ = units.display(plan.case.machine.rolls.upper_radius, "length", system)
    words = (
        "Lift, screw turns: from touch, where the rear roll just meets the flat gripped "
        "sheet. Gap: gauge blocks between upper and rear roll, both ends, unloaded, "
        f"scraps of the sheet in the nip. The nip line lies {number:.4g} {unit} behind "
        "a square set against the front of the upper roll."
    )
    widths = (7.0, 0.0, 12.0, 15.0, 14.0, 15.0, 14.0, 15.0)
    columns = zip(heads, widths, zip(*rows, strict=True), strict=True)
    told = [column for column in columns if any(column[2])]
    cells = Cells(
        tuple(head for head, *_ in told),
        tuple(width for _, width, _ in told),
        tuple(zip(*(texts for *_, texts in told), strict=True)),
    )
    return Block("Order of moves", words, cells)


def _measure(plan: Plan, varied: Sequence[Varied], system: System) -> Block:
    """List what to measure, what to expect, how far it may be off."""
    unit = units.display(0.0, "length", system)[1]
    rows = []
    for found in measurements(plan, varied, system):
        decimals = (1, 2) if found.expected > COARSE else (2, 3)
        cells = (found.expected, found.band, found.allowed)
        told = [_mm(value, system, decimals) for value in cells]
        signs = ("", "\u00b1 ", "\u00b1 ")
        rows.append(
            (
                found.words,
                *(s + t if t else "-" for s, t in zip(signs, told, strict=True)),
            )
        )
    if not any(row[2] != "-" for row in rows):
        words = (
            "Spread: not known, for with the sheet a little off a limit stops the job."
        )
    else:
        words = (
            f"Spread, by the model's derivatives: thickness \u00b1 {THICKNESS:.0%} and yield "
            f"strength \u00b1 {STRENGTH:.0%} of the card's (assumed)."
        )
    heads = ("", f"expect\n{unit}", f"spread\n{unit}", f"tolerance\n{unit}")
    cells = Cells(heads, (0.0, 18.0, 18.0, 21.0), tuple(rows))
    return Block("Measure on the free part", words, cells)


def _correct(plan: Plan, steps: Steps, system: System) -> Block:
    """Say what to change where the part comes out open or tight."""
    unit = units.display(0.0, "length", system)[1]
    amount = CORRECTED[system]
    told = "1 mm" if system == "metric" else "1/16 in"
    rows = [
        _effect_row(plan, effect, steps, system, amount)
        for effect in plan.effects
        if abs(effect.opening) >= WEAK
    ]
    heading = "If it comes out open or tight"
    if not rows:
        return Block(heading, "More lift hardly changes this part.")
    words = (
        f"Next strip: per {told} of opening too wide, this much more lift in ONE of the "
        "rows, the one that mends the half that is off; too tight, as much less."
    )
    heads = (
        "", f"lift\n{unit}", "screw\nturns", f"radius, half O\n{unit}",
        f"radius, half R\n{unit}",
    )  # fmt: skip
    return Block(
        heading, words, Cells(heads, (0.0, 20.0, 20.0, 32.0, 32.0), tuple(rows))
    )


def _effect_row(
    plan: Plan, effect: Effect, steps: Steps, system: System, amount: float
) -> tuple[str, ...]:
    """Give the lift that closes the opening by an amount (mm), and what else it does."""
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
        return sized(value, system)

    def force(value: float) -> str:
        whole = units.format(value * width, "force", system)
        return f"{units.format(value, 'line_force', system)} ({whole} in all)"

    way = "Press" if closing.opening_wanted < closing.opening_before else "Pull"
    words = (
        f"It comes off {size(closing.opening_before)} open (middle of the edges), "
        f"wanted {size(closing.opening_wanted)}. "
    )
    if closing.reached:
        words += (
            f"{way} the edges to {size(closing.opening_pressed)}, with "
            f"{force(closing.force)}, let go: it stays there. "
        )
    else:
        words += "No pressing leaves that opening. "
    if not math.isnan(closing.force_held):
        kept = "and keeps no set" if closing.elastic else "and yields on the way"
        words += f"Held by a frame at the wanted opening it takes {force(closing.force_held)} {kept}."
    return [Block("Closing by hand", words)]


def write_setup_sheet(
    plan: Plan,
    varied: Sequence[Varied],
    folder: Path,
    name: str,
    *,
    system: System = "metric",
    paper: Paper | None = None,
) -> list[Path]:
    """Write the set-up sheet as PDF and PNG into a folder; returns the paths."""
    fig = setup_sheet(plan, varied, system=system, paper=paper)
    with to_scale():
        return [
            look.save_in(fig, folder, f"{name}-setup.{kind}") for kind in ("pdf", "png")
        ]

"""A plan in words: the part that comes out, the moves, what remains to do."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from pinchline import units
from pinchline.messages import worded
from pinchline.reports.plan.steps import operator_steps
from pinchline.reports.style.table import SAFETY_CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pinchline.analysis.closing import ManualClosing
    from pinchline.analysis.planning.plan import Effect, Plan
    from pinchline.parts.assess import Deviation
    from pinchline.reports.plan.steps import Step
    from pinchline.units import Dimension, System

_TEXT_WIDTH = 88
_LABEL_WIDTH, _CELL_WIDTH = 34, 13
_MOVE_WIDTH, _NUMBER_WIDTH = 46, 10


def plan_words(plan: Plan, system: System) -> str:
    """Say what part comes out, how it is made, and what the hand does after."""
    sheet, result = plan.case.sheet, plan.result
    thickness = units.format(sheet.thickness, "length", system)
    machine = plan.case.machine.title
    lines = [
        plan.case.title,
        f"{result.labels.get('material', '')}, {thickness}; {machine}",
    ]
    if plan.reached:
        lines += ["", "The wanted part can be made: " + plan.way + "."]
    else:
        helps = "; or ".join(plan.changes) or "unknown"
        lines += ["", *_wrapped(f"NOT REACHED. What binds: {plan.limit}.")]
        for text in (f"The nearest part: {plan.nearest}", f"What would help: {helps}"):
            lines += _wrapped(worded(f"{text}.", system))
    blank = units.format(sheet.length, "length", system)
    width = units.format(sheet.width, "length", system)
    lines += ["", f"Blank: {blank} along the feed, {width} along the rolls."]
    lines += ["", *_part(plan, system), "", *_moves(plan, system)]
    lines += ["", *_corrections(plan, system)]
    if plan.closing is not None:
        lines += ["", *_hand(plan.closing, system)]
    for note in plan.notes:
        lines += ["", *_wrapped(worded(f"{note[:1].upper()}{note[1:]}.", system))]
    return "\n".join([*lines, "", SAFETY_CAUTIONS])


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _TEXT_WIDTH)


def _say(value: float, dimension: Dimension, system: System) -> str:
    return "" if math.isnan(value) else units.format(value, dimension, system)


def _row(words: str, *cells: str) -> str:
    return f"  {words:<{_LABEL_WIDTH}}" + "".join(
        f"{cell:>{_CELL_WIDTH}}" for cell in cells
    )


def _part(plan: Plan, system: System) -> Iterator[str]:
    yield "The part" + _row("", "wanted", "comes out", "good within")[8:]
    for d in plan.deviations:
        yield _deviation(d, system)


def _deviation(d: Deviation, system: System) -> str:
    cells = [_say(v, d.dimension, system) for v in (d.wanted, d.made, d.tolerance)]
    return _row(d.name, *cells) + ("" if d.good else "  MISSED")


def _moves(plan: Plan, system: System) -> Iterator[str]:
    steps = operator_steps(plan.settings)
    marks = ", ".join(
        f"{letter} {units.format(at, 'length', system)}"
        for letter, at in steps.marks.items()
    )
    yield from _wrapped(f"Marks on the blank, from the operator's edge O: {marks}.")
    yield ""
    heads = "".join(f"{h:>{_NUMBER_WIDTH}}" for h in ("lift", "screw", "gap", "feed"))
    yield f"  {'The moves':<{_MOVE_WIDTH}}{heads}"
    for number, row in enumerate(steps.rows, 1):
        yield from _move(number, row, system)
    yield from _wrapped(
        "Lift from where the rear roll touches the flat sheet; screw in turns from "
        "there; gap between upper and rear roll, for gauge blocks; feed by the mark, "
        "with the turns of the crank where the machine card has one."
    )


def _move(number: int, row: Step, system: System) -> Iterator[str]:
    words = textwrap.wrap(
        f"{number}. {row.do}", _MOVE_WIDTH - 2, subsequent_indent="   "
    )
    turns = "" if math.isnan(row.turns) else f"{row.turns:.2f}"
    cells = (
        _say(row.lift, "length", system),
        turns,
        _say(row.gap, "length", system),
        _say(row.fed, "length", system),
    )
    filled = "".join(f"{cell:>{_NUMBER_WIDTH}}" for cell in cells)
    yield f"  {words[0]:<{_MOVE_WIDTH}}{filled}".rstrip()
    yield from (f"  {line}" for line in words[1:])
    if not math.isnan(row.crank):
        yield f"     crank {row.crank:.2f} turns"


def _corrections(plan: Plan, system: System) -> Iterator[str]:
    yield "If it comes out open or tight, of the next part change the lift"
    steps = operator_steps(plan.settings)
    for effect in plan.effects:
        yield "  " + _effect(effect, steps.of_move(effect.move), system)


def _effect(effect: Effect, row: int, system: System) -> str:
    unit = 1.0 if system == "metric" else 25.4
    name = "mm" if system == "metric" else "in"
    step = 0.1 if system == "metric" else 0.01
    if not abs(effect.opening) > 0.0:
        return f"in move {row}: it hardly moves the opening"
    change = effect.opening * step * unit
    return (
        f"in move {row}: {step:g} {name} more lift closes the opening by "
        f"{-change / unit:.2f} {name}"
    )


def _hand(closing: ManualClosing, system: System) -> Iterator[str]:
    """Say what closing by hand asks for."""
    wanted = _say(closing.opening_wanted, "length", system)
    before = _say(closing.opening_before, "length", system)
    if not closing.reached:
        yield from _wrapped(
            f"By hand: one press does not leave {wanted} of the opening of {before}."
        )
        return
    pressed = _say(closing.opening_pressed, "length", system)
    force = _say(closing.force, "line_force", system)
    held_force = _say(closing.force_held, "line_force", system)
    hold = "stays elastic" if closing.elastic else "takes some set already"
    yield from _wrapped(
        f"By hand: from {before} to {wanted}. Held there it takes {held_force} of "
        f"width and {hold}. To stay there once let go, press it to {pressed} with "
        f"{force}."
    )

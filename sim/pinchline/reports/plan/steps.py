"""The moves of a plan as the operator makes them, and the marks on the blank."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinchline.analysis.planning.plan import MachineSetting

LOWER_WORDS = "Lower the rear roll"
SAME_MARK_MM = 0.05  # mm: two marks that are one
MARK_LETTERS = "ABCDEFGHIJKLMNPQSTUVWXYZ"  # O and R name the edges


class Step(NamedTuple):
    """A row of the sheet: what to do, and where everything then stands.

    mark, at : letter of the mark that then lies on the nip line, and its s (mm); "" and
        NaN where none does
    fed, crank : sheet cranked through (mm) and turns of the crank; NaN where none
    lift, turns, gap : of the rear roll, mm, screw turns from touch, mm between upper
        and rear roll; NaN where it is not moved
    moves : numbers of the moves of the case that it holds, from 1
    """

    do: str
    mark: str
    at: float
    fed: float
    crank: float
    lift: float
    turns: float
    gap: float
    moves: tuple[int, ...]


@dataclass(frozen=True)
class Steps:
    """All rows, and the marks with their s (mm) by letter."""

    rows: tuple[Step, ...]
    marks: dict[str, float]

    def of_move(self, move: int) -> int:
        """Give the number of the row, from 1, that holds a move of the case."""
        return next(i for i, row in enumerate(self.rows, 1) if move in row.moves)


def operator_steps(settings: Sequence[MachineSetting]) -> Steps:
    """Gather moves into rows: laying in with raising, lowering with taking out."""
    marks: dict[str, float] = {}
    rows: list[Step] = []
    lift = 0.0
    for number, setting in enumerate(settings, 1):
        letter = _letter(marks, setting.nip)
        row = _row(number, setting, letter, lift)
        lift = setting.lift
        if rows and setting.move.kind == "place" and rows[-1].do == LOWER_WORDS:
            rows[-1] = rows[-1]._replace(do=LOWER_WORDS + ", take out")
        if rows and (together := _joined(rows[-1], row, setting.move.kind)):
            rows[-1] = together
        else:
            rows.append(row)
    return Steps(tuple(rows), marks)


def _letter(marks: dict[str, float], nip: float) -> str:
    """Find the mark at a place, or make one."""
    if math.isnan(nip):
        return ""
    for letter, at in marks.items():
        if abs(at - nip) <= SAME_MARK_MM:
            return letter
    round_, count = divmod(len(marks), len(MARK_LETTERS))
    letter = MARK_LETTERS[count] + (str(round_) if round_ else "")
    marks[letter] = nip
    return letter


def _row(number: int, setting: MachineSetting, letter: str, before: float) -> Step:
    """Give a move's row; ``before``: lift of the rear roll until then, mm."""
    move, nan = setting.move, math.nan
    bare = Step("", "", nan, nan, nan, nan, nan, nan, (number,))
    marked = bare._replace(mark=letter, at=setting.nip)
    raised = bare._replace(lift=setting.lift, turns=setting.turns, gap=setting.gap)
    if move.kind == "place":
        return marked._replace(do=f"Mark {letter} on the nip line, grip")
    if move.kind == "lift":
        return raised._replace(do="Raise the rear roll")
    if move.kind == "lower":
        return raised._replace(do=LOWER_WORDS)
    if move.kind == "turn":
        return bare._replace(do="Take it out, turn it end for end")
    if move.kind == "release":
        return bare._replace(do="Open the nip, take it out")
    direction = "away from you" if move.toward == "rear" else "toward you"
    row = marked._replace(fed=abs(setting.fed), crank=abs(setting.crank_turns))
    if move.lift_to is None:
        return row._replace(do=f"Crank {direction} to mark {letter}")
    how = "raising" if setting.lift > before else "lowering"
    do = f"Crank {direction} to mark {letter}, {how} the roll evenly"
    return row._replace(do=do, lift=setting.lift, turns=setting.turns, gap=setting.gap)


_SECOND_MOVE_WORDS = {
    ("Mark", "lift"): ", raise the rear roll",
    ("Lower", "turn"): ", take out, turn end for end",
    ("Lower", "release"): ", take out",
}


def _joined(before: Step, row: Step, kind: str) -> Step | None:
    """Give one row for two moves that follow on each other, or None."""
    for (start, follows), words in _SECOND_MOVE_WORDS.items():
        if before.do.startswith(start) and kind == follows and len(before.moves) == 1:
            lifted = row if kind == "lift" else before
            return before._replace(
                do=before.do + words,
                lift=lifted.lift,
                turns=lifted.turns,
                gap=lifted.gap,
                moves=before.moves + row.moves,
            )
    return None

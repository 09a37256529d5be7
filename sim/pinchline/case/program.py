"""The trace of a programme: where sheet and rear roll stand before and after each move.

It is followed on paper, as the case asks for it; what stops a move on the machine is
not in it.
"""

import math
from typing import NamedTuple

from pinchline.case.moves import Feed, Lift, Lower, Move, Place, Release, Turn


class TracedMove(NamedTuple):
    """One move, and where sheet and rear roll stand before and after it; mm.

    move; lift_before, lift: of the rear roll; nip: s of the sheet on the nip line at
    the end, NaN while it is out of the machine; behind: sheet behind the nip line
    before a feed, NaN for other moves; fed: length that is fed, + toward the rear roll;
    turned: whether the sheet then lies end for end.
    """

    move: Move
    lift_before: float
    lift: float
    nip: float
    behind: float
    fed: float
    turned: bool


ProgramTrace = tuple[TracedMove, ...]


def trace_program(moves: tuple[Move, ...], length: float) -> ProgramTrace:
    """Follow the moves of a sheet of a length (mm)."""
    here = TracedMove(Release(), 0.0, 0.0, math.nan, math.nan, 0.0, turned=False)
    trace = []
    for move in moves:
        here = _after(here, move, length)
        trace.append(here)
    return tuple(trace)


def lift_key(move: Move) -> str:
    """Key under which a move sets the lift of the rear roll; "" where it sets none."""
    if isinstance(move, Lift | Lower):
        return "to"
    return "lift_to" if isinstance(move, Feed) and move.lift_to is not None else ""


def _after(before: TracedMove, move: Move, length: float) -> TracedMove:
    """Trace a move from where the one before it ends."""
    lift, nip, turned = before.lift, before.nip, before.turned
    behind, fed = math.nan, 0.0
    key = lift_key(move)
    if key:
        lift = getattr(move, key)
    if isinstance(move, Place):
        nip = move.at
    elif isinstance(move, Feed):
        operator_side = length - nip if turned else nip
        behind = operator_side if move.toward == "rear" else length - operator_side
        fed = move.by if move.by is not None else behind - (move.leave or 0.0)
        fed *= 1.0 if move.toward == "rear" else -1.0
        nip = min(max(nip + (fed if turned else -fed), 0.0), length)
    elif isinstance(move, Release | Turn):
        nip = math.nan
        turned = turned != isinstance(move, Turn)
    return TracedMove(move, before.lift, lift, nip, behind, fed, turned)

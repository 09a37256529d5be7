"""A plan: the job for a wanted part, its result, settings and closing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from pinchline.solvers.rolls import rear_gap

if TYPE_CHECKING:
    from pinchline.case.case import Case
    from pinchline.case.machine import Machine
    from pinchline.case.moves import Move
    from pinchline.parts.assess import Deviation
    from pinchline.results.schema import Result


class MachineSetting(NamedTuple):
    """One move of the job as settings of screws and crank.

    move: of the case; lift: of the rear roll once it is done, from touch (mm); turns:
    of the screws for that lift, from the zero of their scale; gap: clear between upper
    and rear roll at that lift, for gauge blocks (mm); fed: through the nip, + toward
    the rear roll (mm);
    crank_turns: of the crank for it, NaN without a crank; nip: s of the sheet on the
    nip line once it is done (mm), NaN while it is out.
    """

    move: Move
    lift: float
    turns: float
    gap: float
    fed: float
    crank_turns: float
    nip: float


class Effect(NamedTuple):
    """Sensitivity of the part to the lift of one run, by the model's derivative.

    move: number of the move that sets the lift, from 1; lift: at the end of the run
    (mm); opening, radius_operator, radius_rear: change per mm of lift (mm/mm) of the
    opening and of the radii of the two halves.
    """

    move: int
    lift: float
    opening: float
    radius_operator: float
    radius_rear: float


@dataclass(frozen=True)
class Plan:
    """The job for a wanted part.

    Attributes
    ----------
    case : with its moves and blank length; its text runs as it is
    result : of running it
    way : in how many passes, and whether the sheet is turned end for end
    settings : one for every move of the case
    deviations : of the part from what was wanted
    effects : one for every run whose lift may be corrected, in order
    closing : by hand, what remains of it (``analysis.closing.Closing``); None where
        there is nothing to close
    reached : whether all deviations are good and no limit is exceeded
    limit : which limit keeps it from being reached, "" where it is
    nearest : the nearest part that can be made, in words; "" where it is reached
    changes : what would make it possible, in words
    notes : what else the operator should know
    """

    case: Case
    result: Result
    way: str
    settings: tuple[MachineSetting, ...]
    deviations: tuple[Deviation, ...]
    effects: tuple[Effect, ...]
    closing: Any
    reached: bool
    limit: str = ""
    nearest: str = ""
    changes: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def crank_turns(machine: Machine, fed: float) -> float:
    """Give the turns of the crank for a feed (mm); NaN without a crank."""
    if machine.crank is None:
        return math.nan
    round_once = math.pi * (machine.rolls.upper_radius + machine.rolls.lower_radius)
    return machine.crank.gear_ratio * fed / round_once


def _screw_turns(machine: Machine, lift: float) -> float:
    """Give the turns on the screws' scale for a lift (mm); none for a lowered roll."""
    rear = machine.rear
    return (lift - rear.touch_offset) / rear.screw_pitch if lift > 0.0 else 0.0


def settings_of(case: Case) -> tuple[MachineSetting, ...]:
    """Give every move of a case as the machine shows it."""
    machine, thickness = case.machine, case.sheet.thickness
    return tuple(
        MachineSetting(
            move=step.move,
            lift=step.lift,
            turns=_screw_turns(machine, step.lift),
            gap=rear_gap(machine, thickness, step.lift),
            fed=step.fed,
            crank_turns=crank_turns(machine, step.fed),
            nip=step.nip,
        )
        for step in case.program
    )

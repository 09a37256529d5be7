"""What the job asks of grip, crank, screws and rolls, and what the machine allows."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import units
from pinchline.physics.shaft import middle_compliance
from pinchline.physics.support import GIVE_X, GIVE_Y
from pinchline.solvers.rolls import LOWER, REAR, UPPER
from pinchline.solvers.sheet import GRAVITY
from pinchline.solvers.supports import roll_shaft

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.solvers.stepped.state import State
    from pinchline.units import Dimension

    Array = NDArray[np.float64]


GRIP, CRANK = "grip exceeded", "effort exceeded"
SCREW, TORQUE = "screw force exceeded", "screw torque exceeded"
PINCH, DEFLECTION = "pinch force exceeded", "roll deflection exceeded"
LIMITS = (GRIP, CRANK, SCREW, TORQUE, PINCH, DEFLECTION)


class Effort(NamedTuple):
    """Whole-width efforts of one step; NaN where the machine does not tell.

    grip_margin: friction grip of the pinch rolls less the drive (N/mm); crank_torque:
    at the crank (N mm); hand_force: at its handle (N); screw_force: along the slide, of
    the screw that bears more (N); screw_torque: to raise it so (N mm); pinch_force: of
    the pinch roll that is pushed away harder (N); roll_deflection: of the roll that
    deflects most, under the middle of the sheet (mm).
    """

    grip_margin: float
    crank_torque: float
    hand_force: float
    screw_force: float
    screw_torque: float
    pinch_force: float
    roll_deflection: float = math.nan


def effort(state: State) -> Effort:
    """Efforts of the present equilibrium."""
    return of_one_strip(
        state.case,
        pushed_away(state).tolist(),
        state.drive_force,
        grip_margin(state),
    )


def of_one_strip(
    case: Case, pushed: Sequence[float], drive: float, margin: float
) -> Effort:
    """Efforts where the whole width does alike; parameters as in ``over_the_width``."""
    width = case.sheet.width
    total = [max(force, 0.0) * width for force in pushed]
    return _of_all(case, total, drive * width, [(0.0, pushed[REAR] * width)], margin)


def over_the_width(
    case: Case, z: Array, pushed: Array, drive: Array, margin: Array
) -> Effort:
    """Efforts of strips of equal width side by side.

    Parameters
    ----------
    z : middles of the strips, from the middle of the sheet, + to the right (mm)
    pushed : of each strip, the push on upper, lower and rear roll, ``(strips, 3)``
        (N/mm)
    drive, margin : of each strip, its drive and its margin of grip (N/mm)
    """
    share = case.sheet.width / z.size
    total = np.maximum(np.sum(pushed, axis=0), 0.0) * share
    rear = zip(z.tolist(), (pushed[:, REAR] * share).tolist(), strict=True)
    whole = float(np.sum(drive)) * share
    return _of_all(case, total.tolist(), whole, list(rear), float(np.mean(margin)))


def _of_all(
    case: Case,
    total: list[float],
    drive: float,
    rear: list[tuple[float, float]],
    margin: float,
) -> Effort:
    """Read efforts from the push on each roll and the drive (N), summed over the width.

    ``rear``: places (mm) and push (N) of the strips on the rear roll.
    """
    machine, width = case.machine, case.sheet.width
    torque, hand = _crank(case, drive)
    screw = _screw_force(case, rear)
    return Effort(
        grip_margin=margin,
        crank_torque=torque,
        hand_force=hand,
        screw_force=screw,
        screw_torque=raising_torque(
            screw,
            machine.rear.screw_pitch,
            machine.rear.screw_diameter,
            machine.rear.screw_friction,
        ),
        pinch_force=max(total[UPPER], total[LOWER]),
        roll_deflection=_deflection(case, [force / width for force in total]),
    )


def pushed_away(state: State) -> NDArray[np.float64]:
    """Force with which the sheet pushes each roll the way it gives, N/mm."""
    away = state.supports[:, GIVE_X : GIVE_Y + 1]
    pushed: NDArray[np.float64] = -np.sum(state.forces[:, :2] * away, axis=1)
    return pushed


def grip_margin(state: State) -> float:
    """Friction grip of the pinch rolls less the drive, N/mm."""
    mu = state.case.machine.nip.friction
    grip = float(state.forces[UPPER, 4] + state.forces[LOWER, 4])
    return mu * grip - abs(state.drive_force)


def _crank(case: Case, drive: float) -> tuple[float, float]:
    """Torque at the crank (N mm) and force at its handle (N) by the whole drive (N).

    NaN without a crank.
    """
    crank = case.machine.crank
    if crank is None:
        return math.nan, math.nan
    rolls = case.machine.rolls
    at_rolls = abs(drive) * 0.5 * (rolls.upper_radius + rolls.lower_radius)
    torque = at_rolls / (crank.gear_ratio * crank.efficiency)
    return torque, torque / crank.radius


def _screw_force(case: Case, rear: list[tuple[float, float]]) -> float:
    """Force (N) on the more loaded screw of the rear roll: half, or by the lever."""
    shaft = case.machine.rolls.shaft
    right = left = 0.0
    for z, force in rear:
        share = 0.5
        if shaft is not None:
            share += (z + case.sheet.off_centre) / shaft.span
        right += force * share
        left += force * (1.0 - share)
    return max(0.0, right, left)


def _deflection(case: Case, pushed: list[float]) -> float:
    """Deflection (mm) of the roll that deflects most; NaN where no shaft is told.

    ``pushed (3)``: mean over the sheet's width of the push on each roll, N/mm.
    """
    if case.machine.rolls.shaft is None:
        return math.nan
    place = (case.sheet.width, case.sheet.off_centre)
    return max(
        force * _compliance(roll_shaft(case.machine, roll), *place)
        for roll, force in enumerate(pushed)
    )


_compliance = lru_cache(maxsize=64)(middle_compliance)  # asked for in every step


def raising_torque(
    force: float, pitch: float, diameter: float | None, friction: float
) -> float:
    """Torque (N mm) that raises a load by a square-threaded screw; NaN without thread.

    ``T = F d/2 (l + pi f d) / (pi d - f l)``, mean diameter ``d``, lead ``l`` (J. E.
    Shigley and C. R. Mischke, Mechanical Engineering Design, power screws; from
    memory). The collar's friction is left out.
    """
    if diameter is None:
        return math.nan
    turn = math.pi * diameter
    return (
        force * diameter / 2.0 * (pitch + friction * turn) / (turn - friction * pitch)
    )


class Asked(NamedTuple):
    """What a job asks of one part of the machine, and what that allows, if told."""

    kind: str
    asked: float
    allowed: float | None

    @property
    def exceeded(self) -> bool:
        """Whether it is too much."""
        return self.allowed is not None and self.asked > self.allowed

    @property
    def share(self) -> float:
        """Asked over allowed; 0 where nothing is asked or no limit is told."""
        if self.allowed is None or not self.asked > 0.0:
            return 0.0
        return self.asked / self.allowed if self.allowed > 0.0 else math.inf


def asked_of(
    case: Case, asked: Effort, drive: float, slack: float = 0.0
) -> tuple[Asked, ...]:
    """Put efforts beside what the machine allows.

    ``drive``: its size (N/mm), which friction has to hold; ``slack``: how far it may
    exceed that (N/mm).
    """
    machine = case.machine
    crank, shaft = machine.crank, machine.rolls.shaft
    return (
        Asked(GRIP, drive, drive + asked.grip_margin + slack),
        Asked(CRANK, asked.hand_force, crank.max_hand_force if crank else None),
        Asked(SCREW, asked.screw_force, machine.rear.max_screw_force),
        Asked(TORQUE, asked.screw_torque, machine.rear.max_screw_torque),
        Asked(PINCH, asked.pinch_force, machine.nip.max_force),
        Asked(
            DEFLECTION, asked.roll_deflection, shaft.max_deflection if shaft else None
        ),
    )


class Excess(NamedTuple):
    """A limit that is exceeded: event, words, the number."""

    kind: str
    message: str
    value: float


def excesses(state: State, asked: Effort) -> list[Excess]:
    """Limits of the machine that the present equilibrium, with its efforts, exceeds."""
    slack = grip_slack(state.case, state.beam.first_yield)
    return exceeded(state.case, asked, abs(state.drive_force), slack)


def grip_slack(case: Case, first_yield: float) -> float:
    """Drive (N/mm) that may exceed the grip: rounding, and what a hand steadies.

    A thousandth of what bends the sheet (``first_yield``: N mm/mm), and the sheet's
    weight where that counts: a sheet that lies loose slides, but nothing slips.
    """
    sheet = case.sheet
    weight = sheet.material.density * GRAVITY * sheet.thickness * sheet.length
    counted = weight if case.model.weight else 0.0
    return 1.0e-3 * first_yield / case.machine.rear.distance + counted


_WORDS: dict[str, tuple[str, Dimension]] = {
    CRANK: ("the crank would need {} by hand", "force"),
    SCREW: ("a screw of the rear roll would bear {}", "force"),
    TORQUE: ("a screw of the rear roll would need {} to be raised", "torque"),
    PINCH: ("a pinch roll would be pushed away with {}", "force"),
    DEFLECTION: ("a roll would deflect by {} under the middle of the sheet", "length"),
}


def exceeded(case: Case, asked: Effort, drive: float, slack: float) -> list[Excess]:
    """Limits of the machine that the efforts exceed.

    ``drive``: its size (N/mm); ``slack``: how far it may exceed the grip (N/mm).
    """
    found: list[Excess] = []
    for kind, value, limit in asked_of(case, asked, drive, slack):
        if limit is None or not value > limit:
            continue
        if kind == GRIP:
            found.append(_slip(asked, drive))
            continue
        words, dimension = _WORDS[kind]
        needs, allowed = _told_apart(value, limit, dimension)
        message = f"{kind}: {words.format(needs)}, {allowed} is allowed"
        found.append(Excess(kind, message, value))
    return found


def _slip(asked: Effort, drive: float) -> Excess:
    needs, holds = _told_apart(drive, drive + asked.grip_margin, "line_force")
    message = (
        f"{GRIP}: the drive of {needs} is more than the friction of the pinch rolls, "
        f"which holds {holds}; the rolls slip"
    )
    return Excess(GRIP, message, asked.grip_margin)


def _told_apart(value: float, limit: float, dimension: Dimension) -> tuple[str, str]:
    """Give both as text, in as many figures as it takes to see that they differ."""
    value, unit = units.display(value, dimension)
    limit, _ = units.display(limit, dimension)
    for figures in range(3, 13):
        texts = tuple(units.figures(number, figures) for number in (value, limit))
        if texts[0] != texts[1]:
            break
    return f"{texts[0]} {unit}", f"{texts[1]} {unit}"

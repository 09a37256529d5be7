"""What the job asks of grip, crank, screws and rolls, and what the machine allows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import units
from pinchline.physics.support import GIVE_X, GIVE_Y
from pinchline.process.geometry import LOWER, REAR, UPPER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.process.state import State


class Effort(NamedTuple):
    """Whole-width efforts of one step; NaN where the machine does not tell.

    grip_margin: friction grip of the pinch rolls less the drive (N/mm); crank_torque:
    at the crank (N mm); hand_force: at its handle (N); screw_force: along the slide, of
    the screw that bears more (N); screw_torque: to raise it so (N mm); pinch_force: of
    the pinch roll that is pushed away harder (N).
    """

    grip_margin: float
    crank_torque: float
    hand_force: float
    screw_force: float
    screw_torque: float
    pinch_force: float


def effort(state: State) -> Effort:
    """Efforts of the present equilibrium."""
    machine, sheet = state.case.machine, state.case.sheet
    pushed = pushed_away(state)
    pinch = max(0.0, float(max(pushed[UPPER], pushed[LOWER])))
    torque, hand = _crank(state)
    screw = max(0.0, float(pushed[REAR])) * sheet.width * _share_of_one_screw(state)
    return Effort(
        grip_margin=grip_margin(state),
        crank_torque=torque,
        hand_force=hand,
        screw_force=screw,
        screw_torque=raising_torque(
            screw,
            machine.rear.screw_pitch,
            machine.rear.screw_diameter,
            machine.rear.screw_friction,
        ),
        pinch_force=pinch * sheet.width,
    )


def pushed_away(state: State) -> NDArray[np.float64]:
    """Force with which the sheet pushes each roll the way it gives, N/mm."""
    away = state.supports[:, [GIVE_X, GIVE_Y]]
    pushed: NDArray[np.float64] = -np.sum(state.forces[:, :2] * away, axis=1)
    return pushed


def grip_margin(state: State) -> float:
    """Friction grip of the pinch rolls less the drive, N/mm."""
    mu = state.case.machine.nip.friction
    grip = float(state.forces[UPPER, 4] + state.forces[LOWER, 4])
    return mu * grip - abs(state.drive_force)


def _crank(state: State) -> tuple[float, float]:
    """Torque at the crank (N mm) and force at its handle (N); NaN without a crank."""
    crank = state.case.machine.crank
    if crank is None:
        return math.nan, math.nan
    rolls = state.case.machine.rolls
    radius = 0.5 * (rolls.upper_radius + rolls.lower_radius)
    at_rolls = abs(state.drive_force) * state.case.sheet.width * radius
    torque = at_rolls / (crank.gear_ratio * crank.efficiency)
    return torque, torque / crank.radius


def _share_of_one_screw(state: State) -> float:
    """Share of the rear roll's force on its more loaded screw: half, or by lever."""
    shaft = state.case.machine.rolls.shaft
    if shaft is None:
        return 0.5
    return 0.5 + abs(state.case.sheet.off_centre) / shaft.span


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


class Excess(NamedTuple):
    """A limit that is exceeded: event, words, the number."""

    kind: str
    message: str
    value: float


def excesses(state: State) -> list[Excess]:
    """Limits of the machine that the present equilibrium exceeds."""
    asked = effort(state)
    machine = state.case.machine
    found: list[Excess] = []
    scale = state.beam.first_yield / machine.rear.distance
    if asked.grip_margin < -1.0e-3 * scale:
        message = (
            f"grip exceeded: the drive of {abs(state.drive_force):.2f} N/mm is more "
            "than the friction of the pinch rolls holds "
            f"({-asked.grip_margin:.2f} N/mm short); the rolls slip"
        )
        found.append(Excess("grip exceeded", message, asked.grip_margin))
    limits = (
        (
            "effort exceeded",
            "the crank would need {} by hand",
            asked.hand_force,
            machine.crank.max_hand_force if machine.crank else None,
            "force",
        ),
        (
            "screw force exceeded",
            "a screw of the rear roll would bear {}",
            asked.screw_force,
            machine.rear.max_screw_force,
            "force",
        ),
        (
            "screw torque exceeded",
            "a screw of the rear roll would need {} to be raised",
            asked.screw_torque,
            machine.rear.max_screw_torque,
            "torque",
        ),
        (
            "pinch force exceeded",
            "a pinch roll would be pushed away with {}",
            asked.pinch_force,
            machine.nip.max_force,
            "force",
        ),
    )
    for kind, words, value, limit, dimension in limits:
        if limit is not None and value > limit:
            asked_for = words.format(_say(value, dimension))
            message = f"{kind}: {asked_for}, {_say(limit, dimension)} is allowed"
            found.append(Excess(kind, message, value))
    return found


def _say(value: float, dimension: str) -> str:
    if dimension == "torque":
        return units.format(value, "torque")
    return f"{value:.0f} N" if value < 10.0e3 else f"{value / 1000.0:.1f} kN"

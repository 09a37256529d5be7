"""The leading edge on its way to a rear roll that bears no sheet yet."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.physics.rolls import AXIS_Y, PRESSURE, REACH
from pinchline.solvers.rolls import REAR, roll_table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.solvers.stepped.state import State


def left_over(state: State) -> float:
    """Sheet beyond the nip on the side of the rear roll, mm."""
    return state.elements * state.beam.length - state.nip


def meets(state: State, lift: float, ahead: float) -> bool:
    """Whether ``ahead`` (mm) of feed brings the edge onto the rear roll at a lift (mm).

    The edge goes on the way it points. False once the roll bears sheet, or where that
    reaches far over it.
    """
    last = state.elements
    if state.forces[REAR, PRESSURE] > 0.0 or state.last < last:
        return False
    c = state.chain
    turn = c.theta[last]
    axis = _rear_axis(state, lift)
    x = c.x[last] + ahead * math.cos(turn) - axis[0]
    y = c.y[last] + ahead * math.sin(turn) - axis[1]
    return math.hypot(x, y) < float(state.rolls[REAR, REACH])


def rides_up_to(state: State, lift: float) -> float | None:
    """Lift (mm) to which an edge that runs against the roll would ride up it.

    None where it rides up at ``lift``, or misses the roll. The roll pushes the edge's
    lower corner along its own radius. Within the angle of friction of the sheet's
    direction that push holds it where it is, and from a roll whose axis stands higher
    it turns the edge down. The friction is that of the nip, the same two metals.
    """
    c, last = state.chain, state.elements
    radius = state.case.machine.rolls.rear_radius
    friction = state.case.machine.nip.friction
    normal = np.array([-math.sin(c.theta[last]), math.cos(c.theta[last])])
    corner = np.array([c.x[last], c.y[last]]) - state.beam.half * normal
    over = float((corner - _rear_axis(state, lift)) @ normal)  # the same all the way
    least = radius * friction / math.hypot(1.0, friction)
    if not -radius < over < least:
        return None
    slide = state.case.machine.rear.slide_angle
    rise = float(np.array([-math.cos(slide), math.sin(slide)]) @ normal)
    return max(0.0, lift - (least - over) / rise) if rise > 0.0 else 0.0


def _rear_axis(state: State, lift: float) -> NDArray[np.float64]:
    """Axis of the rear roll raised to a lift, with what it gives and is shifted, mm."""
    machine, thickness = state.case.machine, state.case.sheet.thickness
    here, there = (
        roll_table(machine, thickness, at)[REAR, : AXIS_Y + 1]
        for at in (state.lift, lift)
    )
    axis: NDArray[np.float64] = state.rolls[REAR, : AXIS_Y + 1] + there - here
    return axis

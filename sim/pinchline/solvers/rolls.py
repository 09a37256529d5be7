"""Positions of the rolls in the plane frame of the machine.

x runs from the nip line toward the rear roll, y up; the origin is the middle of the
nip. A roll is a row ``axis x, axis y, r + t/2`` as the contact kernels take it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.layout import rear_roll_centre
from pinchline.physics import rolls
from pinchline.physics.rolls import AXIS_Y, REACH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.machine import Machine

UPPER, LOWER, REAR = rolls.UPPER, rolls.LOWER, rolls.REAR
GRIP_EDGE = 2.0  # thicknesses of sheet that must stay beyond the nip line


def roll_table(
    machine: Machine,
    thickness: float,
    lift: float,
    depths: tuple[float, float] = (0.0, 0.0),
) -> NDArray[np.float64]:
    """Tabulate the rolls at a lift, ``(3, 6)`` in mm: axis, reach, room for kernels.

    ``depths`` (mm): of upper and lower roll in the flat sheet that they grip.
    """
    radii = machine.rolls
    half_nip = (thickness + machine.nip.opening) / 2.0
    half = thickness / 2.0
    table = np.zeros((3, rolls.ROLL_COLUMNS))
    table[UPPER, :3] = (0.0, radii.upper_radius + half_nip, radii.upper_radius + half)
    table[LOWER, :3] = (0.0, -radii.lower_radius - half_nip, radii.lower_radius + half)
    table[UPPER, AXIS_Y] -= depths[UPPER]
    table[LOWER, AXIS_Y] += depths[LOWER]
    table[REAR, : AXIS_Y + 1] = rear_roll_centre(machine, thickness, lift)
    table[REAR, REACH] = radii.rear_radius + half
    return table


def wrap_curvature(machine: Machine, thickness: float) -> float:
    """Curvature of a mid-line that lies on the rigid upper roll, 1/mm."""
    return 1.0 / (machine.rolls.upper_radius + thickness / 2.0)


def rear_gap(machine: Machine, thickness: float, lift: float) -> float:
    """Clear distance (mm) between upper and rear roll at a lift, sheet in the nip."""
    radii = machine.rolls
    x, y = rear_roll_centre(machine, thickness, lift)
    upper = radii.upper_radius + 0.5 * (thickness + machine.nip.opening)
    return math.hypot(x, y - upper) - radii.upper_radius - radii.rear_radius


def jam_lift(machine: Machine, thickness: float) -> float:
    """Lift (mm) at which rear and upper roll are one thickness apart; inf if never."""
    x0, y0 = rear_roll_centre(machine, thickness, 0.0)
    angle = machine.rear.slide_angle
    upper = machine.rolls.upper_radius + (thickness + machine.nip.opening) / 2.0
    apart = machine.rolls.upper_radius + machine.rolls.rear_radius + thickness
    # |(x0, y0 - upper) + lift (-cos, sin)|^2 = apart^2
    along = -x0 * math.cos(angle) + (y0 - upper) * math.sin(angle)
    room = x0**2 + (y0 - upper) ** 2 - apart**2
    square = along**2 - room
    if square < 0.0 or along >= 0.0:
        return math.inf
    return -along - math.sqrt(square)

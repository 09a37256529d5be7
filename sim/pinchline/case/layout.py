"""Where the rear roll stands: a point that moves along its slide."""

from __future__ import annotations

from math import cos, sin
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pinchline.case.machine import Machine


def rear_roll_centre(
    machine: Machine, thickness: float, lift: float
) -> tuple[float, float]:
    """Axis of the rear roll at a lift, mm from the nip; ``thickness`` in mm."""
    rear = machine.rear
    x = rear.distance - lift * cos(rear.slide_angle)
    y = -(machine.rolls.rear_radius + 0.5 * thickness) + lift * sin(rear.slide_angle)
    return x, y

"""Supports of the rolls: stiffness, preload and play per mm of width."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.physics import support
from pinchline.physics.shaft import Shaft, mean_compliance, mean_influence, strips
from pinchline.solvers.rolls import LOWER, REAR, UPPER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.case.machine import Machine


def roll_shaft(machine: Machine, roll: int) -> Shaft:
    """Give one roll as a shaft; the machine must have a ``[rolls.shaft]``."""
    shaft = machine.rolls.shaft
    assert shaft is not None
    radii = (
        machine.rolls.upper_radius,
        machine.rolls.lower_radius,
        machine.rolls.rear_radius,
    )
    bearing = shaft.bearing_stiffness
    return Shaft(
        span=shaft.span,
        diameter=2.0 * radii[roll],
        bore=shaft.bore,
        youngs_modulus=shaft.youngs_modulus,
        poisson_ratio=shaft.poisson_ratio,
        bearing_stiffness=math.inf if bearing is None else bearing,
    )


def support_stiffness(case: Case) -> tuple[float, float, float]:
    """Stiffness of upper, lower and rear roll, N/mm per mm of width; 0 is rigid.

    A stiffness on the card is that of the whole nip and lies at the lower roll; that of
    a shaft is the mean over the sheet's width.
    """
    machine, sheet = case.machine, case.sheet
    nip, rear = machine.nip, machine.rear
    found = [0.0, 0.0, 0.0]
    if nip.gives and machine.rolls.shaft is not None:
        for roll in (UPPER, LOWER, REAR):
            shaft = roll_shaft(machine, roll)
            found[roll] = 1.0 / mean_compliance(shaft, sheet.width, sheet.off_centre)
    if nip.stiffness is not None:
        found[UPPER], found[LOWER] = 0.0, nip.stiffness
    if rear.stiffness is not None:
        found[REAR] = rear.stiffness
    return found[UPPER], found[LOWER], found[REAR]


def width_strips(
    case: Case, stations: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Start and stop (mm) of strips of sheet side by side, along the rolls' shafts."""
    shaft = case.machine.rolls.shaft
    assert shaft is not None
    return strips(case.sheet.width, case.sheet.off_centre, shaft.span, stations)


def roll_influence(
    machine: Machine, roll: int, start: NDArray[np.float64], stop: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean deflection (mm) of a roll over strips by 1 N/mm on each, ``(n, n)``."""
    return mean_influence(roll_shaft(machine, roll), start, stop)


def support_table(case: Case) -> NDArray[np.float64]:
    """Tabulate the supports as the kernels take them, ``(3, 9)``: see ``support``."""
    machine = case.machine
    angle = machine.rear.slide_angle
    table = np.zeros((3, support.SUPPORT))
    table[UPPER, [support.GIVE_X, support.GIVE_Y]] = 0.0, 1.0
    table[LOWER, [support.GIVE_X, support.GIVE_Y]] = 0.0, -1.0
    table[REAR, [support.GIVE_X, support.GIVE_Y]] = math.cos(angle), -math.sin(angle)
    table[:, support.STIFFNESS] = support_stiffness(case)
    table[[UPPER, LOWER], support.PRELOAD] = machine.nip.clamp or 0.0
    table[LOWER, support.PLAY] = machine.nip.play
    table[REAR, support.PLAY] = machine.rear.play
    return table


def clamped_depths(case: Case, foundation: float) -> tuple[float, float]:
    """Depth (mm) to which the clamp sinks upper and lower roll into the flat sheet.

    A parabola of radius ``R`` on a foundation ``k``: ``F = 4/3 k sqrt(2 R) d^(3/2)``.
    """
    half = case.sheet.thickness / 2.0
    clamp = case.machine.nip.clamp or 0.0
    rolls = case.machine.rolls
    upper, lower = (
        (0.75 * clamp / (foundation * math.sqrt(2.0 * (radius + half)))) ** (2.0 / 3.0)
        for radius in (rolls.upper_radius, rolls.lower_radius)
    )
    return upper, lower

"""What all continua share: how finely, which moves, where the columns and rolls stand.

In all of them the sheet is the frame: a feed moves the three rolls along it. It starts
tilted as far as the play of the nip lets it, with all three rolls just touching.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from mesh import stations

from pinchline.case.checks import rear_roll_centre
from pinchline.solvers.layers import plane_strain_modulus

if TYPE_CHECKING:
    from mesh import Array

    from pinchline.case.case import Case

ROLLS = ("UPPER", "LOWER", "REAR")
COARSEST = 1.5  # thicknesses: longest element of the sheet
AHEAD, BEHIND = 2.0, 10.0  # mm of fine mesh beyond the fed stretch, before the raise


@dataclass(frozen=True)
class Fineness:
    """How finely a case is solved.

    Attributes
    ----------
    rows : elements through the thickness, an even number
    length : of an element in the fed stretch, thicknesses
    feed : per increment, thicknesses
    lift : per increment, mm
    penalty, rear_penalty : pressure over overlap at nip and rear roll, times E'/t
    """

    rows: int = 8
    length: float = 0.25
    feed: float = 0.125
    lift: float = 0.5
    penalty: float = 50.0
    rear_penalty: float = 0.025

    @classmethod
    def of(cls, rows: int, **others: float) -> Fineness:
        """Elements of one shape and a feed of half an element, whatever ``rows``."""
        return cls(rows=rows, length=2.0 / rows, feed=1.0 / rows, **others)

    def stiffness(self, case: Case) -> tuple[float, float, float]:
        """Pressure over overlap on each roll, MPa/mm."""
        unit = plane_strain_modulus(case.sheet.material) / case.sheet.thickness
        return self.penalty * unit, self.penalty * unit, self.rear_penalty * unit


def clearance(case: Case) -> float:
    """Opening of the nip beyond the thickness at the start, mm; 0 where it clamps."""
    return case.machine.nip.clearance or 0.0


def start_of(case: Case) -> float:
    """Point of the sheet on the nip line at the start, mm."""
    for move in case.moves:
        if move.kind == "place":
            return move.at
    message = "a case without a place"
    raise ValueError(message)


def travel(case: Case) -> list[tuple[str, float, float]]:
    """Moves as ``(kind, lift, fed)`` at their ends, mm, as the case asks for them."""
    start = start_of(case)
    ends: list[tuple[str, float, float]] = []
    for step in case.program:
        kind = step.move.kind
        if kind in ("turn", "release"):
            message = f"the continuum does not know the move {kind!r}"
            raise ValueError(message)
        if kind != "place":
            ends.append((kind, step.lift, start - step.nip))
    return ends


def toward_rear(case: Case) -> bool:
    """Whether the sheet goes toward the rear roll."""
    return max(fed for _, _, fed in travel(case)) > 0.0


def columns_of(case: Case, fineness: Fineness) -> Array:
    """Places of the columns relative to the first nip line, mm."""
    t = case.sheet.thickness
    at = start_of(case)
    feds = [0.0] + [fed for _, _, fed in travel(case)]
    low, high = -max(feds) - AHEAD * t, -min(feds)
    # the raise bends the sheet well behind the nip line before it is fed
    high += AHEAD * t if min(feds) < 0.0 else BEHIND * t
    return stations(
        -at,
        case.sheet.length - at,
        (max(low, 1.0 - at), min(high, case.sheet.length - at - 1.0)),
        fineness.length * t,
        COARSEST * t,
    )


def play(case: Case) -> tuple[float, float]:
    """Tilt (rad) at which the nip holds the flat sheet, and the lift (mm) for it.

    ``cos(tilt) = (ru + rl + t) / (ru + rl + t + c)``, and the distance of the rear
    roll's axis from the tilted mid-line is ``r + t/2``.
    """
    rolls, t = case.machine.rolls, case.sheet.thickness
    apart = rolls.upper_radius + rolls.lower_radius + t
    tilt = math.acos(apart / (apart + clearance(case)))

    def gap(lift: float) -> float:
        x, y = rear_roll_centre(case.machine, t, lift)
        return x * math.sin(tilt) - y * math.cos(tilt) - rolls.rear_radius - 0.5 * t

    low, high = 0.0, 0.5 * case.machine.rear.distance
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if gap(middle) > 0.0 else (low, middle)
    return tilt, low


def schedule_of(case: Case, fineness: Fineness) -> Array:
    """Time, lift and feed at the ends of the moves; a unit of time is an increment."""
    stride = fineness.feed * case.sheet.thickness
    rows = [(0.0, play(case)[1], 0.0)]
    for _, lift, fed in travel(case):
        time, lift_before, fed_before = rows[-1]
        count = max(
            abs(fed - fed_before) / stride, abs(lift - lift_before) / fineness.lift
        )
        rows.append((time + math.ceil(count - 1.0e-9), lift, fed))
    return np.array(rows)


def roll_places(case: Case) -> dict[str, tuple[tuple[float, float], float]]:
    """Axis (mm) and radius of each roll at the start, as the engine has them."""
    rolls, t = case.machine.rolls, case.sheet.thickness
    half = (t + clearance(case)) / 2.0
    return {
        "UPPER": ((0.0, rolls.upper_radius + half), rolls.upper_radius),
        "LOWER": ((0.0, -rolls.lower_radius - half), rolls.lower_radius),
        "REAR": (rear_roll_centre(case.machine, t, play(case)[1]), rolls.rear_radius),
    }

"""What a steady pass asks of the machine, and what the machine allows."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pinchline.process.effort import raising_torque

if TYPE_CHECKING:
    from pinchline.analysis.span import Pass
    from pinchline.model.case import Case

GRIP, EFFORT = "grip exceeded", "effort exceeded"
SCREW, TORQUE = "screw force exceeded", "screw torque exceeded"
PINCH = "pinch force exceeded"


class Asked(NamedTuple):
    """What a steady pass asks of one part of the machine, and what that allows."""

    kind: str
    asked: float
    allowed: float | None

    @property
    def exceeded(self) -> bool:
        """Whether it is too much."""
        return self.allowed is not None and self.asked > self.allowed


def efforts(case: Case, found: Pass) -> tuple[Asked, ...]:
    """Give what a pass of the span solver asks: grip (N/mm), hand, screws, pinch rolls.

    What is pushed is taken from the rolls' own forces; a few percent from the stepped
    solver's, whose word counts in the end.
    """
    machine, sheet = case.machine, case.sheet
    grip = machine.nip.friction * (found.force_upper + found.force_lower)
    drive = abs(found.drive)
    rolls, crank = machine.rolls, machine.crank
    shaft = rolls.shaft
    share = 0.5 if shaft is None else 0.5 + abs(sheet.off_centre) / shaft.span
    screw = found.force_rear * sheet.width * share
    rear = machine.rear
    torque = raising_torque(
        screw, rear.screw_pitch, rear.screw_diameter, rear.screw_friction
    )
    pinch = max(found.force_upper, found.force_lower) * sheet.width
    hand = 0.0
    if crank is not None:
        radius = 0.5 * (rolls.upper_radius + rolls.lower_radius)
        hand = drive * sheet.width * radius / crank.gear_ratio / crank.efficiency
        hand /= crank.radius
    return (
        Asked(GRIP, drive, grip),
        Asked(EFFORT, hand, crank.max_hand_force if crank else None),
        Asked(SCREW, screw, rear.max_screw_force),
        Asked(TORQUE, torque, rear.max_screw_torque),
        Asked(PINCH, pinch, machine.nip.max_force),
    )


def expected_limit(case: Case, found: Pass) -> str:
    """Name the first limit that a steady pass exceeds by the span solver, or none."""
    return next((a.kind for a in efforts(case, found) if a.exceeded), "")

"""Which limit keeps a part from being made, what could be, and what would help."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from pinchline.analysis import parallel
from pinchline.analysis.passes import WRAP, one_pass
from pinchline.analysis.plan_lift import LiftTable, lift_table
from pinchline.process.effort import raising_torque
from pinchline.process.geometry import wrap_curvature

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pinchline.analysis.span import Pass
    from pinchline.model.case import Case

HALVINGS = 4  # of the lift between a pass that can be made and one that cannot
SHARES = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3)  # of a size, tried for a change
WRAPPED = 0.97  # of the upper roll's curvature: more lift does next to nothing
MARGIN = 0.98  # of what a changed machine reaches: kept in hand
GRIP, EFFORT = "grip exceeded", "effort exceeded"
SCREW, TORQUE = "screw force exceeded", "screw torque exceeded"
PINCH = "pinch force exceeded"


class Tightest(NamedTuple):
    """Tightest even curve of a machine: radius (mm), its lift (mm), what binds it."""

    radius: float
    lift: float
    limit: str


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


def _good(case: Case, passes: Iterable[Pass]) -> list[Pass]:
    """Give the passes from the weakest on, up to one that exceeds a limit."""
    good: list[Pass] = []
    for found in passes:
        if expected_limit(case, found):
            break
        good.append(found)
    return good


def reach(case: Case, table: LiftTable | None = None) -> float:
    """Tightest curvature (1/mm) that a pass toward the operator should leave."""
    good = _good(case, (table or lift_table(case)).passes)
    return good[-1].residual if good else 0.0


def tightest(case: Case, table: LiftTable) -> Tightest:
    """Find the tightest even curve by the stepped solver, and what binds it."""
    if not table.passes:
        return Tightest(math.inf, math.nan, "no permanent set")
    good = _good(case, table.passes)
    expected = "" if len(good) == len(table.passes) else GRIP
    low = 0.0
    high = float(table.lifts[min(len(good), table.lifts.size - 1)])
    best: Tightest | None = None
    limit = expected
    lift = float(good[-1].lift) if good else float(table.lifts[0])
    for _ in range(HALVINGS):
        found = one_pass(case, lift, "operator")
        if found.possible and math.isfinite(found.radius):
            low = lift
            best = Tightest(found.radius, lift, limit)
            if found.limit == WRAP:
                limit = WRAP
            if high - low < 0.02 * high:
                break
            lift = high if lift < high and found.limit != WRAP else lift
            if lift == low:
                break
        else:
            limit, high = found.limit, lift
            lift = 0.5 * (low + high)
    if best is None:
        return Tightest(math.inf, math.nan, limit)
    if not limit or (limit == GRIP and expected == ""):
        bound = wrap_curvature(case.machine, case.sheet.thickness)
        wrapped = table.passes[-1].loaded >= WRAPPED * bound
        limit = WRAP if wrapped else table.end
    return best._replace(limit=limit)


def _with_roll(case: Case, share: float) -> Case:
    rolls = case.machine.rolls
    rolls = rolls.model_copy(update={"upper_radius": share * rolls.upper_radius})
    machine = case.machine.model_copy(update={"rolls": rolls})
    return case.model_copy(update={"machine": machine})


def _thinner(case: Case, share: float) -> Case:
    sheet = case.sheet
    sheet = sheet.model_copy(update={"thickness": share * sheet.thickness})
    return case.model_copy(update={"sheet": sheet})


def _softer(case: Case, share: float) -> Case:
    sheet = case.sheet
    strength = share * sheet.material.yield_strength
    material = sheet.material.model_copy(update={"yield_strength": strength})
    return case.model_copy(
        update={"sheet": sheet.model_copy(update={"material": material})}
    )


_CHANGES = {"roll": _with_roll, "thickness": _thinner, "yield": _softer}


def _needed(asked: tuple[Case, str, float]) -> float:
    """Share of a size with which a curvature (1/mm) is reached; NaN where none is."""
    case, kind, curvature = asked
    change = _CHANGES[kind]

    def enough(share: float) -> bool:
        return MARGIN * reach(change(case, share)) >= curvature

    before = 1.0
    for share in SHARES:
        if enough(share):
            middle = 0.5 * (share + before)
            return middle if enough(middle) else share
        before = share
    return math.nan


def changes(
    case: Case, curvature: float, workers: int | None = None
) -> dict[str, float]:
    """Find what would leave a curvature (1/mm): each size alone, the rest as it is.

    Returns the radius of the upper roll (mm), the thickness (mm) and the yield strength
    (MPa) that suffice by the span solver; a size that alone does not help is left out.
    """
    kinds = list(_CHANGES)
    sizes = (
        case.machine.rolls.upper_radius,
        case.sheet.thickness,
        case.sheet.material.yield_strength,
    )
    asked = [(case, kind, curvature) for kind in kinds]
    with parallel.workers(workers, len(asked)) as do_all:
        shares = list(do_all(_needed, asked))
    return {
        kind: share * size
        for kind, share, size in zip(kinds, shares, sizes, strict=True)
        if not math.isnan(share)
    }

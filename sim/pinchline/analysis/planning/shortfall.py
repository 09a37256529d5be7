"""Shortfall of a machine: the governing limit, the nearest part, and remedies."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline import parallel
from pinchline.analysis.limits.tightest import (
    STEPPED,
    TightestPass,
    check_by_stepping,
    tightest,
)
from pinchline.analysis.planning.lift_table import LiftTable, lift_table
from pinchline.errors import InputError

if TYPE_CHECKING:
    from pinchline.case.case import Case

LIFT_HALVINGS = 3  # of a fiftieth of the lift: what a hand can set
TRIED_SIZE_SHARES = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3)  # of a size, tried for a change
# distances from nip to rear roll: sheet on which no edge runs out
PASS_LENGTH_DISTANCES = 6.0
CHANGE_MARGIN = 0.98  # of what a changed machine reaches: kept in hand


def reach(table: LiftTable) -> float:
    """Tightest curvature (1/mm) that a pass toward the operator should leave."""
    good = table.good
    return float(table.curvatures[good - 1]) if good else 0.0


def bound(case: Case, table: LiftTable) -> TightestPass:
    """Find the tightest even curve by the stepped solver, and what binds it.

    Its lift (mm) is the least that leaves a set where no pass can be made.
    """
    sheet = _longer(case)
    found = tightest(sheet, back_only=True)
    if found.way and found.by != STEPPED:
        found = check_by_stepping(sheet, found, LIFT_HALVINGS)
    if not found.way:
        return found._replace(lift=float(table.lifts[0]))
    return found


def _longer(case: Case) -> Case:
    """Give the sheet long enough for a pass: a plan's blank is found later."""
    length = max(case.sheet.length, PASS_LENGTH_DISTANCES * case.machine.rear.distance)
    return case.replace({"sheet.length": length})


def _with_roll(case: Case, share: float) -> Case:
    return case.replace(
        {"machine.rolls.upper_radius": share * case.machine.rolls.upper_radius}
    )


def _thinner(case: Case, share: float) -> Case:
    sheet = case.sheet
    return case.replace(
        {
            "sheet.thickness": share * sheet.thickness,
            "sheet.material": sheet.material,
        }
    )


def _softer(case: Case, share: float) -> Case:
    strength = share * case.sheet.material.yield_strength
    return case.replace({"sheet.material.yield_strength": strength})


_CHANGES = {"roll": _with_roll, "thickness": _thinner, "yield": _softer}


def _needed(jobs: tuple[Case, str, float]) -> float:
    """Share of a size with which a curvature (1/mm) is reached; NaN where none is."""
    case, kind, curvature = jobs
    change = _CHANGES[kind]

    def enough(share: float) -> bool:
        try:
            changed = change(case, share)
        except InputError:  # no such roll takes the sheet
            return False
        return CHANGE_MARGIN * reach(lift_table(changed, stepped=False)) >= curvature

    before = 1.0
    for share in TRIED_SIZE_SHARES:
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
    jobs = [(case, kind, curvature) for kind in kinds]
    with parallel.workers(workers, len(jobs)) as do_all:
        shares = list(do_all(_needed, jobs))
    return {
        kind: share * size
        for kind, share, size in zip(kinds, shares, sizes, strict=True)
        if not math.isnan(share)
    }


def relaxed(case: Case, curvature: float) -> Case:
    """Give the case with no radius wanted tighter than a curvature (1/mm) allows.

    Turned angle and flats stay; where no radius is told, so does the whole target.
    """
    target, thickness = case.target, case.sheet.thickness
    assert target is not None
    if curvature <= 0.0:
        return case
    on_side = 1.0 / curvature - target.to_middle(0.0, thickness)
    changes: dict[str, object] = {"sheet.length": case.sheet.length}
    if target.radius is not None:
        changes["target.radius"] = max(target.radius, on_side)
    if target.nose is not None:
        for name in ("radius_operator", "radius_rear"):
            radius = max(getattr(target.nose, name), on_side)
            changes[f"target.nose.{name}"] = radius
    return case.replace(changes)

"""What a steady pass of the span solver asks of the machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.solvers.effort import Effort, asked_of, of_one_strip

if TYPE_CHECKING:
    from pinchline.case.case import Case
    from pinchline.solvers.steady.solver import Pass


def pass_efforts(case: Case, found: Pass, peak: float = 1.0) -> Effort:
    """Efforts of the whole machine at ``peak`` times the drive of the settled pass."""
    drive = peak * abs(found.drive)
    margin = case.machine.nip.friction * found.grip - drive
    return of_one_strip(case, found.pushed.tolist(), drive, margin)


def expected_limit(case: Case, found: Pass) -> str:
    """Name the first limit that a settled pass exceeds by the span solver, or none."""
    asked = asked_of(case, pass_efforts(case, found), abs(found.drive))
    return next((a.kind for a in asked if a.exceeded), "")

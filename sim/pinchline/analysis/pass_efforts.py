"""What a steady pass of the span solver asks of the machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.process.effort import Effort, asked_of, over_the_width

if TYPE_CHECKING:
    from pinchline.analysis.span import Pass
    from pinchline.model.case import Case


def pass_efforts(case: Case, found: Pass, peak: float = 1.0) -> Effort:
    """Efforts of the whole machine at ``peak`` times the drive of the settled pass."""
    drive = peak * abs(found.drive)
    margin = case.machine.nip.friction * found.grip - drive
    one = np.ones(1)
    pushed = found.pushed[np.newaxis]
    return over_the_width(case, 0.0 * one, pushed, drive * one, margin * one)


def expected_limit(case: Case, found: Pass) -> str:
    """Name the first limit that a settled pass exceeds by the span solver, or none."""
    asked = asked_of(case, pass_efforts(case, found), abs(found.drive))
    return next((a.kind for a in asked if a.exceeded), "")

"""Pure bending: one mm of sheet bent to a radius and let go, no machine in it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.parts.measure import FLAT_CURVATURE
from pinchline.physics.section import HISTORY, SCRATCH, free_curvature, section_commit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinchline.solvers.layers import SectionLaw

STEPS = 12  # of bending, from one radius to the next


class PureBend(NamedTuple):
    """Pure bending to a mid-line radius: the free one (mm), moment (N mm/mm)."""

    loaded: float
    free: float
    moment: float = math.nan


def bend_and_release(law: SectionLaw, radii: Sequence[float]) -> list[PureBend]:
    """Bend one mm of sheet to falling mid-line radii (mm) and let it go from each."""
    code, layers = law.law, law.layers
    history, scratch = law.virgin.copy(), np.zeros((HISTORY, SCRATCH))
    found, bent = [], 0.0
    for radius in radii:
        step = (1.0 / radius - bent) / STEPS
        for _ in range(STEPS):
            moment, _, low, _ = section_commit(code, layers, history, step, scratch)
        bent = 1.0 / radius
        back = -moment / law.bending
        if back < low:
            opened = history.copy()
            back = free_curvature(code, layers, opened, back, law.bending, scratch)
        left = bent + back
        free = 1.0 / left if left > FLAT_CURVATURE else math.inf
        found.append(PureBend(radius, free, moment))
    return found

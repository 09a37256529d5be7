"""Support of a roll: its force against its displacement (the give).

A roll gives along one straight line, away from the sheet. Its support is a screw or a
spring that was set to a preload on the flat sheet, with play that is taken up before
force builds, and then the stiffness of shaft, bearings and frame. Unit width: forces in
N/mm, stiffness in N/mm per mm.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

# columns of the support table, one row a roll
GIVE_X = 0  # direction in which the roll gives, away from the sheet
GIVE_Y = 1  # beside GIVE_X
PRELOAD = 2  # N/mm
STIFFNESS = 3  # N/mm per mm; 0 where the roll is held rigidly
PLAY = 4  # mm
GIVE = 5  # how far it has given way, mm
UNBALANCED = 6  # force of the support less that of the sheet, N/mm
TANGENT = 7  # its derivative by the give, N/mm per mm
STEP = 8  # change of the give in the Newton step, mm
SUPPORT = 9

UNLOADED_STIFFNESS_SHARE = (
    1.0e-6  # of the stiffness: holds a roll where its support bears no force
)


@kernel
def gives(support: Array) -> bool:
    """Whether a roll, a row of the table, is not held rigidly."""
    return bool(support[STIFFNESS] > 0.0)


@kernel
def support_force(support: Array) -> tuple[float, float, float]:
    """Force (N/mm), tangent (N/mm per mm) and stored energy (N mm/mm) of a support.

    With the give ``d``, preload ``P``, play ``p`` and stiffness ``k``: ``P`` over the
    play, ``P + k (d - p)`` past it, and ``P + k d`` down to nothing where the roll
    follows the sheet the other way. Where that is flat a millionth of ``k`` pulls
    toward the end of the play, so that a loose roll hangs there and not on the sheet.
    """
    d = support[GIVE]
    preload, k, play = support[PRELOAD], support[STIFFNESS], support[PLAY]
    soft = UNLOADED_STIFFNESS_SHARE * k
    slack = preload - soft * play  # force where the play begins
    if d > play:
        over = d - play
        energy = (preload - 0.5 * soft * play) * play
        return preload + k * over, k, energy + (preload + 0.5 * k * over) * over
    if d > 0.0:
        return slack + soft * d, soft, (slack + 0.5 * soft * d) * d
    free = -preload / k
    if d > free:
        return slack + k * d, k, (slack + 0.5 * k * d) * d
    past = d - free
    force = slack - preload
    energy = (slack + 0.5 * k * free) * free
    return force + soft * past, soft, energy + (force + 0.5 * soft * past) * past


@kernel
def hold(supports: Array) -> None:
    """Start the balance of every roll with its support's force and tangent."""
    for r in range(supports.shape[0]):
        supports[r, UNBALANCED] = 0.0
        supports[r, TANGENT] = 0.0
        if gives(supports[r]):
            force, tangent, _ = support_force(supports[r])
            supports[r, UNBALANCED] = force
            supports[r, TANGENT] = tangent


@kernel
def support_energy(supports: Array) -> float:
    """Energy stored in all supports, N mm/mm."""
    total = 0.0
    for r in range(supports.shape[0]):
        if gives(supports[r]):
            total += support_force(supports[r])[2]
    return total


@kernel
def mean_work(supports: Array, before: Array) -> float:
    """Work (N mm/mm) on all supports by the mean of their forces, from ``before``.

    ``before (rolls)``: the gives that the step began with, mm.
    """
    total = 0.0
    for r in range(supports.shape[0]):
        if gives(supports[r]):
            force, _, _ = support_force(supports[r])
            change = supports[r, GIVE] - before[r]
            start = supports[r].copy()
            start[GIVE] = before[r]
            earlier, _, _ = support_force(start)
            total += 0.5 * (force + earlier) * change
    return total


@kernel
def unbalanced(supports: Array) -> float:
    """Largest force (N/mm) by which a support misses its roll's; NaN sticks."""
    worst = 0.0
    for r in range(supports.shape[0]):
        if not abs(supports[r, UNBALANCED]) <= worst:
            worst = abs(supports[r, UNBALANCED])
            if math.isnan(worst):
                break
    return worst

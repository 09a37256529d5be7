"""Weight of the sheet: of the window's elements, and of the arms beyond its ends.

An arm is free, so it moves as a rigid body with the end of the window that carries it:
its weight is a dead force there, and a moment by the distance of its centre. With the
centre at ``(a, b)`` along and across that end's rotation ``theta``, the potential is
``G (y + a sin(theta) + b cos(theta))``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain


ARM_WEIGHT, ARM_ALONG, ARM_ACROSS = range(3)  # columns of ``arms``


@kernel
def add_weight(
    beam: Beam,
    chain: Chain,
    arms: Array,
    band: Array,
    right: Array,
    first: int,
    last: int,
) -> None:
    """Add the weight of elements ``first..last - 1`` and of the arms to the residual.

    ``arms (2, 3)``: weight ``G`` (N/mm), ``a``, ``b`` (mm), at the first and last node.
    """
    element = beam.weight * beam.length
    for e in range(first, last):
        base = 3 * (e - first)
        right[base + 1] += 0.5 * element
        right[base + 4] += 0.5 * element
    for side in range(2):
        node = first if side == 0 else last
        base = 3 * (node - first)
        arm = arms[side]
        g, a, b = arm[ARM_WEIGHT], arm[ARM_ALONG], arm[ARM_ACROSS]
        c, s = math.cos(chain.theta[node]), math.sin(chain.theta[node])
        right[base + 1] += g
        right[base + 2] += g * (a * c - b * s)
        band[base + 2, 0] -= g * (a * s + b * c)


@kernel
def potential(beam: Beam, chain: Chain) -> float:
    """Energy of height of the whole sheet over ``y = 0``, N mm/mm."""
    total = 0.0
    for e in range(chain.moment.shape[0]):
        total += 0.5 * (chain.y[e] + chain.y[e + 1])
    return total * beam.weight * beam.length


@kernel
def weigh_arms(beam: Beam, chain: Chain, first: int, last: int, arms: Array) -> None:
    """Fill ``arms (2, 3)`` from the laid-out sheet beyond the window."""
    element = beam.weight * beam.length
    for side in range(2):
        node = first if side == 0 else last
        low = 0 if side == 0 else last
        high = first if side == 0 else chain.moment.shape[0]
        x = y = 0.0
        for e in range(low, high):
            x += 0.5 * (chain.x[e] + chain.x[e + 1])
            y += 0.5 * (chain.y[e] + chain.y[e + 1])
        count = high - low
        arms[side, ARM_WEIGHT] = element * count
        arms[side, ARM_ALONG] = arms[side, ARM_ACROSS] = 0.0
        if count > 0:
            dx = x / count - chain.x[node]
            dy = y / count - chain.y[node]
            c, s = math.cos(chain.theta[node]), math.sin(chain.theta[node])
            arms[side, ARM_ALONG] = c * dx + s * dy
            arms[side, ARM_ACROSS] = c * dy - s * dx

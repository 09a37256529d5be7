"""First guess of a feed step: the sheet moves on, the bent shape stays in the machine.

After a feed of one element every element stands where its neighbour stood, and in a
steady pass it also bears what the neighbour bore. Where the histories differ, the
moment of the place is the better guess for elements that stay elastic, since it
follows from the forces, and the curvature of the place for those that yield.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.contact import deepest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.physics.beam import Beam, Chain


@kernel
def _curvatures(
    beam: Beam, chain: Chain, first: int, last: int, share: float, way: int, out: NDArray
) -> None:
    """Guess curvature (1/mm), axial and shear force (N/mm) into ``out[first:last]``."""
    count = chain.moment.shape[0]
    for e in range(first, last):
        ahead = e + way
        m = bend = n = q = 0.0
        if 0 <= ahead < count:
            m, bend = chain.moment[ahead], chain.curvature[ahead]
            n, q = chain.axial[ahead], chain.shear[ahead]
        else:
            bend = chain.curvature[e]
        m = (1.0 - share) * chain.moment[e] + share * m
        bend = (1.0 - share) * chain.curvature[e] + share * bend
        elastic = chain.curvature[e] + (m - chain.moment[e]) / beam.bending
        if chain.low[e] <= elastic <= chain.high[e]:
            bend = elastic
        elif m > chain.moment[e]:
            bend = max(bend, chain.high[e])
        else:
            bend = min(bend, chain.low[e])
        out[e, 0] = bend
        out[e, 1] = (1.0 - share) * chain.axial[e] + share * n
        out[e, 2] = (1.0 - share) * chain.shear[e] + share * q


@kernel
def _follow(beam: Beam, chain: Chain, e: int, way: int, guess: NDArray) -> None:
    """Place the far node of element ``e`` from its near one by the guessed strains."""
    length = beam.length
    near, far = (e, e + 1) if way > 0 else (e + 1, e)
    chain.theta[far] = chain.theta[near] + way * guess[e, 0] * length
    mean = 0.5 * (chain.theta[near] + chain.theta[far])
    c, s = math.cos(mean), math.sin(mean)
    along = way * length * (1.0 + guess[e, 1] / beam.axial)
    across = way * length * guess[e, 2] / beam.shear
    chain.x[far] = chain.x[near] + along * c - across * s
    chain.y[far] = chain.y[near] + along * s + across * c
    chain.axial[e] = guess[e, 1]
    chain.shear[e] = guess[e, 2]


@kernel
def _turn(chain: Chain, pivot: int, first: int, last: int, angle: float) -> None:
    """Turn the nodes ``first..last`` about node ``pivot``."""
    c, s = math.cos(angle), math.sin(angle)
    px, py = chain.x[pivot], chain.y[pivot]
    for node in range(first, last + 1):
        dx, dy = chain.x[node] - px, chain.y[node] - py
        chain.x[node] = px + c * dx - s * dy
        chain.y[node] = py + s * dx + c * dy
        chain.theta[node] += angle


@kernel
def carry(
    beam: Beam,
    chain: Chain,
    first: int,
    last: int,
    pivot: int,
    share: float,
    way: int,
    rear: NDArray,
    guess: NDArray,
) -> None:
    """Move the window on by a share of one element; the chain then holds a guess.

    Parameters
    ----------
    first, last : nodes of the window after the feed
    pivot : node next to the nip line after the feed, whose pose the nip gives
    share : part of an element to feed, 0..1
    way : +1 toward the rear roll, -1 toward the operator
    rear : (6,) the rear roll, on which the guess keeps its depth of contact
    guess : (n, 3) scratch
    """
    length = beam.length
    depth = deepest(chain, first, last, length, rear)
    _curvatures(beam, chain, first, last, share, way, guess)
    beyond = pivot + way
    chain.x[pivot] += share * (chain.x[beyond] - chain.x[pivot])
    chain.y[pivot] += share * (chain.y[beyond] - chain.y[pivot])
    chain.theta[pivot] += share * (chain.theta[beyond] - chain.theta[pivot])
    for e in range(pivot, last):
        _follow(beam, chain, e, 1, guess)
    for e in range(pivot - 1, first - 1, -1):
        _follow(beam, chain, e, -1, guess)
    if depth > 0.0:
        for _ in range(2):
            now = deepest(chain, first, last, length, rear)
            lever = max(rear[0] - chain.x[pivot], length)
            _turn(chain, pivot, first, last, (now - depth) / lever)

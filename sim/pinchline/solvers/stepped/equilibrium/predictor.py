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
from pinchline.physics.rolls import AXIS_X

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain

PLACE_MOMENT, PLACE_CURVATURE, PLACE_AXIAL, PLACE_SHEAR = range(4)  # what it bears
FIELDS = 4


@kernel
def remember(
    chain: Chain, first: int, last: int, driven: int, places: Array, pose: Array
) -> None:
    """Keep what the window's places bear, counted from the driven element.

    ``places (slots, 4)``: the driven element is the middle slot; ``pose (3)``: x, y,
    theta of its node nearer the operator.
    """
    places[:] = 0.0
    shift = places.shape[0] // 2 - driven
    for e in range(max(first, -shift), min(last, places.shape[0] - shift)):
        places[e + shift, PLACE_MOMENT] = chain.moment[e]
        places[e + shift, PLACE_CURVATURE] = chain.curvature[e]
        places[e + shift, PLACE_AXIAL] = chain.axial[e]
        places[e + shift, PLACE_SHEAR] = chain.shear[e]
    pose[0] = chain.x[driven]
    pose[1] = chain.y[driven]
    pose[2] = chain.theta[driven]


@kernel
def _read_memory(
    first: int,
    last: int,
    driven: int,
    places: Array,
    earlier: Array,
    more: float,
    out: Array,
) -> None:
    """Read what the places bore one element of feed ago, and ``more`` of its change."""
    shift = places.shape[0] // 2 - driven
    for e in range(first, last):
        for k in range(FIELDS):
            out[e, k] = 0.0
            if 0 <= e + shift < places.shape[0]:
                now = places[e + shift, k]
                out[e, k] = now + more * (now - earlier[e + shift, k])


@kernel
def _read_places(
    chain: Chain, first: int, last: int, share: float, way: int, out: Array
) -> None:
    """Read what each element's next place bears, a share of the way there."""
    count = chain.moment.shape[0]
    for e in range(first, last):
        ahead = e + way
        m = n = q = 0.0
        bend = chain.curvature[e]
        if 0 <= ahead < count:
            m, bend = chain.moment[ahead], chain.curvature[ahead]
            n, q = chain.axial[ahead], chain.shear[ahead]
        out[e, PLACE_MOMENT] = (1.0 - share) * chain.moment[e] + share * m
        out[e, PLACE_CURVATURE] = (1.0 - share) * chain.curvature[e] + share * bend
        out[e, PLACE_AXIAL] = (1.0 - share) * chain.axial[e] + share * n
        out[e, PLACE_SHEAR] = (1.0 - share) * chain.shear[e] + share * q


@kernel
def _curvatures(beam: Beam, chain: Chain, first: int, last: int, out: Array) -> None:
    """Turn the moments of the places in ``out`` into guesses of curvature."""
    for e in range(first, last):
        m = out[e, PLACE_MOMENT]
        bend = chain.curvature[e] + (m - chain.moment[e]) / beam.bending
        if not chain.low[e] <= bend <= chain.high[e]:
            if m > chain.moment[e]:
                bend = max(out[e, PLACE_CURVATURE], chain.high[e])
            else:
                bend = min(out[e, PLACE_CURVATURE], chain.low[e])
        out[e, PLACE_MOMENT] = bend


@kernel
def _follow(beam: Beam, chain: Chain, e: int, way: int, guess: Array) -> None:
    """Place the far node of element ``e`` from its near one by the guessed strains."""
    length = beam.length
    near, far = (e, e + 1) if way > 0 else (e + 1, e)
    chain.theta[far] = chain.theta[near] + way * guess[e, PLACE_MOMENT] * length
    mean = 0.5 * (chain.theta[near] + chain.theta[far])
    c, s = math.cos(mean), math.sin(mean)
    along = way * length * (1.0 + guess[e, PLACE_AXIAL] / beam.axial)
    across = way * length * guess[e, PLACE_SHEAR] / beam.shear
    chain.x[far] = chain.x[near] + along * c - across * s
    chain.y[far] = chain.y[near] + along * s + across * c
    chain.axial[e] = guess[e, PLACE_AXIAL]
    chain.shear[e] = guess[e, PLACE_SHEAR]


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
def _shape(
    beam: Beam,
    chain: Chain,
    first: int,
    last: int,
    pivot: int,
    rear: Array,
    depth: float,
    guess: Array,
) -> None:
    """Lay the guessed curvatures out from the pivot; keep the rear roll's contact."""
    _curvatures(beam, chain, first, last, guess)
    for e in range(pivot, last):
        _follow(beam, chain, e, 1, guess)
    for e in range(pivot - 1, first - 1, -1):
        _follow(beam, chain, e, -1, guess)
    if depth > 0.0:
        for _ in range(2):
            now = deepest(beam, chain, first, last, rear)
            lever = max(rear[AXIS_X] - chain.x[pivot], beam.length)
            _turn(chain, pivot, first, last, (now - depth) / lever)


@kernel
def carry(
    beam: Beam,
    chain: Chain,
    first: int,
    last: int,
    pivot: int,
    share: float,
    way: int,
    rear: Array,
    depth: float,
    guess: Array,
) -> None:
    """Move the window on by a share of one element; the chain then holds a guess.

    Parameters
    ----------
    first, last : nodes of the window after the feed
    pivot : node next to the nip line after the feed, whose pose the nip gives
    share : part of an element to feed, 0..1
    way : +1 toward the rear roll, -1 toward the operator
    rear, depth : (6,) the rear roll, and how deep (mm) the guess is to touch it
    guess : (n, 4) scratch
    """
    _read_places(chain, first, last, share, way, guess)
    beyond = pivot + way
    chain.x[pivot] += share * (chain.x[beyond] - chain.x[pivot])
    chain.y[pivot] += share * (chain.y[beyond] - chain.y[pivot])
    chain.theta[pivot] += share * (chain.theta[beyond] - chain.theta[pivot])
    _shape(beam, chain, first, last, pivot, rear, depth, guess)


@kernel
def predict_from_history(
    beam: Beam,
    chain: Chain,
    first: int,
    last: int,
    driven: int,
    places: Array,
    pose: Array,
    earlier: Array,
    earlier_pose: Array,
    more: float,
    rear: Array,
    depth: float,
    guess: Array,
) -> None:
    """Predict the window from its shape one whole element of feed ago, and its change.

    With several steps per element the pattern of contact repeats only after all of
    them; ``places`` and ``pose`` are what ``remember`` kept then, ``earlier`` and
    ``earlier_pose`` an element before that. ``more`` is the share of the change from
    the one to the other that goes on: 1 where both are known, else 0.
    Other parameters as in ``carry``; ``driven`` is the element on the nip line after
    the feed.
    """
    _read_memory(first, last, driven, places, earlier, more, guess)
    chain.x[driven] = pose[0] + more * (pose[0] - earlier_pose[0])
    chain.y[driven] = pose[1] + more * (pose[1] - earlier_pose[1])
    chain.theta[driven] = pose[2] + more * (pose[2] - earlier_pose[2])
    _shape(beam, chain, first, last, driven, rear, depth, guess)

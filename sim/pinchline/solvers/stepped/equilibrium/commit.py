"""Acceptance of an equilibrium: the section's history, records and energies move on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.beam import strains
from pinchline.physics.section import free_curvature, section_commit

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain

# columns of the record of every element, see ``commit``
PEAK_MOMENT, PEAK_MOVE, PEAK_PLACE, PEAK_CURVATURE, CAME_WITH, PEAK_CHANGE = range(6)
PEAKS = 6
BENDING_ENERGY, PLASTIC_WORK, STRETCH_ENERGY = range(3)  # of ``energies``


@kernel
def advance(
    beam: Beam, chain: Chain, e: int, bend: float, scratch: Array, energies: Array
) -> None:
    """Accept the curvature ``bend`` (1/mm) of one element."""
    before = chain.moment[e]
    change = bend - chain.curvature[e]
    work = 0.0
    if chain.low[e] <= bend <= chain.high[e]:
        chain.moment[e] = before + beam.bending * change
    else:
        history = chain.history[e]
        if chain.anchor[e] != chain.curvature[e]:
            ahead = chain.curvature[e] - chain.anchor[e]
            section_commit(beam.law, beam.layers, history, ahead, scratch)
        m, work, low, high = section_commit(
            beam.law, beam.layers, history, change, scratch
        )
        chain.moment[e] = m
        chain.anchor[e] = bend
        # rounding may end the range on the wrong side: no change is always elastic
        chain.low[e] = bend + min(low, 0.0)
        chain.high[e] = bend + max(high, 0.0)
    chain.curvature[e] = bend
    energies[BENDING_ENERGY] += beam.length * (
        0.5 * (before + chain.moment[e]) * change - work
    )
    energies[PLASTIC_WORK] += beam.length * work


@kernel
def commit(
    beam: Beam,
    chain: Chain,
    first: int,
    last: int,
    scratch: Array,
    peaks: Array,
    move: int,
    energies: Array,
) -> None:
    """Accept the equilibrium: move the history and the records of the window.

    ``peaks (n, 6)``: per element the moment of largest size, its move, its place x in
    the machine, the curvature of largest size, the one it came with, and the largest
    departure from that. ``energies`` (3): elastic energy of
    bending and plastic work are added to (N mm/mm), that of stretch and shear is set.
    """
    length = beam.length
    energies[STRETCH_ENERGY] = 0.0
    for e in range(first, last):
        stretch, shear, bend, _, _ = strains(chain.x, chain.y, chain.theta, e, length)
        chain.axial[e] = beam.axial * stretch
        chain.shear[e] = beam.shear * shear
        energies[STRETCH_ENERGY] += 0.5 * length * beam.axial * stretch * stretch
        energies[STRETCH_ENERGY] += 0.5 * length * beam.shear * shear * shear
        advance(beam, chain, e, bend, scratch, energies)
        if abs(chain.moment[e]) > abs(peaks[e, PEAK_MOMENT]):
            peaks[e, PEAK_MOMENT] = chain.moment[e]
            peaks[e, PEAK_MOVE] = move
            peaks[e, PEAK_PLACE] = 0.5 * (chain.x[e] + chain.x[e + 1])
        if abs(bend) > abs(peaks[e, PEAK_CURVATURE]):
            peaks[e, PEAK_CURVATURE] = bend
        peaks[e, PEAK_CHANGE] = max(
            peaks[e, PEAK_CHANGE], abs(bend - peaks[e, CAME_WITH])
        )


@kernel
def let_go(
    beam: Beam, chain: Chain, scratch: Array, energies: Array, first: int, last: int
) -> None:
    """Take all moment and force off the elements ``first..last - 1``.

    Nothing supports a free sheet, so each element unloads on its own.
    """
    for e in range(first, last):
        chain.axial[e] = 0.0
        chain.shear[e] = 0.0
        bend = chain.curvature[e] - chain.moment[e] / beam.bending
        if not chain.low[e] <= bend <= chain.high[e]:
            bend = chain.anchor[e] + free_curvature(
                beam.law,
                beam.layers,
                chain.history[e],
                bend - chain.anchor[e],
                beam.bending,
                scratch,
            )
        advance(beam, chain, e, bend, scratch, energies)
        chain.moment[e] = 0.0
    energies[STRETCH_ENERGY] = 0.0

"""Residual and tangent of a window of the sheet between the rolls.

Unknown are positions and rotations of the window's nodes; the drive, the multiplier of
the one constraint that a named point of the sheet lies on the nip line; and how far
each roll has given way. The band holds the nodes, the rest is its border.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.physics._jit import kernel
from pinchline.physics.beam import add_forces, add_stiffness, strains
from pinchline.physics.contact import add_contact, near
from pinchline.physics.rolls import AXIS_X, AXIS_Y, CONTACT_FLOOR, REACH
from pinchline.physics.section import HISTORY, SCRATCH, section_moment
from pinchline.physics.support import gives, hold
from pinchline.physics.weight import add_weight
from pinchline.solvers.stepped.equilibrium.banded_solve import WIDTH
from pinchline.solvers.stepped.equilibrium.bordered_solve import FIRST_ROLL

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain

# entries of ``Work.report``
(
    REPORT_DRIVE,
    REPORT_RESIDUAL,
    REPORT_NODE,
    REPORT_GAP,
    REPORT_PIVOTS,
    REPORT_CHANGE,
) = range(6)


class Tooling(NamedTuple):
    """Rolls and drive of one equilibrium.

    rolls: (rolls, 6) axis x, y and ``r + t/2`` (mm), the travel dx, dy still to be made
    (mm), and a column for the kernels; supports: how each is held (``support``); arms
    (2, 3): weight of the arm beyond each end of the window and its centre from that
    end (``weight``); foundation: contact stiffness per
    area (MPa/mm); driven: element on the nip line, -1 when nothing holds the sheet;
    xi: place in that element (-1..1); offset of the drive over the mid-line (mm).
    """

    rolls: Array
    supports: Array
    arms: Array
    foundation: float
    driven: int
    xi: float
    offset: float


class Work(NamedTuple):
    """Arrays that the kernels fill: band, right sides, gradient (6), scratch, report.

    ``right (unknowns + 5, 2 + giving rolls)``: step and border; ``cross (unknowns + 5,
    giving rolls)``: derivative of the residual by the gives; ``forces (unknowns + 5)``:
    residual; ``schur``: scratch of the border;
    ``pull (n, 2)``: change of axial and shear force in the step (N/mm);
    ``depths (3)``: scratch, a depth (mm) of every roll;
    ``report`` (6): drive multiplier (N/mm), residual (N/mm), worst node, gap of the
    nip line (mm), pivots that were not positive, size of the last change (mm).
    """

    band: Array
    right: Array
    cross: Array
    schur: Array
    forces: Array
    pull: Array
    depths: Array
    gradient: Array
    scratch: Array
    report: Array


def workspace(elements: int, giving: int) -> Work:
    """Allocate the arrays for so many elements and rolls that give."""
    unknowns = 3 * (elements + 1)
    return Work(
        band=np.zeros((unknowns + 5, WIDTH)),
        right=np.zeros((unknowns + 5, FIRST_ROLL + giving)),
        cross=np.zeros((unknowns + 5, giving)),
        schur=np.zeros((1 + giving, 2 + giving)),
        forces=np.zeros(unknowns + 5),
        pull=np.zeros((elements, 2)),
        depths=np.zeros(3),
        gradient=np.zeros(6),
        scratch=np.zeros((HISTORY, SCRATCH)),
        report=np.zeros(6),
    )


@kernel
def assemble(
    beam: Beam,
    chain: Chain,
    tooling: Tooling,
    work: Work,
    right: Array,
    first: int,
    last: int,
    search: bool,
) -> None:
    """Residual forces and tangent of the nodes ``first..last``.

    In a search along a step the carried axial and shear forces count in place of those
    of the strains, which a large turn falsifies, and no tangent is asked for.
    """
    length = beam.length
    size = 3 * (last - first + 1)
    band, cross = work.band, work.cross
    right[: size + 5] = 0.0
    if not search:
        band[: size + 5] = 0.0
        cross[: size + 5] = 0.0
    rolls, supports = tooling.rolls, tooling.supports
    hold(supports)
    if beam.weight > 0.0:
        add_weight(beam, chain, tooling.arms, band, right, first, last)
    for e in range(first, last):
        base = 3 * (e - first)
        stretch, shear, bend, c, s = strains(chain.x, chain.y, chain.theta, e, length)
        if chain.low[e] <= bend <= chain.high[e]:
            m = chain.moment[e] + beam.bending * (bend - chain.curvature[e])
            tangent = beam.bending
        else:
            m, tangent = section_moment(
                beam.law,
                beam.layers,
                chain.history[e],
                bend - chain.anchor[e],
                work.scratch,
            )
        n, q = chain.axial[e], chain.shear[e]
        if search:
            add_forces(right, base, c, s, stretch, shear, n, q, m, length)
        else:
            en, eq = beam.axial * stretch, beam.shear * shear
            add_forces(right, base, c, s, stretch, shear, en, eq, m, length)
            add_stiffness(band, base, c, s, stretch, shear, n, q, tangent, beam)
        column = -1
        for r in range(rolls.shape[0]):
            rigid = not gives(supports[r])
            if not rigid:
                column += 1
            reach = rolls[r, REACH] - rolls[r, CONTACT_FLOOR]
            if near(chain, e, length, rolls[r, AXIS_X], rolls[r, AXIS_Y], reach):
                add_contact(
                    beam,
                    chain,
                    e,
                    base,
                    tooling.foundation,
                    rolls[r],
                    rolls[r, CONTACT_FLOOR],
                    band,
                    right,
                    supports[r],
                    cross,
                    -1 if rigid else column,
                    search,
                )

"""Equilibrium of a window of the sheet between the rolls, by Newton iteration.

Unknown: positions and rotations of the window's nodes; the drive, the multiplier of
the one constraint that a named point of the sheet lies on the nip line; and how far
each roll has given way. The band holds the nodes, the rest is its border.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.physics._jit import kernel
from pinchline.physics.banded import WIDTH, factor, solve
from pinchline.physics.beam import add_forces, add_stiffness, strains
from pinchline.physics.border import FIRST_ROLL, close_border
from pinchline.physics.contact import add_contact, deepest, drive_line, near
from pinchline.physics.section import HISTORY, SCRATCH, section_moment
from pinchline.physics.support import (
    GIVE,
    GIVE_X,
    GIVE_Y,
    STEP,
    UNBALANCED,
    gives,
    hold,
    unbalanced,
)
from pinchline.physics.weight import add_weight

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain

CONVERGED = 0
STALLED = 1
NOT_FINITE = 2

FLOOR = 5  # column of a roll: depth from which a point counts as contact
DEPTH = 0.01  # of the thickness: how deep a step may sink the sheet into a roll
BALANCE = 0.1  # of the allowed residual: what the forces of all rolls may miss
SWINGING = 8  # iterations after which every step is searched along
PROXIMAL = 1.0e-9  # of the axial stiffness: holds what nothing yet supports
LEAST_PROXIMAL = 1.0e-13  # and what hardly anything supports may settle after all
PATIENT = 20  # iterations after which it is halved by and by


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


class Limits(NamedTuple):
    """When to stop: force (N/mm), length (mm), iterations, largest turn (rad)."""

    force: float
    length: float
    iterations: int
    turn: float


class Work(NamedTuple):
    """Arrays that the kernels fill: band, right sides, gradient (6), scratch, report.

    ``right (unknowns + 5, 2 + giving rolls)``: step and border; ``cross (unknowns + 5,
    giving rolls)``: derivative of the residual by the gives; ``forces (unknowns + 5)``:
    residual; ``schur``: scratch of the border;
    ``pull (n, 2)``: change of axial and shear force in the step (N/mm);
    ``report`` (6): drive multiplier (N/mm), residual (N/mm), worst node, gap of the
    nip line (mm), pivots that were not positive, size of the last change (mm).
    """

    band: Array
    right: Array
    cross: Array
    schur: Array
    forces: Array
    pull: Array
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
        gradient=np.zeros(6),
        scratch=np.zeros((HISTORY, SCRATCH)),
        report=np.zeros(6),
    )


@kernel
def _assemble(
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
    of the strains, which a large turn falsifies.
    """
    length = beam.length
    size = 3 * (last - first + 1)
    band = work.band
    band[: size + 5] = 0.0
    right[: size + 5] = 0.0
    cross = work.cross
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
            reach = rolls[r, 2] - rolls[r, FLOOR]
            if near(chain, e, length, rolls[r, 0], rolls[r, 1], reach):
                add_contact(
                    chain,
                    e,
                    base,
                    length,
                    tooling.foundation,
                    rolls[r],
                    rolls[r, FLOOR],
                    band,
                    right,
                    supports[r],
                    cross,
                    -1 if rigid else column,
                )


@kernel
def _announce(
    beam: Beam, chain: Chain, tooling: Tooling, first: int, last: int
) -> bool:
    """Choose the contact that a roll's coming travel acts on; False if none travels."""
    rolls = tooling.rolls
    moving = False
    for r in range(rolls.shape[0]):
        rolls[r, FLOOR] = 0.0
        if rolls[r, 3] != 0.0 or rolls[r, 4] != 0.0:
            moving = True
            depth = deepest(chain, first, last, beam.length, rolls[r])
            if depth <= 0.0:
                rolls[r, FLOOR] = depth - 1.0e-9
    return moving


@kernel
def _travel(tooling: Tooling, share: float) -> None:
    """Move the rolls by a share of their travel and of the step of their gives."""
    rolls, supports = tooling.rolls, tooling.supports
    for r in range(rolls.shape[0]):
        give = share * supports[r, STEP]
        supports[r, GIVE] += give
        rolls[r, 0] += share * rolls[r, 3] + give * supports[r, GIVE_X]
        rolls[r, 1] += share * rolls[r, 4] + give * supports[r, GIVE_Y]


@kernel
def _prepare(beam: Beam, chain: Chain, work: Work, first: int, last: int) -> None:
    """Change of the carried forces in the step, by the linearised strains."""
    length = beam.length
    for e in range(first, last):
        i = 3 * (e - first)
        stretch, shear, _, c, s = strains(chain.x, chain.y, chain.theta, e, length)
        dx = work.right[i + 3, 0] - work.right[i, 0]
        dy = work.right[i + 4, 0] - work.right[i + 1, 0]
        turn = 0.5 * (work.right[i + 2, 0] + work.right[i + 5, 0])
        stretch_after = stretch + (c * dx + s * dy) / length + shear * turn
        shear_after = shear + (c * dy - s * dx) / length - (1.0 + stretch) * turn
        work.pull[e, 0] = beam.axial * stretch_after - chain.axial[e]
        work.pull[e, 1] = beam.shear * shear_after - chain.shear[e]


@kernel
def _move(chain: Chain, work: Work, first: int, last: int, share: float) -> float:
    """Move nodes and carried forces by a share of the step; the full travel (mm)."""
    right = work.right
    largest = 0.0
    for node in range(first, last + 1):
        i = 3 * (node - first)
        chain.x[node] += share * right[i, 0]
        chain.y[node] += share * right[i + 1, 0]
        chain.theta[node] += share * right[i + 2, 0]
        largest = max(largest, abs(right[i, 0]), abs(right[i + 1, 0]))
    for e in range(first, last):
        chain.axial[e] += share * work.pull[e, 0]
        chain.shear[e] += share * work.pull[e, 1]
    return largest


@kernel
def _sinking_share(
    beam: Beam,
    chain: Chain,
    tooling: Tooling,
    work: Work,
    first: int,
    last: int,
    share: float,
) -> float:
    """Share of the step that sinks the sheet into no roll deeper than it may.

    A linear contact that is deep is also wide, and the next step would bend the sheet
    round the roll over all that width. Leaves sheet and rolls where they were.
    """
    rolls = tooling.rolls
    for r in range(rolls.shape[0]):
        before = deepest(chain, first, last, beam.length, rolls[r])
        allowed = max(2.0 * DEPTH * beam.half, 1.5 * before)
        for _ in range(12):
            _move(chain, work, first, last, share)
            _travel(tooling, share)
            depth = deepest(chain, first, last, beam.length, rolls[r])
            _move(chain, work, first, last, -share)
            _travel(tooling, -share)
            if depth <= allowed:
                break
            share *= min(0.7, max(0.1, (allowed - before) / (depth - before)))
    return share


@kernel
def _residual(forces: Array, size: int, half: float) -> tuple[float, int, float]:
    """Largest residual force (moments over the thickness), its unknown; NaN sticks.

    The third is what all nodes together miss along x or y.
    """
    worst = 0.0
    where = 0
    x = y = 0.0
    for i in range(size):
        value = abs(forces[i])
        if i % 3 == 0:
            x += forces[i]
        elif i % 3 == 1:
            y += forces[i]
        else:
            value /= 2.0 * half
        if not value <= worst:
            worst = value
            where = i
    return worst, where, max(abs(x), abs(y))


@kernel
def _step_share(
    work: Work, supports: Array, size: int, turn: float, longest: float
) -> float:
    """Share of the Newton step that keeps turns and travels within bounds."""
    share = 1.0
    for i in range(size):
        bound = turn if i % 3 == 2 else longest
        if abs(work.right[i, 0]) * share > bound:
            share = bound / abs(work.right[i, 0])
    for r in range(supports.shape[0]):
        if abs(supports[r, STEP]) * share > longest:
            share = longest / abs(supports[r, STEP])
    return share


@kernel
def _slope(
    beam: Beam,
    chain: Chain,
    tooling: Tooling,
    work: Work,
    first: int,
    last: int,
    share: float,
) -> float:
    """Work of the residual along the step at a share of it; the chain stays."""
    supports = tooling.supports
    _move(chain, work, first, last, share)
    _travel(tooling, share)
    _assemble(beam, chain, tooling, work, work.forces, first, last, True)
    _move(chain, work, first, last, -share)
    _travel(tooling, -share)
    slope = 0.0
    for r in range(supports.shape[0]):
        slope += supports[r, UNBALANCED] * supports[r, STEP]
    for i in range(3 * (last - first + 1)):
        slope += work.forces[i] * work.right[i, 0]
    return slope


@kernel
def _line_search(
    beam: Beam,
    chain: Chain,
    tooling: Tooling,
    work: Work,
    first: int,
    last: int,
    most: float,
) -> float:
    """Share of the step at which the residual no longer works along it.

    Elements that yield and unload by turns make the full step swing between two
    patterns; the zero of the residual's work lies between them.
    """
    start = _slope(beam, chain, tooling, work, first, last, 0.0)
    end = _slope(beam, chain, tooling, work, first, last, most)
    if start >= 0.0 or end <= 0.5 * abs(start):
        return most
    low, high = 0.0, most
    share = most
    for _ in range(6):
        share = (low * end - high * start) / (end - start)
        share = min(max(share, low + 0.1 * (high - low)), high - 0.1 * (high - low))
        slope = _slope(beam, chain, tooling, work, first, last, share)
        if abs(slope) <= 0.2 * abs(start):
            break
        if slope > 0.0:
            high, end = share, slope
        else:
            low, start = share, slope
    return share


@kernel
def _solve_step(
    beam: Beam,
    tooling: Tooling,
    work: Work,
    size: int,
    at: int,
    gap: float,
    proximal: float,
) -> float:
    """Newton step into ``work.right[:, 0]`` and the supports; change of the drive."""
    gradient, right, cross = work.gradient, work.right, work.cross
    stiff = beam.axial / beam.length
    for i in range(size):
        scale = beam.length * beam.length if i % 3 == 2 else 1.0
        work.band[i, 0] += proximal * stiff * scale
        right[i, 0] = -work.forces[i]
        right[i, 1] = 0.0
        for c in range(cross.shape[1]):
            right[i, FIRST_ROLL + c] = cross[i, c]
    right[size : size + 5] = 0.0
    if at >= 0:
        for k in range(6):
            for d in range(6 - k):
                work.band[at + k, d] += stiff * gradient[k] * gradient[k + d]
            right[at + k, 0] -= stiff * gap * gradient[k]
            right[at + k, 1] = gradient[k]
    work.report[4] = factor(work.band, size)
    solve(work.band, size, right)
    return close_border(
        right, cross, gradient, tooling.supports, work.schur, size, at, gap
    )


@kernel
def equilibrate(
    beam: Beam,
    chain: Chain,
    tooling: Tooling,
    limits: Limits,
    work: Work,
    first: int,
    last: int,
) -> tuple[int, int]:
    """Bring the nodes ``first..last`` into equilibrium; nothing is committed.

    Starts from what the chain holds; returns a status code and the iterations. The
    chain's forces on entry are a guess that steers the tangent, not the result.
    """
    size = 3 * (last - first + 1)
    length = beam.length
    report = work.report
    held = tooling.driven >= 0
    at = 3 * (tooling.driven - first) if held else -1
    supports = tooling.supports
    supports[:, STEP] = 0.0
    previous = math.inf
    proximal = PROXIMAL
    travelling = _announce(beam, chain, tooling, first, last)
    for iteration in range(limits.iterations + 1):
        _assemble(beam, chain, tooling, work, work.forces, first, last, False)
        gap = 0.0
        if held:
            gap = drive_line(
                chain,
                tooling.driven,
                length,
                tooling.xi,
                tooling.offset,
                work.gradient,
            )
            for k in range(6):
                work.forces[at + k] += report[0] * work.gradient[k]
        residual, where, missing = _residual(work.forces, size, beam.half)
        loose = unbalanced(supports)
        if not loose <= residual:
            residual = loose
        report[1] = residual
        report[2] = first + where // 3
        report[3] = gap
        if not math.isfinite(residual):
            return NOT_FINITE, iteration
        settled = residual <= limits.force and abs(gap) <= limits.length
        # a step more balances the rolls, unless hardly anything holds the sheet
        slow = residual > 0.3 * previous
        balanced = missing <= BALANCE * limits.force or slow
        if settled and balanced and not travelling:
            return CONVERGED, iteration
        if iteration == limits.iterations:
            break
        if iteration >= PATIENT:
            proximal = max(0.5 * proximal, LEAST_PROXIMAL)
        change = _solve_step(beam, tooling, work, size, at, gap, proximal)
        _prepare(beam, chain, work, first, last)
        share = _step_share(work, supports, size, limits.turn, 20.0 * beam.half)
        report[5] = _move(chain, work, first, last, 0.0)
        if travelling or report[5] > DEPTH * beam.half:
            share = _sinking_share(beam, chain, tooling, work, first, last, share)
        if not travelling and iteration > 0 and (slow or iteration >= SWINGING):
            share = _line_search(beam, chain, tooling, work, first, last, share)
        previous = residual
        report[0] += share * change
        _move(chain, work, first, last, share)
        _travel(tooling, share)
        if travelling:
            tooling.rolls[:, 3:5] *= 1.0 - share
            travelling = _announce(beam, chain, tooling, first, last)
    return STALLED, limits.iterations

"""Equilibrium of a window of the sheet between the rolls, by Newton iteration."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from pinchline.physics._jit import kernel
from pinchline.physics.contact import deepest, drive_line
from pinchline.physics.rolls import CONTACT_FLOOR, TRAVEL_X, TRAVEL_Y
from pinchline.physics.support import STEP, unbalanced
from pinchline.solvers.stepped.equilibrium.assembly import (
    REPORT_CHANGE,
    REPORT_DRIVE,
    REPORT_GAP,
    REPORT_NODE,
    REPORT_PIVOTS,
    REPORT_RESIDUAL,
    assemble,
)
from pinchline.solvers.stepped.equilibrium.banded_solve import factor, solve
from pinchline.solvers.stepped.equilibrium.bordered_solve import (
    FIRST_ROLL,
    solve_schur_complement,
)
from pinchline.solvers.stepped.equilibrium.step_control import (
    SINKING_DEPTH_THICKNESSES,
    line_search,
    move,
    prepare,
    sinking_share,
    step_share,
    travel,
)

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain
    from pinchline.solvers.stepped.equilibrium.assembly import Tooling, Work

CONVERGED = 0
STALLED = 1
NOT_FINITE = 2

ROLL_BALANCE_SHARE = (
    0.1  # of the allowed residual: what the forces of all rolls may miss
)
LINE_SEARCH_ITERATION = 8  # iterations after which every step is searched along
PROXIMAL = 1.0e-9  # of the axial stiffness: holds what nothing yet supports
LEAST_PROXIMAL = 1.0e-13  # and what hardly anything supports may settle after all
PROXIMAL_HALVING_ITERATION = 20  # iterations after which it is halved by and by


class StopCriteria(NamedTuple):
    """When to stop: force (N/mm), length (mm), iterations, largest turn (rad)."""

    force: float
    length: float
    iterations: int
    turn: float


@kernel
def _announce(
    beam: Beam, chain: Chain, tooling: Tooling, first: int, last: int
) -> bool:
    """Choose the contact that a roll's coming travel acts on; False if none travels."""
    rolls = tooling.rolls
    moving = False
    for r in range(rolls.shape[0]):
        rolls[r, CONTACT_FLOOR] = 0.0
        if rolls[r, TRAVEL_X] != 0.0 or rolls[r, TRAVEL_Y] != 0.0:
            moving = True
            depth = deepest(beam, chain, first, last, rolls[r])
            if depth <= 0.0:
                rolls[r, CONTACT_FLOOR] = depth - 1.0e-9
    return moving


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
    work.report[REPORT_PIVOTS] = factor(work.band, size)
    solve(work.band, size, right)
    return solve_schur_complement(
        right, cross, gradient, tooling.supports, work.schur, size, at, gap
    )


@kernel
def equilibrate(
    beam: Beam,
    chain: Chain,
    tooling: Tooling,
    limits: StopCriteria,
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
        assemble(beam, chain, tooling, work, work.forces, first, last, False)
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
                work.forces[at + k] += report[REPORT_DRIVE] * work.gradient[k]
        residual, where, missing = _residual(work.forces, size, beam.half)
        loose = unbalanced(supports)
        if not loose <= residual:
            residual = loose
        report[REPORT_RESIDUAL] = residual
        report[REPORT_NODE] = first + where // 3
        report[REPORT_GAP] = gap
        if not math.isfinite(residual):
            return NOT_FINITE, iteration
        settled = residual <= limits.force and abs(gap) <= limits.length
        # a step more balances the rolls, unless hardly anything holds the sheet
        slow = residual > 0.3 * previous
        balanced = missing <= ROLL_BALANCE_SHARE * limits.force or slow
        if settled and balanced and not travelling:
            return CONVERGED, iteration
        if iteration == limits.iterations:
            break
        if iteration >= PROXIMAL_HALVING_ITERATION:
            proximal = max(0.5 * proximal, LEAST_PROXIMAL)
        change = _solve_step(beam, tooling, work, size, at, gap, proximal)
        prepare(beam, chain, work, first, last)
        share = step_share(work, supports, size, limits.turn, 20.0 * beam.half)
        report[REPORT_CHANGE] = move(chain, work, first, last, 0.0)
        if travelling or report[REPORT_CHANGE] > SINKING_DEPTH_THICKNESSES * beam.half:
            share = sinking_share(beam, chain, tooling, work, first, last, share)
        if (
            not travelling
            and iteration > 0
            and (slow or iteration >= LINE_SEARCH_ITERATION)
        ):
            share = line_search(beam, chain, tooling, work, first, last, share)
        previous = residual
        report[REPORT_DRIVE] += share * change
        move(chain, work, first, last, share)
        travel(tooling, share)
        if travelling:
            tooling.rolls[:, TRAVEL_X : TRAVEL_Y + 1] *= 1.0 - share
            travelling = _announce(beam, chain, tooling, first, last)
    return STALLED, limits.iterations

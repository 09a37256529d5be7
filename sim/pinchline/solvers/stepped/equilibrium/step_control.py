"""Length of a Newton step: limits of turn and of depth in a roll, line search."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.beam import add_forces, strains
from pinchline.physics.contact import deepest
from pinchline.physics.rolls import AXIS_X, AXIS_Y, TRAVEL_X, TRAVEL_Y
from pinchline.physics.support import GIVE, GIVE_X, GIVE_Y, STEP, UNBALANCED
from pinchline.solvers.stepped.equilibrium.assembly import REPORT_DRIVE, assemble

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain
    from pinchline.solvers.stepped.equilibrium.assembly import Tooling, Work

SINKING_DEPTH_THICKNESSES = (
    0.01  # of the thickness: how deep a step may sink the sheet into a roll
)
TRIALS = 12  # shares of a step that sinks the sheet too deep


@kernel
def prepare(beam: Beam, chain: Chain, work: Work, first: int, last: int) -> None:
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
def move(chain: Chain, work: Work, first: int, last: int, share: float) -> float:
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
def travel(tooling: Tooling, share: float) -> None:
    """Move the rolls by a share of their travel and of the step of their gives."""
    rolls, supports = tooling.rolls, tooling.supports
    for r in range(rolls.shape[0]):
        give = share * supports[r, STEP]
        supports[r, GIVE] += give
        rolls[r, AXIS_X] += share * rolls[r, TRAVEL_X] + give * supports[r, GIVE_X]
        rolls[r, AXIS_Y] += share * rolls[r, TRAVEL_Y] + give * supports[r, GIVE_Y]


@kernel
def step_share(
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
def sinking_share(
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
    rolls, least = tooling.rolls, 2.0 * SINKING_DEPTH_THICKNESSES * beam.half
    before = work.depths
    for r in range(rolls.shape[0]):
        before[r] = deepest(beam, chain, first, last, rolls[r])
    for _ in range(TRIALS):
        cut = 1.0
        move(chain, work, first, last, share)
        travel(tooling, share)
        for r in range(rolls.shape[0]):
            depth = deepest(beam, chain, first, last, rolls[r])
            allowed = max(least, 1.5 * before[r])
            if depth > allowed:
                part = (allowed - before[r]) / (depth - before[r])
                cut = min(cut, 0.7, max(0.1, part))
        move(chain, work, first, last, -share)
        travel(tooling, -share)
        if cut == 1.0:
            break
        share *= cut
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
    move(chain, work, first, last, share)
    travel(tooling, share)
    assemble(beam, chain, tooling, work, work.forces, first, last, True)
    move(chain, work, first, last, -share)
    travel(tooling, -share)
    return _work_along(tooling.supports, work, first, last)


@kernel
def _first_slope(
    beam: Beam,
    chain: Chain,
    tooling: Tooling,
    work: Work,
    first: int,
    last: int,
) -> float:
    """Slope at the step's beginning, from the residual that the step was found for.

    That holds the drive, and the forces of the strains in place of the carried ones.
    """
    forces, length = work.forces, beam.length
    for e in range(first, last):
        stretch, shear, _, c, s = strains(chain.x, chain.y, chain.theta, e, length)
        n = chain.axial[e] - beam.axial * stretch
        q = chain.shear[e] - beam.shear * shear
        base = 3 * (e - first)
        add_forces(forces, base, c, s, stretch, shear, n, q, 0.0, length)
    if tooling.driven >= 0:
        at = 3 * (tooling.driven - first)
        for k in range(6):
            forces[at + k] -= work.report[REPORT_DRIVE] * work.gradient[k]
    return _work_along(tooling.supports, work, first, last)


@kernel
def _work_along(supports: Array, work: Work, first: int, last: int) -> float:
    """Work of the forces in ``work`` along the step, with that of the supports."""
    slope = 0.0
    for r in range(supports.shape[0]):
        slope += supports[r, UNBALANCED] * supports[r, STEP]
    for i in range(3 * (last - first + 1)):
        slope += work.forces[i] * work.right[i, 0]
    return slope


@kernel
def line_search(
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
    start = _first_slope(beam, chain, tooling, work, first, last)
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

"""Contact of the sheet with the rolls, and the line on which the rolls drive it.

A roll is a rigid cylinder, which may give way as a whole (``support``); the sheet's
mid-line stays ``r + t/2`` from its axis. What gives at the contact is the sheet: a
foundation of stiffness ``k`` per area (MPa/mm), so that the pressure is ``k`` times the
depth by which the mid-line comes nearer than that. The depth is integrated over each
element along the mid-line's own arc, not its chord, at evenly spaced points, so that a
patch travelling along the sheet is seen alike everywhere.

The arc is raised by a twenty-fourth of ``L^2 kappa``, far below any depth, for what
that does to the moment: virtual work on the plain arc makes the element's one moment
its *mean*, while the history it keeps is that of its middle. Under a pressure ``p`` the
two part by ``p L^2/24``, which clips the peak at a roll; raised, it is the middle's.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.rolls import (
    AXIS_X,
    AXIS_Y,
    CONTACT_END,
    CONTACT_START,
    FORCE_X,
    FORCE_Y,
    LARGEST_DEPTH,
    PRESSURE,
    PRESSURE_MOMENT_X,
    PRESSURE_MOMENT_Y,
    REACH,
    ROLL_RESULTS,
    TRAVEL_X,
    TRAVEL_Y,
)
from pinchline.physics.support import GIVE_X, GIVE_Y, TANGENT, UNBALANCED

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.physics.beam import Beam, Chain

POINTS = 8


@kernel
def pressure(
    foundation: float, dx: float, dy: float, reach: float
) -> tuple[float, float]:
    """Pressure (MPa) of a roll on a point ``dx, dy`` (mm) from its axis, and how far.

    The distance (mm) is 0 where the point is not in contact.
    """
    square = dx * dx + dy * dy
    if square >= reach * reach:
        return 0.0, 0.0
    distance = math.sqrt(square)
    return foundation * (reach - distance), distance


@kernel
def pressure_slopes(
    foundation: float, dx: float, dy: float, reach: float
) -> tuple[float, float, float, float, float]:
    """Pressure x, y (MPa) of a roll on a point, its derivatives by x x, x y, y y."""
    p, distance = pressure(foundation, dx, dy, reach)
    if distance == 0.0:
        return 0.0, 0.0, 0.0, 0.0, 0.0
    ux, uy = dx / distance, dy / distance
    turn = p / distance
    xx = -foundation * ux * ux + turn * uy * uy
    xy = -(foundation + turn) * ux * uy
    yy = -foundation * uy * uy + turn * ux * ux
    return p * ux, p * uy, xx, xy, yy


@kernel
def parabola_depth(foundation: float, force: float, reach: float) -> float:
    """Depth (mm) of a roll with a force (N/mm) on sheet that is straight beside it."""
    return float((0.75 * force / (foundation * math.sqrt(2.0 * reach))) ** (2.0 / 3.0))


@kernel
def mean_normal(chain: Chain, e: int) -> tuple[float, float]:
    """Return the normal (x, y) of element ``e`` at its mean rotation."""
    mean = 0.5 * (chain.theta[e] + chain.theta[e + 1])
    return -math.sin(mean), math.cos(mean)


@kernel
def arc_point(
    chain: Chain, e: int, length: float, xi: float, nx: float, ny: float, shift: float
) -> tuple[float, float, float, float]:
    """Point at ``xi`` in -1..1 of element ``e``, ``shift`` (mm) off its raised arc.

    Takes the normal of ``mean_normal``. Returns x, y, the rise ``b`` over the chord
    along that normal, and the arc's own, over the element's turn (mm).
    """
    lever = length * (4.0 - 3.0 * xi * xi) / 24.0  # (3 - 3 xi^2) is the plain arc
    b = shift - lever * (chain.theta[e + 1] - chain.theta[e])
    one = 0.5 * (1.0 - xi)
    two = 0.5 * (1.0 + xi)
    px = one * chain.x[e] + two * chain.x[e + 1] + b * nx
    py = one * chain.y[e] + two * chain.y[e + 1] + b * ny
    return px, py, b, lever


@kernel
def bulge_of(beam: Beam, chain: Chain, e: int) -> tuple[float, float, float]:
    """How far the faces of element ``e`` stand off the mid-line along its normal (mm).

    And the parts of that by its own turn and by those of its neighbours (mm).
    """
    if beam.bulge == 0.0:
        return 0.0, 0.0, 0.0
    inside = 0 < e < chain.curvature.shape[0] - 1
    own = beam.own if inside else 1.0
    part = beam.bulge * own / beam.length
    turn = chain.theta[e + 1] - chain.theta[e]
    if own == 1.0:
        return part * turn, part, 0.0
    beside = 0.5 * (1.0 - own) * beam.bulge / beam.length
    turns = chain.theta[e + 2] - chain.theta[e - 1] - turn
    return part * turn + beside * turns, part, beside


@kernel
def near(
    chain: Chain, e: int, length: float, cx: float, cy: float, reach: float
) -> bool:
    """Whether any part of element ``e`` can be nearer than ``reach`` to a point."""
    dx = 0.5 * (chain.x[e] + chain.x[e + 1]) - cx
    dy = 0.5 * (chain.y[e] + chain.y[e + 1]) - cy
    far = reach + 0.6 * length
    return bool(dx * dx + dy * dy < far * far)


@kernel
def add_contact(
    beam: Beam,
    chain: Chain,
    e: int,
    base: int,
    stiffness: float,
    roll: Array,
    floor: float,
    band: Array,
    right: Array,
    support: Array,
    cross: Array,
    column: int,
    forces_only: bool,
) -> None:
    """Add forces and tangent of element ``e`` on one roll; or its forces only.

    ``roll (6)``: axis x, y, ``r + t/2``, and a travel dx, dy (mm) still to come. With a
    travel the points now deeper than ``floor`` are kept as the contact and their force
    is that after the travel, to first order: the guess then follows a moving roll
    without ever sinking into it, which would bend the sheet round it.
    ``support``: row of the support table; a roll that gives has a ``column`` of
    ``cross``, the derivative of the residual by its give, and -1 says that it is rigid.
    Second derivatives of the arc's rise are left out of the tangent: they are smaller
    than the bending stiffness by the depth over the thickness. So is the neighbours'
    part of the bulge, which would widen the band.
    """
    length = beam.length
    weight = stiffness * length / POINTS
    nx, ny = mean_normal(chain, e)
    shift, part, beside = bulge_of(beam, chain, e)
    edge = (roll[REACH] - floor) * (roll[REACH] - floor)
    for i in range(POINTS):
        xi = (2.0 * i + 1.0) / POINTS - 1.0
        px, py, b, lever = arc_point(chain, e, length, xi, nx, ny, shift)
        dx = px - roll[AXIS_X]
        dy = py - roll[AXIS_Y]
        square = dx * dx + dy * dy
        if square >= edge:
            continue
        distance = math.sqrt(square)
        depth = roll[REACH] - distance
        ux = dx / distance
        uy = dy / distance
        depth += ux * roll[TRAVEL_X] + uy * roll[TRAVEL_Y]
        if depth <= 0.0:
            continue
        force = weight * depth
        one = 0.5 * (1.0 - xi)
        two = 0.5 * (1.0 + xi)
        # derivative of the distance, and of the tangential motion, by the six unknowns
        un = ux * nx + uy * ny
        tn = ux * ny - uy * nx
        half = 0.5 * b
        lever -= part
        d0, d1, d3, d4 = one * ux, one * uy, two * ux, two * uy
        d2 = lever * un - half * tn
        d5 = -lever * un - half * tn
        t0, t1, t3, t4 = -one * uy, one * ux, -two * uy, two * ux
        t2 = lever * tn + half * un
        t5 = -lever * tn + half * un
        right[base] -= force * d0
        right[base + 1] -= force * d1
        right[base + 2] -= force * d2
        right[base + 3] -= force * d3
        right[base + 4] -= force * d4
        right[base + 5] -= force * d5
        if beside > 0.0 and base >= 3:  # the window holds both neighbours
            pull = force * un * beside
            right[base - 1] += pull
            right[base + 2] -= pull
            right[base + 5] += pull
            right[base + 8] -= pull
        ug = ux * support[GIVE_X] + uy * support[GIVE_Y]
        if column >= 0:
            support[UNBALANCED] += force * ug
        if forces_only:
            continue
        g = -force / distance
        w = weight
        if column >= 0:
            tg = ux * support[GIVE_Y] - uy * support[GIVE_X]
            support[TANGENT] += w * ug * ug + g * tg * tg
            a, c = w * ug, g * tg
            cross[base, column] -= a * d0 + c * t0
            cross[base + 1, column] -= a * d1 + c * t1
            cross[base + 2, column] -= a * d2 + c * t2
            cross[base + 3, column] -= a * d3 + c * t3
            cross[base + 4, column] -= a * d4 + c * t4
            cross[base + 5, column] -= a * d5 + c * t5
        band[base, 0] += w * d0 * d0 + g * t0 * t0
        band[base, 1] += w * d0 * d1 + g * t0 * t1
        band[base, 2] += w * d0 * d2 + g * t0 * t2
        band[base, 3] += w * d0 * d3 + g * t0 * t3
        band[base, 4] += w * d0 * d4 + g * t0 * t4
        band[base, 5] += w * d0 * d5 + g * t0 * t5
        band[base + 1, 0] += w * d1 * d1 + g * t1 * t1
        band[base + 1, 1] += w * d1 * d2 + g * t1 * t2
        band[base + 1, 2] += w * d1 * d3 + g * t1 * t3
        band[base + 1, 3] += w * d1 * d4 + g * t1 * t4
        band[base + 1, 4] += w * d1 * d5 + g * t1 * t5
        band[base + 2, 0] += w * d2 * d2 + g * t2 * t2
        band[base + 2, 1] += w * d2 * d3 + g * t2 * t3
        band[base + 2, 2] += w * d2 * d4 + g * t2 * t4
        band[base + 2, 3] += w * d2 * d5 + g * t2 * t5
        band[base + 3, 0] += w * d3 * d3 + g * t3 * t3
        band[base + 3, 1] += w * d3 * d4 + g * t3 * t4
        band[base + 3, 2] += w * d3 * d5 + g * t3 * t5
        band[base + 4, 0] += w * d4 * d4 + g * t4 * t4
        band[base + 4, 1] += w * d4 * d5 + g * t4 * t5
        band[base + 5, 0] += w * d5 * d5 + g * t5 * t5


@kernel
def deepest(beam: Beam, chain: Chain, first: int, last: int, roll: Array) -> float:
    """Largest depth (mm) of the sheet in one roll; negative is a distance."""
    nearest = first
    least = math.inf
    for node in range(first, last + 1):
        dx, dy = chain.x[node] - roll[AXIS_X], chain.y[node] - roll[AXIS_Y]
        if dx * dx + dy * dy < least:
            least = dx * dx + dy * dy
            nearest = node
    depth = -math.inf
    for e in range(max(first, nearest - 2), min(last, nearest + 2)):
        nx, ny = mean_normal(chain, e)
        shift, _, _ = bulge_of(beam, chain, e)
        for i in range(POINTS):
            xi = (2.0 * i + 1.0) / POINTS - 1.0
            px, py, _, _ = arc_point(chain, e, beam.length, xi, nx, ny, shift)
            distance = math.hypot(px - roll[AXIS_X], py - roll[AXIS_Y])
            depth = max(depth, roll[REACH] - distance)
    return depth


@kernel
def roll_forces(
    beam: Beam,
    chain: Chain,
    first: int,
    last: int,
    stiffness: float,
    rolls: Array,
    out: Array,
) -> float:
    """Return the forces of the rolls on the sheet between nodes ``first`` and ``last``.

    ``rolls (rolls, 6)``: see ``add_contact``. ``out (rolls, 8)`` receives force
    x, y (N/mm); the first moment of the pressure along x, y and its total; the largest
    depth (mm); and the first and last s in contact (mm). Returns the energy stored in
    the foundation (N mm/mm).
    """
    energy = 0.0
    length = beam.length
    weight = stiffness * length / POINTS
    for r in range(rolls.shape[0]):
        for k in range(ROLL_RESULTS):
            out[r, k] = 0.0
        out[r, CONTACT_START] = math.inf
        out[r, CONTACT_END] = -math.inf
        cx, cy, reach = rolls[r, AXIS_X], rolls[r, AXIS_Y], rolls[r, REACH]
        for e in range(first, last):
            if not near(chain, e, length, cx, cy, reach):
                continue
            nx, ny = mean_normal(chain, e)
            shift, _, _ = bulge_of(beam, chain, e)
            for i in range(POINTS):
                xi = (2.0 * i + 1.0) / POINTS - 1.0
                px, py, _, _ = arc_point(chain, e, length, xi, nx, ny, shift)
                dx = px - cx
                dy = py - cy
                distance = math.sqrt(dx * dx + dy * dy)
                depth = reach - distance
                if depth <= 0.0:
                    continue
                force = weight * depth
                out[r, FORCE_X] += force * dx / distance
                out[r, FORCE_Y] += force * dy / distance
                out[r, PRESSURE_MOMENT_X] += force * px
                out[r, PRESSURE_MOMENT_Y] += force * py
                out[r, PRESSURE] += force
                out[r, LARGEST_DEPTH] = max(out[r, LARGEST_DEPTH], depth)
                s = (e + 0.5 * (1.0 + xi)) * length
                out[r, CONTACT_START] = min(out[r, CONTACT_START], s)
                out[r, CONTACT_END] = max(out[r, CONTACT_END], s)
                energy += 0.5 * force * depth
    return energy


@kernel
def trapezoid_work_error(
    beam: Beam,
    before: Chain,
    after: Chain,
    first: int,
    last: int,
    stiffness: float,
    rolls_before: Array,
    rolls_after: Array,
) -> float:
    """Error (N mm/mm) of the trapezoid rule for the work of the contacts in a step.

    A point whose depth goes from ``d0`` to ``d1`` bears nothing while it is not in
    contact. With the depth even along the step it takes up ``k d1^2 / 2`` where it
    meets the roll and gives back ``k d0^2 / 2`` where it leaves; the mean force times
    the way says ``k d1 (d1 - d0) / 2`` and ``k d0 (d0 - d1) / 2``. The difference is
    ``- k d0 d1 / 2``, more work where it meets and less where it leaves.
    ``rolls (rolls, 6)`` as in ``add_contact``; elements ``first..last - 1``.
    """
    total = 0.0
    length = beam.length
    weight = stiffness * length / POINTS
    for r in range(rolls_after.shape[0]):
        ax, ay = rolls_before[r, AXIS_X], rolls_before[r, AXIS_Y]
        bx, by = rolls_after[r, AXIS_X], rolls_after[r, AXIS_Y]
        reach = rolls_before[r, REACH]
        for e in range(first, last):
            touched = near(before, e, length, ax, ay, reach)
            if not touched and not near(after, e, length, bx, by, reach):
                continue
            anx, any_ = mean_normal(before, e)
            bnx, bny = mean_normal(after, e)
            before_shift, _, _ = bulge_of(beam, before, e)
            after_shift, _, _ = bulge_of(beam, after, e)
            for i in range(POINTS):
                xi = (2.0 * i + 1.0) / POINTS - 1.0
                px, py, _, _ = arc_point(before, e, length, xi, anx, any_, before_shift)
                qx, qy, _, _ = arc_point(after, e, length, xi, bnx, bny, after_shift)
                start = reach - math.hypot(px - ax, py - ay)
                end = reach - math.hypot(qx - bx, qy - by)
                if start < 0.0 < end:
                    total -= 0.5 * weight * start * end
                elif end < 0.0 < start:
                    total += 0.5 * weight * start * end
    return total


@kernel
def drive_line(
    chain: Chain, e: int, length: float, xi: float, offset: float, gradient: Array
) -> float:
    """Distance (mm) of the driven point from the nip line, and its gradient (6).

    The point lies at ``xi`` of element ``e`` and ``offset`` above the mid-line: the
    centre of the drive forces on the two gripped surfaces.
    """
    nx, ny = mean_normal(chain, e)
    px, _, b, lever = arc_point(chain, e, length, xi, nx, ny, 0.0)
    one = 0.5 * (1.0 - xi)
    two = 0.5 * (1.0 + xi)
    turned = one * chain.theta[e] + two * chain.theta[e + 1]
    gradient[0] = one
    gradient[1] = 0.0
    gradient[2] = lever * nx - 0.5 * b * ny - offset * math.cos(turned) * one
    gradient[3] = two
    gradient[4] = 0.0
    gradient[5] = -lever * nx - 0.5 * b * ny - offset * math.cos(turned) * two
    return px - offset * math.sin(turned)

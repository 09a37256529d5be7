"""Continuation in lift: a steady pass from a first elastic bend to its lift."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.contact import parabola_depth
from pinchline.physics.rolls import AXIS_X, AXIS_Y, LOWER, REACH, REAR, UPPER
from pinchline.physics.support import PLAY, PRELOAD, STIFFNESS, gives
from pinchline.solvers.steady.bulge import bulge_coefficients
from pinchline.solvers.steady.march import (
    DRIVE,
    GIVE_LOWER,
    GIVE_UPPER,
    LARGEST,
    LENGTH,
    NX,
    NY,
    PUSH,
    REAR_Y,
    SHARE,
    STATES,
    THETA,
    M,
    X,
    Y,
)
from pinchline.solvers.steady.shooting import (
    ASTRAY,
    COARSE_SEGMENTS,
    COARSE_STEPS,
    CONVERGED,
    GRADING,
    MESH_FULL,
    NOT_FINITE,
    SEGMENTS,
    newton,
    place_rows,
)

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.solvers.steady.march import UnitStrip
    from pinchline.solvers.steady.shooting import Room, Solution

# first bends tried, of the first-yield moment: a clamp that hardly opens leaves an arm
# that is ill to guess, for soft and thin sheet it is found nearer first yield
FIRST_BENDS = (
    0.4,
    0.7,
    0.9,
    0.55,
    0.3,
    0.8,
    0.48,
    0.62,
    1.0,
    0.24,
    0.35,
    0.15,
    0.09,
    0.05,
    0.03,
)
LIFT_STEP_SHARE = 0.06  # of the distance to the rear roll, a step of the lift
SMALLEST_STEP_SHARE = 1.0 / 32.0  # of that step
FINE_MARGIN_THICKNESSES = 2.5  # thicknesses beyond the upper roll's patch
SHORTEST_FINE_THICKNESSES = 4.0  # thicknesses that the fine part has at least
BACKWARD_FORCE_SHARE = (
    1.0e-3  # of the lower roll's force: elastic passes leave 1.5e-4, set 2e-2
)
GUESS_POINTS = 400  # of the first guess


@kernel
def _opening_for(rolls: Array, supports: Array, opening: float, bend: float) -> float:
    """How far the pinch rolls open until the arm between them holds ``bend``, mm."""
    reach = rolls[UPPER, REACH] + rolls[LOWER, REACH]
    low, high = 0.0, 0.1 * reach
    for _ in range(60):
        gap = 0.5 * (low + high)
        force = bend / math.sqrt(2.0 * reach * max(gap, 1.0e-9))
        given = opening
        for r in (UPPER, LOWER):
            if gives(supports[r]):
                over = (force - supports[r, PRELOAD]) / supports[r, STIFFNESS]
                given += max(over + supports[r, PLAY], 0.0)
        if given > gap:
            low = gap
        else:
            high = gap
    return float(0.5 * (low + high))


@kernel
def _guess(
    strip: UnitStrip,
    rolls: Array,
    slide: Array,
    supports: Array,
    bend: float,
    way: float,
    solution: Solution,
) -> float:
    """Write an elastic sheet bent to ``bend`` (N mm/mm) as a path; its lift (mm).

    Points carry the forces, straight arms the moment; a linear rise of pressure over
    each patch, as deep as the foundation says.
    """
    q, path, mesh = solution.q, solution.path, solution.mesh
    reach = rolls[UPPER, REACH] + rolls[LOWER, REACH]
    closed = rolls[UPPER, AXIS_Y] - rolls[LOWER, AXIS_Y] - reach
    gap = _opening_for(rolls, supports, closed, bend)
    tilt = math.sqrt(2.0 * gap / reach)
    arm = reach * tilt
    lower = bend / arm
    q[:] = 0.0
    for r in (UPPER, LOWER):
        if gives(supports[r]):
            over = (lower - supports[r, PRELOAD]) / supports[r, STIFFNESS]
            q[GIVE_UPPER + r] = max(over + supports[r, PLAY], 0.0)
    length = rolls[REAR, AXIS_X] - arm
    for _ in range(20):
        end = tilt + strip.natural * (arm + length)
        end += 0.5 * bend * (arm + length) / strip.bending
        wanted = rolls[REAR, AXIS_X] - rolls[REAR, REACH] * math.sin(end) - 0.5 * arm
        length = 0.5 * length + 0.5 * max(wanted, 0.3 * rolls[REAR, AXIS_X])
    rear = bend / length
    upper = lower + rear
    depth = parabola_depth(strip.foundation, lower, rolls[LOWER, REACH])
    half = math.sqrt(2.0 * rolls[LOWER, REACH] * depth)
    whole = half + arm + length
    last = GUESS_POINTS - 1
    h = whole / last
    x, y, theta = 0.0, 0.0, tilt
    x0, y0 = 0.0, 0.0
    for i in range(GUESS_POINTS):
        s = h * i - half
        moment = bend * max(min(s / arm, (arm + length - s) / length), 0.0)
        ramp = min(max(0.5 + 0.5 * s / half, 0.0), 1.0)
        pull = lower * ramp - upper * min(max(0.5 + 0.5 * (s - arm) / half, 0.0), 1.0)
        row = path[i] if way > 0.0 else path[last - i]
        row[0] = h * i if way > 0.0 else h * (i - last)
        row[1 + X], row[1 + Y], row[1 + THETA], row[1 + M] = x, y, theta, moment
        row[1 + NX], row[1 + NY] = pull * math.sin(theta), -pull * math.cos(theta)
        bent = s > arm if way > 0.0 else s < arm
        row[1 + LARGEST] = bend if bent else moment
        row[1 + PUSH] = lower * ramp if way > 0.0 else lower * (ramp - 1.0)
        if s <= 0.0:
            x0, y0 = x, y
        kappa = strip.natural + moment / strip.bending
        middle = theta + 0.5 * h * kappa
        x += h * math.cos(middle)
        y += h * math.sin(middle)
        theta += h * kappa
    x0 = -rolls[LOWER, REACH] * math.sin(tilt) - x0
    y0 = (
        rolls[LOWER, AXIS_Y] - q[GIVE_LOWER] + rolls[LOWER, REACH] * math.cos(tilt) - y0
    )
    for i in range(GUESS_POINTS):
        row = path[i]
        s = abs(row[0]) - half if way > 0.0 else whole - half - abs(row[0])
        row[1 + X] += x0
        row[1 + Y] += y0 - depth
        row[1 + Y] += 2.0 * depth * min(max(s / arm, 0.0), 1.0)
    for i in range(GUESS_POINTS):
        low, high = max(i - 1, 0), min(i + 1, last)
        run = path[high, 0] - path[low, 0]
        for k in range(STATES):
            path[i, 1 + STATES + k] = (path[high, 1 + k] - path[low, 1 + k]) / run
    mesh[2], mesh[3] = GUESS_POINTS, way
    tip = path[last] if way > 0.0 else path[0]
    q[REAR_Y] = tip[1 + NY]
    q[LENGTH] = length
    rise = (
        tip[1 + Y] - rolls[REAR, REACH] * math.cos(tip[1 + THETA]) - rolls[REAR, AXIS_Y]
    )
    return float(-rise / slide[1])


@kernel
def nip_part(strip: UnitStrip, rolls: Array, solution: Solution) -> float:
    """Length (mm) from the lower roll's touch to the end of the upper roll's patch."""
    path, mesh, q = solution.path, solution.mesh, solution.q
    rows = int(mesh[2])
    whole = abs(path[rows - 1, 0])
    longest = 0.0
    for i in range(rows):
        stand = strip.bulge * path[i, 1 + STATES + THETA]
        dx = (
            path[i, 1 + X] - rolls[UPPER, AXIS_X] - stand * math.sin(path[i, 1 + THETA])
        )
        dy = (
            path[i, 1 + Y] - rolls[UPPER, AXIS_Y] + stand * math.cos(path[i, 1 + THETA])
        )
        dy -= q[GIVE_UPPER]
        if dx * dx + dy * dy < rolls[UPPER, REACH] * rolls[UPPER, REACH]:
            s = abs(path[i, 0])
            longest = max(longest, s if mesh[3] > 0.0 else whole - s)
    return longest


@kernel
def _sample(path: Array, rows: int, s: float, start: int, state: Array) -> int:
    """State at ``s`` (mm along the march, its sign as in the path); the row found."""
    row = start
    while row < rows - 2 and abs(path[row + 1, 0]) <= abs(s):
        row += 1
    h = path[row + 1, 0] - path[row, 0]
    z = (s - path[row, 0]) / h if h != 0.0 else 0.0
    for k in range(STATES):
        f0, f1 = path[row, 1 + k], path[row + 1, 1 + k]
        g0, g1 = h * path[row, 1 + STATES + k], h * path[row + 1, 1 + STATES + k]
        c2, c3 = 3.0 * (f1 - f0) - 2.0 * g0 - g1, 2.0 * (f0 - f1) + g0 + g1
        state[k] = f0 + z * (g0 + z * (c2 + z * c3))
    kept = path[row, 1 + LARGEST], path[row + 1, 1 + LARGEST]
    state[LARGEST] = kept[0] + z * (kept[1] - kept[0])
    if kept[0] == path[row, 1 + M] and kept[1] == path[row + 1, 1 + M]:
        state[LARGEST] = state[M]
    return row


@kernel
def remesh(strip: UnitStrip, rolls: Array, solution: Solution, room: Room) -> bool:
    """Cut the path into new segments; False where they are too many."""
    path, mesh, q = solution.path, solution.mesh, solution.q
    rows, way = int(mesh[2]), mesh[3]
    whole = abs(path[rows - 1, 0])
    t = strip.thickness
    nip = max(
        nip_part(strip, rolls, solution) + FINE_MARGIN_THICKNESSES * t,
        SHORTEST_FINE_THICKNESSES * t,
    )
    nip = min(nip, 0.8 * whole)
    fine = math.ceil(nip / (strip.segment * t))
    if fine + COARSE_SEGMENTS > SEGMENTS:
        return False
    mesh[0], mesh[1] = nip, fine
    q[LENGTH] = whole - nip
    row = 0
    share = 0.0
    for i in range(fine + COARSE_SEGMENTS + 1):
        if way > 0.0:
            coarse = i - fine
            s = nip * i / fine if i <= fine else nip
        else:
            coarse = COARSE_SEGMENTS - i
            s = whole - nip + nip * (i - COARSE_SEGMENTS) / fine if coarse <= 0 else 0.0
        if coarse > 0:
            count = COARSE_SEGMENTS * COARSE_STEPS
            done = (GRADING ** (coarse * COARSE_STEPS) - 1.0) / (GRADING**count - 1.0)
            share = done * q[LENGTH]
            s = nip + share if way > 0.0 else q[LENGTH] - share
        row = _sample(path, rows, way * min(s, whole), row, solution.states[i])
    if strip.bulge == 0.0:
        room.told[:] = 0.0
        room.told[:, SHARE] = 1.0
        room.touch[0] = 0.0
    else:
        count = place_rows(solution, room)
        places, told = room.places[:count], room.told[:count]
        room.touch[0] = bulge_coefficients(
            strip, rolls, q, path, rows, way, places, told
        )
    return True


@kernel
def copy_solution(source: Solution, target: Solution) -> None:
    """Copy what is in use of a solution."""
    rows = int(source.mesh[2])
    target.path[:rows] = source.path[:rows]
    target.states[:] = source.states
    target.q[:] = source.q
    target.mesh[:] = source.mesh


@kernel
def at_lift(machine: Array, slide: Array, lift: float, rolls: Array) -> None:
    """Roll axes at a lift (mm) from those at touch."""
    rolls[:] = machine
    rolls[REAR, AXIS_X] -= lift * slide[0]
    rolls[REAR, AXIS_Y] -= lift * slide[1]


@kernel
def is_pass(rolls: Array, solution: Solution) -> bool:
    """Whether the sheet goes through the nip, pushed by all rolls, fed and not pulled.

    The equations hold too for a straight sheet that lies unloaded over lower and rear
    roll and never meets the nip.
    """
    rows, way = int(solution.mesh[2]), solution.mesh[3]
    free = solution.path[0] if way > 0.0 else solution.path[rows - 1]
    lower = way * solution.path[rows - 1, 1 + PUSH]
    pushed = lower > 0.0 and solution.q[REAR_Y] > 0.0
    fed = way * solution.q[DRIVE] > -BACKWARD_FORCE_SHARE * lower
    return bool(pushed and fed and free[1 + X] < 0.0)


@kernel
def approach(
    strip: UnitStrip,
    rolls: Array,
    slide: Array,
    supports: Array,
    solution: Solution,
    room: Room,
) -> tuple[int, int]:
    """Solve from the path in ``solution``, and again where its mesh was too short."""
    spent = 0
    for _ in range(4):
        if not remesh(strip, rolls, solution, room):
            return MESH_FULL, spent
        status, iterations = newton(strip, rolls, slide, supports, solution, room)
        spent += iterations
        if status != CONVERGED:
            return status, spent
        if not is_pass(rolls, solution):
            return ASTRAY, spent
        room_left = solution.mesh[0] - nip_part(strip, rolls, solution)
        if room_left > strip.thickness or nip_part(strip, rolls, solution) == 0.0:
            return CONVERGED, spent
    return MESH_FULL, spent


@kernel
def follow(
    strip: UnitStrip,
    machine: Array,
    slide: Array,
    supports: Array,
    lift: float,
    way: float,
    solution: Solution,
    kept: Solution,
    room: Room,
) -> tuple[int, int, float]:
    """Solve at a lift (mm) from nothing; status, iterations, lift reached.

    ``machine (3, 3)``: roll axes at touch before they give, and reach; ``kept``: room
    for a second solution.
    """
    rolls = machine.copy()
    here, spent = math.inf, 0
    status = NOT_FINITE
    for share in FIRST_BENDS:
        bend = share * strip.first_yield
        here = _guess(strip, machine, slide, supports, bend, way, solution)
        if here <= lift:
            at_lift(machine, slide, here, rolls)
            status, more = approach(strip, rolls, slide, supports, solution, room)
            spent += more
            if status == CONVERGED:
                break
    if status != CONVERGED:
        return status, spent, math.nan
    status, more, here = continue_in_lift(
        strip, machine, slide, supports, here, lift, solution, kept, room
    )
    return status, spent + more, here


@kernel
def continue_in_lift(
    strip: UnitStrip,
    machine: Array,
    slide: Array,
    supports: Array,
    start: float,
    lift: float,
    solution: Solution,
    kept: Solution,
    room: Room,
) -> tuple[int, int, float]:
    """Continue a solution from one lift to another (mm): status, iterations, lift."""
    rolls = machine.copy()
    stride = LIFT_STEP_SHARE * machine[REAR, 0]
    step, here, spent = stride, start, 0
    copy_solution(solution, kept)
    while here != lift:
        there = (
            lift
            if abs(lift - here) <= step
            else here + math.copysign(step, lift - here)
        )
        at_lift(machine, slide, there, rolls)
        status, iterations = approach(strip, rolls, slide, supports, solution, room)
        spent += iterations
        if status == CONVERGED:
            here = there
            copy_solution(solution, kept)
            step = min(1.5 * step, stride)
            continue
        copy_solution(kept, solution)
        step = 0.4 * min(step, abs(lift - here))
        if step < SMALLEST_STEP_SHARE * stride:
            return status, spent, here
    return CONVERGED, spent, here

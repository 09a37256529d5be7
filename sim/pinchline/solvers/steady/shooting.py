"""A steady pass as a boundary-value problem: multiple shooting and Newton's method.

The sheet between the first touch of the lower roll and the rear roll is cut into
segments that are marched each from a state of its own (``pass_march``): near wrap a
single march would magnify an error beyond all bounds. Unknown are those states and the
parameters: the drive, the length of the span beyond the nip, how far the rolls give,
the rear roll's force. Conditions: the segments join; at the lower roll the sheet just
touches and bears nothing; at the rear roll it lies on the roll, bears no moment and
pushes normal to it; every roll balances its support. Blocks are eliminated in the order
of the march with row exchanges (U. M. Ascher, R. M. M. Mattheij, R. D. Russell,
Numerical Solution of Boundary Value Problems, 1988, section 7.2).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.physics._jit import kernel
from pinchline.physics.rolls import AXIS_X, AXIS_Y, LOWER, REACH, REAR, UPPER
from pinchline.solvers.steady.boundary import (
    grip_rows,
    lower_rows,
    rear_rows,
    scaled,
    start_rows,
)
from pinchline.solvers.steady.bulge import bulge_coefficients
from pinchline.solvers.steady.march import (
    BEND,
    COLUMNS,
    GIVE_LOWER,
    GIVE_REAR,
    GIVE_UPPER,
    LARGEST,
    LENGTH,
    MARCHED,
    PARAMETERS,
    PATH,
    SHARE,
    STATES,
    THETA,
    TOLD,
    M,
    X,
    Y,
    march,
)

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.solvers.steady.march import UnitStrip

CONVERGED, STALLED, NOT_FINITE, MESH_FULL, ASTRAY = range(5)

SEGMENTS = 128  # at most
FINE_STEPS = 8  # of a segment in the nip
COARSE_SEGMENTS, COARSE_STEPS = 3, 8  # of the span beyond
GRADING = 1.16  # of the steps of the span, away from the nip
STEPS = FINE_STEPS * SEGMENTS
ROWS = 8  # most conditions at an end
ITERATIONS = 20
# with bulging, which settles by its own past: a thousandth of a per cent of the moment
SETTLING, SETTLED = 60, 1.0e-5
BULGE_RELAXATION = (
    0.5  # of the bulge's change; near wrap it swings: half of that settles
)
RELAXATION_SWITCH_ITERATION = 16  # from there on it is halved
BULGE_UPDATE_RESIDUAL = 0.3  # largest residual at which the bulge is updated
# of the largest miss in an iteration, beyond which the step is halved: a touch that
# moves along the sheet makes it larger before it falls
GROWTH = 3.0
MOST_CUTS = 6
ACCURACY = 1.0e-7  # of lengths over the thickness, of forces and moments over My
LARGEST_TURN = 0.15  # rad in one iteration
LARGEST_SHIFT = 0.1  # of the span, in one iteration


class Solution(NamedTuple):
    """States (129, 8), parameters (6), path (rows, 18) and mesh; the kernels fill it.

    ``mesh`` (4): length of the nip's part (mm), its segments, rows of the path, +1
    where the march goes toward the rear roll and -1 where it goes the other way.
    """

    states: Array
    q: Array
    path: Array
    mesh: Array


class Room(NamedTuple):
    """Working space of the kernels."""

    march: Array
    w: Array
    pivots: Array
    stack: Array
    end: Array
    step: Array
    fine: Array
    coarse: Array
    load: Array
    step_taken: Array
    change_taken: Array
    told: Array
    news: Array
    places: Array
    touch: Array


def new_solution() -> Solution:
    """Allocate a solution."""
    return Solution(
        states=np.zeros((SEGMENTS + 1, STATES)),
        q=np.zeros(PARAMETERS),
        path=np.zeros((STEPS + SEGMENTS, PATH)),
        mesh=np.zeros(4),
    )


def new_room() -> Room:
    """Allocate the working space."""
    count = COARSE_SEGMENTS * COARSE_STEPS
    shares = GRADING ** np.arange(count)
    told = np.zeros((2 * (STEPS + SEGMENTS), TOLD))
    told[:, SHARE] = 1.0  # no bulge
    return Room(
        march=np.zeros((6, STATES, MARCHED)),
        w=np.zeros((STATES, MARCHED)),
        pivots=np.zeros((SEGMENTS, STATES, 2 * STATES + PARAMETERS + 1)),
        stack=np.zeros((ROWS + STATES, 2 * STATES + PARAMETERS + 1)),
        end=np.zeros((COLUMNS, COLUMNS + 1)),
        step=np.zeros((SEGMENTS + 1, STATES)),
        fine=np.zeros(FINE_STEPS),
        coarse=shares / np.sum(shares),
        load=np.zeros((ROWS, COLUMNS + 1)),
        step_taken=np.zeros((SEGMENTS + 1, STATES)),
        change_taken=np.zeros(PARAMETERS),
        told=told,
        news=np.zeros_like(told),
        places=np.zeros(told.shape[0]),
        touch=np.zeros(1),
    )


@kernel
def _eliminate(stack: Array, rows: int, columns: int) -> None:
    """Gauss with row exchanges on the first ``columns`` of ``stack[:rows]``."""
    width = stack.shape[1]
    for i in range(columns):
        best = i
        for r in range(i + 1, rows):
            if abs(stack[r, i]) > abs(stack[best, i]):
                best = r
        if best != i:
            for k in range(i, width):
                stack[i, k], stack[best, k] = stack[best, k], stack[i, k]
        inverse = 1.0 / stack[i, i]
        for r in range(i + 1, rows):
            factor = stack[r, i] * inverse
            if factor != 0.0:
                for k in range(i, width):
                    stack[r, k] -= factor * stack[i, k]


@kernel
def _segments(mesh: Array) -> int:
    return int(mesh[1]) + COARSE_SEGMENTS


@kernel
def _steps_of(mesh: Array, room: Room, i: int) -> tuple[Array, bool]:
    """Give the steps of segment ``i`` in the march's order, and whether they scale."""
    fine = int(mesh[1])
    way = mesh[3]
    coarse = i - fine if way > 0.0 else i
    if 0 <= coarse < COARSE_SEGMENTS and (way < 0.0 or i >= fine):
        a = coarse * COARSE_STEPS
        if way > 0.0:
            return room.coarse[a : a + COARSE_STEPS], True
        count = COARSE_SEGMENTS * COARSE_STEPS
        backward = room.coarse[count - a - COARSE_STEPS : count - a]
        return backward[::-1].copy(), True
    room.fine[:] = mesh[0] / (fine * FINE_STEPS)
    return room.fine, False


@kernel
def place_rows(solution: Solution, room: Room) -> int:
    """Put s of ends and middles of the next march's steps into ``room.places``.

    Two for each row of its path; returns how many.
    """
    mesh, q, places = solution.mesh, solution.q, room.places
    at, place = 0, 0.0
    for i in range(_segments(mesh)):
        steps, scales = _steps_of(mesh, room, i)
        for step in steps:
            way = mesh[3] * step * (q[LENGTH] if scales else 1.0)
            places[at], places[at + 1] = place, place + 0.5 * way
            place += way
            at += 2
        places[at] = places[at + 1] = place
        at += 2
    return at


@kernel
def _shoot(
    strip: UnitStrip,
    rolls: Array,
    slide: Array,
    supports: Array,
    solution: Solution,
    room: Room,
) -> float:
    """March all segments and solve the Newton step; the largest miss, scaled."""
    states, q, mesh = solution.states, solution.q, solution.mesh
    way, count = mesh[3], _segments(mesh)
    stack, load, w = room.stack, room.load, room.w
    params = 2 * STATES
    stack[:] = 0.0
    u = states[0]
    n = (
        rear_rows(strip, rolls, slide, supports, u, q, load)
        if way < 0.0
        else (lower_rows(strip, rolls, u, q, room.touch, load))
    )
    n += start_rows(u, load[n:])
    worst = 0.0
    for r in range(n):
        stack[r, :STATES] = load[r, :STATES]
        stack[r, params:] = load[r, STATES:]
        worst = max(worst, scaled(strip, load[r, COLUMNS], r, way < 0.0))
    at = 0
    place = 0.0
    end = room.end[0]
    for i in range(count):
        end[:STATES] = states[i]
        w[:] = 0.0
        for k in range(STATES):
            w[k, k] = 1.0
        steps, scales = _steps_of(mesh, room, i)
        rows = steps.shape[0] + 1
        path = solution.path[at : at + rows]
        told = room.told[2 * at : 2 * (at + rows)]
        march(
            strip, rolls, q, end[:STATES], w, steps, way, scales, told, room.march, path
        )
        path[:, 0] += place
        place = path[rows - 1, 0]
        at += rows
        for k in range(STATES):
            row = stack[n + k]
            row[:] = 0.0
            for j in range(STATES):
                row[j] = w[k, j]
            row[STATES + k] = -1.0
            for j in range(STATES, MARCHED):
                row[params + j - STATES] = w[k, j]
            miss = end[k] - states[i + 1, k]
            row[params + PARAMETERS] = miss
            size = (
                strip.first_yield
                if k == M or k == LARGEST
                else (
                    1.0
                    if k == THETA
                    else (
                        strip.thickness
                        if k < THETA
                        else strip.first_yield / strip.thickness
                    )
                )
            )
            worst = max(worst, abs(miss) / size)
            if math.isnan(miss):
                return math.nan
        _eliminate(stack, n + STATES, STATES)
        room.pivots[i] = stack[:STATES]
        for r in range(n):
            stack[r, :STATES] = stack[STATES + r, STATES:params]
            stack[r, STATES:params] = 0.0
            stack[r, params:] = stack[STATES + r, params:]
    mesh[2] = at
    u = states[count]
    m = (
        lower_rows(strip, rolls, u, q, room.touch, load)
        if way < 0.0
        else rear_rows(strip, rolls, slide, supports, u, q, load)
    )
    m += grip_rows(supports, u, q, way, load[m:])
    room.end[:] = 0.0
    for r in range(n):
        room.end[r, :STATES] = stack[r, :STATES]
        room.end[r, STATES:] = stack[r, params:]
    for r in range(m):
        room.end[n + r] = load[r]
        worst = max(worst, scaled(strip, load[r, COLUMNS], r, way > 0.0))
    _eliminate(room.end, COLUMNS, COLUMNS)
    _back_substitute(room, count)
    return worst


@kernel
def _back_substitute(room: Room, count: int) -> None:
    """Put changes of states into ``room.step``, of parameters into ``room.load``."""
    end, step = room.end, room.step
    change = room.load[0]
    for i in range(COLUMNS - 1, -1, -1):
        value = -end[i, COLUMNS]
        for k in range(i + 1, COLUMNS):
            value -= end[i, k] * change[k]
        change[i] = value / end[i, i]
    step[count] = change[:STATES]
    params = 2 * STATES
    for seg in range(count - 1, -1, -1):
        rows = room.pivots[seg]
        for i in range(STATES - 1, -1, -1):
            value = -rows[i, params + PARAMETERS]
            for k in range(i + 1, STATES):
                value -= rows[i, k] * step[seg, k]
            for k in range(STATES):
                value -= rows[i, STATES + k] * step[seg + 1, k]
            for k in range(PARAMETERS):
                value -= rows[i, params + k] * change[STATES + k]
            step[seg, i] = value / rows[i, i]


@kernel
def _move(states: Array, q: Array, room: Room, count: int, share: float) -> None:
    """Move states and parameters by a share of the step that was taken."""
    for i in range(count + 1):
        for k in range(STATES):
            states[i, k] += share * room.step_taken[i, k]
    for k in range(PARAMETERS):
        q[k] += share * room.change_taken[k]


@kernel
def _share(rolls: Array, q: Array, room: Room, count: int) -> float:
    """Share of the step that keeps turns and lengths within bounds."""
    share = 1.0
    for i in range(count + 1):
        turn = abs(room.step_taken[i, THETA])
        if turn * share > LARGEST_TURN:
            share = LARGEST_TURN / turn
    most = LARGEST_SHIFT * rolls[REAR, AXIS_X]
    for k in (LENGTH, GIVE_UPPER, GIVE_LOWER, GIVE_REAR):
        if abs(room.change_taken[k]) * share > most:
            share = most / abs(room.change_taken[k])
    if q[LENGTH] + share * room.change_taken[LENGTH] < 0.2 * q[LENGTH]:
        share = -0.8 * q[LENGTH] / room.change_taken[LENGTH]
    return share


@kernel
def _update_bulge(
    strip: UnitStrip, rolls: Array, solution: Solution, room: Room, relaxation: float
) -> None:
    """Update the bulge coefficients from the last path, by the share ``relaxation``."""
    path, mesh = solution.path, solution.mesh
    rows, count = int(mesh[2]), place_rows(solution, room)
    told, news, places = room.told[:count], room.news[:count], room.places[:count]
    touch = bulge_coefficients(
        strip, rolls, solution.q, path, rows, mesh[3], places, news
    )
    room.touch[0] += relaxation * (touch - room.touch[0])
    for i in range(count):
        for k in range(TOLD):
            told[i, k] += relaxation * (news[i, k] - told[i, k])


@kernel
def newton(
    strip: UnitStrip,
    rolls: Array,
    slide: Array,
    supports: Array,
    solution: Solution,
    room: Room,
) -> tuple[int, int]:
    """Solve from the states and parameters in ``solution``; status and iterations.

    ``rolls (3, 3)``: axes at the lift, before they give, and reach; ``slide (2)``: the
    way in which the rear roll gives; ``supports``: see ``support``.
    """
    states, q = solution.states, solution.q
    count = _segments(solution.mesh)
    bulges = strip.bulge > 0.0
    accuracy = SETTLED if bulges else ACCURACY
    previous, share, cuts = math.inf, 0.0, 0
    for iteration in range(SETTLING if bulges else ITERATIONS):
        worst = _shoot(strip, rolls, slide, supports, solution, room)
        if worst <= accuracy:
            return CONVERGED, iteration + 1
        near = bulges and worst <= BULGE_UPDATE_RESIDUAL
        if near:
            relaxation = (
                BULGE_RELAXATION
                if iteration < RELAXATION_SWITCH_ITERATION
                else 0.5 * BULGE_RELAXATION
            )
            _update_bulge(strip, rolls, solution, room, relaxation)
        if not (near or worst <= GROWTH * previous):
            if cuts == MOST_CUTS:
                return (STALLED if math.isfinite(worst) else NOT_FINITE), iteration + 1
            cuts += 1
            share *= 0.5
            _move(states, q, room, count, -share)
            continue
        if not math.isfinite(worst):
            return NOT_FINITE, iteration + 1
        previous, cuts = worst, 0
        room.step_taken[: count + 1] = room.step[: count + 1]
        room.change_taken[:] = room.load[0, STATES:COLUMNS]
        share = _share(rolls, q, room, count)
        _move(states, q, room, count, share)
    return STALLED, SETTLING if bulges else ITERATIONS


@kernel
def pinch_pressure(
    machine: Array,
    path: Array,
    gives: Array,
    bulge: float,
    upper: float,
    lower: float,
) -> float:
    """Sum of the pressures of both pinch rolls (N/mm), from their forces along y.

    By the trapezoidal rule; what it misses of a patch it misses of both sums.
    """
    total = 0.0
    for roll in (UPPER, LOWER):
        force = upper if roll == UPPER else lower
        axis = machine[roll, AXIS_Y] + (gives[roll] if roll == UPPER else -gives[roll])
        whole, along, last, last_along = 0.0, 0.0, 0.0, 0.0
        for i in range(path.shape[0]):
            stand = bulge * path[i, BEND]
            off = path[i, 1 + Y] + stand * math.cos(path[i, 1 + THETA]) - axis
            x = path[i, 1 + X] - stand * math.sin(path[i, 1 + THETA])
            distance = math.hypot(x, off)
            depth = max(machine[roll, REACH] - distance, 0.0)
            depth_along = depth * abs(off) / distance
            if i > 0:
                half = 0.5 * (path[i, 0] - path[i - 1, 0])
                whole += half * (depth + last)
                along += half * (depth_along + last_along)
            last, last_along = depth, depth_along
        total += force * whole / along if along != 0.0 else force
    return total

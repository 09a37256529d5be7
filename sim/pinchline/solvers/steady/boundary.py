"""Conditions at the ends of a steady pass, as rows of its Newton step.

At the lower roll the sheet just touches and bears nothing; at the rear roll it lies on
the roll, bears no moment and pushes normal to it; every roll balances its support. A
row holds its slopes by the states and parameters there, and last what it misses.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.contact import parabola_depth
from pinchline.physics.rolls import AXIS_X, AXIS_Y, LOWER, REACH, REAR, UPPER
from pinchline.physics.support import GIVE, gives, support_force
from pinchline.solvers.steady.march import (
    COLUMNS,
    DRIVE,
    GIVE_LOWER,
    GIVE_REAR,
    GIVE_UPPER,
    LARGEST,
    NX,
    NY,
    PUSH,
    REAR_Y,
    STATES,
    THETA,
    M,
    X,
    Y,
)
from pinchline.solvers.steady.section_table import curvature

if TYPE_CHECKING:
    from pinchline.physics._jit import Array
    from pinchline.solvers.steady.march import UnitStrip


@kernel
def rear_rows(
    strip: UnitStrip,
    rolls: Array,
    slide: Array,
    supports: Array,
    u: Array,
    q: Array,
    out: Array,
) -> int:
    """Put the rear roll's conditions into ``out[:6]``: slopes by u and q, the miss."""
    out[:6] = 0.0
    last = COLUMNS
    cx = rolls[REAR, AXIS_X] + q[GIVE_REAR] * slide[0]
    cy = rolls[REAR, AXIS_Y] + q[GIVE_REAR] * slide[1]
    nx, ny = u[NX] - q[DRIVE], u[NY]
    slip = 0.5 * (ny * math.cos(u[THETA]) - nx * math.sin(u[THETA])) / strip.shear
    c, s = math.cos(u[THETA] + slip), math.sin(u[THETA] + slip)
    ax, ay = u[X] - cx, u[Y] - cy
    normal = max(ny * c - nx * s, 0.0)
    reach = rolls[REAR, REACH]
    # depth of a parabola on the foundation; it hardly changes in an iteration
    depth = parabola_depth(strip.foundation, normal, reach)
    along, off = ax * c + ay * s, ay * c - ax * s
    give = STATES + GIVE_REAR
    out[0, X], out[0, Y], out[0, THETA], out[0, last] = c, s, off, along
    out[0, give] = -(slide[0] * c + slide[1] * s)
    out[1, X], out[1, Y], out[1, THETA] = -s, c, -along
    out[1, last] = off - reach + depth
    out[1, give] = slide[0] * s - slide[1] * c
    out[2, M], out[2, last] = 1.0, u[M]
    out[3, NX], out[3, NY], out[3, STATES + DRIVE] = c, s, -c
    out[3, THETA], out[3, last] = ny * c - nx * s, nx * c + ny * s
    out[4, NY], out[4, STATES + REAR_Y], out[4, last] = 1.0, -1.0, u[NY] - q[REAR_Y]
    out[5, give], out[5, last] = 1.0, q[GIVE_REAR]
    if gives(supports[REAR]):
        supports[REAR, GIVE] = q[GIVE_REAR]
        force, tangent, _ = support_force(supports[REAR])
        out[5, give] = tangent
        out[5, NX], out[5, NY] = slide[0], slide[1]
        out[5, STATES + DRIVE] = -slide[0]
        out[5, last] = force + nx * slide[0] + ny * slide[1]
    return 6


@kernel
def lower_rows(
    strip: UnitStrip, rolls: Array, u: Array, q: Array, touch: Array, out: Array
) -> int:
    """Conditions at the lower roll's outer touch into ``out[:4]``."""
    out[:4] = 0.0
    last = COLUMNS
    c, s = math.cos(u[THETA]), math.sin(u[THETA])
    bend, soft, keep = curvature(strip.table, strip.bending, u[M], u[LARGEST])
    stand = strip.bulge * (strip.natural + bend)
    ax = u[X] - stand * s - rolls[LOWER, AXIS_X]
    ay = u[Y] + stand * c - rolls[LOWER, AXIS_Y] + q[GIVE_LOWER]
    distance = math.hypot(ax, ay)
    out[0, X], out[0, Y] = ax / distance, ay / distance
    lift = strip.bulge * (ay * c - ax * s) / distance
    out[0, M], out[0, LARGEST] = lift * soft, lift * keep
    out[0, STATES + GIVE_LOWER] = ay / distance
    out[0, last] = distance - rolls[LOWER, REACH]
    for row, state in ((1, M), (2, NX), (3, NY)):
        out[row, state], out[row, last] = 1.0, u[state]
    out[1, last] -= touch[0]
    return 4


@kernel
def grip_rows(supports: Array, u: Array, q: Array, way: float, out: Array) -> int:
    """Balance of the pinch rolls' supports at the end of the march, ``out[:2]``."""
    out[:2] = 0.0
    last = COLUMNS
    lower = way * u[PUSH]
    for row, roll, give in ((0, UPPER, GIVE_UPPER), (1, LOWER, GIVE_LOWER)):
        out[row, STATES + give], out[row, last] = 1.0, q[give]
        if gives(supports[roll]):
            supports[roll, GIVE] = q[give]
            force, tangent, _ = support_force(supports[roll])
            out[row, STATES + give] = tangent
            out[row, PUSH] = -way
            out[row, last] = force - lower
            if roll == UPPER:
                out[row, STATES + REAR_Y] = -1.0
                out[row, last] -= q[REAR_Y]
    return 2


@kernel
def start_rows(u: Array, out: Array) -> int:
    """Where the march starts the sheet is virgin: ``out[:2]``."""
    out[:2] = 0.0
    out[0, LARGEST], out[0, COLUMNS] = 1.0, u[LARGEST]
    out[1, PUSH], out[1, COLUMNS] = 1.0, u[PUSH]
    return 2


@kernel
def scaled(strip: UnitStrip, miss: float, row: int, rear: bool) -> float:
    """Miss of a condition over its scale."""
    lengths = 2 if rear else 1
    if row < lengths:
        return abs(miss) / strip.thickness
    if row == lengths:
        return abs(miss) / strip.first_yield
    return abs(miss) * strip.thickness / strip.first_yield

"""Effect of the bulge of bent sheet on a steady pass, spread as in the stepped solver.

A pressure ``p`` along ``u`` takes ``beta p (u.n)`` off the moment of the section under
it, and the faces stand ``beta kappa`` off the mid-line along ``n``; both as means over
``2 b`` of the sheet, which has the mean square of a line load's spread (THEORY 5.6).
So the section's moment m, which the march follows, is that of the forces plus ``G``,

    m' = M' + (g(s + b) - g(s - b)) / 2 b        g = beta sum of p (u.n)
    bulge = beta (theta(s + b) - theta(s - b)) / 2 b

What lies ``b`` away is taken from the last path. So that this settles where the metal
yields, and a change of moment changes the pressure, the march is told that change too,
as if it were not spread: ``m' (1 + h) = M' + G' + h m'_last`` with ``h = beta^2 k
dkappa/dm`` where a roll presses; and the bulge follows the curvature from the last mean
on. Neither is left in what has settled.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.contact import pressure
from pinchline.physics.rolls import AXIS_X, AXIS_Y, LOWER, REACH, UPPER
from pinchline.solvers.steady.march import (
    BEND,
    EXTRA,
    GIVE_LOWER,
    GIVE_UPPER,
    LARGEST,
    OFFSET,
    SHARE,
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

HALF_LENGTH_THICKNESSES = 0.11952286093343936  # b over the thickness: b^2/3 is t^2/210
CURVATURE_RELAXATION = (
    0.5  # of the change: settles soonest where all and none of it is spread
)
PARTS = 4  # of the half stretch beyond the lower roll's touch


@kernel
def _row(path: Array, rows: int, s: float, way: float, start: int) -> int:
    """Row before ``s`` (mm), looked for from ``start``."""
    row = min(max(start, 0), rows - 2)
    while row > 0 and way * (path[row, 0] - s) > 0.0:
        row -= 1
    while row < rows - 2 and way * (path[row + 1, 0] - s) <= 0.0:
        row += 1
    return row


@kernel
def _share(path: Array, row: int, s: float) -> float:
    """Share of the way from a row to the next at ``s``."""
    h = path[row + 1, 0] - path[row, 0]
    return (s - path[row, 0]) / h if h != 0.0 else 0.0


@kernel
def _cubic(path: Array, row: int, z: float, state: int) -> float:
    """State at a share ``z`` of the way to the next row; straight on beyond it."""
    h = path[row + 1, 0] - path[row, 0]
    f0, f1 = path[row, 1 + state], path[row + 1, 1 + state]
    g0, g1 = h * path[row, 1 + STATES + state], h * path[row + 1, 1 + STATES + state]
    if z < 0.0:
        return float(f0 + g0 * z)
    if z > 1.0:
        return float(f1 + g1 * (z - 1.0))
    c2, c3 = 3.0 * (f1 - f0) - 2.0 * g0 - g1, 2.0 * (f0 - f1) + g0 + g1
    return float(f0 + z * (g0 + z * (c2 + z * c3)))


@kernel
def _pressed(
    strip: UnitStrip, rolls: Array, q: Array, path: Array, row: int, s: float
) -> tuple[float, float]:
    """``g`` (N) of both pinch rolls at ``s``, and its fall with the bulge's curvature.

    The second over ``beta`` (N mm).
    """
    z = _share(path, row, s)
    if not 0.0 <= z <= 1.0:
        return 0.0, 0.0
    theta = _cubic(path, row, z, THETA)
    nx, ny = -math.sin(theta), math.cos(theta)
    stand = strip.bulge * ((1.0 - z) * path[row, BEND] + z * path[row + 1, BEND])
    x = _cubic(path, row, z, X) + stand * nx
    y = _cubic(path, row, z, Y) + stand * ny
    force, fall = 0.0, 0.0
    for r in (UPPER, LOWER):
        give = q[GIVE_UPPER] if r == UPPER else -q[GIVE_LOWER]
        dx, dy = x - rolls[r, AXIS_X], y - rolls[r, AXIS_Y] - give
        p, distance = pressure(strip.foundation, dx, dy, rolls[r, REACH])
        if distance > 0.0:
            along = (dx * nx + dy * ny) / distance
            force += p * along
            fall += strip.foundation * along * along
    return strip.bulge * force, strip.bulge * fall


@kernel
def bend_of(path: Array, rows: int, way: float, half: float) -> None:
    """Put the curvature of the bulge into a path: the mean over ``half`` either way."""
    low, high = 0, 0
    for i in range(rows):
        s = path[i, 0]
        low = _row(path, rows, s - half, way, low)
        high = _row(path, rows, s + half, way, high)
        before = _cubic(path, low, _share(path, low, s - half), THETA)
        after = _cubic(path, high, _share(path, high, s + half), THETA)
        path[i, BEND] = (after - before) / (2.0 * half)


@kernel
def bulge_coefficients(
    strip: UnitStrip,
    rolls: Array,
    q: Array,
    path: Array,
    rows: int,
    way: float,
    places: Array,
    told: Array,
) -> float:
    """Write the bulge coefficients at ``places`` (mm) for a march into ``told (n, 3)``.

    From the first ``rows`` of a path. Returns the moment of the section where the lower
    roll first touches (N mm/mm): it bears that against the pressure beside it.
    """
    half = HALF_LENGTH_THICKNESSES * strip.thickness
    bend_of(path, rows, way, half)
    low, here, high = 0, 0, 0
    for i in range(places.shape[0]):
        s = places[i]
        low = _row(path, rows, s - half, way, low)
        here = _row(path, rows, s, way, here)
        high = _row(path, rows, s + half, way, high)
        before, _ = _pressed(strip, rolls, q, path, low, s - half)
        after, _ = _pressed(strip, rolls, q, path, high, s + half)
        _, fall = _pressed(strip, rolls, q, path, here, s)
        z = min(max(_share(path, here, s), 0.0), 1.0)
        a, b = path[here], path[here + 1]
        moment = (1.0 - z) * a[1 + M] + z * b[1 + M]
        largest = (1.0 - z) * a[1 + LARGEST] + z * b[1 + LARGEST]
        _, soft, _ = curvature(strip.table, strip.bending, moment, largest)
        hold = CURVATURE_RELAXATION * strip.bulge * fall * soft
        rate = (1.0 - z) * a[1 + STATES + M] + z * b[1 + STATES + M]
        bend = (1.0 - z) * a[1 + STATES + THETA] + z * b[1 + STATES + THETA]
        told[i, OFFSET] = (1.0 - z) * a[BEND] + z * b[BEND] - bend
        told[i, SHARE] = 1.0 / (1.0 + hold)
        told[i, EXTRA] = ((after - before) / (2.0 * half) + hold * rate) / (1.0 + hold)
    touch = path[0, 0] if way > 0.0 else path[rows - 1, 0]
    total = 0.0
    row = 0 if way > 0.0 else rows - 2
    for part in range(PARTS):
        s = touch + half * (part + 0.5) / PARTS
        row = _row(path, rows, s, way, row)
        total += _pressed(strip, rolls, q, path, row, s)[0]
    return total * 0.5 / PARTS

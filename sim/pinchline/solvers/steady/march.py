"""March along the sheet of a steady pass: a rod on the foundations of the pinch rolls.

The directed rod (E. Reissner, J. Appl. Math. Phys. 23 (1972) 795-804) with the tangent
``t`` and normal ``n`` of the section, ``cross(a, b) = ax by - ay bx``, s toward the
rear roll, N the force of the rear side on the operator's side:

    X' = (1 + N.t / EA) t + (N.n / GA) n        theta' = kappa(M, largest M so far)
    M' = -cross(X', N)                          N' = -sum of p u over the pinch rolls

with ``p = k depth`` along ``u``, away from the roll's axis. The drive D works at the
nip line: what is marched is N without it, and ``D S(x)`` is taken off, where S rises
from 0 to 1 over a short stretch about x = 0. The march follows the material's history,
from the side where the sheet is virgin to the side where it is bent: toward the rear
roll in a feed toward it, the other way in a feed toward the operator. A moment that
falls again is kept as the largest. Fourth-order Runge-Kutta of state and derivatives.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from pinchline.physics._jit import kernel
from pinchline.physics.contact import pressure_slopes
from pinchline.physics.rolls import AXIS_X, AXIS_Y, LOWER, REACH, UPPER
from pinchline.solvers.steady.section_table import curvature

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

# state; PUSH is the force of the lower roll along y met so far (N/mm)
X, Y, THETA, M, NX, NY, LARGEST, PUSH = range(8)
STATES = 8
# parameters, after the states in the columns of a derivative; REAR_Y: of its force
DRIVE, LENGTH, GIVE_UPPER, GIVE_LOWER, GIVE_REAR, REAR_Y = range(6)
PARAMETERS = 6
COLUMNS = STATES + PARAMETERS
MARCHED = STATES + GIVE_REAR  # columns that the march changes
BEND = 2 * STATES + 1  # of a path: curvature that the faces bulge by (1/mm)
PATH = 2 * STATES + 2  # s, state, its rates, that
# how a step is told of the bulge around it (``pass_bulge``)
OFFSET, SHARE, EXTRA = range(3)
TOLD = 3
SPREAD = 0.25  # of the thickness: half the stretch over which the drive works


class UnitStrip(NamedTuple):
    """One mm of width of the sheet.

    axial, shear (N/mm), bending (N mm): elastic stiffness; foundation (MPa/mm);
    bulge: how far the faces stand off the mid-line, over the curvature (mm2);
    natural: curvature (1/mm); thickness (mm); offset of the drive over the mid-line
    (mm); first_yield: moment (N mm/mm); rest: whether the sheet has never been fed, so
    that no point has borne more than it bears; segment: longest that is marched in the
    nip, in thicknesses; table: the section's law (``pass_law``).
    """

    axial: float
    shear: float
    bending: float
    foundation: float
    bulge: float
    natural: float
    thickness: float
    offset: float
    first_yield: float
    rest: bool
    segment: float
    table: Array


@kernel
def _rates(
    strip: UnitStrip,
    rolls: Array,
    state: Array,
    q: Array,
    told: Array,
    out: Array,
    d: Array,
) -> None:
    """Put derivatives by s into ``out (8)`` and their slopes into ``d (8, 12)``.

    ``rolls (3, 3)``: axes before they give and reach; ``q (6)``: parameters;
    ``told (3)``: of the bulge.
    """
    c, s = math.cos(state[THETA]), math.sin(state[THETA])
    width = SPREAD * strip.thickness
    z = state[X] / width
    share, sharp = (0.0, 0.0) if z <= -1.0 else (1.0, 0.0)
    if -1.0 < z < 1.0:
        share = 0.5 + 0.25 * z * (3.0 - z * z)
        sharp = 0.75 * (1.0 - z * z) / width
    nx, ny = state[NX] - q[DRIVE] * share, state[NY]
    nt, nn = nx * c + ny * s, ny * c - nx * s
    soft_a, soft_s = 1.0 / strip.axial, 1.0 / strip.shear
    stretch, slip = 1.0 + nt * soft_a, nn * soft_s
    dx, dy = stretch * c - slip * s, stretch * s + slip * c
    kappa, by_moment, by_largest = curvature(
        strip.table, strip.bending, state[M], state[LARGEST]
    )
    out[X], out[Y], out[THETA] = dx, dy, strip.natural + kappa
    couple = q[DRIVE] * strip.offset * sharp * dx * c
    share_m = told[SHARE]
    out[M] = (dy * nx - dx * ny + couple) * share_m + told[EXTRA]
    stand = strip.bulge * (out[THETA] + told[OFFSET])
    px, py = state[X] - stand * s, state[Y] + stand * c
    upper, lower, k = rolls[UPPER], rolls[LOWER], strip.foundation
    from_axis = py - (upper[AXIS_Y] + q[GIVE_UPPER])
    ux, uy, uxx, uxy, uyy = pressure_slopes(
        k, px - upper[AXIS_X], from_axis, upper[REACH]
    )
    from_axis = py - (lower[AXIS_Y] - q[GIVE_LOWER])
    lx, ly, lxx, lxy, lyy = pressure_slopes(
        k, px - lower[AXIS_X], from_axis, lower[REACH]
    )
    out[NX], out[NY] = -ux - lx, -uy - ly
    out[LARGEST], out[PUSH] = 0.0, ly
    xt = -dy + c * nn * soft_a + s * nt * soft_s
    yt = dx + s * nn * soft_a - c * nt * soft_s
    xx, yy = c * c * soft_a + s * s * soft_s, s * s * soft_a + c * c * soft_s
    xy = c * s * (soft_a - soft_s)
    d[X, THETA], d[X, NX], d[X, NY] = xt, xx, xy
    d[Y, THETA], d[Y, NX], d[Y, NY] = yt, xy, yy
    d[THETA, M], d[THETA, LARGEST] = by_moment, by_largest
    d[M, THETA] = share_m * (yt * nx - xt * ny)
    d[M, NX] = share_m * (xy * nx + dy - xx * ny)
    d[M, NY] = share_m * (yy * nx - dx - xy * ny)
    d[NX, X], d[NX, Y] = -uxx - lxx, -uxy - lxy
    d[NY, X], d[NY, Y] = -uxy - lxy, -uyy - lyy
    d[NX, STATES + GIVE_UPPER], d[NX, STATES + GIVE_LOWER] = uxy, -lxy
    d[NY, STATES + GIVE_UPPER], d[NY, STATES + GIVE_LOWER] = uyy, -lyy
    d[PUSH, X], d[PUSH, Y], d[PUSH, STATES + GIVE_LOWER] = lxy, lyy, lyy
    if strip.bulge > 0.0:
        along_x = strip.bulge * (s * (uxx + lxx) - c * (uxy + lxy))
        along_y = strip.bulge * (s * (uxy + lxy) - c * (uyy + lyy))
        along_push = strip.bulge * (c * lyy - s * lxy)
        d[NX, M], d[NX, LARGEST] = along_x * by_moment, along_x * by_largest
        d[NY, M], d[NY, LARGEST] = along_y * by_moment, along_y * by_largest
        d[PUSH, M], d[PUSH, LARGEST] = along_push * by_moment, along_push * by_largest
    for row in (X, Y, M):  # the drive enters through nx
        d[row, X] = -q[DRIVE] * sharp * d[row, NX]
        d[row, STATES + DRIVE] = -share * d[row, NX]
    d[M, STATES + DRIVE] += share_m * strip.offset * sharp * dx * c


@kernel
def _advance(
    d: Array,
    w: Array,
    w_at: Array,
    w_before: Array,
    weight: float,
    ahead: float,
    bulges: bool,
) -> None:
    """Move the derivatives by a stage: ``w += weight d w_at``, then the next ``w_at``.

    Over the entries of ``d`` that can differ from zero; column by column without an
    array between, which is half of a march's time.
    """
    xx, xt, xn, xv = d[X, X], d[X, THETA], d[X, NX], d[X, NY]
    yx, yt, yn, yv = d[Y, X], d[Y, THETA], d[Y, NX], d[Y, NY]
    tm, tl = d[THETA, M], d[THETA, LARGEST]
    mx, mt, mn, mv = d[M, X], d[M, THETA], d[M, NX], d[M, NY]
    nxx, nxy, nyx, nyy = d[NX, X], d[NX, Y], d[NY, X], d[NY, Y]
    px, py = d[PUSH, X], d[PUSH, Y]
    nxm, nxl, nym, nyl, pm, pl = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if bulges:  # else what is there is of another sheet
        nxm, nxl, nym, nyl = d[NX, M], d[NX, LARGEST], d[NY, M], d[NY, LARGEST]
        pm, pl = d[PUSH, M], d[PUSH, LARGEST]
    for j in range(MARCHED):
        x, y, t, nx, ny = (
            w_at[X, j],
            w_at[Y, j],
            w_at[THETA, j],
            w_at[NX, j],
            w_at[NY, j],
        )
        m, largest = w_at[M, j], w_at[LARGEST, j]
        rate = xx * x + xt * t + xn * nx + xv * ny
        w[X, j] += weight * rate
        w_at[X, j] = w_before[X, j] + ahead * rate
        rate = yx * x + yt * t + yn * nx + yv * ny
        w[Y, j] += weight * rate
        w_at[Y, j] = w_before[Y, j] + ahead * rate
        rate = tm * m + tl * largest
        w[THETA, j] += weight * rate
        w_at[THETA, j] = w_before[THETA, j] + ahead * rate
        rate = mx * x + mt * t + mn * nx + mv * ny
        w[M, j] += weight * rate
        w_at[M, j] = w_before[M, j] + ahead * rate
        rate = nxx * x + nxy * y
        if bulges:
            rate += nxm * m + nxl * largest
        w[NX, j] += weight * rate
        w_at[NX, j] = w_before[NX, j] + ahead * rate
        rate = nyx * x + nyy * y
        if bulges:
            rate += nym * m + nyl * largest
        w[NY, j] += weight * rate
        w_at[NY, j] = w_before[NY, j] + ahead * rate
        rate = px * x + py * y
        if bulges:
            rate += pm * m + pl * largest
        w[PUSH, j] += weight * rate
        w_at[PUSH, j] = w_before[PUSH, j] + ahead * rate
    a, b, drive = STATES + GIVE_UPPER, STATES + GIVE_LOWER, STATES + DRIVE
    for row in (X, Y, M):
        w[row, drive] += weight * d[row, drive]
        w_at[row, drive] += ahead * d[row, drive]
    for row in (NX, NY):
        w[row, a] += weight * d[row, a]
        w_at[row, a] += ahead * d[row, a]
    for row in (NX, NY, PUSH):
        w[row, b] += weight * d[row, b]
        w_at[row, b] += ahead * d[row, b]


@kernel
def _keep_largest(
    state: Array, w: Array, before: Array, w_before: Array, h: float, m0: float
) -> None:
    """Largest moment after a step that began with the rate ``m0`` along the march.

    Where the moment turns within the step its top is that of the cubic through both
    ends, whose place does not matter to first order.
    """
    top, share = state[M], 1.0
    rise = state[M] - before[M]
    g = m0 * h
    # parabola of the start's rate: top at z of the step
    bend = rise - g
    if g > 0.0 and bend < 0.0 and g < -2.0 * bend:
        share = -0.5 * g / bend
        top = before[M] + 0.5 * g * share
    if top > state[LARGEST]:
        state[LARGEST] = top
        for j in range(MARCHED):
            low = w_before[M, j]
            w[LARGEST, j] = low + share * (w[M, j] - low)


@kernel
def _write(row: Array, s: float, state: Array, rate: Array, told: Array) -> None:
    """Put a place of the march into its row of a path."""
    row[0] = s
    row[1 : 1 + STATES] = state
    row[1 + STATES : BEND] = rate[:STATES]
    row[BEND] = rate[THETA] + told[OFFSET]


@kernel
def march(
    strip: UnitStrip,
    rolls: Array,
    q: Array,
    state: Array,
    w: Array,
    steps: Array,
    way: float,
    scaled: bool,
    told: Array,
    work: Array,
    path: Array,
) -> None:
    """March ``state (8)`` and its derivatives ``w (8, 12)`` over steps, in place.

    ``steps``: lengths (mm), or shares of the parameter LENGTH if ``scaled``; ``way`` 1
    toward the rear roll, -1 the other way; ``told (2 steps + 1, 3)``: of the bulge, at
    ends and middles of the steps; ``work (6, 8, 12)``: working space, zero where
    nothing was written; ``path (steps + 1, 18)`` receives s from the start of the
    segment, states, rates and the curvature of the bulge.
    """
    rate, d = work[0, 0], work[1]
    at, w_at = work[2, 0], work[3]
    before, w_before = work[4, 0], work[5]
    bulges = strip.bulge > 0.0
    s = 0.0
    for i in range(steps.shape[0]):
        h = way * steps[i] * (q[LENGTH] if scaled else 1.0)
        before[:STATES] = state
        w_before[:] = w
        at[:STATES] = state
        w_at[:] = w
        first_rate = 0.0
        for stage in range(4):
            here = told[2 * i + (stage + 1) // 2]
            _rates(strip, rolls, at[:STATES], q, here, rate, d)
            if stage == 0:
                first_rate = rate[M]
                _write(path[i], s, state, rate, here)
            weight = h / 6.0 if stage in (0, 3) else h / 3.0
            ahead = h if stage == 2 else 0.5 * h
            for k in range(STATES):
                state[k] += weight * rate[k]
                at[k] = before[k] + ahead * rate[k]
            _advance(d, w, w_at, w_before, weight, ahead, bulges)
        s += h
        if not strip.rest:
            _keep_largest(state, w, before, w_before, h, first_rate)
        if scaled:
            _rates(strip, rolls, state, q, told[2 * i + 2], rate, d)
            for k in range(STATES):
                w[k, STATES + LENGTH] += way * steps[i] * rate[k]
    last = steps.shape[0]
    _rates(strip, rolls, state, q, told[2 * last], rate, d)
    _write(path[last], s, state, rate, told[2 * last])

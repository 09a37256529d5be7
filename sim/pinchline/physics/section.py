"""Moment of the sheet's section against curvature, with its history.

Unit width. The section is bent about its middle and every fibre at height ``y``
strains by ``y * kappa``, so stresses are odd in ``y`` and only the half
``0 < y <= t/2`` is kept. Four laws, chosen by an integer code:

``J2_PLANE_STRAIN``
    layers with von Mises plasticity, stress zero through the thickness, strain zero
    across the width, bilinear hardening. Return mapping of plane-stress J2 (J. C. Simo
    and T. J. R. Hughes, Computational Inelasticity, 1998, box 3.3) in the
    eigenvectors ``a = (x + z)/sqrt 2``, ``b = (x - z)/sqrt 2``.
``UNIAXIAL``
    the same layers with a one-dimensional bilinear law.
``MIXED``
    layers of both kinds side by side, those of plane strain first: a strip that is held
    flat across over a share of its width and free toward its edges.
``PROFILE``
    the one-dimensional bilinear law integrated in closed form: the stress over ``y`` is
    piecewise linear for any history, so its breakpoints carry the state exactly.

History of one element, ``(5, rows)``: layers hold ``sa, sb, ba, bb, alpha``
(stress, back stress, equivalent plastic strain; ``UNIAXIAL`` uses rows 0, 2, 4);
the profile holds ``y, stress, back stress, yield radius`` per breakpoint and their
number in ``[4, 0]``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

J2_PLANE_STRAIN = 0
UNIAXIAL = 1
PROFILE = 2
MIXED = 3

# rows of the layer table
Y, W, CA, CB, YIELD, HI, HK = range(7)
LAYER = 7
HISTORY = 5
BREAKPOINTS = 16
SCRATCH = 776  # columns: no section has more (sub-)layers in plane strain

_HALF_ROOT = math.sqrt(0.5)
_UNBOUNDED = 1.0e30
MULTIPLIER_TOLERANCE = 1.0e-5  # last relative change: Newton squares it, 1e-10 is left


@kernel
def _held_layers(layers: Array) -> int:
    """Count the layers in plane strain; free ones have no second eigenvalue."""
    count = 0
    while count < layers.shape[1] and layers[CB, count] > 0.0:
        count += 1
    return count


@kernel
def _multipliers(
    layers: Array, history: Array, change: float, out: Array, count: int
) -> None:
    """Plastic multiplier of every layer (1/MPa) into ``out[2]``; trials in ``out[:2]``.

    The consistency condition as ``1/q = 1/sigma_y`` is nearly linear in the multiplier,
    so a few Newton passes end at rounding; all layers make them together, without
    branches, and one that stays elastic keeps the multiplier zero.
    """
    for i in range(count):
        strain = layers[Y, i] * change * _HALF_ROOT
        out[0, i] = history[0, i] + layers[CA, i] * strain - history[2, i]
        out[1, i] = history[1, i] + layers[CB, i] * strain - history[3, i]
        out[2, i] = 0.0
    for _ in range(30):
        for i in range(count):
            hi = 2.0 / 3.0 * layers[HI, i]
            hk = 2.0 / 3.0 * layers[HK, i]
            radius = layers[YIELD, i] + layers[HI, i] * history[4, i]
            gamma = out[2, i]
            c_a = hk + layers[CA, i] / 3.0
            c_b = hk + layers[CB, i]
            d_a = 1.0 / (1.0 + gamma * c_a)
            d_b = 1.0 / (1.0 + gamma * c_b)
            wa = 0.5 * out[0, i] * out[0, i] * d_a * d_a
            wb = 1.5 * out[1, i] * out[1, i] * d_b * d_b
            square = wa + wb + 1.0e-300
            q = math.sqrt(square)
            # residual and slope of 1/q - 1/sigma_y, both times q
            slope = (wa * c_a * d_a + wb * c_b * d_b) / square + hi * q / radius
            step = (1.0 - (1.0 - gamma * hi) * q / radius) / slope
            out[2, i] = max(gamma - step, 0.0)
            out[3, i] = gamma
        settled = True
        for i in range(count):
            if abs(out[2, i] - out[3, i]) > MULTIPLIER_TOLERANCE * out[2, i]:
                settled = False
        if settled:
            break


@kernel
def _j2_moment(
    layers: Array, history: Array, change: float, out: Array, count: int
) -> tuple[float, float]:
    """Moment and tangent of the first J2 layers after a change of curvature (1/mm)."""
    _multipliers(layers, history, change, out, count)
    for i in range(count):
        ca = layers[CA, i]
        cb = layers[CB, i]
        hk = 2.0 / 3.0 * layers[HK, i]
        hi = 2.0 / 3.0 * layers[HI, i]
        g = out[2, i]
        c_a = hk + ca / 3.0
        c_b = hk + cb
        d_a = 1.0 / (1.0 + g * c_a)
        d_b = 1.0 / (1.0 + g * c_b)
        xa = out[0, i] * d_a
        xb = out[1, i] * d_b
        shrink = 1.0 / (1.0 - g * hi)
        now = (layers[YIELD, i] + layers[HI, i] * history[4, i]) * shrink
        down = xa * xa * c_a * d_a / 3.0 + xb * xb * c_b * d_b
        down += 2.0 / 3.0 * now * now * hi * shrink
        active = 1.0 if g > 0.0 else 0.0
        pull = xa * ca * d_a / 3.0 + xb * cb * d_b
        dg = active * pull / (down + 1.0e-300)
        grow = 1.0 + hk * g
        weight = layers[W, i] * layers[Y, i]
        stress = grow * (xa + xb) + history[2, i] + history[3, i]
        slope = grow * (ca * d_a - xa * c_a * d_a * dg + cb * d_b - xb * c_b * d_b * dg)
        slope += hk * (xa + xb) * dg
        out[0, i] = weight * stress
        out[1, i] = weight * layers[Y, i] * slope
    moment = 0.0
    tangent = 0.0
    for i in range(count):
        moment += out[0, i]
        tangent += out[1, i]
    return 2.0 * _HALF_ROOT * moment, tangent


@kernel
def _j2_commit(
    layers: Array, history: Array, change: float, out: Array, count: int
) -> tuple[float, float, float, float]:
    """Advance J2 layers; moment, plastic work, elastic range of curvature change."""
    _multipliers(layers, history, change, out, count)
    for i in range(count):
        ca = layers[CA, i]
        cb = layers[CB, i]
        hk = 2.0 / 3.0 * layers[HK, i]
        g = out[2, i]
        a = out[0, i] / (1.0 + g * (hk + ca / 3.0))
        b = out[1, i] / (1.0 + g * (hk + cb))
        radius = layers[YIELD, i] + layers[HI, i] * history[4, i]
        radius /= 1.0 - 2.0 / 3.0 * g * layers[HI, i]
        history[2, i] += hk * g * a
        history[3, i] += hk * g * b
        history[4, i] += 2.0 / 3.0 * g * radius
        sa = a + history[2, i]
        sb = b + history[3, i]
        mean = 0.5 * ((history[0, i] + sa) * a / 3.0 + (history[1, i] + sb) * b)
        history[0, i] = sa
        history[1, i] = sb
        # elastic range: |xi + C d|^2 meets the yield ellipse, a quadratic in d
        da = ca * layers[Y, i] * _HALF_ROOT
        db = cb * layers[Y, i] * _HALF_ROOT
        square = da * da / 3.0 + db * db
        cross = a * da / 3.0 + b * db
        inside = min(a * a / 3.0 + b * b - 2.0 / 3.0 * radius * radius, 0.0)
        root = math.sqrt(cross * cross - square * inside)
        out[0, i] = layers[W, i] * layers[Y, i] * (sa + sb)
        out[1, i] = layers[W, i] * g * mean
        out[2, i] = (-cross - root) / square
        out[3, i] = (-cross + root) / square
    moment = 0.0
    work = 0.0
    lowest = -_UNBOUNDED
    highest = _UNBOUNDED
    for i in range(count):
        moment += out[0, i]
        work += out[1, i]
        lowest = max(lowest, out[2, i])
        highest = min(highest, out[3, i])
    return 2.0 * _HALF_ROOT * moment, 2.0 * work, lowest, highest


@kernel
def _uniaxial_moment(
    layers: Array, history: Array, change: float, first: int
) -> tuple[float, float]:
    """Moment and tangent of the layers from ``first``, one-dimensional."""
    moment = 0.0
    tangent = 0.0
    for i in range(first, layers.shape[1]):
        y = layers[Y, i]
        slope = layers[CA, i]
        stress = history[0, i] + slope * y * change
        over = stress - history[2, i]
        radius = layers[YIELD, i] + layers[HI, i] * history[4, i]
        if abs(over) > radius:
            hard = layers[HI, i] + layers[HK, i]
            flow = (abs(over) - radius) / (slope + hard)
            stress -= math.copysign(slope * flow, over)
            slope *= hard / (slope + hard)
        moment += layers[W, i] * y * stress
        tangent += layers[W, i] * y * y * slope
    return 2.0 * moment, 2.0 * tangent


@kernel
def _uniaxial_commit(
    layers: Array, history: Array, change: float, first: int
) -> tuple[float, float, float, float]:
    """Advance one-dimensional layers; see ``_j2_commit``."""
    moment = 0.0
    work = 0.0
    lowest = -_UNBOUNDED
    highest = _UNBOUNDED
    for i in range(first, layers.shape[1]):
        y = layers[Y, i]
        slope = layers[CA, i]
        before = history[0, i]
        stress = before + slope * y * change
        over = stress - history[2, i]
        radius = layers[YIELD, i] + layers[HI, i] * history[4, i]
        if abs(over) > radius:
            hard = layers[HI, i] + layers[HK, i]
            flow = math.copysign((abs(over) - radius) / (slope + hard), over)
            stress -= slope * flow
            history[2, i] += layers[HK, i] * flow
            history[4, i] += abs(flow)
            radius += layers[HI, i] * abs(flow)
            work += layers[W, i] * 0.5 * (before + stress) * flow
        history[0, i] = stress
        moment += layers[W, i] * y * stress
        over = stress - history[2, i]
        highest = min(highest, (radius - over) / (slope * y))
        lowest = max(lowest, (-radius - over) / (slope * y))
    return 2.0 * moment, 2.0 * work, lowest, highest


@kernel
def _crossings(xi0: float, xi1: float, r0: float, r1: float) -> tuple[float, float]:
    """Where a linear relative stress meets a linear yield radius, as shares of 0..1.

    Returns the two crossings in order; a missing one is 2.
    """
    first = 2.0
    second = 2.0
    for side in (1.0, -1.0):
        f0 = side * xi0 - r0
        f1 = side * xi1 - r1
        if (f0 < 0.0) != (f1 < 0.0):
            at = f0 / (f0 - f1)
            if 0.0 < at < 1.0:
                if at < first:
                    second = first
                    first = at
                else:
                    second = at
    return first, second


@kernel
def _profile_moment(
    layers: Array, history: Array, change: float
) -> tuple[float, float]:
    """Moment and tangent of the piecewise linear stress profile, in closed form."""
    slope = layers[CA, 0]
    hard = layers[HI, 0] + layers[HK, 0]
    count = int(history[4, 0])
    moment = 0.0
    tangent = 0.0
    for i in range(count - 1):
        y0, y1 = history[0, i], history[0, i + 1]
        s0 = history[1, i] + slope * y0 * change
        s1 = history[1, i + 1] + slope * y1 * change
        x0, x1 = s0 - history[2, i], s1 - history[2, i + 1]
        r0, r1 = history[3, i], history[3, i + 1]
        cut1, cut2 = _crossings(x0, x1, r0, r1)
        at = 0.0
        for end in (min(cut1, 1.0), min(cut2, 1.0), 1.0):
            if end <= at:
                continue
            ya, yb = y0 + at * (y1 - y0), y0 + end * (y1 - y0)
            sa, sb = s0 + at * (s1 - s0), s0 + end * (s1 - s0)
            xm = x0 + 0.5 * (at + end) * (x1 - x0)
            rm = r0 + 0.5 * (at + end) * (r1 - r0)
            c = slope
            if abs(xm) > rm:
                side = math.copysign(1.0, xm)
                fa = side * (x0 + at * (x1 - x0)) - (r0 + at * (r1 - r0))
                fb = side * (x0 + end * (x1 - x0)) - (r0 + end * (r1 - r0))
                drop = side * slope / (slope + hard)
                sa -= drop * fa
                sb -= drop * fb
                c = slope * hard / (slope + hard)
            moment += (yb - ya) / 6.0 * (sa * (2 * ya + yb) + sb * (ya + 2 * yb))
            tangent += c * (yb * yb * yb - ya * ya * ya) / 3.0
            at = end
    return 2.0 * moment, 2.0 * tangent


@kernel
def _put_point(
    scratch: Array, count: int, y: float, s: float, b: float, r: float, tol: float
) -> int:
    """Append a breakpoint; one that lies on the line of its neighbours goes first."""
    if count >= 2:
        y0, y1 = scratch[0, count - 2], scratch[0, count - 1]
        share = (y1 - y0) / (y - y0)
        straight = True
        for k in range(1, 4):
            new = s if k == 1 else (b if k == 2 else r)
            line = scratch[k, count - 2] + share * (new - scratch[k, count - 2])
            straight = straight and abs(line - scratch[k, count - 1]) <= tol
        if straight:
            count -= 1
    scratch[0, count] = y
    scratch[1, count] = s
    scratch[2, count] = b
    scratch[3, count] = r
    return count + 1


@kernel
def _drop_flattest(scratch: Array, count: int) -> int:
    """Remove the breakpoint that bends the stress profile least."""
    best = 1
    least = _UNBOUNDED
    for i in range(1, count - 1):
        y0, y1, y2 = scratch[0, i - 1], scratch[0, i], scratch[0, i + 1]
        share = (y1 - y0) / (y2 - y0)
        line = scratch[1, i - 1] + share * (scratch[1, i + 1] - scratch[1, i - 1])
        bend = abs(line - scratch[1, i]) * (y2 - y0) * y1
        if bend < least:
            least = bend
            best = i
    for i in range(best, count - 1):
        for k in range(4):
            scratch[k, i] = scratch[k, i + 1]
    return count - 1


@kernel
def _profile_commit(
    layers: Array, history: Array, change: float, scratch: Array
) -> tuple[float, float, float, float]:
    """Advance the stress profile; see ``_j2_commit``. ``scratch`` (5, 776)."""
    slope = layers[CA, 0]
    hard = layers[HI, 0] + layers[HK, 0]
    tol = 1.0e-10 * layers[YIELD, 0]
    count = int(history[4, 0])
    scratch[0, 0] = 0.0
    scratch[1, 0] = 0.0
    scratch[2, 0] = 0.0
    scratch[3, 0] = history[3, 0]
    points = 1
    work = 0.0
    for i in range(count - 1):
        y0, y1 = history[0, i], history[0, i + 1]
        o0, o1 = history[1, i], history[1, i + 1]
        s0, s1 = o0 + slope * y0 * change, o1 + slope * y1 * change
        b0, b1 = history[2, i], history[2, i + 1]
        r0, r1 = history[3, i], history[3, i + 1]
        cut1, cut2 = _crossings(s0 - b0, s1 - b1, r0, r1)
        at = 0.0
        flow_before = 0.0
        mean_before = o0 + 0.5 * slope * y0 * change
        f_start = abs(s0 - b0) - r0
        if f_start > 0.0:
            flow_before = math.copysign(f_start / (slope + hard), s0 - b0)
            mean_before -= 0.5 * slope * flow_before
        y_before = y0
        for end in (min(cut1, 1.0), min(cut2, 1.0), 1.0):
            if end <= at:
                continue
            y = y0 + end * (y1 - y0)
            s = s0 + end * (s1 - s0)
            b = b0 + end * (b1 - b0)
            r = r0 + end * (r1 - r0)
            flow = 0.0
            if abs(s - b) > r:
                flow = math.copysign((abs(s - b) - r) / (slope + hard), s - b)
            mean = o0 + end * (o1 - o0) + 0.5 * slope * y * change - 0.5 * slope * flow
            s -= slope * flow
            b += layers[HK, 0] * flow
            r += layers[HI, 0] * abs(flow)
            work += (
                (y - y_before)
                / 6.0
                * (
                    flow_before * (2.0 * mean_before + mean)
                    + flow * (mean_before + 2.0 * mean)
                )
            )
            points = _put_point(scratch, points, y, s, b, r, tol)
            at = end
            y_before = y
            flow_before = flow
            mean_before = mean
    while points > history.shape[1]:
        points = _drop_flattest(scratch, points)
    moment = 0.0
    lowest = -_UNBOUNDED
    highest = _UNBOUNDED
    for i in range(points):
        for k in range(4):
            history[k, i] = scratch[k, i]
        if i > 0:
            ya, yb = scratch[0, i - 1], scratch[0, i]
            moment += (
                (yb - ya)
                / 6.0
                * (scratch[1, i - 1] * (2 * ya + yb) + scratch[1, i] * (ya + 2 * yb))
            )
            over = scratch[1, i] - scratch[2, i]
            highest = min(highest, (scratch[3, i] - over) / (slope * yb))
            lowest = max(lowest, (-scratch[3, i] - over) / (slope * yb))
    history[4, 0] = points
    return 2.0 * moment, 2.0 * work, lowest, highest


@kernel
def section_moment(
    law: int, layers: Array, history: Array, change: float, scratch: Array
) -> tuple[float, float]:
    """Moment (N mm/mm) and tangent (N mm) after a change of curvature; no state moves.

    Parameters
    ----------
    law : code of the law
    layers : (7, rows) height, weight (mm), elastic eigenvalues, yield, hardening (MPa)
    history : (5, rows) history of one element
    change : curvature since the history was committed, 1/mm
    scratch : (5, 776) working space
    """
    if law == J2_PLANE_STRAIN:
        return _j2_moment(layers, history, change, scratch, layers.shape[1])
    if law == UNIAXIAL:
        return _uniaxial_moment(layers, history, change, 0)
    if law == MIXED:
        held = _held_layers(layers)
        m, c = _j2_moment(layers, history, change, scratch, held)
        free_m, free_c = _uniaxial_moment(layers, history, change, held)
        return m + free_m, c + free_c
    return _profile_moment(layers, history, change)


@kernel
def section_commit(
    law: int, layers: Array, history: Array, change: float, scratch: Array
) -> tuple[float, float, float, float]:
    """Move the history by a change of curvature.

    Returns the moment (N mm/mm), the plastic work per length (N mm/mm/mm, by mean
    stress) and the range of further change in which the section stays elastic (1/mm).
    """
    if law == J2_PLANE_STRAIN:
        return _j2_commit(layers, history, change, scratch, layers.shape[1])
    if law == UNIAXIAL:
        return _uniaxial_commit(layers, history, change, 0)
    if law == MIXED:
        held = _held_layers(layers)
        m, work, low, high = _j2_commit(layers, history, change, scratch, held)
        free = _uniaxial_commit(layers, history, change, held)
        return m + free[0], work + free[1], max(low, free[2]), min(high, free[3])
    return _profile_commit(layers, history, change, scratch)


@kernel
def free_curvature(
    law: int,
    layers: Array,
    history: Array,
    guess: float,
    elastic: float,
    scratch: Array,
) -> float:
    """Change of curvature (1/mm) that takes the moment off where unloading yields.

    ``guess`` (1/mm) is the elastic answer, ``elastic`` the bending stiffness (N mm).
    """
    change = guess
    for _ in range(60):
        m, slope = section_moment(law, layers, history, change, scratch)
        step = m / max(slope, 1.0e-6 * elastic)
        change -= step
        if abs(step) <= 1.0e-12 * abs(change):
            break
    return change

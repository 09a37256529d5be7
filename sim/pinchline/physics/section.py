"""Moment of the sheet's section against curvature, with its history.

Unit width. The section is bent about its middle and every fibre at height ``y``
strains by ``y * kappa``, so stresses are odd in ``y`` and only the half
``0 < y <= t/2`` is kept. Three laws, chosen by an integer code:

``J2_PLANE_STRAIN``
    layers with von Mises plasticity, stress zero through the thickness, strain zero
    across the width, bilinear hardening. Return mapping of plane-stress J2 (J. C. Simo
    and T. J. R. Hughes, Computational Inelasticity, 1998, box 3.3) in the
    eigenvectors ``a = (x + z)/sqrt 2``, ``b = (x - z)/sqrt 2``.
``UNIAXIAL``
    the same layers with a one-dimensional bilinear law.
``PROFILE``
    the one-dimensional bilinear law integrated in closed form: the stress over ``y`` is
    piecewise linear for any history, so its breakpoints carry the state exactly.

History of one element, ``(rows, 5)``: layers hold ``sa, sb, ba, bb, alpha``
(stress, back stress, equivalent plastic strain; ``UNIAXIAL`` uses columns 0, 2, 4);
the profile holds ``y, stress, back stress, yield radius`` per breakpoint and their
number in ``[0, 4]``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

J2_PLANE_STRAIN = 0
UNIAXIAL = 1
PROFILE = 2

# columns of a layer
Y, W, CA, CB, YIELD, HI, HK = range(7)
COLUMNS = 7
HISTORY = 5
BREAKPOINTS = 16
SCRATCH = 3 * BREAKPOINTS

_R2 = math.sqrt(2.0)
_UNBOUNDED = 1.0e30


@kernel
def _multiplier(
    a: float, b: float, c_a: float, c_b: float, radius: float, hi: float, guess: float
) -> float:
    """Plastic multiplier of the return: ``1/q - 1/sigma_y`` is nearly linear in it.

    ``a, b`` trial relative stress (MPa), ``c_a, c_b`` their decay (MPa), ``radius``
    the yield stress before the step (MPa), ``hi`` isotropic modulus (MPa); 1/MPa.
    """
    gamma = max(guess, 0.0)
    for _ in range(40):
        d_a = 1.0 + gamma * c_a
        d_b = 1.0 + gamma * c_b
        xa = a / d_a
        xb = b / d_b
        q = math.sqrt(1.5 * (xa * xa / 3.0 + xb * xb))
        slope = 1.5 * (xa * xa * c_a / (3.0 * d_a) + xb * xb * c_b / d_b) / (q * q * q)
        slope += 2.0 / 3.0 * hi / radius
        step = (1.0 / q - (1.0 - 2.0 / 3.0 * gamma * hi) / radius) / slope
        gamma -= step
        if abs(step) <= 1.0e-8 * gamma:  # quadratic: the next step is below rounding
            break
    return gamma


@kernel
def _j2_moment(layers: NDArray, history: NDArray, change: float) -> tuple[float, float]:
    """Moment and tangent of J2 layers after a change of curvature (1/mm)."""
    moment = 0.0
    tangent = 0.0
    g = g_before = 0.0
    for i in range(layers.shape[0]):
        y = layers[i, Y]
        ca = layers[i, CA]
        cb = layers[i, CB]
        hk = 2.0 / 3.0 * layers[i, HK]
        strain = y * change / _R2
        ta = history[i, 0] + ca * strain
        tb = history[i, 1] + cb * strain
        a = ta - history[i, 2]
        b = tb - history[i, 3]
        radius = layers[i, YIELD] + layers[i, HI] * history[i, 4]
        if 1.5 * (a * a / 3.0 + b * b) <= radius * radius:
            stress = (ta + tb) / _R2
            slope = 0.5 * (ca + cb)
        else:
            hi = layers[i, HI]
            c_a = hk + ca / 3.0
            c_b = hk + cb
            guess = 2.0 * g - g_before  # the multiplier varies smoothly with height
            g_before = g
            g = _multiplier(a, b, c_a, c_b, radius, hi, guess)
            d_a = 1.0 + g * c_a
            d_b = 1.0 + g * c_b
            xa = a / d_a
            xb = b / d_b
            shrink = 1.0 - 2.0 / 3.0 * g * hi
            now = radius / shrink
            down = xa * xa * c_a / (3.0 * d_a) + xb * xb * c_b / d_b
            down += 2.0 / 3.0 * now * now * 2.0 / 3.0 * hi / shrink
            dg = (xa * ca / (3.0 * d_a) + xb * cb / d_b) / (_R2 * down)
            grow = 1.0 + hk * g
            stress = (grow * (xa + xb) + history[i, 2] + history[i, 3]) / _R2
            dxa = ca / (_R2 * d_a) - xa * c_a / d_a * dg
            dxb = cb / (_R2 * d_b) - xb * c_b / d_b * dg
            slope = (grow * (dxa + dxb) + hk * (xa + xb) * dg) / _R2
        moment += layers[i, W] * y * stress
        tangent += layers[i, W] * y * y * slope
    return 2.0 * moment, 2.0 * tangent


@kernel
def _j2_commit(
    layers: NDArray, history: NDArray, change: float
) -> tuple[float, float, float, float]:
    """Advance J2 layers; moment, plastic work, elastic range of curvature change."""
    moment = 0.0
    work = 0.0
    lowest = -_UNBOUNDED
    highest = _UNBOUNDED
    for i in range(layers.shape[0]):
        y = layers[i, Y]
        ca = layers[i, CA]
        cb = layers[i, CB]
        hi = layers[i, HI]
        hk = 2.0 / 3.0 * layers[i, HK]
        strain = y * change / _R2
        sa = history[i, 0] + ca * strain
        sb = history[i, 1] + cb * strain
        a = sa - history[i, 2]
        b = sb - history[i, 3]
        radius = layers[i, YIELD] + hi * history[i, 4]
        if 1.5 * (a * a / 3.0 + b * b) > radius * radius:
            g = _multiplier(a, b, hk + ca / 3.0, hk + cb, radius, hi, 0.0)
            a /= 1.0 + g * (hk + ca / 3.0)
            b /= 1.0 + g * (hk + cb)
            radius /= 1.0 - 2.0 / 3.0 * g * hi
            history[i, 2] += hk * g * a
            history[i, 3] += hk * g * b
            history[i, 4] += 2.0 / 3.0 * g * radius
            sa = a + history[i, 2]
            sb = b + history[i, 3]
            mean = 0.5 * ((history[i, 0] + sa) * a / 3.0 + (history[i, 1] + sb) * b)
            work += layers[i, W] * g * mean
        history[i, 0] = sa
        history[i, 1] = sb
        moment += layers[i, W] * y * (sa + sb) / _R2
        # elastic range: |xi + C d|^2 meets the yield ellipse, a quadratic in d
        da = ca * y / _R2
        db = cb * y / _R2
        square = da * da / 3.0 + db * db
        cross = a * da / 3.0 + b * db
        inside = min(a * a / 3.0 + b * b - 2.0 / 3.0 * radius * radius, 0.0)
        root = math.sqrt(cross * cross - square * inside)
        lowest = max(lowest, (-cross - root) / square)
        highest = min(highest, (-cross + root) / square)
    return 2.0 * moment, 2.0 * work, lowest, highest


@kernel
def _uniaxial_moment(
    layers: NDArray, history: NDArray, change: float
) -> tuple[float, float]:
    """Moment and tangent of one-dimensional layers after a change of curvature."""
    moment = 0.0
    tangent = 0.0
    for i in range(layers.shape[0]):
        y = layers[i, Y]
        slope = layers[i, CA]
        stress = history[i, 0] + slope * y * change
        over = stress - history[i, 2]
        radius = layers[i, YIELD] + layers[i, HI] * history[i, 4]
        if abs(over) > radius:
            hard = layers[i, HI] + layers[i, HK]
            flow = (abs(over) - radius) / (slope + hard)
            stress -= math.copysign(slope * flow, over)
            slope *= hard / (slope + hard)
        moment += layers[i, W] * y * stress
        tangent += layers[i, W] * y * y * slope
    return 2.0 * moment, 2.0 * tangent


@kernel
def _uniaxial_commit(
    layers: NDArray, history: NDArray, change: float
) -> tuple[float, float, float, float]:
    """Advance one-dimensional layers; see ``_j2_commit``."""
    moment = 0.0
    work = 0.0
    lowest = -_UNBOUNDED
    highest = _UNBOUNDED
    for i in range(layers.shape[0]):
        y = layers[i, Y]
        slope = layers[i, CA]
        before = history[i, 0]
        stress = before + slope * y * change
        over = stress - history[i, 2]
        radius = layers[i, YIELD] + layers[i, HI] * history[i, 4]
        if abs(over) > radius:
            hard = layers[i, HI] + layers[i, HK]
            flow = math.copysign((abs(over) - radius) / (slope + hard), over)
            stress -= slope * flow
            history[i, 2] += layers[i, HK] * flow
            history[i, 4] += abs(flow)
            radius += layers[i, HI] * abs(flow)
            work += layers[i, W] * 0.5 * (before + stress) * flow
        history[i, 0] = stress
        moment += layers[i, W] * y * stress
        over = stress - history[i, 2]
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
    layers: NDArray, history: NDArray, change: float
) -> tuple[float, float]:
    """Moment and tangent of the piecewise linear stress profile, in closed form."""
    slope = layers[0, CA]
    hard = layers[0, HI] + layers[0, HK]
    count = int(history[0, 4])
    moment = 0.0
    tangent = 0.0
    for i in range(count - 1):
        y0, y1 = history[i, 0], history[i + 1, 0]
        s0 = history[i, 1] + slope * y0 * change
        s1 = history[i + 1, 1] + slope * y1 * change
        x0, x1 = s0 - history[i, 2], s1 - history[i + 1, 2]
        r0, r1 = history[i, 3], history[i + 1, 3]
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
    scratch: NDArray, count: int, y: float, s: float, b: float, r: float, tol: float
) -> int:
    """Append a breakpoint; one that lies on the line of its neighbours goes first."""
    if count >= 2:
        y0, y1 = scratch[count - 2, 0], scratch[count - 1, 0]
        share = (y1 - y0) / (y - y0)
        straight = True
        for k in range(1, 4):
            new = s if k == 1 else (b if k == 2 else r)
            line = scratch[count - 2, k] + share * (new - scratch[count - 2, k])
            straight = straight and abs(line - scratch[count - 1, k]) <= tol
        if straight:
            count -= 1
    scratch[count, 0] = y
    scratch[count, 1] = s
    scratch[count, 2] = b
    scratch[count, 3] = r
    return count + 1


@kernel
def _drop_flattest(scratch: NDArray, count: int) -> int:
    """Remove the breakpoint that bends the stress profile least."""
    best = 1
    least = _UNBOUNDED
    for i in range(1, count - 1):
        y0, y1, y2 = scratch[i - 1, 0], scratch[i, 0], scratch[i + 1, 0]
        share = (y1 - y0) / (y2 - y0)
        line = scratch[i - 1, 1] + share * (scratch[i + 1, 1] - scratch[i - 1, 1])
        bend = abs(line - scratch[i, 1]) * (y2 - y0) * y1
        if bend < least:
            least = bend
            best = i
    for i in range(best, count - 1):
        for k in range(4):
            scratch[i, k] = scratch[i + 1, k]
    return count - 1


@kernel
def _profile_commit(
    layers: NDArray, history: NDArray, change: float, scratch: NDArray
) -> tuple[float, float, float, float]:
    """Advance the stress profile; see ``_j2_commit``. ``scratch`` (48, 4)."""
    slope = layers[0, CA]
    hard = layers[0, HI] + layers[0, HK]
    tol = 1.0e-10 * layers[0, YIELD]
    count = int(history[0, 4])
    scratch[0, 0] = 0.0
    scratch[0, 1] = 0.0
    scratch[0, 2] = 0.0
    scratch[0, 3] = history[0, 3]
    points = 1
    work = 0.0
    for i in range(count - 1):
        y0, y1 = history[i, 0], history[i + 1, 0]
        o0, o1 = history[i, 1], history[i + 1, 1]
        s0, s1 = o0 + slope * y0 * change, o1 + slope * y1 * change
        b0, b1 = history[i, 2], history[i + 1, 2]
        r0, r1 = history[i, 3], history[i + 1, 3]
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
            b += layers[0, HK] * flow
            r += layers[0, HI] * abs(flow)
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
    while points > history.shape[0]:
        points = _drop_flattest(scratch, points)
    moment = 0.0
    lowest = -_UNBOUNDED
    highest = _UNBOUNDED
    for i in range(points):
        for k in range(4):
            history[i, k] = scratch[i, k]
        if i > 0:
            ya, yb = scratch[i - 1, 0], scratch[i, 0]
            moment += (
                (yb - ya)
                / 6.0
                * (scratch[i - 1, 1] * (2 * ya + yb) + scratch[i, 1] * (ya + 2 * yb))
            )
            over = scratch[i, 1] - scratch[i, 2]
            highest = min(highest, (scratch[i, 3] - over) / (slope * yb))
            lowest = max(lowest, (-scratch[i, 3] - over) / (slope * yb))
    history[0, 4] = points
    return 2.0 * moment, 2.0 * work, lowest, highest


@kernel
def section_moment(
    law: int, layers: NDArray, history: NDArray, change: float
) -> tuple[float, float]:
    """Moment (N mm/mm) and tangent (N mm) after a change of curvature; no state moves.

    Parameters
    ----------
    law : code of the law
    layers : (rows, 7) height, weight (mm), elastic eigenvalues, yield, hardening (MPa)
    history : (rows, 5) history of one element
    change : curvature since the history was committed, 1/mm
    """
    if law == J2_PLANE_STRAIN:
        return _j2_moment(layers, history, change)
    if law == UNIAXIAL:
        return _uniaxial_moment(layers, history, change)
    return _profile_moment(layers, history, change)


@kernel
def section_commit(
    law: int, layers: NDArray, history: NDArray, change: float, scratch: NDArray
) -> tuple[float, float, float, float]:
    """Move the history by a change of curvature.

    Returns the moment (N mm/mm), the plastic work per length (N mm/mm/mm, by mean
    stress) and the range of further change in which the section stays elastic (1/mm).
    """
    if law == J2_PLANE_STRAIN:
        return _j2_commit(layers, history, change)
    if law == UNIAXIAL:
        return _uniaxial_commit(layers, history, change)
    return _profile_commit(layers, history, change, scratch)


@kernel
def free_curvature(
    law: int, layers: NDArray, history: NDArray, guess: float, elastic: float
) -> float:
    """Change of curvature (1/mm) that takes the moment off where unloading yields.

    ``guess`` (1/mm) is the elastic answer, ``elastic`` the bending stiffness (N mm).
    """
    change = guess
    for _ in range(60):
        m, slope = section_moment(law, layers, history, change)
        step = m / max(slope, 1.0e-6 * elastic)
        change -= step
        if abs(step) <= 1.0e-12 * abs(change):
            break
    return change

"""The steady span on soft contacts, with a sheet that shears: no limit needed.

``steady_span`` has rigid rolls that touch in points and a sheet rigid in shear. The
stepped solver has a foundation under each roll and a sheet that shears. A foundation
clips the peak of the moment over its patch, shear lets the sheet kink at a point load
so that a patch remains even on rigid rolls, and 1 % of moment is 5 to 10 % of residual
radius. Here the steady equations are given both, so that the two methods must agree at
every stiffness. With ``t``, ``n`` the section's axes, ``cross(a, b) = ax by - ay bx``

    X' = (1 + N.t / EA) t + (N.n / GA) n        EA = E' t,  GA = 5/6 G t
    M' = -cross(X', N)
    N' = -p u,  p = k max(0, r + t/2 - distance),  u from the roll's axis to the sheet

(directed rod: E. Reissner, J. Appl. Math. Phys. 23 (1972) 795-804). They are solved by
collocation (``scipy.integrate.solve_bvp``) on three pieces, each over 0..1: from the
first touch of the lower roll to the nip line, on to the largest moment, on to the rear
roll. Unknown besides the states: drive, the three lengths, residual curvature. The
rear roll, where there is no moment to clip, stays a point; its force is normal to the
mean of the mid-line's two directions there, the only choice that does no work.

A solution is followed from an elastic span, where both ways are one, by raising first
the lift and then the stiffness, in steps that are halved where collocation fails.
Nothing comes from the stepped solver.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.integrate import solve_bvp
from steady_span import TO_REAR, Span, Steady, point_contact, span_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pinchline.case.case import Case

    Vector = NDArray[np.float64]

ELASTIC_LIFT = 7.0  # mm: 1 mm sheet on the bench-60 bends elastically there
STRIDE = 2.0  # mm of lift at a time
SOFTEST = 0.25  # of E'/t: where the climb of stiffness begins
X, Y, THETA, KAPPA, NX, NY = range(6)
FIRST, SECOND, THIRD = slice(0, 6), slice(6, 12), slice(12, 18)
DRIVE, L1, L2, L3, RESIDUAL = range(5)
TOLERANCE = 1.0e-4  # of collocation, relative
ROUND = 1.0e-5  # mm of depth over which the edge of a patch is rounded
SMALLEST = 1.0 / 64.0  # part of a step
MESH = np.unique(np.r_[np.linspace(0.0, 1.0, 61), np.geomspace(5.0e-4, 0.1, 60)])


@dataclass(frozen=True)
class Sheet:
    """Span at a lift and what gives in it, per mm of width.

    Attributes
    ----------
    span : rolls and section
    way : ``TO_REAR`` or ``TO_OPERATOR``
    axial, shear : EA and GA, N/mm; infinite for a rigid sheet
    foundation : of upper and lower roll, MPa/mm
    """

    span: Span
    way: int
    axial: float
    shear: float
    foundation: float

    def along(self, state: Vector) -> tuple[Vector, Vector]:
        """X' of states (6, ...)."""
        c, s = np.cos(state[THETA]), np.sin(state[THETA])
        stretch = 1.0 + (state[NX] * c + state[NY] * s) / self.axial
        slip = (state[NY] * c - state[NX] * s) / self.shear
        return stretch * c - slip * s, stretch * s + slip * c

    def rates(self, state: Vector, *, virgin: bool) -> Vector:
        """Derivatives of states (6, points) by s."""
        span = self.span
        dx, dy = self.along(state)
        turn = dy * state[NX] - dx * state[NY]
        bending: Vector | float = span.bending
        if virgin:
            c = np.maximum(state[KAPPA] * span.bending / span.yield_moment, 1.0)
            bending = span.bending * ((1.0 - span.hardening) / c**3 + span.hardening)
        push = np.zeros((2, state.shape[1]))
        for ax, ay, reach in (span.upper, span.lower):
            away = np.hypot(state[X] - ax, state[Y] - ay)
            depth = reach - away
            edge = np.clip(depth + ROUND, 0.0, 2.0 * ROUND)
            depth = np.where(depth > ROUND, depth, edge**2 / (4.0 * ROUND))
            press = self.foundation * depth / away
            push += press * np.array([state[X] - ax, state[Y] - ay])
        return np.array([dx, dy, state[KAPPA], turn / bending, -push[0], -push[1]])

    def misses(self, a: Vector, b: Vector, parameters: Vector) -> Vector:
        """Conditions at the starts ``a`` and ends ``b`` of the three pieces, (23)."""
        span, residual = self.span, parameters[RESIDUAL]
        first, nip, top, end = a[FIRST], b[FIRST], b[SECOND], b[THIRD]
        ends = (0.0, residual) if self.way == TO_REAR else (residual, 0.0)
        touch = math.hypot(first[X] - span.lower[0], first[Y] - span.lower[1])
        start = [touch - span.lower[2], first[KAPPA] - ends[0], first[NX], first[NY]]
        jump = a[SECOND] - nip
        jump[NX] += parameters[DRIVE]
        dx, dy = self.along(top)
        peak = top[KAPPA]
        joint = [dy * top[NX] - dx * top[NY]]
        joint.append((peak - residual) * span.bending - span.moment(peak))
        dx, dy = self.along(end)
        mx, my = 0.5 * (dx + math.cos(end[THETA])), 0.5 * (dy + math.sin(end[THETA]))
        size = math.hypot(mx, my)
        ax, ay = end[X] - span.rear[0], end[Y] - span.rear[1]
        rear = [(ax * mx + ay * my) / size, (ay * mx - ax * my) / size - span.rear[2]]
        rear += [end[KAPPA] - ends[1], end[NX] * mx + end[NY] * my]
        return np.array([*start, nip[X], *jump, *(a[THIRD] - top), *joint, *rear])


class Curve(NamedTuple):
    """A solution on the mesh: states of the three pieces (18), parameters (5)."""

    states: Vector
    parameters: Vector


def _sheet(case: Case, way: int, lift: float, contact: float, *, shear: bool) -> Sheet:
    material, t = case.sheet.material, case.sheet.thickness
    youngs, nu = material.youngs_modulus, material.poisson_ratio
    stiff = youngs / (1.0 - nu**2)
    slip = 5.0 / 6.0 * youngs / (2.0 * (1.0 + nu)) * t
    gives = (stiff * t, slip) if shear else (math.inf, math.inf)
    return Sheet(span_of(case, lift), way, *gives, contact * stiff / t)


def _collocate(sheet: Sheet, guess: Curve) -> Curve | None:
    """Solution near a guess, or None."""
    first = sheet.way == TO_REAR

    def rates(_: Vector, y: Vector, p: Vector) -> Vector:
        one = p[L1] * sheet.rates(y[FIRST], virgin=first)
        two = p[L2] * sheet.rates(y[SECOND], virgin=first)
        three = p[L3] * sheet.rates(y[THIRD], virgin=not first)
        return np.vstack([one, two, three])

    limits = {"tol": TOLERANCE, "bc_tol": 1.0e-8, "max_nodes": 1500}
    with np.errstate(all="ignore"):
        found = solve_bvp(rates, sheet.misses, MESH, *guess, **limits)
    forward = sheet.way * found.p[DRIVE] > -1.0e-3
    if found.status != 0 or not forward or np.min(found.p[L1:RESIDUAL]) <= 0.0:
        return None
    return Curve(found.sol(MESH), found.p)


def _first_guess(sheet: Sheet, points: Vector) -> Curve:
    """Elastic span on points, pressed into the rolls by a parabola of pressure."""
    span = sheet.span
    tilt, lower, _, upper, l1, l2, l3, _ = points.tolist()
    arm, peak = l1 + l2, lower * (l1 + l2) / span.bending
    load = 0.75 * lower / sheet.foundation
    depth = (load / math.sqrt(2.0 * span.lower[2])) ** (2.0 / 3.0)
    half = math.sqrt(2.0 * span.lower[2] * depth)
    lengths = np.array([l1 + half, l2, l3])
    starts = np.array([-half, l1, arm])
    s = starts[:, None] + lengths[:, None] * MESH
    kappa = np.interp(s, [0.0, arm, arm + l3], [0.0, peak, 0.0])
    fine = np.linspace(-half, arm + l3, 20001)
    step = fine[1] - fine[0]
    slope = tilt + step * np.cumsum(np.interp(fine, [0, arm, arm + l3], [0, peak, 0]))
    x, y = step * np.cumsum(np.cos(slope)), step * np.cumsum(np.sin(slope))
    x += span.lower[0] - span.lower[2] * math.sin(tilt) - np.interp(0.0, fine, x)
    y += span.lower[1] + span.lower[2] * math.cos(tilt) - np.interp(0.0, fine, y)
    y += np.interp(fine, [0.0, arm, arm + l3], [-depth, depth, 0.0])
    theta = np.interp(s, fine, slope)
    pull = lower * np.clip(0.5 + 0.5 * s / half, 0.0, 1.0)
    pull -= upper * np.clip(0.5 + 0.5 * (s - arm) / half, 0.0, 1.0)
    rows = (
        np.interp(s, fine, x),
        np.interp(s, fine, y),
        theta + pull / sheet.shear,
        kappa,
        pull * np.sin(theta),
        -pull * np.cos(theta),
    )
    states = np.swapaxes(np.array(rows), 0, 1).reshape(18, -1)
    return Curve(states, np.array([0.0, *lengths, 0.0]))


def _follow(before: Sheet, after: Sheet, curve: Curve) -> Curve:
    """Solution of ``after``, reached from that of ``before``."""
    done, share = 0.0, 1.0
    rear0, rear1 = np.array(before.span.rear), np.array(after.span.rear)
    ratio = after.foundation / before.foundation
    while done < 1.0:
        to = min(1.0, done + share)
        x, y, reach = (rear0 + to * (rear1 - rear0)).tolist()
        span = replace(after.span, rear=(x, y, reach))
        firm = before.foundation * ratio**to
        found = _collocate(replace(after, span=span, foundation=firm), curve)
        if found is not None:
            curve, done = found, to
            continue
        share *= 0.5
        if share < SMALLEST:
            message = f"no steady span with the rear roll at {x:.3f}, {y:.3f} mm"
            raise ArithmeticError(message)
    return curve


def soft_contact(
    case: Case, way: int, lift: float, contacts: Sequence[float], *, shear: bool = True
) -> list[Steady]:
    """Steady passes with a foundation under upper and lower roll.

    Parameters
    ----------
    case : sheet and machine; its moves do not matter
    way : ``TO_REAR`` or ``TO_OPERATOR``
    lift : of the rear roll, mm
    contacts : rising stiffnesses of the foundation as multiples of E'/t
    shear : False takes a sheet rigid in shear and along itself
    """
    here = _sheet(case, way, ELASTIC_LIFT, SOFTEST, shear=shear)
    points = point_contact(case, TO_REAR, ELASTIC_LIFT).unknowns
    curve = _collocate(here, _first_guess(here, points))
    if curve is None:
        message = "no elastic span to start from"
        raise ArithmeticError(message)
    count = 1 + math.ceil((lift - ELASTIC_LIFT) / STRIDE)
    stages = [(float(h), SOFTEST) for h in np.linspace(ELASTIC_LIFT, lift, count)]
    firm = SOFTEST
    while firm < contacts[-1]:
        firm = min([2.0 * firm, *(k for k in contacts if k > firm)])
        stages.append((lift, firm))
    passes = []
    for height, firm in stages[1:]:
        there = _sheet(case, way, height, firm, shear=shear)
        curve = _follow(here, there, curve)
        here = there
        if height == lift and firm in contacts:
            passes.append(_steady(here, curve))
    return passes


def _steady(sheet: Sheet, curve: Curve) -> Steady:
    states, p = curve
    nip, driven = states[FIRST, -1], states[SECOND, 0]
    peak, end = float(states[6 + KAPPA, -1]), states[THIRD, -1]
    moved = 0.5 * (sheet.along(nip)[0] + sheet.along(driven)[0])
    upper = end - driven
    return Steady(
        residual=float(p[RESIDUAL]),
        peak=peak,
        moment=sheet.span.moment(peak),
        drive=float(p[DRIVE]),
        power=float(p[DRIVE] * moved),
        spent=sheet.span.spent(peak),
        force_lower=math.hypot(nip[NX], nip[NY]),
        force_upper=math.hypot(upper[NX], upper[NY]),
        force_rear=math.hypot(end[NX], end[NY]),
    )

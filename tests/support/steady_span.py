"""The steady pass as a boundary-value problem: a second solution of its own.

Nothing here comes from the stepped solver: the equations are written down anew, for
places in the machine instead of points of the sheet, and solved by shooting with scipy.
Only inputs are shared (the case, and where the rear axis stands).

Steady means that every point of the sheet takes the same path, so that curvature is a
function of place. ``s`` runs along the mid-line from the lower to the rear roll,
``X = (x, y)`` is the mid-line, ``theta`` the tilt of the section with tangent ``t`` and
normal ``n``, ``kappa = theta'``, ``N`` the force of the rear side on the operator's
side, ``M`` the moment, ``cross(a, b) = ax by - ay bx``. The directed rod (E. Reissner,
J. Appl. Math. Phys. 23 (1972) 795-804):

    X' = t
    M' = -cross(X', N)
    N constant between the rolls, which push normal to the mid-line: no friction

with a drive ``(D, 0)`` on the mid-line at ``x = 0``, where ``N`` jumps by ``-(D, 0)``.
Sheet that comes in is straight and virgin. It follows the virgin law up to the one
place of largest moment and unloads elastically after it, so that ``kappa =
kappa_residual + M / E'I`` there. Fed to the rear the virgin side is the operator's
side of that place, fed to the operator it is the rear side. Beyond the outer contacts
the sheet is free: ``M = 0``, ``N = 0``.

Virgin law, bilinear in plane strain (W. Prager, P. G. Hodge, Theory of Perfectly
Plastic Solids, 1951, for the core; the linear term is the hardening): with ``c`` the
curvature over that of first yield and ``h`` the slope after yield over ``E'``,

    M / My = c  (c <= 1),   (1 - h)(1.5 - 0.5 / c^2) + h c  (c > 1)

The rolls are rigid and touch in one point each; the sheet is rigid in shear and along
itself, so that N enters the moment alone.

Power: contacts do no work, so the drive pays for plastic work and locked stress alone,
``D x' = integral of M dkappa along the path`` at the nip line. No equation above
uses this; the tests do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case

    Vector = NDArray[np.float64]

TO_REAR, TO_OPERATOR = 1, -1
TOLERANCE = 1.0e-10
OPEN = 1.0e-5  # mm, or of My: ten times that in radius, a hundredth of what is tested


@dataclass(frozen=True)
class Span:
    """Sheet and rolls of a span, per mm of width.

    Attributes
    ----------
    bending : E'I, N mm
    yield_moment : My, N mm/mm
    hardening : slope after yield over E'
    upper, lower, rear : axis x, y and distance of the mid-line from it, mm
    clearance : of the nip, mm
    """

    bending: float
    yield_moment: float
    hardening: float
    upper: tuple[float, float, float]
    lower: tuple[float, float, float]
    rear: tuple[float, float, float]
    clearance: float

    def moment(self, curvature: float) -> float:
        """Moment of the virgin sheet, N mm/mm."""
        c = curvature * self.bending / self.yield_moment
        if c <= 1.0:
            return self.bending * curvature
        h = self.hardening
        return self.yield_moment * ((1.0 - h) * (1.5 - 0.5 / c**2) + h * c)

    def tangent(self, curvature: float) -> float:
        """Slope of the virgin law, N mm."""
        c = curvature * self.bending / self.yield_moment
        h = self.hardening
        return self.bending * (1.0 if c <= 1.0 else (1.0 - h) / c**3 + h)

    def spent(self, curvature: float) -> float:
        """Loop of M over kappa, virgin to ``curvature``, elastic back; N mm/mm/mm."""
        c = curvature * self.bending / self.yield_moment
        if c <= 1.0:
            return 0.0
        h = self.hardening
        loaded = 0.5 + (1.0 - h) * (1.5 * c + 0.5 / c - 2.0) + 0.5 * h * (c**2 - 1.0)
        back = 0.5 * (self.moment(curvature) / self.yield_moment) ** 2
        return self.yield_moment**2 / self.bending * (loaded - back)


@dataclass(frozen=True)
class Steady:
    """A steady pass.

    Attributes
    ----------
    residual, peak : residual and largest loaded curvature, 1/mm
    moment : largest moment, N mm/mm
    drive : force D toward the rear, N/mm
    power : D x' at the nip line, work of the drive per mm of feed, N mm/mm/mm
    spent : loop of M over kappa, N mm/mm/mm
    force_lower, force_upper, force_rear : of the rolls, N/mm
    """

    residual: float
    peak: float
    moment: float
    drive: float
    power: float
    spent: float
    force_lower: float
    force_upper: float
    force_rear: float

    @property
    def radius(self) -> float:
        """Residual radius, mm."""
        return 1.0 / self.residual


@dataclass(frozen=True)
class PointSteady(Steady):
    """A steady pass on points; ``unknowns`` of the shooting start a neighbour."""

    unknowns: Vector


class End(NamedTuple):
    """State at a place: X, theta, kappa, N."""

    x: float
    y: float
    theta: float
    kappa: float
    nx: float
    ny: float


def span_of(case: Case, lift: float) -> Span:
    """Span of a case at a lift, mm."""
    material, machine, t = case.sheet.material, case.machine, case.sheet.thickness
    youngs, nu = material.youngs_modulus, material.poisson_ratio
    stiff = youngs / (1.0 - nu**2)
    plastic = 4.0 / 3.0 * youngs * material.tangent_modulus
    plastic /= youngs - material.tangent_modulus
    rolls, opening = machine.rolls, t + machine.nip.clearance
    slide = machine.rear.slide_angle
    x = machine.rear.distance - lift * math.cos(slide)
    y = -rolls.rear_radius - t / 2.0 + lift * math.sin(slide)
    return Span(
        bending=stiff * t**3 / 12.0,
        yield_moment=2.0 / math.sqrt(3.0) * material.yield_strength * t**2 / 6.0,
        hardening=plastic / (stiff + plastic),
        upper=(0.0, rolls.upper_radius + opening / 2.0, rolls.upper_radius + t / 2.0),
        lower=(0.0, -rolls.lower_radius - opening / 2.0, rolls.lower_radius + t / 2.0),
        rear=(x, y, rolls.rear_radius + t / 2.0),
        clearance=machine.nip.clearance,
    )


def _march(span: Span, start: End, length: float, *, virgin: bool) -> tuple[End, float]:
    """Integrate over a length (mm); the end, and the change of M (N mm/mm)."""
    nx, ny = start.nx, start.ny

    def slope(_: float, state: Vector) -> list[float]:
        _, _, theta, kappa, _ = state.tolist()
        c, s = math.cos(theta), math.sin(theta)
        turn = s * nx - c * ny
        bending = span.tangent(kappa) if virgin else span.bending
        return [length * rate for rate in (c, s, kappa, turn / bending, turn)]

    run = solve_ivp(
        slope,
        (0.0, 1.0),
        [start.x, start.y, start.theta, start.kappa, 0.0],
        method="DOP853",
        rtol=TOLERANCE,
        atol=1e-11,
    )
    x, y, theta, kappa, gain = run.y[:, -1].tolist()
    return End(x, y, theta, kappa, nx, ny), gain


def _on_roll(
    at: End, roll: tuple[float, float, float], side: float
) -> tuple[float, float]:
    """Misses (mm) of tangency and of the distance ``roll[2]``; ``side`` 1 above it."""
    c, s = math.cos(at.theta), math.sin(at.theta)
    ax, ay = at.x - roll[0], at.y - roll[1]
    return ax * c + ay * s, side * (ay * c - ax * s) - roll[2]


@dataclass(frozen=True)
class _Shot:
    """One trial: misses of all conditions, and the solution if they vanish."""

    misses: list[float]
    steady: PointSteady


def _shoot(span: Span, way: int, unknowns: Vector) -> _Shot:
    """March from the lower to the rear roll.

    Unknowns: tilt at the lower roll; its force; drive; force of the upper roll; lengths
    to the nip line, to the upper roll, to the rear roll; residual curvature.
    """
    tilt, force, drive, force_upper, l1, l2, l3, residual = unknowns.tolist()
    ax, ay, reach = span.lower
    first = way == TO_REAR
    start = End(
        ax - reach * math.sin(tilt),
        ay + reach * math.cos(tilt),
        tilt,
        0.0 if first else residual,
        force * math.sin(tilt),
        -force * math.cos(tilt),
    )
    nip, gain = _march(span, start, l1, virgin=first)
    top, more = _march(span, nip._replace(nx=nip.nx - drive), l2, virgin=first)
    moment = gain + more
    c, s = math.cos(top.theta), math.sin(top.theta)
    misses = [*_on_roll(top, span.upper, -1.0), nip.x]
    peak = top.kappa
    miss = (peak - residual) * span.bending - span.moment(peak)
    misses.append(miss / span.yield_moment)
    beyond = top._replace(nx=top.nx - force_upper * s, ny=top.ny + force_upper * c)
    end, less = _march(span, beyond, l3, virgin=not first)
    misses += _on_roll(end, span.rear, 1.0)
    c, s = math.cos(end.theta), math.sin(end.theta)
    misses.append((moment + less) / span.yield_moment)
    misses.append((end.nx * c + end.ny * s) * l3 / span.yield_moment)
    steady = PointSteady(
        residual=residual,
        peak=peak,
        moment=moment,
        drive=drive,
        power=drive * math.cos(nip.theta),
        spent=span.spent(peak),
        force_lower=force,
        force_upper=force_upper,
        force_rear=math.hypot(end.nx, end.ny),
        unknowns=unknowns,
    )
    return _Shot(misses, steady)


def _solve(span: Span, way: int, guess: Vector) -> PointSteady:
    scale = np.maximum(np.abs(guess), [1e-3, 1e-3, 1e-2, 1e-2, 0.1, 0.1, 1.0, 1e-3])

    def misses(scaled: Vector) -> list[float]:
        return _shoot(span, way, scaled * scale).misses

    options = {"xtol": 1.0e-9, "eps": 1.0e-9}
    found = root(misses, guess / scale, method="hybr", options=options)
    shot = _shoot(span, way, found.x * scale)
    worst = max(map(abs, shot.misses))
    if worst > OPEN:
        message = f"no steady span: a condition is open by {worst:.1e}"
        raise ArithmeticError(message)
    return shot.steady


def _first_guess(span: Span) -> Vector:
    """Rigid tilt in the nip, and an elastic overhang beyond it."""
    reach = span.upper[2] + span.lower[2]
    tilt = math.acos(1.0 - span.clearance / (reach + span.clearance))
    arm = reach * tilt
    length = span.rear[0] - arm / 2.0
    rise = span.rear[1] + span.rear[2] - tilt * span.rear[0]
    rear = 3.0 * span.bending * rise / length**3
    lower = rear * length / arm
    return np.array([tilt, lower, 0.0, lower + rear, arm / 2, arm / 2, length, 0.0])


def point_contact(case: Case, way: int, lift: float, start: float = 5.0) -> PointSteady:
    """Steady pass on rigid rolls that touch in points.

    Parameters
    ----------
    case : sheet and machine; its moves do not matter
    way : ``TO_REAR`` or ``TO_OPERATOR``
    lift : of the rear roll, mm
    start : lift from which the solution is followed, mm: there it must be elastic
    """
    span = span_of(case, start)
    steady = _solve(span, way, _first_guess(span))
    for here in np.linspace(start, lift, 1 + math.ceil((lift - start) / 1.5))[1:]:
        steady = _solve(span_of(case, float(here)), way, steady.unknowns)
    return steady

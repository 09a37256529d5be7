"""Demand of a job on grip, crank, screws and rolls, against their ratings.

A new limit is a member of ``LimitKind`` with its ``DemandQuantity`` and its field of
``Demand`` (``case.demand``), a formula in ``_demand`` and a key of the machine card in
``Rating.of``.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from pinchline import units
from pinchline.case.demand import DEMAND_QUANTITIES, Demand, LimitKind
from pinchline.physics.rolls import FORCE_Y, PRESSURE
from pinchline.physics.shaft import middle_compliance
from pinchline.physics.support import GIVE_X, GIVE_Y
from pinchline.solvers.rolls import LOWER, REAR, UPPER
from pinchline.solvers.sheet import GRAVITY
from pinchline.solvers.supports import roll_shaft

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.solvers.stepped.state import State
    from pinchline.units import Dimension

    Array = NDArray[np.float64]


def demand_of(state: State) -> Demand:
    """Demand of the present equilibrium."""
    return of_one_strip(
        state.case,
        pushed_away(state).tolist(),
        state.drive_force,
        grip_margin(state),
    )


def of_one_strip(
    case: Case, pushed: Sequence[float], drive: float, margin: float
) -> Demand:
    """Demand where the whole width does alike; parameters as in ``over_the_width``."""
    width = case.sheet.width
    total = [max(force, 0.0) * width for force in pushed]
    return _demand(case, total, drive * width, [(0.0, pushed[REAR] * width)], margin)


def over_the_width(
    case: Case, z: Array, pushed: Array, drive: Array, margin: Array
) -> Demand:
    """Demand of strips of equal width side by side.

    Parameters
    ----------
    z : middles of the strips, from the middle of the sheet, + to the right (mm)
    pushed : of each strip, the push on upper, lower and rear roll, ``(strips, 3)``
        (N/mm)
    drive, margin : of each strip, its drive and its margin of grip (N/mm)
    """
    share = case.sheet.width / z.size
    total = np.maximum(np.sum(pushed, axis=0), 0.0) * share
    rear = zip(z.tolist(), (pushed[:, REAR] * share).tolist(), strict=True)
    whole = float(np.sum(drive)) * share
    return _demand(case, total.tolist(), whole, list(rear), float(np.mean(margin)))


def _demand(
    case: Case,
    total: list[float],
    drive: float,
    rear: list[tuple[float, float]],
    margin: float,
) -> Demand:
    """Demand of the push on each roll and the drive (N), summed over the width.

    ``rear``: places (mm) and push (N) of the strips on the rear roll.
    """
    machine, width = case.machine, case.sheet.width
    torque, hand = _crank(case, drive)
    screw = _screw_force(case, rear)
    return Demand(
        grip_margin=margin,
        crank_torque=torque,
        hand_force=hand,
        screw_force=screw,
        screw_torque=raising_torque(
            screw,
            machine.rear.screw_pitch,
            machine.rear.screw_diameter,
            machine.rear.screw_friction,
        ),
        pinch_force=max(total[UPPER], total[LOWER]),
        roll_deflection=_deflection(case, [force / width for force in total]),
    )


def pushed_away(state: State) -> NDArray[np.float64]:
    """Force with which the sheet pushes each roll the way it gives, N/mm."""
    away = state.supports[:, GIVE_X : GIVE_Y + 1]
    pushed: NDArray[np.float64] = -np.sum(state.forces[:, : FORCE_Y + 1] * away, axis=1)
    return pushed


def grip_margin(state: State) -> float:
    """Friction grip of the pinch rolls less the drive, N/mm."""
    mu = state.case.machine.nip.friction
    grip = float(state.forces[UPPER, PRESSURE] + state.forces[LOWER, PRESSURE])
    return mu * grip - abs(state.drive_force)


def _crank(case: Case, drive: float) -> tuple[float, float]:
    """Torque at the crank (N mm) and force at its handle (N) by the whole drive (N).

    NaN without a crank.
    """
    crank = case.machine.crank
    if crank is None:
        return math.nan, math.nan
    rolls = case.machine.rolls
    at_rolls = abs(drive) * 0.5 * (rolls.upper_radius + rolls.lower_radius)
    torque = at_rolls / (crank.gear_ratio * crank.efficiency)
    return torque, torque / crank.radius


def _screw_force(case: Case, rear: list[tuple[float, float]]) -> float:
    """Force (N) on the more loaded screw of the rear roll: half, or by the lever."""
    shaft = case.machine.rolls.shaft
    right = left = 0.0
    for z, force in rear:
        share = 0.5
        if shaft is not None:
            share += (z + case.sheet.off_centre) / shaft.span
        right += force * share
        left += force * (1.0 - share)
    return max(0.0, right, left)


def _deflection(case: Case, pushed: list[float]) -> float:
    """Deflection (mm) of the roll that deflects most; NaN where no shaft is told.

    ``pushed (3)``: mean over the sheet's width of the push on each roll, N/mm.
    """
    if case.machine.rolls.shaft is None:
        return math.nan
    place = (case.sheet.width, case.sheet.off_centre)
    return max(
        force * _compliance(roll_shaft(case.machine, roll), *place)
        for roll, force in enumerate(pushed)
    )


_compliance = lru_cache(maxsize=64)(middle_compliance)  # asked for in every step


def raising_torque(
    force: float, pitch: float, diameter: float | None, friction: float
) -> float:
    """Torque (N mm) that raises a load by a square-threaded screw; NaN without thread.

    ``T = F d/2 (l + pi f d) / (pi d - f l)``, mean diameter ``d``, lead ``l`` (J. E.
    Shigley and C. R. Mischke, Mechanical Engineering Design, power screws; from
    memory). The collar's friction is left out.
    """
    if diameter is None:
        return math.nan
    turn = math.pi * diameter
    return (
        force * diameter / 2.0 * (pitch + friction * turn) / (turn - friction * pitch)
    )


class SteadyForces(Protocol):
    """Forces of a steady pass: drive, sum of the pinch pressures, push, all N/mm."""

    @property
    def drive(self) -> float:
        """Force that drives the sheet."""

    @property
    def grip(self) -> float:
        """Sum of the pressures of both pinch rolls."""

    @property
    def pushed(self) -> NDArray[np.float64]:
        """Push on upper, lower and rear roll, ``(3,)``."""


def demand_of_pass(case: Case, steady: SteadyForces, peak: float = 1.0) -> Demand:
    """Demand of the whole machine at ``peak`` times the drive of a steady pass."""
    drive = peak * abs(steady.drive)
    margin = case.machine.nip.friction * steady.grip - drive
    return of_one_strip(case, steady.pushed.tolist(), drive, margin)


class Rating(NamedTuple):
    """What machine card and sheet allow; None where they do not say.

    The first ones are named as in ``Demand`` (N, N mm, mm); surface_strain: of the
    sheet; travel: longest lift of the rear roll (mm).
    """

    hand_force: float | None
    screw_force: float | None
    screw_torque: float | None
    pinch_force: float | None
    roll_deflection: float | None
    surface_strain: float | None
    travel: float

    @classmethod
    def of(cls, case: Case) -> Rating:
        """Read the ratings of a case's machine and sheet."""
        machine = case.machine
        crank, shaft = machine.crank, machine.rolls.shaft
        return cls(
            hand_force=crank.max_hand_force if crank else None,
            screw_force=machine.rear.max_screw_force,
            screw_torque=machine.rear.max_screw_torque,
            pinch_force=machine.nip.max_force,
            roll_deflection=shaft.max_deflection if shaft else None,
            surface_strain=case.sheet.material.allowable_strain,
            travel=machine.rear.travel,
        )


class LimitCheck(NamedTuple):
    """Demand on one part of the machine or the sheet beside its rating, if any."""

    kind: LimitKind
    demand: float
    rating: float | None

    @property
    def exceeded(self) -> bool:
        """Whether the demand is more than the rating."""
        return self.rating is not None and self.demand > self.rating

    @property
    def utilisation(self) -> float:
        """Demand over rating; 0 without either, infinite for a rating of 0."""
        if self.rating is None or not self.demand > 0.0:
            return 0.0
        return self.demand / self.rating if self.rating > 0.0 else math.inf


def limit_checks(
    case: Case, demand: Demand, drive: float, slack: float = 0.0
) -> tuple[LimitCheck, ...]:
    """Put a demand beside what the machine is rated for.

    ``drive``: its size (N/mm), which friction has to hold; ``slack``: how far it may
    exceed that (N/mm).
    """
    rating = Rating.of(case)
    grip = LimitCheck(LimitKind.GRIP, drive, drive + demand.grip_margin + slack)
    return (
        grip,
        *(
            LimitCheck(limit, getattr(demand, name), getattr(rating, name))
            for limit, name in _RATED
        ),
    )


_RATED = tuple(
    (q.limit, q.name)
    for q in DEMAND_QUANTITIES
    if q.limit not in (None, LimitKind.GRIP)
)


def first_exceeded(checks: Iterable[LimitCheck]) -> LimitKind | None:
    """First of the limits that is exceeded; None where none is."""
    return next((check.kind for check in checks if check.exceeded), None)


def steady_limit(case: Case, steady: SteadyForces) -> LimitKind | None:
    """First limit that a settled pass of the span solver exceeds, if any."""
    demand = demand_of_pass(case, steady)
    return first_exceeded(limit_checks(case, demand, abs(steady.drive)))


class Excess(NamedTuple):
    """A limit that is exceeded: event, words, the number."""

    kind: LimitKind
    message: str
    value: float


def excesses(state: State, demand: Demand) -> list[Excess]:
    """Limits of the machine that the present equilibrium, with its demand, exceeds."""
    slack = grip_slack(state.case, state.beam.first_yield)
    return exceeded(state.case, demand, abs(state.drive_force), slack)


def grip_slack(case: Case, first_yield: float) -> float:
    """Drive (N/mm) that may exceed the grip: rounding, and what a hand steadies.

    A thousandth of what bends the sheet (``first_yield``: N mm/mm), and the sheet's
    weight where that counts: a sheet that lies loose slides, but nothing slips.
    """
    sheet = case.sheet
    weight = sheet.material.density * GRAVITY * sheet.thickness * sheet.length
    counted = weight if case.model.weight else 0.0
    return 1.0e-3 * first_yield / case.machine.rear.distance + counted


def exceeded(case: Case, demand: Demand, drive: float, slack: float) -> list[Excess]:
    """Limits of the machine that a demand exceeds.

    ``drive``: its size (N/mm); ``slack``: how far it may exceed the grip (N/mm).
    """
    return [
        _excess(check, demand)
        for check in limit_checks(case, demand, drive, slack)
        if check.exceeded
    ]


def _excess(check: LimitCheck, demand: Demand) -> Excess:
    """Say how far a limit is exceeded; of the grip without the slack it is given."""
    quantity = _BY_LIMIT[check.kind]
    value, rating = check.demand, check.rating
    assert rating is not None
    if check.kind is LimitKind.GRIP:
        rating = check.demand + demand.grip_margin
        value = demand.grip_margin
    texts = _told_apart(check.demand, rating, quantity.dimension)
    message = f"{check.kind}: {quantity.excess.format(*texts)}"
    return Excess(check.kind, message, value)


_BY_LIMIT = {q.limit: q for q in DEMAND_QUANTITIES if q.limit is not None}


def _told_apart(value: float, limit: float, dimension: Dimension) -> tuple[str, str]:
    """Give both as text, in as many figures as it takes to see that they differ."""
    value, unit = units.display(value, dimension)
    limit, _ = units.display(limit, dimension)
    for figures in range(3, 13):
        texts = tuple(units.figures(number, figures) for number in (value, limit))
        if texts[0] != texts[1]:
            break
    return f"{texts[0]} {unit}", f"{texts[1]} {unit}"

"""Plane strain, plane stress or between: the bending regime of a sheet's width."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from pinchline.physics.width import NARROW, WIDE, plane_strain_share, searle_number
from pinchline.solvers.rolls import wrap_curvature

if TYPE_CHECKING:
    from pinchline.case.case import Case


class Regime(NamedTuple):
    """How a sheet bends across its width.

    held: share of the width held flat across, 1 in plane strain; searle: the number
    that says so, at ``radius`` (mm); between: neither limit holds and nothing was told.
    """

    held: float
    searle: float
    radius: float
    between: bool


def expected_radius(case: Case, lift: float | None = None) -> float:
    """Radius (mm) of the circle level at the nip that meets the raised rear roll.

    A first estimate of the bend under the rolls; never tighter than the upper roll.
    ``lift``: mm; None takes the highest of the programme.
    """
    rear = case.machine.rear
    if lift is None:
        lift = max((step.lift for step in case.program), default=0.0)
    lift = min(lift, rear.travel)
    bound = 1.0 / wrap_curvature(case.machine, case.sheet.thickness)
    if lift <= 0.0:
        return math.inf
    x = rear.distance - lift * math.cos(rear.slide_angle)
    y = lift * math.sin(rear.slide_angle)
    return max(bound, (x * x + y * y) / (2.0 * y))


def width_regime(case: Case, lift: float | None = None) -> Regime:
    """Choose the regime of a case at a lift (mm): its own, or by the Searle number.

    Below ``NARROW`` the strip is free across, above ``WIDE`` it is held flat. Between
    them the share of the width that is held is that of the elastic strip, stretched to
    meet both limits so that no radius jumps; yielding sharpens it somewhat.
    """
    sheet = case.sheet
    radius = expected_radius(case, lift)
    searle = searle_number(sheet.width, radius, sheet.thickness)
    told = case.model.regime
    if told != "auto":
        return Regime(1.0 if told == "wide" else 0.0, searle, radius, between=False)
    if searle <= NARROW and math.isfinite(radius):
        return Regime(0.0, searle, radius, between=False)
    if searle >= WIDE or math.isinf(radius):
        return Regime(1.0, searle, radius, between=False)
    low, held, high = (
        plane_strain_share(number, sheet.material.poisson_ratio)
        for number in (NARROW, searle, WIDE)
    )
    held = (held - low) / (high - low)
    return Regime(held, searle, radius, between=True)

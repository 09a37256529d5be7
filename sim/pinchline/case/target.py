"""The target of a case: the wanted part, as a drawing specifies it.

What determines the part is one of

- ``radius`` and ``angle``: an arc that turns by so much;
- ``opening`` and ``radius``: the arc of that radius that turns least for the opening;
- ``opening`` and ``angle``: the arc that turns by so much and opens by so much;
- ``profile``: a file with points, curvature or arcs of the whole outline;
- ``nose``: two radii and the blend between them.

Arc and nose have a flat at either edge. ``opening`` beside radius and angle, a profile
or a nose is what the hand closes the finished part to.
"""

from math import ceil, cos, hypot, pi, sin, sqrt
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, model_validator

from pinchline import units
from pinchline.case.fields import (
    Bounds,
    Choice,
    Length,
    LengthOrZero,
    Percentage,
    Quantity,
    Record,
    Text,
    YesNo,
    read,
    refuse,
)
from pinchline.case.outline.points import Curvatures, OutlinePoints
from pinchline.case.outline.profile import read_profile
from pinchline.errors import InputError

SHEET_SIDES = ("inside", "middle", "outside")
TARGET_COMBINATIONS = (
    "radius and angle; or opening with radius or angle; or profile; or a table "
    "[target.nose]"
)
_HALF_ANGLE_TRIALS = 2000  # half angles tried for an opening

_RELATIVE_ROUNDING = 1.0e-9
Side = Annotated[
    Literal["inside", "middle", "outside"], BeforeValidator(Choice(SHEET_SIDES))
]
Turn = Annotated[
    float, BeforeValidator(Quantity("angle", Bounds(above=0.0, below=2.0 * pi)))
]
Tolerance = Annotated[
    float, BeforeValidator(Percentage(Bounds(above=0.0, at_most=0.5)))
]


class Nose(Record):
    """Two arcs that meet, and the blend between them.

    Attributes
    ----------
    radius_operator, radius_rear : of the arc nearer that edge, mm, on the target's side
    angle_operator, angle_rear : by which each turns up to where they meet, rad
    blend : length over which the curvature changes linearly, half of it on either side
        of where they meet, mm; length and turned angle stay what they are without it
    """

    radius_operator: Length
    radius_rear: Length
    angle_operator: Turn
    angle_rear: Turn
    blend: LengthOrZero = 0.0

    @model_validator(mode="after")
    def _fits(self) -> "Nose":
        arcs = (
            self.radius_operator * self.angle_operator,
            self.radius_rear * self.angle_rear,
        )
        if self.blend > 2.0 * min(arcs):
            refuse(
                "the blend is longer than the arcs leave room for",
                key="blend",
                value=units.format(self.blend, "length"),
                allowed=f"up to {2.0 * min(arcs):.4g} mm, twice the shorter arc",
            )
        turned = self.angle_operator + self.angle_rear
        if turned >= 2.0 * pi:
            refuse(
                "the nose closes on itself",
                key="angle_rear",
                value=units.format(self.angle_rear, "angle"),
                allowed="angles that together stay below 360 deg",
            )
        return self


class TargetTable(Record):
    """Keys of ``[target]``."""

    radius: Length | None = None
    angle: Turn | None = None
    opening: Length | None = None
    flat_operator: LengthOrZero | None = None
    flat_rear: LengthOrZero | None = None
    profile: Text | None = None
    nose: Nose | None = None
    side: Side = "middle"
    tolerance_radius: Tolerance = 0.01
    tolerance_opening: Length = 1.0
    tolerance_flat: Length = 1.0
    closing: YesNo = False

    @model_validator(mode="after")
    def _determined(self) -> "TargetTable":
        given = self._given()
        whole = given - {"opening"}
        arcs = {"radius", "angle"}
        if whole not in (arcs, {"profile"}, {"nose"}):
            if not ("opening" in given and whole in ({"radius"}, {"angle"})):
                self._refuse_combination(given)
        elif "opening" in given and not self.closing:
            refuse(
                f"stands beside {' and '.join(sorted(whole))}, which determine the "
                "part: it can only be what the hand closes to",
                key="opening",
                value=units.format(self.opening or 0.0, "length"),
                allowed="closing = true beside it, or leave it out",
            )
        for name in ("flat_operator", "flat_rear"):
            value = getattr(self, name)
            if value is not None and self.profile is not None:
                refuse(
                    "stands beside profile, which holds the flats",
                    key=name,
                    value=units.format(value, "length"),
                    allowed="profile alone",
                )
        return self

    def _given(self) -> set[str]:
        names = ("radius", "angle", "opening", "profile", "nose")
        return {name for name in names if getattr(self, name) is not None}

    def _refuse_combination(self, given: set[str]) -> None:
        if not given:
            message = "does not say what part is wanted"
        elif given <= {"radius", "angle", "opening"}:
            message = f"{' and '.join(sorted(given))} alone do not determine the part"
        else:
            message = f"{' and '.join(sorted(given))} say more than one thing"
        refuse(message, allowed=TARGET_COMBINATIONS)


class Target(TargetTable):
    """The wanted free part.

    Attributes
    ----------
    radius : of the arc, mm, on ``side``
    angle : by which the part turns, rad
    opening : between the edges' mid-lines, mm: of the part, or what the hand closes it
        to (``hand_opening``)
    flat_operator, flat_rear : straight edges, mm; None: as short as the machine leaves
    profile : the file of the outline, as the case names it
    nose : two radii and their blend
    side : of the sheet that radius, nose or profile is measured on
    tolerance_radius : share of the radius; of opening and flats, mm
    closing : whether the hand may close what the rolls leave open
    drawing : what the profile holds
    """

    drawing: OutlinePoints | Curvatures | None = None

    @property
    def hand_opening(self) -> float | None:
        """Opening (mm) that the hand closes a part to that is determined without it."""
        whole = self.radius is None or self.angle is None
        if whole and self.profile is None and self.nose is None:
            return None
        return self.opening

    def to_middle(self, radius: float, thickness: float) -> float:
        """Radius of the mid-line (mm) where ``side`` has ``radius``."""
        half = 0.5 * thickness
        return radius + {"inside": half, "middle": 0.0, "outside": -half}[self.side]

    def arc(self, thickness: float, flats: tuple[float, float]) -> "TargetArc":
        """Mid-line arc of a target by radius, angle, opening; its two ``flats`` in mm.

        Raises
        ------
        InputError
            No arc opens so between such flats.
        """
        radius = None
        if self.radius is not None:
            radius = self.to_middle(self.radius, thickness)
        if radius is not None and self.angle is not None:
            return TargetArc(radius, self.angle)
        opening = self.opening or 0.0
        found = (
            _by_radius(opening, radius, flats)
            if radius is not None
            else _by_angle(opening, self.angle or 0.0, flats)
        )
        if found is None:
            message = "no arc with that radius or angle leaves such an opening"
            raise InputError(
                message,
                key="target.opening",
                value=units.format(opening, "length"),
                allowed=f"an opening that fits flats of {flats[0]:g} and "
                f"{flats[1]:g} mm; for no flats up to twice the radius",
            )
        return found

    def flats(self, machine: tuple[float, float] = (0.0, 0.0)) -> tuple[float, float]:
        """Wanted flats (mm), the ``machine``'s where they are left to it."""
        wanted = (self.flat_operator, self.flat_rear)
        return (
            machine[0] if wanted[0] is None else wanted[0],
            machine[1] if wanted[1] is None else wanted[1],
        )

    def blank(self, thickness: float, machine_flat: float) -> float:
        """Estimate the length of the sheet (mm), whole mm, until it is planned.

        ``machine_flat`` (mm) stands for a flat that is left to the machine.
        """
        flats = self.flats((machine_flat, machine_flat))
        if self.drawing is not None:
            return float(ceil(self.drawing.length))
        if self.nose is not None:
            n = self.nose
            bent = self.to_middle(n.radius_operator, thickness) * n.angle_operator
            bent += self.to_middle(n.radius_rear, thickness) * n.angle_rear
        else:
            try:
                radius, angle = self.arc(thickness, flats)
            except InputError:  # with other flats there may be one
                radius, angle = self.radius or self.opening or 0.0, self.angle or pi
            bent = radius * angle
        return float(ceil(bent + sum(flats) - _RELATIVE_ROUNDING))


class TargetArc(NamedTuple):
    """Mid-line radius (mm) and turned angle (rad)."""

    radius: float
    angle: float


def chord(arc: TargetArc, flats: tuple[float, float]) -> tuple[float, float]:
    """Vector (mm) between the edges of a flat, an arc and a flat.

    Along the tangent at the arc's middle, where it is negative when the edges have
    crossed, and across it.
    """
    half = 0.5 * arc.angle
    along = 2.0 * arc.radius * sin(half) + sum(flats) * cos(half)
    return along, (flats[1] - flats[0]) * sin(half)


def _by_angle(
    opening: float, angle: float, flats: tuple[float, float]
) -> TargetArc | None:
    half = 0.5 * angle
    across = (flats[1] - flats[0]) * sin(half)
    if opening < abs(across):
        return None
    along = sqrt(opening**2 - across**2)
    radius = (along - sum(flats) * cos(half)) / (2.0 * sin(half))
    return TargetArc(radius, angle) if radius > 0.0 else None


def _by_radius(
    opening: float, radius: float, flats: tuple[float, float]
) -> TargetArc | None:
    """Find the smallest angle at which the edges, not yet crossed, stand so far."""

    def excess(angle: float) -> float:
        along, across = chord(TargetArc(radius, angle), flats)
        return hypot(along, across) * (1.0 if along > 0.0 else -1.0) - opening

    step = 2.0 * pi / _HALF_ANGLE_TRIALS
    low, before = 1.0e-6, excess(1.0e-6)
    for i in range(1, _HALF_ANGLE_TRIALS):
        high = i * step
        after = excess(high)
        if (before > 0.0) != (after > 0.0):
            break
        low, before = high, after
    else:
        return None
    for _ in range(60):
        middle = 0.5 * (low + high)
        if (excess(middle) > 0.0) == (before > 0.0):
            low = middle
        else:
            high = middle
    return TargetArc(radius, 0.5 * (low + high))


def read_target(table: dict[str, Any], file: str) -> Target:
    """Build the target of a case from its ``[target]`` table and its profile."""
    keys = read(TargetTable, table, file=file, key="target")
    drawing = None
    if keys.profile is not None:
        drawing = read_profile(keys.profile, folder=Path(file).parent, file=file)
    return Target(**dict(keys), drawing=drawing)

"""The finished part of a run: its measures, and its deviations from the wanted part."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.optimize import brentq, fsolve

from pinchline.parts import measure

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.case.target import Target
    from pinchline.parts.wanted import WantedPart
    from pinchline.results.schema import Result
    from pinchline.units import Dimension

    Array = NDArray[np.float64]

ARC_TRIM_DISTANCES = (
    0.2  # of the distance to the rear roll: what an arc's ends leave to the flats
)
EVEN_ARC_DISTANCES = (
    0.35  # of it, from the start of the arc: there it is as even as it gets
)
CURVATURE_WINDOW_MM = 3.0  # mm round a place whose curvature is read
MIN_OPENING_PER_BLANK = (
    0.02  # mm of opening per mm of blank: less does not tell the blank
)


class PartQuantity(IntEnum):
    """Measure that is taken of every part; the number is its place in a part's row."""

    OPENING = 0
    RADIUS_OPERATOR = 1
    RADIUS_REAR = 2
    FLAT_OPERATOR = 3
    FLAT_REAR = 4
    TURNED_ANGLE = 5
    TEMPLATE_GAP = 6


RADIUS_QUANTITIES = (PartQuantity.RADIUS_OPERATOR, PartQuantity.RADIUS_REAR)
FLAT_QUANTITIES = (PartQuantity.FLAT_OPERATOR, PartQuantity.FLAT_REAR)


class Deviation(NamedTuple):
    """Wanted and finished value of one measure of a part, in internal units.

    quantity; name: in words; wanted, made; tolerance: largest difference that is good;
    NaN where nothing was asked and ``made`` is told for the record.
    """

    quantity: PartQuantity
    name: str
    dimension: Dimension
    wanted: float
    made: float
    tolerance: float

    @property
    def off(self) -> float:
        """Difference, made less wanted."""
        return self.made - self.wanted

    @property
    def good(self) -> bool:
        """Whether it is within tolerance, or no tolerance is specified."""
        return math.isnan(self.tolerance) or abs(self.off) <= self.tolerance


class Zone(NamedTuple):
    """A stretch with one wanted radius; places in mm from the edge named."""

    quantity: PartQuantity
    name: str
    edge: str  # "operator" or "rear"
    low: float
    high: float
    radius: float


@dataclass(frozen=True)
class FinishedPart:
    """Curvature, flats and opening of a finished part.

    Attributes
    ----------
    s : middles of the elements, mm; ``curvature``: residual, 1/mm; ``element``: mm
    flats : by straightedge at operator's and rear edge, mm
    arc_flats : flats (mm) of the flat-arc-flat part that turns as much at either edge
    opening, turned : between the edges, mm, rad
    """

    s: Array
    curvature: Array
    element: float
    flats: tuple[float, float]
    arc_flats: tuple[float, float]
    opening: float
    turned: float

    @property
    def length(self) -> float:
        """Of the blank, mm."""
        return float(self.s[-1]) + 0.5 * self.element

    def mean(self, low: float, high: float) -> float:
        """Mean curvature (1/mm) between two places (mm)."""
        inside = (self.s > low) & (self.s < high)
        return float(np.mean(self.curvature[inside])) if np.any(inside) else 0.0

    def outline(self) -> measure.Outline:
        """Mid-line of the free part."""
        return measure.free_outline(self.curvature, self.element)


def read_finished_part(result: Result, bend: float, distance: float) -> FinishedPart:
    """Read a result; ``bend`` (1/mm): wanted curvature, ``distance`` to the rear roll.

    The arc's own flat at an edge is that of a part with a sharp start that turns as
    far up to a place well inside the arc.
    """
    values, s = result.summary, result.sheet["s"]
    k = result.sheet["curvature_residual"]
    h = float(s[1] - s[0])
    flats = (values["flat_operator_straightedge"], values["flat_rear_straightedge"])
    return FinishedPart(
        s=s,
        curvature=k,
        element=h,
        flats=flats,
        arc_flats=(
            _arc_flat(k, h, bend, EVEN_ARC_DISTANCES * distance),
            _arc_flat(k[::-1], h, bend, EVEN_ARC_DISTANCES * distance),
        ),
        opening=values["opening"],
        turned=values["turned_angle"],
    )


def _arc_flat(curvature: Array, h: float, bend: float, deep: float) -> float:
    """Flat of the sharp-edged part that turns as far, from the start of the array."""
    bent = np.flatnonzero(curvature > 0.5 * bend)
    if not bent.size:
        return float(curvature.size) * h
    at = min(int(bent[0] + deep / h), curvature.size // 2)
    near = max(1, int(CURVATURE_WINDOW_MM / h))
    level = float(np.mean(curvature[max(0, at - near) : at + near]))
    if level <= 0.0:
        return float(at) * h
    return at * h - float(np.sum(curvature[:at])) * h / level


def zones_of(target: Target, part: WantedPart, distance: float) -> list[Zone]:
    """Stretches of the part that have one radius; none for a profile."""
    if target.drawing is not None:
        return []
    first, last = part.flats
    if target.nose is None:
        radius = 1.0 / part.sharpest
        half = 0.5 * (part.length - first - last)
        arcs = (half, half)
        radii = (radius, radius)
        words = "half"
    else:
        blend = 0.5 * target.nose.blend
        n = target.nose
        radii = (
            target.to_middle(n.radius_operator, part.thickness),
            target.to_middle(n.radius_rear, part.thickness),
        )
        arcs = (radii[0] * n.angle_operator - blend, radii[1] * n.angle_rear - blend)
        words = "arc"
    found = []
    for quantity, edge, name, flat, arc, radius in (
        (
            RADIUS_QUANTITIES[0],
            "operator",
            f"radius, operator's {words}",
            first,
            arcs[0],
            radii[0],
        ),
        (
            RADIUS_QUANTITIES[1],
            "rear",
            f"radius, rear {words}",
            last,
            arcs[1],
            radii[1],
        ),
    ):
        trim = min(ARC_TRIM_DISTANCES * distance, 0.3 * arc)
        inner = 0.1 * arc if target.nose is not None else 0.0
        found.append(
            Zone(quantity, name, edge, flat + trim, flat + arc - inner, radius)
        )
    return found


def zone_radius(made: FinishedPart, zone: Zone) -> float:
    """Radius (mm) of the circle fitted over a zone; infinite where it is straight."""
    low, high = zone.low, zone.high
    if zone.edge == "rear":
        low, high = made.length - high, made.length - low
    first = max(0, round(low / made.element))
    last = min(made.s.size, round(high / made.element))
    x, y, _ = made.outline()
    radius = measure.fit_circle(x[first : last + 1], y[first : last + 1]).radius
    return math.inf if math.isnan(radius) else radius


def template_gap(made: FinishedPart, part: WantedPart) -> float:
    """Largest distance (mm) of the part from the wanted shape laid best on it."""
    x, y, _ = made.outline()
    count = 200
    share = np.linspace(0.0, 1.0, count)
    mine = np.column_stack(
        [np.interp(share * made.length, np.arange(x.size) * made.element, v)
         for v in (x, y)]
    )  # fmt: skip
    s, shape = part.outline()
    wanted = np.column_stack(
        [np.interp(share * part.length, s, v) for v in (shape.x, shape.y)]
    )
    mine -= mine.mean(axis=0)
    wanted -= wanted.mean(axis=0)
    u, _, v = np.linalg.svd(mine.T @ wanted)
    turn = u @ np.diag([1.0, np.sign(np.linalg.det(u @ v))]) @ v
    apart: Array = np.hypot(*(mine @ turn - wanted).T)
    return float(np.max(apart))


def deviations_from_target(
    case: Case, part: WantedPart, made: FinishedPart
) -> tuple[Deviation, ...]:
    """Deviations of a finished part from the target of its case."""
    target = case.target
    assert target is not None
    nan = math.nan
    rows = []
    radius_asked = target.radius is not None or target.nose is not None
    for zone in zones_of(target, part, case.machine.rear.distance):
        share = target.tolerance_radius if radius_asked else nan
        radius = zone_radius(made, zone)
        rows.append(
            Deviation(
                zone.quantity,
                zone.name,
                "length",
                zone.radius,
                radius,
                share * zone.radius,
            )
        )
    angle_asked = target.angle is not None or target.nose is not None
    share = target.tolerance_radius if angle_asked else nan
    turned = part.turned
    rows.append(
        Deviation(
            PartQuantity.TURNED_ANGLE,
            "turned angle",
            "angle",
            turned,
            made.turned,
            share * turned,
        )
    )
    whole = target.drawing is not None or (
        target.opening is not None and target.hand_opening is None
    )
    asked = target.tolerance_opening if whole else nan
    opening = part.opening()
    rows.append(
        Deviation(
            PartQuantity.OPENING, "opening", "length", opening, made.opening, asked
        )
    )
    straight = part.straightedge(case.measure.straightedge_gap)
    given = (target.flat_operator, target.flat_rear)
    for quantity, name, wanted, flat, told in zip(
        FLAT_QUANTITIES,
        ("operator's flat, by straightedge", "rear flat, by straightedge"),
        straight, made.flats, given, strict=True,
    ):  # fmt: skip
        left = told is None and target.drawing is None
        rows.append(
            Deviation(
                quantity,
                name,
                "length",
                nan if left else wanted,
                flat,
                nan if left else target.tolerance_flat,
            )
        )
    gap = template_gap(made, part)
    asked = target.tolerance_opening if target.drawing is not None else nan
    name = "farthest from the template"
    rows.append(Deviation(PartQuantity.TEMPLATE_GAP, name, "length", 0.0, gap, asked))
    return tuple(rows)


def closing_correction(
    target: Target, part: WantedPart, made: FinishedPart
) -> tuple[float, float]:
    """Share of curvature and length of arc (mm) that mend turned angle and opening.

    Both from the part as made: its curve longer in the middle, its bend scaled. The
    bend counts only where the target leaves the radius open.
    """
    middle = made.curvature.size // 2
    level = float(made.curvature[middle])
    free = target.radius is None and target.angle is not None
    asked = target.opening is not None and target.hand_opening is None
    if not asked or level <= 0.0:
        return 0.0, (part.turned - made.turned) / max(level, 1.0e-6)
    wanted = target.opening or 0.0

    def opening(share: float, more: float) -> float:
        return _opening(made, middle, 1.0 + share, more)

    if free:

        def missing(x: Array) -> list[float]:
            share, more = float(x[0]), float(x[1])
            turned = (1.0 + share) * (made.turned + level * more)
            return [opening(share, more) - wanted, turned - part.turned]

        found, _, good, _ = fsolve(missing, [0.0, 0.0], full_output=True)
        return (float(found[0]), float(found[1])) if good == 1 else (0.0, 0.0)
    return 0.0, _arc_for(opening, wanted, (part.turned - made.turned) / level)


def _arc_for(opening: object, wanted: float, by_angle: float) -> float:
    """More arc (mm) for an opening; by the angle where the opening does not tell."""

    def missing(more: float) -> float:
        return float(opening(0.0, more)) - wanted  # type: ignore[operator]

    reach = 15.0
    slope = (missing(1.0) - missing(-1.0)) / 2.0
    if abs(slope) < MIN_OPENING_PER_BLANK or missing(-reach) * missing(reach) > 0.0:
        return by_angle
    return float(brentq(missing, -reach, reach, xtol=1.0e-4))


def _opening(made: FinishedPart, middle: int, scale: float, more: float) -> float:
    """Give the opening (mm) with the bend scaled and the middle longer (mm)."""
    x, y, theta = measure.free_outline(made.curvature * scale, made.element)
    k = float(made.curvature[middle]) * scale
    turn = theta[middle] + k * more
    arc = measure.free_outline(np.array([k]), more)
    c, s = math.cos(theta[middle]), math.sin(theta[middle])
    ex = x[middle] + c * arc.x[1] - s * arc.y[1]
    ey = y[middle] + s * arc.x[1] + c * arc.y[1]
    c, s = math.cos(turn - theta[middle]), math.sin(turn - theta[middle])
    dx, dy = x[-1] - x[middle], y[-1] - y[middle]
    return math.hypot(ex + c * dx - s * dy, ey + s * dx + c * dy)

"""The part of a varied sheet, from the part that the stepped solver made of the case.

The job is rolled once, step by step. What bent each element most, where and at which
lift, is in its record. With another sheet the largest moment there is that of the
record, times the ratio in which the pass's own moment stands to the case's
(``scatter_pass``), and the sheet's own section law says what it leaves. So the flats,
where no moment reached yield, move with yield strength and lift as the plateau does.
What the record left beyond the law of one bending (a second pass, the way in) is kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.parts import measure
from pinchline.parts.assess import (
    ARC_TRIM_DISTANCES,
    RADIUS_QUANTITIES,
    FinishedPart,
    PartQuantity,
    deviations_from_target,
    read_finished_part,
    template_gap,
    zones_of,
)
from pinchline.parts.wanted import wanted_part
from pinchline.solvers.steady.problem import residual_curvatures

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.analysis.scatter.surrogate import BendPlace, ProgramStretch
    from pinchline.case.case import Case
    from pinchline.parts.wanted import WantedPart
    from pinchline.results.schema import Result
    from pinchline.units import Dimension

    Array = NDArray[np.float64]

MAX_TRIM_SHARE = 0.3  # of a half's curve


class ScatterQuantity(NamedTuple):
    """A measured quantity of every part: name, words, dimension."""

    name: str
    words: str
    dimension: Dimension


QUANTITIES = (
    ScatterQuantity("opening", "opening", "length"),
    ScatterQuantity("radius_operator", "radius, operator's half", "length"),
    ScatterQuantity("radius_rear", "radius, rear half", "length"),
    ScatterQuantity("flat_operator", "operator's flat", "length"),
    ScatterQuantity("flat_rear", "rear flat", "length"),
    ScatterQuantity("turned_angle", "turned angle", "angle"),
)
TEMPLATE = ScatterQuantity("template_gap", "farthest from the template", "length")
OPENING, TURNED = PartQuantity.OPENING, PartQuantity.TURNED_ANGLE
GAP = PartQuantity.TEMPLATE_GAP


class QuantityTolerance(NamedTuple):
    """Wanted value and tolerance of a quantity, internal unit."""

    quantity: PartQuantity
    wanted: float
    tolerance: float

    def good(self, made: Array) -> NDArray[np.bool_]:
        """Whether what was made is within tolerance."""
        within: NDArray[np.bool_] = np.abs(made - self.wanted) <= self.tolerance
        return within


@dataclass(frozen=True)
class PartRecord:
    """The part as the stepped solver made it, ready to be varied.

    Attributes
    ----------
    case, result : the job and its record
    zones : elements (first, one past the last) over which each half's radius is taken
    station : number of the station before each element's, and ``after`` it; ``weight``
        of the latter
    beyond : curvature (1/mm) that the record left beyond the law of one bending
    wanted : the target's part; None without a target
    allowed : what the target asks for
    circle : radius of the circle fitted over each zone, over that of its mean curvature
    """

    case: Case
    result: Result
    zones: tuple[tuple[int, int], tuple[int, int]]
    station: NDArray[np.intp]
    after: NDArray[np.intp]
    weight: Array
    beyond: Array
    wanted: WantedPart | None = None
    allowed: tuple[QuantityTolerance, ...] = ()
    circle: tuple[float, float] = (1.0, 1.0)

    @property
    def quantities(self) -> tuple[ScatterQuantity, ...]:
        """What is measured of this part."""
        drawn = self.case.target is not None and self.case.target.drawing is not None
        return (*QUANTITIES, TEMPLATE) if drawn else QUANTITIES

    @property
    def element(self) -> float:
        """Length of an element, mm."""
        s = self.result.sheet["s_node"]
        return float(s[1] - s[0])


def record_of(
    case: Case,
    result: Result,
    stations: tuple[BendPlace, ...],
    stretches: tuple[ProgramStretch, ...],
) -> PartRecord:
    """Prepare the record of a case's job."""
    sheet = result.sheet
    before, after, weight = _placed(case, result, stations, stretches)
    target, distance = case.target, case.machine.rear.distance
    part = made = None
    if target is not None:
        # as a plan reads it: flats left to the machine are those it leaves
        values = result.summary
        edges = (values["flat_operator_straightedge"], values["flat_rear_straightedge"])
        bend = wanted_part(target, case.sheet.thickness, edges).sharpest
        made = read_finished_part(result, bend, distance)
        part = wanted_part(target, case.sheet.thickness, made.arc_flats)
    record = PartRecord(
        case=case,
        result=result,
        zones=_zones(case, result, part),
        station=before,
        after=after,
        weight=weight,
        beyond=sheet["curvature_residual"]
        - residual_curvatures(case, sheet["moment_peak"]),
        wanted=part,
    )
    if part is None or made is None:
        return record
    rows = deviations_from_target(case, part, made)
    own = measured(record, sheet["curvature_residual"])
    radii = {d.quantity: d.made for d in rows if d.quantity in RADIUS_QUANTITIES}
    circle = tuple(radii.get(i, own[i]) / own[i] for i in RADIUS_QUANTITIES)
    specified = [d for d in rows if not math.isnan(d.tolerance)]
    return replace(
        record,
        circle=(circle[0], circle[1]) if np.all(np.isfinite(circle)) else (1.0, 1.0),
        allowed=tuple(
            QuantityTolerance(d.quantity, d.wanted, d.tolerance) for d in specified
        ),
    )


def _placed(
    case: Case,
    result: Result,
    stations: tuple[BendPlace, ...],
    stretches: tuple[ProgramStretch, ...],
) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Between which stations each element was bent most, and how far on."""
    move = result.sheet["moment_peak_move"]
    place = np.nan_to_num(result.sheet["moment_peak_place"])
    count = move.size
    before = np.zeros(count, dtype=np.intp)
    after = np.zeros(count, dtype=np.intp)
    weight = np.zeros(count)
    program = case.program
    for stretch in stretches:
        mine = np.isin(move, stretch.moves)
        if len(stretch.stations) == 1:
            before[mine] = after[mine] = stretch.stations[0]
            continue
        sign = -1.0 if program[stretch.feed - 1].turned else 1.0
        nip = result.sheet["s"][mine] - sign * place[mine]
        lifts = _lift_when(result, stretch.feed, nip)
        own = np.array([stations[i].lift for i in stretch.stations])
        # the stations' lifts rise or fall along the feed
        order = np.argsort(own)
        at = np.interp(lifts, own[order], np.arange(own.size, dtype=np.float64))
        low = np.minimum(at.astype(np.intp), own.size - 2)
        numbers = np.array(stretch.stations)[order]
        before[mine], after[mine] = numbers[low], numbers[low + 1]
        weight[mine] = at - low
    return before, after, weight


def _lift_when(result: Result, feed: int, nip: Array) -> Array:
    """Lift (mm) in a feed when these s (mm) lay on the nip line."""
    steps = result.steps["move"] == feed
    there, lift = result.steps["nip"][steps], result.steps["lift"][steps]
    order = np.argsort(there, kind="stable")
    found: Array = np.interp(nip, there[order], lift[order])
    return found


def _zones(
    case: Case, result: Result, part: WantedPart | None
) -> tuple[tuple[int, int], tuple[int, int]]:
    """Elements over which the radius of the operator's and the rear half is taken.

    The target's own zones; without one each half of the blank from where its curve
    begins, less what the machine's ends blur.
    """
    s, values = result.sheet["s_node"], result.summary
    length = float(s[-1])
    h = float(s[1] - s[0])
    flats = (values["flat_operator_straightedge"], values["flat_rear_straightedge"])
    ends = []
    if case.target is not None and part is not None and case.target.drawing is None:
        zones = zones_of(case.target, part, case.machine.rear.distance)
        ends = [(zone.low, zone.high) for zone in zones]
    else:
        for flat in flats:
            arc = max(0.5 * length - flat, 2.0 * h)
            trim = min(
                ARC_TRIM_DISTANCES * case.machine.rear.distance, MAX_TRIM_SHARE * arc
            )
            ends.append((flat + trim, flat + arc))
    count = s.size - 1
    found = []
    for low, high in (ends[0], (length - ends[1][1], length - ends[1][0])):
        first = min(max(round(low / h), 0), count - 2)
        found.append((first, min(max(round(high / h), first + 2), count)))
    return found[0], found[1]


def curvature_of(record: PartRecord, case: Case, ratios: Array) -> Array:
    """Curvature (1/mm) of the part of a varied case.

    ``ratios``: of the moment at each station to the case's own.
    """
    by = (1.0 - record.weight) * ratios[record.station]
    by += record.weight * ratios[record.after]
    peaks = record.result.sheet["moment_peak"] * by
    curvature: Array = residual_curvatures(case, peaks) + record.beyond
    return curvature


def measured(record: PartRecord, curvature: Array) -> Array:
    """Measure a part: the ``QUANTITIES``, mm; a half that is straight has inf."""
    case, s = record.case, record.result.sheet["s_node"]
    shape = measure.free_outline(curvature, record.element)
    gauge = case.measure
    low = 0.0 if gauge.gauge_operator is None else gauge.gauge_operator
    high = float(s[-1]) if gauge.gauge_rear is None else gauge.gauge_rear
    radii = []
    for first, last in record.zones:
        mean = float(np.mean(curvature[first:last]))
        radii.append(1.0 / mean if mean > 0.0 else math.inf)
    gap = gauge.straightedge_gap
    values = [
        measure.opening(shape, s, low, high),
        *(r * fitted for r, fitted in zip(radii, record.circle, strict=True)),
        measure.straightedge_flat(shape, s, gap, from_end=False),
        measure.straightedge_flat(shape, s, gap, from_end=True),
        float(shape.theta[-1]),
    ]
    if record.wanted is not None and len(record.quantities) > GAP:
        made = FinishedPart(
            s=record.result.sheet["s"],
            curvature=curvature,
            element=record.element,
            flats=(values[3], values[4]),
            arc_flats=(math.nan, math.nan),
            opening=values[OPENING],
            turned=values[TURNED],
        )
        values.append(template_gap(made, record.wanted))
    return np.array(values)


def on_record(record: PartRecord, curvature: Array, s: Array) -> Array:
    """Curvature at the elements of the record, of another run's elements at ``s``."""
    share = s / (s[-1] + s[0])
    mine = record.result.sheet["s"]
    found: Array = np.interp(mine / (mine[-1] + mine[0]), share, curvature)
    return found


def result_of(record: PartRecord, curvature: Array) -> Result:
    """Give a part as a result: the record's, with another shape, opening and flats."""
    shape = measure.free_outline(curvature, record.element)
    opening, _, _, flat_operator, flat_rear, turned, *_ = map(
        float, measured(record, curvature)
    )
    sheet = record.result.sheet
    return replace(
        record.result,
        sheet=sheet | {"curvature_residual": curvature, "x": shape.x, "y": shape.y},
        summary=record.result.summary
        | {
            "opening": opening,
            "turned_angle": turned,
            "flat_operator_straightedge": flat_operator,
            "flat_rear_straightedge": flat_rear,
        },
    )

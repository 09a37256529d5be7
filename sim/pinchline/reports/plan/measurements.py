"""What to measure on the finished part, what to expect, and how far it may be off."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.optimize import brentq

from pinchline import units
from pinchline.reports.plan.free_shape import inside_face

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from pinchline.analysis.planning.plan import Plan
    from pinchline.results.schema import Result
    from pinchline.units import System

    Array = NDArray[np.float64]
    Read = Callable[[Result], float]

# chords that a strip is cut to, mm
CHORDS_MM: dict[System, tuple[float, ...]] = {
    "metric": (20.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0, 150.0, 200.0),
    "inch": tuple(25.4 * c for c in (0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 8.0)),
}
_DEPTH_WORDS = "Depth inside, from a straightedge laid across the edges"
_MAX_CHORD_SHARE = 0.7  # of the curved half that a chord may span
NINE_IN_TEN = (0.05, 0.95)


class Measurement(NamedTuple):
    """A measurement: how it is taken, what the plan expects, what is good; mm.

    band : half of the range in which nine strips in ten come out; NaN where unknown
    tolerance : tolerance of the target; NaN where it asks nothing of this
    """

    words: str
    expected: float
    band: float
    tolerance: float


def measurements(
    plan: Plan, parts: Sequence[Result], system: System
) -> list[Measurement]:
    """List the measurements of a plan's part, those of the whole part first.

    ``parts``: of the same job as sheet and settings scatter (``plan_spread``); without
    any the bands are not known.
    """
    rows = [
        _measurement(plan, parts, "opening", opening_words(plan), read_opening),
        _measurement(plan, parts, "", _DEPTH_WORDS, read_depth),
    ]
    for edge, name in (("operator", "O"), ("rear", "R")):
        rows += _rise_over_chord(plan, parts, edge, name, system)
    number, unit = units.display(plan.case.measure.straightedge_gap, "length", system)
    gap = f"{number:.1g} {unit}"
    for edge, name, deviation in (
        ("operator", "O", "operator's flat"),
        ("rear", "R", "rear flat"),
    ):
        key = f"flat_{edge}_straightedge"
        words = f"Flat at edge {name}, until a straightedge on it gapes {gap}"
        rows.append(_measurement(plan, parts, deviation, words, _summary(key)))
    return rows


def _measurement(
    plan: Plan, parts: Sequence[Result], target: str, words: str, read: Read
) -> Measurement:
    expected = read(plan.result)
    readings = np.array([read(part) for part in parts] or [math.nan])
    low, high = np.quantile(readings, NINE_IN_TEN)
    targets = [d for d in plan.deviations if target and d.name.startswith(target)]
    tolerance = targets[0].tolerance if targets and plan.reached else math.nan
    return Measurement(words, expected, 0.5 * float(high - low), tolerance)


def _summary(key: str) -> Read:
    return lambda result: result.summary[key]


def opening_words(plan: Plan) -> str:
    """Say where the opening is measured; gauge lines lie within the edges."""
    measure = plan.case.measure
    named = measure.gauge_operator is not None or measure.gauge_rear is not None
    if named:
        return "Opening between the gauge lines, middle of the sheet"
    return "Opening, inside corner to inside corner"


def read_opening(result: Result) -> float:
    """Return the opening (mm) at the inside corners, or of gauge lines."""
    x, y = result.sheet["x"], result.sheet["y"]
    middle = math.hypot(x[-1] - x[0], y[-1] - y[0])
    specified = result.summary["opening"]
    if abs(specified - middle) > 1.0e-3 * middle:  # gauge lines
        return specified
    _, x, y = inside_face(result)
    return math.hypot(x[-1] - x[0], y[-1] - y[0])


def read_depth(result: Result) -> float:
    """Return the depth (mm) of the inside face under a line across the edges."""
    _, x, y = inside_face(result)
    chord = math.hypot(x[-1] - x[0], y[-1] - y[0])
    away = (x[-1] - x[0]) * (y - y[0]) - (y[-1] - y[0]) * (x - x[0])
    return float(np.max(np.abs(away))) / chord


def _rise_over_chord(
    plan: Plan, parts: Sequence[Result], edge: str, name: str, system: System
) -> list[Measurement]:
    """Rise over a chord in the middle of one half's curve; none where it is short."""
    result, length = plan.result, plan.case.sheet.length
    flat = result.summary[f"flat_{edge}_straightedge"]
    bent = 0.5 * length - flat
    fitting = [c for c in CHORDS_MM[system] if c <= _MAX_CHORD_SHARE * bent]
    at = flat + 0.5 * bent
    middle = at if edge == "operator" else length - at
    if not fitting or not math.isfinite(rise(result, middle, fitting[-1])):
        return []
    chord = fitting[-1]
    number, unit = units.display(chord, "length", system)
    span = f"{number:g} {unit}"
    number, unit = units.display(at, "length", system)
    place = f"{number:.{1 if system == 'metric' else 2}f} {unit}"
    words = f"Rise inside over a {span} strip, its middle {place} from edge {name}"

    def read(from_result: Result) -> float:
        return rise(from_result, middle, chord)

    row = _measurement(plan, parts, "", words, read)
    targets = [d for d in plan.deviations if d.name.startswith(_RADIUS_NAMES[edge])]
    share = math.nan
    if targets and plan.reached:
        share = targets[0].tolerance / targets[0].wanted
    return [row._replace(tolerance=share * row.expected)]


_RADIUS_NAMES = {"operator": "radius, operator's", "rear": "radius, rear"}


def rise(result: Result, middle: float, chord: float) -> float:
    """Rise (mm) of the inside face over a chord whose middle lies at s (mm).

    NaN where the part is not bent enough, or too short, for such a chord.
    """
    s, x, y = inside_face(result)
    reach = min(middle, float(s[-1]) - middle)

    def ends(half: float) -> tuple[Array, Array]:
        at = np.array([middle - half, middle + half])
        return np.interp(at, s, x), np.interp(at, s, y)

    def missing(half: float) -> float:
        (xa, xb), (ya, yb) = ends(half)
        return math.hypot(xb - xa, yb - ya) - chord

    if missing(reach) <= 0.0:
        return math.nan
    half = float(brentq(missing, 0.0, reach, xtol=1.0e-6))
    (xa, xb), (ya, yb) = ends(half)
    within = np.abs(s - middle) <= half
    away = (xb - xa) * (y[within] - ya) - (yb - ya) * (x[within] - xa)
    return float(np.max(np.abs(away))) / chord

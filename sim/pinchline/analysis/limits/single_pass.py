"""One pass of a sheet at a fixed lift: its residual radius and its limit.

The stepped solver rolls a blank of its own, long enough that the bend settles, and the
radius is taken of the sheet that has just been through.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from pinchline.case.case import Measures
from pinchline.case.demand import CURL_LIMITS, NO_DEMAND, Demand, LimitKind
from pinchline.case.moves import Feed, Lift, Place
from pinchline.errors import InputError, SolverError
from pinchline.parts.measure import FLAT_CURVATURE
from pinchline.solvers.ratings import Rating
from pinchline.solvers.rolls import GRIP_EDGE, REAR, jam_lift, wrap_curvature
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from pinchline.case.case import Case
    from pinchline.case.moves import Move
    from pinchline.results.schema import Result

Way = Literal["rear", "operator"]

# lengths of the blank, the mark and the feed, in distances from nip to rear roll
FORWARD_REACHES = (5.2, 3.75, 2.9)
REVERSE_REACHES = (2.3, 0.2, 0.9)
# thicknesses from the nip line: bent, and not touched since
JUST_BENT_THICKNESSES = (6.0, 18.0)
# thicknesses that are fed at least: crease and waves take 14 beside what is judged
LEAST_FEED_THICKNESSES = 32.0
WRAPPED_CURVATURE_SHARE = 0.99  # of the upper roll's curvature


class SinglePass(NamedTuple):
    """Result of one pass at a fixed lift.

    lift: mm; way: fed toward; radius, loaded: of the mid-line once free and under the
    rolls (mm), infinite where nothing remains, NaN where the pass could not be made;
    strain: of the surface; limit: what forbids the pass, or keeps it from being tighter
    (None where nothing does); demand, nip_opening (mm): largest of the pass.
    """

    lift: float
    way: Way
    radius: float
    loaded: float
    strain: float
    limit: LimitKind | None
    demand: Demand
    nip_opening: float

    @property
    def possible(self) -> bool:
        """Whether the machine makes this pass and the sheet bears it."""
        return self.limit in (None, LimitKind.NO_SET, LimitKind.WRAP)


def pass_case(case: Case, lift: float, way: Way) -> Case:
    """Give the job of one pass with a case's sheet and machine, of our own length."""
    distance = case.machine.rear.distance
    length, at, by = (
        share * distance
        for share in (FORWARD_REACHES if way == "rear" else REVERSE_REACHES)
    )
    more = max(LEAST_FEED_THICKNESSES * case.sheet.thickness - by, 0.0)
    length, by = length + more, by + more
    at += more if way == "rear" else 0.0
    moves = (Place(at=at), Lift(to=lift), Feed(toward=way, by=by))
    return on_blank(case, length, moves, "one pass")


def on_blank(case: Case, length: float, moves: tuple[Move, ...], title: str) -> Case:
    """Give the job of moves on a blank of our own length (mm), measured where it ends.

    Raises
    ------
    InputError
        The sheet is curved, and so long a blank of it closes on itself.
    """
    gap = case.measure.straightedge_gap
    return case.replace(
        {
            "title": title,
            "sheet.length": length,
            "move": moves,
            "measure": Measures(straightedge_gap=gap),
        }
    )


def longest_lift(case: Case) -> tuple[float, LimitKind]:
    """Largest lift (mm) that the machine's geometry allows, and what ends it."""
    jam = jam_lift(case.machine, case.sheet.thickness)
    travel = Rating.of(case).travel
    return (jam, LimitKind.JAM) if jam <= travel else (travel, LimitKind.TRAVEL)


def one_pass(case: Case, lift: float, way: Way) -> SinglePass:
    """Roll one pass at a lift (mm) with the stepped solver."""
    nothing = SinglePass(
        lift, way, *(math.nan,) * 3, LimitKind.SOLVER, NO_DEMAND, math.nan
    )
    try:
        result = run_case(pass_case(case, lift, way))
    except SolverError:
        return nothing
    except InputError:  # curved sheet: so long a blank closes on itself
        return nothing._replace(limit=CURL_LIMITS[1])
    values = result.summary
    radius, loaded = _just_bent(result, way)
    return SinglePass(
        lift=lift,
        way=way,
        radius=radius,
        loaded=loaded,
        strain=surface_strain(case, loaded),
        limit=_limit(case, result, radius, loaded),
        demand=Demand.of_job(values),
        nip_opening=values["nip_opening_max"],
    )


def run_out_flat(case: Case, lift: float) -> float:
    """Flat (mm) at the edge that leaves the rear roll, fed toward the operator.

    By straightedge, with the stepped solver; NaN where the job stops before.
    """
    left = 2.0 * GRIP_EDGE * case.sheet.thickness
    try:
        job = pass_case(case, lift, "operator")
        place, lifted, _ = job.moves
        to_end = Feed(toward="operator", leave=left)
        result = run_case(job.replace({"move": (place, lifted, to_end)}))
    except (InputError, SolverError):
        return math.nan
    return math.nan if result.stopped else result.summary["flat_rear_straightedge"]


def _just_bent(result: Result, way: Way) -> tuple[float, float]:
    """Free and loaded radius (mm) of the sheet that has just come through the nip."""
    fed = result.steps["move"] == 3
    if not np.any(fed):
        return math.nan, math.nan
    nip = float(result.steps["nip"][fed][-1])
    near, far = (share * result.inputs["thickness"] for share in JUST_BENT_THICKNESSES)
    s = result.sheet["s"]
    away = s - nip if way == "rear" else nip - s
    zone = (away >= near) & (away <= far)
    if float(np.abs(result.steps["fed"][-1])) < far or not np.any(zone):
        return math.nan, math.nan
    residual = float(np.mean(result.sheet["curvature_residual"][zone]))
    peak = float(np.mean(result.sheet["curvature_loaded_peak"][zone]))
    return _radius(residual), _radius(peak)


def _radius(curvature: float) -> float:
    return 1.0 / curvature if abs(curvature) > FLAT_CURVATURE else math.inf


def surface_strain(case: Case, loaded: float) -> float:
    """Strain of the surface, ``t / 2R`` of the mid-line; natural bend counts off."""
    half = 0.5 * case.sheet.thickness
    return abs(1.0 / loaded - case.sheet.curvature) * half if loaded else math.nan


def needed_length(case: Case, reach: float) -> float:
    """Length of blank (mm) with which a pass over the whole machine settles.

    It must be held in the grip, lie on the rear roll ``reach`` (mm of sheet) beyond the
    nip line, and meanwhile be fed until what is bent has settled.
    """
    return reach + (GRIP_EDGE + JUST_BENT_THICKNESSES[1]) * case.sheet.thickness


def sheet_limit(
    case: Case, radius: float, loaded: float, reach: float
) -> LimitKind | None:
    """Name the limit that the sheet sets to a pass; None without one."""
    if case.sheet.length < needed_length(case, reach):
        return LimitKind.EDGE
    allowed = Rating.of(case).surface_strain
    if allowed is not None and surface_strain(case, loaded) > allowed:
        return LimitKind.STRAIN
    if math.isinf(radius):
        return LimitKind.NO_SET
    bound = wrap_curvature(case.machine, case.sheet.thickness)
    return LimitKind.WRAP if 1.0 / loaded >= WRAPPED_CURVATURE_SHARE * bound else None


def _limit(
    case: Case, result: Result, radius: float, loaded: float
) -> LimitKind | None:
    stops = [LimitKind(event.kind) for event in result.events if event.level == "stop"]
    serious = [kind for kind in stops if kind not in CURL_LIMITS]
    if serious:
        return serious[0]
    if math.isnan(radius):
        return stops[0] if stops else LimitKind.EDGE
    return sheet_limit(case, radius, loaded, _reach(result))


def _reach(result: Result) -> float:
    """Sheet between the nip line and the rear roll at the end of a pass, mm."""
    frames, s = result.frames, result.sheet["s_node"]
    x, y = frames["x"][-1], frames["y"][-1]
    roll = frames["roll_x"][-1, REAR], frames["roll_y"][-1, REAR]
    nearest = int(np.argmin(np.hypot(x - roll[0], y - roll[1])))
    return abs(float(s[nearest] - frames["nip"][-1]))

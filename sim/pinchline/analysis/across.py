"""A job across the width: rolls bend between their bearings, so the middle bends less.

The sheet is cut into strips, the stations. Each is a job of its own; what couples them
are the rolls, shafts under the line forces of all stations. Along the whole job, every
station's rolls stand where the shafts' deflected lines put them: the jobs are repeated
with the lines of the round before until these stay where they are. The strips pull on
each other in no other way: a real sheet's own stiffness evens out part of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pinchline import parallel
from pinchline.case.moves import Feed, Lift
from pinchline.case.program import lift_key
from pinchline.errors import InputError, SolverError
from pinchline.solvers.ratings import Excess, exceeded, grip_slack, over_the_width
from pinchline.solvers.stepped.program import run_shifted
from pinchline.solvers.stepped.roll_offsets import POINTS, Track
from pinchline.solvers.supports import (
    roll_influence,
    support_stiffness,
    width_strips,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.case.demand import LimitKind
    from pinchline.results.schema import Result

    Array = NDArray[np.float64]
    Progress = Callable[[float, str], None]

# 6 to 8 settle the demo at 5 to 25 stations, stiffer nips take more
MAX_SHAFT_ROUNDS = 24
# of the lines of the rolls, root mean square: they stay where they are
ROLL_LINE_TOLERANCE = 0.03
ROLL_LINE_FLOOR_MM = 1.0e-3  # mm; smaller lines are held to the same length
ANDERSON_HISTORY_ROUNDS = 4  # rounds that the next guess is made from


@dataclass(frozen=True)
class WidthStation:
    """Result of one strip of the sheet at a place across the width.

    z: its middle, from the sheet's middle, + to the right (mm); lift: largest of its
    own (mm); radius, opening: of its free part, over the zone common to all (mm);
    forces: largest push on upper, lower and rear roll (N/mm); shifts: of those rolls
    away from the sheet, from the mean of their lines over the width, then (mm).
    """

    z: float
    lift: float
    radius: float
    opening: float
    turned_angle: float
    forces: Array
    shifts: Array
    result: Result


@dataclass(frozen=True)
class Across:
    """Result of a job at stations across the width.

    barrel: rise in the middle over the edges of a parabola through the stations' radii
    (mm), NaN of fewer than three; taper: its change from the left to the right edge
    (mm); cone: angle between opposite sides of the cone that makes (rad); edge_force:
    largest push on a pinch roll at a side edge, by a parabola through the stations'
    (N/mm); grip_margin: smallest, when feeding, of the mean over the width (N/mm);
    excesses: limits of the machine that the whole width exceeds, the worst of each,
    with its move; rounds of the jobs, and the change of the rolls' lines in the last
    one, root mean square, over the lines.
    """

    stations: tuple[WidthStation, ...]
    width: float
    barrel: float
    taper: float
    cone: float
    edge_force: float
    grip_margin: float
    excesses: tuple[tuple[int, Excess], ...]
    rounds: int
    change: float

    @property
    def settled(self) -> bool:
        """Whether the lines of the rolls came to rest."""
        return self.change <= ROLL_LINE_TOLERANCE

    @property
    def stopped(self) -> bool:
        """Whether an event stopped a station's job."""
        return any(station.result.stopped for station in self.stations)


def across(
    case: Case,
    *,
    stations: int = 5,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Across:
    """Solve a job at stations across the width, with the rolls as elastic shafts.

    Parameters
    ----------
    case : whose machine has a nip that gives and a ``[rolls.shaft]``
    stations : strips of equal width, 2 to 25
    workers : processes; None takes all cores
    progress : called with the share done (0..1), of the rounds that may come

    Returns
    -------
    The part and the loads by station, from left to right, and what follows over the
    width: barrel and taper in mm, cone in rad, forces in N/mm.

    Raises
    ------
    InputError
        The machine's rolls do not bend.
    SolverError
        A station's job has no equilibrium.

    Examples
    --------
    >>> import pinchline as pl
    >>> case = pl.load_case("strut-fairing")
    >>> try:
    ...     pl.across(case, stations=1)
    ... except pl.InputError as error:
    ...     print(error.message)
    so many stations make no sense
    """
    _check(case, stations)
    start, stop = width_strips(case, stations)
    shafts = _Shafts(case, start, stop)
    jobs = [_skewed(case, z) for z in shafts.z]
    alone = _own_half(case, stations)
    moves = len(case.moves)
    shifts = np.zeros((stations, moves, POINTS, 3))
    zone: tuple[float, float] | None = None
    guess = _AndersonMixing()
    rounds, change = 0, math.inf
    with parallel.workers(workers, len(alone)) as do_all:
        while rounds < MAX_SHAFT_ROUNDS and change > ROLL_LINE_TOLERANCE:
            if progress is not None:
                progress(
                    rounds / MAX_SHAFT_ROUNDS, f"round {rounds + 1} across the width"
                )
            tasks = [(jobs[i], Track(shifts[i]), zone, i) for i in alone]
            done = list(do_all(_station, tasks))
            found = [done[alone.index(i)] for i in _mirrored(alone, stations)]
            forces = np.array([track.values[:, :, :3] for _, track in found])
            lines = shafts.lines(forces)
            change = _rms(lines - shifts) / max(_rms(lines), ROLL_LINE_FLOOR_MM)
            shifts = guess.next(shifts, lines)
            zone = _common_zone([result for result, _ in found])
            rounds += 1
    return _collected(case, shafts, jobs, found, rounds, change)


def _rms(lines: Array) -> float:
    """Root mean square, mm."""
    return float(np.sqrt(np.mean(lines * lines)))


class _AndersonMixing:
    """Anderson acceleration of the roll lines over the rounds before.

    A stiff nip lets a round close only part of what is missing. The combination of the
    last rounds that would have missed least is taken (D. G. Anderson, J. ACM 12 (1965)
    547-560).
    """

    def __init__(self) -> None:
        self._rounds: list[tuple[Array, Array]] = []

    def next(self, shifts: Array, lines: Array) -> Array:
        """Return the next roll lines, from those assumed and those computed."""
        self._rounds = [*self._rounds, (lines - shifts, lines)][
            -ANDERSON_HISTORY_ROUNDS:
        ]
        missing, found = self._rounds[-1]
        older = self._rounds[:-1]
        if not older:
            return lines
        turns = np.array([(missing - before).ravel() for before, _ in older])
        weights, *_ = np.linalg.lstsq(turns.T, missing.ravel(), rcond=1.0e-3)
        better = found.copy()
        for weight, (_, before) in zip(weights, older, strict=True):
            better -= weight * (found - before)
        return better


def _check(case: Case, stations: int) -> None:
    machine = case.machine
    if machine.rolls.shaft is None or not machine.nip.gives:
        message = "the rolls of this machine do not bend"
        raise InputError(
            message,
            file=case.path,
            key="machine.rolls.shaft",
            allowed="a machine with a table [rolls.shaft] and nip.clamp",
        )
    if not 2 <= stations <= 25:
        message = "so many stations make no sense"
        raise InputError(message, key="stations", value=stations, allowed="2 to 25")


class _Shafts:
    """The three rolls as shafts under the forces of the stations.

    ``lines``: what the shafts' lines add to where a station's own job has its rolls
    stand; linear in the forces, one matrix a roll.
    """

    def __init__(self, case: Case, start: Array, stop: Array) -> None:
        shaft = case.machine.rolls.shaft
        assert shaft is not None
        middle = 0.5 * shaft.span + case.sheet.off_centre
        self.z = 0.5 * (start + stop) - middle
        stiffness = support_stiffness(case)
        own = [1.0 / k if k > 0.0 else 0.0 for k in stiffness]
        matrices = []
        self.own = np.zeros(
            3
        )  # compliance that a station's own support has, mm per N/mm
        for roll in range(3):
            bent = roll_influence(case.machine, roll, start, stop)
            mean = float(np.mean(np.sum(bent, axis=1)))
            if math.isclose(mean, own[roll], rel_tol=1.0e-3):
                matrices.append(bent - own[roll] * np.eye(start.size))
                self.own[roll] = own[roll]
            else:  # the card tells a stiffness: bending adds its shape alone
                matrices.append(bent - np.mean(bent, axis=0))
        self.matrices = np.array(matrices)

    def lines(self, forces: Array) -> Array:
        """Shifts (mm) by forces (N/mm), both ``(stations, moves, points, 3)``."""
        shifted: Array = np.einsum("rij,jmpr->impr", self.matrices, forces)
        return shifted

    def bows(self, forces: Array) -> Array:
        """Lines of the bent shafts from their means over the width (mm), as ``lines``.

        That is the whole deflection, a station's own share of it included.
        """
        bent = self.lines(forces) + self.own * forces
        bowed: Array = bent - np.mean(bent, axis=0)
        return bowed


def _skewed(case: Case, from_middle: float) -> Case:
    """Give the job of a station, its rear roll as much higher as the skew says."""
    shaft = case.machine.rolls.shaft
    assert shaft is not None
    place = from_middle + case.sheet.off_centre
    rise = case.machine.rear.skew * place / shaft.span
    if rise == 0.0:
        return case
    changes = {}
    for number, move in enumerate(case.moves, 1):
        key = lift_key(move)
        lift = getattr(move, key) if key else 0.0
        if lift > 0.0:  # a roll that is all the way down stays so
            changes[f"move.{number}.{key}"] = max(0.0, lift + rise)
    return case.replace(changes)


def _own_half(case: Case, stations: int) -> list[int]:
    """Stations to be computed: one half where the other is its mirror image."""
    even = case.machine.rear.skew == 0.0 and case.sheet.off_centre == 0.0
    return list(range((stations + 1) // 2 if even else stations))


def _mirrored(alone: list[int], stations: int) -> list[int]:
    return [i if i in alone else stations - 1 - i for i in range(stations)]


def _station(
    job: tuple[Case, Track, tuple[float, float] | None, int],
) -> tuple[Result, Track]:
    """Do one station's job, measured over the common zone; runs in a process."""
    case, shifts, zone, number = job
    if zone is not None and case.measure.zone_from is None:
        common = {"measure.zone_from": zone[0], "measure.zone_to": zone[1]}
        case = case.replace(common)
    try:
        return run_shifted(case, shifts)
    except SolverError as error:
        message = f"Station {number + 1} across the width: {error}"
        raise SolverError(message) from None


def _common_zone(results: list[Result]) -> tuple[float, float] | None:
    """Zone that lies in every station's plateau; None where they share none."""
    low = max(result.summary["zone_from"] for result in results)
    high = min(result.summary["zone_to"] for result in results)
    longest = results[0].inputs["length"]
    shared = low + 0.02 * longest < high  # False with NaN
    return (low, high) if shared else None


def _collected(
    case: Case,
    shafts: _Shafts,
    jobs: list[Case],
    found: list[tuple[Result, Track]],
    rounds: int,
    change: float,
) -> Across:
    made = []
    bows = shafts.bows(np.array([track.values[:, :, :3] for _, track in found]))
    for i, (result, track) in enumerate(found):
        flat = track.values[:, :, :3].reshape(-1, 3)
        peak = np.argmax(flat, axis=0)
        shift = bows[i].reshape(-1, 3)[peak, range(3)]
        lifts = [move.to for move in jobs[i].moves if isinstance(move, Lift)]
        made.append(
            WidthStation(
                z=float(shafts.z[i]),
                lift=max(lifts, default=0.0),
                radius=result.summary["radius_fit"],
                opening=result.summary["opening"],
                turned_angle=result.summary["turned_angle"],
                forces=flat[peak, range(3)],
                shifts=shift,
                result=result,
            )
        )
    z = np.array([station.z for station in made])
    pinch = np.array([np.max(station.forces[:2]) for station in made])
    feeds = [i for i, move in enumerate(case.moves) if isinstance(move, Feed)]
    grip = np.mean([track.values[feeds, :, 3] for _, track in found], axis=0)
    barrel, taper, cone = shape_across(
        z, np.array([station.radius for station in made]), case.sheet.width
    )
    return Across(
        stations=tuple(made),
        width=case.sheet.width,
        barrel=barrel,
        taper=taper,
        cone=cone,
        edge_force=_at_the_edges(z, pinch, case.sheet.width),
        grip_margin=float(np.min(grip, initial=math.inf)),
        excesses=_excesses(case, z, found),
        rounds=rounds,
        change=change,
    )


def _excesses(
    case: Case, z: Array, found: list[tuple[Result, Track]]
) -> tuple[tuple[int, Excess], ...]:
    """Limits that the stations together exceed: of each the worst, with its move."""
    slack = grip_slack(case, found[0][0].inputs["moment_first_yield"])
    logs = np.array([track.values for _, track in found])
    worst: dict[LimitKind, tuple[int, Excess]] = {}
    for move in range(logs.shape[1]):
        for now in np.moveaxis(logs[:, move], 1, 0):
            drive = now[:, 4]
            demand = over_the_width(case, z, now[:, :3], drive, now[:, 3])
            for excess in exceeded(case, demand, abs(float(np.mean(drive))), slack):
                known = worst.get(excess.kind)
                if known is None or abs(excess.value) > abs(known[1].value):
                    worst[excess.kind] = (move + 1, excess)
    return tuple(worst.values())


def _at_the_edges(z: Array, force: Array, width: float) -> float:
    """Larger force (N/mm) at the two side edges, by a parabola through the strips'.

    The outermost strip's middle comes nearer to the edge the more strips there are,
    and its force grows with that; the edge's own does not.
    """
    fit = np.polynomial.Polynomial.fit(z, force, min(2, z.size - 1))
    return float(np.max(fit(np.array([-0.5, 0.5]) * width)))


def shape_across(z: Array, radius: Array, width: float) -> tuple[float, float, float]:
    """Barrel and taper (mm) and cone angle (rad) of radii at places across the width.

    A parabola through the radii; the barrel is its rise in the middle over the edges,
    which two places cannot show, the taper its change from left to right. A cone whose
    radius square to its ruling changes by ``dR/dz`` along it opens by
    ``2 atan(dR/dz)``. NaN where a radius is not finite.
    """
    if not np.all(np.isfinite(radius)):
        return math.nan, math.nan, math.nan
    order = min(2, z.size - 1)
    fit = np.polynomial.Polynomial.fit(z, radius, order).convert().coef
    slope = float(fit[1]) if fit.size > 1 else 0.0
    bow = (float(fit[2]) if fit.size > 2 else 0.0) if z.size > 2 else math.nan
    return -bow * (0.5 * width) ** 2, slope * width, 2.0 * math.atan(abs(slope))

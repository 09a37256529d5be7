"""Causes of a part's edge flats, crease and waves.

All from the record of one run: the largest moment that each place of the sheet ever
bore and the move and the place in the machine where it bore it, against the moment of
first yield. Below that nothing can remain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from pinchline import units
from pinchline.messages import alone
from pinchline.solvers.rolls import GRIP_EDGE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.results.schema import Result
    from pinchline.units import System

    Array = NDArray[np.float64]

Side = Literal["operator", "rear"]
Reason = Literal[
    "left in hand",
    "left the rear roll",
    "lay ahead of the nip",
    "stopped",
    "not bent at all",
]

# thicknesses from a flat's end within which the nip line stopped for it
NEAR_FLAT_THICKNESSES = 3.0
LEAST_WAVE_SHARE = 0.05  # of the level a half comes to: waves are larger than this
AT_NIP_LINE_MM = 0.5  # mm
CREASE_REACH_THICKNESSES = 4.0  # thicknesses round a crease that are its own


@dataclass(frozen=True)
class EdgeFlat:
    """The flat at one edge of a part, and its cause.

    straightedge, moment: the two flats (mm); move, place: of the largest moment that
    the sheet just inside the flat ever bore, the place from the nip line toward the
    rear roll (mm); in_hand: sheet between the nip line and the edge where a feed
    brought them nearest (mm), NaN without a feed; reason: what ended the bend there;
    shortest: flat by moment that this machine could leave there (mm), by the words of
    ``how``.
    """

    side: Side
    straightedge: float
    moment: float
    move: int
    place: float
    in_hand: float
    reason: Reason
    shortest: float
    how: str


@dataclass(frozen=True)
class Waves:
    """Unevenness of one side of the crease.

    level: curvature it settles to (1/mm); largest: farthest departure from it, of the
    level; at: its s; reach: how far from the crease departures of 5 % go (mm).
    """

    side: Side
    level: float
    largest: float
    at: float
    reach: float


def explain_flats(result: Result) -> tuple[EdgeFlat, EdgeFlat]:
    """Explain the flat at the operator's edge and the one nearer the rear roll."""
    return _edge(result, "operator"), _edge(result, "rear")


def _edge(result: Result, side: Side) -> EdgeFlat:
    values, inputs = result.summary, result.inputs
    moment = values[f"flat_{side}_moment"]
    straight = values[f"flat_{side}_straightedge"]
    length = inputs["length"]
    in_hand = _nearest(result, side)
    if moment >= length:
        return EdgeFlat(
            side, straight, moment, 0, math.nan, in_hand, "not bent at all",
            math.nan, "more lift: no moment came past first yield anywhere",
        )  # fmt: skip
    move, place = _neighbour(result, side, moment)
    reason = _reason(result, side, moment, move, in_hand)
    shortest, how = _shortest(result, side, reason, moment, in_hand)
    return EdgeFlat(side, straight, moment, move, place, in_hand, reason, shortest, how)


def _from_edge(result: Result, side: Side) -> Array:
    """Distance of every element's middle from an edge, mm."""
    s: Array = result.sheet["s"]
    return s if side == "operator" else result.inputs["length"] - s


def _nearest(result: Result, side: Side) -> float:
    """Sheet between the nip line and an edge where a feed brought them nearest, mm."""
    nip = result.steps["nip"][np.isin(result.steps["move"], _feeds(result))]
    nip = nip[np.isfinite(nip)]
    if not nip.size:
        return math.nan
    away = nip if side == "operator" else result.inputs["length"] - nip
    return float(np.min(away))


def _feeds(result: Result) -> list[int]:
    """Numbers of the moves that feed."""
    lines = result.labels["moves"].splitlines()
    return [n for n, line in enumerate(lines, 1) if line.startswith("feed")]


def _neighbour(result: Result, side: Side, flat: float) -> tuple[int, float]:
    """Move and place of the largest moment just inside a flat."""
    away = _from_edge(result, side)
    inside = away > flat
    first = int(np.argmin(np.where(inside, away, math.inf)))
    move = int(result.sheet["moment_peak_move"][first])
    return move, float(result.sheet["moment_peak_place"][first])


def _reason(
    result: Result, side: Side, flat: float, move: int, in_hand: float
) -> Reason:
    thickness = result.inputs["thickness"]
    if (
        move in _feeds(result)
        and abs(flat - in_hand) <= NEAR_FLAT_THICKNESSES * thickness
    ):
        stopped = any(e.level == "stop" and e.move == move for e in result.events)
        return "stopped" if stopped else "left in hand"
    gone = [e for e in result.events if e.kind == "edge leaves the rear roll"]
    if side == "rear" and any(e.move == move for e in gone):
        return "left the rear roll"
    return "lay ahead of the nip"


def _shortest(
    result: Result, side: Side, reason: Reason, flat: float, in_hand: float
) -> tuple[float, str]:
    """Shortest flat by moment, and how to get it.

    A pass that goes on until the nip just holds the sheet leaves what the nip needs and
    what this pass left beyond the nip line. Where no pass came near this edge, the
    other edge tells how much that is, for the sheet turned end for end.
    """
    least = GRIP_EDGE * result.inputs["thickness"]
    if reason in ("left in hand", "stopped"):
        return least + flat - in_hand, "leave"
    other: Side = "rear" if side == "operator" else "operator"
    flat_there = result.summary[f"flat_{other}_moment"]
    hand_there = _nearest(result, other)
    beyond = flat_there - hand_there
    how = "turn the sheet end for end, feed again and leave"
    if not abs(beyond) <= NEAR_FLAT_THICKNESSES * result.inputs["thickness"]:
        return least, how
    return least + beyond, how


def flat_words(flat: EdgeFlat, result: Result, system: System = "metric") -> list[str]:
    """Describe one edge flat in two or three lines, in shop units."""
    edges = {"operator": "operator's edge", "rear": "edge nearer the rear roll"}
    name = edges[flat.side]
    if flat.reason == "not bent at all":
        return [f"{name}: flat all along; {flat.how}"]
    moves = alone(result.labels["moves"], system).splitlines()
    said = moves[flat.move - 1] if 0 < flat.move <= len(moves) else "no move"
    where = "at the nip line"
    if abs(flat.place) >= AT_NIP_LINE_MM:
        way = "behind" if flat.place > 0.0 else "before"
        where = f"{_length_words(abs(flat.place), system)} {way} the nip line"
    most = f"was bent most in move {flat.move} ({said}), {where}"
    lines = [
        f"{name}: the sheet just inside the flat {most}",
        _reason_words(flat, result, system),
    ]
    if math.isfinite(flat.shortest):
        least = _length_words(GRIP_EDGE * result.inputs["thickness"], system)
        shortest = f"{_length_words(flat.shortest, system)} by moment"
        lines.append(f"shortest flat here: {shortest}; {flat.how} {least} in hand")
    return lines


def _length_words(value: float, system: System) -> str:
    return units.format(value, "length", system)


def _reason_words(flat: EdgeFlat, result: Result, system: System) -> str:
    in_hand = _length_words(flat.in_hand, system)
    if flat.reason == "left in hand":
        return (
            f"it is flat because the feed ended with {in_hand} in hand: that sheet "
            "never reached the nip"
        )
    if flat.reason == "stopped":
        return (
            f"it is flat because the move was stopped with {in_hand} between nip line "
            "and edge"
        )
    if flat.reason == "left the rear roll":
        left = [
            _length_words(e.value, system)
            for e in result.events
            if e.kind == "edge leaves the rear roll" and e.move == flat.move
        ]
        return (
            f"it is flat because the edge left the rear roll with {left[-1]} beyond "
            "the nip: from there on nothing bent it"
        )
    return (
        "it is flat because it lay ahead of the nip: there the moment falls off to "
        "nothing at the rear roll, and no feed brought it back into the nip"
    )


def find_waves(result: Result) -> list[Waves]:
    """Find the unevenness on either side of the crease; empty without a crease."""
    crease = result.summary["crease_s"]
    if math.isnan(crease):
        return []
    found = []
    s, residual = result.sheet["s"], result.sheet["curvature_residual"]
    reach = CREASE_REACH_THICKNESSES * result.inputs["thickness"]
    length = result.inputs["length"]
    for side in ("operator", "rear"):
        flat = result.summary[f"flat_{side}_straightedge"]
        low, high = (
            (flat, crease - reach)
            if side == "operator"
            else (crease + reach, length - flat)
        )
        here = (s > low) & (s < high)
        if np.count_nonzero(here) < 8:
            continue
        away, k = np.abs(s[here] - crease), residual[here]
        far = away >= np.quantile(away, 2.0 / 3.0)
        level = float(np.median(k[far]))
        if level <= 0.0:
            continue
        part = k / level - 1.0
        worst = int(np.argmax(np.abs(part)))
        uneven = np.abs(part) > LEAST_WAVE_SHARE
        if not np.any(uneven):
            continue
        found.append(
            Waves(
                side="operator" if side == "operator" else "rear",
                level=level,
                largest=float(part[worst]),
                at=float(s[here][worst]),
                reach=float(np.max(away[uneven])),
            )
        )
    return found


def crease_words(result: Result, system: System = "metric") -> list[str]:
    """Describe crease and waves, and what avoids them."""
    crease, height = result.summary["crease_s"], result.summary["crease_height"]
    if math.isnan(crease):
        return []
    at, distance = (
        _length_words(value, system)
        for value in (crease, result.inputs["rear_distance"])
    )
    raised = "the rear roll was raised with the sheet at rest"
    lines = [
        f"crease: {raised}; at s = {at} that left {height:.1f} times the plateau's bend"
    ]
    for wave in find_waves(result):
        name = "operator's" if wave.side == "operator" else "rear"
        far, place = _length_words(wave.reach, system), _length_words(wave.at, system)
        worst = f"by {wave.largest:+.0%} at s = {place}"
        lines.append(f"{name} side: uneven as far as {far} from it, {worst}")
    lines.append(
        "a lift carried along the feed (lift_to) avoids it; over about "
        f"{distance}, as far as from nip to rear roll"
    )
    return lines

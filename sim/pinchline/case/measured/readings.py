"""Kinds of reading taken off a strip: columns, limits, prediction and error of each.

Everything that a kind of reading means stands in its row of ``READING_TYPES``; the
reader of measurement files, the fit and its tables take it from there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from pinchline.case.fields import Record

if TYPE_CHECKING:
    from collections.abc import Callable

    from pinchline.units import Dimension

FeedDirection = Literal["rear", "operator"]
Side = Literal["inside", "middle", "outside"]
Kind = Literal[
    "rise", "diameter", "radius", "opening", "flat", "thickness", "hand force"
]

HAND_FORCE_ERROR_SHARE = (
    0.2  # of the hand's force: efficiency and friction of the drive; assumed
)
_MAX_FLAT_SHARE = 0.02  # of the marks: what the reading of a flat strip may be off
_NO_BEND_CURVATURE = 1.0e-6  # 1/mm: less is no bend


class Reading(Record):
    """One number read off a strip.

    Attributes
    ----------
    kind : what was measured
    value, error : mm or N; the error is one standard deviation
    side : of the sheet, where a radius was measured on it
    beside : chord of a rise, or length along the sheet between the marks of an
        opening, mm; 0 where there is none
    line : of the file
    """

    kind: Kind
    value: float
    error: float
    side: Side = "middle"
    beside: float = 0.0
    line: int = 0

    @property
    def type(self) -> ReadingType:
        """What a reading of this kind means."""
        return READING_TYPES[self.kind]


class PredictedStrip(NamedTuple):
    """Predicted bend of a strip.

    curvature: left, of the mid-line (1/mm); hand: force at the crank (N), NaN without
    one; thickness: mm. NaN where the model finds no pass. run_out: what of the flat at
    the edge that leaves the rear roll is none of the bend's, mm; gap: at which a
    straightedge on it ends the flat, mm.
    """

    curvature: float
    hand: float
    thickness: float
    run_out: float = math.nan
    gap: float = 0.0


def _model_error_of_bend(bend: float, _at: float, _run_out: float) -> float:
    return bend


def _nothing_wrong(_value: float, _beside: float, _way: FeedDirection) -> None:
    return None


@dataclass(frozen=True)
class ReadingType:
    """A kind of reading: how a file gives it, what the model predicts, how it errs.

    Attributes
    ----------
    predict : what a reading should be of a strip as predicted, mm or N
    dimension : of the number
    beside : column it cannot be understood without; empty where there is none
    on_a_face : whether it tells the curvature of one side of the sheet
    proportional : whether its relative error is that of the curvature
    by_curvature : whether its error counts in curvature, which is its inverse:
        parameters change curvature evenly, and a flat strip has one
    from_zero : whether zero can be read
    of_the_edge : whether the prediction needs the flat at the edge fed out last
    model_error : of the prediction, from the part by the model's error of curvature,
        what is predicted, and the error of the flat at the edge (mm)
    fault : what is wrong with a number (value, beside, way) and what is allowed
    """

    predict: Callable[[Reading, PredictedStrip], float]
    dimension: Dimension = "length"
    beside: str = ""
    on_a_face: bool = False
    proportional: bool = False
    by_curvature: bool = False
    from_zero: bool = False
    of_the_edge: bool = False
    model_error: Callable[[float, float, float], float] = _model_error_of_bend
    fault: Callable[[float, float, FeedDirection], tuple[str, str] | None] = (
        _nothing_wrong
    )


def predicted(reading: Reading, bent: PredictedStrip) -> float:
    """Predicted value of a reading, in mm or N; infinite for the radius of a flat."""
    return reading.type.predict(reading, bent)


def in_error_measure(reading: Reading, value: float) -> float:
    """Value in the measure in which its error is normal: the curvature for a radius."""
    if reading.type.by_curvature:
        return 0.0 if math.isinf(value) else 1.0 / value
    return value


def sigma(
    reading: Reading, model: float, at: float, more: float, run_out: float
) -> float:
    """Error of a reading, the model's own with it, as ``in_error_measure`` measures.

    Parameters
    ----------
    reading : with its error
    model : error of the curvature that the model makes, relative
    at, more : what is predicted, and what a curvature higher by a thousandth would be
    run_out : error of the flat that the model makes beside, mm
    """
    error = reading.error
    if reading.type.by_curvature:
        error = error / reading.value**2
    bend = (
        model
        * (in_error_measure(reading, more) - in_error_measure(reading, at))
        / 0.001
    )
    return math.hypot(error, reading.type.model_error(bend, at, run_out))


def straightedge_length(curvature: float, gap: float) -> float:
    """Length of arc (mm) over which a straightedge tangent to it comes to gape.

    ``sqrt(2 g/k)``: the part of a flat by straightedge that is bent.
    """
    return math.sqrt(2.0 * gap / max(curvature, _NO_BEND_CURVATURE))


def rise_over(curvature: float, chord: float) -> float:
    """Rise (mm) of an arc over a chord (mm), on past half a circle as a straight line.

    ``h = c^2 k / 4 / (1 + sqrt(1 - (c k / 2)^2))``, which holds for flat sheet too.
    """
    sine = 0.5 * chord * curvature
    if sine >= 1.0:
        return 0.5 * chord * sine
    return 0.5 * chord * sine / (1.0 + math.sqrt(1.0 - sine * sine))


def _outward(reading: Reading, bent: PredictedStrip) -> float:
    """Distance of the measured face from the mid-line, mm; inside is below zero."""
    half = 0.5 * bent.thickness
    return {"inside": -half, "middle": 0.0, "outside": half}[reading.side]


def _face_curvature(reading: Reading, bent: PredictedStrip) -> float:
    return bent.curvature / (1.0 + _outward(reading, bent) * bent.curvature)


def _radius(reading: Reading, bent: PredictedStrip) -> float:
    k = _face_curvature(reading, bent)
    return math.inf if k <= 0.0 else 1.0 / k


def _diameter(reading: Reading, bent: PredictedStrip) -> float:
    k = _face_curvature(reading, bent)
    return math.inf if k <= 0.0 else 2.0 / k


def _rise(reading: Reading, bent: PredictedStrip) -> float:
    return rise_over(_face_curvature(reading, bent), reading.beside)


def _opening(reading: Reading, bent: PredictedStrip) -> float:
    turned = 0.5 * reading.beside * bent.curvature
    return reading.beside * float(np.sinc(turned / math.pi)) + 2.0 * _outward(
        reading, bent
    ) * math.sin(turned)


def _rise_fault(
    value: float, chord: float, _way: FeedDirection
) -> tuple[str, str] | None:
    if value <= 0.5 * chord:
        return None
    than = "the chord" if value > chord else "half the chord"
    return f"the rise is larger than {than}", (
        f"a rise up to half of the chord, {chord:.4g} mm; measure over an arc of "
        "less than half a circle"
    )


def _opening_fault(
    value: float, marks: float, _way: FeedDirection
) -> tuple[str, str] | None:
    if value <= (1.0 + _MAX_FLAT_SHARE) * marks:
        return None
    allowed = f"up to {marks:.4g} mm, the length along the sheet"
    return "the opening is larger than the sheet between the marks", allowed


def _flat_fault(
    _value: float, _beside: float, way: FeedDirection
) -> tuple[str, str] | None:
    if way != "rear":
        return None
    return "the flat of a strip fed toward the rear is what was left in hand", (
        "that of a strip fed toward the operator until its edge has left the rear "
        "roll, measured at that edge"
    )


READING_TYPES: dict[Kind, ReadingType] = {
    "rise": ReadingType(
        _rise,
        beside="chord",
        on_a_face=True,
        proportional=True,
        from_zero=True,
        fault=_rise_fault,
    ),
    "diameter": ReadingType(
        _diameter, on_a_face=True, proportional=True, by_curvature=True
    ),
    "radius": ReadingType(
        _radius, on_a_face=True, proportional=True, by_curvature=True
    ),
    "opening": ReadingType(
        _opening, beside="marks", on_a_face=True, fault=_opening_fault
    ),
    "flat": ReadingType(
        lambda _, bent: bent.run_out + straightedge_length(bent.curvature, bent.gap),
        of_the_edge=True,
        model_error=lambda bend, _, run_out: math.hypot(bend, run_out),
        fault=_flat_fault,
    ),
    "thickness": ReadingType(lambda _, bent: bent.thickness),
    "hand force": ReadingType(
        lambda _, bent: bent.hand,
        dimension="force",
        model_error=lambda _bend, at, _run_out: HAND_FORCE_ERROR_SHARE * at,
    ),
}

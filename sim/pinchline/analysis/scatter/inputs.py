"""Scattered inputs of a case: their distributions and where those come from.

A standard deviation is a normal law, cut at three of them. Of a tolerance nothing is
known but its limits: all of it is as likely (rectangular law; ISO/IEC Guide 98-3, the
GUM, 4.3.7, from memory). What ``[scatter]`` of the case does not tell has a default.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple

from scipy.special import ndtr, ndtri

from pinchline import units
from pinchline.case.metal.material import typical_values
from pinchline.case.metal.tempers import own_source
from pinchline.case.moves import Lower, Place
from pinchline.case.program import lift_key
from pinchline.case.spread import MAX_RELATIVE_SPREAD
from pinchline.case.variation import rebuilt, strengthened
from pinchline.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.case.moves import Move
    from pinchline.case.spread import Spread
    from pinchline.units import Dimension

    Array = NDArray[np.float64]

NORMAL_CUT_SD = 3.0  # standard deviations, at which a normal law is cut
# thickness of flat sheet up to (in), tolerance (in): general alloys, widths to 39-48 in
THICKNESS_TOLERANCES = (
    (0.017, 0.0015),
    (0.036, 0.002),
    (0.045, 0.0025),
    (0.068, 0.003),
    (0.096, 0.0035),
    (math.inf, 0.0045),
)
TOLERANCE_SOURCE = "ANSI H35.2, from memory"
# standard deviations by which a handbook minimum lies below the mean: 99 % and 90 % of
# the sheet exceed it; of a specification minimum (S) nothing is warranted
BASIS_QUANTILE_SD = {"A": 2.326, "B": 1.282, "S": 2.326}
BASIS_EXCEEDANCE = {"A": "99 %", "B": "90 %", "S": "99 % (assumed)"}
YIELD_SPREAD, TANGENT_SPREAD, YOUNGS_SPREAD = 0.05, 0.20, 0.01  # of the value; assumed
CLAMP_SPREAD, FRICTION_SPREAD = 0.30, 0.20  # snugged by hand; clean or oily; assumed
TOUCH_SPREAD_MM = 0.10  # mm: judged by eye and a strip of paper; assumed
SETTING_SPREAD_TURNS = 0.05  # of a turn of the screws, to which a lift is set; assumed
ASSUMED = "assumed"
INPUT_GROUPS = (
    "thickness",
    "yield_strength",
    "tangent_modulus",
    "youngs_modulus",
    "clamp",
    "friction",
    "touch",
    "lift",
)
INPUT_WORDS = {
    "thickness": "thickness",
    "yield_strength": "yield strength",
    "tangent_modulus": "tangent modulus",
    "youngs_modulus": "Young's modulus",
    "clamp": "clamp",
    "friction": "friction in the nip",
    "touch": "touch of the rear roll",
    "lift": "setting of the lift",
}
INPUT_DIMENSIONS: dict[str, Dimension | None] = {
    "thickness": "length",
    "yield_strength": "stress",
    "tangent_modulus": "stress",
    "youngs_modulus": "stress",
    "clamp": "line_force",
    "friction": None,
    "touch": "length",
    "lift": "length",
}


class ScatterInput(NamedTuple):
    """One scattered input and its distribution.

    key : of ``[scatter]``; middle : of its law; spread : standard deviation of a normal
    law before it is cut, half width of an even one; law; origin : why, in words; stated
    : what the case says. In the internal unit of ``DIMENSIONS[key]``.
    """

    key: str
    middle: float
    spread: float
    law: Literal["normal", "even"]
    origin: str
    stated: float

    def at(self, x: Array) -> Array:
        """Values at standard coordinates (``standard``)."""
        values: Array = self.middle + self.spread * x
        return values

    def standard(self, shares: Array) -> Array:
        """Give standard coordinates at shares (0 to 1) of the law, of size 1 or so."""
        if self.law == "even":
            even: Array = 2.0 * shares - 1.0
            return even
        low = float(ndtr(-NORMAL_CUT_SD))
        found: Array = ndtri(low + (1.0 - 2.0 * low) * shares)
        return found

    @property
    def sd(self) -> float:
        """Standard deviation of the law."""
        if self.law == "even":
            return self.spread / math.sqrt(3.0)
        density = math.exp(-0.5 * NORMAL_CUT_SD**2) / math.sqrt(2.0 * math.pi)
        within = 1.0 - 2.0 * float(ndtr(-NORMAL_CUT_SD))
        return self.spread * math.sqrt(1.0 - 2.0 * NORMAL_CUT_SD * density / within)


def inputs_of(case: Case, *, centred: bool = False) -> tuple[ScatterInput, ...]:
    """List what scatters about a case, what is left out aside.

    Parameters
    ----------
    case : with its ``[scatter]``
    centred : the case is taken at its word: every law has its middle where the case
        says, also that of a yield strength that is a handbook minimum

    Raises
    ------
    InputError
        A spread would reach down to nothing, or is one of what the case has not.
    """
    found = []
    defaults = _defaults(case)
    _refuse_absent(case, {one.key for one in defaults})
    for default in defaults:
        spread_given = getattr(case.scatter, default.key)
        one = (
            default if spread_given is None else _specified(default, spread_given, case)
        )
        if centred and one.middle > 0.0:
            spread = one.spread * one.stated / one.middle
            one = one._replace(middle=one.stated, spread=spread)
        if one.spread > 0.0:
            found.append(one)
    return tuple(found)


def _refuse_absent(case: Case, there: set[str]) -> None:
    """Refuse a spread of what the case does not have."""
    why = {
        "clamp": ("the nip has a clearance and no clamp", "a nip with a clamp"),
        "tangent_modulus": (
            "the material has a full curve and no tangent modulus",
            "yield_strength, which moves the whole curve",
        ),
    }
    for key, (message, allowed) in why.items():
        if key not in there and getattr(case.scatter, key) is not None:
            raise InputError(
                message, file=case.path, key=f"scatter.{key}", allowed=allowed
            )


def _specified(default: ScatterInput, spread_given: Spread, case: Case) -> ScatterInput:
    """Give an input as the case specifies it."""
    middle = default.middle if spread_given.middle is None else spread_given.middle
    one = default._replace(middle=middle)
    if spread_given.middle is not None:
        one = one._replace(origin="middle given in the case")
    given = spread_given.tolerance if spread_given.sd is None else spread_given.sd
    if given is None:
        return one
    if (
        spread_given.middle is None
    ):  # a spread of its own says that the case knows the sheet
        middle = default.stated
    spread = given if isinstance(given, float) else given.of(middle)
    if default.key not in ("touch", "lift") and spread > MAX_RELATIVE_SPREAD * middle:
        message = "so wide a spread would reach down to nothing"
        name = "tolerance" if spread_given.sd is None else "sd"
        raise InputError(
            message,
            file=case.path,
            key=f"scatter.{default.key}.{name}",
            value=_shown(spread, INPUT_DIMENSIONS[default.key]),
            allowed=f"up to {100.0 * MAX_RELATIVE_SPREAD:g} % of the middle, "
            f"{_shown(MAX_RELATIVE_SPREAD * middle, INPUT_DIMENSIONS[default.key])}",
        )
    law: Literal["normal", "even"] = "even" if spread_given.sd is None else "normal"
    return one._replace(
        middle=middle, spread=spread, law=law, origin="given in the case"
    )


def _shown(value: float, dimension: Dimension | None) -> str:
    return f"{value:.3g}" if dimension is None else units.format(value, dimension)


def _defaults(case: Case) -> list[ScatterInput]:
    sheet, nip = case.sheet, case.machine.nip
    material, t = sheet.material, sheet.thickness
    found = [
        ScatterInput("thickness", t, _tolerance(t), "even", TOLERANCE_SOURCE, t),
        _strength(case),
    ]
    assumed = [
        ("tangent_modulus", material.tangent_modulus, TANGENT_SPREAD),
        ("youngs_modulus", material.youngs_modulus, YOUNGS_SPREAD),
        ("clamp", nip.clamp or 0.0, CLAMP_SPREAD),
        ("friction", nip.friction, FRICTION_SPREAD),
    ]
    # a curve takes the place of the tangent modulus, a clearance that of the clamp
    absent = {
        "tangent_modulus": material.curve is not None,
        "clamp": nip.clamp is None,
    }
    assumed = [row for row in assumed if not absent.get(row[0], False)]
    found += [
        ScatterInput(key, value, share * value, "normal", ASSUMED, value)
        for key, value, share in assumed
    ]
    turn = SETTING_SPREAD_TURNS * case.machine.rear.screw_pitch
    words = f"{SETTING_SPREAD_TURNS:g} turn of the screws, assumed"
    return [
        *found,
        ScatterInput("touch", 0.0, TOUCH_SPREAD_MM, "normal", ASSUMED, 0.0),
        ScatterInput("lift", 0.0, turn, "even", words, 0.0),
    ]


def _tolerance(thickness: float) -> float:
    """Tolerance (mm) of a sheet's thickness (mm) as mills sell it."""
    for end, tolerance in THICKNESS_TOLERANCES:
        if thickness <= 25.4 * (end + 0.0005):
            return 25.4 * tolerance
    raise AssertionError


def _strength(case: Case) -> ScatterInput:
    """Law of the yield strength, from what the card's values stand for.

    A minimum that so many of a hundred sheets exceed, and the typical value beside it,
    are a normal law. The card's typical value is that of a pull; in bending it is taken
    as much stronger or softer as the minimum is.
    """
    material = case.sheet.material
    stated = material.yield_strength
    own = "given in the case"
    given = {material.sources.get(k) for k in ("yield_strength", "yield_tension")}
    typical = typical_values(own_source(case), case.path)
    below = BASIS_QUANTILE_SD.get(material.basis)
    if typical is not None and below is not None and own not in given:
        pulled = material.yield_tension or stated
        middle = typical.yield_strength * stated / pulled
        if middle > stated:
            words = (
                f"card: a minimum, basis {material.basis}, that "
                f"{BASIS_EXCEEDANCE[material.basis]} exceed; typical "
                f"{units.format(typical.yield_strength, 'stress')}"
            )
            spread = min((middle - stated) / below, MAX_RELATIVE_SPREAD * middle)
            return ScatterInput(
                "yield_strength", middle, spread, "normal", words, stated
            )
    return ScatterInput(
        "yield_strength", stated, YIELD_SPREAD * stated, "normal", ASSUMED, stated
    )


def settings_in(moves: tuple[Move, ...]) -> list[int]:
    """Find the moves (from 0) that set a lift by hand."""
    keys = [lift_key(move) for move in moves]
    return [i for i, key in enumerate(keys) if key and getattr(moves[i], key) > 0.0]


def laid_in_again(case: Case) -> bool:
    """Whether the sheet is taken out and laid in again, so that it is bent twice."""
    return sum(isinstance(move, Place) for move in case.moves) > 1


class VariedValues(NamedTuple):
    """One sheet, nip and hand: what ``varied_case`` and the span solver need.

    strength : yield strength over the case's; lifts : error of each setting of the
    lift, in the order of ``settings_in``, touch included (mm); the rest in mm and MPa,
    N/mm.
    """

    thickness: float
    strength: float
    tangent_modulus: float
    youngs_modulus: float
    clamp: float
    friction: float
    lifts: tuple[float, ...]


def varied_case(case: Case, values: VariedValues) -> Case:
    """Give a case with another sheet, nip and settings."""
    material = strengthened(case.sheet.material, values.strength, values.youngs_modulus)
    changes: dict[str, object] = {
        "sheet.thickness": values.thickness,
        "sheet.material": rebuilt(
            material, {"tangent_modulus": values.tangent_modulus}
        ),
        "machine.nip.friction": values.friction,
    }
    if case.machine.nip.clamp is not None:
        changes["machine.nip.clamp"] = values.clamp
    standing = math.inf
    for place, error in zip(settings_in(case.moves), values.lifts, strict=True):
        move = case.moves[place]
        name = lift_key(move)
        lift = min(max(getattr(move, name) + error, 0.0), case.machine.rear.travel)
        if isinstance(move, Lower):  # it cannot raise the roll
            lift = min(lift, standing)
        changes[f"move.{place + 1}.{name}"] = standing = lift
    return case.replace(changes)

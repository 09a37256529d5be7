"""Parameters of a fit, their priors, and the prediction of strips from them.

A parameter is told in units of its prior's standard deviation, ``x``: 0 is the card's
value. What cannot be below zero goes by its logarithm.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from pinchline.case.measured.readings import PredictedStrip, straightedge_length
from pinchline.case.measured.strips import LIFT_ERROR_MM
from pinchline.case.metal.material import typical_values
from pinchline.case.variation import rebuilt, strengthened
from pinchline.errors import InputError
from pinchline.solvers.ratings import demand_of_pass
from pinchline.solvers.rolls import rear_gap
from pinchline.solvers.steady.follower import Neighbours
from pinchline.solvers.steady.solver import SOLVED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.case.measured.strips import ScrapStrip
    from pinchline.units import Dimension

    Array = NDArray[np.float64]

ParameterName = Literal[
    "yield strength",
    "tangent modulus",
    "touch offset",
    "nip play",
    "clearance",
    "nip stiffness",
    "bearing stiffness",
    "thickness",
]

YIELD_SD, TANGENT_SD, STIFFNESS_SD, PLAY_SD = 0.10, 0.40, 0.50, 0.70  # logarithms
TOUCH_SD_MM = 0.3  # mm
THICKNESS_SD = 0.02
LEAST_PLAY_MM = 0.02  # mm, where the card has none: no machine has none
MAX_PRIOR_DEVIATIONS = 5.0  # standard deviations: as far as a fit looks
# steps of the derivatives: logarithms, and mm for the touch offset
_STEP: dict[ParameterName, float] = {
    "yield strength": 0.01,
    "thickness": 0.01,
    "touch offset": 0.05,
}
_COARSE_STEP = 0.1
_KEYS: dict[ParameterName, str] = {
    "thickness": "sheet.thickness",
    "nip play": "machine.nip.play",
    "clearance": "machine.nip.clearance",
    "nip stiffness": "machine.nip.stiffness",
    "bearing stiffness": "machine.rolls.shaft.bearing_stiffness",
}
FITTED_BASIS = "measured strips"  # basis of a card that a fit wrote
# of the distance to the rear roll: the flat at its edge, at first
FIRST_RUN_OUT_SHARE = 0.6
# mm: error of that, and of the stepped solver's flats (continuum: 0.1 to 0.6)
ROUGH_RUN_OUT_ERROR_MM, FINE_RUN_OUT_ERROR_MM = 5.0, 0.5


class Parameter(NamedTuple):
    """A fitted parameter and its prior.

    name; dimension; median: of the prior, internal unit; spread: standard deviation of
    its logarithm, or (``log`` false) of itself; source: of the spread, in words.
    """

    name: ParameterName
    dimension: Dimension
    median: float
    spread: float
    log: bool
    source: str

    def value(self, x: float) -> float:
        """Give the value at so many standard deviations from the prior's median."""
        if self.log:
            return self.median * math.exp(self.spread * x)
        return self.median + self.spread * x

    @property
    def step(self) -> float:
        """Step of a derivative, in standard deviations."""
        return _STEP.get(self.name, _COARSE_STEP) / self.spread


def parameters_of(case: Case) -> tuple[Parameter, ...]:
    """Give the parameters that strips of a case may determine, with their priors."""
    material = case.sheet.material
    spread, source = _yield_spread(case)
    found = [
        _positive("yield strength", "stress", material.yield_strength, spread, source)
    ]
    if material.curve is None and material.tangent_modulus > 0.0:
        found.append(
            _positive(
                "tangent modulus",
                "stress",
                material.tangent_modulus,
                TANGENT_SD,
                "a factor of 1.5; assumed: a chord is a rough tool",
            )
        )
    offset = case.machine.rear.touch_offset
    seen = f"{TOUCH_SD_MM:g} mm; assumed: touch is seen or felt"
    return (
        *found,
        Parameter(
            "touch offset", "length", offset, TOUCH_SD_MM, log=False, source=seen
        ),
        *_nip_parameters(case),
        _positive(
            "thickness",
            "length",
            case.sheet.thickness,
            THICKNESS_SD,
            "2 %; assumed: sheet as delivered",
        ),
    )


def _positive(
    name: ParameterName, dimension: Dimension, median: float, spread: float, source: str
) -> Parameter:
    return Parameter(name, dimension, median, spread, log=True, source=source)


def _yield_spread(case: Case) -> tuple[float, str]:
    """Spread of the logarithm of the yield strength, and where it is from.

    A handbook's minimum stands below what is delivered: where the card tells a typical
    value too, sheet may well be as far off as that.
    """
    plain = "10 %; assumed: sheet of one temper"
    own = case.table["sheet"]["material"]
    typical = typical_values(own, case.path) if isinstance(own, str) else None
    if typical is None or case.sheet.material.basis == FITTED_BASIS:
        return YIELD_SD, plain
    apart = abs(math.log(typical.yield_strength / case.sheet.material.yield_strength))
    if apart <= YIELD_SD:
        return YIELD_SD, plain
    return apart, f"{apart:.0%}: as far as the card's typical value lies from it"


def _nip_parameters(case: Case) -> list[Parameter]:
    nip, shaft = case.machine.nip, case.machine.rolls.shaft
    slack = nip.play if nip.gives else nip.opening
    name: ParameterName = "nip play" if nip.gives else "clearance"
    source = "a factor of 2; assumed: nobody knows a hand machine's play"
    if slack < LEAST_PLAY_MM:
        slack, source = LEAST_PLAY_MM, f"{source}, {LEAST_PLAY_MM:g} mm at the middle"
    found = [_positive(name, "length", slack, PLAY_SD, source)]
    source = "a factor of 1.6; assumed"
    if nip.gives and nip.stiffness is not None:
        given = nip.stiffness
        found.append(
            _positive("nip stiffness", "line_stiffness", given, STIFFNESS_SD, source)
        )
    elif nip.gives and shaft is not None and shaft.bearing_stiffness is not None:
        given = shaft.bearing_stiffness
        found.append(
            _positive("bearing stiffness", "stiffness", given, STIFFNESS_SD, source)
        )
    return found


def varied(case: Case, values: dict[ParameterName, float]) -> Case:
    """Give the case with the parameters of a fit; the touch offset is the screws'."""
    material = case.sheet.material
    if "yield strength" in values:
        ratio = values["yield strength"] / material.yield_strength
        material = strengthened(material, ratio)
    if "tangent modulus" in values:
        tangent = min(values["tangent modulus"], 0.5 * material.youngs_modulus)
        material = rebuilt(material, {"tangent_modulus": tangent})
    keys = {_KEYS[name]: value for name, value in values.items() if name in _KEYS}
    return case.replace({"sheet.material": material, **keys})


class StripModel:
    """Prediction of one strip's pass by the span solver, at given parameters."""

    def __init__(
        self, case: Case, strip: ScrapStrip, parameters: tuple[Parameter, ...]
    ) -> None:
        width = strip.width or case.sheet.width
        self.case = case.replace({"sheet.width": width, "sheet.off_centre": 0.0})
        self.strip, self.parameters = strip, parameters
        self.lift_error = lift_error(case, strip)
        self.correction = 1.0  # stepped over span solver, of the curvature
        self.run_out = FIRST_RUN_OUT_SHARE * case.machine.rear.distance
        self.run_out_error = ROUGH_RUN_OUT_ERROR_MM
        self._follower = Neighbours(self.case, strip.way, case.sheet.curvature)
        self._follower.climb_rungs(np.array([self.lift_set(self.case)]))

    def lift_set(self, case: Case) -> float:
        """Lift (mm) that the strip's setting means, by the scale of the screws."""
        if self.strip.screw == "turns":
            return self.strip.setting * case.machine.rear.screw_pitch
        if self.strip.screw == "gap":
            return lift_of_gap(case, self.strip.setting)
        return self.strip.setting

    def values(self, x: Array) -> dict[ParameterName, float]:
        """Values of the parameters at ``x``."""
        return {
            p.name: p.value(float(v)) for p, v in zip(self.parameters, x, strict=True)
        }

    def setting(self, x: Array, shift: float) -> tuple[Case, float]:
        """Case and true lift (mm) at parameters ``x`` and a shift of the lift (mm)."""
        values = self.values(x)
        case = varied(self.case, values)
        lift = self.lift_set(case) + shift
        if self.strip.screw != "gap":  # gauge blocks see the rolls, not the screws
            lift += values["touch offset"]
        return case, lift

    def bent(self, x: Array, shift: float) -> PredictedStrip:
        """Predict the strip."""
        try:
            case, lift = self.setting(x, shift)
        except InputError:  # more play than the sheet is thick: no such machine
            return PredictedStrip(math.nan, math.nan, self.values(x)["thickness"])
        t, edge = case.sheet.thickness, (self.run_out, case.measure.straightedge_gap)
        if lift <= 0.0:
            return PredictedStrip(0.0, math.nan, t, *edge)
        one = self._follower.near(case, lift)
        if one.status != SOLVED:
            return PredictedStrip(math.nan, math.nan, t)
        demand = demand_of_pass(case, one)
        return PredictedStrip(
            self.correction * one.residual, demand.hand_force, t, *edge
        )

    def set_run_out(self, flat: float, radius: float) -> None:
        """Take over what the stepped solver leaves flat (mm), and its radius (mm)."""
        gap = self.case.measure.straightedge_gap
        self.run_out = flat - straightedge_length(1.0 / radius, gap)
        self.run_out_error = FINE_RUN_OUT_ERROR_MM


def lift_error(case: Case, strip: ScrapStrip) -> float:
    """Error with which a strip's lift was set, mm."""
    error = strip.setting_error
    if error is None:
        return LIFT_ERROR_MM
    return error * (case.machine.rear.screw_pitch if strip.screw == "turns" else 1.0)


def lift_of_gap(case: Case, gap: float) -> float:
    """Lift (mm) at which upper and rear roll are ``gap`` (mm) apart, without load."""
    from scipy.optimize import brentq

    machine, t = case.machine, case.sheet.thickness

    def more(lift: float) -> float:
        return rear_gap(machine, t, lift) - gap

    low, high = 0.0, machine.rear.travel
    if more(low) <= 0.0:
        return 0.0
    if more(high) >= 0.0:
        return high
    return float(brentq(more, low, high, xtol=1.0e-6))

"""Spread of the inputs of a case: the table ``[scatter]``.

Each input of it has either ``sd``, a standard deviation, or ``tolerance``, the largest
it may be off, in its own unit or in per cent; ``mean`` moves its middle away from what
the case says. What is left out has the defaults of ``analysis.scatter.inputs``.
"""

from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

from pydantic import BeforeValidator, ValidationInfo, model_validator

from pinchline.case.fields import (
    Bounds,
    Length,
    LengthOrZero,
    LineForceOrZero,
    Number,
    Percentage,
    Quantity,
    Record,
    Share,
    Stress,
    refuse,
)
from pinchline.units import Dimension

MAX_RELATIVE_SPREAD = 0.3  # of the middle: a wider spread would reach down to nothing


class SpreadAmount(NamedTuple):
    """A spread: in the internal unit, or as a share of the middle."""

    value: float
    share: bool

    def of(self, middle: float) -> float:
        """Give the spread about a middle, in the internal unit."""
        return self.value * abs(middle) if self.share else self.value


@dataclass(frozen=True)
class Spreading:
    """Validator of a spread; without a dimension it is a pure number."""

    dimension: Dimension | None

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        own = self._own.allowed
        return f'"5 %" (up to {100.0 * MAX_RELATIVE_SPREAD:g} %), or {own}'

    @property
    def _own(self) -> Any:
        at_least = Bounds(at_least=0.0)
        if self.dimension is None:
            return Number(at_least)
        return Quantity(self.dimension, at_least)

    def __call__(self, value: object, info: ValidationInfo) -> SpreadAmount:
        """Return the spread, or refuse the value."""
        if isinstance(value, SpreadAmount):
            return value
        if isinstance(value, str) and value.strip().endswith("%"):
            share = Percentage(Bounds(at_least=0.0, at_most=MAX_RELATIVE_SPREAD))(value)
            return SpreadAmount(share, share=True)
        own = self._own
        if self.dimension is None:
            return SpreadAmount(own(value), share=False)
        return SpreadAmount(own(value, info), share=False)


LengthAmount = Annotated[SpreadAmount, BeforeValidator(Spreading("length"))]
StressAmount = Annotated[SpreadAmount, BeforeValidator(Spreading("stress"))]
ForceAmount = Annotated[SpreadAmount, BeforeValidator(Spreading("line_force"))]
NumberAmount = Annotated[SpreadAmount, BeforeValidator(Spreading(None))]


class Spread(Record):
    """Base of the spread of an input: one of ``sd`` and ``tolerance``."""

    sd: Any = None
    tolerance: Any = None

    @property
    def middle(self) -> float | None:
        """Middle that is specified here and not by the case."""
        found: float | None = getattr(self, "mean", None)
        return found

    @model_validator(mode="after")
    def _one(self) -> "Spread":
        if self.sd is not None and self.tolerance is not None:
            refuse(
                "stands beside sd, and both say how far it is off",
                key="tolerance",
                allowed="sd (a standard deviation) or tolerance (the largest it is "
                "off), one of the two",
            )
        if self.sd is None and self.tolerance is None and self.middle is None:
            refuse(
                "says nothing of how far it is off",
                allowed='sd or tolerance, such as sd = "5 %"; sd = "0 %" leaves it out',
            )
        return self


class LengthSpread(Spread):
    """Of a length that the case gives."""

    sd: LengthAmount | None = None
    tolerance: LengthAmount | None = None
    mean: Length | None = None


class StressSpread(Spread):
    """Of a strength or modulus."""

    sd: StressAmount | None = None
    tolerance: StressAmount | None = None
    mean: Stress | None = None


class ForceSpread(Spread):
    """Of a force per width."""

    sd: ForceAmount | None = None
    tolerance: ForceAmount | None = None
    mean: LineForceOrZero | None = None


class NumberSpread(Spread):
    """Of a pure number."""

    sd: NumberAmount | None = None
    tolerance: NumberAmount | None = None
    mean: Share | None = None


class SettingSpread(Spread):
    """Of what is set by hand: its error is about zero, in mm, never in per cent."""

    sd: LengthOrZero | None = None
    tolerance: LengthOrZero | None = None


class ScatterTable(Record):
    """Keys of ``[scatter]``.

    Attributes
    ----------
    thickness, yield_strength, tangent_modulus, youngs_modulus : of the sheet
    clamp, friction : of the nip
    touch : error of where the rear roll just meets the sheet, the same in all moves
    lift : error of every setting of the lift, each its own
    """

    thickness: LengthSpread | None = None
    yield_strength: StressSpread | None = None
    tangent_modulus: StressSpread | None = None
    youngs_modulus: StressSpread | None = None
    clamp: ForceSpread | None = None
    friction: NumberSpread | None = None
    touch: SettingSpread | None = None
    lift: SettingSpread | None = None

"""The full stress-strain curve of a metal: by exponent, or as points of a test."""

from itertools import pairwise
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, model_validator

from pinchline import units
from pinchline.case.fields import Bounds, Choice, Number, Record, Stress, Text, refuse

PROOF_STRAIN = 0.002  # plastic strain at the yield strength of the handbooks
_HARDENING_SLACK = 1.0e-3  # of a stress: point above its neighbours' line
_MIN_CURVE_POINTS, _MAX_CURVE_POINTS = 3, 200

Exponent = Annotated[float, BeforeValidator(Number(Bounds(above=1.0, at_most=100.0)))]
Measure = Annotated[
    Literal["engineering", "true"],
    BeforeValidator(Choice(("engineering", "true"))),
]


class _Column(NamedTuple):
    """Validator of one column of points."""

    words: str
    cell: Any

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        return f"a list of {_MIN_CURVE_POINTS} to {_MAX_CURVE_POINTS} {self.words}"

    def __call__(self, value: object) -> tuple[Any, ...]:
        """Return the column, or refuse it."""
        if not isinstance(value, list | tuple):
            refuse("is not a list", value=value, allowed=self.allowed)
        if not _MIN_CURVE_POINTS <= len(value) <= _MAX_CURVE_POINTS:
            refuse("is too short or too long", value=len(value), allowed=self.allowed)
        return tuple(value)


_Strain = Annotated[float, BeforeValidator(Number(Bounds(above=0.0, at_most=1.0)))]
Strains = Annotated[
    tuple[_Strain, ...], BeforeValidator(_Column("rising total strains", _Strain))
]
Stresses = Annotated[
    tuple[Stress, ...],
    BeforeValidator(_Column('stresses with their unit, such as "310 MPa"', Stress)),
]


class Curve(Record):
    """Uniaxial stress-strain curve, by exponent or by points.

    Attributes
    ----------
    exponent : n of ``e = s/E + 0.002 (s/F)^n`` (Ramberg-Osgood, MIL-HDBK-5J eq. 1.3.9b)
    yield_offset : F of that, the stress at 0.2 % plastic strain, MPa; None takes the
        material's yield strength
    strain, stress : points of a test instead: total strain, MPa; the line through the
        first two is drawn back to the elastic line, and past the last the stress stays
    measure : whether stress and strain are engineering or true; a handbook prints
        engineering
    source : where it comes from
    """

    exponent: Exponent | None = None
    yield_offset: Stress | None = None
    strain: Strains | None = None
    stress: Stresses | None = None
    measure: Measure = "engineering"
    source: Text | None = None

    def moved(self, ratio: float, youngs: float, then: float) -> "Curve":
        """Curve of metal so many times as strong; Young's modulus changes along, MPa.

        Stresses go in the ratio, plastic strains stay, elastic ones go with the stress.
        An exponent without a stress of its own goes with the yield strength anyhow.
        """
        if self.stress is not None and self.strain is not None:
            elastic = ratio / then - 1.0 / youngs
            points = list(zip(self.strain, self.stress, strict=True))
            shifted = {
                "strain": tuple(e + elastic * s for e, s in points),
                "stress": tuple(ratio * s for _, s in points),
            }
            return self.model_copy(update=shifted)
        if self.yield_offset is None:
            return self
        return self.model_copy(update={"yield_offset": ratio * self.yield_offset})

    @model_validator(mode="after")
    def _one_form(self) -> "Curve":
        if self.strain is None and self.stress is None:
            if self.exponent is None:
                allowed = "exponent, or the lists strain and stress"
                refuse("the curve has neither exponent nor points", allowed=allowed)
            return self
        for key in ("exponent", "yield_offset"):
            if getattr(self, key) is not None:
                refuse(
                    "is given beside the points strain and stress",
                    key=key,
                    value=getattr(self, key),
                    allowed="an exponent or points, not both",
                )
        count = (len(self.strain or ()), len(self.stress or ()))
        if count[0] != count[1]:
            refuse(
                "strain and stress differ in length",
                key="stress",
                value=count[1],
                allowed=f"one stress for each of the {count[0]} strains",
            )
        return self

    @model_validator(mode="after")
    def _hardens_ever_less(self) -> "Curve":
        points = [(0.0, 0.0), *zip(self.strain or (), self.stress or (), strict=True)]
        slopes = []
        for i, ((e, s), (further, more)) in enumerate(pairwise(points)):
            if further <= e:
                _refuse_point(i, "strain", further, f"above {e:g}, the one before")
            if more < s:
                before = units.format(s, "stress")
                value = units.format(more, "stress")
                _refuse_point(i, "stress", value, f"from {before} up")
            slopes.append((more - s) / (further - e))
        for i, (slope, steeper) in enumerate(pairwise(slopes)):
            rise = (steeper - slope) * (points[i + 2][0] - points[i + 1][0])
            if rise > _HARDENING_SLACK * points[i + 2][1]:
                value = units.format(points[i + 2][1], "stress")
                allowed = "a curve that rises ever less steeply"
                _refuse_point(i + 1, "stress", value, allowed)
        return self


def check_elastic_start(curve: Curve, youngs_modulus: float) -> None:
    """Refuse points that begin above the elastic line.

    Raises
    ------
    RefusedError
        with the key ``curve.stress[1]``
    """
    if curve.strain is None or curve.stress is None:
        return
    elastic = youngs_modulus * curve.strain[0]
    if curve.stress[0] > elastic * (1.0 + _HARDENING_SLACK):
        refuse(
            "lies above the elastic line",
            key="curve.stress[1]",
            value=units.format(curve.stress[0], "stress"),
            allowed="up to youngs_modulus times the strain, "
            + units.format(elastic, "stress"),
        )


def _refuse_point(index: int, key: str, value: object, allowed: str) -> None:
    message = "does not follow from the point before it"
    refuse(message, key=f"{key}[{index + 1}]", value=value, allowed=allowed)

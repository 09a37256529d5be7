"""The bender: its rolls, the slide of the rear roll, the nip and the crank."""

from math import pi
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from pinchline import library, units
from pinchline.case.fields import (
    Bounds,
    Force,
    Length,
    LengthOrZero,
    LineForceOrZero,
    LineStiffness,
    Number,
    Positive,
    Quantity,
    Record,
    Share,
    SignedLength,
    Stiffness,
    Stress,
    Text,
    Torque,
    overlaid,
    read,
    refuse,
)
from pinchline.errors import InputError

_MIN_SLIDE_ANGLE = 30.0 * pi / 180.0
_MAX_SLIDE_ANGLE = 150.0 * pi / 180.0

Angle = Annotated[
    float,
    BeforeValidator(
        Quantity("angle", Bounds(at_least=_MIN_SLIDE_ANGLE, at_most=_MAX_SLIDE_ANGLE))
    ),
]
PoissonRatio = Annotated[
    float, BeforeValidator(Number(Bounds(at_least=0.0, below=0.5)))
]
Efficiency = Annotated[float, BeforeValidator(Number(Bounds(above=0.0, at_most=1.0)))]


class ShaftCard(Record):
    """A roll as a shaft, the same for all three but for the diameter.

    Attributes
    ----------
    span : between the middles of the two bearings, mm
    bore : of a hollow roll, mm
    youngs_modulus, poisson_ratio : of the roll, MPa and 1; steel by default
    bearing_stiffness : of one bearing with its seat in the frame, N/mm; None is rigid
    max_deflection : that a roll may bend and sink by under the middle of the sheet, mm
    """

    span: Length
    bore: LengthOrZero = 0.0
    youngs_modulus: Stress = 206.0e3
    poisson_ratio: PoissonRatio = 0.3
    bearing_stiffness: Stiffness | None = None
    max_deflection: Length | None = None


class Rolls(Record):
    """Radii of the rolls, mm, and what bends of them."""

    upper_radius: Length
    lower_radius: Length
    rear_radius: Length
    shaft: ShaftCard | None = None

    @model_validator(mode="after")
    def _bore_fits(self) -> "Rolls":
        thinnest = 2.0 * min(self.upper_radius, self.lower_radius, self.rear_radius)
        if self.shaft is not None and self.shaft.bore >= thinnest:
            refuse(
                "leaves nothing of the thinnest roll",
                key="shaft.bore",
                value=f"{self.shaft.bore:.4g} mm",
                allowed=f"a bore below its diameter, {thinnest:.4g} mm",
            )
        return self


class Rear(Record):
    """The rear roll, its slide and its screws.

    Attributes
    ----------
    distance : nip line to rear-roll axis at touch, horizontal, mm
    slide_angle : slide from the horizontal, rad; pi/2 is straight up, less leans to
        the nip
    travel : longest lift, mm
    screw_pitch : lift per turn of the adjusting screw, mm
    touch_offset : true lift where the screws' scale reads zero, mm: how far above touch
        the operator takes touch to be; lifts of a case are true ones
    stiffness : of the support along the slide, N/mm per mm of width; None takes it
        from the shaft, where the nip gives, or else the roll is rigid
    play : taken up before the support bears, mm
    skew : how much higher the right end of the roll stands than the left, at the
        bearings, as the operator sees it, mm
    screw_diameter, screw_friction : mean diameter of the thread (mm), its friction;
        without the diameter no torque is computed
    max_screw_force, max_screw_torque : of one of the two screws, N and N mm
    """

    distance: Length
    slide_angle: Angle
    travel: Length
    screw_pitch: Length
    touch_offset: SignedLength = 0.0
    stiffness: LineStiffness | None = None
    play: LengthOrZero = 0.0
    skew: SignedLength = 0.0
    screw_diameter: Length | None = None
    screw_friction: Share = 0.15
    max_screw_force: Force | None = None
    max_screw_torque: Torque | None = None

    @model_validator(mode="after")
    def _screw_is_whole(self) -> "Rear":
        if self.max_screw_torque is not None and self.screw_diameter is None:
            refuse(
                "is given without the thread it turns",
                key="max_screw_torque",
                value=units.format(self.max_screw_torque, "torque"),
                allowed="screw_diameter beside it, the thread's mean diameter",
            )
        return self


_RIGID_NIP_KEYS, _CLAMPED_NIP_KEYS = ("clearance",), ("clamp", "stiffness", "play")


class Nip(Record):
    """The grip of the two front rolls: a rigid clearance, or a clamp that gives.

    Attributes
    ----------
    clearance : opening beyond the sheet's thickness, mm; the rolls are then rigid
    clamp : force with which the rolls grip the flat sheet, N/mm
    stiffness : of the nip's opening, N/mm per mm of width; None takes that of the
        rolls' shafts
    play : opening over which no more than the clamp's force builds, mm
    friction : coefficient with which the pinch rolls grip the sheet
    max_force : that a pinch roll may be pushed away with, over the whole width, N
    """

    clearance: LengthOrZero | None = None
    clamp: LineForceOrZero | None = None
    stiffness: LineStiffness | None = None
    play: LengthOrZero = 0.0
    friction: Share = 0.1
    max_force: Force | None = None

    @property
    def gives(self) -> bool:
        """Whether the nip opens under load."""
        return self.clamp is not None

    @property
    def opening(self) -> float:
        """Opening beyond the sheet's thickness before any load, mm."""
        return self.clearance or 0.0

    @model_validator(mode="before")
    @classmethod
    def _one_kind(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        kinds = 'clearance = "0.05 mm" (rigid), or clamp = "4 N/mm" with what gives'
        if "clearance" in data:
            for key in _CLAMPED_NIP_KEYS:
                if data.get(key) is not None:
                    refuse(
                        "is given beside clearance, which says that the nip is rigid",
                        key=key,
                        value=data[key],
                        allowed=f"one of the two: {kinds}",
                    )
        elif "clamp" not in data:
            refuse("says nothing of how it grips", value=data, allowed=kinds)
        return data


class Crank(Record):
    """The hand crank.

    Attributes
    ----------
    radius : axis to grip, mm
    gear_ratio : turns of the crank per turn of a front roll
    efficiency : share of the crank's work that reaches the rolls
    max_hand_force : what a hand can keep up, N
    """

    radius: Length
    gear_ratio: Positive = 1.0
    efficiency: Efficiency = 1.0
    max_hand_force: Force | None = None


class MachineTable(Record):
    """Keys of a machine card, or of the machine of a case; ``use`` only there."""

    use: Text | None = None
    title: Text | None = None
    rolls: Rolls
    rear: Rear
    nip: Nip
    crank: Crank | None = None

    @model_validator(mode="after")
    def _something_gives(self) -> "MachineTable":
        nip = self.nip
        if nip.gives and nip.stiffness is None and self.rolls.shaft is None:
            refuse(
                "a clamp needs to know what gives",
                key="nip.clamp",
                value=units.format(nip.clamp or 0.0, "line_force"),
                allowed='nip.stiffness = "60 N/mm/mm", or a table [rolls.shaft] with '
                "the span between the bearings",
            )
        rear = self.rear
        if rear.play > 0.0 and rear.stiffness is None and not self._shaft_gives():
            refuse(
                "the rear roll has play but nothing that gives",
                key="rear.play",
                value=units.format(rear.play, "length"),
                allowed='rear.stiffness = "60 N/mm/mm" beside it',
            )
        return self

    def _shaft_gives(self) -> bool:
        return self.nip.gives and self.rolls.shaft is not None


class Machine(Record):
    """A three-roll pinch bender.

    Attributes
    ----------
    name : name of its card, or ``inline``
    title : one line for reports
    rolls, rear, nip, crank : its parts; no crank where the card has none

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.load_case("strut-fairing").machine.rear.distance  # mm
    64.0
    """

    name: Text
    title: Text
    rolls: Rolls
    rear: Rear
    nip: Nip
    crank: Crank | None = None


def read_machine(table: dict[str, Any], file: str) -> Machine:
    """Build the machine of a case.

    Parameters
    ----------
    table : the ``[machine]`` table: ``use`` a card, and keys that replace the card's
    file : the case file, for errors and as the start of relative paths
    """
    if "use" not in table:
        return _machine("inline", read(MachineTable, table, file=file, key="machine"))
    use = table["use"]
    if not isinstance(use, str) or not use.strip():
        message = "is not the name of a machine card"
        allowed = f"{', '.join(library.names('machines'))}, or the path of a .toml file"
        raise InputError(
            message, file=file, key="machine.use", value=use, allowed=allowed
        )
    source = library.fetch(
        "machines", use, folder=Path(file).parent, file=file, key="machine.use"
    )
    card = library.parse_toml(source.text, source.where)
    parts = _read_card(card, source.where)
    if len(table) > 1:
        merged = overlaid(_other_kind_dropped(card, table), table)
        parts = read(MachineTable, merged, file=file, key="machine")
    return _machine(source.name, parts)


def load_machine(name: str | Path) -> Machine:
    """Build a machine from a card by name or path."""
    source = library.fetch("machines", name)
    card = library.parse_toml(source.text, source.where)
    return _machine(source.name, _read_card(card, source.where))


def _other_kind_dropped(card: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """Card without the keys of the kind of nip that the case replaces."""
    mine, nip = own.get("nip"), card.get("nip")
    if not isinstance(mine, dict) or not isinstance(nip, dict):
        return card
    dropped: tuple[str, ...] = ()
    if any(key in mine for key in _RIGID_NIP_KEYS):
        dropped = _CLAMPED_NIP_KEYS
    elif any(key in mine for key in _CLAMPED_NIP_KEYS):
        dropped = _RIGID_NIP_KEYS
    return {**card, "nip": {k: v for k, v in nip.items() if k not in dropped}}


def _read_card(card: dict[str, Any], where: str) -> MachineTable:
    if "use" in card:
        message = "a card cannot use another card"
        raise InputError(message, file=where, key="use", value=card["use"])
    return read(MachineTable, card, file=where)


def _machine(name: str, parts: MachineTable) -> Machine:
    return Machine(
        name=name,
        title=parts.title or name,
        rolls=parts.rolls,
        rear=parts.rear,
        nip=parts.nip,
        crank=parts.crank,
    )

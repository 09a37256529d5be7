"""The bender: its rolls, the slide of the rear roll, the nip and the crank."""

from math import pi
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from pinchline import library
from pinchline.errors import InputError
from pinchline.model.fields import (
    Bounds,
    Force,
    Length,
    LengthOrZero,
    Number,
    Positive,
    Quantity,
    Record,
    Share,
    Text,
    overlaid,
    read,
    refuse,
)

_LEAST_ANGLE = 30.0 * pi / 180.0
_LARGEST_ANGLE = 150.0 * pi / 180.0

Angle = Annotated[
    float,
    BeforeValidator(
        Quantity("angle", Bounds(at_least=_LEAST_ANGLE, at_most=_LARGEST_ANGLE))
    ),
]
Efficiency = Annotated[float, BeforeValidator(Number(Bounds(above=0.0, at_most=1.0)))]


class Rolls(Record):
    """Radii of the rolls, mm."""

    upper_radius: Length
    lower_radius: Length
    rear_radius: Length


class Rear(Record):
    """The rear roll's slide.

    Attributes
    ----------
    distance : nip line to rear-roll axis at touch, horizontal, mm
    slide_angle : slide from the horizontal, rad; pi/2 is straight up, less leans to
        the nip
    travel : longest lift, mm
    screw_pitch : lift per turn of the adjusting screw, mm
    """

    distance: Length
    slide_angle: Angle
    travel: Length
    screw_pitch: Length


class Nip(Record):
    """The grip of the two front rolls.

    Attributes
    ----------
    clearance : opening beyond the sheet's thickness, mm
    friction : coefficient with which the pinch rolls grip the sheet
    """

    clearance: LengthOrZero
    friction: Share = 0.1

    @model_validator(mode="before")
    @classmethod
    def _rigid_only(cls, data: Any) -> Any:
        for key in ("clamp", "stiffness", "play"):
            if isinstance(data, dict) and key in data:
                message = "a nip that gives under load is not in this version"
                allowed = 'clearance, a rigid opening, such as "0.05 mm"'
                refuse(message, key=key, value=data[key], allowed=allowed)
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


class Machine(Record):
    """A three-roll pinch bender.

    Attributes
    ----------
    name : name of its card, or ``inline``
    title : one line for reports
    rolls, rear, nip, crank : its parts; no crank where the card has none
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
        merged = overlaid(card, table)
        parts = read(MachineTable, merged, file=file, key="machine")
    return _machine(source.name, parts)


def load_machine(name: str | Path) -> Machine:
    """Build a machine from a card by name or path."""
    source = library.fetch("machines", name)
    card = library.parse_toml(source.text, source.where)
    return _machine(source.name, _read_card(card, source.where))


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

"""Sheet material: one direction and thickness of a card, or an inline table.

A card states properties from the general to the special: at its top level, per
direction (tables ``L`` and ``LT``), per thickness (list ``range``), and per direction
inside a range. The more special value wins; ``sources`` travel along with the values.
"""

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from pinchline import library, units
from pinchline.case.fields import (
    Bounds,
    Density,
    Length,
    LengthOrZero,
    NotNegative,
    Number,
    Positive,
    Record,
    Share,
    Stress,
    StressOrZero,
    Text,
    overlaid,
    read,
    refuse,
)
from pinchline.case.metal.curve import Curve, check_elastic_start
from pinchline.errors import InputError

Direction = Literal["L", "LT"]

_PRINTED_STEP = 0.001 * 25.4  # handbook ranges are printed to 0.001 in
_TOUCHING_RANGES_MM = 1.0e-9
_ASSUMED_DENSITY_KG_M3 = 2700.0
_REQUIRED_KEYS = ("youngs_modulus", "poisson_ratio", "tangent_modulus")
_YIELD_KEYS = ("yield_strength", "yield_tension", "yield_compression")

PoissonRatio = Annotated[
    float, BeforeValidator(Number(Bounds(at_least=0.0, below=0.5)))
]
CladShare = Annotated[float, BeforeValidator(Number(Bounds(at_least=0.0, at_most=0.2)))]
Strain = Annotated[float, BeforeValidator(Number(Bounds(above=0.0, at_most=1.0)))]


class CladdingTable(Record):
    """Keys of the soft skins in a card; a range may give only some."""

    share: CladShare | None = None
    youngs_modulus: Stress | None = None
    yield_strength: Stress | None = None
    tangent_modulus: StressOrZero | None = None


class Properties(Record):
    """Keys that any level of a card may hold."""

    basis: Text | None = None
    youngs_modulus: Stress | None = None
    poisson_ratio: PoissonRatio | None = None
    density: Density | None = None
    yield_strength: Stress | None = None
    yield_tension: Stress | None = None
    yield_compression: Stress | None = None
    tangent_modulus: StressOrZero | None = None
    kinematic_share: Share | None = None
    allowable_strain: Strain | None = None
    minimum_bend_radius: NotNegative | None = None
    clad: CladdingTable | None = None
    curve: Curve | None = None
    sources: dict[Text, Text] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _one_yield(self) -> "Properties":
        split = self.yield_tension is not None or self.yield_compression is not None
        if self.yield_strength is not None and split:
            refuse(
                "is given beside yield_tension or yield_compression",
                key="yield_strength",
                value=units.format(self.yield_strength, "stress"),
                allowed="yield_strength alone, or tension and compression (their mean "
                "is used in bending)",
            )
        return self


class ThicknessRange(Properties):
    """Properties of a range of thickness, ``from`` and ``to`` as printed."""

    start: LengthOrZero = Field(alias="from")
    end: Length = Field(alias="to")
    L: Properties | None = None
    LT: Properties | None = None


class LeastBendRadius(Record):
    """Least inside bend radius, in thicknesses, of sheet up to a thickness."""

    end: Length = Field(alias="to")
    minimum_bend_radius: NotNegative


class TypicalValues(Record):
    """Typical values from which the tangent modulus was got."""

    yield_strength: Stress
    tensile_strength: Stress
    elongation: Positive
    source: Text


class Card(Properties):
    """A whole material card or inline table; ``use`` only inline."""

    title: Text | None = None
    use: Text | None = None
    L: Properties | None = None
    LT: Properties | None = None
    range: list[ThicknessRange] = Field(default_factory=list)
    bend: list[LeastBendRadius] = Field(default_factory=list)
    typical: TypicalValues | None = None

    @model_validator(mode="after")
    def _rising(self) -> "Card":
        for i, piece in enumerate(self.range):
            if piece.start >= piece.end:
                value = f"{piece.start:.4g} to {piece.end:.4g} mm"
                refuse("from is not below to", key=f"range[{i + 1}]", value=value)
        for i, (thin, thick) in enumerate(pairwise(self.range)):
            if thick.start < thin.end - _TOUCHING_RANGES_MM:
                message = "the range overlaps the one before it"
                key, value = f"range[{i + 2}].from", f"{thick.start:.4g} mm"
                allowed = f"from {thin.end:.4g} mm up"
                refuse(message, key=key, value=value, allowed=allowed)
        for i, (near, far) in enumerate(pairwise(self.bend)):
            if far.end <= near.end:
                message = "does not rise from the entry before it"
                key, value = f"bend[{i + 2}].to", f"{far.end:.4g} mm"
                allowed = f"above {near.end:.4g} mm"
                refuse(message, key=key, value=value, allowed=allowed)
        return self


class Cladding(Record):
    """Soft skins: share of the thickness per side, moduli and yield in MPa."""

    share: CladShare
    youngs_modulus: Stress
    yield_strength: Stress
    tangent_modulus: StressOrZero


class Material(Record):
    """One direction and thickness of an alloy and temper.

    Attributes
    ----------
    name, title, direction : card, its title, direction of bending strain
    basis : what the strengths are: handbook minima A, B, S, typical, or measured
    youngs_modulus, poisson_ratio : elastic constants, MPa and 1
    yield_strength : yield in bending, MPa; mean of tension and compression if both
    yield_tension, yield_compression : as the handbook gives them, MPa
    tangent_modulus : slope of uniaxial stress against total strain, MPa
    density : kg/m3
    kinematic_share : share of hardening that shifts instead of widening, 0 to 1
    allowable_strain : surface strain that a bend may reach
    minimum_bend_radius : least inside radius in thicknesses
    clad : soft skins; the values above are then those of the core
    curve : of the (core) metal, which then takes the place of yield strength, tangent
        modulus and kinematic share in the layers; None is bilinear
    sources : property to where its number comes from

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.load_case("strut-fairing").sheet.material.name
    '5052-H32'
    """

    name: Text
    title: Text
    direction: Direction
    basis: str = ""
    youngs_modulus: Stress
    poisson_ratio: PoissonRatio
    yield_strength: Stress
    yield_tension: Stress | None = None
    yield_compression: Stress | None = None
    tangent_modulus: StressOrZero
    density: Density = _ASSUMED_DENSITY_KG_M3
    kinematic_share: Share = 0.0
    allowable_strain: Strain | None = None
    minimum_bend_radius: NotNegative | None = None
    clad: Cladding | None = None
    curve: Curve | None = None
    sources: dict[str, str] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _hardens_less_than_elastic(self) -> "Material":
        for layer, key in ((self, ""), (self.clad, "clad.")):
            if layer is not None and layer.tangent_modulus >= layer.youngs_modulus:
                refuse(
                    "is not below youngs_modulus",
                    key=f"{key}tangent_modulus",
                    value=units.format(layer.tangent_modulus, "stress"),
                    allowed="the slope after yield, a small part of youngs_modulus",
                )
        if self.curve is not None:
            check_elastic_start(self.curve, self.youngs_modulus)
        return self


Source = str | Path | dict[str, Any] | Material


def load_material(
    source: Source, direction: str, thickness: float, where: str
) -> Material:
    """Build a material from a card by name or path, or from an inline table.

    Parameters
    ----------
    source : name, path, or table with the card's keys (and ``use``, a card to start
        from); a material is taken as it is
    direction : ``"L"`` along the grain or ``"LT"`` across, of the bending strain
    thickness : of the sheet, mm
    where : the case file, for errors and as the start of relative paths

    Raises
    ------
    InputError
        where there is no such card, or it does not cover the direction or thickness
    """
    if isinstance(source, Material):
        return source
    key = "sheet.material"
    ask = _CardRequest(direction, thickness, where)
    if not isinstance(source, dict):
        name, title, flat, file = _from_card(source, ask, key)
        return _material(name, title, ask, flat, file, "")
    own = read(Card, source, file=where, key=key)
    change = _with_origin(_flattened(own, ask, "the material table"))
    if own.use is None:
        _cover_direction(own, change, ask, "the material table")
        title = own.title or "material of the case"
        return _material("inline", title, ask, change, where, key)
    name, title, flat, _ = _from_card(own.use, ask, f"{key}.use")
    title = own.title or f"{title}, changed in the case"
    whole = _material(name, title, ask, _more_special(flat, change), where, key)
    return whole if "curve" in change else _with_curve_moved(whole, flat)


def _with_curve_moved(material: Material, flat: dict[str, Any]) -> Material:
    """Take the curve of a card along where the case says another yield or modulus.

    ``flat``: what the card says. The curve is of its metal: a stronger one has all of
    it higher, in the ratio of the yield strengths.
    """
    before, youngs = _yield_strength(flat), flat.get("youngs_modulus")
    if material.curve is None or before is None or youngs is None:
        return material
    ratio = material.yield_strength / before
    curve = material.curve.moved(ratio, youngs, material.youngs_modulus)
    return material.model_copy(update={"curve": curve})


def covered_thicknesses(source: Source, where: str) -> tuple[float, float] | None:
    """Thinnest and thickest sheet (mm) that a card covers; None where it is silent."""
    if isinstance(source, Material):
        return None
    if isinstance(source, dict):
        own = read(Card, source, file=where, key="sheet.material")
        if own.use is not None and not own.range:
            return covered_thicknesses(own.use, where)
    else:
        found = library.fetch(
            "materials", source, folder=Path(where).parent, file=where
        )
        own = read(Card, library.parse_toml(found.text, found.where), file=found.where)
    return (own.range[0].start, own.range[-1].end) if own.range else None


def typical_values(source: Source, where: str) -> TypicalValues | None:
    """Typical values that stand on a card beside its minima; None without."""
    if isinstance(source, Material):
        return None
    if isinstance(source, dict):
        own = read(Card, source, file=where, key="sheet.material")
        if own.typical is None and own.use is not None:
            return typical_values(own.use, where)
        return own.typical
    found = library.fetch("materials", source, folder=Path(where).parent, file=where)
    card = read(Card, library.parse_toml(found.text, found.where), file=found.where)
    return card.typical


def allowable_strain_of_radius(radius: float) -> float:
    """Surface strain of a bend to an inside radius of so many thicknesses."""
    return 1.0 / (2.0 * radius + 1.0)


class _CardRequest(NamedTuple):
    """Request to a card: direction, thickness in mm, and the file that makes it."""

    direction: str
    thickness: float
    file: str


def _from_card(
    source: str | Path, ask: _CardRequest, key: str
) -> tuple[str, str, dict[str, Any], str]:
    """Name, title, properties and file of a card."""
    folder = Path(ask.file).parent
    found = library.fetch("materials", source, folder=folder, file=ask.file, key=key)
    card = read(Card, library.parse_toml(found.text, found.where), file=found.where)
    if card.use is not None:
        message = "a card cannot use another card"
        raise InputError(message, file=found.where, key="use", value=card.use)
    flat = _flattened(card, ask, f"the card {found.name}")
    _cover_direction(card, flat, ask, f"the card {found.name}")
    return found.name, card.title or found.name, flat, found.where


def _cover_direction(
    card: Card, flat: dict[str, Any], ask: _CardRequest, word: str
) -> None:
    """Refuse a direction where the card is complete for another one only."""
    levels = (card, *card.range)
    held = {d for d in ("L", "LT") for c in levels if getattr(c, d) is not None}
    complete = set(_REQUIRED_KEYS) <= set(flat) and bool(set(_YIELD_KEYS) & set(flat))
    if held and ask.direction not in held and not complete:
        message = f"{word} has no values for this direction"
        allowed = " or ".join(sorted(held))
        raise InputError(
            message,
            file=ask.file,
            key="sheet.direction",
            value=ask.direction,
            allowed=allowed,
        )


def _flattened(card: Card, ask: _CardRequest, word: str) -> dict[str, Any]:
    """Properties of one direction and thickness, the special over the general."""
    flat = _own(card)
    levels: list[Properties | None] = [getattr(card, ask.direction)]
    if card.range:
        piece = _range_at(card, ask, word)
        levels += [piece, getattr(piece, ask.direction)]
    for level in levels:
        if level is not None:
            flat = _more_special(flat, _own(level))
    bend = next(
        (b for b in card.bend if ask.thickness <= b.end + _TOUCHING_RANGES_MM), None
    )
    if bend is not None:
        flat["minimum_bend_radius"] = bend.minimum_bend_radius
    return flat


def _with_origin(flat: dict[str, Any]) -> dict[str, Any]:
    """Name the case as the source of every value that names none."""
    names = [name for name in flat if name not in {"basis", "sources", "clad"}]
    names += [f"clad.{name}" for name in flat.get("clad", {})]
    sources = dict.fromkeys(names, "given in the case") | flat.get("sources", {})
    return {**flat, "sources": sources}


def _own(level: Properties) -> dict[str, Any]:
    """Properties that one level states itself."""
    return level.model_dump(include=set(Properties.model_fields), exclude_unset=True)


def _more_special(flat: dict[str, Any], top: dict[str, Any]) -> dict[str, Any]:
    """Overlay properties; a yield stated in one form replaces the other form."""
    single, *split = _YIELD_KEYS
    gone: list[str] = []
    if single in top:
        gone = split
    elif any(name in top for name in split):
        gone = [single]
    kept = {k: v for k, v in flat.items() if k not in gone}
    kept["sources"] = {
        k: v for k, v in flat.get("sources", {}).items() if k not in gone
    }
    return overlaid(kept, top)


def _range_at(card: Card, ask: _CardRequest, word: str) -> ThicknessRange:
    """Range that holds a thickness; the printed step between two counts as thick."""
    before: float | None = None
    for piece in card.range:
        start = piece.start
        if before is not None and start - before <= _PRINTED_STEP + _TOUCHING_RANGES_MM:
            start = before
        if (
            start - _TOUCHING_RANGES_MM
            <= ask.thickness
            <= piece.end + _TOUCHING_RANGES_MM
        ):
            return piece
        before = piece.end
    message = f"{word} does not cover this thickness"
    raise InputError(
        message,
        file=ask.file,
        key="sheet.thickness",
        value=f"{ask.thickness:.4g} mm",
        allowed=", ".join(f"{r.start:.3g} to {r.end:.3g} mm" for r in card.range),
    )


def _yield_strength(flat: dict[str, Any]) -> float | None:
    """Yield strength in bending, MPa, of the properties on one level; None for none."""
    if "yield_strength" in flat:
        known: float | None = flat["yield_strength"]
        return known
    given = [flat[side] for side in _YIELD_KEYS[1:] if flat.get(side) is not None]
    return sum(given) / len(given) if given else None


def _material(
    name: str, title: str, ask: _CardRequest, flat: dict[str, Any], file: str, key: str
) -> Material:
    """Fill in what follows from the rest and check that nothing is missing."""
    values = dict(flat)
    sources = dict(values.get("sources", {}))
    strength = _yield_strength(values)
    if strength is not None and "yield_strength" not in values:
        values["yield_strength"] = strength
        one = "the one of tension and compression that is known"
        both = all(values.get(side) is not None for side in _YIELD_KEYS[1:])
        sources["yield_strength"] = "mean of tension and compression" if both else one
    if "density" not in values:
        sources["density"] = "assumed: aluminium"
    radius = values.get("minimum_bend_radius")
    if "allowable_strain" not in values and radius is not None:
        values["allowable_strain"] = allowable_strain_of_radius(radius)
        sources["allowable_strain"] = "surface strain of the least bend radius"
    values["sources"] = sources
    table = {"name": name, "title": title, "direction": ask.direction, **values}
    return read(Material, table, file=file, key=key, converted=True)

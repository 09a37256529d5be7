"""Material and machine cards written back to TOML, with where every number is from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pinchline import units
from pinchline.case.machine import MachineTable
from pinchline.case.metal.material import Card
from pinchline.case.study.values import keys_below

if TYPE_CHECKING:
    from pinchline.case.machine import Machine
    from pinchline.case.metal.material import Material
    from pinchline.case.variation import Kind
    from pinchline.units import Dimension

_CARD_UNITS: dict[Dimension, str] = {
    "length": "mm",
    "stress": "MPa",
    "angle": "deg",
    "force": "N",
    "line_force": "N/mm",
    "stiffness": "N/mm",
    "line_stiffness": "N/mm/mm",
    "torque": "N mm",
    "density": "kg/m3",
}
_OF_DIRECTION = ("yield_strength", "tangent_modulus")


def number_text(kind: Kind, value: float) -> str | float:
    """Give a number of a card as its file spells it: with its unit if it has one."""
    if kind.dimension is None:
        return float(f"{value:.6g}")
    unit = _CARD_UNITS[kind.dimension]
    return f"{value / units.FACTORS[kind.dimension][unit]:.8g} {unit}"


def material_card(material: Material, *, remarks: tuple[str, ...]) -> str:
    """Write a material as a card of its direction.

    The yield strength stands as it counts in bending, in one number.
    """
    kinds = keys_below("", Card)
    plain = {
        key: number_text(kinds[key], value)
        for key in (
            "youngs_modulus",
            "poisson_ratio",
            "density",
            "kinematic_share",
            "allowable_strain",
            "minimum_bend_radius",
        )
        if (value := getattr(material, key)) is not None
    }
    own: dict[str, Any] = {
        key: number_text(kinds[key], getattr(material, key)) for key in _OF_DIRECTION
    }
    table: dict[str, Any] = {"title": material.title}
    if material.basis:
        table["basis"] = material.basis
    table |= plain
    if material.clad is not None:
        table["clad"] = _spelled_all(material.clad.model_dump(), "clad.", kinds)
    if material.curve is not None:
        curve = material.curve.model_dump(exclude_none=True)
        own["curve"] = {k: _curve_value(k, value, kinds) for k, value in curve.items()}
    kept = {*plain, *own, "basis"}
    sources = {
        key: text
        for key, text in material.sources.items()
        if key in kept or key.startswith("clad.")
    }
    if sources:
        table["sources"] = sources
    table[material.direction] = own
    return _card_text(table, remarks)


def machine_card(machine: Machine, *, remarks: tuple[str, ...]) -> str:
    """Write a machine as a card."""
    table: dict[str, Any] = {"title": machine.title}
    parts = machine.model_dump(exclude_none=True, exclude={"name", "title"})
    table |= _spelled_all(parts, "", keys_below("", MachineTable))
    return _card_text(table, remarks)


def _card_text(table: dict[str, Any], remarks: tuple[str, ...]) -> str:
    import tomlkit

    return "".join(f"# {remark}\n" for remark in remarks) + tomlkit.dumps(table)


def _curve_value(key: str, value: Any, kinds: dict[str, Kind]) -> Any:
    if key == "strain":
        return [float(f"{v:.7g}") for v in value]
    if key == "stress":
        return [f"{v:.7g} MPa" for v in value]
    return (
        number_text(kinds[f"curve.{key}"], value) if isinstance(value, float) else value
    )


def _spelled_all(
    table: dict[str, Any], place: str, kinds: dict[str, Kind]
) -> dict[str, Any]:
    """Spell the numbers of a table and of the tables in it; empty ones are left out."""
    return {
        key: _spelled_all(value, f"{place}{key}.", kinds)
        if isinstance(value, dict)
        else number_text(kinds[f"{place}{key}"], value)
        for key, value in table.items()
        if value != {}
    }

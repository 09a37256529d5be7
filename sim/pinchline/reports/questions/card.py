"""Material and machine cards written back to TOML, with where every number is from."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pinchline import units

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pinchline.case.machine import Machine
    from pinchline.case.material import Cladding, Material
    from pinchline.units import Dimension

_UNITS: dict[Dimension, str] = {
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
_BY_KEY: dict[str, Dimension] = {
    "youngs_modulus": "stress",
    "yield_strength": "stress",
    "yield_tension": "stress",
    "yield_compression": "stress",
    "tangent_modulus": "stress",
    "yield_offset": "stress",
    "density": "density",
    "slide_angle": "angle",
    "bearing_stiffness": "stiffness",
    "max_screw_force": "force",
    "max_screw_torque": "torque",
    "max_hand_force": "force",
    "max_force": "force",
    "clamp": "line_force",
    "stiffness": "line_stiffness",
}
_PURE = {
    "poisson_ratio",
    "kinematic_share",
    "allowable_strain",
    "minimum_bend_radius",
    "share",
    "exponent",
    "screw_friction",
    "friction",
    "gear_ratio",
    "efficiency",
}
_OF_DIRECTION = ("yield_strength", "tangent_modulus")


def spelled(key: str, value: float) -> str | float:
    """Give a number of a card as its file spells it: with its unit if it has one."""
    if key in _PURE:
        return float(f"{value:.6g}")
    dimension = _BY_KEY.get(key, "length")
    unit = _UNITS[dimension]
    return f"{value / units.FACTORS[dimension][unit]:.8g} {unit}"


def material_card(material: Material, *, remarks: tuple[str, ...]) -> str:
    """Write a material as a card of its direction.

    The yield strength stands as it counts in bending, in one number.
    """
    plain = {
        key: spelled(key, value)
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
        key: spelled(key, getattr(material, key)) for key in _OF_DIRECTION
    }
    table: dict[str, Any] = {"title": material.title}
    if material.basis:
        table["basis"] = material.basis
    table |= plain
    if material.clad is not None:
        table["clad"] = _clad(material.clad)
    if material.curve is not None:
        curve = material.curve.model_dump(exclude_none=True)
        own["curve"] = {key: _curve_value(key, value) for key, value in curve.items()}
    kept = {*plain, *own, "basis"}
    table["sources"] = {
        key: text
        for key, text in material.sources.items()
        if key in kept or key.startswith("clad.")
    }
    table[material.direction] = own
    return toml_text(table, remarks)


def machine_card(machine: Machine, *, remarks: tuple[str, ...]) -> str:
    """Write a machine as a card."""
    table: dict[str, Any] = {"title": machine.title}
    parts = machine.model_dump(exclude_none=True, exclude={"name", "title"})
    return toml_text(table | _spelled_all(parts), remarks)


def toml_text(table: dict[str, Any], remarks: tuple[str, ...] = ()) -> str:
    """Write a table of text, numbers, lists and tables as TOML, under remarks."""
    lines = [f"# {remark}" for remark in remarks]
    return "\n".join([*lines, *_lines(table, "")]) + "\n"


def _clad(clad: Cladding) -> dict[str, Any]:
    return {key: spelled(key, value) for key, value in clad.model_dump().items()}


def _curve_value(key: str, value: Any) -> Any:
    if key == "strain":
        return [float(f"{v:.7g}") for v in value]
    if key == "stress":
        return [f"{v:.7g} MPa" for v in value]
    return spelled(key, value) if isinstance(value, float) else value


def _spelled_all(table: dict[str, Any]) -> dict[str, Any]:
    return {
        key: _spelled_all(value) if isinstance(value, dict) else spelled(key, value)
        for key, value in table.items()
    }


def _lines(table: dict[str, Any], place: str) -> Iterator[str]:
    """Go through a table: its own values first, then the tables in it."""
    for key, value in table.items():
        if not isinstance(value, dict):
            yield f"{_key(key)} = {json.dumps(value, ensure_ascii=False)}"
    for key, value in table.items():
        if isinstance(value, dict) and value:
            inner = f"{place}{_key(key)}"
            yield ""
            yield f"[{inner}]"
            yield from _lines(value, f"{inner}.")


def _key(key: str) -> str:
    plain = key.replace("_", "").replace("-", "")
    return key if plain.isalnum() and plain.isascii() else json.dumps(key)

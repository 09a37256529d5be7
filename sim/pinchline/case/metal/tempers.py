"""Every material on file, and the case's own, over thicknesses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pinchline import library
from pinchline.case.metal.material import covered_thicknesses, load_material
from pinchline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pinchline.case.case import Case
    from pinchline.case.metal.material import Material

    Source = str | dict[str, Any] | Material


def own_source(case: Case) -> Source:
    """Name, path or table of the case's material, as its file tells it."""
    source: Source = case.table["sheet"]["material"]
    return source


def tempers(
    case: Case, thicknesses: Iterable[float]
) -> dict[str, list[tuple[float, Material]]]:
    """Give the materials over the thicknesses (mm) that each card covers.

    In the case's direction, soft to hard by what each has at its thinnest.
    """
    direction = case.sheet.material.direction
    found: dict[str, list[tuple[float, Material]]] = {}
    for name, source in _sources(case).items():
        kept = []
        for thickness in thicknesses:
            try:
                material = load_material(source, direction, thickness, case.path)
            except InputError:
                continue  # the card does not cover this thickness
            kept.append((thickness, material))
        if kept:
            found[name] = kept
    return dict(sorted(found.items(), key=lambda item: item[1][0][1].yield_strength))


def covered_by_all(case: Case) -> tuple[float, float]:
    """Thinnest and thickest sheet (mm) that any card covers."""
    ranges = [
        covered_thicknesses(source, case.path) for source in _sources(case).values()
    ]
    known = [one for one in ranges if one is not None]
    return min(low for low, _ in known), max(high for _, high in known)


def _sources(case: Case) -> dict[str, Source]:
    asked: dict[str, Source] = {name: name for name in library.names("materials")}
    asked[case.sheet.material.name] = own_source(case)
    return asked

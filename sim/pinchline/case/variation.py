"""A case or a material with values changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pinchline.case.material import Material


def strengthened(
    material: Material, ratio: float, youngs: float | None = None
) -> Material:
    """Give the material with every stress of its yielding in a ratio.

    ``youngs``: its Young's modulus (MPa) from now on; None keeps it.
    """
    youngs = material.youngs_modulus if youngs is None else youngs
    changed: dict[str, object] = {
        "yield_strength": ratio * material.yield_strength,
        "youngs_modulus": youngs,
    }
    clad, curve = material.clad, material.curve
    if clad is not None:
        skin = {"yield_strength": ratio * clad.yield_strength}
        changed["clad"] = clad.model_copy(update=skin)
    if curve is not None and curve.stress is not None and curve.strain is not None:
        # the elastic part of every strain goes with its stress
        elastic = ratio / youngs - 1.0 / material.youngs_modulus
        points = list(zip(curve.strain, curve.stress, strict=True))
        shifted = {
            "strain": tuple(e + elastic * s for e, s in points),
            "stress": tuple(ratio * s for _, s in points),
        }
        changed["curve"] = curve.model_copy(update=shifted)
    elif curve is not None and curve.yield_offset is not None:
        offset = {"yield_offset": ratio * curve.yield_offset}
        changed["curve"] = curve.model_copy(update=offset)
    return material.model_copy(update=changed)

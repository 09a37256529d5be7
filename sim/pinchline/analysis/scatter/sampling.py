"""Points of a scatter: sheet, nip and settings at shares of their laws."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pinchline.analysis.scatter.inputs import VariedValues, settings_in

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.analysis.scatter.inputs import ScatterInput
    from pinchline.case.case import Case

    Array = NDArray[np.float64]

SETTING_INPUTS = ("touch", "lift")


@dataclass(frozen=True)
class ScatterSample:
    """Points as the solvers take them.

    Attributes
    ----------
    x : coordinates of the sheet and the clamp (``power_of``) ``(n, d)``
    lifts : error of each setting of the lift, touch included (mm), ``(n, settings)``
    friction : of the nip ``(n)``
    values : all of it, one by one
    table : value of every input ``(n, inputs)``; of several settings of the lift the
        one that is farthest off
    """

    x: Array
    lifts: Array
    friction: Array
    values: tuple[VariedValues, ...]
    table: Array

    def rows(self, which: NDArray[np.intp]) -> ScatterSample:
        """Give some of the points."""
        values = tuple(self.values[i] for i in which)
        x, lifts, friction = self.x[which], self.lifts[which], self.friction[which]
        return ScatterSample(x, lifts, friction, values, self.table[which])


def columns_of(inputs: tuple[ScatterInput, ...], settings: int) -> list[list[int]]:
    """Give the coordinates of each input; each setting of the lift has its own."""
    found, at = [], 0
    for one in inputs:
        count = max(settings, 1) if one.key == "lift" else 1
        found.append(list(range(at, at + count)))
        at += count
    return found


def lift_scale(inputs: tuple[ScatterInput, ...]) -> float:
    """Give the standard deviation (mm) of touch and setting together; inf without."""
    size = math.hypot(*(one.sd for one in inputs if one.key in SETTING_INPUTS))
    return size if size > 0.0 else math.inf


def sheet_inputs(inputs: tuple[ScatterInput, ...]) -> list[ScatterInput]:
    """Give what a pass depends on beside its lift."""
    return [one for one in inputs if one.key not in (*SETTING_INPUTS, "friction")]


def power_of(one: ScatterInput, values: Array) -> Array:
    """Logarithms of values over the middle of their law, of size 1 or so."""
    found: Array = np.log(values / one.middle) * (one.middle / one.spread)
    return found


def sample_of(
    case: Case, inputs: tuple[ScatterInput, ...], shares: Array
) -> ScatterSample:
    """Give points at shares of the laws ``(n, coordinates)``."""
    count = shares.shape[0]
    settings = len(settings_in(case.moves))
    columns = columns_of(inputs, settings)
    coordinates = {
        one.key: one.standard(shares[:, own])
        for one, own in zip(inputs, columns, strict=True)
    }
    lifts = np.zeros((count, settings))
    table = np.empty((count, len(inputs)))
    for number, one in enumerate(inputs):
        values = one.at(coordinates[one.key])
        worst = np.argmax(np.abs(values), axis=1) if one.key == "lift" else 0
        table[:, number] = values[np.arange(count), worst]
        if one.key in SETTING_INPUTS:
            lifts += values
    specified = {one.key: table[:, i] for i, one in enumerate(inputs)}
    sheet = [power_of(one, specified[one.key]) for one in sheet_inputs(inputs)]
    friction = specified.get("friction", np.full(count, case.machine.nip.friction))
    return ScatterSample(
        x=np.column_stack(sheet) if sheet else np.zeros((count, 0)),
        lifts=lifts,
        friction=friction,
        values=values_of(case, specified, lifts, friction),
        table=table,
    )


def values_of(
    case: Case, specified: dict[str, Array], lifts: Array, friction: Array
) -> tuple[VariedValues, ...]:
    """Give points one by one; what is not specified is the case's own."""
    material, nip = case.sheet.material, case.machine.nip
    own = {
        "thickness": case.sheet.thickness,
        "yield_strength": material.yield_strength,
        "tangent_modulus": material.tangent_modulus,
        "youngs_modulus": material.youngs_modulus,
        "clamp": nip.clamp or 0.0,
    }
    count = friction.size
    given = {
        key: specified.get(key, np.full(count, value)) for key, value in own.items()
    }
    strength = given["yield_strength"] / material.yield_strength
    return tuple(
        VariedValues(
            thickness=float(given["thickness"][i]),
            strength=float(strength[i]),
            tangent_modulus=float(given["tangent_modulus"][i]),
            youngs_modulus=float(given["youngs_modulus"][i]),
            clamp=float(given["clamp"][i]),
            friction=float(friction[i]),
            lifts=tuple(lifts[i].tolist()),
        )
        for i in range(count)
    )

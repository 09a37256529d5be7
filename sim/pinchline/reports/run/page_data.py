"""What the script of a page draws from: numbers of one job, packed small.

Shapes travel as 16-bit steps of their range, about 0.005 mm on the demo; forces and
travel with five figures. NaN is null.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline import units
from pinchline.reports.run.playback import (
    accumulated_travel,
    bend_edges,
    playback,
    thinned_rows,
)
from pinchline.reports.style.table import move_words
from pinchline.results.schema import ROLLS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pinchline.reports.run.playback import Playback
    from pinchline.results.schema import Result
    from pinchline.units import Dimension, System

    Array = NDArray[Any]

MOST_STEPS = 3000  # the most steps of the curves over the travel
MOST_PLACES = 1200  # the most places of the curves along the sheet
_NO_VALUE = -32768  # of a packed number
_TRACED_FIELDS = ("force_upper", "force_lower", "force_rear", "drive_force", "lift")
_PLAYBACK_FIELDS = ("lift", "nip", *_TRACED_FIELDS[:4], "hand_force")
_PAGE_DIMENSIONS: tuple[Dimension, ...] = ("length", "line_force", "force")
_UNIT_SYSTEMS: tuple[System, ...] = ("metric", "inch")


def page_data(results: Sequence[Result]) -> list[dict[str, Any]]:
    """Return what the script needs of the jobs, ready for JSON.

    Jobs beside one another are drawn in the same classes of bend.
    """
    shown = [playback(result) for result in results]
    edges = bend_edges(np.concatenate([one.curvature.ravel() for one in shown]))
    return [
        _job(result, one, edges) for result, one in zip(results, shown, strict=True)
    ]


def _job(result: Result, shown: Playback, edges: tuple[float, ...]) -> dict[str, Any]:
    return {
        "title": result.title,
        "thickness": result.inputs["thickness"],
        "length": result.inputs["length"],
        "radii": [result.inputs[f"{roll}_radius"] for roll in ROLLS],
        "bound": result.inputs["curvature_wrap"],
        "moves": move_words(result),
        "edges": edges,
        "frames": _frames(result, shown),
        "trace": _trace(result),
        "sheet": _sheet(result),
        "units": {
            name: [units.display_unit(name, system) for system in _UNIT_SYSTEMS]
            for name in _PAGE_DIMENSIONS
        },
    }


def _frames(result: Result, shown: Playback) -> dict[str, Any]:
    """Shapes, rolls, and the step of each frame with its forces."""
    frames, steps = result.frames, result.steps
    step = frames["step"][shown.rows]
    centres = np.stack(
        [frames[f"roll_{axis}"][shown.rows] for axis in ("x", "y")], axis=2
    )
    contacts = np.stack(
        [
            np.stack([steps[f"{roll}_{axis}"][step] for axis in "xy"], 1)
            for roll in ROLLS
        ],
        axis=1,
    )
    return {
        "step": step.tolist(),
        "move": frames["move"][shown.rows].tolist(),
        "travel": rounded_numbers(accumulated_travel(result)[step]),
        "s": rounded_numbers(shown.s),
        "x": packed_steps(shown.x),
        "y": packed_steps(shown.y),
        "curvature": packed_steps(shown.curvature),
        "rolls": [[rounded_numbers(roll) for roll in frame] for frame in centres],
        "contacts": [[rounded_numbers(roll) for roll in frame] for frame in contacts],
        **{name: rounded_numbers(steps[name][step]) for name in _PLAYBACK_FIELDS},
    }


def _trace(result: Result) -> dict[str, Any]:
    """Give forces, drive and lift over the travel; thinned, peaks kept."""
    path = accumulated_travel(result)
    columns = [np.asarray(result.steps[name], dtype="f8") for name in _TRACED_FIELDS]
    rows = thinned_rows(columns, MOST_STEPS)
    curves = zip(_TRACED_FIELDS, columns, strict=True)
    return {
        "travel": rounded_numbers(path[rows]),
        **{name: rounded_numbers(column[rows]) for name, column in curves},
    }


def _sheet(result: Result) -> dict[str, Any]:
    """Curvature and moment along the sheet; thinned, peaks kept."""
    sheet = result.sheet
    ratio = np.abs(sheet["moment_peak"]) / result.inputs["moment_first_yield"]
    loaded, residual = sheet["curvature_loaded_peak"], sheet["curvature_residual"]
    rows = thinned_rows([residual, loaded, ratio], MOST_PLACES)
    return {
        "s": rounded_numbers(sheet["s"][rows]),
        "residual": rounded_numbers(residual[rows]),
        "loaded": rounded_numbers(loaded[rows]),
        "moment": rounded_numbers(ratio[rows]),
        "move": sheet["moment_peak_move"][rows].tolist(),
    }


def rounded_numbers(values: Array) -> list[float | None]:
    """Return an array with five figures, null for what is no number."""
    return [
        float(f"{value:.5g}") if np.isfinite(value) else None
        for value in np.asarray(values, dtype="f8").tolist()
    ]


def packed_steps(values: Array) -> dict[str, Any]:
    """Return an array (rows, columns) as 16-bit steps of its range, in base64."""
    good = np.isfinite(values)
    low = float(values[good].min()) if good.any() else 0.0
    high = float(values[good].max()) if good.any() else 1.0
    step = (high - low) / 65000.0 or 1.0
    steps = np.full(values.shape, _NO_VALUE, dtype="<i2")
    steps[good] = np.round((values[good] - low) / step) - 32500.0
    return {
        "zero": low + 32500.0 * step,
        "step": step,
        "columns": values.shape[1],
        "data": base64.b64encode(steps.tobytes()).decode("ascii"),
    }

"""The result of a job: its records and what is measured on the free part."""

from __future__ import annotations

import math
import platform
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

import numpy as np

from pinchline._version import __version__
from pinchline.case.demand import DEMAND_QUANTITIES
from pinchline.case.moves import describe
from pinchline.parts import measure
from pinchline.physics.support import STIFFNESS
from pinchline.results.schema import ROLLS, Result, fields_of
from pinchline.solvers.rolls import wrap_curvature
from pinchline.solvers.stepped.equilibrium.commit import (
    PEAK_CHANGE,
    PEAK_CURVATURE,
    PEAK_MOMENT,
    PEAK_MOVE,
    PEAK_PLACE,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.solvers.stepped.recorder import Recorder
    from pinchline.solvers.stepped.state import State

    Array = NDArray[np.float64]

BENT_SHARE = 0.1  # of the first-yield curvature: residual below it counts as flat
CREASE_REACH = 4.0  # thicknesses round the nip line where the rear roll was raised


def outcome(state: State, recorder: Recorder, seconds: float) -> Result:
    """Build the result from a free sheet and the records of its job."""
    case = state.case
    material = case.sheet.material
    sheet, outline = _sheet(state)
    steps = _filled("steps", recorder.step_table())
    frames = _filled("frames", recorder.frame_table(), nodes=state.elements + 1)
    return Result(
        title=case.title,
        case_text=case.text,
        case_path=case.path,
        versions=versions(),
        inputs=_inputs(state),
        labels={
            "material": material.name,
            "machine": case.machine.name,
            "direction": material.direction,
            "section": case.model.section,
            "moves": "\n".join(describe(move) for move in case.moves),
        },
        sheet=dict(sheet),
        steps=steps,
        frames=frames,
        summary=_summary(state, recorder, sheet, outline, steps)
        | {"solver_seconds": seconds},
        events=list(recorder.events),
    )


def versions() -> dict[str, str]:
    """Package to version, of what the numbers depend on."""
    found = {"pinchline": __version__, "python": platform.python_version()}
    for name in ("numpy", "numba", "h5py"):
        try:
            found[name] = version(name)
        except PackageNotFoundError:  # a bundle without metadata
            found[name] = "unknown"
    return found


def _filled(
    group: str, table: dict[str, NDArray[np.generic]], nodes: int = 0
) -> dict[str, NDArray[np.generic]]:
    """Return the table, with empty columns where no step was made."""
    if table:
        return table
    lengths = {"node": nodes, "roll": len(ROLLS)}
    return {
        field.name: np.zeros(
            tuple(lengths.get(dim, 0) for dim in field.dims),
            dtype=np.int32 if field.dtype == "i4" else np.float64,
        )
        for field in fields_of(group)
    }


def _inputs(state: State) -> dict[str, float]:
    case = state.case
    machine, sheet, material = case.machine, case.sheet, case.sheet.material
    return {
        "thickness": sheet.thickness,
        "length": sheet.length,
        "width": sheet.width,
        "upper_radius": machine.rolls.upper_radius,
        "lower_radius": machine.rolls.lower_radius,
        "rear_radius": machine.rolls.rear_radius,
        "rear_distance": machine.rear.distance,
        "slide_angle": machine.rear.slide_angle,
        "nip_opening": sheet.thickness + machine.nip.opening,
        "nip_clamp": machine.nip.clamp or 0.0,
        **{
            f"stiffness_{name}": float(state.supports[index, STIFFNESS])
            for index, name in enumerate(ROLLS)
        },
        "searle_number": state.regime.searle,
        "held_flat": state.regime.held,
        "moment_first_yield": state.sheet.law.first_set,
        "curvature_first_yield": state.sheet.law.yield_curvature,
        "curvature_wrap": wrap_curvature(machine, sheet.thickness),
        "youngs_modulus": material.youngs_modulus,
        "poisson_ratio": material.poisson_ratio,
        "yield_strength": material.yield_strength,
        "tangent_modulus": material.tangent_modulus,
        "element": state.beam.length,
        "straightedge_gap": case.measure.straightedge_gap,
    }


def _sheet(state: State) -> tuple[dict[str, Array], measure.Outline]:
    """Arrays along s, whichever way round the sheet lies in the machine."""
    order = slice(None, None, -1 if state.turned else 1)
    length = state.beam.length
    residual = state.chain.curvature[order].copy()
    peaks = state.peaks[order]
    outline = measure.free_outline(residual, length)
    table = {
        "s": (np.arange(state.elements) + 0.5) * length,
        "curvature_loaded_peak": peaks[:, PEAK_CURVATURE].copy(),
        "curvature_residual": residual,
        "moment_peak": peaks[:, PEAK_MOMENT].copy(),
        "moment_peak_move": peaks[:, PEAK_MOVE].astype(np.int32),
        "moment_peak_place": np.where(
            peaks[:, PEAK_MOVE] > 0, peaks[:, PEAK_PLACE], math.nan
        ),
        "surface_strain_peak": peaks[:, PEAK_CHANGE] * state.beam.half,
        "s_node": np.arange(state.elements + 1) * length,
        "x": outline.x,
        "y": outline.y,
    }
    return table, outline


def _summary(
    state: State,
    recorder: Recorder,
    sheet: dict[str, Array],
    outline: measure.Outline,
    steps: dict[str, NDArray[np.generic]],
) -> dict[str, float]:
    case = state.case
    gauge = case.measure
    s = sheet["s_node"]
    low = 0.0 if gauge.gauge_operator is None else gauge.gauge_operator
    high = float(s[-1]) if gauge.gauge_rear is None else gauge.gauge_rear
    least = BENT_SHARE * state.sheet.law.yield_curvature
    loaded, residual = sheet["curvature_loaded_peak"], sheet["curvature_residual"]
    material = case.sheet.material
    zone = _zone(case, residual, least, state.beam.length)
    bound = wrap_curvature(case.machine, case.sheet.thickness)
    flats = _flats(state, sheet, outline)
    allowable = material.allowable_strain
    return {
        "opening": measure.opening(outline, s, low, high),
        "turned_angle": float(
            np.interp(high, s, outline.theta) - np.interp(low, s, outline.theta)
        ),
        **flats,
        "radius_loaded_min": _radius(float(np.max(np.abs(loaded)))),
        "radius_residual_min": _radius(float(np.max(np.abs(residual)))),
        **_zone_measures(zone, sheet, outline),
        **_crease(state, residual, zone, steps),
        "halves_difference": measure.halves_difference(residual, least),
        "surface_strain_max": float(np.max(sheet["surface_strain_peak"])),
        "allowable_strain": math.nan if allowable is None else allowable,
        **_extremes(steps),
        "steps": float(len(recorder.rows)),
        "iterations": float(state.iterations),
        "wrap_excess": float(np.max(loaded)) / bound,
        "penetration_max": recorder.penetration,
    }


def _radius(curvature: float) -> float:
    return 1.0 / curvature if curvature > 1.0e-9 else math.inf


def _flats(
    state: State, sheet: dict[str, Array], outline: measure.Outline
) -> dict[str, float]:
    gap = state.case.measure.straightedge_gap
    flats = {}
    for name, end in (("operator", False), ("rear", True)):
        flats[f"flat_{name}_straightedge"] = measure.straightedge_flat(
            outline, sheet["s_node"], gap, from_end=end
        )
        flats[f"flat_{name}_moment"] = measure.moment_flat(
            sheet["moment_peak"],
            state.beam.length,
            state.sheet.law.first_set,
            from_end=end,
        )
    return flats


def _zone(
    case: Case, residual: Array, least: float, length: float
) -> tuple[int, int] | None:
    """Elements of the zone that radius and springback are measured over."""
    start, stop = case.measure.zone_from, case.measure.zone_to
    if start is not None and stop is not None:
        return int(start / length), max(int(start / length) + 2, round(stop / length))
    found = measure.plateau(residual, least)
    return found if found is not None and found[1] - found[0] >= 3 else None


def _zone_measures(
    zone: tuple[int, int] | None, sheet: dict[str, Array], outline: measure.Outline
) -> dict[str, float]:
    names = (
        "radius_fit",
        "radius_fit_residual",
        "zone_from",
        "zone_to",
        "radius_zone_mean",
        "radius_zone_spread",
        "springback_ratio",
        "springback_loaded_radius",
        "springback_residual_radius",
        "chord",
        "rise",
        "radius_chord_rise",
    )
    if zone is None:
        return dict.fromkeys(names, math.nan)
    start, stop = zone
    residual = sheet["curvature_residual"][start:stop]
    circle = measure.fit_circle(
        outline.x[start : stop + 1], outline.y[start : stop + 1]
    )
    middle = (start + stop) // 2
    after = _radius(abs(float(sheet["curvature_residual"][middle])))
    before = _radius(abs(float(sheet["curvature_loaded_peak"][middle])))
    chord, rise = measure.chord_and_rise(outline, start, stop)
    by_rise = chord**2 / (8.0 * rise) + rise / 2.0 if rise > 0.0 else math.inf
    values = (
        circle.radius,
        circle.residual,
        float(sheet["s_node"][start]),
        float(sheet["s_node"][stop]),
        _radius(abs(float(np.mean(residual)))),
        float(np.ptp(_radii(residual))),
        after / before if math.isfinite(after) else math.nan,
        before,
        after,
        chord,
        rise,
        by_rise,
    )
    return dict(zip(names, values, strict=True))


def _radii(curvature: Array) -> Array:
    radii: Array = 1.0 / np.maximum(np.abs(curvature), 1.0e-9)
    return radii


def _crease(
    state: State,
    residual: Array,
    zone: tuple[int, int] | None,
    steps: dict[str, NDArray[np.generic]],
) -> dict[str, float]:
    """Sharpest bend where the rear roll was raised with the sheet at rest."""
    nothing = {"crease_s": math.nan, "crease_height": math.nan}
    lifts = [n for n, move in enumerate(state.case.moves, 1) if move.kind == "lift"]
    raised = np.isin(steps["move"], lifts)
    if zone is None or not np.any(raised):
        return nothing
    s = (np.arange(residual.size) + 0.5) * state.beam.length
    reach = CREASE_REACH * state.case.sheet.thickness
    near = np.zeros(residual.size, dtype=bool)
    for nip in np.unique(steps["nip"][raised]):
        near |= np.abs(s - nip) <= reach
    if not np.any(near):
        return nothing
    at = int(np.argmax(np.where(near, np.abs(residual), -1.0)))
    level = abs(float(np.mean(residual[zone[0] : zone[1]])))
    if level < 1.0e-9:  # a flat zone, asked for by the case
        return nothing
    height = abs(float(residual[at])) / level
    if height <= 1.0 + measure.PLATEAU_BAND:
        return nothing
    return {"crease_s": float(s[at]), "crease_height": height}


def _extremes(steps: dict[str, NDArray[np.generic]]) -> dict[str, float]:
    names = {
        "energy_error_max": "energy_error",
        "force_upper_max": "force_upper",
        "force_lower_max": "force_lower",
        "force_rear_max": "force_rear",
        "drive_force_max": "drive_force",
        "nip_opening_max": "nip_opening",
        "give_rear_max": "give_rear",
        "lift_max": "lift",
    } | {q.extreme: q.name for q in DEMAND_QUANTITIES if q.follows != "grip"}
    found = {name: _largest(steps[column]) for name, column in names.items()}
    fed = np.diff(steps["fed"], prepend=0.0) != 0.0
    margins = steps["grip_margin"][fed]
    found["grip_margin_min"] = float(np.min(margins)) if margins.size else math.nan
    return found


def _largest(column: NDArray[np.generic]) -> float:
    """Largest size in a column; NaN where it holds no number."""
    numbers = np.abs(column[np.isfinite(column)])
    if not numbers.size and column.size:
        return math.nan
    return float(np.max(numbers, initial=0.0))

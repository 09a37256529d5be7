"""Prints the stored continua beside the engine, one row per case.

    PYTHONPATH=sim python benchmarks/continuum/compare.py [--plain] [--contact 1.0]

The engine bulges (``[model] bulging``) unless it is asked to be plain. Of each case and
solver the finest stored table counts. Differences are engine minus
continuum: the library's where there is one, else our own.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline.case.case import load_case
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case

    Array = NDArray[np.float64]

HERE = Path(__file__).parent
RESULTS = HERE / "results"
NAMES = tuple(sorted(path.stem for path in (HERE / "cases").glob("*.toml")))
LIBRARY, OWN = "-library", ""  # solvers, as the stored tables are marked
RAISE, FEED = 1, 2  # moves after the place
LAST = 4.0  # mm of feed over which forces are averaged: the nip has settled
GAP = 0.1  # mm: ends the straightedge flat
UPPER, LOWER, REAR = 3, 4, 5  # columns of the table of roll forces


@dataclass(frozen=True)
class Measured:
    """What is compared.

    Attributes
    ----------
    radius : over the mean residual curvature of the zone, mm
    peak : mean of the loaded peak of curvature over the zone, 1/mm
    flats : straightedge flats at the operator's and the rear edge, mm
    static, steady : force of upper, lower, rear roll after the raise and late in the
        feed, N/mm
    """

    radius: float
    peak: float
    flats: tuple[float, float]
    static: Array
    steady: Array


def mean_over(s: Array, values: Array, low: float, high: float) -> float:
    """Mean of a tabulated quantity over a stretch, between its points linear."""
    return float(np.interp(np.linspace(low, high, 401), s, values).mean())


def flat(s: Array, curvature: Array) -> float:
    """Length from the first point until the sheet is ``GAP`` off its tangent there."""
    fine = np.arange(s[0], s[-1], 0.02)
    bend = np.interp(fine, s, curvature)
    height = np.cumsum(np.cumsum(bend)) * 0.02**2
    off = np.flatnonzero(np.abs(height) > GAP)
    return float(fine[off[0]] - fine[0]) if off.size else float(s[-1] - s[0])


def _flats(s: Array, curvature: Array) -> tuple[float, float]:
    return flat(s, curvature), flat(s[-1] - s[::-1], curvature[::-1])


def finest(name: str, solver: str = OWN) -> int:
    """Rows of the finest stored run, 0 where there is none; 8 carry no mark."""
    stems = [path.stem for path in RESULTS.glob(f"{name}{solver}-*sheet.csv")]
    rows = [0]
    for stem in stems:
        mark = stem.removeprefix(f"{name}{solver}-").removesuffix("sheet")
        if mark == "":
            rows.append(8)
        elif mark.startswith("rows"):
            rows.append(int(mark.removeprefix("rows").removesuffix("-")))
    return max(rows)


def reference(name: str) -> tuple[str, int]:
    """Solver and rows that the engine is measured against."""
    rows = finest(name, LIBRARY)
    return (LIBRARY, rows) if rows else (OWN, finest(name))


def continuum(case: Case, name: str, rows: int, solver: str = OWN) -> Measured:
    """Read the stored tables of a case."""
    stem = f"{name}{solver}" + ("" if rows == 8 else f"-rows{rows}")
    sheet = np.loadtxt(RESULTS / f"{stem}-sheet.csv", delimiter=",")
    rolls = np.loadtxt(RESULTS / f"{stem}-rolls.csv", delimiter=",")
    s, residual, peak = sheet.T
    low, high = _zone(case)
    feed = rolls[rolls[:, 0] == FEED]
    late = np.abs(feed[:, 2] - feed[-1, 2]) <= LAST
    return Measured(
        1.0 / mean_over(s, residual, low, high),
        mean_over(s, peak, low, high),
        _flats(s, residual),
        rolls[rolls[:, 0] == RAISE][-1, UPPER : REAR + 1],
        feed[late][:, UPPER : REAR + 1].mean(axis=0),
    )


def engine(case: Case) -> Measured:
    """Run the engine on a case."""
    result = run_case(case)
    s, residual = result.sheet["s"], result.sheet["curvature_residual"]
    peak = result.sheet["curvature_loaded_peak"]
    steps: dict[str, Any] = dict(result.steps)
    force = np.stack([steps[f"force_{n}"] for n in ("upper", "lower", "rear")], axis=1)
    move = steps["move"] - 1  # the engine counts the place as well
    feed = np.flatnonzero(move == FEED)
    late = feed[np.abs(steps["fed"][feed] - steps["fed"][feed[-1]]) <= LAST]
    low, high = _zone(case)
    return Measured(
        1.0 / mean_over(s, residual, low, high),
        mean_over(s, peak, low, high),
        _flats(s, residual),
        force[move == RAISE][-1],
        force[late].mean(axis=0),
    )


def _zone(case: Case) -> tuple[float, float]:
    low, high = case.measure.zone_from, case.measure.zone_to
    if low is None or high is None:
        message = f"{case.path}: a continuum case names its zone"
        raise ValueError(message)
    return low, high


def load(name: str, *, bulging: bool = False, contact: float | None = None) -> Case:
    """Read a case for one of the two contact laws and a stiffness (E'/t) of it."""
    case = load_case(HERE / "cases" / f"{name}.toml")
    return case.replace({"model.bulging": bulging, "model.contact": contact})


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plain", action="store_true")
    parser.add_argument("--contact", type=float)
    asked = parser.parse_args()
    print(
        "| case | NGSolve: rows | R, mm | plane.py: rows | R, mm | engine: R, mm |"
        " R | against plane.py | loaded peak | flats, mm | rear | upper | lower |"
        " rear, raised | upper, raised |"
    )
    print("| --- " * 15 + "|")
    for name in NAMES:
        case = load(name, bulging=not asked.plain, contact=asked.contact)
        b = engine(case)
        cells, radii = [name], {}
        for solver in (LIBRARY, OWN):
            rows = finest(name, solver)
            if rows:
                radii[solver] = continuum(case, name, rows, solver).radius
            cells += [str(rows), f"{radii[solver]:.2f}"] if rows else ["", ""]
        solver, rows = reference(name)
        a = continuum(case, name, rows, solver)
        off = np.subtract(b.flats, a.flats)
        steady, static = b.steady / a.steady - 1.0, b.static / a.static - 1.0
        cells += [f"{b.radius:.2f}", f"{b.radius / a.radius - 1.0:+.1%}"]
        cells += [f"{b.radius / radii[OWN] - 1.0:+.1%}" if OWN in radii else ""]
        cells += [f"{b.peak / a.peak - 1.0:+.1%}", f"{off[0]:+.2f}, {off[1]:+.2f}"]
        cells += [f"{steady[i]:+.1%}" for i in (2, 0, 1)]
        cells += [f"{static[i]:+.1%}" for i in (2, 0)]
        print("| " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()

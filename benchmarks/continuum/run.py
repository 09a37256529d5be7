"""Runs the continuum of the stored cases and keeps their tables in ``results/``.

    PYTHONPATH=sim python benchmarks/continuum/run.py [name ...] [--rows 8] [--soft]
        [--library | --calculix]

Without names it runs every case (about half an hour). ``--rows`` changes the fineness
of mesh and steps. ``--library`` solves in NGSolve (``pip install -e .[continuum]``;
some fifteen times as long). ``--calculix`` runs ``ccx`` of Debian's calculix-ccx; it
takes the soft contact of ``--soft`` only; what it printed before it gave up is kept.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math
import os
import subprocess
import time
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import calculix
import numpy as np
from extract import read_history
from history import WINDOW, curvature
from plane_sheet import PlaneSheet
from programme import Fineness

from pinchline.case.case import load_case

if TYPE_CHECKING:
    from collections.abc import Iterable

    from history import History
    from mesh import Array

    from pinchline.case.case import Case

HERE = Path(__file__).parent
RESULTS = HERE / "results"
ROWS = Fineness().rows
SOFT = Fineness(rows=4, length=0.5, feed=0.25, penalty=0.25)
KEPT = 1.0  # mm of feed or lift between the rows kept of the roll forces
ROLL_COLUMNS = (
    "move,lift_mm,fed_mm,upper_N_mm,lower_N_mm,rear_N_mm,"
    "upper_x_mm,lower_x_mm,rear_x_mm,drive_N_mm,curvature_max_1_mm"
)
SHEET_COLUMNS = "s_mm,curvature_residual_1_mm,curvature_loaded_peak_1_mm"


def head(case: Case, fineness: Fineness, solver: str, seconds: float) -> list[str]:
    """What made a table: solver, date, fineness and the case, word for word."""
    today = dt.datetime.now(tz=dt.UTC).date()
    parts = ", ".join(f"{key} {value}" for key, value in asdict(fineness).items())
    return [
        f"solver: {solver}, {today}, {seconds:.0f} s",
        f"fineness: {parts}; curvatures over {WINDOW} thicknesses",
        *(f"case: {line}" for line in case.text.splitlines()),
    ]


def sheet_table(case: Case, history: History) -> Array:
    """Columns of ``SHEET_COLUMNS``; what is left is read after the last move."""
    bend = curvature(history.s, history.angle, WINDOW * case.sheet.thickness)
    return np.column_stack((history.s, bend[-1], bend.max(axis=0)))


def roll_table(case: Case, history: History) -> Array:
    """Columns of ``ROLL_COLUMNS``: every millimetre, and the ends of the moves."""
    bend = curvature(history.s, history.angle, WINDOW * case.sheet.thickness)
    rows: list[int] = []
    last = -math.inf
    way = history.lift + np.abs(history.fed)
    ends = np.flatnonzero(np.diff(history.stage, append=math.inf))
    for i in range(history.stage.size):
        if abs(way[i] - last) >= KEPT - 1.0e-9 or i in ends:
            rows.append(i)
            last = way[i]
    table = np.column_stack(
        (
            history.stage,
            history.lift,
            history.fed,
            history.force,
            history.contact,
            history.drive,
            bend.max(axis=1),
        )
    )
    return np.asarray(table[rows])


def save(name: str, lines: Iterable[str], case: Case, history: History) -> None:
    """Write both tables."""
    RESULTS.mkdir(exist_ok=True)
    text = "\n".join(lines)
    for kind, table, columns in (
        ("sheet", sheet_table(case, history), SHEET_COLUMNS),
        ("rolls", roll_table(case, history), ROLL_COLUMNS),
    ):
        np.savetxt(
            RESULTS / f"{name}-{kind}.csv",
            table,
            delimiter=",",
            fmt="%.7g",
            header=f"{text}\n{columns}",
            comments="# ",
        )


def by_plane(case: Case, fineness: Fineness, hold: str = "nip") -> History:
    """Solve a case with the plane solver of this folder."""
    return PlaneSheet(case, fineness, hold).run()


def by_library(case: Case, fineness: Fineness) -> History:
    """Solve a case with NGSolve."""
    from library_sheet import LibrarySheet

    return LibrarySheet(case, fineness).run()


def by_calculix(case: Case, fineness: Fineness) -> History:
    """Solve a case with CalculiX."""
    model = calculix.build(case, fineness)
    with TemporaryDirectory() as folder:
        path = Path(folder, "model")
        calculix.write(model, path.with_suffix(".inp"))
        subprocess.run(
            ["ccx", "-i", path.name],
            cwd=folder,
            check=False,  # it may stop in mid-feed: what it printed is read
            env=os.environ | {"OMP_NUM_THREADS": "1"},
            stdout=subprocess.DEVNULL,
        )
        return read_history(model, path.with_suffix(".dat"))


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    other = parser.add_mutually_exclusive_group()
    other.add_argument("--calculix", action="store_true")
    other.add_argument("--library", action="store_true")
    parser.add_argument("--rows", type=int, default=ROWS)
    parser.add_argument("--soft", action="store_true")
    asked = parser.parse_args()
    soft = asked.soft or asked.calculix
    fineness = SOFT if soft else Fineness.of(asked.rows)
    for name in asked.names or sorted(p.stem for p in (HERE / "cases").glob("*.toml")):
        folder = "short" if name.startswith("short-") else "cases"
        case = load_case(HERE / folder / f"{name}.toml")
        start = time.perf_counter()
        if asked.calculix:
            history, solver = by_calculix(case, fineness), "CalculiX 2.20"
        elif asked.library:
            history = by_library(case, fineness)
            solver = f"NGSolve {version('ngsolve')}, held at the nip"
        else:
            history, solver = by_plane(case, fineness), "plane.py, held at the nip"
        spent = time.perf_counter() - start
        mark = "" if asked.rows == ROWS else f"-rows{asked.rows}"
        kept = name + ("-library" if asked.library else "")
        kept += "-soft" if soft else mark
        kept += "-calculix" if asked.calculix else ""
        save(kept, head(case, fineness, solver, spent), case, history)
        print(f"{kept}: {spent:.0f} s", flush=True)


if __name__ == "__main__":
    main()

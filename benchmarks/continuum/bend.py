"""Pure bending in CalculiX, from plane strain J2 continuum, beside the section law.

    PYTHONPATH=sim python benchmarks/continuum/bend.py        # needs ccx; two minutes

Half a strip, its middle held on the line of symmetry, a stiff block at its end that a
couple of forces turns: nothing but a moment. It is bent, let go, bent tighter, let go.
Curvature is the rotation of the sections over the first thickness from the middle, far
from the block. Kept as ``results/pure-bending.csv``.
"""

from __future__ import annotations

import datetime as dt
import os
import re
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
from calculix import (
    CORRECTION,
    FORCE,
    RESIDUAL,
    material_lines,
    mesh_lines,
    set_lines,
)
from mesh import Mesh, halved

from pinchline.case.case import load_case
from pinchline.verify.section_fixtures import SectionFixture, layered

if TYPE_CHECKING:
    from mesh import Array, Numbers

    from pinchline.case.case import Case

HERE = Path(__file__).parent
KEPT = HERE / "results" / "pure-bending.csv"
CASE = "thick-reverse"  # its sheet: 2.4 mm 5052-H32
ROWS, LONG, BLOCK = 16, 4, 2  # elements through, thicknesses to the block, of it
BENDS = (0.010, 0.018, 0.028)  # 1/mm, about: R/t of 42, 23 and 15
GAUGE = 1.0  # thicknesses from the middle over which curvature is read


def model(case: Case) -> tuple[str, Numbers, Mesh]:
    """Write the strip; its lattice of node numbers beside it."""
    t = case.sheet.thickness
    mesh = Mesh()
    x = halved(np.linspace(0.0, (LONG + BLOCK) * t, (LONG + BLOCK) * ROWS // 2 + 1))
    y = halved(np.linspace(-0.5 * t, 0.5 * t, ROWS + 1))
    lattice = mesh.lattice(*np.meshgrid(x, y, indexing="ij"))
    soft = LONG * ROWS // 2 * ROWS
    column, end = (int(part * ROWS) for part in (GAUGE, LONG))
    law = SectionFixture(layered(case.sheet.material, t))
    lines = [
        *mesh_lines(
            mesh, {"SHEET": (1, soft), "BLOCK": (soft + 1, len(mesh.elements))}
        ),
        *set_lines({"MIDDLE": lattice[0], "GAUGE": lattice[column]}),
        *material_lines(case, ()),
        "*MATERIAL, NAME=STIFF",
        "*ELASTIC",
        f"{1.0e3 * case.sheet.material.youngs_modulus:.10g},0.3",
        "*SOLID SECTION, ELSET=BLOCK, MATERIAL=STIFF",
        "1.",
    ]
    for bend in BENDS:
        force = law.bend_to(bend) / (BLOCK * t)
        for share in (force, 0.0):
            lines += [
                "*STEP, NLGEOM, INC=1000",
                "*CONTROLS, PARAMETERS=FIELD",
                f"{RESIDUAL},{CORRECTION},{FORCE},{FORCE}",
                "*STATIC",
                "0.02,1.,1.e-6,0.05",
                "*BOUNDARY, OP=NEW",
                "MIDDLE,1,1,0.",
                f"{int(lattice[0, ROWS])},2,2,0.",
                "*CLOAD, OP=NEW",
                f"{int(lattice[end, ROWS])},2,{-share:.10g}",
                f"{int(lattice[-1, ROWS])},2,{share:.10g}",
                "*NODE PRINT, NSET=MIDDLE, FREQUENCY=1000",
                "U,RF",
                "*NODE PRINT, NSET=GAUGE, FREQUENCY=1000",
                "U",
                "*END STEP",
            ]
    return "\n".join(lines) + "\n", lattice[[0, column]], mesh


def read(text: str, faces: Numbers, mesh: Mesh) -> Array:
    """Curvature (1/mm) and moment (N mm/mm) at the end of each step."""
    tables: dict[str, list[dict[int, Array]]] = {}
    head = re.compile(r"\s*(displacements|forces).*for set (\w+)")
    now: dict[int, Array] = {}
    for line in text.splitlines():
        found = head.match(line)
        if found:
            now = {}
            tables.setdefault(found[1][0] + found[2], []).append(now)
        elif line.strip():
            number, *values = line.split()
            now[int(number)] = np.array(values[:2], dtype=float)
    places = np.array(mesh.nodes)
    rows = []
    for moved, far, pushed in zip(
        tables["dMIDDLE"], tables["dGAUGE"], tables["fMIDDLE"], strict=True
    ):
        tall = [places[n - 1, 1] + moved[n][1] for n in moved]
        force = [pushed[n][0] for n in moved]
        at = np.array([places[n - 1] + far[n] for n in faces[1] if n])
        angle = -np.polyfit(at[:, 1], at[:, 0], 1)[0]
        rows.append(
            (
                np.arctan(angle) / (GAUGE * 2.0 * abs(places[faces[0][0] - 1, 1])),
                float(np.dot(force, tall)),
            )
        )
    return np.array(rows)


def main() -> None:
    """Run CalculiX and keep its table."""
    case = load_case(HERE / "cases" / f"{CASE}.toml")
    text, faces, mesh = model(case)
    with TemporaryDirectory() as folder:
        (Path(folder) / "bend.inp").write_text(text)
        subprocess.run(
            ["ccx", "bend"],
            cwd=folder,
            check=True,
            capture_output=True,
            env={**os.environ, "OMP_NUM_THREADS": "2"},
        )
        table = read((Path(folder) / "bend.dat").read_text(), faces, mesh)
    print(table)
    np.savetxt(
        KEPT,
        table,
        delimiter=",",
        fmt="%.8g",
        header=f"CalculiX, CPE8R, {ROWS} rows, {dt.datetime.now(tz=dt.UTC).date()}; "
        f"sheet of {CASE}; bent and let go by turns\ncurvature_1_mm,moment_N",
    )


if __name__ == "__main__":
    main()

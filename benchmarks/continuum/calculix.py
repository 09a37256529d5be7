"""Writes the continuum model of a case: CalculiX input file and its book-keeping.

The node of the mid-line nearest the nip line is held along x, every millimetre of feed
another: there the engine drives the sheet. Contact is from node to surface: the
solver's surface to surface contact finds its partners once per increment, and a roll
that slides on is then felt where it was.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from mesh import Mesh, roll_block, sheet_block
from programme import (
    ROLLS,
    Fineness,
    columns_of,
    play,
    roll_places,
    schedule_of,
    start_of,
)

from pinchline.solvers.layers import plastic_modulus

if TYPE_CHECKING:
    from pathlib import Path

    from mesh import Array, Numbers

    from pinchline.case.case import Case


SPRING = 1.0e-5  # N/mm per mm: keeps the sheet where no roll touches it yet
HOLD = 1.0  # mm of feed, most, between two nodes that are held in turn
FIRST = 0.25  # of an increment, at first touch
FORCE = 1.0  # N/mm: what the residual is measured by
RESIDUAL = 1.0e-3  # of that, at any node: a thousandth of the rear roll's force
CORRECTION = 1.0e-2  # of the increment's displacement, in the last iteration


@dataclass(frozen=True)
class Model:
    """A written model.

    Attributes
    ----------
    case, fineness : what it is a model of
    columns : places s (mm) of the corner columns
    top, middle, bottom : node numbers of the corner columns
    rolls : node numbers of the rolls
    places : (x, y) of all nodes
    schedule : (moves + 1, 3) time, lift and feed (mm) at the ends of the moves
    text : the input file
    """

    case: Case
    fineness: Fineness
    columns: Array
    top: Numbers
    middle: Numbers
    bottom: Numbers
    rolls: dict[str, Numbers]
    places: Array
    schedule: Array
    text: str


ARCS = {"UPPER": (-200.0, 20.0), "LOWER": (30.0, 150.0), "REAR": (10.0, 190.0)}


def build(case: Case, fineness: Fineness) -> Model:
    """Write the model of a case."""
    mesh = Mesh()
    columns = columns_of(case, fineness)
    sheet = sheet_block(mesh, columns, case.sheet.thickness, fineness.rows)
    mesh.turn(play(case)[0])
    made = len(mesh.elements)
    rolls: dict[str, Numbers] = {}
    ranges: dict[str, tuple[int, int]] = {"SHEET": (1, made)}
    for name, (centre, radius) in roll_places(case).items():
        low, high = (math.radians(angle) for angle in ARCS[name])
        first = len(mesh.elements) + 1
        block = roll_block(mesh, centre, radius, (low, high))
        rolls[name] = block[block > 0]
        ranges[name] = (first, len(mesh.elements))
    schedule = schedule_of(case, fineness)
    top, middle, bottom = sheet[::2, -1], sheet[::2, fineness.rows], sheet[::2, 0]
    lines = [
        *mesh_lines(mesh, ranges),
        *set_lines({"TOP": top, "MID": middle, "BOTTOM": bottom, **rolls}),
        *_spring_lines(len(mesh.elements), (int(middle[0]), int(middle[-1]))),
        *material_lines(case),
        *_contact_lines(fineness.rows, fineness.stiffness(case), ranges),
        *_motion_lines(case, schedule),
    ]
    for start, end, column in holds(case, schedule, columns):
        lines += _step_lines(start, end, int(middle[column]))
    return Model(
        case,
        fineness,
        columns + start_of(case),
        top,
        middle,
        bottom,
        rolls,
        np.array(mesh.nodes),
        schedule,
        "\n".join(lines) + "\n",
    )


def mesh_lines(mesh: Mesh, ranges: dict[str, tuple[int, int]]) -> list[str]:
    lines = ["*NODE, NSET=ALL"]
    lines += [f"{i},{x:.10g},{y:.10g},0." for i, (x, y) in enumerate(mesh.nodes, 1)]
    for name, (first, last) in ranges.items():
        lines.append(f"*ELEMENT, TYPE=CPE8R, ELSET={name}")
        for i in range(first, last + 1):
            lines.append(f"{i}," + ",".join(map(str, mesh.elements[i - 1])))
    return lines


def set_lines(sets: dict[str, Numbers]) -> list[str]:
    lines: list[str] = []
    for name, numbers in sets.items():
        lines.append(f"*NSET, NSET={name}")
        lines += [f"{number}," for number in numbers]
    return lines


def _spring_lines(count: int, ends: tuple[int, int]) -> list[str]:
    """Springs far softer than any bending, at both edges, against falling."""
    return [
        "*ELEMENT, TYPE=SPRING1, ELSET=SPRINGS",
        *(f"{count + i},{node}" for i, node in enumerate(ends, 1)),
        "*SPRING, ELSET=SPRINGS",
        "2,",
        f"{SPRING:.6f},",
    ]


def material_lines(case: Case, rolls: tuple[str, ...] = ROLLS) -> list[str]:
    """J2 with the bilinear curve of the case, isotropic; rolls are held everywhere."""
    metal = case.sheet.material
    hard = plastic_modulus(metal.youngs_modulus, metal.tangent_modulus)
    return [
        "*MATERIAL, NAME=METAL",
        "*ELASTIC",
        f"{metal.youngs_modulus:.10g},{metal.poisson_ratio:.10g}",
        "*PLASTIC",
        f"{metal.yield_strength:.10g},0.",
        f"{metal.yield_strength + hard:.10g},1.",
        "*MATERIAL, NAME=RIGID",
        "*ELASTIC",
        "210000.,0.3",
        "*SOLID SECTION, ELSET=SHEET, MATERIAL=METAL",
        "1.",
        *(
            line
            for name in rolls
            for line in (f"*SOLID SECTION, ELSET={name}, MATERIAL=RIGID", "1.")
        ),
    ]


def _contact_lines(
    rows: int, pushes: tuple[float, ...], ranges: dict[str, tuple[int, int]]
) -> list[str]:
    """Faces, and frictionless pairs of them that feel along the whole face."""
    first, last = ranges["SHEET"]
    lines = ["*SURFACE, NAME=FACETOP, TYPE=ELEMENT"]
    lines += [f"{i},S3" for i in range(first + rows - 1, last + 1, rows)]
    lines.append("*SURFACE, NAME=FACEBOTTOM, TYPE=ELEMENT")
    lines += [f"{i},S1" for i in range(first, last + 1, rows)]
    for name in ROLLS:
        lines.append(f"*SURFACE, NAME=FACE{name}, TYPE=ELEMENT")
        low, high = ranges[name]
        lines += [f"{i},S2" for i in range(low, high + 1)]
    faces = ("TOP", "BOTTOM", "BOTTOM")
    for name, face, stiffness in zip(ROLLS, faces, pushes, strict=True):
        lines += [
            f"*SURFACE INTERACTION, NAME=ON{name}",
            "*SURFACE BEHAVIOR, PRESSURE-OVERCLOSURE=LINEAR",
            f"{stiffness:.10g}",
            f"*CONTACT PAIR, INTERACTION=ON{name}, TYPE=NODE TO SURFACE",
            f"FACE{face},FACE{name}",
        ]
    return lines


def _motion_lines(case: Case, schedule: Array) -> list[str]:
    """Motion of the rolls over time, as amplitudes."""
    angle = case.machine.rear.slide_angle
    time, lift, fed = schedule.T
    raised = lift - lift[0]
    motions = {
        "FED": -fed,
        "REARX": -fed - raised * math.cos(angle),
        "REARY": raised * math.sin(angle),
    }
    lines: list[str] = []
    for name, values in motions.items():
        lines.append(f"*AMPLITUDE, NAME={name}, TIME=TOTAL TIME")
        lines += [f"{t:.10g},{v:.10g}" for t, v in zip(time, values, strict=True)]
    return lines


def holds(
    case: Case, schedule: Array, columns: Array
) -> list[tuple[float, float, int]]:
    """Steps of the solver: their start, their end, and the column that is held."""
    found: list[tuple[float, float, int]] = []
    for before, after in pairwise(schedule):
        parts = max(1, math.ceil(abs(after[2] - before[2]) / HOLD - 1.0e-9))
        edges = np.linspace(before, after, parts + 1)
        for low, high in pairwise(edges):
            nip = -0.5 * (low[2] + high[2])
            column = int(np.argmin(np.abs(columns - nip)))
            found.append((float(low[0]), float(high[0]), column))
    return found


def _step_lines(start: float, end: float, held: int) -> list[str]:
    lines = [
        "*STEP, NLGEOM, INC=100000",
        "*CONTROLS, PARAMETERS=FIELD",
        f"{RESIDUAL},{CORRECTION},{FORCE},{FORCE}",
        "*STATIC",
        f"{FIRST if start == 0.0 else 1.0},{end - start:.10g},1.e-4,1.",
        "*BOUNDARY, OP=NEW",
        f"{held},1,1,0.",
        "UPPER,2,2,0.",
        "LOWER,2,2,0.",
        "*BOUNDARY, OP=NEW, AMPLITUDE=FED",
        "UPPER,1,1,1.",
        "LOWER,1,1,1.",
        "*BOUNDARY, OP=NEW, AMPLITUDE=REARX",
        "REAR,1,1,1.",
        "*BOUNDARY, OP=NEW, AMPLITUDE=REARY",
        "REAR,2,2,1.",
    ]
    for name in ("TOP", "MID", "BOTTOM"):
        lines += [f"*NODE PRINT, NSET={name}", "U"]
    lines += [f"*NODE PRINT, NSET={name}\nRF" for name in ("MID", *ROLLS)]
    return [*lines, "*END STEP"]


def write(model: Model, path: Path) -> None:
    """Write the input file."""
    path.write_text(model.text)

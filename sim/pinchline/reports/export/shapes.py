"""Sheet and rolls in space, frame by frame, for general viewers of meshes.

A collection (``.pvd``) names one file (``.vtu``) for each frame; they lie in a folder
beside it. Lengths are mm.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import numpy as np

from pinchline.errors import InputError
from pinchline.reports.run.playback import playback
from pinchline.results.schema import ROLLS
from pinchline.results.writer import write_whole

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.reports.run.playback import Playback
    from pinchline.results.schema import Result

    Array = NDArray[Any]

ROLL_CORNERS = 72  # corners of a roll
_FRAME_GLOB = "frame-*.vtu"


def write_shapes(result: Result, path: Path) -> list[Path]:
    """Write the collection and its folder of frames; returns the collection's path.

    Raises
    ------
    InputError
        where nothing was recorded, the folder holds other things, or it cannot be
        written
    """
    shown = playback(result)
    if not shown.rows.size:
        message = "the file holds no frame to export"
        raise InputError(message, file=path, allowed="a result of a job that moved")
    folder = path.with_name(f"{path.stem}-frames")
    _check_folder(folder)
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".pinchline-") as new:
            names = _write_frames(result, shown, Path(new) / "frames")
            if folder.exists():
                shutil.rmtree(folder)
            (Path(new) / "frames").rename(folder)
    except OSError as error:
        message = f"the frames cannot be written: {error.strerror or error}"
        allowed = "a folder that can be written to"
        raise InputError(message, file=folder, allowed=allowed) from None
    steps = result.frames["step"][shown.rows].tolist()
    write_whole(path, _collection(folder.name, names, steps))
    return [path]


def _check_folder(folder: Path) -> None:
    """Refuse a folder that holds anything but frames of an earlier export."""
    if not folder.exists():
        return
    if not folder.is_dir() or any(not p.match(_FRAME_GLOB) for p in folder.iterdir()):
        message = "the folder for the frames is there already and holds other things"
        raise InputError(message, file=folder, allowed="another name for the export")


def _write_frames(result: Result, shown: Playback, folder: Path) -> list[str]:
    import meshio

    folder.mkdir()
    kept = _along(result, shown)
    names = []
    for index, row in enumerate(shown.rows.tolist()):
        points, sheet = _strip(shown, index, result.inputs["thickness"])
        fields = {"curvature_now": [_mid(shown.curvature[index])]}
        fields |= {name: [values] for name, values in kept.items()}
        part, cells = [np.zeros(len(sheet), dtype=np.int32)], [("quad", sheet)]
        for roll, name in enumerate(ROLLS):
            centre = [result.frames[f"roll_{axis}"][row, roll] for axis in "xy"]
            disc, wedges = _disc(centre, result.inputs[f"{name}_radius"], len(points))
            points = np.vstack([points, disc])
            cells.append(("triangle", wedges))
            part.append(np.full(ROLL_CORNERS, roll + 1, dtype=np.int32))
            for values in fields.values():
                values.append(np.zeros(ROLL_CORNERS))
        mesh = meshio.Mesh(points, cells, cell_data={"part": part, **fields})
        names.append(_FRAME_GLOB.replace("*", f"{index:04d}"))
        meshio.write(folder / names[-1], mesh, file_format="vtu")
    return names


def _along(result: Result, shown: Playback) -> dict[str, Array]:
    """Interpolate the results along the sheet to the middles of the shown cells."""
    middle = _mid(shown.s)
    sheet = result.sheet
    data = {
        name: np.interp(middle, sheet["s"], sheet[name])
        for name in ("curvature_loaded_peak", "curvature_residual")
    }
    ratio = np.abs(sheet["moment_peak"]) / result.inputs["moment_first_yield"]
    data["moment_over_first_yield"] = np.interp(middle, sheet["s"], ratio)
    return data | {"s": middle}


def _mid(values: Array) -> Array:
    middle: Array = 0.5 * (values[1:] + values[:-1])
    return middle


def _strip(shown: Playback, index: int, thickness: float) -> tuple[Array, Array]:
    """Corners of the sheet's two faces, and the quads between them."""
    from pinchline.reports.style.theme import strip_outline

    x, y = shown.x[index], shown.y[index]
    size = x.size
    along, across = strip_outline(x, y, -0.5 * thickness, 0.5 * thickness)
    points = np.column_stack([along, across, np.zeros(2 * size)])
    points[size:] = points[size:][::-1]  # the other face runs the same way
    left = np.arange(size - 1)
    return points, np.column_stack([left, left + 1, left + 1 + size, left + size])


def _disc(centre: list[float], radius: float, first: int) -> tuple[Array, Array]:
    """Points and triangles of a roll; ``first`` is the number of its centre."""
    angle = np.linspace(0.0, 2.0 * np.pi, ROLL_CORNERS, endpoint=False)
    rim = np.column_stack([np.cos(angle), np.sin(angle)]) * radius + centre
    flat = np.vstack([centre, rim])
    corner = np.arange(ROLL_CORNERS)
    wedges = np.column_stack(
        [np.zeros(ROLL_CORNERS, dtype=int), corner + 1, (corner + 1) % ROLL_CORNERS + 1]
    )
    return np.column_stack([flat, np.zeros(ROLL_CORNERS + 1)]), wedges + first


def _collection(folder: str, names: list[str], steps: list[int]) -> bytes:
    root = ET.Element("VTKFile", type="Collection", version="0.1")
    parent = ET.SubElement(root, "Collection")
    for name, step in zip(names, steps, strict=True):
        ET.SubElement(parent, "DataSet", timestep=str(step), file=f"{folder}/{name}")
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text

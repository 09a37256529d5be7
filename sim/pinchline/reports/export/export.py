"""Results for other programs: tables, drawings, shapes in space, moving pictures.

The ending of the file's name chooses the kind. Every file appears whole or not at all.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pinchline.errors import InputError
from pinchline.reports.export.animation import ANIMATION_FORMATS, animate
from pinchline.reports.export.animation import MOST_FRAMES as PICTURES
from pinchline.reports.export.drawing import part_dxf
from pinchline.reports.export.shapes import write_shapes
from pinchline.reports.export.spreadsheet import export_tables
from pinchline.reports.run.playback import MOST_FRAMES
from pinchline.results.schema import RESULT_GROUPS
from pinchline.results.tables import write_table
from pinchline.results.writer import check_writable, write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinchline.results.schema import Result
    from pinchline.units import System

DRAWING_TOLERANCE_MM = 0.005  # mm, of a drawing
MIN_TOLERANCE_MM, MAX_TOLERANCE_MM = 1.0e-5, 1.0  # mm
EXPORT_SUFFIXES = (".csv", ".dxf", ".pvd", *ANIMATION_FORMATS)


def check_export(path: Path, group: str, tolerance: float) -> None:
    """Refuse what cannot be exported, before anything is read or drawn."""
    if path.suffix.lower() not in EXPORT_SUFFIXES:
        message = "there is no export of that kind"
        allowed = f"a name that ends in {', '.join(EXPORT_SUFFIXES)}"
        raise InputError(message, file=path, allowed=allowed)
    if group not in RESULT_GROUPS:
        message = "there is no such group"
        raise InputError(
            message, key="group", value=group, allowed=", ".join(RESULT_GROUPS)
        )
    if not MIN_TOLERANCE_MM <= tolerance <= MAX_TOLERANCE_MM:
        message = "the tolerance is out of range"
        allowed = f"{MIN_TOLERANCE_MM:g} mm to {MAX_TOLERANCE_MM:g} mm"
        raise InputError(
            message, key="tolerance", value=f"{tolerance:g} mm", allowed=allowed
        )
    check_writable(path)


def export(
    result: Result,
    path: str | Path,
    *,
    group: str = "sheet",
    tolerance: float = DRAWING_TOLERANCE_MM,
    system: System = "metric",
) -> list[Path]:
    """Write one file, or for some kinds several, by the ending of the name.

    Parameters
    ----------
    result : of a run
    path : ``.csv``, ``.dxf``, ``.pvd``, ``.gif`` or ``.mp4``
    group : which datasets a ``.csv`` holds
    tolerance : largest distance of a ``.dxf`` from the part, mm
    system : in which units a ``.dxf`` is drawn, mm or inches

    Returns
    -------
    The paths written, the one asked for first where it is one of them.

    Raises
    ------
    InputError
        where the name, the group or the tolerance will not do, or it cannot be written
    """
    path = Path(path)
    check_export(path, group, tolerance)
    kind = path.suffix.lower()
    if kind == ".csv":
        return _tables(result, path, group)
    if kind == ".pvd":
        return write_shapes(result, path)
    if kind == ".dxf":
        write_whole(path, part_dxf(result, tolerance, system))
    else:
        write_whole(path, animate(result, kind))
    return [path]


def omitted_frames(result: Result, path: Path) -> str:
    """Say how many frames an export holds where it could not hold all, or nothing."""
    most = {".pvd": MOST_FRAMES, ".gif": PICTURES, ".mp4": PICTURES}
    count = result.frames["move"].size
    shown = most.get(path.suffix.lower(), count)
    if count <= shown:
        return ""
    return f"The result holds {count} frames; {path} has at most {shown} of them."


def _tables(result: Result, path: Path, group: str) -> list[Path]:
    """Write one table for each kind of row; with several, the name tells which."""
    tables = export_tables(result, group)
    names: Sequence[Path] = [path]
    if len(tables) > 1:
        names = [
            path.with_name(f"{path.stem}-{table.dimension}{path.suffix}")
            for table in tables
        ]
    return [write_table(table, name) for table, name in zip(tables, names, strict=True)]

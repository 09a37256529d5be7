"""The template of a free part: its two faces at full size, to hold against the part.

A PDF on A4 or Letter, tiled where the part is larger, with bars that show whether the
printer kept the size; the same as a drawing file and as a table.
"""

from __future__ import annotations

import io
import itertools
import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from pinchline import units
from pinchline.reports.export.drawing import part_dxf
from pinchline.reports.export.export import DRAWING_TOLERANCE_MM
from pinchline.reports.plan.free_shape import arc_lengths, level_outline, offset_line
from pinchline.reports.style.paper import A4, LETTER, Page, print_style
from pinchline.results.tables import Column, Table, write_table
from pinchline.results.writer import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from pinchline.parts.measure import Outline
    from pinchline.reports.style.paper import Paper
    from pinchline.results.schema import Result
    from pinchline.units import System

    Array = NDArray[np.float64]

OVERLAP_MM = 15.0  # mm that neighbouring tiles share
FOOT_MM, HEAD_MM = 30.0, 18.0  # mm of a tile kept for the bars and for the words
MARGIN_MM = 6.0  # mm round the part
CROSS_MM = 4.0  # mm: half the length of a mark's lines
LINE_PT = 0.5  # points: 0.18 mm
TEXT_PT = 10.0  # points
BARS_MM = ((100.0, "100 mm"), (4.0 * 25.4, "4 in"))


class Tile(NamedTuple):
    """A sheet of paper and the part of the plane that it shows.

    row, column : from 0, rows from the bottom
    x, y : of the plane at the lower left corner of the paper, mm
    """

    row: int
    column: int
    x: float
    y: float


class Tiles(NamedTuple):
    """All sheets of a template, how many rows and columns, and their overlap's marks.

    marks : places in the plane (mm), in the middle of every overlap
    """

    paper: Paper
    rows: int
    columns: int
    all: tuple[Tile, ...]
    marks: tuple[tuple[float, float], ...]


def lay_out_tiles(
    size: tuple[float, float], corner: tuple[float, float], paper: Paper
) -> Tiles:
    """Cover a box with sheets of paper: upright or on the side, as few as will do.

    Parameters
    ----------
    size, corner : width and height of the box and its lower left corner, mm
    paper : what is printed on
    """
    turned = paper.turned()
    counts = [_counts(size, p) for p in (paper, turned)]
    which = 0 if math.prod(counts[0]) <= math.prod(counts[1]) else 1
    chosen, (columns, rows) = (paper, turned)[which], counts[which]
    room = _room(chosen)
    step = tuple(r - OVERLAP_MM for r in room)
    # the box in the middle of what all sheets show together
    all_of = [n * s + OVERLAP_MM for n, s in zip((columns, rows), step, strict=True)]
    start = [c - 0.5 * (a - b) for c, a, b in zip(corner, all_of, size, strict=True)]
    inside = (chosen.margin, chosen.margin + FOOT_MM)
    tiles = tuple(
        Tile(
            row,
            column,
            start[0] + column * step[0] - inside[0],
            start[1] + row * step[1] - inside[1],
        )
        for row, column in itertools.product(reversed(range(rows)), range(columns))
    )
    return Tiles(chosen, rows, columns, tiles, _marks(start, step, (columns, rows)))


def _room(paper: Paper) -> tuple[float, float]:
    """Width and height (mm) of a sheet that show the part."""
    return (
        paper.width - 2.0 * paper.margin,
        paper.height - 2.0 * paper.margin - FOOT_MM - HEAD_MM,
    )


def _counts(size: tuple[float, float], paper: Paper) -> tuple[int, int]:
    """Columns and rows of sheets that cover a box."""
    columns, rows = (
        max(1, math.ceil((wanted + 2.0 * MARGIN_MM - OVERLAP_MM) / (room - OVERLAP_MM)))
        for wanted, room in zip(size, _room(paper), strict=True)
    )
    return columns, rows


def _marks(
    start: list[float], step: tuple[float, ...], counts: tuple[int, int]
) -> tuple[tuple[float, float], ...]:
    """Two marks in every overlap of neighbours, a quarter from either end."""
    columns, rows = counts
    half = 0.5 * OVERLAP_MM
    centres = []
    for column, row in itertools.product(range(columns), range(rows)):
        x, y = start[0] + column * step[0], start[1] + row * step[1]
        quarters = [0.25, 0.75]
        if column:
            centres += [(x + half, y + q * (step[1] + OVERLAP_MM)) for q in quarters]
        if row:
            centres += [(x + q * (step[0] + OVERLAP_MM), y + half) for q in quarters]
    return tuple(centres)


def template_pages(
    result: Result, *, system: System = "metric", paper: Paper | None = None
) -> list[Figure]:
    """Draw the template: one figure of exactly the paper's size for every tile.

    Parameters
    ----------
    result : of a run
    system : mm or inches, in the words
    paper : A4 for mm and Letter for inches unless told
    """
    paper = paper or (A4 if system == "metric" else LETTER)
    outline = level_outline(result)
    half = 0.5 * result.inputs["thickness"]
    faces = [offset_line(outline, offset) for offset in (half, -half)]
    x, y = (np.concatenate([f[i] for f in faces]) for i in (0, 1))
    size = (float(np.ptp(x)), float(np.ptp(y)))
    tiles = lay_out_tiles(size, (float(np.min(x)), float(np.min(y))), paper)
    with print_style():
        return [_page(result, outline, tiles, one, system) for one in tiles.all]


def _page(
    result: Result, outline: Outline, tiles: Tiles, one: Tile, system: System
) -> Figure:
    """Draw one tile."""
    page = Page(tiles.paper)
    window = _window(page)
    half = 0.5 * result.inputs["thickness"]
    inner, outer = (offset_line(outline, offset) for offset in (half, -half))
    for x, y in (inner, outer):
        _line(page, x - one.x, y - one.y, window)
    for end in (0, -1):
        x, y = (np.array([inner[i][end], outer[i][end]]) for i in (0, 1))
        _line(page, x - one.x, y - one.y, window)
    if len(tiles.all) > 1:
        page.ax.add_patch(window)
        for mark in tiles.marks:
            _cross(page, mark[0] - one.x, mark[1] - one.y)
    _name_edges(page, outline, one)
    _heading(page, result, tiles, one, system)
    _bars(page)
    return page.figure


def _window(page: Page) -> Any:
    """Frame of what a tile shows; its lines are where tiles are cut."""
    from matplotlib.patches import Rectangle

    margin, size = page.paper.margin, _room(page.paper)
    style: dict[str, Any] = {"fill": False, "edgecolor": "0.5", "linewidth": 0.4}
    return Rectangle((margin, margin + FOOT_MM), *size, linestyle=(0, (4, 3)), **style)


def _line(page: Page, x: Array, y: Array, window: Any) -> None:
    """Draw a line of the part where the tile shows it."""
    (drawn,) = page.ax.plot(
        x, y, color="black", linewidth=LINE_PT, solid_capstyle="butt"
    )
    window.set_transform(page.ax.transData)
    drawn.set_clip_path(window)


def _shown(page: Page, x: float, y: float, reach: float) -> bool:
    """Whether a tile shows a place with so much round it, mm."""
    left, low = page.paper.margin, page.paper.margin + FOOT_MM
    wide, high = _room(page.paper)
    return (
        left + reach <= x <= left + wide - reach
        and low + reach <= y <= low + high - reach
    )


def _cross(page: Page, x: float, y: float) -> None:
    """Draw a mark by which neighbours are laid on each other."""
    if not _shown(page, x, y, CROSS_MM):
        return
    page.ax.plot((x - CROSS_MM, x + CROSS_MM), (y, y), color="black", linewidth=LINE_PT)
    page.ax.plot((x, x), (y - CROSS_MM, y + CROSS_MM), color="black", linewidth=LINE_PT)


def _name_edges(page: Page, outline: Outline, one: Tile) -> None:
    """Write O and R beyond the edges."""
    for letter, at, sign in (("O", 0, -1.0), ("R", -1, 1.0)):
        angle = float(outline.theta[at])
        x = float(outline.x[at]) - one.x + sign * 4.0 * math.cos(angle)
        y = float(outline.y[at]) - one.y + sign * 4.0 * math.sin(angle)
        if _shown(page, x, y, 2.0):
            how = {"ha": "center", "va": "center", "fontweight": "bold"}
            page.write(x, y, letter, TEXT_PT, **how)


def _heading(
    page: Page, result: Result, tiles: Tiles, one: Tile, system: System
) -> None:
    """Say what the template is, and which tile of it."""
    margin, top = page.paper.margin, page.paper.height - page.paper.margin
    width = page.paper.width - 2.0 * margin
    which = ""
    if len(tiles.all) > 1:
        which = (
            f" Sheet {tiles.all.index(one) + 1} of {len(tiles.all)}: row "
            f"{tiles.rows - one.row} from the top, column {one.column + 1} from left."
        )
    title = page.wrapped(result.title, width, TEXT_PT + 1.0, bold=True)[0]
    page.write(margin, top, title, TEXT_PT + 1.0, fontweight="bold")
    thickness = units.format(result.inputs["thickness"], "length", system)
    words = (
        f"Template of the free part, {thickness} thick: cut along the inner line it "
        f"fits into the part, along the outer line the part fits into it.{which}"
    )
    for i, line in enumerate(page.wrapped(words, width, TEXT_PT)[:2]):
        page.write(margin, top - 5.2 - 4.4 * i, line, TEXT_PT)


def _bars(page: Page) -> None:
    """Draw the bars that check the printer."""
    left, low = page.paper.margin, page.paper.margin
    for i, (length, words) in enumerate(BARS_MM):
        y = low + 4.0 + 9.0 * i
        page.ax.plot((left, left + length), (y, y), color="black", linewidth=LINE_PT)
        for x in (left, left + length):
            page.ax.plot((x, x), (y - 2.0, y + 2.0), color="black", linewidth=LINE_PT)
        page.write(left + length + 2.0, y, words, TEXT_PT, va="center")
    x = left + BARS_MM[1][0] + 18.0
    words = (
        "Print at 100 %, actual size, not fitted to the page. Measure both bars first."
    )
    for i, line in enumerate(
        page.wrapped(words, page.paper.width - page.paper.margin - x, TEXT_PT)
    ):
        page.write(x, low + 18.0 - 4.4 * i, line, TEXT_PT)


def template_pdf(
    result: Result, *, system: System = "metric", paper: Paper | None = None
) -> bytes:
    """Give the template as a PDF, a page for every tile."""
    from matplotlib.backends.backend_pdf import PdfPages

    pages, buffer = template_pages(result, system=system, paper=paper), io.BytesIO()
    with print_style(), PdfPages(buffer, metadata={"CreationDate": None}) as pdf:
        for fig in pages:
            pdf.savefig(fig)
    return buffer.getvalue()


def template_table(result: Result) -> Table:
    """Give the faces as points, the operator's edge at the origin, the other level."""
    outline = level_outline(result)
    half = 0.5 * result.inputs["thickness"]
    words = "from the operator's edge along the middle"
    columns = [Column("s", "mm", words, arc_lengths(result))]
    for name, offset in (("inside", half), ("middle", 0.0), ("outside", -half)):
        for axis, values in zip("xy", offset_line(outline, offset), strict=True):
            words = f"{axis} of the {name} of the free part"
            columns.append(Column(f"{name}_{axis}", "mm", words, values))
    return Table("pinchline-template", "point", tuple(columns), {"title": result.title})


def write_template(
    result: Result,
    folder: Path,
    name: str,
    *,
    system: System = "metric",
    paper: Paper | None = None,
) -> list[Path]:
    """Write the template as PDF, DXF and CSV into a folder; returns the paths.

    Raises
    ------
    InputError
        where a file cannot be written
    """
    files = {
        "pdf": template_pdf(result, system=system, paper=paper),
        "dxf": part_dxf(result, DRAWING_TOLERANCE_MM, system),
    }
    paths = [folder / f"{name}-template.{kind}" for kind in (*files, "csv")]
    for path, content in zip(paths, files.values(), strict=False):
        write_whole(path, content)
    write_table(template_table(result), paths[-1])
    return paths

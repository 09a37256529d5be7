"""A page in millimetres: everything on it stands where its coordinates say.

Used for what is printed and held against the work: one axes covers the whole sheet of
paper, its units are mm on paper, and text is measured before it is written.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple

from pinchline.reports.style import theme

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MM_PER_INCH, MM_PER_POINT = 25.4, 25.4 / 72.0
_LARGE_PT = 80.0  # points
LEADING_RATIO = 1.2  # distance of lines over the size of the type


class Paper(NamedTuple):
    """A sheet of paper: name, width and height in mm, and the margin printers keep."""

    name: str
    width: float
    height: float
    margin: float = 10.0

    def turned(self) -> Paper:
        """Give it lying on its side."""
        return self._replace(width=self.height, height=self.width)


A4 = Paper("A4", 210.0, 297.0)
LETTER = Paper("Letter", 215.9, 279.4)


@contextmanager
def print_style() -> Iterator[None]:
    """Context that draws in the project's style, with every point and true letters."""
    import matplotlib as mpl

    exact: Any = {"path.simplify": False, "text.hinting": "none"}
    with theme.project_style(), mpl.rc_context(exact):
        yield


class Page:
    """A page, its axes in mm from the lower left corner of the paper."""

    def __init__(self, paper: Paper) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.paper = paper
        size = (paper.width / MM_PER_INCH, paper.height / MM_PER_INCH)
        self.figure: Figure = Figure(figsize=size)
        self._canvas = FigureCanvasAgg(self.figure)
        self._widths: dict[tuple[str, bool], float] = {}
        self.ax: Axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.ax.set(xlim=(0.0, paper.width), ylim=(0.0, paper.height))
        self.ax.set_axis_off()

    def width_of(self, text: str, size: float, *, bold: bool = False) -> float:
        """Width of a line of text (mm) at a size in points."""
        if (text, bold) not in self._widths:
            self._widths[text, bold] = self._measured(text, bold=bold)
        return size * self._widths[text, bold]

    def _measured(self, text: str, *, bold: bool) -> float:
        """Width (mm) per point of size; measured large, so that dots do not count."""
        from matplotlib.font_manager import FontProperties

        font = FontProperties(size=_LARGE_PT, weight="bold" if bold else "normal")
        renderer: Any = self._canvas.get_renderer()  # type: ignore[no-untyped-call]
        wide, _, _ = renderer.get_text_width_height_descent(text, font, ismath=False)
        return float(wide) / _LARGE_PT / self.figure.dpi * MM_PER_INCH

    def wrapped(
        self, text: str, width: float, size: float, *, bold: bool = False
    ) -> list[str]:
        """Break text into lines no wider than ``width`` (mm)."""
        space = self.width_of("n n", size, bold=bold)
        space -= 2.0 * self.width_of("n", size, bold=bold)
        lines: list[str] = []
        for paragraph in text.splitlines():
            line, reach = "", -space
            for word in paragraph.split():
                wide = self.width_of(word, size, bold=bold)
                if line and reach + space + wide > width:
                    lines.append(line)
                    line, reach = "", -space
                line = f"{line} {word}" if line else word
                reach += space + wide
            lines.append(line)
        return lines

    def write(self, x: float, y: float, text: str, size: float, **how: Any) -> None:
        """Write a line with its upper left corner at a place (mm)."""
        settings: dict[str, Any] = {"ha": "left", "va": "top", "color": "black"}
        plain = {"fontfeatures": ("-liga",)}  # a PDF keeps ligatures in a second font
        self.ax.text(x, y, text, fontsize=size, **(settings | plain | how))

    def rule(self, x: tuple[float, float], y: float, width: float = 0.5) -> None:
        """Draw a level line."""
        self.ax.plot(x, (y, y), color="black", linewidth=width)


def line_height(size: float) -> float:
    """Distance of lines of type (mm) of a size in points."""
    return LEADING_RATIO * size * MM_PER_POINT


class Cells(NamedTuple):
    """A table: heads of its columns, their widths (mm; 0 takes the rest) and rows.

    Words in the first wide column are wrapped; everything else is one line, and
    numbers stand to the right. The heads of the columns up to the
    wide one are left to the heading, which stands on their line.
    """

    heads: tuple[str, ...]
    widths: tuple[float, ...]
    rows: tuple[tuple[str, ...], ...]


class Type(NamedTuple):
    """Sizes (points) of what stands in tables, and of all other words."""

    cells: float
    words: float


class Block(NamedTuple):
    """A piece of a page: a heading, on its line the heads of a table, then words."""

    heading: str
    words: str = ""
    cells: Cells | None = None
    boxed: bool = False


GAP_MM, PAD_MM = 2.2, 0.9  # mm: between blocks; between a rule and what stands by it
HEADING_PT = 11.0  # points


def block_height(page: Page, block: Block, size: Type) -> float:
    """Height (mm) of a block."""
    return _lay_block(page, block, 0.0, size, draw=False)


def draw_block(page: Page, block: Block, top: float, size: Type) -> float:
    """Write a block below ``top`` (mm); returns where the next may start."""
    height = _lay_block(page, block, top, size, draw=True)
    return top - height - GAP_MM


def _lay_block(
    page: Page, block: Block, top: float, size: Type, *, draw: bool
) -> float:
    """Write a block, or only measure it."""
    left, right = page.paper.margin, page.paper.width - page.paper.margin
    inner = left + (2.0 if block.boxed else 0.0)
    y = top - PAD_MM
    if draw and not block.boxed:
        page.rule((left, right), top, 0.8)
    if draw:
        page.write(inner, y, block.heading, HEADING_PT, fontweight="bold")
    if block.cells is None:
        y -= line_height(HEADING_PT)
    else:
        y = _lay_cells(page, block.cells, y, size.cells, draw=draw)
    if block.words:
        width = right - left - 2.0 * (inner - left)
        for line in page.wrapped(block.words, width, size.words):
            if draw:
                page.write(inner, y, line, size.words)
            y -= line_height(size.words)
    if draw and block.boxed:
        _box(page, (left, right), (y, top))
    return top - y


def _box(page: Page, x: tuple[float, float], y: tuple[float, float]) -> None:
    from matplotlib.patches import Rectangle

    corner, size = (x[0], y[0]), (x[1] - x[0], y[1] - y[0])
    page.ax.add_patch(Rectangle(corner, *size, fill=False, color="black", lw=1.6))


def _lay_cells(
    page: Page, cells: Cells, top: float, size: float, *, draw: bool
) -> float:
    """Write a table below ``top``; returns its lower end."""
    left, right = page.paper.margin, page.paper.width - page.paper.margin
    rest = right - left - sum(cells.widths)
    widths = [rest if width == 0.0 else width for width in cells.widths]
    wide = cells.widths.index(0.0)
    starts = [left + sum(widths[:i]) for i in range(len(widths))]
    pitch, y = line_height(size), top

    def put(column: int, text: str, at: float, **how: Any) -> None:
        end = column > wide
        x = starts[column] + (widths[column] - 1.0 if end else 0.0)
        page.write(x, at, text, size, ha="right" if end else "left", **how)

    for column, head in enumerate(cells.heads):
        if draw and head:
            put(column, head, y)
    y -= line_height(HEADING_PT) + 0.3
    for row in cells.rows:
        if draw:
            page.ax.plot((left, right), (y, y), color="0.6", linewidth=0.4)
        y -= 0.9
        lines = page.wrapped(row[wide], widths[wide] - 2.0, size)
        if draw:
            for i, line in enumerate(lines):
                put(wide, line, y - i * pitch)
            for column, text in enumerate(row):
                if column != wide:
                    put(column, text, y)
        y -= len(lines) * pitch - 0.4
    return y - 0.6

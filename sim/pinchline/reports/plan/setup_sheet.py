"""The set-up sheet of a plan: one page to tape to the machine, as PDF and PNG."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from pinchline.errors import InputError
from pinchline.reports.plan.measurements import measurements
from pinchline.reports.plan.setup_blocks import setup_blocks
from pinchline.reports.plan.setup_sketch import (
    Frame,
    blank_height,
    draw_blank,
    draw_part,
    draw_rolls,
    mark_levels,
)
from pinchline.reports.plan.steps import operator_steps
from pinchline.reports.style import theme
from pinchline.reports.style.paper import (
    A4,
    GAP_MM,
    LETTER,
    Block,
    Page,
    Type,
    block_height,
    draw_block,
    line_height,
    print_style,
)
from pinchline.results.writer import write_whole

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from matplotlib.figure import Figure

    from pinchline.analysis.planning.plan import Plan
    from pinchline.reports.plan.steps import Steps
    from pinchline.reports.style.paper import Paper
    from pinchline.results.schema import Result
    from pinchline.units import System

TITLE_PT, HEAD_PT = 14.0, 10.0  # points
# roomiest first: words shrink before tables, and only where the moves fill the page
TYPE_SIZES = (
    Type(10.0, 10.0),
    Type(10.0, 9.0),
    Type(10.0, 8.5),
    Type(9.0, 8.5),
    Type(8.0, 8.0),
)
ROOMY_SKETCH_MM = 46.0  # mm: less is not left to the sketches for the sake of notes
SKETCH_MM = (32.0, 72.0)  # mm: least and largest height of part and rolls


def setup_sheet(
    plan: Plan,
    parts: Sequence[Result] = (),
    *,
    system: System = "metric",
    paper: Paper | None = None,
) -> Figure:
    """Draw the set-up sheet of a plan.

    Parameters
    ----------
    plan : of a case
    parts : of its job as sheet and settings scatter (``plan_spread``); bands are left
        out without
    system : mm or inches
    paper : A4 for mm and Letter for inches unless told

    Raises
    ------
    InputError
        The job has more moves than one page holds.
    """
    paper = paper or (A4 if system == "metric" else LETTER)
    with print_style():
        page = Page(paper)
        steps = operator_steps(plan.settings)
        levels = mark_levels(page, plan, steps.marks, system)
        strip = blank_height(1 + max((n for n, _ in levels.values()), default=0))
        for blocks, size, sketch, least in _layouts(
            page, plan, parts, steps, strip, system
        ):
            if sketch >= least:
                _draw(
                    page, plan, steps, blocks, size, min(sketch, SKETCH_MM[1]), system
                )
                return page.figure
    message = "the job has more moves than a set-up sheet of one page holds"
    raise InputError(message, value=f"{len(plan.settings)} moves")


def _layouts(
    page: Page,
    plan: Plan,
    parts: Sequence[Result],
    steps: Steps,
    strip: float,
    system: System,
) -> Iterator[tuple[list[Block], Type, float, float]]:
    """Give blocks, type, height left for the sketches and the least: roomiest first."""
    room = page.paper.height - 2.0 * page.paper.margin
    head = _head_height(page, plan)
    measured = measurements(plan, parts, system)
    for size in TYPE_SIZES:
        for noted in (True, False):
            blocks = setup_blocks(plan, measured, steps, system, noted=noted)
            used = sum(block_height(page, block, size) + GAP_MM for block in blocks)
            least = ROOMY_SKETCH_MM if noted else SKETCH_MM[0]
            yield blocks, size, room - head - strip - used - 2.0 * GAP_MM, least


def _draw(
    page: Page,
    plan: Plan,
    steps: Steps,
    blocks: Sequence[Block],
    size: Type,
    sketch: float,
    system: System,
) -> None:
    paper = page.paper
    y = paper.height - paper.margin
    y = _head(page, plan, y)
    half = 0.5 * (paper.width - 2.0 * paper.margin)
    frames = [
        Frame(paper.margin + i * half, y - sketch, half - 3.0, sketch) for i in (0, 1)
    ]
    draw_part(page, plan, frames[0], system)
    raised = [s for s in plan.settings if s.move.kind == "lift"]
    draw_rolls(page, plan, raised[0], frames[1], system)
    y -= sketch + GAP_MM
    draw_blank(page, plan, steps.marks, y, system)
    levels = mark_levels(page, plan, steps.marks, system)
    y -= blank_height(1 + max((n for n, _ in levels.values()), default=0)) + GAP_MM
    for block in blocks:
        y = draw_block(page, block, y, size)


def _head_lines(page: Page, plan: Plan) -> list[str]:
    width = page.paper.width - 2.0 * page.paper.margin
    return page.wrapped(plan.case.title, width, TITLE_PT, bold=True)[:2]


def _head_height(page: Page, plan: Plan) -> float:
    lines = len(_head_lines(page, plan))
    return lines * line_height(TITLE_PT) + line_height(HEAD_PT) + GAP_MM


def _head(page: Page, plan: Plan, top: float) -> float:
    """Write title and machine; returns where the sketches start."""
    y = top
    for line in _head_lines(page, plan):
        page.write(page.paper.margin, y, line, TITLE_PT, fontweight="bold")
        y -= line_height(TITLE_PT)
    text = f"Set-up sheet for {plan.case.machine.title}"
    width = page.paper.width - 2.0 * page.paper.margin
    page.write(page.paper.margin, y, page.wrapped(text, width, HEAD_PT)[0], HEAD_PT)
    return y - line_height(HEAD_PT) - GAP_MM


def write_setup_sheet(
    plan: Plan,
    parts: Sequence[Result],
    folder: Path,
    name: str,
    *,
    system: System = "metric",
    paper: Paper | None = None,
) -> list[Path]:
    """Write the set-up sheet as PDF and PNG into a folder; returns the paths."""
    fig = setup_sheet(plan, parts, system=system, paper=paper)
    with print_style():
        pdf = theme.save_in(fig, folder, f"{name}-setup.pdf")
        png = pdf.with_suffix(".png")
        write_whole(png, _picture(fig))
    return [pdf, png]


def _picture(fig: Figure) -> bytes:
    """Draw the page as a PNG in greys, a quarter of the size of one in colours."""
    from PIL import Image

    coloured, grey = io.BytesIO(), io.BytesIO()
    fig.savefig(coloured, format="png", pil_kwargs={"compress_level": 0})
    with Image.open(coloured) as image:
        image.convert("L").save(grey, "PNG")
    return grey.getvalue()

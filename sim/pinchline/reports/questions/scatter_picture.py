"""The spread of a part as a picture: how often what comes out, and what makes it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline import units
from pinchline.analysis.scatter.inputs import WORDS
from pinchline.analysis.scatter.part import OPENING
from pinchline.reports.questions.scatter import LEVELS, TOLD, ranked
from pinchline.reports.style import theme

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pinchline.analysis.scatter.scatter import Scatter
    from pinchline.units import System

DRAWN = 3  # opening and the two radii
BINS = 40
EDGE = 0.004  # of the parts that lie beyond either end of the axis
MOST_BARS = 6
STYLES = ((theme.BLUE, ""), (theme.SEA, ""), (theme.GOLD, "////"))


def scatter_picture(found: Scatter, title: str, system: System = "metric") -> Figure:
    """Draw how often what comes out, and below what each input explains of it."""
    with theme.applied():
        fig = theme.figure(9.6, 6.4)
        theme.headed(fig, f"How far parts spread: {title}")
        grid = fig.add_gridspec(2, DRAWN, height_ratios=(1.0, 1.05))
        for number in range(DRAWN):
            _often(fig.add_subplot(grid[0, number]), found, number, system)
        _explained(fig.add_subplot(grid[1, :]), found)
        return fig


def draw_scatter(
    found: Scatter, title: str, folder: Path, system: System = "metric"
) -> Path:
    """Draw the picture into a folder; returns its path."""
    return theme.save_in(scatter_picture(found, title, system), folder, "scatter.png")


def _often(ax: Axes, found: Scatter, number: int, system: System) -> None:
    """Draw how often which value of a quantity comes out."""
    q = found.quantities[number]
    unit, size, _ = units.shop_unit(q.dimension, system)
    values = found.values(number)
    values = values[np.isfinite(values)] / size
    ax.set_xlabel(f"{q.words}, {unit}")
    ax.set_yticks([])
    ax.grid(visible=False)
    if values.size == 0 or float(np.ptp(values)) == 0.0:
        theme.titled(ax, q.words.capitalize(), "the same in all parts")
        return
    stated = float(found.stated[number]) / size
    low, high = (float(np.quantile(values, e)) for e in (EDGE, 1.0 - EDGE))
    room = 0.06 * (high - low)
    asked = [one for one in found.allowed if one.quantity == number]
    bounds = [one.wanted + sign * one.tolerance for one in asked for sign in (-1, 1)]
    shown = [*(end / size for end in bounds), stated]
    shown = [value for value in shown if math.isfinite(value)]
    low, high = min([low, *shown]), max([high, *shown])
    ax.set_xlim(low - room, high + room)
    counts, edges = np.histogram(values, BINS, (low - room, high + room))
    ends = [float(np.quantile(values, level)) for level in LEVELS]
    ax.axvspan(ends[0], ends[-1], **theme.ZONE, zorder=0.4)
    ax.stairs(counts, edges, fill=True, color=theme.BLUE, alpha=0.85)
    top = 1.16 * float(np.max(counts))
    ax.set_ylim(0.0, top)
    ax.axvline(stated, **theme.LINES["loaded"])
    for end in bounds:
        ax.axvline(end / size, **theme.LINES["bound"])
    said = [units.figures(e, 3) for e in (ends[0], ends[-1])]
    theme.titled(
        ax, q.words.capitalize(), f"nine in ten: {said[0]} to {said[1]} {unit}"
    )


def _explained(ax: Axes, found: Scatter) -> None:
    """Draw the share of each quantity's spread that every input explains."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    keys = [one.key for one, _, total in ranked(found, OPENING) if total >= TOLD]
    keys = keys[:MOST_BARS] or [one.key for one in found.inputs][:MOST_BARS]
    place = {one.key: i for i, one in enumerate(found.inputs)}
    height = 0.8 / DRAWN
    handles: list[Patch | Line2D] = []
    for number in range(DRAWN):
        color, hatch = STYLES[number]
        at = np.arange(len(keys)) + (number - 1) * height
        own = [place[key] for key in keys]
        total = 100.0 * np.nan_to_num(found.total[number, own])
        alone = 100.0 * np.clip(np.nan_to_num(found.first[number, own]), 0.0, None)
        ax.barh(at, total, 0.86 * height, color="white", edgecolor=color, lw=1.0)
        ax.barh(at, alone, 0.86 * height, color=color, hatch=hatch, edgecolor="white")
        handles.append(
            Patch(facecolor=color, hatch=hatch, edgecolor="white",
                  label=found.quantities[number].words)
        )  # fmt: skip
    handles += [
        Patch(facecolor="white", edgecolor=theme.INK, label="outline: with others"),
        Line2D([], [], **theme.LINES["loaded"], label="above: part as stated"),
    ]
    if any(one.quantity < DRAWN for one in found.allowed):
        bound = Line2D([], [], **theme.LINES["bound"], label="above: tolerance")
        handles.append(bound)
    ax.set_yticks(range(len(keys)), [WORDS[key] for key in keys])
    ax.tick_params(axis="y", length=0.0)
    ax.invert_yaxis()
    ax.set_xlim(0.0, 100.0)
    ax.set_xlabel("per cent of the spread that it explains")
    ax.grid(visible=False, axis="y")
    theme.titled(ax, "What to measure first", "alone, and together with the others")
    ax.legend(handles=handles, loc="lower right")

"""A map of the tightest radius as a picture.

Both maps share the axis of thickness and the colours of the radius. Yield strengths
are an axis of their own, with contour lines; alloys are not, so that each has a band,
the softest lowest, which shows its range of thickness and where its limit changes.
Thick lines part what binds; what binds is written where there is room.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline import units
from pinchline.reports.questions.limit_map import rows_by_strength
from pinchline.reports.style import theme

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from pinchline.analysis.limits.limit_map import LimitMap, MapPoint
    from pinchline.case.demand import LimitKind
    from pinchline.units import System

    Array = NDArray[np.float64]

LEVEL_STEPS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)  # in a decade
GENTLEST_RATIO = 20.0  # times the tightest radius; more has one colour
LINED_RATIO = 7.0  # times the tightest level; beyond it lines would crowd
WORD_SHARE = 0.09  # of the width of the axes that a word needs
UPRIGHT_SHARE = 0.025  # and one that stands upright
REGION_SHARE = 0.012  # of a yield map's points that a named region has
TIGHT_COLOR, GENTLE_COLOR = theme.BLUE, "#f4ecd8"
# thicknesses on the axis: of a decade, and the gauges of the trade
THICKNESS_TICKS: dict[System, tuple[float, ...]] = {
    "metric": (
        *(0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0),
        *(1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0),
    ),
    "inch": (
        *(0.008, 0.012, 0.016, 0.02, 0.025, 0.032, 0.04, 0.05),
        *(0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.32, 0.4),
    ),
}


def limit_map_picture(
    limit_map: LimitMap, title: str, system: System = "metric"
) -> Figure:
    """Draw the tightest radius over thickness, and alloy or yield strength."""
    from matplotlib.cm import ScalarMappable

    limit_map = _in_shop_units(limit_map, system)
    length, _, _ = units.display_unit("length", system)
    rows = rows_by_strength(limit_map)
    with theme.project_style():
        fig = theme.figure(8.4, 5.6)
        ax = fig.subplots()
        norm, colors = _colors(limit_map)
        if limit_map.kind == "alloy":
            _bands(ax, rows, norm, colors)
        else:
            _contours(ax, rows, norm, colors)
            stress, _, _ = units.display_unit("stress", system)
            ax.set_ylabel(f"yield strength, {stress}")
        _thickness_axis(ax, limit_map, system)
        theme.set_title(
            ax, "Tightest radius, and what keeps it from being tighter", title
        )
        bar = fig.colorbar(
            ScalarMappable(norm, colors), ax=ax, pad=0.015, extend="max", aspect=32
        )
        bar.set_label(f"tightest residual radius, {length}")
        bar.set_ticks(list(norm.boundaries), labels=[f"{b:g}" for b in norm.boundaries])
        bar.ax.minorticks_off()
        return fig


def _in_shop_units(limit_map: LimitMap, system: System) -> LimitMap:
    """Give thickness, radius and strength of every point in a system's units."""
    _, length, _ = units.display_unit("length", system)
    _, stress, _ = units.display_unit("stress", system)
    points = tuple(
        p._replace(
            thickness=p.thickness / length,
            yield_strength=p.yield_strength / stress,
            found=p.found._replace(radius=p.found.radius / length),
        )
        for p in limit_map.points
    )
    return replace(limit_map, points=points)


def _colors(limit_map: LimitMap) -> tuple[Any, Any]:
    """Levels of the radius and their colours, dark where it is tight."""
    from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap

    radii = [p.found.radius for p in limit_map.points if math.isfinite(p.found.radius)]
    low = min(radii, default=1.0)
    high = min(max(radii, default=2.0), GENTLEST_RATIO * low)
    levels = [s * 10.0**d for d in range(-1, 5) for s in LEVEL_STEPS]
    first = max((i for i, level in enumerate(levels) if level <= low), default=0)
    last = next(i for i, level in enumerate(levels) if level >= high and i > first)
    bounds = levels[first : last + 1]
    shades = [TIGHT_COLOR, theme.SEA, "#c9ddd8", GENTLE_COLOR]
    colors = LinearSegmentedColormap.from_list("radius", shades, len(bounds))
    return BoundaryNorm(bounds, len(bounds), extend="max"), colors


def _thickness_axis(ax: Axes, limit_map: LimitMap, system: System) -> None:
    from matplotlib.ticker import FixedLocator, FormatStrFormatter, NullLocator

    all_of_them = sorted({p.thickness for p in limit_map.points})
    edges = _edges(all_of_them)
    ax.set_xscale("log")
    ax.set_xlim(edges[0], edges[-1])
    ax.xaxis.set_major_locator(FixedLocator(THICKNESS_TICKS[system]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FormatStrFormatter("%g"))
    length, _, _ = units.display_unit("length", system)
    ax.set_xlabel(f"thickness, {length}; hatched: no pass leaves a set")
    ax.grid(visible=False)


def _edges(thicknesses: list[float]) -> Array:
    """Edges of the cells round thicknesses in equal ratios."""
    t = np.log(np.array(thicknesses))
    half = 0.5 * (t[-1] - t[0]) / (t.size - 1)
    edges: Array = np.exp(np.append(t - half, t[-1] + half))
    return edges


def _bands(
    ax: Axes, rows: list[tuple[str, list[MapPoint]]], norm: Any, colors: Any
) -> None:
    """Draw each alloy as a band."""
    grid = sorted({p.thickness for _, row in rows for p in row})
    edges = _edges(grid)
    at = {t: i for i, t in enumerate(grid)}
    whole = math.log(edges[-1] / edges[0])
    for y, (_, row) in enumerate(rows):
        for p in row:
            i = at[p.thickness]
            box = (edges[i], y - 0.38), edges[i + 1] - edges[i], 0.76
            ax.add_patch(_patch(box, p, norm, colors))
        for limit, run in groupby(row, key=lambda p: p.found.limit):
            cells = [at[p.thickness] for p in run]
            start, end = edges[cells[0]], edges[cells[-1] + 1]
            ax.plot([start, start], [y - 0.38, y + 0.38], color=theme.INK, lw=1.3)
            wide, word = math.log(end / start) / whole, _label(limit)
            if wide > UPRIGHT_SHARE:
                size = min(7.5, 44.0 / len(word))  # as long as the band is high
                turned = (
                    {} if wide > WORD_SHARE else {"rotation": 90.0, "fontsize": size}
                )
                theme.add_note(ax, word, math.sqrt(start * end), y, **turned)
        ax.plot([end, end], [y - 0.38, y + 0.38], color=theme.INK, lw=1.3)
    ax.set_yticks(range(len(rows)), [name for name, _ in rows])
    ax.tick_params(axis="y", length=0.0)
    ax.set_ylim(-0.6, len(rows) - 0.4)


def _label(limit: LimitKind | None) -> str:
    return limit.label if limit else ""


def _patch(box: Any, point: MapPoint, norm: Any, colors: Any) -> Any:
    from matplotlib.patches import Rectangle

    radius = point.found.radius
    if math.isfinite(radius):
        return Rectangle(*box, facecolor=colors(norm(radius)), edgecolor="none")
    return Rectangle(
        *box, facecolor="white", edgecolor=theme.INK, hatch="////", linewidth=0.0
    )


def _contours(
    ax: Axes, rows: list[tuple[str, list[MapPoint]]], norm: Any, colors: Any
) -> None:
    """Draw thickness and yield strength as a plane."""
    t = np.array([p.thickness for p in rows[0][1]])
    strengths = np.array([row[0].yield_strength for _, row in rows])
    radius = np.array([[p.found.radius for p in row] for _, row in rows])
    limits = np.array([[p.found.limit for p in row] for _, row in rows], dtype=object)
    half = 0.5 * (strengths[1] - strengths[0])
    x = _edges(list(t))
    y = np.append(strengths - half, strengths[-1] + half)
    ax.set_facecolor("white")
    ax.pcolormesh(x, y, radius, norm=norm, cmap=colors, rasterized=True)
    _lines(ax, t, strengths, radius, norm)
    for i in range(strengths.size):
        for j in range(t.size):
            if j and limits[i, j] != limits[i, j - 1]:
                ax.plot([x[j], x[j]], y[i : i + 2], color=theme.INK, lw=1.3)
            if i and limits[i, j] != limits[i - 1, j]:
                ax.plot(x[j : j + 2], [y[i], y[i]], color=theme.INK, lw=1.3)
            if not math.isfinite(radius[i, j]):
                box = (x[j], y[i]), x[j + 1] - x[j], y[i + 1] - y[i]
                ax.add_patch(_patch(box, rows[i][1][j], norm, colors))
    _name_regions(ax, t, strengths, limits)
    ax.set_ylim(y[0], y[-1])


def _lines(ax: Axes, t: Array, strengths: Array, radius: Array, norm: Any) -> None:
    """Draw the levels as lines and write on them, where there is one to draw."""
    drawn = np.ma.masked_invalid(radius)
    most = min(float(drawn.max()), LINED_RATIO * norm.boundaries[0])
    levels = [b for b in norm.boundaries if drawn.min() < b < most]
    if not levels:
        return
    style: dict[str, Any] = {"colors": "white", "linewidths": 0.9}
    lines = ax.contour(t, strengths, drawn, levels=levels, **style)
    ax.clabel(lines, fmt="%g", fontsize=7.5, colors=theme.INK, inline_spacing=2)


def _name_regions(ax: Axes, t: Array, strengths: Array, limits: NDArray[Any]) -> None:
    """Write what binds into every region that is large enough, at its inmost point."""
    from scipy.ndimage import distance_transform_edt, label

    for limit in dict.fromkeys(limits.ravel()):
        regions, count = label(limits == limit)
        for number in range(1, count + 1):
            here = regions == number
            if np.count_nonzero(here) < REGION_SHARE * here.size:
                continue
            depth = distance_transform_edt(np.pad(here, 1))[1:-1, 1:-1]
            i, j = np.unravel_index(int(np.argmax(depth)), depth.shape)
            theme.add_note(ax, _label(limit), t[j], strengths[i])

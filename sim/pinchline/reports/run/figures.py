"""The pictures of a result.

Every function takes a result, draws on new axes or on those given, and returns figure
and axes; none opens a window.
"""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from pinchline.errors import InputError
from pinchline.library import did_you_mean
from pinchline.parts.measure import fit_circle
from pinchline.reports.run.playback import accumulated_travel
from pinchline.reports.style import theme
from pinchline.reports.style.table import move_words, opening_words
from pinchline.reports.style.unit_system import in_unit_system
from pinchline.results.schema import ROLLS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from pinchline.reports.style.unit_system import Unit
    from pinchline.results.schema import Result
    from pinchline.units import System

    Array = NDArray[np.float64]
    Pair = tuple[float, float]

Format = Literal["png", "svg", "pdf"]

_MOST_LENGTHS = 10.0  # sheet lengths: flatter circles are not drawn
_PAGE_INCHES, _PAGE_COLUMNS = 7.2, 3  # width in inches of paper, frames side by side
_SHEET_CURVES = ("loaded_peak", "residual")
_NEARLY_FLAT = 0.97  # opening over length: the dimension line moves off the sheet
OPERATOR_EDGE, REAR_EDGE = "operator's edge", "edge nearer the rear roll"
_S_LABEL = "s along the sheet"


def free_part(
    result: Result, ax: Axes | None = None, system: System = "metric"
) -> tuple[Figure, Axes]:
    """Draw the free part: thickness, flats, opening, turned angle and radius."""
    result, unit = in_unit_system(result, system)
    with theme.project_style():
        ax = theme.figure(7.2, 6.2).subplots() if ax is None else ax
        x, y, s = (result.sheet[name] for name in ("x", "y", "s_node"))
        half = 0.5 * result.inputs["thickness"]
        away = 0.055 * max(float(np.ptp(x)), float(np.ptp(y)))
        ax.fill(*theme.strip_outline(x, y, -half, half), **theme.SHEET_STYLE)
        _draw_fit(ax, result, unit)
        for key, from_end in (("operator", False), ("rear", True)):
            _draw_flat(ax, result, key, away, unit, from_end=from_end)
        _draw_opening(ax, result, unit)
        theme.name_end(ax, x, y, OPERATOR_EDGE)
        theme.name_end(ax, x[::-1], y[::-1], REAR_EDGE)
        ax.set_aspect("equal", adjustable="datalim")
        ax.set_xlabel(f"along the bench from the operator's edge, {unit.length}")
        ax.set_ylabel(f"height, {unit.length}")
        size = f"{unit.say(s[-1], 0)} long, {unit.say(2.0 * half, 2)} thick"
        words = f"{result.title}; sheet {size}, drawn to scale"
        theme.fit_words_in(ax)
        theme.set_title(ax, "The free part", words)
        return theme.root_figure(ax), ax


def curvature(
    result: Result, ax: Axes | None = None, system: System = "metric"
) -> tuple[Figure, Axes]:
    """Draw the largest loaded and the residual curvature along the sheet."""
    result, unit = in_unit_system(result, system)
    with theme.project_style():
        ax = theme.figure(7.2, 4.6).subplots() if ax is None else ax
        s, loaded, free = (
            result.sheet[name]
            for name in ("s", "curvature_loaded_peak", "curvature_residual")
        )
        bound = result.inputs["curvature_wrap"]
        top = 1.25 * max(bound, float(np.nanmax(loaded, initial=0.0)))
        low = 1.1 * min(0.0, float(np.nanmin(free, initial=0.0)))
        _shade_flats(ax, result, "straightedge", 0.4, unit)
        ax.plot(
            s, loaded, label="largest, under the rolls", **theme.LINE_STYLES["loaded"]
        )
        ax.plot(s, free, label="residual, once free", **theme.LINE_STYLES["residual"])
        label = f"wrap bound, radius {unit.say(1.0 / bound)}"
        ax.axhline(bound, label=label, **theme.LINE_STYLES["bound"])
        _shade_zone(ax, result, (low, top), unit)
        _mark_crease(ax, result, top, unit)
        ax.set(ylim=(low, top), xlim=(0.0, result.inputs["length"]))
        ax.set_xlabel(f"{_S_LABEL}, {unit.length}")
        ax.set_ylabel(f"curvature, 1/{unit.length}")
        theme.name_ends(ax, OPERATOR_EDGE, REAR_EDGE)
        theme.radius_axis(ax, unit.length)
        theme.legend_below(ax, columns=3)
        theme.set_title(ax, "Curvature along the sheet", result.title)
        return theme.root_figure(ax), ax


def largest_moment(
    result: Result, ax: Axes | None = None, system: System = "metric"
) -> tuple[Figure, Axes]:
    """Draw the largest moment each point ever saw, and the move in which it did."""
    result, unit = in_unit_system(result, system)
    with theme.project_style():
        ax = theme.figure(7.2, 4.6).subplots() if ax is None else ax
        s = result.sheet["s"]
        ratio = np.abs(result.sheet["moment_peak"])
        ratio = ratio / result.inputs["moment_first_yield"]
        top = 1.12 * max(1.2, float(np.nanmax(ratio, initial=0.0)))
        _shade_flats(ax, result, "moment", 0.8, unit)
        ax.plot(s, ratio, **theme.LINE_STYLES["moment"])
        ax.axhline(1.0, **theme.LINE_STYLES["bound"])
        middle = 0.5 * result.inputs["length"]
        theme.add_note(
            ax, "first yield: below this line nothing can remain", middle, 0.9
        )
        move, nodes = result.sheet["moment_peak_move"], result.sheet["s_node"]
        sides = (-0.13 * top, -0.03 * top)
        handles = theme.draw_band(ax, nodes, move, sides, move_words(result))
        ax.set(ylim=(-0.15 * top, top), xlim=(0.0, result.inputs["length"]))
        ax.set_yticks([tick for tick in ax.get_yticks() if 0.0 <= tick <= top])
        ax.set_xlabel(f"{_S_LABEL}, {unit.length}")
        ax.set_ylabel("largest moment / first-yield moment (no unit)")
        theme.name_ends(ax, OPERATOR_EDGE, REAR_EDGE)
        if handles:
            title = "move that made the largest moment"
            theme.legend_below(ax, columns=2, handles=handles, title=title)
        theme.set_title(ax, "Why the edges stay flat", result.title)
        return theme.root_figure(ax), ax


def roll_forces(
    result: Result, axes: Sequence[Axes] | None = None, system: System = "metric"
) -> tuple[Figure, list[Axes]]:
    """Draw roll forces, drive and lift over the travel of sheet and rear roll.

    Parameters
    ----------
    result : of a run
    axes : three axes: pinch rolls, rear roll and drive, lift
    system : of units
    """
    result, unit = in_unit_system(result, system)
    with theme.project_style():
        if axes is None:
            fig = theme.figure(7.2, 6.4)
            axes = list(fig.subplots(3, sharex=True, height_ratios=(3, 3, 2)))
        pinch, rear, lift = axes
        path = accumulated_travel(result)
        for ax, name, label in (
            (pinch, "force_upper", "upper roll"),
            (pinch, "force_lower", "lower roll"),
            (rear, "force_rear", "rear roll"),
            (rear, "drive_force", "drive (+ toward the rear roll)"),
            (lift, "lift", "rear roll"),
        ):
            ax.plot(path, result.steps[name], label=label, **theme.LINE_STYLES[name])
        for ax in (pinch, rear):
            ax.set_ylabel(f"force, {unit.per_width}\nof width")
            ax.margins(x=0.0, y=0.24)
            ax.legend(loc="upper right", ncols=2)
        pinch.set_ylim(bottom=0.0)
        rear.axhline(0.0, **theme.LINE_STYLES["guide"])
        lift.set_ylabel(f"lift of the rear\nroll, {unit.length}")
        words = "travel of the sheet and of the rear roll, added up"
        lift.set_xlabel(f"{words}, {unit.length}")
        lift.margins(x=0.0, y=0.25)
        _mark_moves((pinch, rear, lift), result, path)
        theme.set_title(pinch, "Forces of the rolls", result.title)
        return theme.root_figure(pinch), list(axes)


def sheet_in_rolls(
    result: Result,
    axes: Sequence[Axes] | None = None,
    system: System = "metric",
    *,
    count: int = 6,
) -> tuple[Figure, list[Axes]]:
    """Draw the sheet in the rolls at chosen steps, all to one scale.

    Parameters
    ----------
    result : of a run
    axes : one for each picture
    system : of units
    count : of pictures where no axes are given
    """
    result, unit = in_unit_system(result, system)
    with theme.project_style():
        chosen = _chosen_frames(result, count if axes is None else len(axes))
        columns = min(_PAGE_COLUMNS, max(1, len(chosen))) if axes is None else len(axes)
        rows = [chosen[i : i + columns] for i in range(0, len(chosen), columns)]
        wide, _ = _frame_limits(result, chosen)
        tall = [_frame_limits(result, row)[1] for row in rows]
        if axes is None:
            axes = _frame_axes(result, columns, wide, tall)
        for i, ax in enumerate(axes):
            if i < len(chosen):
                _draw_frame(ax, result, chosen[i], (wide, tall[i // columns]), unit)
            else:
                ax.set_axis_off()
        return theme.root_figure(axes[0]), list(axes)


def _frame_axes(
    result: Result, columns: int, wide: Pair, tall: Sequence[Pair]
) -> list[Axes]:
    """Axes for frames of one scale: every row is as high as what it shows."""
    heights = [high - low for low, high in tall] or [1.0]
    scale = _PAGE_INCHES / columns * 0.8 / (wide[1] - wide[0])  # inches per length
    total = 0.9 + sum(scale * height + 0.55 for height in heights)
    fig = theme.figure(_PAGE_INCHES, total)
    grid = fig.subplots(
        len(heights), columns, sharex=True, sharey="row", squeeze=False,
        height_ratios=heights,
    )  # fmt: skip
    theme.set_heading(fig, f"The sheet in the rolls: {result.title}")
    return list(grid.flat)


RUN_PICTURES: dict[str, Callable[..., tuple[Figure, Any]]] = {
    "free-part": free_part,
    "curvature": curvature,
    "largest-moment": largest_moment,
    "roll-forces": roll_forces,
    "sheet-in-rolls": sheet_in_rolls,
}


def draw(result: Result, name: str, **options: Any) -> tuple[Figure, Any]:
    """One picture of a result by its name.

    Raises
    ------
    InputError
        where there is no picture of that name
    """
    if name not in RUN_PICTURES:
        known = list(RUN_PICTURES)
        message = f"there is no picture of that name{did_you_mean(name, known)}"
        raise InputError(message, value=name, allowed=", ".join(known))
    return RUN_PICTURES[name](result, **options)


def plot_all(
    result: Result,
    folder: str | Path,
    fmt: Format = "png",
    system: System = "metric",
) -> list[Path]:
    """Write every picture into a folder, which is made where it is missing.

    Raises
    ------
    InputError
        where the format is unknown or a picture cannot be written
    """
    if fmt not in get_args(Format):
        message = "there is no picture format of that name"
        raise InputError(message, value=fmt, allowed=", ".join(get_args(Format)))
    return [
        theme.save_in(picture(result, system=system)[0], Path(folder), f"{name}.{fmt}")
        for name, picture in RUN_PICTURES.items()
    ]


def _draw_fit(ax: Axes, result: Result, unit: Unit) -> None:
    """Circle of the zone, its radius, and the angle between the edges' normals."""
    values, s = result.summary, result.sheet["s_node"]
    start, end = values["zone_from"], values["zone_to"]
    rows = np.flatnonzero((s >= start - 1e-6) & (s <= end + 1e-6))
    radius, turned = values["radius_fit"], values["turned_angle"]
    if rows.size < 3 or not math.isfinite(turned) or not radius < _MOST_LENGTHS * s[-1]:
        return
    x, y = result.sheet["x"], result.sheet["y"]
    circle = fit_circle(x[rows], y[rows])
    if not math.isfinite(circle.x + circle.y):
        return
    begin = math.atan2(y[1] - y[0], x[1] - x[0]) - 0.5 * math.pi
    places = rows[[0, rows.size // 2, -1]]
    theme.draw_circle(
        ax,
        (circle.x, circle.y, radius),
        (begin, begin + turned),
        np.arctan2(y[places] - circle.y, x[places] - circle.x),
        (
            f"R {unit.say(radius)}, fitted\ns {unit.bare(start)} to {unit.say(end, 0)}",
            f"turned {math.degrees(turned):.1f} deg",
        ),
    )


def _draw_flat(
    ax: Axes, result: Result, key: str, away: float, unit: Unit, *, from_end: bool
) -> None:
    """Shade a flat on the outside of the part and dimension it."""
    straight = result.summary[f"flat_{key}_straightedge"]
    moment = result.summary[f"flat_{key}_moment"]
    x, y, s = (result.sheet[name] for name in ("x", "y", "s_node"))
    inside = s >= s[-1] - straight if from_end else s <= straight
    if np.count_nonzero(inside) < 2 or (from_end and inside[0]):
        return
    words = f"flat by straightedge {unit.say(straight)}\nby moment {unit.say(moment)}"
    near = -0.5 * result.inputs["thickness"]
    theme.shade_offset(ax, x[inside], y[inside], (near, -away), words)


def _draw_opening(ax: Axes, result: Result, unit: Unit) -> None:
    x, y = result.sheet["x"], result.sheet["y"]
    edges = np.array([[x[0], y[0]], [x[-1], y[-1]]])
    words = f"{opening_words(result)} {unit.say(result.summary['opening'])}"
    apart = float(np.hypot(*(edges[1] - edges[0])))
    if "gauge" in words:
        words = f"edges {unit.say(apart)} apart\n{words}"
    if apart > _NEARLY_FLAT * result.inputs["length"]:
        edges += np.array([0.0, 0.08 * apart])
    theme.draw_dimension(ax, edges[0], edges[1], words)


def _shade_flats(
    ax: Axes, result: Result, method: str, height: float, unit: Unit
) -> None:
    """Shade both flats and name them at a height, a share of the axes."""
    length = result.inputs["length"]
    rear = result.summary[f"flat_rear_{method}"]
    operator = result.summary[f"flat_operator_{method}"]
    for start, end in ((0.0, operator), (length - rear, length)):
        if math.isfinite(start + end) and end > start:
            ax.axvspan(start, end, linewidth=0.0, zorder=0.5, **theme.FLAT_STYLE)
            wide = end - start > 0.4 * length
            gap, turn, raised = (" ", 0, height + 0.1) if wide else ("\n", 90, height)
            words = f"{method} flat{gap}{unit.say(end - start)}"
            across = {"transform": ax.get_xaxis_transform(), "rotation": turn}
            middle = float(np.clip(0.5 * (start + end), 0.03 * length, 0.97 * length))
            theme.add_note(ax, words, middle, raised, **across)


def _shade_zone(ax: Axes, result: Result, limits: Pair, unit: Unit) -> None:
    """Shade the plateau and name it where neither line passes."""
    start, end = result.summary["zone_from"], result.summary["zone_to"]
    if not math.isfinite(start + end):
        return
    ax.axvspan(start, end, zorder=0.4, **theme.ZONE_STYLE)
    words = f"plateau\ns {unit.bare(start)} to {unit.say(end, 0)}"
    middle, low = 0.5 * (start + end), limits[0]
    s, bound = result.sheet["s"], result.inputs["curvature_wrap"]
    near = np.abs(s - middle) <= max(0.5 * (end - start), 0.1 * s[-1])
    passed = np.concatenate(
        [result.sheet[f"curvature_{name}"][near] for name in _SHEET_CURVES]
        + [np.array([bound, limits[1], low])]
    )
    lines = np.sort((passed - low) / (limits[1] - low))
    gap = int(np.argmax(np.diff(lines)))  # the widest band without a line
    across = {"transform": ax.get_xaxis_transform(), "bbox": None}
    theme.add_note(ax, words, middle, 0.5 * (lines[gap] + lines[gap + 1]), **across)


def _mark_crease(ax: Axes, result: Result, top: float, unit: Unit) -> None:
    """Point at the bend that remains, which is what the height compares."""
    at, height = result.summary["crease_s"], result.summary["crease_height"]
    if math.isnan(at):
        return
    s, residual = result.sheet["s"], result.sheet["curvature_residual"]
    near = residual[np.abs(s - at) <= result.inputs["thickness"]]
    peak = float(np.max(near, initial=0.0))
    early = at < 0.5 * s[-1]
    aside = at + (0.08 if early else -0.08) * s[-1]
    theme.draw_leader(ax, (aside, 0.93 * top), (at, peak))
    words = f"crease at s {unit.bare(at)}: {height:.1f} x the plateau"
    theme.add_note(ax, words, aside, 0.95 * top, ha="left" if early else "right")


def _mark_moves(axes: Sequence[Axes], result: Result, path: Array) -> None:
    """Draw the boundaries of the moves and number them; the words stand below."""
    from matplotlib.patches import Patch

    move, words = result.steps["move"], move_words(result)
    lines = [f"{number}  {text}" for number, text in enumerate(words, 1)]
    for number in np.unique(move).tolist():
        rows = np.flatnonzero(move == number)
        start, end = path[max(rows[0] - 1, 0)], path[rows[-1]]
        if end <= start:
            continue
        for ax in axes:
            ax.axvline(end, **theme.LINE_STYLES["guide"])
        axes[-1].annotate(
            str(number),
            (0.5 * (start + end), 1.0),
            (0.0, -2.0),
            xycoords=axes[-1].get_xaxis_transform(),
            textcoords="offset points",
            ha="center",
            va="top",
            fontweight="bold",
        )
    handles = [Patch(label=line, visible=False) for line in lines]
    theme.legend_below(axes[-1], columns=2, handles=handles, handlelength=0.0)


def _chosen_frames(result: Result, count: int) -> list[int]:
    """Choose ends of lifts and feeds, the last frame, middles of feeds, the rest."""
    move, words = result.frames["move"], move_words(result)
    if not move.size:
        return []
    ends, middles = {move.size - 1}, []
    for number, text in enumerate(words, 1):
        rows = np.flatnonzero(move == number).tolist()
        if rows and text.startswith(("lift", "feed")):
            ends.add(rows[-1])
        if rows and text.startswith("feed"):
            middles.append(rows[len(rows) // 2])
    first = sorted(ends)
    if len(first) > count:
        return [first[i] for i in np.linspace(0, len(first) - 1, count).astype(int)]
    spread = np.linspace(0, move.size - 1, count + 2).astype(int).tolist()
    rest = [*middles, *spread, *range(move.size)]
    return sorted(list(dict.fromkeys([*first, *rest]))[:count])


def _frame_limits(result: Result, chosen: Sequence[int]) -> tuple[Pair, Pair]:
    """Span that holds rolls and sheet in all the pictures."""
    if not chosen:
        return (0.0, 1.0), (0.0, 1.0)
    frames, inputs = result.frames, result.inputs
    radii = [inputs[f"{name}_radius"] for name in ROLLS]
    spans = []
    for axis in ("x", "y"):
        centres = frames[f"roll_{axis}"][chosen]
        bounds = (centres - radii, centres + radii, frames[axis][chosen])
        low, high = min(map(np.nanmin, bounds)), max(map(np.nanmax, bounds))
        room = 0.04 * (high - low)
        spans.append((float(low - room), float(high + room)))
    return spans[0], spans[1]


def _draw_frame(
    ax: Axes, result: Result, index: int, limits: tuple[Pair, Pair], unit: Unit
) -> None:
    from matplotlib.patches import Circle

    frames, moves = result.frames, move_words(result)
    for roll, name in enumerate(ROLLS):
        centre = (frames["roll_x"][index, roll], frames["roll_y"][index, roll])
        ax.add_patch(
            Circle(centre, result.inputs[f"{name}_radius"], **theme.ROLL_STYLE)
        )
        ax.plot(*centre, "+", color=theme.INK, markersize=5, markeredgewidth=0.7)
    half = 0.5 * result.inputs["thickness"]
    x, y = frames["x"][index], frames["y"][index]
    ax.fill(*theme.strip_outline(x, y, -half, half), **theme.SHEET_STYLE)
    ax.set(xlim=limits[0], ylim=limits[1], aspect="equal")
    ax.set_xlabel(f"x from the nip, {unit.length}")
    ax.set_ylabel(f"y from the nip, {unit.length}")
    ax.label_outer()
    number, nip = int(frames["move"][index]), float(frames["nip"][index])
    what = moves[number - 1].split(",")[0] if 0 < number <= len(moves) else ""
    free = math.isnan(nip) or what.startswith(("release", "turn"))
    where = "set free" if free else f"nip at s {unit.say(nip, 0)}"
    state = f"lift {unit.say(frames['lift'][index])}, {where}"
    words = f"{textwrap.fill(f'{number}  {what}', 35)}\n{state}"
    ax.set_title(words, fontsize=8.0, fontweight="normal")

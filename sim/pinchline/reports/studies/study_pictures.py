"""Pictures of a study: a result over one varied value as lines, over two as a map."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline.case.fields import read
from pinchline.case.study.picture import Panel, Picture
from pinchline.case.study.study import read_pictures
from pinchline.errors import InputError
from pinchline.library import did_you_mean
from pinchline.reports.studies.study import at_points, unit_words
from pinchline.reports.style import theme

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from pinchline.results.study_schema import StudyResult, Variable

    Array = NDArray[Any]

MOST_LINES = 8
WIDE_RATIO = 30.0  # times the least: drawn by factors
_LINE_STYLES = (
    (theme.BLUE, "o-"),
    (theme.RUST, "s--"),
    (theme.SEA, "^-."),
    (theme.GOLD, "D-"),
    (theme.INK, "v:"),
    ("#7d6b9e", "<--"),
    ("#8a8f94", ">-"),
    ("#5c3a21", "P-."),
)
_POINT_DIMENSION = "point"
_NO_VALUE_WORDS = "failed, stopped, or without end"


@dataclass(frozen=True)
class _Cut:
    """A result cut down to the coordinates of a panel.

    values, failed : along the dimensions of ``over`` (and ``lines``, which comes first)
    fixed : the other coordinates, in words
    """

    over: list[Variable]
    lines: Variable | None
    values: Array
    failed: Array
    fixed: str


def draw_study(
    result: StudyResult,
    folder: Path,
    kind: str = "png",
    pictures: tuple[Picture, ...] = (),
) -> list[Path]:
    """Draw pictures into a folder: those asked for, or the study's own, or all.

    Raises
    ------
    InputError
        A picture asks for what the study does not have, or cannot be written.
    """
    own = pictures or read_pictures(result.study_text, path=result.path)
    wanted = own or default_pictures(result)
    paths = []
    for picture in wanted:
        figure = study_picture(result, picture)
        paths.append(theme.save_in(figure, folder, f"{picture.name}.{kind}"))
    return paths


def default_pictures(result: StudyResult) -> tuple[Picture, ...]:
    """Every result over the first varied value; the second as lines, or as a map."""
    numeric = [v for v in result.coordinates.values() if not v.words]
    words = [v for v in result.coordinates.values() if v.words]
    first, *others = [v.name for v in (*numeric, *words)]
    over, lines = [first], None
    if others and _POINT_DIMENSION not in result.dimensions:
        second = result.coordinates[others[0]]
        few = second.values.size <= MOST_LINES and second.dimensions != (
            result.coordinates[first].dimensions
        )
        over, lines = ([first], second.name) if few else ([first, second.name], None)
    return tuple(
        Picture(name=name, panel=[Panel(show=name, over=over, lines=lines)])
        for name in result.results
    )


def asked_pictures(
    result: StudyResult, show: list[str], over: list[str], lines: str | None
) -> tuple[Picture, ...]:
    """Pictures of results over what is asked for; what is not, as by default."""
    panel: dict[str, Any] = {"over": over or default_pictures(result)[0].panel[0].over}
    if lines:
        panel["lines"] = lines
    return tuple(
        read(Picture, {"name": name, "panel": [{"show": name, **panel}]}, file="plot")
        for name in show or result.results
    )


def study_picture(result: StudyResult, picture: Picture) -> Figure:
    """Draw one picture."""
    count = len(picture.panel)
    columns = count if count <= 3 else 2
    rows = math.ceil(count / columns)
    with theme.project_style():
        fig = theme.figure(max(6.4, 4.6 * columns), 4.8 * rows)
        axes = fig.subplots(rows, columns, squeeze=False).ravel()
        for panel, ax in zip(picture.panel, axes, strict=False):
            _draw(ax, result, panel)
        for ax in axes[count:]:
            ax.set_axis_off()
        theme.set_heading(fig, picture.title or result.title)
        return fig


def _draw(ax: Axes, result: StudyResult, panel: Panel) -> None:
    shown = _named(result.results, panel.show, "results", result)
    if _POINT_DIMENSION in result.dimensions:
        _scatter(ax, result, panel, shown)
        return
    cut = _cut(result, panel, shown)
    if len(cut.over) == 1:
        _lines(ax, cut)
        ax.set_ylabel(_label(shown))
        if _by_factor(panel, cut.values):
            _by_factors(ax.yaxis)
    elif _continuous(cut):
        _map(ax, cut, by_factors=_by_factor(panel, cut.values))
    else:
        _cells(ax, cut)
    scaled = len(cut.over) == 1 or _continuous(cut)
    _axis(ax.xaxis, cut.over[0], scaled=scaled)
    if len(cut.over) == 2:
        _axis(ax.yaxis, cut.over[1], scaled=scaled)
        ax.set_title(f"{_label(shown, 60)}\n", fontsize=9.5)
    ax.annotate(
        cut.fixed,
        (0.0, 1.0),
        (0.0, 5.0),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=8.5,
    )


def _cut(result: StudyResult, panel: Panel, shown: Variable) -> _Cut:
    """Bring a result down to what a panel draws."""
    over = [_coordinate(result, name) for name in panel.over]
    lines = _coordinate(result, panel.lines) if panel.lines else None
    least = [_coordinate(result, name) for name in panel.least]
    kept = [*([lines] if lines else []), *over]
    order = [variable.dimensions[0] for variable in kept]
    if len(set(order)) < len(order):
        message = "coordinates that run side by side cannot both be drawn"
        allowed = "coordinates of different dimensions"
        both = ", ".join(variable.name for variable in kept)
        raise InputError(message, file=result.path, value=both, allowed=allowed)
    values = np.array(shown.values)
    failed = result.event != ""
    names = list(result.dimensions)
    for variable in least:
        axis = names.index(variable.dimensions[0])
        good = np.where(failed | ~np.isfinite(values), np.inf, values)
        values = np.min(good, axis=axis)
        values = np.where(np.isinf(values), np.nan, values)
        failed = np.isnan(values)
        names.pop(axis)
    fixed = [f"least over {variable.name}" for variable in least]
    for name in [name for name in names if name not in order]:
        place = _chosen(result, name, panel.at)
        axis = names.index(name)
        values, failed = np.take(values, place, axis), np.take(failed, place, axis)
        names.pop(axis)
        fixed += [
            f"{v.name} {_value(v, place)}"
            for v in result.coordinates.values()
            if v.dimensions == (name,)
        ]
    turn = [names.index(name) for name in order]
    return _Cut(
        over, lines, values.transpose(turn), failed.transpose(turn), ", ".join(fixed)
    )


def _chosen(result: StudyResult, dimension: str, at: dict[str, Any]) -> int:
    """Place along a dimension: the one that is asked for, or the middle."""
    for name, wanted in at.items():
        variable = _coordinate(result, name)
        if variable.dimensions != (dimension,):
            continue
        texts = [_value(variable, place) for place in range(variable.values.size)]
        if isinstance(wanted, str) and wanted in texts:
            return texts.index(wanted)
        if not variable.words and isinstance(wanted, int | float):
            near = np.flatnonzero(np.isclose(variable.values, wanted, rtol=1.0e-9))
            if near.size:
                return int(near[0])
        message = f"the study has no such {name}"
        raise InputError(
            message, file=result.path, value=wanted, allowed=", ".join(texts)
        )
    return result.dimensions[dimension] // 2


def _lines(ax: Axes, cut: _Cut) -> None:
    """Draw a line for every value of the second coordinate."""
    x = _places(cut.over[0])
    rows = cut.values if cut.lines else cut.values[None]
    failed = cut.failed if cut.lines else cut.failed[None]
    stopped = False
    for number, row in enumerate(rows):
        color, mark = _LINE_STYLES[number % len(_LINE_STYLES)]
        label = _value(cut.lines, number) if cut.lines else None
        good = np.where(np.isfinite(row) & ~failed[number], row, np.nan)
        ax.plot(x, good, mark, color=color, markersize=3.5, label=label)
        ended = np.isfinite(row) & failed[number]
        ax.plot(x[ended], row[ended], "x", color=color, markersize=6.0)
        stopped = stopped or bool(ended.any())
    if stopped:
        ax.plot([], [], "x", color=theme.INK, label="the job was stopped")
    if cut.lines or stopped:
        theme.legend_below(ax, 3, title=cut.lines.name if cut.lines else None)


def _continuous(cut: _Cut) -> bool:
    """Whether contours can be drawn: numbers both ways, and two of each."""
    numbers = not any(variable.words for variable in cut.over)
    return numbers and min(cut.values.shape) > 1 and bool(np.isfinite(cut.values).any())


def _map(ax: Axes, cut: _Cut, *, by_factors: bool) -> None:
    """Draw a map with labelled contours."""
    x, y = (np.asarray(v.values, dtype="f8") for v in cut.over)
    values = np.where(np.isfinite(cut.values) & ~cut.failed, cut.values, np.nan).T
    levels = _levels(values, by_factors=by_factors)
    shades = {"cmap": _shades(), "norm": "log" if by_factors else "linear"}
    ax.contourf(x, y, values, levels, extend="both", **shades)
    drawn = ax.contour(x, y, values, levels, colors=theme.INK, linewidths=0.7)
    ax.clabel(drawn, fontsize=8)
    bad = np.isnan(values)
    if bad.any():
        across, up = np.meshgrid(x, y)
        ax.plot(
            across[bad],
            up[bad],
            "x",
            color=theme.RUST,
            markersize=5,
            label=_NO_VALUE_WORDS,
        )
        theme.legend_below(ax, 1)
    ax.grid(visible=False)


def _cells(ax: Axes, cut: _Cut) -> None:
    """Write the numbers into shaded cells."""
    values = np.where(cut.failed, np.nan, cut.values).T
    finite = np.where(np.isfinite(values), values, np.nan)
    ax.imshow(finite, cmap=_shades(), aspect="auto", origin="lower")
    for (row, column), value in np.ndenumerate(values):
        text = "-" if math.isnan(value) else f"{value:.3g}"
        theme.add_note(ax, text, column, row)
    ax.grid(visible=False)
    for axis, variable in ((ax.xaxis, cut.over[0]), (ax.yaxis, cut.over[1])):
        if not variable.words:
            axis.set_ticks(
                range(variable.values.size), [f"{value:g}" for value in variable.values]
            )


def _scatter(ax: Axes, result: StudyResult, panel: Panel, shown: Variable) -> None:
    """Draw the points of a sample; over two coordinates the shade tells the result."""
    over = [_coordinate(result, name) for name in panel.over]
    values = shown.values.ravel()
    good = np.isfinite(values) & (result.event.ravel() == "")
    x = _at_points(over[0], result)
    if len(over) == 1:
        ax.plot(x[good], values[good], "o", color=theme.BLUE, markersize=3.5)
        ax.set_ylabel(_label(shown))
        if _by_factor(panel, values):
            _by_factors(ax.yaxis)
    else:
        y = _at_points(over[1], result)
        drawn = ax.scatter(
            x[good],
            y[good],
            c=values[good],
            cmap=_shades(),
            norm="log" if _by_factor(panel, values) else "linear",
            s=30,
            edgecolors=theme.INK,
            linewidths=0.5,
        )
        bar = theme.root_figure(ax).colorbar(drawn, ax=ax, label=_label(shown))
        if _by_factor(panel, values):
            _ticks_by_factors(bar.ax.yaxis)
        if not good.all():
            ax.plot(x[~good], y[~good], "x", color=theme.RUST, label=_NO_VALUE_WORDS)
            theme.legend_below(ax, 1)
        _axis(ax.yaxis, over[1])
    _axis(ax.xaxis, over[0])


def _at_points(variable: Variable, result: StudyResult) -> Array:
    if not variable.words:
        return at_points(variable, result)
    places = {word: place for place, word in enumerate(_distinct(variable))}
    return np.array([places[str(word)] for word in variable.values])


def _distinct(variable: Variable) -> list[str]:
    return list(dict.fromkeys(str(value) for value in variable.values))


def _axis(axis: Any, variable: Variable, *, scaled: bool = True) -> None:
    """Name an axis, with words where the values are words; ``scaled`` by its values."""
    axis.set_label_text(_name(variable))
    if variable.words:
        words = _distinct(variable)
        axis.set_ticks(range(len(words)), words)
    elif variable.log and scaled:
        _by_factors(axis)


def _by_factor(panel: Panel, values: Array) -> bool:
    """Whether a result is drawn by factors: as asked for, or over a wide range."""
    finite = values[np.isfinite(values)]
    if panel.log is not None or not finite.size:
        return bool(panel.log)
    return bool(finite.min() > 0.0 and finite.max() > WIDE_RATIO * finite.min())


def _by_factors(axis: Any) -> None:
    """Scale an axis by factors."""
    scale = axis.axes.set_xscale if axis.axis_name == "x" else axis.axes.set_yscale
    scale("log")
    _ticks_by_factors(axis)


def _ticks_by_factors(axis: Any) -> None:
    from matplotlib.ticker import FormatStrFormatter, LogLocator, NullLocator

    axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FormatStrFormatter("%g"))


def _places(variable: Variable) -> Array:
    if variable.words:
        return np.arange(variable.values.size)
    return variable.values


def _levels(values: Array, *, by_factors: bool) -> Array:
    from matplotlib.ticker import LogLocator, MaxNLocator

    low, high = np.nanquantile(values, (0.02, 0.98))
    if low == high:
        high = low + 1.0
    locator = LogLocator(subs=(1.0, 1.5, 2.0, 3.0, 5.0, 7.0), numticks=99)
    ticks = (locator if by_factors else MaxNLocator(9)).tick_values(low, high)
    inside = ticks[(ticks >= low) & (ticks <= high)]
    return np.asarray(inside if inside.size > 1 else [low, high])


def _shades() -> Any:
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(
        "pinchline", ["#ffffff", theme.MIST, "#a9cbd0", theme.SEA, "#2f6d72"]
    )


def _name(variable: Variable) -> str:
    unit = unit_words(variable.units)
    return variable.name.replace("_", " ") + (f", {unit}" if unit else "")


def _label(shown: Variable, width: int = 42) -> str:
    unit = unit_words(shown.units)
    return textwrap.fill(shown.long_name + (f", {unit}" if unit else ""), width)


def _value(variable: Variable, place: int) -> str:
    value = variable.values[place]
    if variable.words:
        return str(value)
    return f"{value:g} {unit_words(variable.units)}".rstrip()


def _coordinate(result: StudyResult, name: str) -> Variable:
    keys = {v.key.split()[0]: v for v in result.coordinates.values()}
    return _named(keys | result.coordinates, name, "coordinates", result)


def _named(
    known: dict[str, Variable], name: str, what: str, result: StudyResult
) -> Variable:
    if name in known:
        return known[name]
    hint = did_you_mean(name, list(known), cutoff=0.0)
    message = f"the study has no such name among its {what}{hint}"
    raise InputError(message, file=result.path, value=name, allowed=", ".join(known))

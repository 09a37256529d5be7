"""The spread of a part as text, table and picture."""

from __future__ import annotations

import math
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from pinchline import units
from pinchline.analysis.scatter.inputs import INPUT_DIMENSIONS, INPUT_WORDS
from pinchline.analysis.scatter.part import OPENING
from pinchline.messages import alone
from pinchline.reports.questions.limits import demand_columns
from pinchline.reports.style import theme
from pinchline.results.tables import Column, Table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pinchline.analysis.scatter.inputs import ScatterInput
    from pinchline.analysis.scatter.scatter import Scatter
    from pinchline.units import System

QUANTILE_LEVELS = (0.05, 0.5, 0.95)
LEAST_SHARE = 0.01  # of a spread: an input that explains less is not worth a word
SHARED_SHARE = 0.05  # alone and with others, of the spread: worth telling both
MOST_RANKED = 4
TEXT_WIDTH = 79
# how what matters most is found out
MEASURING_HOW = {
    "thickness": "with a micrometer, at both edges",
    "yield_strength": "roll a scrap strip, or have a strip pulled",
    "tangent_modulus": "roll scrap strips at two lifts, or have a strip pulled",
    "youngs_modulus": "have a strip pulled",
    "clamp": "note how far the screws of the nip are turned down",
    "friction": "wipe sheet and rolls dry and clean",
    "touch": "feel for it with a strip of paper, at both ends",
    "lift": "set it with gauge blocks, at both ends",
}
MOST_DRAWN = 3  # opening and the two radii
HISTOGRAM_BINS = 40
AXIS_END_SHARE = 0.004  # of the parts that lie beyond either end of the axis
MOST_BARS = 6
BAR_STYLES = ((theme.BLUE, ""), (theme.SEA, ""), (theme.GOLD, "////"))


def scatter_table(scatter: Scatter, title: str) -> Table:
    """Give every part as a row: its inputs, what is measured of it, whether made."""
    columns = [
        Column(
            f"input_{one.key}",
            _unit(INPUT_DIMENSIONS[one.key]),
            _input_words(one),
            scatter.points[:, number],
        )
        for number, one in enumerate(scatter.inputs)
    ]
    columns += [
        Column(
            q.name,
            _unit(q.dimension),
            q.words,
            scatter.check.line(number).at(scatter.quick[:, number]),
        )
        for number, q in enumerate(scatter.quantities)
    ]
    completed = scatter.made.astype(np.float64)
    columns.append(Column("made", "1", "1 where no limit ends the job", completed))
    limits = np.array([str(limit or "") for limit in scatter.limits], dtype=object)
    columns.append(Column("limit", "1", "what ends the job", limits))
    columns += demand_columns(scatter.demands)
    about: dict[str, str | float | int] = {"title": title, "seed": scatter.seed}
    for number, q in enumerate(scatter.quantities):
        about[f"{q.name}_stated"] = float(scatter.stated[number])
        for level in QUANTILE_LEVELS:
            name = f"{q.name}_{100.0 * level:.0f}_percent"
            about[name] = scatter.quantile(number, level)
        for place, one in enumerate(scatter.inputs):
            about[f"{q.name}_first_{one.key}"] = float(scatter.first[number, place])
            about[f"{q.name}_total_{one.key}"] = float(scatter.total[number, place])
    if scatter.allowed:
        about["within_tolerance"] = scatter.within
    return Table("pinchline-scatter", "part", tuple(columns), about)


def _unit(dimension: units.Dimension | None) -> str:
    if dimension is None:
        return "1"
    internal = {size: name for name, size in units.FACTORS[dimension].items()}
    return internal[1.0]


def _input_words(one: ScatterInput) -> str:
    if one.key == "lift":
        return "error of the setting of the lift that is farthest off"
    if one.key == "touch":
        return "error of the touch of the rear roll"
    return INPUT_WORDS[one.key]


def scatter_words(scatter: Scatter, title: str, system: System) -> str:
    """Report inputs, spread of the parts, what to measure first, and the accuracy."""
    count = scatter.made.size
    lines = [title, "", "What scatters", ""]
    lines += [_input_line(one, system) for one in scatter.inputs]
    lines += ["", f"Of {count} parts nine in ten come out", ""]
    lines.append(f"{'':26}{'from':>12}{'middle':>12}{'to':>12}{'as stated':>14}")
    lines += [_quantity_line(scatter, number, system) for number in _shown(scatter)]
    notes = [
        *_stated_words(scatter, system),
        *_tolerance_words(scatter, system),
        *_limit_words(scatter),
    ]
    lines += ["", *(line for text in notes for line in wrap(text, TEXT_WIDTH))]
    lines += ["", "What to measure first", ""]
    lines += [
        line
        for number in _shown(scatter)
        for line in wrap(ranking_words(scatter, number), TEXT_WIDTH)
    ]
    sure = " ".join(_accuracy_words(scatter, system))
    return "\n".join([*lines, "", *wrap(sure, TEXT_WIDTH)])


def _shown(scatter: Scatter) -> range:
    return range(len(scatter.quantities))


def _amount(
    value: float, dimension: units.Dimension | None, system: System, count: int = 3
) -> str:
    """Say a small amount to so many figures: shop decimals would lose it in inches."""
    if dimension is None:
        return units.figures(value, count)
    unit, size, _ = units.display_unit(dimension, system)
    return f"{units.figures(value / size, count)} {unit}"


def _input_line(one: ScatterInput, system: System) -> str:
    dimension = INPUT_DIMENSIONS[one.key]
    set_by_hand = one.key in ("touch", "lift")
    middle = "" if set_by_hand else _amount(one.middle, dimension, system)
    wide = _amount(one.spread, dimension, system, 2)
    spread = f"within {wide}" if one.law == "even" else f"sd {wide}"
    cells = f"  {INPUT_WORDS[one.key]:<22}{middle:>12}  {spread:<17}"
    own = wrap(alone(one.origin, system), TEXT_WIDTH - 36)
    return f"\n{'':55}".join([f"{cells} {own[0]}", *own[1:]])


def _size_words(value: float, dimension: units.Dimension, system: System) -> str:
    return "flat" if math.isinf(value) else units.format(value, dimension, system)


def _quantity_line(scatter: Scatter, number: int, system: System) -> str:
    q = scatter.quantities[number]
    values = [scatter.quantile(number, level) for level in QUANTILE_LEVELS]
    cells = [
        _size_words(v, q.dimension, system) for v in (*values, scatter.stated[number])
    ]
    return (
        f"  {q.words:<24}" + "".join(f"{c:>12}" for c in cells[:3]) + f"{cells[3]:>14}"
    )


def _stated_words(scatter: Scatter, system: System) -> Iterator[str]:
    """Say where the job as the case states it lies among the parts."""
    values = scatter.values(OPENING)
    stated = float(scatter.stated[OPENING])
    below = float(np.mean(values < stated)) if values.size else 0.5
    moved = [one for one in scatter.inputs if abs(one.middle - one.stated) > one.spread]
    if QUANTILE_LEVELS[0] <= below <= QUANTILE_LEVELS[-1] or not moved:
        return
    one = moved[0]
    side = "more" if below > 0.5 else "less"
    yield (
        f"As the case states it the part opens "
        f"{units.format(stated, 'length', system)}, {side} than "
        f"{100.0 * max(below, 1.0 - below):.0f} % of the parts: it takes "
        f"{_amount(one.stated, INPUT_DIMENSIONS[one.key], system)} for the "
        f"{INPUT_WORDS[one.key]}, where the middle is "
        f"{_amount(one.middle, INPUT_DIMENSIONS[one.key], system)}. Roll a scrap strip "
        "before the job."
    )


def _tolerance_words(scatter: Scatter, system: System) -> Iterator[str]:
    if not scatter.allowed:
        return
    tolerances = ", ".join(
        f"{scatter.quantities[a.quantity].words} "
        f"{units.format(a.wanted, scatter.quantities[a.quantity].dimension, system)} "
        f"\u00b1 "
        f"{_amount(a.tolerance, scatter.quantities[a.quantity].dimension, system)}"
        for a in scatter.allowed
    )
    share = 100.0 * scatter.within
    yield f"Within tolerance are {share:.0f} % of the jobs ({tolerances})."


def _limit_words(scatter: Scatter) -> Iterator[str]:
    if scatter.stops:
        kinds = ", ".join(f"{s.kind} {100.0 * s.share:.2g} %" for s in scatter.stops)
        yield f"A limit of the machine ends some of the jobs: {kinds}."


def ranked_inputs(
    scatter: Scatter, number: int
) -> list[tuple[ScatterInput, float, float]]:
    """Sort inputs by what each explains of a quantity, alone and with others."""
    rows = zip(
        scatter.inputs, scatter.first[number], scatter.total[number], strict=True
    )
    known = [(one, float(f), float(t)) for one, f, t in rows if math.isfinite(t)]
    return sorted(known, key=lambda row: -row[2])


def ranking_words(scatter: Scatter, number: int) -> str:
    """Say in words what makes most of the spread of a quantity."""
    name = scatter.quantities[number].words.capitalize()
    rows = [row for row in ranked_inputs(scatter, number) if row[2] >= LEAST_SHARE]
    if not rows:
        return f"{name}: what makes its spread is not known."
    shares = [
        f"{INPUT_WORDS[one.key]} {_share(f, t)}" for one, f, t in rows[:MOST_RANKED]
    ]
    if number != OPENING:
        return f"{name}: {', '.join(shares)}."
    one, alone, together = rows[0]
    text = (
        f"Opening: the {INPUT_WORDS[one.key]} first ({MEASURING_HOW[one.key]}): it "
        "explains "
        f"{_share(alone, together)} of the spread."
    )
    return f"{text} Then {', '.join(shares[1:])}." if shares[1:] else text


def _share(alone: float, together: float) -> str:
    alone = min(max(alone, 0.0), 1.0)
    if together - alone > SHARED_SHARE:
        return f"{100.0 * alone:.0f} %, with others {100.0 * together:.0f} %"
    return f"{100.0 * alone:.0f} %"


def _accuracy_words(scatter: Scatter, system: System) -> Iterator[str]:
    """Report the error of the response surfaces against the solvers."""
    if scatter.runs:
        yield (
            "How sure: the job bends sheet that it has bent before, of which the span "
            f"solver knows nothing. So {scatter.runs} runs of the stepped solver, one "
            "thing off in each, say what it does to every place of the sheet."
        )
    else:
        error = scatter.check.surface_error(OPENING)
        yield (
            f"How sure: the passes come from surfaces through {scatter.solutions} "
            f"solutions of the span solver; asked itself at "
            f"{scatter.check.span.shape[0]} of the parts, it differs by "
            f"{_amount(error, 'length', system, 2)} (rms) in the opening."
        )
    line = scatter.check.line(OPENING)
    sources = [scatter.check.line(number).told for number in _shown(scatter)]
    names = [q.words for q in scatter.quantities]
    if line.points == 0:
        yield "The stepped solver was not asked at other sheets."
    else:
        yield f"The stepped solver rolled {line.points} of the jobs whole."
    if line.used:
        middle = float(np.median(scatter.quick[scatter.made, OPENING]))
        shift = abs(scatter.quantile(OPENING, 0.5) - middle)
        yield (
            f"It goes with the quick answers (correlation {line.together:.3f} in the "
            f"opening) and corrects them, the middle of the opening by "
            f"{_amount(shift, 'length', system, 2)}."
        )
    plain = [n for n, how in zip(names, sources, strict=True) if how == "quick"]
    if plain and line.points:
        yield f"Not corrected: {', '.join(plain)}."
    alone = [n for n, how in zip(names, sources, strict=True) if how == "stepped"]
    if alone:
        yield (
            f"Of {', '.join(alone)} the quick answers are no good: those are told, "
            "roughly, from the few stepped jobs alone; more --checks tell them better."
        )


def scatter_picture(scatter: Scatter, title: str, system: System = "metric") -> Figure:
    """Draw a histogram of each quantity, and the share each input explains of it."""
    with theme.project_style():
        fig = theme.figure(9.6, 6.4)
        theme.set_heading(fig, f"How far parts spread: {title}")
        grid = fig.add_gridspec(2, MOST_DRAWN, height_ratios=(1.0, 1.05))
        for number in range(MOST_DRAWN):
            _histogram(fig.add_subplot(grid[0, number]), scatter, number, system)
        _effect_bars(fig.add_subplot(grid[1, :]), scatter)
        return fig


def _histogram(ax: Axes, scatter: Scatter, number: int, system: System) -> None:
    """Draw the histogram of a quantity."""
    q = scatter.quantities[number]
    unit, size, _ = units.display_unit(q.dimension, system)
    values = scatter.values(number)
    values = values[np.isfinite(values)] / size
    ax.set_xlabel(f"{q.words}, {unit}")
    ax.set_yticks([])
    ax.grid(visible=False)
    if values.size == 0 or float(np.ptp(values)) == 0.0:
        theme.set_title(ax, q.words.capitalize(), "the same in all parts")
        return
    stated = float(scatter.stated[number]) / size
    cuts = (AXIS_END_SHARE, 1.0 - AXIS_END_SHARE)
    low, high = (float(np.quantile(values, e)) for e in cuts)
    room = 0.06 * (high - low)
    targets = [one for one in scatter.allowed if one.quantity == number]
    bounds = [one.wanted + sign * one.tolerance for one in targets for sign in (-1, 1)]
    shown = [*(end / size for end in bounds), stated]
    shown = [value for value in shown if math.isfinite(value)]
    low, high = min([low, *shown]), max([high, *shown])
    ax.set_xlim(low - room, high + room)
    counts, edges = np.histogram(values, HISTOGRAM_BINS, (low - room, high + room))
    ends = [float(np.quantile(values, level)) for level in QUANTILE_LEVELS]
    ax.axvspan(ends[0], ends[-1], **theme.ZONE_STYLE, zorder=0.4)
    ax.stairs(counts, edges, fill=True, color=theme.BLUE, alpha=0.85)
    top = 1.16 * float(np.max(counts))
    ax.set_ylim(0.0, top)
    ax.axvline(stated, **theme.LINE_STYLES["loaded"])
    for end in bounds:
        ax.axvline(end / size, **theme.LINE_STYLES["bound"])
    said = [units.figures(e, 3) for e in (ends[0], ends[-1])]
    theme.set_title(
        ax, q.words.capitalize(), f"nine in ten: {said[0]} to {said[1]} {unit}"
    )


def _effect_bars(ax: Axes, scatter: Scatter) -> None:
    """Draw the share of each quantity's spread that every input explains."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    keys = [
        one.key
        for one, _, total in ranked_inputs(scatter, OPENING)
        if total >= LEAST_SHARE
    ]
    keys = keys[:MOST_BARS] or [one.key for one in scatter.inputs][:MOST_BARS]
    place = {one.key: i for i, one in enumerate(scatter.inputs)}
    height = 0.8 / MOST_DRAWN
    handles: list[Patch | Line2D] = []
    for number in range(MOST_DRAWN):
        color, hatch = BAR_STYLES[number]
        at = np.arange(len(keys)) + (number - 1) * height
        own = [place[key] for key in keys]
        total = 100.0 * np.nan_to_num(scatter.total[number, own])
        alone = 100.0 * np.clip(np.nan_to_num(scatter.first[number, own]), 0.0, None)
        ax.barh(at, total, 0.86 * height, color="white", edgecolor=color, lw=1.0)
        ax.barh(at, alone, 0.86 * height, color=color, hatch=hatch, edgecolor="white")
        handles.append(
            Patch(facecolor=color, hatch=hatch, edgecolor="white",
                  label=scatter.quantities[number].words)
        )  # fmt: skip
    handles += [
        Patch(facecolor="white", edgecolor=theme.INK, label="outline: with others"),
        Line2D([], [], **theme.LINE_STYLES["loaded"], label="above: part as stated"),
    ]
    if any(one.quantity < MOST_DRAWN for one in scatter.allowed):
        bound = Line2D([], [], **theme.LINE_STYLES["bound"], label="above: tolerance")
        handles.append(bound)
    ax.set_yticks(range(len(keys)), [INPUT_WORDS[key] for key in keys])
    ax.tick_params(axis="y", length=0.0)
    ax.invert_yaxis()
    ax.set_xlim(0.0, 100.0)
    ax.set_xlabel("per cent of the spread that it explains")
    ax.grid(visible=False, axis="y")
    theme.set_title(ax, "What to measure first", "alone, and together with the others")
    ax.legend(handles=handles, loc="lower right")

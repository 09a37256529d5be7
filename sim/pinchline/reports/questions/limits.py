"""Radius against lift and what binds it, as text, table and picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline import units
from pinchline.case.demand import RATED_QUANTITIES, LimitKind
from pinchline.reports.style import theme
from pinchline.results.tables import Column, Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pinchline.analysis.limits.limits import DirectionLimits, Limits
    from pinchline.analysis.limits.single_pass import SinglePass
    from pinchline.case.demand import Demand
    from pinchline.units import System

_NUMBER_COLUMNS = (
    ("lift", "mm", "lift of the rear roll from touch"),
    ("radius", "mm", "residual radius of the mid-line, infinite where none remains"),
    ("loaded", "mm", "radius under the rolls"),
    ("strain", "1", "largest surface strain"),
)
_OPENING_COLUMN = ("nip_opening", "mm", "largest opening of the nip")


def limits_table(limits: Limits, title: str) -> Table:
    """Give every pass as a row: forward ones first, by rising lift."""
    passes = [p for direction in limits.ways for p in direction.passes]

    def own(name: str, unit: str, words: str) -> Column:
        return Column(name, unit, words, np.array([getattr(p, name) for p in passes]))

    columns = [own(*number) for number in _NUMBER_COLUMNS]
    columns += demand_columns([p.demand for p in passes])
    columns += [
        own(*_OPENING_COLUMN),
        Column("toward", "1", "the way it is fed", _text(p.way for p in passes)),
        Column(
            "limit",
            "1",
            "what forbids or ends it",
            _text(str(p.limit or "") for p in passes),
        ),
    ]
    return Table("pinchline-limits", "pass", tuple(columns), {"title": title})


def demand_columns(demands: Sequence[Demand]) -> list[Column]:
    """Columns of what passes demand, as far as a machine can be rated for it."""
    return [
        Column(
            q.name, q.unit, q.in_pass, np.array([getattr(d, q.name) for d in demands])
        )
        for q in RATED_QUANTITIES
    ]


def _text(words: object) -> np.ndarray:
    return np.array(list(words), dtype=object)  # type: ignore[call-overload]


def limits_words(limits: Limits, title: str, system: System) -> str:
    """Report the tightest radius in each feed direction, its limit, and every pass."""
    lines = [title, ""]
    lines += [_answer(direction, limits, system) for direction in limits.ways]
    lines += [
        "",
        "         lift      radius   under rolls    grip left   what it meets",
    ]
    for direction in limits.ways:
        lines.append(f"fed toward the {direction.way}")
        for p in direction.passes:
            lengths = (_say(value, system) for value in (p.lift, p.radius, p.loaded))
            grip = units.format(p.demand.grip_margin, "line_force", system)
            row = "".join(f"{cell:>13}" for cell in (*lengths, grip))
            lines.append(f"{row}   {p.limit or ''}".rstrip())
    lines += ["", "Radii of the mid-line; the inside is half a thickness tighter."]
    return "\n".join(lines)


def _say(value: float, system: System) -> str:
    return "flat" if math.isinf(value) else units.format(value, "length", system)


def _answer(direction: DirectionLimits, limits: Limits, system: System) -> str:
    start = f"fed toward the {direction.way}: "
    p = direction.tightest
    if p is None:
        return f"{start}no pass leaves a set ({direction.binds or ''})"
    tight = f"{start}tightest {_say(p.radius, system)} at {_say(p.lift, system)} lift"
    if direction.binds == LimitKind.WRAP:
        return f"{tight}; it lies on the upper roll (wrap): more lift does nothing"
    if direction.binds == limits.end:
        return f"{tight}; the machine ends there ({limits.end})"
    at = "" if math.isnan(direction.beyond) else f" at {_say(direction.beyond, system)}"
    return f"{tight}; beyond it: {direction.binds}{at}"


def limits_picture(limits: Limits, title: str, system: System = "metric") -> Figure:
    """Draw radius against lift in both feed directions, with refused passes marked."""
    from matplotlib.ticker import FormatStrFormatter, LogLocator, NullLocator

    length, size, _ = units.display_unit("length", system)
    with theme.project_style():
        fig = theme.figure(7.6, 5.4)
        ax = fig.subplots()
        for direction, color, mark in zip(
            limits.ways, (theme.BLUE, theme.RUST), ("o-", "s--"), strict=True
        ):
            _draw_feed(ax, direction, color, mark, size)
        ax.axvline(
            limits.longest / size, color=theme.INK, ls=":", lw=1.0, label=limits.end
        )
        ax.set_yscale("log")
        ax.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.yaxis.set_minor_locator(NullLocator())
        ax.yaxis.set_major_formatter(FormatStrFormatter("%g"))
        ax.set_ylabel(f"residual radius, {length}")
        ax.set_xlabel(f"lift from touch, {length}")
        ax.set_xlim(0.0, 1.03 * limits.longest / size)
        theme.set_title(ax, "How tight it can be rolled", title)
        theme.legend_below(ax, 2)
        return fig


def _draw_feed(
    ax: Axes, direction: DirectionLimits, color: str, mark: str, size: float
) -> None:
    """Draw one feed direction, broken at refused passes; ``size``: of the unit, mm."""
    lifts = [p.lift / size for p in direction.passes]
    radii = [
        p.radius / size if p.possible and math.isfinite(p.radius) else math.nan
        for p in direction.passes
    ]
    ax.plot(lifts, radii, mark, color=color, label=f"fed toward the {direction.way}")
    bad = [p for p in direction.passes if not p.possible]
    if bad and not np.all(np.isnan(radii)):
        under = [0.93 * float(np.nanmin(radii))] * len(bad)
        words = f"cannot be made: {_kinds(bad)}"
        ax.plot([p.lift / size for p in bad], under, "x", color=color, label=words)


def _kinds(passes: list[SinglePass]) -> str:
    return ", ".join(dict.fromkeys(p.limit for p in passes if p.limit))

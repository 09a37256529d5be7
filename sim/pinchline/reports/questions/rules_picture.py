"""The picture of how far hand rules are off, over lift, radius, thickness, temper."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline import units
from pinchline.analysis.rules import rule_book as book
from pinchline.analysis.rules.pure_bending import (
    FAIR_RULE_ERROR,
    GOOD_RULE_ERROR,
    SPRINGBACK_RULES,
    good_intervals,
)
from pinchline.reports.style import theme

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pinchline.analysis.rules.comparison import RuleComparison
    from pinchline.analysis.rules.pure_bending import RulePoint
    from pinchline.units import System

RULE_STYLES = {
    "cubic": (theme.GOLD, (0, (6, 1.4, 1.2, 1.4))),
    "cubic wide": (theme.SEA, (0, (5, 1.6))),
    "plastic": (theme.RUST, (0, (1, 1.5))),
    "hardening": (theme.BLUE, "-"),
}
RULE_NAMES = {
    "cubic": "cubic",
    "cubic wide": "cubic, wide sheet",
    "plastic": "perfectly plastic",
    "hardening": "with hardening",
}
DIRECTION_STYLES = {"rear": (theme.BLUE, "o"), "operator": (theme.RUST, "s")}
# thicknesses on an axis
SHEET_GAUGES: dict[System, tuple[float, ...]] = {
    "metric": (0.4, 0.6, 1.0, 1.6, 2.5, 4.0),
    "inch": (0.016, 0.025, 0.04, 0.063, 0.09, 0.125, 0.19),
}
MAX_ERROR_PERCENT = 30.0  # per cent of error that is drawn


def rules_picture(
    comparison: RuleComparison, title: str, system: System = "metric"
) -> Figure:
    """Draw the errors of the rules, a panel for each kind."""
    with theme.project_style():
        fig = theme.figure(10.6, 11.4)
        axes = fig.subplots(3, 2)
        theme.set_heading(fig, f"How far the hand rules are off: {title}")
        panels: tuple[Callable[[Axes, RuleComparison, System], None], ...] = (
            _circles, _springback, _reach, _diameter, _flats, _lengths,
        )  # fmt: skip
        for ax, panel in zip(axes.flat, panels, strict=True):
            panel(ax, comparison, system)
        return fig


def _errors(points: list[RulePoint]) -> tuple[list[float], list[float]]:
    """Places and errors in per cent, by rising place; NaN where there is no number."""
    rising = sorted(points, key=lambda p: p.at)
    errors = [100.0 * p.error if math.isfinite(p.model) else math.nan for p in rising]
    return [p.at for p in rising], [e if math.isfinite(e) else math.nan for e in errors]


def _bands(ax: Axes) -> None:
    """Shade the errors of 5 and of 10 per cent."""
    ax.axhspan(
        -100.0 * FAIR_RULE_ERROR, 100.0 * FAIR_RULE_ERROR, color=theme.PALE, zorder=0.5
    )
    ax.axhspan(
        -100.0 * GOOD_RULE_ERROR, 100.0 * GOOD_RULE_ERROR, color=theme.MIST, zorder=0.6
    )
    ax.axhline(0.0, **theme.LINE_STYLES["guide"])


def _circles(ax: Axes, comparison: RuleComparison, system: System) -> None:
    """Draw the circle's radius over the model's against lift, both ways."""
    length, size, _ = units.display_unit("length", system)
    ax.axhspan(
        1.0 - FAIR_RULE_ERROR, 1.0 + FAIR_RULE_ERROR, color=theme.PALE, zorder=0.5
    )
    ax.axhspan(
        1.0 - GOOD_RULE_ERROR, 1.0 + GOOD_RULE_ERROR, color=theme.MIST, zorder=0.6
    )
    for direction, (color, mark) in DIRECTION_STYLES.items():
        for of, line, fill in (
            ("radius under rolls", "--", "white"),
            ("free radius", "-", color),
        ):
            points = [
                p for p in comparison.of("circle") if (p.way, p.of) == (direction, of)
            ]
            at, errors = _errors(points)
            ratios = [1.0 + 0.01 * e for e in errors]
            ax.plot(
                [lift / size for lift in at], ratios,
                marker=mark, ls=line, color=color, mfc=fill, ms=4.0,
                label=f"over {of}, toward the {direction}",
            )  # fmt: skip
    ax.set_ylim(0.0, 3.0)
    ax.set_xlabel(f"lift from touch, {length}")
    ax.set_ylabel("circle's radius over the model's")
    theme.set_title(ax, "Circle through three rolls", "shaded: within 5 and 10 %")
    theme.legend_below(ax, 1)


def _springback(ax: Axes, comparison: RuleComparison, _system: System) -> None:
    """Draw the error of the free radius against R/t, one line a gauge."""
    _bands(ax)
    for rule in SPRINGBACK_RULES:
        color, line = RULE_STYLES[rule]
        points = [
            p
            for p in comparison.of(rule)
            if p.axis == "R/t" and p.material == comparison.material and not p.outside
        ]
        for i, t in enumerate(dict.fromkeys(p.thickness for p in points)):
            at, errors = _errors([p for p in points if p.thickness == t])
            label = RULE_NAMES[rule] if i == 0 else None
            ax.plot(at, errors, color=color, linestyle=line, lw=1.6, label=label)
    ax.set_ylim(-MAX_ERROR_PERCENT, MAX_ERROR_PERCENT)
    ax.set_xscale("log")
    _ratio_ticks(ax)
    ax.set_ylabel("error of the free radius, %")
    subject = (
        f"pure bending of {comparison.material}, every gauge; inside their own range"
    )
    theme.set_title(ax, "Springback", subject)
    theme.legend_below(ax, 2)


def _ratio_ticks(ax: Axes) -> None:
    from matplotlib.ticker import FixedLocator, FormatStrFormatter, NullLocator

    ax.xaxis.set_major_locator(FixedLocator([1, 2, 5, 10, 20, 30, 50, 100, 200, 300]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FormatStrFormatter("%g"))
    ax.set_xlabel("R/t under the rolls")


def _reach(ax: Axes, comparison: RuleComparison, _system: System) -> None:
    """Draw up to which R/t each springback rule is good, temper by temper."""
    from matplotlib.patches import Patch

    tempers = list(
        dict.fromkeys(p.material for p in comparison.of("cubic") if p.axis == "R/t")
    )
    height = 0.8 / len(SPRINGBACK_RULES)
    for row, temper in enumerate(tempers):
        for i, rule in enumerate(SPRINGBACK_RULES):
            points = [p for p in comparison.of(rule) if p.axis == "R/t"]
            here = [p for p in points if p.material == temper]
            y = row + (1.5 - i) * height
            for within, alpha in ((FAIR_RULE_ERROR, 0.4), (GOOD_RULE_ERROR, 1.0)):
                for low, high in good_intervals(here, within):
                    ax.barh(
                        y, max(high - low, 0.02 * low), height, low,
                        color=RULE_STYLES[rule][0], alpha=alpha,
                    )  # fmt: skip
    ax.set_yticks(range(len(tempers)), tempers)
    ax.set_xscale("log")
    ax.set_xlim(19.0, 310.0)
    _ratio_ticks(ax)
    ax.grid(visible=False, axis="y")
    subject = "pure bending, soft below, hard above; full 5 %, pale 10 %"
    theme.set_title(ax, "Where a springback rule is good", subject)
    key = [
        Patch(color=RULE_STYLES[rule][0], label=RULE_NAMES[rule])
        for rule in SPRINGBACK_RULES
    ]
    theme.legend_below(ax, 2, handles=key)


def _diameter(ax: Axes, comparison: RuleComparison, system: System) -> None:
    """Draw the tightest inside diameter over the roll's against thickness."""
    from matplotlib.ticker import FixedLocator, FormatStrFormatter, NullLocator

    length, size, _ = units.display_unit("length", system)
    ax.axhspan(
        *book.TIGHTEST_DIAMETER_RATIO, label="the rule: 1.2 to 1.5", **theme.FLAT_STYLE
    )
    points = [p for p in comparison.of("diameter") if not p.job]
    tempers = list(dict.fromkeys(p.material for p in points))
    shades = np.linspace(0.75, 0.1, len(tempers))
    for i, temper in enumerate(tempers):
        here = [p for p in points if p.material == temper]
        own = temper == comparison.material
        color = theme.BLUE if own else str(shades[i])
        ax.plot(
            [p.thickness / size for p in here], [p.model for p in here],
            marker=".", lw=2.2 if own else 1.0, color=color,
            label=temper if own or i in (0, len(tempers) - 1) else None,
        )  # fmt: skip
    for p in comparison.job:
        if p.rule == "diameter" and math.isfinite(p.model):
            ax.plot(
                p.thickness / size,
                p.model,
                "D",
                color=theme.RUST,
                label="this job, rolled",
            )
    ax.set_xscale("log")
    ax.set_ylim(0.9, 2.6)
    ax.xaxis.set_major_locator(FixedLocator(SHEET_GAUGES[system]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FormatStrFormatter("%g"))
    ax.set_xlabel(f"thickness, {length}")
    ax.set_ylabel("inside diameter over the roll's")
    subject = "sprung back from the upper roll; all cards, paler softer"
    theme.set_title(ax, "Tightest diameter", subject)
    theme.legend_below(ax, 2)


def _flats(ax: Axes, comparison: RuleComparison, system: System) -> None:
    """Draw the model's flats against lift, beside what the rules say."""
    length, size, _ = units.display_unit("length", system)
    lifts = [f.lift / size for f in comparison.flats]
    ax.plot(
        lifts, [f.lead_in / size for f in comparison.flats], "o-", color=theme.BLUE,
        label="lead-in, straightedge",
    )  # fmt: skip
    ax.plot(
        lifts, [f.run_out / size for f in comparison.flats], "s--", color=theme.RUST,
        label="run-out, straightedge",
    )  # fmt: skip
    ax.plot(
        lifts, [f.unbent / size for f in comparison.flats], "^:", color=theme.INK,
        label="run-out, moment",
    )  # fmt: skip
    for rule, words, x, side in (
        ("lead-in", "rule: nip to rear roll", 0.98, "right"),
        ("lead-in half", "rule: half of it (pyramid set)", 0.02, "left"),
    ):
        for p in comparison.of(rule)[:1]:
            ax.axhline(p.low / size, color=theme.SEA, lw=1.0)
            across = ax.get_yaxis_transform()
            theme.add_note(ax, words, x, p.low / size, ha=side, transform=across)
    for p in comparison.of("run-out")[:1]:
        ax.axhspan(
            p.low / size, p.high / size, label="rule: 0.8 to 5 t", **theme.FLAT_STYLE
        )
    ax.set_ylim(0.0, None)
    ax.set_xlabel(f"lift from touch, {length}")
    ax.set_ylabel(f"flat, {length}")
    subject = "one pass toward the rear until the nip just holds the sheet"
    theme.set_title(ax, "Edge flats", subject)
    theme.legend_below(ax, 2)


def _lengths(ax: Axes, comparison: RuleComparison, _system: System) -> None:
    """Draw the errors of bend allowance and of surface strain against R/t."""
    _bands(ax)
    for rule, color, line in (
        ("allowance", theme.BLUE, "-"),
        ("allowance k", theme.SEA, "--"),
    ):
        at, errors = _errors([p for p in comparison.of(rule) if not p.job])
        ax.plot(at, errors, color=color, ls=line, label=book.RULES[rule].name)
    points = [p for p in comparison.of("strain") if p.axis == "R/t"]
    tempers = list(dict.fromkeys(p.material for p in points))
    for temper, color, line in (
        (tempers[0], theme.GOLD, "-"),
        (comparison.material, theme.RUST, "--"),
        (tempers[-1], theme.INK, ":"),
    ):
        here = [p for p in points if p.material == temper]
        first = [p for p in here if p.thickness == here[0].thickness]
        at, errors = _errors(first)
        ax.plot(at, errors, color=color, ls=line, label=f"strain of the part, {temper}")
    ax.set_ylim(-100.0, MAX_ERROR_PERCENT)
    ax.set_xscale("log")
    _ratio_ticks(ax)
    ax.set_xlabel("R/t: inside for the allowance, under the rolls for the strain")
    ax.set_ylabel("error, %")
    theme.set_title(ax, "Bend allowance and surface strain", "pure bending")
    theme.legend_below(ax, 1)

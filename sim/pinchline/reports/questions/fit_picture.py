"""Measured beside predicted: curvature left over lift, each way, before and after."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline import units
from pinchline.analysis.fitting.advise import Forecast
from pinchline.analysis.fitting.solution import NINETY_FIVE
from pinchline.analysis.limits.single_pass import longest_lift
from pinchline.reports.style import theme

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pinchline.analysis.fitting.advise import Advice
    from pinchline.analysis.fitting.solution import Fit
    from pinchline.analysis.limits.single_pass import Way
    from pinchline.units import System

LIFTS = 14  # of a line
BEYOND = 4.0  # mm of lift past the outermost strip
_WAYS: tuple[Way, ...] = ("rear", "operator")


def fit_picture(found: Fit, advice: Advice | None, system: System) -> Figure:
    """Draw the strips on the bands of card and fit, a panel for each way."""
    size = units.shop_unit("length", system)[1]
    unit = units.shop_unit("length", system)[0]
    forecast = Forecast(found)
    with theme.applied():
        fig = theme.figure(9.4, 5.2)
        panels = fig.subplots(1, 2, sharey=True)
        top = 0.0
        for ax, way in zip(panels, _WAYS, strict=True):
            top = max(top, _panel(ax, found, forecast, way, size))
            if advice is not None and advice.worth and advice.way == way:
                at = 1.0 / advice.radius * size
                ax.plot(advice.lift / size, at, "o", mfc="none", mec=theme.SEA, ms=11,
                        mew=1.8, label="roll next")  # fmt: skip
            ax.set_title(f"fed toward the {way}")
            ax.set_xlabel(f"lift by the screws' scale, {unit}")
        panels[0].set_ylim(0.0, 1.15 * top)
        panels[0].set_ylabel(f"curvature left, 1/{unit}")
        theme.radius_axis(panels[1], unit)
        _legend(panels)
        theme.headed(fig, f"Measured beside predicted: {found.case.title}")
        return fig


def _legend(panels: Sequence[Axes]) -> None:
    """Explain what either panel shows, once."""
    found: dict[str, Any] = {}
    for ax in panels:
        handles, words = ax.get_legend_handles_labels()
        found |= dict(zip(words, handles, strict=True))
    theme.legend_below(panels[0], 2, handles=[*found.values()], labels=[*found])


def _panel(ax: Axes, found: Fit, forecast: Forecast, way: Way, size: float) -> float:
    """Draw bands, lines and strips of one way; returns the highest curvature shown."""
    lifts = _lifts(found, way)
    card, fitted = (
        np.array([forecast.band(float(lift), way, prior=prior) for lift in lifts])
        for prior in (True, False)
    )
    top = _strips(ax, found, way, size)
    for rows, color, style, words in (
        (card, theme.STRAW, (0, (5, 1.6)), "by the card"),
        (fitted, theme.BLUE, "-", "fitted"),
    ):
        good = np.all(np.isfinite(rows), axis=1)
        x, (y, low, high) = lifts[good] / size, size * rows[good].T
        shade: dict[str, Any] = {"color": color, "alpha": 0.3, "lw": 0.0}
        ax.fill_between(x, low, high, label=f"{words}, 95 %", **shade)
        ax.plot(x, y, color=color, ls=style, lw=1.6, label=words)
        top = max(top, float(np.max(y, initial=0.0)))
    return top


def _lifts(found: Fit, way: Way) -> np.ndarray:
    """Lifts (mm) to draw: about the strips, or of the other way where it has none."""
    own = [v for v, s in zip(found.lifts, found.strips, strict=True) if s.way == way]
    longest, _ = longest_lift(found.best)
    most = 0.97 * min(longest, found.best.machine.rear.travel)
    if not own:
        own = list(found.lifts)
    start, end = max(0.2 * most, min(own) - BEYOND), min(most, max(own) + BEYOND)
    return np.linspace(start, max(end, start + 1.0), LIFTS)


def _strips(ax: Axes, found: Fit, way: Way, size: float) -> float:
    strange = {name for name, _ in found.strange}
    top, named = 0.0, False
    for strip, lift, (k, _), error in zip(
        found.strips, found.lifts, found.curvatures, _errors(found), strict=True
    ):
        if strip.way != way or math.isnan(k):
            continue
        color = theme.RUST if strip.name in strange else theme.INK
        ax.errorbar(
            lift / size,
            k * size,
            yerr=NINETY_FIVE * error * size,
            fmt="o",
            ms=4.5,
            color=color,
            capsize=3,
            zorder=3,
            label=None if named else "measured, 95 % of the reading",
        )
        ax.annotate(
            strip.name[:12],
            (lift / size, k * size),
            (6.0, -9.0),
            textcoords="offset points",
            color=color,
        )
        named, top = True, max(top, k * size)
    return top


def _errors(found: Fit) -> list[float]:
    """Error of every strip's measured curvature (1/mm), its best reading's."""
    return [
        min(
            (
                k * r.reading.error / r.reading.value
                for r in found.residuals
                if r.strip == strip.name
                and r.reading.type.proportional
                and r.reading.value > 0.0
            ),
            default=0.0,
        )
        for strip, (k, _) in zip(found.strips, found.curvatures, strict=True)
    ]


def draw_fit(found: Fit, advice: Advice | None, folder: Path, system: System) -> Path:
    """Draw the picture into a folder; returns its path."""
    return theme.save_in(fit_picture(found, advice, system), folder, "fit.png")

"""Report of a fit, in words and as a picture: estimates, readings, the next strip."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline import units
from pinchline.analysis.fitting.advise import Forecast, identifiability, job_passes
from pinchline.analysis.fitting.solution import QUANTILE_95
from pinchline.analysis.limits.single_pass import longest_lift
from pinchline.case.measured.readings import READING_TYPES
from pinchline.reports.style import theme

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pinchline.analysis.fitting.advise import Advice
    from pinchline.analysis.fitting.solution import Estimate, Fit, Residual
    from pinchline.analysis.limits.single_pass import Way
    from pinchline.units import System

_TEXT_WIDTH = 88
_LEARNED_RATIO, _IDLE_RATIO = 0.5, 0.9  # of the prior's deviation: learned, or not
_FLAT_PER_MM = 1.0e-5  # 1/mm: less is no bend
_FEW_COMBINATIONS = 1.5  # combinations: below it a fit says little
LINE_LIFTS = 14  # of a line
MARGIN_MM = 4.0  # mm of lift past the outermost strip
_DIRECTIONS: tuple[Way, ...] = ("rear", "operator")


def fit_words(fit: Fit, advice: Advice | None, system: System) -> str:
    """Report what the strips say of sheet and machine."""
    case = fit.case
    thickness = units.format(case.sheet.thickness, "length", system)
    count = _counted(len(fit.strips), "strip")
    lines = [
        case.title,
        f"{case.sheet.material.name}, {thickness}; {case.machine.title}",
        f"{count} with {_counted(fit.readings, 'reading')} in {fit.source}",
        "",
        f"{'':<18} {'before':>13} {'95 %':>24} {'fitted':>13} {'95 %':>24}",
        *(_estimate(e, system) for e in fit.estimates),
        "",
    ]
    for text in _learned_words(fit, system):
        lines += textwrap.wrap(text, _TEXT_WIDTH)
    lines += ["", *_readings(fit, system), "", *_job(fit, system)]
    lines += ["", *textwrap.wrap(_next(advice, system), _TEXT_WIDTH)]
    return "\n".join(lines)


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'s' if number != 1 else ''}"


def _estimate(e: Estimate, system: System) -> str:
    p = e.parameter

    def say(value: float) -> str:
        return units.format(value, p.dimension, system)

    def span(ends: tuple[float, float]) -> str:
        number = say(ends[0]).split()[0]
        return f"{number} to {say(ends[1])}"

    return (
        f"{p.name:<18} {say(p.median):>13} {span(e.prior):>24} {say(e.value):>13} "
        f"{span(e.interval):>24}"
    )


def _learned_words(fit: Fit, system: System) -> Iterator[str]:
    """Report what is identified, what only together, and what does not agree."""
    about = identifiability(fit)
    sharp = [e for e in fit.estimates if e.deviation < _LEARNED_RATIO]
    idle = [e for e in fit.estimates if e.deviation > _IDLE_RATIO]
    if about.combinations < _FEW_COMBINATIONS:
        yield (
            "These strips say little: they fix one combination of "
            f"{_listed(about.leading)} at best. Everything else is as it was assumed; "
            "trust the fit near these lifts only, and roll another strip."
        )
    if sharp:
        yield f"Learned: {_listed(e.parameter.name for e in sharp)}."
    if idle:
        yield (
            f"Nothing learned of {_listed(e.parameter.name for e in idle)}: as assumed "
            "before."
        )
    for pair in about.pairs:
        how = "higher" if pair.correlation > 0.0 else "lower"
        yield (
            f"The strips tell {pair.first} and {pair.second} only together: a higher "
            f"{pair.first} with a {how} {pair.second} would do as well."
        )
    for name in about.far:
        yield (
            f"CAUTION: the {name} comes out far from what was assumed before. Is it "
            "the right card? Were lift, side and units written down right?"
        )
    yield from _agreement(fit)
    if not math.isfinite(max(fit.corrected)):
        yield (
            "Not every strip could be rolled by the stepped solver; there the span "
            "solver alone predicts, with an error of 1 % of the curvature."
        )
    yield from (f"{note[:1].upper()}{note[1:]}." for note in fit.notes)
    offset = fit.values["touch offset"]
    side = "above" if offset > 0.0 else "below"
    yield (
        f"Where the screws' scale says zero the roll stands "
        f"{units.format(abs(offset), 'length', system)} {side} touch."
    )


def _agreement(fit: Fit) -> Iterator[str]:
    """Say whether the strips agree with each other and the model."""
    names = [name for name, _ in fit.outliers]
    if names:
        others = "the others" if len(fit.strips) > len(names) else "each other"
        if len(names) == 1:
            yield (
                f"CAUTION: strip {names[0]} is not where {others} and the card expect "
                "it. Measure it again, or leave it out and fit once more."
            )
        else:
            yield (
                f"CAUTION: strips {_listed(names)} contradict {others}. At least one "
                "was set or measured wrongly: measure them again, or roll them again."
            )
    if fit.widened > 1.0:
        yield (
            f"CAUTION: the readings lie further from the model than their errors allow "
            f"(chance {fit.chance:.1g}). All intervals are {fit.widened:.1f} times "
            "wider for that: something was misread, set wrongly, or not in the model."
        )


def _listed(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _readings(fit: Fit, system: System) -> list[str]:
    others = sorted({kind.dimension for kind in READING_TYPES.values()} - {"length"})
    used = [units.display_unit("length", system)[0]]
    used += [f"{units.phrase(d)} in {units.display_unit(d, system)[0]}" for d in others]
    head = (
        f"{'strip':<10}{'reading':<28}{'measured':>12}{'fitted':>12}{'before':>12}"
        f"{'off, errors':>13}"
    )
    lines = [f"Readings ({'; '.join(used)})", head]
    return lines + [_reading(r, system) for r in fit.residuals]


def _reading(r: Residual, system: System) -> str:
    def say(value: float) -> str:
        if math.isinf(value):
            return "flat"
        return units.format(value, r.reading.type.dimension, system).split()[0]

    words: str = r.reading.kind
    if r.reading.beside:
        over = units.format(r.reading.beside, "length", system)
        words += f" over {over}"
    if r.reading.type.on_a_face:
        words += f", {r.reading.side}"
    mark = "  *" if abs(r.off) > 3.0 else ""
    return (
        f"{r.strip[:9]:<10}{words:<28}{say(r.reading.value):>12}{say(r.predicted):>12}"
        f"{say(r.before):>12}{r.off:>+13.1f}{mark}"
    )


def _job(fit: Fit, system: System) -> list[str]:
    """Say the radii of the case's own passes before and after."""
    passes = job_passes(fit)
    if not passes:
        return ["The case has no passes of its own to predict."]
    forecast = Forecast(fit)
    lines = [
        "The case's passes at these settings, radius of the middle (95 %)",
        f"{'lift':>12}{'':2}{'toward':<12}{'before':>30}{'fitted':>30}",
    ]
    for p in passes:
        card, fitted = (
            _radius(forecast.band(p.lift, p.way, prior=prior), system)
            for prior in (True, False)
        )
        lift = units.format(p.lift, "length", system)
        lines.append(f"{lift:>12}{'':2}{p.way:<12}{card:>30}{fitted:>30}")
    return lines


def _radius(curvatures: tuple[float, float, float], system: System) -> str:
    """Say a radius and where it lies, from curvatures (1/mm)."""

    def say(k: float) -> str:
        if not k > _FLAT_PER_MM:
            return "flat"
        return units.format(1.0 / k, "length", system)

    middle, low, high = curvatures
    if math.isnan(middle):
        return "-"
    if math.isnan(low):
        return say(middle)
    return f"{say(middle)} ({say(high).split()[0]} to {say(low).split()[0]})"


def _next(advice: Advice | None, system: System) -> str:
    if advice is None:
        return "No further strip can be advised: the machine makes no other pass."
    lift = units.format(advice.lift, "length", system)
    radius = units.format(advice.radius, "length", system)
    gain = f"from {QUANTILE_95 * advice.now:.1%} to {QUANTILE_95 * advice.then:.1%}"
    what = f"{advice.wanted} (95 %) {gain}"
    if not advice.worth:
        return (
            "Another strip would tell little more of the job: at best, at "
            f"{lift} toward the {advice.way}, it would bring {what}."
        )
    return (
        f"Roll next: {lift} by the scale, toward the {advice.way}; expect a radius of "
        f"{radius}. It should bring {what}."
    )


def fit_picture(fit: Fit, advice: Advice | None, system: System) -> Figure:
    """Draw the strips on the bands of card and fit, a panel for each direction."""
    size = units.display_unit("length", system)[1]
    unit = units.display_unit("length", system)[0]
    forecast = Forecast(fit)
    with theme.project_style():
        fig = theme.figure(9.4, 5.2)
        panels = fig.subplots(1, 2, sharey=True)
        top = 0.0
        for ax, direction in zip(panels, _DIRECTIONS, strict=True):
            top = max(top, _panel(ax, fit, forecast, direction, size))
            if advice is not None and advice.worth and advice.way == direction:
                at = 1.0 / advice.radius * size
                ax.plot(advice.lift / size, at, "o", mfc="none", mec=theme.SEA, ms=11,
                        mew=1.8, label="roll next")  # fmt: skip
            ax.set_title(f"fed toward the {direction}")
            ax.set_xlabel(f"lift by the screws' scale, {unit}")
        panels[0].set_ylim(0.0, 1.15 * top)
        panels[0].set_ylabel(f"curvature left, 1/{unit}")
        theme.radius_axis(panels[1], unit)
        _legend(panels)
        theme.set_heading(fig, f"Measured beside predicted: {fit.case.title}")
        return fig


def _legend(panels: Sequence[Axes]) -> None:
    """Explain what either panel shows, once."""
    entries: dict[str, Any] = {}
    for ax in panels:
        handles, words = ax.get_legend_handles_labels()
        entries |= dict(zip(words, handles, strict=True))
    theme.legend_below(panels[0], 2, handles=[*entries.values()], labels=[*entries])


def _panel(
    ax: Axes, fit: Fit, forecast: Forecast, direction: Way, size: float
) -> float:
    """Draw bands, lines and strips fed one way; returns the highest curvature."""
    lifts = _lifts(fit, direction)
    card, fitted = (
        np.array([forecast.band(float(lift), direction, prior=prior) for lift in lifts])
        for prior in (True, False)
    )
    top = _strips(ax, fit, direction, size)
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


def _lifts(fit: Fit, direction: Way) -> np.ndarray:
    """Lifts (mm) to draw: about the strips, or of the other way where it has none."""
    own = [v for v, s in zip(fit.lifts, fit.strips, strict=True) if s.way == direction]
    longest, _ = longest_lift(fit.best)
    most = 0.97 * min(longest, fit.best.machine.rear.travel)
    if not own:
        own = list(fit.lifts)
    start, end = max(0.2 * most, min(own) - MARGIN_MM), min(most, max(own) + MARGIN_MM)
    return np.linspace(start, max(end, start + 1.0), LINE_LIFTS)


def _strips(ax: Axes, fit: Fit, direction: Way, size: float) -> float:
    outliers = {name for name, _ in fit.outliers}
    top, named = 0.0, False
    for strip, lift, (k, _), error in zip(
        fit.strips, fit.lifts, fit.curvatures, _errors(fit), strict=True
    ):
        if strip.way != direction or math.isnan(k):
            continue
        color = theme.RUST if strip.name in outliers else theme.INK
        ax.errorbar(
            lift / size,
            k * size,
            yerr=QUANTILE_95 * error * size,
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


def _errors(fit: Fit) -> list[float]:
    """Error of every strip's measured curvature (1/mm), its best reading's."""
    return [
        min(
            (
                k * r.reading.error / r.reading.value
                for r in fit.residuals
                if r.strip == strip.name
                and r.reading.type.proportional
                and r.reading.value > 0.0
            ),
            default=0.0,
        )
        for strip, (k, _) in zip(fit.strips, fit.curvatures, strict=True)
    ]

"""One style for every picture and page: colours, line styles, fonts, ways to label.

The colours differ in lightness as well as in hue, so that they stay apart in grey print
and for colour-blind eyes, and lines that share axes also differ in style. On a page
every colour has a second value for readers who ask for a dark one.
"""

from __future__ import annotations

import io
import math
import re
import textwrap
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from pinchline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = "#1f262b"
BLUE = "#1f4e79"
RUST = "#b4552d"
SEA = "#569c94"
GOLD = "#d8a33c"
STEEL = "#dbdfe2"
PALE = "#f3e9d2"
MIST = "#e3ecf1"
STRAW = "#c9b582"
GRID = "#d5d9dc"
PAPER = "#ffffff"

# name on a page: on light paper, on dark
PAGE_COLORS: dict[str, tuple[str, str]] = {
    "paper": (PAPER, "#1b2126"),
    "bench": ("#f1efe8", "#12171a"),
    "ink": (INK, "#e4e7e6"),
    "faint": ("#5b656c", "#a3adb3"),
    "grid": (GRID, "#38424a"),
    "blue": (BLUE, "#8ab6dd"),
    "rust": (RUST, "#e58e63"),
    "sea": (SEA, "#6fbdb3"),
    "gold": (GOLD, "#e2b65a"),
    "steel": (STEEL, "#465059"),
    "pale": (PALE, "#3a3527"),
    "straw": (STRAW, "#7d7048"),
    "mist": (MIST, "#26333d"),
}
# how sharply the sheet is bent, from flat to sharpest: on light paper, on dark
BEND_COLORS: tuple[tuple[str, str], ...] = (
    ("#8f9aa1", "#76828a"),
    ("#d9b95c", "#8d5a3c"),
    ("#d0902f", "#b5673a"),
    ("#b9602b", "#d98a45"),
    ("#8f3a22", "#ecb862"),
    ("#571a16", "#fff0c4"),
)

# role: what a line stands for, wherever it is drawn
LINE_STYLES: dict[str, dict[str, Any]] = {
    "residual": {"color": BLUE, "linestyle": "-", "linewidth": 1.9},
    "loaded": {"color": RUST, "linestyle": (0, (5, 1.6)), "linewidth": 1.4},
    "bound": {"color": INK, "linestyle": (0, (1, 1.5)), "linewidth": 1.3},
    "moment": {"color": BLUE, "linestyle": "-", "linewidth": 1.9},
    "force_upper": {"color": BLUE, "linestyle": "-", "linewidth": 1.6},
    "force_lower": {"color": RUST, "linestyle": (0, (5, 1.6)), "linewidth": 1.4},
    "force_rear": {"color": INK, "linestyle": "-", "linewidth": 1.6},
    "drive_force": {
        "color": GOLD,
        "linestyle": (0, (6, 1.4, 1.2, 1.4)),
        "linewidth": 1.7,
    },
    "lift": {"color": SEA, "linestyle": "-", "linewidth": 2.0},
    "now": {"color": GOLD, "linestyle": "-", "linewidth": 5.0},  # a band behind others
    "guide": {"color": INK, "linestyle": "-", "linewidth": 0.6},
    "fit": {"color": SEA, "linestyle": (0, (4, 2)), "linewidth": 1.0},
}
# jobs drawn on one another
JOB_STYLES: tuple[dict[str, Any], ...] = (
    {"color": BLUE, "linestyle": "-", "linewidth": 2.0},
    {"color": RUST, "linestyle": (0, (5, 1.6)), "linewidth": 1.7},
    {"color": INK, "linestyle": (0, (1, 1.3)), "linewidth": 1.9},
    {"color": SEA, "linestyle": (0, (6, 1.4, 1.2, 1.4)), "linewidth": 1.9},
    {"color": GOLD, "linestyle": "-", "linewidth": 1.3},
    {"color": STRAW, "linestyle": (0, (9, 3)), "linewidth": 2.2},
)
FLAT_STYLE: dict[str, Any] = {"facecolor": PALE, "edgecolor": STRAW, "hatch": "////"}
ZONE_STYLE: dict[str, Any] = {"facecolor": MIST, "edgecolor": "none"}
ROLL_STYLE: dict[str, Any] = {"facecolor": STEEL, "edgecolor": INK, "linewidth": 0.8}
SHEET_STYLE: dict[str, Any] = {"facecolor": BLUE, "edgecolor": BLUE, "linewidth": 0.5}
# fills that alternate along a band, apart in grey as well
BAND_FILLS: tuple[tuple[str, str], ...] = (
    (STEEL, ""),
    (SEA, ""),
    (GOLD, ""),
    (MIST, "...."),
    (PALE, "xxxx"),
    (RUST, ""),
)

_MIN_BAND_SHARE = 0.008  # of the whole: a band that can be seen
_RADIUS_TICKS = {
    "mm": (500, 200, 100, 70, 50, 40, 30, 25, 20, 15, 10),
    "in": (20, 10, 5, 3, 2, 1.5, 1.2, 1, 0.8, 0.6, 0.5, 0.4),
}
_CROWDED_RATIO = 0.3  # radius over the part's size: no room for words inside the circle

_RC_SETTINGS: Any = {
    "font.family": "sans-serif",
    "font.size": 9.0,
    "axes.titlesize": 10.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 9.5,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.grid": True,
    "grid.color": GRID,
    "grid.linewidth": 0.5,
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "legend.fontsize": 8.5,
    "legend.edgecolor": "none",
    "legend.framealpha": 0.85,
    "hatch.linewidth": 0.5,
    "figure.facecolor": PAPER,
    "figure.dpi": 100.0,
    "savefig.dpi": 200.0,
    "svg.fonttype": "none",
    "svg.hashsalt": "pinchline",
    "pdf.fonttype": 42,
}


@contextmanager
def project_style() -> Iterator[None]:
    """Context that draws in the project's style and restores earlier settings."""
    import matplotlib as mpl

    with mpl.rc_context(_RC_SETTINGS), warnings.catch_warnings():
        # a title in letters that our font lacks: a box in a picture, right on a page
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        yield


def figure(width: float, height: float) -> Figure:
    """Return an empty figure, sizes in inches as they print."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained")


def root_figure(ax: Axes) -> Figure:
    """Figure that contains the axes, also where they lie in a subfigure."""
    from matplotlib.figure import Figure

    parent: Any = ax.get_figure()
    while not isinstance(parent, Figure):
        parent = parent.figure
    return parent


def set_title(ax: Axes, title: str, subject: str) -> None:
    """Write what the picture shows, and of which job."""
    ax.set_title(f"{title}\n", fontsize=10.5)
    ax.annotate(
        textwrap.shorten(subject, 100, placeholder=" ..."),
        (0.0, 1.0),
        (0.0, 5.0),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=8.5,
    )


def set_heading(fig: Figure, text: str) -> None:
    """Write what a page of several pictures shows."""
    short = textwrap.shorten(text, 90, placeholder=" ...")
    fig.suptitle(short, x=0.01, ha="left", fontsize=10.5, fontweight="bold")


def name_ends(ax: Axes, left: str, right: str) -> None:
    """Name both ends of the x axis, beside its label."""
    for at, side, words in ((0.0, "left", left), (1.0, "right", right)):
        ax.annotate(
            words,
            (at, 0.0),
            (0.0, -19.0),
            xycoords="axes fraction",
            textcoords="offset points",
            ha=side,
            va="top",
            fontstyle="italic",
        )


def name_end(ax: Axes, x: Any, y: Any, words: str) -> None:
    """Name the first end of a line, in the direction in which it ends."""
    out = (float(x[0] - x[1]), float(y[0] - y[1]))
    size = max(math.hypot(*out), 1.0e-12)
    side = (
        "right" if out[0] < -0.3 * size else "left" if out[0] > 0.3 * size else "center"
    )
    ax.annotate(
        words,
        (x[0], y[0]),
        (7.0 * out[0] / size, 7.0 * out[1] / size),
        textcoords="offset points",
        ha=side,
        va="center",
    )


def legend_below(ax: Axes, columns: int, **options: Any) -> None:
    """Explain the lines under the axis, where no line is crossed."""
    from matplotlib.transforms import ScaledTranslation

    down = ScaledTranslation(0.0, -36.0 / 72.0, root_figure(ax).dpi_scale_trans)
    ax.legend(
        loc="upper left",
        bbox_to_anchor=(0.0, 0.0),
        bbox_transform=ax.transAxes + down,
        borderaxespad=0.0,
        borderpad=0.0,
        ncols=columns,
        alignment="left",
        **options,
    )


def radius_axis(ax: Axes, unit: str = "mm") -> None:
    """Say on the right in radii what the left says in curvatures, 1/``unit``."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    top = ax.get_ylim()[1]
    radii = [r for r in _RADIUS_TICKS[unit] if 1 / r < top]
    side = ax.secondary_yaxis("right")
    side.yaxis.set_major_locator(FixedLocator([1.0 / radius for radius in radii]))
    side.yaxis.set_minor_locator(NullLocator())
    side.yaxis.set_major_formatter(FuncFormatter(lambda k, _: f"{1.0 / k:.3g}"))
    side.set_ylabel(f"radius, {unit}")


def fit_words_in(ax: Axes) -> None:
    """Choose the limits of the axes so that lines and the words so far lie inside."""
    from matplotlib.transforms import Bbox

    fig, lines = root_figure(ax), ax.dataLim.frozen()
    for _ in range(3):  # words keep their size while the scale changes
        fig.draw_without_rendering()
        back = ax.transData.inverted()
        words = [t.get_window_extent().transformed(back) for t in ax.texts]
        ax.dataLim.set(Bbox.union([lines, *words]))
        ax.margins(0.02)


def add_note(ax: Axes, text: str, x: float, y: float, **options: Any) -> None:
    """Write on a white ground, so that lines behind do not cross the words."""
    ground = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.2, "alpha": 0.85}
    settings: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 8.5}
    ax.text(x, y, text, **(settings | {"bbox": ground} | options))


def upright_angle(angle: float) -> float:
    """Turn text along a line (rad) so that it is not upside down; degrees."""
    degrees = math.degrees(angle) % 180.0
    return degrees - 180.0 if degrees > 90.0 else degrees


def draw_dimension(
    ax: Axes, start: Sequence[float], end: Sequence[float], text: str = "", **how: Any
) -> None:
    """Draw a dimension line between two points with its words in the middle."""
    draw_leader(ax, start, end, arrowstyle="<|-|>")
    if text:
        middle = [0.5 * (a + b) for a, b in zip(start, end, strict=True)]
        along = math.atan2(end[1] - start[1], end[0] - start[0])
        settings: dict[str, Any] = {"rotation": upright_angle(along)}
        add_note(ax, text, *middle, **(settings | how))


def shade_offset(
    ax: Axes, x: Any, y: Any, offsets: tuple[float, float], text: str
) -> None:
    """Shade beside a line between two offsets (mm, - to the right); dimension it."""
    ax.fill(*strip_outline(x, y, *offsets), linewidth=0.5, **FLAT_STYLE)
    ends = [(float(x[i]), float(y[i])) for i in (0, -1)]
    along = math.atan2(ends[1][1] - ends[0][1], ends[1][0] - ends[0][0])
    out = (-offsets[1] * math.sin(along), offsets[1] * math.cos(along))
    start, end = ((a + out[0], b + out[1]) for a, b in ends)
    draw_dimension(ax, start, end)
    middle = [0.5 * (a + b) + 0.9 * o for a, b, o in zip(start, end, out, strict=True)]
    add_note(ax, text, *middle, rotation=upright_angle(along))


def draw_leader(
    ax: Axes, start: Sequence[float], end: Sequence[float], arrowstyle: str = "-|>"
) -> None:
    """Draw an arrow from one point to another, exactly."""
    arrow = {"arrowstyle": arrowstyle, "color": INK, "linewidth": 0.8}
    arrow |= {"shrinkA": 0.0, "shrinkB": 0.0, "mutation_scale": 8.0}
    ax.annotate("", (end[0], end[1]), (start[0], start[1]), arrowprops=arrow)


def draw_circle(
    ax: Axes,
    place: tuple[float, float, float],
    sweep: tuple[float, float],
    zone: Any,
    words: tuple[str, str],
) -> None:
    """Draw a fitted circle with its radius and the angle it sweeps.

    Parameters
    ----------
    ax : where
    place : centre x, y and radius, mm
    sweep : first and last angle, rad
    zone : angles of start, middle and end of what was fitted, rad
    words : for the radius, for the angle
    """
    import numpy as np

    def at(share: Any, angle: Any) -> tuple[Any, Any]:
        reach = share * place[2]
        return place[0] + reach * np.cos(angle), place[1] + reach * np.sin(angle)

    around = np.linspace(*sweep, 181)
    ax.plot(*at(1.0, around), zorder=1.5, **LINE_STYLES["fit"])
    ax.plot(*at(0.0, 0.0), "+", color=INK, markersize=9)
    ax.plot(*at(0.3, around), **LINE_STYLES["guide"])
    for angle in sweep:
        ax.plot(*at(np.array([0.0, 0.36]), angle), **LINE_STYLES["guide"])
    for angle in (zone[0], zone[-1]):
        ax.plot(*at(np.array([0.93, 1.0]), angle), **LINE_STYLES["guide"])
    draw_leader(ax, at(0.0, 0.0), at(1.0, zone[1]))
    if place[2] < _CROWDED_RATIO * max(ax.dataLim.width, ax.dataLim.height):
        add_note(ax, f"{words[1]}\n{words[0]}", *at(-1.5, zone[1]))
        return
    add_note(ax, words[0], *at(0.62, zone[1]))
    turned = sweep[1] - sweep[0]
    early = turned == 0.0 or (zone[1] - sweep[0]) % (2.0 * math.pi) < 0.5 * turned
    add_note(ax, words[1], *at(0.3, sweep[0] + (0.72 if early else 0.28) * turned))


def draw_band(
    ax: Axes, nodes: Any, numbers: Any, sides: tuple[float, float], words: Sequence[str]
) -> list[Any]:
    """Colour a band by the number (0 none) of each cell; return the key to it.

    Slivers that nobody would see are left out of both.
    """
    import numpy as np
    from matplotlib.patches import Patch

    key: dict[int, Any] = {}
    cuts = np.flatnonzero(np.diff(numbers)) + 1
    for run in np.split(np.arange(numbers.size), cuts):
        number = int(numbers[run[0]])
        if number == 0:
            continue
        face, hatch = BAND_FILLS[(number - 1) % len(BAND_FILLS)]
        style: dict[str, Any] = {"facecolor": face, "hatch": hatch}
        style |= {"edgecolor": INK, "linewidth": 0.5}
        start, end = nodes[run[0]], nodes[run[-1] + 1]
        if end - start < _MIN_BAND_SHARE * nodes[-1]:
            continue
        ax.fill_between([start, end], *sides, **style)
        if end - start > 0.02 * nodes[-1]:
            add_note(ax, str(number), 0.5 * (start + end), 0.5 * sum(sides))
        text = words[number - 1] if number <= len(words) else ""
        key[number] = Patch(label=f"{number}  {text}", **style)
    return [key[number] for number in sorted(key)]


def save(fig: Figure, path: Path) -> None:
    """Write a figure; the same picture gives the same bytes."""
    stamp: dict[str, dict[str, Any]] = {
        ".svg": {"Date": None},
        ".pdf": {"CreationDate": None},
    }
    with project_style():
        fig.savefig(path, metadata=stamp.get(path.suffix))


def save_in(fig: Figure, folder: Path, name: str) -> Path:
    """Write a figure into a folder, which is made where it is missing.

    Raises
    ------
    InputError
        where it cannot be written
    """
    path = folder / name
    try:
        folder.mkdir(parents=True, exist_ok=True)
        save(fig, path)
    except OSError as error:
        message = f"the pictures cannot be written: {error.strerror or error}"
        allowed = "a folder that can be written to, or made"
        raise InputError(message, file=folder, allowed=allowed) from None
    return path


def page_style() -> str:
    """Colours and lines as a style sheet: light, dark as the reader asks, and print."""
    sides = []
    for side in (0, 1):
        pairs = {name: pair[side] for name, pair in PAGE_COLORS.items()}
        pairs |= {f"bend{i}": pair[side] for i, pair in enumerate(BEND_COLORS)}
        sides.append("".join(f"--{name}:{value};" for name, value in pairs.items()))
    rules = [
        f":root{{color-scheme:light dark;{sides[0]}}}",
        f"@media screen and (prefers-color-scheme:dark){{:root{{{sides[1]}}}}}",
    ]
    for role, line in LINE_STYLES.items():
        width = line["linewidth"]
        dashes = () if line["linestyle"] == "-" else line["linestyle"][1]
        pattern = " ".join(f"{width * dash:.1f}" for dash in dashes) or "none"
        colour = _page_colours(line["color"])
        rules.append(
            f".line-{role}{{stroke:{colour};stroke-width:{width};"
            f"stroke-dasharray:{pattern}}}"
        )
    return "\n".join(rules)


def inline_svg(fig: Figure, mark: str, label: str) -> str:
    """Return a figure as SVG to stand in a page: in the page's colours, small.

    Parameters
    ----------
    fig : what to draw
    mark : goes before the names inside, which must differ between the page's figures
    label : what a reader hears who does not see it
    """
    from xml.sax.saxutils import quoteattr

    text = io.StringIO()
    with project_style():
        fig.savefig(text, format="svg", metadata={"Date": None})
    svg = text.getvalue()
    svg = svg[svg.index("<svg") :]
    for part in ("<metadata>.*?</metadata>", "<style.*?</style>", r"\n\s*(?=<)"):
        svg = re.sub(part, "", svg, flags=re.DOTALL)
    svg = re.sub(r' (?:d|x|y|transform)="[^"]*"', _rounded, svg)
    svg = re.sub(r' id="[\w.]*?_\d+"', "", svg)  # groups, to which nothing refers
    svg = re.sub(r'(id="|href="#|url\(#)', rf"\g<1>{mark}-", svg)
    svg = re.sub(r' fill="(#\w{6})"', r' style="fill: \1"', svg)
    svg = re.sub(r'style="[^"]*"', lambda style: _page_colours(style[0]), svg)
    opening = f'<svg role="img" aria-label={quoteattr(label)}'
    return svg.replace("<svg", opening, 1)


def fixed_color_svg(svg: str) -> str:
    """Return an inline SVG with fixed colours, for pages that are not ours."""
    for name, (light, _) in PAGE_COLORS.items():
        svg = svg.replace(f"var(--{name})", light)
    return svg.replace("<svg", '<svg style="width:100%;height:auto"', 1)


def _rounded(numbers: re.Match[str]) -> str:
    """Cut decimals beyond the second: a hundredth of a point cannot be seen."""
    return re.sub(r"(?<=\.\d\d)\d+", "", numbers[0])


def _page_colours(text: str) -> str:
    """Replace the colours of the house by their names on a page."""
    for name, (light, _) in PAGE_COLORS.items():
        text = text.replace(light, f"var(--{name})")
    return text


def strip_outline(x: Any, y: Any, inner: float, outer: float) -> tuple[Any, Any]:
    """Outline of the strip between two offsets (mm, + to the left) of a line."""
    import numpy as np

    dx, dy = np.gradient(x), np.gradient(y)
    size = np.maximum(np.hypot(dx, dy), 1.0e-12)
    nx, ny = -dy / size, dx / size
    along = np.concatenate([x + inner * nx, (x + outer * nx)[::-1]])
    across = np.concatenate([y + inner * ny, (y + outer * ny)[::-1]])
    return along, across

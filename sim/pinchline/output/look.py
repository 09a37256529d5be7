"""One look for every picture: colours, line styles, fonts, and the way to label.

The colours differ in lightness as well as in hue, so that they stay apart in grey print
and for colour-blind eyes, and lines that share axes also differ in style.
"""

from __future__ import annotations

import math
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

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

# role: what a line stands for, wherever it is drawn
LINES: dict[str, dict[str, Any]] = {
    "residual": {"color": BLUE, "linestyle": "-", "linewidth": 1.9},
    "loaded": {"color": RUST, "linestyle": (0, (5, 1.6)), "linewidth": 1.4},
    "bound": {"color": INK, "linestyle": (0, (1, 1.5)), "linewidth": 1.3},
    "moment": {"color": BLUE, "linestyle": "-", "linewidth": 1.9},
    "upper": {"color": BLUE, "linestyle": "-", "linewidth": 1.6},
    "lower": {"color": RUST, "linestyle": (0, (5, 1.6)), "linewidth": 1.4},
    "rear": {"color": INK, "linestyle": "-", "linewidth": 1.6},
    "drive": {"color": GOLD, "linestyle": (0, (6, 1.4, 1.2, 1.4)), "linewidth": 1.7},
    "lift": {"color": SEA, "linestyle": "-", "linewidth": 2.0},
    "guide": {"color": INK, "linestyle": "-", "linewidth": 0.6},
    "fit": {"color": SEA, "linestyle": (0, (4, 2)), "linewidth": 1.0},
}
FLAT: dict[str, Any] = {"facecolor": PALE, "edgecolor": "#c9b582", "hatch": "////"}
ZONE: dict[str, Any] = {"facecolor": MIST, "edgecolor": "none"}
ROLL: dict[str, Any] = {"facecolor": STEEL, "edgecolor": INK, "linewidth": 0.8}
PLATE: dict[str, Any] = {"facecolor": BLUE, "edgecolor": BLUE, "linewidth": 0.5}
# fills that alternate along a band, apart in grey as well
BANDS: tuple[tuple[str, str], ...] = (
    (STEEL, ""),
    (SEA, ""),
    (GOLD, ""),
    (MIST, "...."),
    (PALE, "xxxx"),
    (RUST, ""),
)

_RC: dict[str, Any] = {
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
    "grid.color": "#d5d9dc",
    "grid.linewidth": 0.5,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "legend.fontsize": 8.5,
    "legend.frameon": False,
    "hatch.linewidth": 0.5,
    "figure.facecolor": "white",
    "figure.dpi": 100.0,
    "savefig.dpi": 200.0,
    "svg.fonttype": "none",
    "svg.hashsalt": "pinchline",
    "pdf.fonttype": 42,
}


@contextmanager
def applied() -> Iterator[None]:
    """Draw in the look of the house; the settings of others come back after."""
    import matplotlib as mpl

    with mpl.rc_context(_RC):
        yield


def figure(width: float, height: float) -> Figure:
    """Return an empty figure, sizes in inches as they print."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained")


def root(ax: Axes) -> Figure:
    """Figure that holds the axes, also where they sit in a part of it."""
    from matplotlib.figure import Figure

    held: Any = ax.get_figure()
    while not isinstance(held, Figure):
        held = held.figure
    return held


def titled(ax: Axes, title: str, subject: str) -> None:
    """Write what the picture shows, and of which job."""
    ax.set_title(f"{title}\n", fontsize=10.5)
    ax.annotate(
        subject,
        (0.0, 1.0),
        (0.0, 5.0),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=8.5,
    )


def note(ax: Axes, text: str, x: float, y: float, **options: Any) -> None:
    """Write on a white ground, so that lines behind do not cross the words."""
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 1.2, "alpha": 0.85}
    settings = {"ha": "center", "va": "center", "fontsize": 8.5, "bbox": ground}
    ax.text(x, y, text, **(settings | options))


def upright(angle: float) -> float:
    """Turn text along a line (rad) so that it is not upside down; degrees."""
    degrees = math.degrees(angle) % 180.0
    return degrees - 180.0 if degrees > 90.0 else degrees


def dimension(
    ax: Axes, start: Sequence[float], end: Sequence[float], text: str, **options: Any
) -> None:
    """Draw a dimension line between two points with its words in the middle."""
    arrow = {"arrowstyle": "<|-|>", "color": INK, "linewidth": 0.8, "shrinkA": 0.0}
    arrow |= {"shrinkB": 0.0, "mutation_scale": 8.0}
    ax.annotate("", tuple(end), tuple(start), arrowprops=arrow)
    middle = [0.5 * (a + b) for a, b in zip(start, end, strict=True)]
    along = math.atan2(end[1] - start[1], end[0] - start[0])
    settings: dict[str, Any] = {"rotation": upright(along), "rotation_mode": "anchor"}
    note(ax, text, *middle, **(settings | options))

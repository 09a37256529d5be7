"""The playback as a moving picture."""

from __future__ import annotations

import io
import math
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline.errors import InputError
from pinchline.reports.run.playback import bend_edges, playback
from pinchline.reports.style import theme
from pinchline.reports.style.table import move_words
from pinchline.results.schema import ROLLS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pinchline.reports.run.playback import Playback
    from pinchline.results.schema import Result

ANIMATION_FORMATS = (".gif", ".mp4")
MOST_FRAMES, MOST_NODES = 150, 201  # the most in a picture
DURATION_SECONDS = 12.0
_DOTS_PER_INCH = 90
_SHADES_PER_COLOR = 6
_WIDE_INCHES, _HIGH_INCHES = 6.4, 8.0  # inches
_TEXT_INCHES = (0.8, 1.7)  # inches beside and above the picture, for words


def animate(result: Result, kind: str) -> bytes:
    """Return the bytes of a moving picture of a kind, one of ``ANIMATION_FORMATS``.

    Raises
    ------
    InputError
        where there is no frame, or the program that makes films is missing
    """
    shown = playback(result, MOST_FRAMES, MOST_NODES)
    if not shown.rows.size:
        message = "the file holds no frame to draw"
        raise InputError(message, allowed="a result of a job that moved")
    rate = int(np.clip(shown.rows.size / DURATION_SECONDS, 4.0, 20.0))
    with theme.project_style():
        stage = _Stage(result, shown)
        return _film(stage, rate) if kind == ".mp4" else _gif(stage, rate)


def _gif(stage: _Stage, rate: int) -> bytes:
    """Frames in one palette, that of the house: a quarter of the size."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    palette = Image.new("P", (1, 1))
    palette.putpalette(_palette())
    canvas: Any = FigureCanvasAgg(stage.figure)
    drawn = []
    for index in range(stage.shown.rows.size):
        stage.draw(index)
        canvas.draw()
        picture = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
        drawn.append(picture.quantize(palette=palette, dither=Image.Dither.NONE))
    image = io.BytesIO()
    drawn[0].save(
        image,
        format="gif",
        save_all=True,
        append_images=drawn[1:],
        duration=1000 // rate,
        loop=0,
    )
    return image.getvalue()


def _palette() -> list[int]:
    """Colours of the picture, and their shades on paper at the edges of lines."""
    from matplotlib.colors import to_rgb

    inks = [
        theme.INK,
        theme.STEEL,
        theme.GRID,
        *(light for light, _ in theme.BEND_COLORS),
    ]
    paper = np.array(to_rgb(theme.PAPER))
    shades = [
        paper + share * (np.array(to_rgb(ink)) - paper)
        for ink in inks
        for share in np.linspace(0.0, 1.0, _SHADES_PER_COLOR)
    ]
    return [int(value) for value in np.round(255.0 * np.array(shades)).ravel()]


def _film(stage: _Stage, rate: int) -> bytes:
    from matplotlib.animation import FFMpegWriter, FuncAnimation

    if not FFMpegWriter.isAvailable():
        message = "an .mp4 needs the program ffmpeg, which is not installed"
        raise InputError(message, allowed="a .gif, or ffmpeg on the path")
    pixels = ["-pix_fmt", "yuv420p"]  # without it many players show nothing
    writer = FFMpegWriter(fps=rate, codec="h264", extra_args=pixels)
    frames = FuncAnimation(stage.figure, stage.draw, stage.shown.rows.size, blit=False)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "film.mp4"
        frames.save(path, writer=writer, dpi=_DOTS_PER_INCH)
        return path.read_bytes()


class _Stage:
    """Axes with the rolls and the sheet, which are moved from frame to frame."""

    def __init__(self, result: Result, shown: Playback) -> None:
        from matplotlib.collections import LineCollection
        from matplotlib.patches import Circle

        self.result, self.shown = result, shown
        self.figure: Figure = theme.figure(_WIDE_INCHES, _WIDE_INCHES)
        self.figure.set_dpi(_DOTS_PER_INCH)
        self.ax: Axes = self.figure.subplots()
        radii = [result.inputs[f"{name}_radius"] for name in ROLLS]
        self.rolls = [
            Circle((0.0, 0.0), radius, **theme.ROLL_STYLE) for radius in radii
        ]
        for disc in self.rolls:
            self.ax.add_patch(disc)
        self.edges = bend_edges(shown.curvature)
        self.sheet = LineCollection([], capstyle="round")
        self.ax.add_collection(self.sheet)
        self.ax.set(xlabel="x from the nip, mm", ylabel="y from the nip, mm")
        self._fit(radii)
        self._explain()
        self.title = self.ax.set_title("X\nX", fontsize=9.5)
        # lay it out once, which takes two passes: words change, their places do not
        self.figure.draw_without_rendering()
        self.figure.draw_without_rendering()
        self.figure.set_layout_engine("none")

    def _fit(self, radii: list[float]) -> None:
        """Choose limits that hold every frame, and the figure's height to suit."""
        frames, shown = self.result.frames, self.shown
        sizes = []
        for axis, span in (("x", self.ax.set_xlim), ("y", self.ax.set_ylim)):
            centres = frames[f"roll_{axis}"][shown.rows]
            bounds = (centres - radii, centres + radii, getattr(shown, axis))
            low, high = min(map(np.nanmin, bounds)), max(map(np.nanmax, bounds))
            room = 0.03 * (high - low)
            span(low - room, high + room)
            sizes.append(high - low + 2.0 * room)
        high = (_WIDE_INCHES - _TEXT_INCHES[0]) * sizes[1] / sizes[0] + _TEXT_INCHES[1]
        self.figure.set_size_inches(_WIDE_INCHES, min(high, _HIGH_INCHES))
        self.ax.set_aspect("equal")

    def _explain(self) -> None:
        """Say which line stands for which radius."""
        from matplotlib.lines import Line2D

        radii = [f"{1.0 / edge:.0f}" for edge in self.edges]
        words = [f"over {radii[0]} mm"]
        words += [f"{b} to {a}" for a, b in pairwise(radii)]
        words.append(f"under {radii[-1]}")
        handles = [
            Line2D(
                [], [], color=theme.BEND_COLORS[i][0], linewidth=_weight(i), label=text
            )
            for i, text in enumerate(words)
        ]
        title = "radius of the sheet now"
        theme.legend_below(self.ax, columns=3, handles=handles, title=title)

    def draw(self, index: int) -> list[Any]:
        """Move everything to one frame."""
        shown, frames = self.shown, self.result.frames
        row = int(shown.rows[index])
        for roll, disc in enumerate(self.rolls):
            disc.set_center((frames["roll_x"][row, roll], frames["roll_y"][row, roll]))
        points = np.column_stack([shown.x[index], shown.y[index]])
        bend = np.abs(shown.curvature[index])
        kind = np.searchsorted(self.edges, np.fmax(bend[1:], bend[:-1]), side="right")
        self.sheet.set_segments(list(np.stack([points[:-1], points[1:]], axis=1)))
        self.sheet.set_color([theme.BEND_COLORS[i][0] for i in kind])
        self.sheet.set_linewidth([_weight(i) for i in kind])
        self.title.set_text(self._words(row))
        return []

    def _words(self, row: int) -> str:
        frames, moves = self.result.frames, move_words(self.result)
        number, nip = int(frames["move"][row]), float(frames["nip"][row])
        words = moves[number - 1] if 0 < number <= len(moves) else ""
        where = "set free" if math.isnan(nip) else f"nip at s {nip:.0f} mm"
        return f"{number}  {words}\nlift {frames['lift'][row]:.1f} mm, {where}"


def _weight(kind: int) -> float:
    """Line width of a class of bend: heavier the sharper, to be read without colour."""
    return 1.4 + 0.9 * kind

"""The sketches of a set-up sheet: the part, the rolls at the setting, the blank."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from pinchline import units
from pinchline.reports.plan.free_shape import level_outline, offset_line
from pinchline.reports.style import theme
from pinchline.reports.style.paper import line_height
from pinchline.solvers.rolls import LOWER, REAR, UPPER, roll_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pinchline.analysis.planning.plan import MachineSetting, Plan
    from pinchline.reports.style.paper import Page
    from pinchline.units import System

    Array = NDArray[np.float64]

TEXT_PT = 10.0  # points of all words
INK = "black"
YOU_WORDS = "you stand here"
_LINE_STYLE: dict[str, Any] = {"color": INK, "linewidth": 0.7}
_MIN_DRAWN_MM = 0.7  # mm on paper: thinner sheet is drawn so thick
_BLANK_MM = 8.0  # mm on paper: height of the blank


class Frame(NamedTuple):
    """Where a sketch goes: lower left corner and size, mm on paper."""

    x: float
    y: float
    width: float
    height: float


class Scaled(NamedTuple):
    """Places of a drawing on paper: scale, and where its origin goes, mm."""

    scale: float
    x: float
    y: float

    def __call__(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Carry places (mm of the work) over to the paper."""
        return self.x + self.scale * x, self.y + self.scale * y


def fit_to_frame(frame: Frame, x: Array, y: Array) -> Scaled:
    """Fit points into a frame, in its middle."""
    wide, high = (max(float(np.ptp(v)), 1.0e-6) for v in (x, y))
    scale = min(frame.width / wide, frame.height / high)
    middle = [0.5 * (float(np.min(v)) + float(np.max(v))) for v in (x, y)]
    return Scaled(
        scale,
        frame.x + 0.5 * frame.width - scale * middle[0],
        frame.y + 0.5 * frame.height - scale * middle[1],
    )


def draw_part(page: Page, plan: Plan, frame: Frame, system: System) -> None:
    """Draw the free part with its opening, edges, and its sizes in words below."""
    line = line_height(TEXT_PT)
    words = part_words(plan, system)
    _words(page, frame, words)
    top = frame.y + frame.height
    page.write(frame.x, top, "The part as it comes off", TEXT_PT, fontweight="bold")
    room = Frame(
        frame.x + 9.0,
        frame.y + len(words) * line + 1.5,
        frame.width - 18.0,
        frame.height - (len(words) + 3) * line - 1.5,
    )
    outline = level_outline(plan.result)
    half = 0.5 * plan.result.inputs["thickness"]
    place = fit_to_frame(room, outline.x, outline.y)
    x, y = place(outline.x, outline.y)
    thick = max(half * place.scale, 0.5 * _MIN_DRAWN_MM)
    page.ax.fill(
        *theme.strip_outline(x, y, -thick, thick), facecolor=INK, edgecolor="none"
    )
    (x0, x1), (y0, y1) = ((float(v[0]), float(v[-1])) for v in (x, y))
    inner_x, inner_y = place(*offset_line(outline, half))
    level = max(float(np.max(y)), y0, y1) + 2.5
    for px, py in ((inner_x[0], inner_y[0]), (inner_x[-1], inner_y[-1])):
        page.ax.plot((px, px), (py + 1.0, level + 1.0), color=INK, linewidth=0.4)
    theme.draw_leader(page.ax, (inner_x[0], level), (inner_x[-1], level), "<|-|>")
    opening = math.hypot(*(float(v[-1] - v[0]) for v in offset_line(outline, half)))
    page.write(
        0.5 * (x0 + x1),
        level + 0.8,
        f"opening inside {rule_length(opening, system)}",
        TEXT_PT,
        ha="center",
        va="bottom",
    )
    for letter, px, py, side in (("O", x0, y0, -1.0), ("R", x1, y1, 1.0)):
        page.write(
            px + side * 2.2, py, letter, TEXT_PT + 1.0, ha="center", va="top",
            fontweight="bold",
        )  # fmt: skip


def part_words(plan: Plan, system: System) -> list[str]:
    """Say the part's radii, angle and flats."""
    values = {d.name: d.made for d in plan.deviations}
    radii = [value for name, value in values.items() if name.startswith("radius")]
    words = []
    if radii:
        sizes = " and ".join(_bare(r, system) for r in radii)
        words.append(f"radius O, R half {sizes} (middle)")
    turned = units.format(plan.result.summary["turned_angle"], "angle", system)
    flats = [
        plan.result.summary[f"flat_{edge}_straightedge"]
        for edge in ("operator", "rear")
    ]
    sizes = " and ".join(_bare(flat, system) for flat in flats)
    return [*words, f"turned {turned}, flats {sizes}"]


def _bare(value: float, system: System) -> str:
    number, _ = units.display(value, "length", system)
    return f"{number:.1f}" if system == "metric" else f"{number:.2f}"


def rule_length(value: float, system: System) -> str:
    """Give a length as it is measured with a rule, with its unit."""
    return f"{_bare(value, system)} {units.display(value, 'length', system)[1]}"


def _words(page: Page, frame: Frame, words: Sequence[str]) -> None:
    """Write lines at the foot of a frame, in its middle."""
    line = line_height(TEXT_PT)
    for i, text in enumerate(words):
        y = frame.y + (len(words) - i) * line
        page.write(frame.x + 0.5 * frame.width, y, text, TEXT_PT, ha="center")


def draw_rolls(
    page: Page, plan: Plan, setting: MachineSetting, frame: Frame, system: System
) -> None:
    """Draw the side view at a setting: rolls, sheet, gap between the rolls, lift."""
    machine, thickness = plan.case.machine, plan.case.sheet.thickness
    line = line_height(TEXT_PT)
    top = frame.y + frame.height
    page.write(
        frame.x, top, "The rolls at the first setting", TEXT_PT, fontweight="bold"
    )
    lift = units.format(setting.lift, "length", system)
    gap = units.format(setting.gap, "length", system)
    words = (f"gap {gap}", f"lift {lift}", "from touch")
    for i, text in enumerate(words):
        page.write(frame.x, frame.y + (3 - i) * line, text, TEXT_PT)
    margin = 2.0 + max(page.width_of(text, TEXT_PT) for text in (*words, YOU_WORDS))
    behind = 2.0 + page.width_of("rear", TEXT_PT)
    table = roll_table(machine, thickness, setting.lift)
    touch = roll_table(machine, thickness, 0.0)
    radii = (
        machine.rolls.upper_radius,
        machine.rolls.lower_radius,
        machine.rolls.rear_radius,
    )
    room = Frame(
        frame.x + margin,
        frame.y + 0.5,
        frame.width - margin - behind,
        frame.height - line - 1.0,
    )
    centres = np.vstack((table[:, :2], touch[REAR:, :2]))
    reach = np.array([*radii, radii[REAR]])
    corners = [
        np.concatenate((centres[:, i] - reach, centres[:, i] + reach)) for i in (0, 1)
    ]
    place = fit_to_frame(room, *corners)
    _sheet_in(page, plan, place, room)
    rest = place(*touch[REAR, :2])
    for roll in (UPPER, LOWER, REAR):
        _circle(page, place(*table[roll, :2]), place.scale * radii[roll], fill=False)
    _circle(page, rest, place.scale * radii[REAR], fill=False, linestyle=(0, (3, 2)))
    for roll, name in ((UPPER, "upper"), (LOWER, "lower")):
        page.write(*place(*table[roll, :2]), name, TEXT_PT, ha="center", va="center")
    x, y = place(table[REAR, 0] + radii[REAR], table[REAR, 1])
    page.write(x + 1.5, y, "rear", TEXT_PT, va="center")
    theme.draw_leader(page.ax, rest, place(*table[REAR, :2]))
    ends = _surfaces(table, radii)
    theme.draw_leader(page.ax, place(*ends[0]), place(*ends[1]), "<|-|>")
    middle = place(*(0.5 * (ends[0] + ends[1])))
    label = (place(*table[REAR, :2])[0] + 5.0, room.y + room.height - 1.0)
    page.write(*label, "gap", TEXT_PT)
    theme.draw_leader(page.ax, (label[0], label[1] - 0.7 * line), middle)
    nip = place(0.0, 0.0)
    you = max(nip[1] + 0.5 * line, frame.y + 4.5 * line)
    page.write(frame.x, you, YOU_WORDS, TEXT_PT)


def _surfaces(table: Array, radii: tuple[float, float, float]) -> tuple[Array, Array]:
    """Points of upper and rear roll that are nearest to each other, mm."""
    across = table[REAR, :2] - table[UPPER, :2]
    along = across / math.hypot(*across)
    return (
        table[UPPER, :2] + radii[UPPER] * along,
        table[REAR, :2] - radii[REAR] * along,
    )


def _circle(page: Page, centre: Any, radius: float, **how: Any) -> None:
    from matplotlib.patches import Circle

    page.ax.add_patch(Circle(centre, radius, edgecolor=INK, linewidth=0.9, **how))


def _sheet_in(page: Page, plan: Plan, place: Scaled, room: Frame) -> None:
    """Draw the sheet as it lies in the rolls half through the first feed."""
    from matplotlib.patches import Rectangle

    frames = plan.result.frames
    feeds = [n for n, move in enumerate(plan.case.moves, 1) if move.kind == "feed"]
    shown = np.flatnonzero(frames["move"] == (feeds[0] if feeds else 0))
    if not shown.size:
        return
    at = int(shown[shown.size // 2])
    x, y = place(frames["x"][at].astype(float), frames["y"][at].astype(float))
    thick = max(0.5 * place.scale * plan.case.sheet.thickness, 0.5 * _MIN_DRAWN_MM)
    (fill,) = page.ax.fill(
        *theme.strip_outline(x, y, -thick, thick), facecolor=INK, lw=0.0
    )
    end = place(plan.case.machine.rear.distance, 0.0)[0]  # beyond it stand the words
    window = Rectangle(
        (room.x, room.y), end - room.x, room.height, transform=page.ax.transData
    )
    fill.set_clip_path(window)


def blank_height(levels: int) -> float:
    """Height (mm) of the blank's sketch with so many rows of sizes under it."""
    return _BLANK_MM + (levels + 1.0) * line_height(TEXT_PT) + 2.0


def draw_blank(
    page: Page, plan: Plan, marks: dict[str, float], top: float, system: System
) -> None:
    """Draw the blank below ``top`` (mm): edges, marks, places from edge O."""
    from matplotlib.patches import Rectangle

    line = line_height(TEXT_PT)
    left, scale = _strip_scale(page, plan)
    length = plan.case.sheet.length
    y = top - line - 1.0 - _BLANK_MM
    page.write(page.paper.margin, top, blank_words(plan, system), TEXT_PT)
    page.ax.add_patch(
        Rectangle((left, y), scale * length, _BLANK_MM, fill=False, color=INK, lw=1.0)
    )
    for letter, x, side in (("O", left, "right"), ("R", left + scale * length, "left")):
        out = -1.5 if side == "right" else 1.5
        page.write(
            x + out, y + 0.5 * _BLANK_MM, letter, TEXT_PT + 1.0, ha=side, va="center",
            fontweight="bold",
        )  # fmt: skip
    for letter, (level, x) in mark_levels(page, plan, marks, system).items():
        at = left + scale * marks[letter]
        page.ax.plot((at, at), (y - 0.6, y + _BLANK_MM), **_LINE_STYLE)
        text = _mark(letter, marks[letter], system)
        page.write(x, y - 1.0 - level * line, text, TEXT_PT, ha="center")


def _mark(letter: str, at: float, system: System) -> str:
    return f"{letter} {_bare(at, system)}"


def _strip_scale(page: Page, plan: Plan) -> tuple[float, float]:
    """Left end of the blank on paper (mm), and its scale along the feed."""
    left = page.paper.margin + 12.0
    return left, (page.paper.width - 2.0 * left) / plan.case.sheet.length


def mark_levels(
    page: Page, plan: Plan, marks: dict[str, float], system: System
) -> dict[str, tuple[int, float]]:
    """Row and place on paper (mm) of each mark's size, so that none lies on another."""
    left, scale = _strip_scale(page, plan)
    margin, paper = page.paper.margin, page.paper.width
    ends: list[float] = []
    levels = {}
    for letter, at in sorted(marks.items(), key=lambda item: item[1]):
        half = 0.5 * page.width_of(_mark(letter, at, system), TEXT_PT) + 1.0
        x = min(max(left + scale * at, margin + half), paper - margin - half)
        level = next((i for i, end in enumerate(ends) if x - half >= end), len(ends))
        ends[level : level + 1] = [x + half]
        levels[letter] = (level, x)
    return levels


def blank_words(plan: Plan, system: System) -> str:
    """Say the blank's size, metal and grain."""
    sheet = plan.case.sheet
    unit = "mm" if system == "metric" else "in"
    size = " x ".join(_bare(v, system) for v in (sheet.length, sheet.width))
    thickness = units.format(sheet.thickness, "length", system)
    along = "across" if sheet.material.direction == "LT" else "along"
    turn = "along the rolls" if along == "across" else "along the feed"
    return (
        f"Blank {size} {unit}, {sheet.material.name} {thickness}, grain {turn}. "
        f"Marks in {'mm' if system == 'metric' else 'inches'} from edge O:"
    )

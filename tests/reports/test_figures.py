"""Pictures and tables: complete, labelled with units, and without side effects."""

import re
import subprocess
import sys
from dataclasses import replace
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from pinchline.errors import InputError
from pinchline.reports.run import figures
from pinchline.reports.style import theme
from pinchline.reports.style.table import (
    SAFETY_CAUTIONS,
    event_words,
    move_words,
    summary_table,
)

ONE = {
    "free_part": figures.free_part,
    "curvature": figures.curvature,
    "largest_moment": figures.largest_moment,
}
MANY = {"roll_forces": figures.roll_forces, "sheet_in_rolls": figures.sheet_in_rolls}
UNITS = ("mm", "N per mm", "no unit")
INCHES = (", in", "lbf per in", "1/in", "no unit")


def words_of(fig):
    fig.draw_without_rendering()
    return "\n".join(text.get_text() for text in fig.findobj(mpl.text.Text))


@pytest.mark.parametrize("draw", [*ONE.values(), *MANY.values()])
@pytest.mark.parametrize("which", ["result", "flat_result", "stopped_result"])
def test_every_axis_is_labelled_with_its_unit(draw, which, request):
    fig, axes = draw(request.getfixturevalue(which))
    assert isinstance(fig, Figure)
    assert (axes if isinstance(axes, list) else [axes])[0].figure is fig
    for ax in fig.axes:
        sides = [(ax, ax.child_axes, name) for name in "xy"] if ax.axison else []
        for one, others, name in sides:
            found = labels_along(one, name)
            assert found
            for other in others:
                found |= {other.get_ylabel()}
            assert all(any(unit in label for unit in UNITS) for label in found)


@pytest.mark.parametrize("draw", [*ONE.values(), *MANY.values()])
def test_in_inches_every_axis_and_every_word_is(draw, result):
    fig, _ = draw(result, system="inch")
    assert "mm" not in words_of(fig)
    for ax in fig.axes:
        for name in "xy" if ax.axison else "":
            assert all(any(u in one for u in INCHES) for one in labels_along(ax, name))


def test_in_inches_the_same_is_drawn(result):
    """Lengths over 25.4, curvatures times it, forces per width by 5.71 lbf/in."""
    for draw, scale in ((figures.free_part, 1 / 25.4), (figures.curvature, 25.4)):
        lines, inch = (
            [
                np.asarray(line.get_ydata())
                for line in draw(result, system=name)[1].lines
            ]
            for name in ("metric", "inch")
        )
        for one, two in zip(lines, inch, strict=True):
            assert two == pytest.approx(one * scale, rel=1e-9, abs=1e-12)
    force, other = (
        figures.roll_forces(result, system=name)[1][0].lines[0].get_ydata()
        for name in ("metric", "inch")
    )
    assert other == pytest.approx(force * 25.4 / 4.4482216152605, nan_ok=True)


@pytest.mark.parametrize("which", ["result", "flat_result", "stopped_result"])
def test_the_words_at_the_free_part_lie_inside_its_axes(which, request):
    fig, ax = figures.free_part(request.getfixturevalue(which))
    fig.draw_without_rendering()
    room = ax.get_window_extent().padded(1.0)
    for text in ax.texts:
        if "invented" not in text.get_text():  # the line under the title
            box = text.get_window_extent()
            assert room.x0 <= box.x0 <= box.x1 <= room.x1
            assert room.y0 <= box.y0 <= box.y1 <= room.y1


def test_no_line_strikes_the_name_of_the_plateau(result):
    """Whether the curves lie low, middling or high over the zone."""
    for share in (0.1, 0.5, 1.0, 2.0):
        sheet = result.sheet | {
            name: share * result.sheet[name]
            for name in ("curvature_loaded_peak", "curvature_residual")
        }
        fig, ax = figures.curvature(replace(result, sheet=sheet))
        fig.draw_without_rendering()
        (text,) = (t for t in ax.texts if t.get_text().startswith("plateau"))
        box = text.get_window_extent().transformed(ax.transData.inverted())
        for line in ax.lines:
            x, y = (np.asarray(data, dtype=float) for data in line.get_data())
            inside = (x >= box.x0) & (x <= box.x1) if x.size > 2 else [True] * x.size
            assert not np.any((y[inside] > box.y0) & (y[inside] < box.y1))


def test_the_crease_is_shown_where_it_remains(result):
    """Its height compares what remains, so the arrow ends on that line."""
    _, ax = figures.curvature(result)
    (arrow,) = (t for t in ax.texts if t.get_text() == "" and t.arrow_patch)
    s, residual = result.sheet["s"], result.sheet["curvature_residual"]
    at = result.summary["crease_s"]
    near = np.abs(s - at) <= result.inputs["thickness"]
    assert arrow.xy == pytest.approx((at, np.max(residual[near])))


def test_the_key_names_only_moves_that_can_be_seen(result):
    """One element of 520 that move 5 bent most is no band, and not in the key."""
    for width, seen in ((1, False), (20, True)):
        moves = result.sheet["moment_peak_move"].copy()
        moves[100 : 100 + width] = 5
        sheet = result.sheet | {"moment_peak_move": moves}
        fig, _ = figures.largest_moment(replace(result, sheet=sheet))
        assert ("lower" in words_of(fig)) == seen


def test_no_row_of_frames_has_an_empty_band(result):
    """What is highest and lowest in a row comes within a tenth of its height."""
    fig, axes = figures.sheet_in_rolls(result)
    fig.draw_without_rendering()
    for row in (axes[:3], axes[3:]):
        low, high = row[0].get_ylim()
        drawn = np.concatenate([p.get_extents().get_points()[:, 1] for ax in row
                                for p in ax.patches])  # fmt: skip
        ends = (
            row[0]
            .transData.inverted()
            .transform([(0.0, drawn.min()), (0.0, drawn.max())])[:, 1]
        )
        assert ends[0] - low < 0.1 * (high - low)
        assert high - ends[1] < 0.1 * (high - low)


def labels_along(ax, name):
    """Labels of an axis or, where pictures share it, of the one that carries it."""
    group = ax.get_shared_x_axes() if name == "x" else ax.get_shared_y_axes()
    found = (getattr(one, f"get_{name}label")() for one in group.get_siblings(ax))
    return {label for label in found if label}


@pytest.mark.parametrize(
    ("draw", "expected"),
    [
        (
            figures.free_part,
            [
                "operator's edge",
                "edge nearer the rear roll",
                "flat by straightedge 22.6 mm",
                "opening between the edges 14",
                "turned 173",
                "R 70.2 mm",
                "1.00 mm thick",
            ],
        ),
        (
            figures.curvature,
            [
                "operator's edge",
                "edge nearer the rear roll",
                "largest, under the rolls",
                "residual, once free",
                "wrap bound, radius 30.5 mm",
                "crease at s 130",
                "plateau",
                "straightedge flat",
                "radius, mm",
            ],
        ),
        (
            figures.largest_moment,
            [
                "first yield",
                "moment flat",
                "3  feed toward the rear roll",
                "operator's",
            ],
        ),
        (
            figures.roll_forces,
            [
                "upper roll",
                "lower roll",
                "drive",
                "lift",
                "4  feed toward the operator",
            ],
        ),
        (
            figures.sheet_in_rolls,
            ["2  lift to", "lift 16.0 mm, nip at s 18 mm", "set free"],
        ),
    ],
)
def test_the_words_are_there(result, draw, expected):
    text = words_of(draw(result)[0])
    for words in expected:
        assert words in text
    assert "nan" not in text


@pytest.mark.parametrize("draw", [*ONE.values(), *MANY.values()])
def test_what_does_not_exist_is_not_drawn(flat_result, draw):
    assert "nan" not in words_of(draw(flat_result)[0])


@pytest.mark.parametrize("draw", ONE.values())
def test_given_axes_are_used(result, draw):
    own = Figure()
    ax = own.subplots()
    fig, used = draw(result, ax)
    assert (fig, used) == (own, ax)
    assert own.axes == [ax]


@pytest.mark.parametrize(("draw", "count"), [("roll_forces", 3), ("sheet_in_rolls", 4)])
def test_given_lists_of_axes_are_used(result, draw, count):
    own = Figure()
    part = own.subfigures(1, 2)[0]
    axes = list(part.subplots(count))
    fig, used = MANY[draw](result, axes)
    assert fig is own
    assert used == axes
    assert all(ax.has_data() for ax in axes)


def test_a_job_without_steps_has_pictures(flat_result):
    none = {name: values[:0] for name, values in flat_result.steps.items()}
    frames = {name: values[:0] for name, values in flat_result.frames.items()}
    for draw in MANY.values():
        words_of(draw(replace(flat_result, steps=none, frames=frames))[0])


@pytest.mark.parametrize("count", [1, 4, 6])
def test_as_many_frames_as_asked(result, count):
    _, axes = figures.sheet_in_rolls(result, count=count)
    drawn = [ax for ax in axes if ax.axison]
    assert len(drawn) == count
    assert all(ax.get_aspect() == 1.0 for ax in drawn)
    assert all(len(ax.patches) == 4 for ax in drawn)  # three rolls and the sheet


def test_gauge_lines_are_told_from_edges(result):
    summary = result.summary | {"opening": 120.0}
    gauged = replace(result, summary=summary)
    text = words_of(figures.free_part(gauged)[0])
    assert "opening between the gauge lines 120.0 mm" in text
    assert "edges 144.0 mm apart" in text
    assert "gauge lines" in summary_table(gauged)


def test_titles_are_not_read_as_formulas(result, tmp_path):
    odd = replace(result, title=r"$\frac{ costs $5 & <b> " + "long " * 40)
    for draw in (*ONE.values(), *MANY.values()):
        words_of(draw(odd)[0])
    figures.plot_all(odd, tmp_path, "svg")


def test_settings_of_others_stay(result):
    before = dict(mpl.rcParams)
    for draw in (*ONE.values(), *MANY.values()):
        draw(result)
    assert dict(mpl.rcParams) == before


def test_no_global_state_is_left():
    code = (
        "import sys, pinchline.reports.run.figures, pinchline.reports.style.table\n"
        "assert 'matplotlib' not in sys.modules\n"
        "pinchline.reports.style.theme.figure(1.0, 1.0).subplots()\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, env={"PYTHONPATH": "sim"})


@pytest.mark.parametrize("fmt", ["png", "svg", "pdf"])
def test_all_pictures_are_written_alike(result, tmp_path, fmt):
    first = figures.plot_all(result, tmp_path / "new" / "a", fmt)
    again = figures.plot_all(result, tmp_path / "b", fmt)
    assert [p.name for p in first] == [f"{name}.{fmt}" for name in figures.RUN_PICTURES]
    for one, two in zip(first, again, strict=True):
        assert one.read_bytes() == two.read_bytes()
        assert one.stat().st_size > 3000


def test_pictures_that_cannot_be_written(result, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="pictures cannot be written"):
        figures.plot_all(result, tmp_path / "file")
    with pytest.raises(InputError, match=r"jpg.*Allowed: png, svg, pdf"):
        figures.plot_all(result, tmp_path, "jpg")


def grey(colour):
    red, green, blue = to_rgb(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize(
    "together",
    [
        ("residual", "loaded", "bound"),
        ("force_upper", "force_lower"),
        ("force_rear", "drive_force"),
    ],
)
def test_lines_that_share_axes_differ_in_style_and_lightness(together):
    for one, two in combinations((theme.LINE_STYLES[name] for name in together), 2):
        assert one["linestyle"] != two["linestyle"]
        lighter = abs(grey(one["color"]) - grey(two["color"]))
        assert lighter > 0.1 or one["linewidth"] != two["linewidth"]


def test_table_in_both_units(result):
    metric, inch = summary_table(result), summary_table(result, "inch")
    row = next(x for x in metric.splitlines() if "opening" in x)
    assert row.index(" mm") < row.index(" in")
    row = next(x for x in inch.splitlines() if "opening" in x)
    assert row.index(" in") < row.index(" mm")
    for words in (
        "by straightedge, gap 0.10 mm",
        "by moment",
        "turned angle",
        "crease",
    ):
        assert words in metric
    assert metric.endswith(SAFETY_CAUTIONS)
    assert len(SAFETY_CAUTIONS.splitlines()) == 2
    assert "permanent set begins at 5.10 mm lift" in metric


def test_with_inches_first_every_quantity_of_the_table_has_its_inches(result):
    text = summary_table(result, "inch").removesuffix(SAFETY_CAUTIONS)
    assert "permanent set begins at 0.2008 in (5.10 mm) lift" in text
    assert "by straightedge, gap 0.004 in" in text
    assert re.search(r"zone s \d\.\d{3} to \d\.\d{3} in ", text)
    for line in text.splitlines():
        assert not re.search(r"\d mm", line) or " in" in line


def test_table_says_none_and_flat(flat_result, result):
    text = summary_table(flat_result)
    assert "nan" not in text
    assert "none" in text
    endless = result.summary | {"radius_residual_min": float("inf")}
    assert "inf" not in summary_table(replace(result, summary=endless))


def test_table_warns_of_strain(result):
    assert "MORE THAN THE ALLOY ALLOWS" not in summary_table(result)
    tight = replace(result, summary=result.summary | {"allowable_strain": 0.01})
    assert "MORE THAN THE ALLOY ALLOWS" in summary_table(tight)


def test_words_of_events_and_moves(stopped_result):
    assert event_words(stopped_result.events[-1]).startswith("stop, move 4: effort")
    assert "nip at s = 130.0 mm" in event_words(stopped_result.events[0])
    labels = stopped_result.labels | {"moves": "1. place at 5 mm\nmove 2: lift to 3 mm"}
    numbered = replace(stopped_result, labels=labels)
    assert move_words(numbered) == ["place at 5 mm", "lift to 3 mm"]

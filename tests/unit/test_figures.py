"""Pictures and tables: complete, labelled with units, and without side effects."""

import subprocess
import sys
from dataclasses import replace
from itertools import combinations

import matplotlib as mpl
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from pinchline.errors import InputError
from pinchline.output import figures, look
from pinchline.output.table import CAUTIONS, event_words, move_words, summary_table

ONE = {
    "free_part": figures.free_part,
    "curvature": figures.curvature,
    "largest_moment": figures.largest_moment,
}
MANY = {"roll_forces": figures.roll_forces, "sheet_in_rolls": figures.sheet_in_rolls}
UNITS = ("mm", "N per mm", "no unit")


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
        "import sys, pinchline.output.figures, pinchline.output.table\n"
        "assert 'matplotlib' not in sys.modules\n"
        "pinchline.output.look.figure(1.0, 1.0).subplots()\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, env={"PYTHONPATH": "sim"})


@pytest.mark.parametrize("fmt", ["png", "svg", "pdf"])
def test_all_pictures_are_written_alike(result, tmp_path, fmt):
    first = figures.plot_all(result, tmp_path / "new" / "a", fmt)
    again = figures.plot_all(result, tmp_path / "b", fmt)
    assert [p.name for p in first] == [f"{name}.{fmt}" for name in figures.PICTURES]
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
    for one, two in combinations((look.LINES[name] for name in together), 2):
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
    assert metric.endswith(CAUTIONS)
    assert len(CAUTIONS.splitlines()) == 2
    assert "permanent set begins at 5.10 mm lift" in metric


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

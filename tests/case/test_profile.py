"""Profiles of a wanted part: CSV of points or curvature, DXF drawings."""

import math

import ezdxf
import numpy as np
import pytest

from pinchline.case.outline.profile import read_profile
from pinchline.case.target import Target
from pinchline.errors import InputError
from pinchline.parts.wanted import wanted_part


def read(folder, name):
    return read_profile(name, folder=folder, file="case.toml")


def part_of(folder, name, side="middle", thickness=1.0):
    drawing = read(folder, name)
    return wanted_part(Target(profile=name, drawing=drawing, side=side), thickness)


def csv(folder, text, name="part.csv"):
    (folder / name).write_text(text, encoding="utf-8")
    return name


def arc_points(radius, angle, count, up=1.0):
    turn = np.linspace(0.0, angle, count)
    x, y = radius * np.sin(turn), up * radius * (1.0 - np.cos(turn))
    return "\n".join(f"{a:.9f},{b:.9f}" for a, b in zip(x, y, strict=True))


def drawing(folder, draw, unit=ezdxf.units.MM):
    document = ezdxf.new()
    document.header["$INSUNITS"] = unit
    draw(document.modelspace())
    document.saveas(folder / "part.dxf")
    return "part.dxf"


@pytest.mark.parametrize("up", [1.0, -1.0])
def test_points_of_an_arc_in_any_unit_drawn_up_or_down(tmp_path, up):
    name = csv(tmp_path, "x [in], y [in]\n" + arc_points(3.0, 2.0, 40, up))
    part = part_of(tmp_path, name)
    assert part.turned == pytest.approx(2.0, abs=1.0e-5)
    assert part.length == pytest.approx(3.0 * 25.4 * 2.0, rel=1.0e-6)
    assert part.scatter < 1.0e-5  # nine decimals are written


def test_curvature_along_s_with_a_jump_and_comments(tmp_path):
    text = (
        "# a nose\ns (mm); curvature (1/m)\n10; 0\n30; 0\n30; 12.5\n130; 12.5\n150; 0\n"
    )
    part = part_of(tmp_path, csv(tmp_path, text))
    assert part.length == 140.0  # s starts at its first value
    assert part.turned == pytest.approx(0.0125 * (100.0 + 10.0))
    assert part.flats == pytest.approx((20.0, 0.0))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("1,2\n3,4\n", "columns are not known"),
        ("x,y\n1,2\n", "line 1"),
        ("x [mm],y [ksi]\n1,2\n", "ksi is the unit of a stress"),
        ("x [mm],y [mm]\n1,2\n2,3\n3,5\n", "has 3 rows"),
        ("x [mm],y [mm]\n1,2\n2,b\n", "line 3"),
        ("x [mm],y [mm]\n1,2\n2,nan\n", "not a finite number"),
        ("x [mm],y [mm]\n0,0\n1,0\n2,0\n2,0\n3,1\n", "same point twice"),
        ("x [mm],y [mm]\n0,0\n1,0\n2,0\n1,0.1\n3,1\n", "turns by"),
        ("s [mm],curvature [1/mm]\n0,0.01\n5,0.01\n4,0.01\n", "s falls"),
        ("s [mm],curvature [1/mm]\n3,0.01\n3,0.01\n", "no length"),
    ],
)
def test_a_faulty_table_is_named_by_file_line_and_what_is_allowed(
    tmp_path, text, words
):
    with pytest.raises(InputError) as caught:
        read(tmp_path, csv(tmp_path, text))
    assert words in str(caught.value)
    assert "part.csv" in str(caught.value)
    assert "Allowed:" in str(caught.value)


BULGE = math.tan(math.radians(140.0) / 4.0)


def corners():
    """Flat of 20, arc of radius 80 through 140 deg, flat of 20; level at first."""
    c, s = math.cos(math.radians(140.0)), math.sin(math.radians(140.0))
    end = (20.0 + 80.0 * s, 80.0 - 80.0 * c)
    return (0.0, 0.0), (20.0, 0.0), end, (end[0] + 20.0 * c, end[1] + 20.0 * s)


def polyline(space):
    bulges = (0.0, BULGE, 0.0, 0.0)
    rows = [(*place, b) for place, b in zip(corners(), bulges, strict=True)]
    space.add_lwpolyline(rows, format="xyb")


def lines_and_arc(space):
    """The same as three entities, out of order and one of them drawn backward."""
    first, second, third, last = corners()
    space.add_line(second, first)
    space.add_line(third, last)
    space.add_arc((20.0, 80.0), 80.0, -90.0, 50.0)


def from_the_other_edge(space):
    """The same, the far flat drawn first: its arc is gone along backward."""
    first, second, third, last = corners()
    space.add_line(third, last)
    space.add_arc((20.0, 80.0), 80.0, -90.0, 50.0)
    space.add_line(second, first)


@pytest.mark.parametrize("draw", [polyline, lines_and_arc, from_the_other_edge])
def test_arcs_of_a_drawing_give_their_curvature_exactly(tmp_path, draw):
    part = part_of(tmp_path, drawing(tmp_path, draw))
    assert part.flats == pytest.approx((20.0, 20.0))
    assert 1.0 / part.sharpest == pytest.approx(80.0)
    assert part.turned == pytest.approx(math.radians(140.0))
    assert part.length == pytest.approx(40.0 + 80.0 * math.radians(140.0))


@pytest.mark.parametrize(("side", "radius"), [("inside", 80.5), ("outside", 79.5)])
def test_a_drawn_face_is_carried_to_the_middle(tmp_path, side, radius):
    part = part_of(tmp_path, drawing(tmp_path, polyline), side)
    assert 1.0 / part.sharpest == pytest.approx(radius)
    assert part.turned == pytest.approx(math.radians(140.0))
    assert part.length == pytest.approx(40.0 + radius * math.radians(140.0))


def test_an_inch_drawing_of_a_spline_is_read_as_points(tmp_path):
    turn = np.linspace(0.0, 1.5, 12)
    through = [(3.0 * math.sin(a), 3.0 - 3.0 * math.cos(a)) for a in turn]
    name = drawing(
        tmp_path, lambda space: space.add_spline(through), unit=ezdxf.units.IN
    )
    part = part_of(tmp_path, name)
    # the spline itself strays from the circle toward its ends
    middle = part.mean_curvature(np.array([0.5 * part.length]), 5.0)[0]
    assert 1.0 / middle == pytest.approx(76.2, rel=2.0e-3)
    assert part.length == pytest.approx(76.2 * 1.5, rel=1.0e-4)


def square(space):
    space.add_lwpolyline([(0, 0), (50, 0), (50, 50)])


def closed(space):
    space.add_circle((0, 0), 30)
    space.add_lwpolyline([(0, 0), (50, 0), (50, 50)], close=True)


def cornered(space):
    space.add_line((0, 0), (50, 0))
    space.add_arc((50, 30), 30, 0, 90)


@pytest.mark.parametrize(
    ("draw", "words"),
    [
        (square, "has corners and only 3 points"),
        (closed, "closed"),
        (cornered, "outlines"),
        (lambda space: space.add_text("nothing"), "holds no outline"),
        (
            lambda space: (
                space.add_line((0, 0), (30, 0)),
                space.add_arc((30, 30), 30, 0, 90),
                space.add_line((30, 0), (60, 30)),
            ),
            "corner",
        ),
    ],
)
def test_a_drawing_that_is_no_single_smooth_outline_is_refused(tmp_path, draw, words):
    with pytest.raises(InputError) as caught:
        read(tmp_path, drawing(tmp_path, draw))
    assert words in str(caught.value)
    assert "part.dxf" in str(caught.value)


def test_a_drawing_without_unit_or_a_file_that_is_none_is_refused(tmp_path):
    with pytest.raises(InputError, match="does not tell its unit"):
        read(tmp_path, drawing(tmp_path, polyline, unit=0))
    (tmp_path / "bad.dxf").write_text("nothing of the kind", encoding="utf-8")
    with pytest.raises(InputError, match="not a DXF drawing"):
        read(tmp_path, "bad.dxf")
    with pytest.raises(InputError, match="no such file"):
        read(tmp_path, "none.dxf")

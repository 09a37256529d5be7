"""A job across the width: limits, symmetry, and what the trade sees."""

import math
from functools import cache

import numpy as np
import pytest
from rig import report

from pinchline.analysis.across import _at_the_edges, across, shape_across
from pinchline.case.case import parse_case
from pinchline.errors import InputError
from pinchline.physics.shaft import mean_influence, strips
from pinchline.reports.questions.across import across_picture, across_words
from pinchline.solvers.stepped.program import run_case
from pinchline.solvers.stepped.roll_offsets import POINTS, Log, Track
from pinchline.solvers.supports import roll_shaft

pytestmark = pytest.mark.verification

TEXT = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "190 mm"
width = "400 mm"
{sheet}
[machine]
use = "bench-60"
{machine}
[model]
element = "0.5 mm"
[[move]]
kind = "place"
at = "150 mm"
[[move]]
kind = "lift"
to = "24 mm"
[[move]]
kind = "feed"
toward = "rear"
by = "110 mm"
[[move]]
kind = "lower"
[[move]]
kind = "release"
"""


def case(machine="", sheet=""):
    return parse_case(TEXT.format(machine=machine, sheet=sheet), path="across.toml")


@cache
def done(machine="", sheet="", stations=3):
    return across(case(machine, sheet), stations=stations, workers=1)


def radii(found):
    return np.array([station.radius for station in found.stations])


def test_the_middle_of_a_bowed_roll_bends_less():
    """Rolls bow away at mid-length: barrel, the middle larger in diameter.

    K. Jorgenson, The Fabricator, Oct 2013 (references.md section 8).
    """
    found = done()
    left, middle, right = radii(found)
    report("radius in the middle over the edges', mm", middle, left)
    assert middle > 1.02 * left
    assert found.barrel > 0.0
    assert left == pytest.approx(right)
    assert found.taper == pytest.approx(0.0, abs=1e-6)
    # the line of the upper roll stands farther off in the middle
    shifts = [station.shifts[0] for station in found.stations]
    assert shifts[1] > 0.0 > shifts[0]
    assert found.settled
    assert np.mean([station.shifts for station in found.stations], axis=0) == (
        pytest.approx(np.zeros(3), abs=0.05 * shifts[1])
    )


def test_two_strips_cannot_show_a_barrel():
    """Through two radii no parabola is drawn: no number, not zero."""
    barrel, taper, _ = shape_across(
        np.array([-1.0, 1.0]), np.array([80.0, 82.0]), 400.0
    )
    assert math.isnan(barrel)
    assert taper == pytest.approx(400.0)


def test_the_roll_stands_off_by_what_the_strips_make_it_bend():
    """The shifts are the shaft's own deflection from its mean: one shaft, by hand.

    Upper roll at the moment it is pushed hardest in the middle; every strip is pushed
    hardest then, in the raise at rest, to 2 % of the bow.
    """
    found = done()
    start, stop = strips(400.0, 0.0, 640.0, 3)
    bent = mean_influence(roll_shaft(case().machine, 0), start, stop)
    forces = np.array([station.forces[0] for station in found.stations])
    line = bent @ forces
    shifts = [station.shifts[0] for station in found.stations]
    assert shifts == pytest.approx(line - np.mean(line), abs=0.02 * np.ptp(line))


def test_the_whole_width_asks_of_the_machine_what_one_strip_of_it_would():
    """Every limit set at half of what the job of `run` asks: all strips exceed it.

    And at twice of it none does: the strips together ask within a few percent what one
    job over the whole width does.
    """
    asked = run_case(case()).summary
    limits = {
        "effort exceeded": ("crank.max_hand_force", "hand_force_max", "N"),
        "screw force exceeded": ("rear.max_screw_force", "screw_force_max", "N"),
        "screw torque exceeded": ("rear.max_screw_torque", "screw_torque_max", "N mm"),
        "pinch force exceeded": ("nip.max_force", "pinch_force_max", "N"),
    }

    def exceeded_at(share):
        found = done(
            "\n".join(
                f'{key} = "{share * asked[name]} {unit}"'
                for key, name, unit in limits.values()
            )
        )
        return found, {excess.kind for _, excess in found.excesses}

    found, kinds = exceeded_at(0.5)
    assert kinds == set(limits)
    assert f"LIMIT over the whole width: move {found.excesses[0][0]}, " in (
        across_words(found, "", "metric")
    )
    assert not exceeded_at(2.0)[1]


def test_rolls_that_slip_over_the_whole_width_are_said_to():
    found = done("nip.friction = 0.005")
    assert {excess.kind for _, excess in found.excesses} == {"grip exceeded"}


def test_within_its_limits_the_machine_is_said_to_be():
    words = across_words(done(), "", "metric")
    assert not done().excesses
    assert "exceed no limit" in words
    assert "carried on" in words


@pytest.mark.parametrize(("system", "unit"), [("metric", "mm"), ("inch", "in")])
def test_the_picture_shows_the_differences_in_the_asked_unit(system, unit):
    """The axis of radii does not start at zero, and magnifies nothing below 1 %."""
    top, bottom = across_picture(done(), "", system).axes
    assert top.get_ylabel() == f"radius, {unit}"
    low, high = top.get_ylim()
    drawn = top.lines[0].get_ydata()
    assert 0.8 * drawn.min() < low < drawn.min()
    assert drawn.max() < high < 1.2 * drawn.max()
    assert bottom.get_ylim()[0] == 0.0


def test_the_force_at_the_side_edge_does_not_depend_on_the_strips():
    """A line force that is a parabola: at the edge of 400 mm always the same."""
    for count in (3, 5, 15):
        z = (np.arange(count) + 0.5 - 0.5 * count) * 400.0 / count
        edge = _at_the_edges(z, 9.0 + 1e-3 * z + 7e-5 * z**2, 400.0)
        assert edge == pytest.approx(9.0 + 0.2 + 2.8)


def test_rolls_that_do_not_bend_leave_no_barrel():
    """Limit: all give in the bearings, so every place is the job of `run`.

    Rolls of a thousandfold modulus bend by a thousandth; 0.2 % for what is left.
    """
    machine = (
        'rolls.shaft = {span = "640 mm", bearing_stiffness = "20 kN/mm", '
        'youngs_modulus = "206000 GPa"}'
    )
    found = done(machine)
    alone = run_case(case(machine))
    for station in found.stations:
        zone = station.result.summary
        k = alone.sheet["curvature_residual"]
        s = alone.sheet["s"]
        inside = (s > zone["zone_from"]) & (s < zone["zone_to"])
        single = float(1.0 / np.mean(k[inside]))
        together = zone["radius_zone_mean"]
        assert abs(report("radius of a station", together, single)) < 2.0e-3


def test_a_skewed_rear_roll_makes_a_cone_and_its_mirror_image():
    """A rear roll not parallel to the nip makes a cone (references.md section 8).

    Tighter where it stands higher; by symmetry the other way round for the other skew.
    """
    up, down = done('rear.skew = "1 mm"'), done('rear.skew = "-1 mm"')
    assert radii(up) == pytest.approx(radii(down)[::-1], rel=1e-9)
    assert radii(up)[2] < radii(done())[2] < radii(up)[0]
    report("taper, mm", up.taper, -down.taper)
    assert up.taper == pytest.approx(-down.taper, rel=1e-9)
    assert up.taper < 0.0
    lifts = [station.lift for station in up.stations]
    assert lifts == pytest.approx([24.0 - 0.2083, 24.0, 24.0 + 0.2083], abs=1e-3)


def test_an_off_centre_sheet_bends_less_where_the_rolls_bow_most():
    """The strip nearest mid-span sees the largest bow; common practice, no source."""
    found = done(sheet='off_centre = "100 mm"', stations=2)
    assert found.stations[0].shifts[0] > found.stations[1].shifts[0]
    assert found.stations[0].radius > found.stations[1].radius


def test_barrel_taper_and_cone_are_geometry():
    """A cone of half angle a: the radius square to the ruling grows by tan a along it.

    Exact for radii on a parabola.
    """
    z = np.array([-150.0, -50.0, 50.0, 150.0])
    slope = math.tan(math.radians(1.5))
    barrel, taper, cone = shape_across(z, 80.0 + slope * z - 1e-4 * z**2, 400.0)
    assert barrel == pytest.approx(1e-4 * 200.0**2)
    assert taper == pytest.approx(400.0 * slope)
    assert math.degrees(cone) == pytest.approx(3.0)


def test_a_track_is_read_where_it_was_written():
    """Linear between the points, and constant through a move without steps."""
    log = Log()
    log.note(1, 0.0, np.array([1.0, 2.0]))
    log.note(1, 1.0, np.array([3.0, 0.0]))
    track = log.track(2)
    assert track.values.shape == (2, POINTS, 2)
    assert track.at(1, 0.25) == pytest.approx([1.5, 1.5])
    assert track.at(2, 0.7) == pytest.approx([3.0, 0.0])
    assert Track(track.values).at(1, 2.0) == pytest.approx([3.0, 0.0])


@pytest.mark.parametrize(
    ("machine", "stations", "part"),
    [('nip.clearance = "0 mm"', 3, "do not bend"), ("", 1, "2 to 25")],
)
def test_what_cannot_be_solved_across_is_refused(machine, stations, part):
    with pytest.raises(InputError, match=part):
        across(case(machine), stations=stations, workers=1)

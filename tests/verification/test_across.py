"""A job across the width: limits, symmetry, and what the trade sees."""

import math
from functools import cache

import numpy as np
import pytest
from rig import report

from pinchline.analysis.across import across, shape_across
from pinchline.errors import InputError
from pinchline.model.case import parse_case
from pinchline.process.programme import run_case
from pinchline.process.track import POINTS, Log, Track

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

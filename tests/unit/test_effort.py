"""Grip, crank, screws: from forces to what hands and bearings feel."""

import math

import numpy as np
import pytest

from pinchline.model.case import parse_case
from pinchline.process.effort import raising_torque
from pinchline.process.programme import run_case

TEXT = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "200 mm"
width = "400 mm"
{sheet}
[machine]
use = "bench-60"
{machine}
[[move]]
kind = "place"
at = "120 mm"
[[move]]
kind = "lift"
to = "20 mm"
[[move]]
kind = "feed"
toward = "rear"
by = "60 mm"
[[move]]
kind = "lower"
[[move]]
kind = "release"
"""


def run(machine="", sheet=""):
    return run_case(
        parse_case(TEXT.format(machine=machine, sheet=sheet), path="effort.toml")
    )


def test_the_torque_of_a_power_screw_is_the_textbook_example():
    """Shigley & Mischke, Mechanical Engineering Design, power-screw example (from
    memory): 6.4 kN on a square thread of 32 mm, double, pitch 4 mm, friction 0.08,
    mean diameter 30 mm, lead 8 mm: 26.18 N m to raise, of which 10.24 N m are the
    collar's, which we leave out.
    """
    torque = raising_torque(6400.0, 8.0, 30.0, 0.08)
    assert torque == pytest.approx(15.94e3, abs=5.0)


def test_without_friction_a_turn_lifts_the_load_by_its_lead():
    """Work of one turn = load times lead."""
    torque = raising_torque(1000.0, 1.5, 16.0, 0.0)
    assert 2.0 * math.pi * torque == pytest.approx(1000.0 * 1.5)


def test_crank_and_screws_follow_from_the_forces():
    """Crank radius 180, gears 2.5, efficiency 0.8, rolls of 30 mm: the card's."""
    result = run()
    steps = result.steps
    fed = steps["move"] == 3
    at_rolls = np.abs(steps["drive_force"][fed]) * 400.0 * 30.0
    torque = steps["crank_torque"][fed]
    assert torque == pytest.approx(at_rolls / (2.5 * 0.8))
    assert steps["hand_force"][fed] == pytest.approx(torque / 180.0)
    # the rear roll pushes square to the sheet; the screws bear what lies along them
    half = 0.5 * 400.0 * steps["force_rear"][fed]
    assert np.all(steps["screw_force"][fed] <= half + 1e-9)
    assert np.all(steps["screw_force"][fed] > 0.7 * half)
    assert result.summary["screw_torque_max"] > 0.0


def test_an_off_centre_sheet_loads_one_screw_more():
    """Lever rule: half and the offset over the span of 640 mm."""
    sheet = run(sheet='off_centre = "100 mm"')
    steps, even = sheet.steps, run().steps
    share = 0.5 + 100.0 / 640.0
    pushed = steps["force_rear"] > 0.1
    ratio = steps["screw_force"][pushed] / (400.0 * steps["force_rear"][pushed])
    other = even["force_rear"] > 0.1
    base = even["screw_force"][other] / (400.0 * even["force_rear"][other])
    assert ratio[-1] / base[-1] == pytest.approx(share / 0.5, rel=0.02)


@pytest.mark.parametrize(
    ("machine", "kind"),
    [
        ('crank.max_hand_force = "2 N"', "effort exceeded"),
        ('rear.max_screw_force = "50 N"', "screw force exceeded"),
        ('rear.max_screw_torque = "0.05 N m"', "screw torque exceeded"),
        ('nip.max_force = "2 kN"', "pinch force exceeded"),
        ("nip.friction = 0.01", "grip exceeded"),
    ],
)
def test_a_limit_of_the_machine_stops_the_move_and_says_so(machine, kind):
    result = run(machine)
    stops = [event for event in result.events if event.level == "stop"]
    assert [event.kind for event in stops] == [kind]
    assert kind in stops[0].message
    assert result.stopped
    assert result.steps["move"][-1] == 5  # lowered and taken out all the same

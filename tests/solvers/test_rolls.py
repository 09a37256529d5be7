"""Where the rolls stand: frame and signs, one by one."""

import math

import numpy as np
import pytest

from pinchline.case.case import load_case, parse_case
from pinchline.case.layout import rear_roll_centre
from pinchline.case.machine import load_machine
from pinchline.solvers.rolls import (
    LOWER,
    REAR,
    UPPER,
    jam_lift,
    roll_table,
    wrap_curvature,
)
from pinchline.solvers.stepped.program import run_case


def test_the_upper_roll_stands_above_the_lower_below_the_nip():
    table = roll_table(load_machine("bench-60"), 1.0, 0.0, (0.001, 0.002))
    assert table[UPPER, 1] == 30.0 + 1.0 / 2.0 - 0.001
    assert table[LOWER, 1] == -30.0 - 1.0 / 2.0 + 0.002
    assert table[REAR, 0] == 64.0


def test_the_rear_roll_touches_the_flat_sheet_from_below_at_no_lift():
    x, y = rear_roll_centre(load_machine("bench-60"), 1.0, 0.0)
    assert x == 64.0
    assert y + 30.0 == pytest.approx(-0.5)  # underside of the sheet


def test_lift_goes_up_and_toward_the_nip_on_a_leaning_slide():
    machine = load_machine("bench-60")
    (x0, y0), (x1, y1) = (rear_roll_centre(machine, 1.0, lift) for lift in (0.0, 10.0))
    assert y1 - y0 == pytest.approx(10.0 * math.sin(math.radians(80)))
    assert x1 - x0 == pytest.approx(-10.0 * math.cos(math.radians(80)))


def test_at_the_jam_the_rolls_stand_one_thickness_apart():
    machine = load_machine("bench-60")
    lift = jam_lift(machine, 1.0)
    table = roll_table(machine, 1.0, lift)
    apart = np.hypot(*(table[REAR, :2] - table[UPPER, :2]))
    assert apart == pytest.approx(30.0 + 30.0 + 1.0, abs=1.0e-9)


def test_the_wrap_curvature_is_that_of_the_mid_line():
    assert wrap_curvature(load_machine("bench-50"), 2.0) == 1.0 / 26.0


def test_a_raised_rear_roll_curls_the_sheet_up_with_positive_curvature():
    text = load_case("strut-fairing").text
    result = run_case(parse_case(text[: text.index('kind = "feed"') - 9], path="x"))
    assert np.max(result.sheet["curvature_residual"]) > 0.01
    assert np.min(result.sheet["curvature_residual"]) > -1.0e-9
    assert result.sheet["y"][-1] > 10.0


def test_the_drive_pushes_the_way_the_sheet_is_fed():
    steps = run_case(load_case("strut-fairing")).steps
    there = steps["drive_force"][steps["move"] == 3]
    back = steps["drive_force"][steps["move"] == 5]
    assert np.median(there) > 0.3
    assert np.min(back) < -0.3

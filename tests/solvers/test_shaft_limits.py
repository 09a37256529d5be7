"""Strips, shapes and rounding of the roll as a shaft."""

import math

import numpy as np
import pytest

from pinchline.physics.shaft import (
    Shaft,
    bearing_loads,
    influence,
    mean_compliance,
    mean_influence,
    middle_compliance,
    strips,
)

L = 520.0
ROLL = Shaft(L, 60.0, 20.0, 205.0e3, 0.3, 5.0e4)


def test_strips_lie_side_by_side_over_the_sheet():
    start, stop = strips(400.0, 30.0, L, 7)
    assert start.shape == stop.shape == (7,)
    assert np.array_equal(start[1:], stop[:-1])
    assert start[0] == pytest.approx(90.0)
    assert stop[-1] == pytest.approx(490.0)
    assert np.ptp(stop - start) < 1.0e-12


def test_rows_are_places_and_columns_are_strips():
    start, stop = strips(400.0, 30.0, L, 7)
    z = np.linspace(0.0, L, 5)
    assert influence(ROLL, z, start, stop).shape == (5, 7)
    assert mean_influence(ROLL, start, stop).shape == (7, 7)


def test_strips_together_are_the_sheet():
    """Source: the equations are linear."""
    start, stop = strips(400.0, 30.0, L, 7)
    z = np.linspace(0.0, L, 11)
    whole = influence(ROLL, z, start[:1], stop[-1:])[:, 0]
    # rounding
    assert influence(ROLL, z, start, stop).sum(axis=1) == pytest.approx(
        whole, rel=1e-12
    )
    means = mean_influence(ROLL, start, stop).sum(axis=1)
    assert means.mean() == pytest.approx(mean_compliance(ROLL, 400.0, 30.0), rel=1e-12)


def test_left_and_right_are_mirror_images():
    start, stop = strips(300.0, 50.0, L, 5)
    z = np.linspace(0.0, L, 11)
    seen = influence(ROLL, L - z, L - stop, L - start)
    # rounding of the mirrored places
    assert seen == pytest.approx(influence(ROLL, z, start, stop), rel=1.0e-12)
    for compliance in mean_compliance, middle_compliance:
        mirrored = compliance(ROLL, 300.0, -50.0)
        assert mirrored == pytest.approx(compliance(ROLL, 300.0, 50.0), rel=1.0e-12)


def test_a_sheet_off_toward_the_right_bears_on_the_right():
    start, stop = strips(300.0, 50.0, L, 5)
    left, right = bearing_loads(ROLL, start, stop, np.full(5, 12.0))
    assert right > left
    assert left + right == pytest.approx(3600.0)


def test_rigid_bearings_hold_the_ends():
    rigid = ROLL._replace(bearing_stiffness=math.inf)
    start, stop = strips(300.0, 50.0, L, 5)
    ends = influence(rigid, np.array([0.0, L]), start, stop)
    inside = influence(rigid, np.array([L / 2.0]), start, stop)
    # zero as a difference of cubes of the span: rounding
    assert np.max(np.abs(ends)) < 1.0e-13 * np.min(inside)


@pytest.mark.parametrize("count", [10, 100, 300])
def test_narrow_strips_keep_their_digits(count):
    """A strip's own mean, near that of its middle; rounding (span over strip)^2."""
    start, stop = strips(400.0, 0.0, L, count)
    means = mean_influence(ROLL, start, stop)
    middles = influence(ROLL, 0.5 * (start + stop), start, stop)
    width = 400.0 / count
    middle = 0.5 * (start + stop)
    # the curvature of the line, w^2/8ab by Taylor, and its kink of shear under the
    # load, w/24 kGA: 0.8 % of w/L of this roll
    bent = width**2 / (8.0 * middle * (L - middle))
    apart = np.abs(means / middles - 1.0)
    assert np.all(apart < bent[:, None] + 0.01 * width / L)
    longer = start.astype(np.longdouble), stop.astype(np.longdouble)
    exact = mean_influence(ROLL, *longer)
    worst = float(np.max(np.abs(means / exact - 1.0)))
    # ten roundings or so of 1e-16
    assert worst < 1.0e-15 * (L / width) ** 2 + 1.0e-13

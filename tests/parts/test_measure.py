"""What is measured on a free part, on shapes whose measures are known by geometry."""

import math

import numpy as np
import pytest

from pinchline.parts.measure import (
    Outline,
    chord_and_rise,
    fit_circle,
    free_outline,
    halves_difference,
    moment_flat,
    opening,
    plateau,
    straightedge_flat,
)


def outline(*pieces, element=0.25):
    """Free part of (length, curvature) pieces; with it s of the nodes."""
    curvature = np.concatenate([np.full(round(a / element), k) for a, k in pieces])
    s = np.arange(curvature.size + 1) * element
    return free_outline(curvature, element), s, curvature


def arc(radius, angle, count=60, start=0.3):
    at = start + np.linspace(0.0, angle, count)
    return 7.0 + radius * np.cos(at), -3.0 + radius * np.sin(at)


# ---------------------------------------------------------------------- free outline


@pytest.mark.parametrize("count", [1, 3, 50])
def test_an_arc_is_laid_out_exactly_however_few_its_elements(count):
    radius, angle = 40.0, 1.2
    element = radius * angle / count
    x, y, theta = free_outline(np.full(count, 1.0 / radius), element)
    assert x[-1] == pytest.approx(radius * math.sin(angle), rel=1e-12)
    assert y[-1] == pytest.approx(radius * (1.0 - math.cos(angle)), rel=1e-12)
    assert theta[-1] == pytest.approx(angle, rel=1e-12)


def test_the_operators_edge_is_level_at_the_origin():
    part, _, _ = outline((10.0, 0.0), (20.0, 0.05))
    assert (part.x[0], part.y[0], part.theta[0]) == (0.0, 0.0, 0.0)
    assert np.all(part.y[:40] == 0.0)
    assert part.y[-1] > 0.0, "positive curvature curls up"


# ---------------------------------------------------------------- straightedge, flats


@pytest.mark.parametrize("from_end", [False, True])
def test_a_straightedge_gapes_where_the_arc_leaves_its_tangent(from_end):
    radius, gap, flat = 50.0, 0.1, (12.0, 8.0)
    part, s, _ = outline((flat[0], 0.0), (60.0, 1.0 / radius), (flat[1], 0.0))
    # R (1 - cos a) = gap
    reach = flat[from_end] + radius * math.acos(1.0 - gap / radius)
    found = straightedge_flat(part, s, gap, from_end=from_end)
    assert found == pytest.approx(reach, abs=0.01)  # linear between nodes 0.25 apart


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_straightedge_sees_both_ways_of_curling(sign):
    part, s, _ = outline((10.0, 0.0), (40.0, sign / 50.0))
    reach = 10.0 + 50.0 * math.acos(1.0 - 0.1 / 50.0)
    found = straightedge_flat(part, s, 0.1, from_end=False)
    assert found == pytest.approx(reach, abs=0.01)


@pytest.mark.parametrize("from_end", [False, True])
def test_a_flat_sheet_is_flat_over_its_length(from_end):
    part, s, _ = outline((30.0, 0.0))
    assert straightedge_flat(part, s, 0.1, from_end=from_end) == pytest.approx(30.0)


def test_a_wider_gap_lets_the_straightedge_reach_further():
    part, s, _ = outline((5.0, 0.0), (40.0, 0.02))
    reach = [
        straightedge_flat(part, s, gap, from_end=False) for gap in (0.05, 0.1, 0.4)
    ]
    assert reach == sorted(reach)
    assert reach[2] - 5.0 == pytest.approx(2.0 * (reach[1] - 5.0), rel=0.01)


@pytest.mark.parametrize("from_end", [False, True])
def test_the_moment_flat_ends_between_elements(from_end):
    # moment grows linearly from nothing at the edge: crosses first yield at 13.7 mm
    length, first, at = 0.5, 40.0, 13.7
    middles = (np.arange(100) + 0.5) * length
    peak = first * middles / at
    peak = peak[::-1] if from_end else peak
    found = moment_flat(peak, length, first, from_end=from_end)
    assert found == pytest.approx(at, rel=1e-12)
    assert moment_flat(-peak, length, first, from_end=from_end) == pytest.approx(at)


def test_the_moment_flat_of_a_sheet_never_and_always_yielded():
    calm, bent = np.full(20, 9.0), np.full(20, 11.0)
    assert moment_flat(calm, 0.5, 10.0, from_end=False) == pytest.approx(10.0)
    assert moment_flat(bent, 0.5, 10.0, from_end=False) == 0.0
    assert moment_flat(bent, 0.5, 10.0, from_end=True) == 0.0


# ------------------------------------------------------------------------ circle


@pytest.mark.parametrize(
    ("radius", "angle"), [(6.0, 5.5), (50.0, 1.0), (300.0, 0.05), (2.0e4, 0.002)]
)
def test_a_circle_through_an_arc_is_its_circle(radius, angle):
    found = fit_circle(*arc(radius, angle))
    assert found.radius == pytest.approx(radius, rel=1e-6)
    assert found.residual == pytest.approx(0.0, abs=1e-9 * radius)
    if angle > 0.5:
        assert (found.x, found.y) == pytest.approx((7.0, -3.0), abs=1e-6)


def test_a_noisy_arc_keeps_its_radius_and_shows_its_noise():
    random = np.random.default_rng(3)
    radius, noise, count = 80.0, 0.05, 4000
    x, y = arc(radius, 1.5, count)
    x = x + random.normal(0.0, noise, count)
    y = y + random.normal(0.0, noise, count)
    found = fit_circle(x, y)
    # R over an arc of 1.5 rad is ten times as uncertain as a mean of 4000: 0.01 mm
    assert found.radius == pytest.approx(radius, abs=0.05)
    # only the radial part of the noise counts
    assert found.residual == pytest.approx(noise, rel=0.05)


def test_the_fit_is_of_least_orthogonal_distance():
    """No neighbouring circle lies nearer; an algebraic fit would be smaller."""
    random = np.random.default_rng(5)
    x, y = arc(60.0, 0.6, 200)
    x, y = x + random.normal(0.0, 0.1, 200), y + random.normal(0.0, 0.1, 200)
    best = fit_circle(x, y)

    def distance(cx, cy, radius):
        return math.sqrt(np.mean((np.hypot(x - cx, y - cy) - radius) ** 2))

    here = distance(best.x, best.y, best.radius)
    assert here == pytest.approx(best.residual, rel=1e-12)
    for step in np.eye(3) * 0.05:
        for side in (1.0, -1.0):
            there = np.array([best.x, best.y, best.radius]) + side * step
            assert distance(*there) > here


@pytest.mark.parametrize(
    ("x", "y"),
    [
        (np.linspace(0.0, 50.0, 20), np.zeros(20)),
        (np.linspace(0.0, 50.0, 20), np.linspace(3.0, -40.0, 20)),
        (np.array([0.0, 1.0]), np.array([0.0, 1.0])),
        (np.array([]), np.array([])),
        (np.full(9, 2.0), np.full(9, 5.0)),
    ],
    ids=["level", "oblique", "two points", "none", "one place"],
)
def test_no_circle_goes_through_a_straight_line(x, y):
    assert all(math.isnan(value) for value in fit_circle(x, y))


# ------------------------------------------------------------- chord, rise, opening


@pytest.mark.parametrize(
    ("radius", "chord", "rise", "length"),
    [
        (10.0, 10.0, 1.339746, 10.471976),
        (10.0, 5.0, 0.317542, 5.053605),
        (50.0, 24.0, 1.461356, 24.236585),
        (6.0, 4.0, 0.343146, 4.078043),
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_chord_and_rise_of_an_arc(radius, chord, rise, length, sign):
    """Sagitta of published arcs: references.md 10.2, exact."""
    n = 200  # even: a node lies at the crown
    part = free_outline(np.full(n, sign / radius), length / n)
    found = chord_and_rise(part, 0, n)
    assert found == pytest.approx((chord, rise), abs=1e-6)
    c, s = found
    assert c * c / (8.0 * s) + s / 2.0 == pytest.approx(radius, rel=1e-5)


def test_chord_and_rise_of_a_part_within_a_part():
    part, s, _ = outline((15.0, 0.0), (40.0, 1.0 / 30.0), (15.0, 0.0))
    start, stop = np.searchsorted(s, (25.0, 45.0))
    chord, rise = chord_and_rise(part, int(start), int(stop))
    half = 20.0 / 30.0 / 2.0
    assert chord == pytest.approx(60.0 * math.sin(half), rel=1e-9)
    assert rise == pytest.approx(30.0 * (1.0 - math.cos(half)), rel=1e-9)


def test_a_chord_of_nothing_has_no_rise():
    part, _, _ = outline((20.0, 0.1))
    chord, rise = chord_and_rise(part, 7, 7)
    assert chord == 0.0
    assert math.isnan(rise)


def test_three_quarters_of_a_circle_open_by_root_two_radii():
    radius, n = 25.0, 300
    length = 1.5 * math.pi * radius
    part = free_outline(np.full(n, 1.0 / radius), length / n)
    s = np.linspace(0.0, length, n + 1)
    assert opening(part, s, 0.0, length) == pytest.approx(math.sqrt(2.0) * radius)
    assert opening(part, s, length, 0.0) == pytest.approx(math.sqrt(2.0) * radius)
    # two gauge lines half a turn apart stand a diameter apart
    quarter, rest = length / 6.0, length / 6.0 + math.pi * radius
    assert opening(part, s, quarter, rest) == pytest.approx(2.0 * radius, rel=1e-4)


def test_an_opening_between_nodes_lies_on_the_line_between_them():
    s = np.array([0.0, 1.0, 2.0])
    part = Outline(np.array([0.0, 1.0, 1.0]), np.array([0.0, 0.0, 1.0]), np.zeros(3))
    assert opening(part, s, 0.5, 1.5) == pytest.approx(math.hypot(0.5, 0.5))


# ----------------------------------------------------------------------- plateau


def test_the_plateau_lies_between_crease_and_waves():
    curvature = np.zeros(200)
    curvature[20:30] = np.linspace(0.002, 0.0198, 10)
    curvature[30:120] = 0.020 + 0.0005 * np.sin(np.arange(90))
    curvature[120:124] = 0.045
    curvature[124:160] = 0.0205
    curvature[160:180] = np.linspace(0.02, 0.0, 20)
    found = plateau(curvature, 1.0e-4)
    assert found is not None
    start, stop = found
    assert 27 <= start <= 30
    assert stop == 120


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_plateau_may_vary_by_ten_percent_in_all(sign):
    def longest(spread):
        steps = 0.02 * (1.0 + spread * np.linspace(-0.5, 0.5, 101))
        found = plateau(sign * steps, 1.0e-4)
        assert found is not None
        return found[1] - found[0]

    assert longest(0.099) == 101
    # at the curved end, where a tenth of the curvature is most: 0.0021 (n - 1) <= 0.11
    assert longest(0.2) == 53


def test_the_longest_plateau_is_found_among_all_runs():
    """The sliding band against the search through all pairs."""
    random = np.random.default_rng(11)
    for _ in range(30):
        curvature = 0.02 * (1.0 + np.cumsum(random.normal(0.0, 0.02, 60)))
        curvature[random.integers(0, 60, 3)] = 0.0
        most = 0
        for i in range(60):
            for j in range(i + 1, 61):
                run = curvature[i:j]
                low, high = run.min(), run.max()
                bent = np.all(np.abs(run) >= 1.0e-3)
                if bent and high - low <= 0.1 * 0.5 * abs(high + low):
                    most = max(most, j - i)
        found = plateau(curvature, 1.0e-3)
        assert (0 if found is None else found[1] - found[0]) == most


def test_a_flat_sheet_has_no_plateau():
    assert plateau(np.zeros(50), 1.0e-4) is None
    assert plateau(np.full(50, 0.5e-4), 1.0e-4) is None


# ----------------------------------------------------------------- the two halves


def test_halves_differ_by_the_rear_over_the_operators():
    curvature = np.concatenate([np.zeros(10), np.full(40, 0.02), np.full(50, 0.022)])
    assert halves_difference(curvature, 1e-4) == pytest.approx(0.002 / 0.021)
    assert halves_difference(curvature[::-1], 1e-4) == pytest.approx(-0.002 / 0.021)
    assert halves_difference(-curvature, 1e-4) == pytest.approx(0.002 / 0.021)


def test_equal_halves_do_not_differ_and_a_flat_half_has_no_answer():
    assert halves_difference(np.full(41, 0.03), 1e-4) == 0.0
    half_flat = np.concatenate([np.zeros(30), np.full(30, 0.03)])
    assert math.isnan(halves_difference(half_flat, 1e-4))
    assert math.isnan(halves_difference(np.zeros(60), 1e-4))

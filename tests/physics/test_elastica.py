"""Large deflection of an elastic strip against the elastica."""

import math

import numpy as np
import pytest
import rig
from scipy.integrate import quad
from scipy.special import ellipeinc, ellipkinc

from pinchline.verify import elastica

pytestmark = pytest.mark.verification

L, T = elastica.LENGTH, elastica.THICKNESS


def published_cantilever(alpha):
    """Tip down and short of L over L, and tip slope, by elliptic integrals."""

    def parts(k):
        phi = math.asin(1.0 / (k * math.sqrt(2.0)))
        f = ellipkinc(math.pi / 2, k * k) - ellipkinc(phi, k * k)
        e = ellipeinc(math.pi / 2, k * k) - ellipeinc(phi, k * k)
        return f, e

    low, high = math.sqrt(0.5) + 1.0e-12, 1.0 - 1.0e-12
    for _ in range(200):
        k = 0.5 * (low + high)
        low, high = (k, high) if parts(k)[0] ** 2 < alpha else (low, k)
    slope = math.asin(2.0 * k * k - 1.0)
    down = 1.0 - 2.0 / math.sqrt(alpha) * parts(k)[1]
    return down, 1.0 - math.sqrt(2.0 * math.sin(slope) / alpha), slope


@pytest.mark.parametrize("row", elastica.CANTILEVER, ids=lambda row: f"{row[0]:g}")
def test_a_cantilever_bends_as_the_elliptic_integrals_say(row):
    """Tip load across a cantilever, alpha = P L^2 / EI.

    Source: K. Mattiasson, Int. J. Numer. Meth. Engng 17 (1981) 145-153, table 1, and
    Bisshopp & Drucker, Q. Appl. Math. 3 (1945) 272-275 (references.md 1.1).
    """
    alpha, *published = row
    ((_, computed),) = elastica.cantilevers([alpha], 128)
    for name, value, truth in zip(
        elastica.CANTILEVER_NAMES, computed, published, strict=True
    ):
        # 128 elements err by 3e-5 at most, the table by half of its sixth decimal;
        # asked: 0.1 %
        most = elastica.cantilever_tolerance(truth)
        assert rig.report(name, value, truth) < most


@pytest.mark.parametrize("alpha", [1.0, 10.0])
def test_the_error_falls_with_the_square_of_the_element(alpha):
    """Observed order of convergence on 8, 16, 32 and 64 elements.

    Source: two-node elements with one integration point are second order (J. C. Simo,
    Comput. Meth. Appl. Mech. Eng. 49 (1985) 55-70); exact values by elliptic integrals.
    """
    exact = published_cantilever(alpha)
    errors = []
    for elements in (8, 16, 32, 64):
        ((_, values),) = elastica.cantilevers([alpha], elements)
        errors.append([abs(v - e) for v, e in zip(values[:3], exact, strict=True)])
    names = ("w/L", "u/L", "tip slope")
    for name, column in zip(names, np.transpose(errors), strict=True):
        for i, order in enumerate(np.log2(column[:-1] / column[1:])):
            rig.report(f"order of {name}, mesh {8 * 2**i} to {16 * 2**i}", order, 2.0)
            # coarse meshes are not quite in the asymptotic range
            assert abs(order - 2.0) < 0.2


def test_the_elliptic_integrals_reproduce_the_table():
    """The judge itself: Mattiasson (1981), table 1."""
    for alpha, *published, _ in elastica.CANTILEVER:
        for value, row in zip(published_cantilever(alpha), published, strict=True):
            # six decimals printed
            assert rig.report(f"alpha {alpha:g}", value, row) < 5.1e-7 / row


@pytest.mark.parametrize("turn", elastica.END_MOMENT_TURNS)
def test_an_end_moment_rolls_the_strip_up_to_an_arc(turn):
    """M = phi EI / L: tip at sin(phi)/phi and (1 - cos(phi))/phi; phi = 2 pi closes.

    Source: exact, any text (references.md 1.2).
    """
    n, phi = 200, turn * math.pi
    strip, apart = elastica.rolled_up(turn, n)
    c = strip.chain
    rig.report("tip from its place, over L", apart, 0.0)
    rig.report("slope", c.theta[-1], phi)
    # a polygon of n chords, each as long as its arc: too large by phi^2/24 n^2 (4e-5
    # here), but it closes exactly
    most = 1.0e-6 if turn == 2.0 else phi**2 / 20.0 / n**2
    assert apart < most
    assert c.theta[-1] == pytest.approx(phi, rel=1.0e-9)
    assert np.ptp(c.curvature) < 1.0e-6 * phi / L


def test_a_positive_moment_curls_the_strip_up():
    """Sign: positive curvature curls up, round the upper roll. Source: design.md 4."""
    strip = rig.StripFixture(elastica.elastic(), L, 10, T)
    strip.clamp()
    strip.push(10, rig.THETA, 0.5 * strip.beam.bending / L)
    strip.settle()
    assert strip.chain.y[-1] > 0.0
    assert np.all(strip.chain.curvature > 0.0)


@pytest.mark.parametrize("attitude", [0.0, 0.7, -2.0])
def test_a_short_strip_also_shears_and_stretches(attitude):
    """Tip P L^3/3EI + P L/GA across and P L/EA along, for small loads, in any attitude.

    Source: S. Timoshenko, shear deflection of a cantilever, any text.
    """
    n, along, across = 64, 40.0, 15.0  # EA and GA in units of EI/L^2
    law = elastica.elastic()
    unit = law.bending / L**2
    load = 1.0e-5 * unit
    strip = rig.StripFixture(law, L, n, T, rigidity=along, shear_rigidity=across)
    c, s = math.cos(attitude), math.sin(attitude)
    strip.chain.y[:] = strip.chain.x * s
    strip.chain.x[:] *= c
    strip.chain.theta[:] = attitude
    strip.clamp()
    for pull, name, published in (
        ((-s, c), "across", 1.0 / 3.0 + 1.0 / across),
        ((c, s), "along", 1.0 / along),
    ):
        strip.push(n, rig.X, load * pull[0])
        strip.push(n, rig.Y, load * pull[1])
        strip.settle()
        tip = strip.chain.x[n] - L * c, strip.chain.y[n] - L * s
        moved = (tip[0] * pull[0] + tip[1] * pull[1]) / L / 1.0e-5
        # one point an element: 1/(12 n^2) of the bend, 6e-5; large deflection 1e-5
        assert rig.report(f"{name}, over P L^3/EI", moved, published) < 2.0e-4


def test_the_tangent_of_the_strip_is_the_slope_of_its_forces():
    """Tangent against central differences, strongly bent, stretched and sheared.

    Source: derived here. Newton's steps hide a wrong tangent from every other test.
    """
    law = rig.beam_profile(1.0, 0.002, T, hardening=0.1)
    strip = rig.StripFixture(law, 10.0, 5, T, rigidity=500.0, shear_rigidity=130.0)
    random = np.random.default_rng(2)
    places = strip.chain[:3]
    for array, size in zip(places, (0.4, 0.4, 0.5), strict=True):
        array += random.normal(0.0, size, array.size)
    _, tangent = strip.internal()
    slopes = np.zeros_like(tangent)
    step = 1.0e-6
    for i in range(strip.size):
        node, direction = divmod(i, 3)
        ends = []
        for side in (1.0, -2.0):
            places[direction][node] += side * step
            ends.append(strip.internal()[0])
        places[direction][node] += step
        slopes[:, i] = (ends[0] - ends[1]) / (2.0 * step)
    worst = float(np.max(np.abs(tangent - slopes)) / np.max(np.abs(slopes)))
    # differences over 1e-6 mm: rounding leaves 1e-9, curvature of the forces less
    assert rig.report("worst error over the stiffest", worst, 0.0) < 1.0e-7
    assert np.max(np.abs(np.diff(strip.chain.theta))) > 2.0 * law.yield_curvature


# --------------------------------------------------------------------- knife edges


@pytest.fixture(scope="module")
def pressed():
    return elastica.pressed_between_knife_edges()


@pytest.mark.parametrize("row", elastica.KNIFE_EDGES, ids=lambda row: f"{row[0]:g} deg")
def test_a_strip_pressed_between_knife_edges(pressed, row):
    """Three-point bending with sliding supports, large deflection.

    Source: references.md 1.3, derived there and checked by a separate integration.
    """
    slope, *published = row
    angle = math.radians(slope)
    again = elastica.closed_three_point(angle)
    names = ("P a^2/EI", "delta/a", "kappa a")
    for i, (name, truth) in enumerate(zip(names, published, strict=True)):
        value = float(np.interp(angle, pressed.slope, pressed[i + 1]))
        # the rolls touch over 1 % of the half span, at points an eighth of an element
        # apart, which leaves 1e-4; asked: 0.5 %
        assert rig.report(f"{name} at {slope:g} deg", value, truth) < 1.0e-3
        assert again[i] == pytest.approx(truth, abs=1.0e-6)


def test_the_closed_form_by_another_rule():
    """The judge itself, by adaptive quadrature. Source: references.md 1.3."""
    for degrees in (1.0, 30.0, 45.0):
        angle = math.radians(degrees)

        def part(side, angle=angle):
            def f(u):
                root = math.sqrt(math.sin(u * u) / (u * u)) if u else 1.0
                return 2.0 * side(angle - u * u) / root

            return quad(f, 0.0, math.sqrt(angle))[0]

        load = math.cos(angle) * part(math.cos) ** 2
        # two rules for a smooth integrand: rounding
        assert elastica.closed_three_point(angle)[0] == pytest.approx(load, rel=1e-9)


def test_a_support_pushes_normal_to_the_strip(pressed):
    """No friction: the push goes through the roll's axis. Source: statics."""
    worst = float(np.max(np.abs(pressed.askew)))
    # points of contact 0.03 mm apart on a roll of 5 mm are 6e-3 rad apart
    assert rig.report("push off the normal, rad", worst, 0.0) < 1.0e-3


def test_the_load_passes_a_maximum_that_only_displacement_reaches(pressed):
    """Limit point between 30 and 45 deg. Source: references.md 1.3, derived there."""
    slope = np.degrees(pressed.slope)
    top = int(np.argmax(pressed.load))
    angle, height = elastica.limit_point()
    rig.report("slope at the largest load, deg", slope[top], angle)
    # flat maximum: its place is known to a step of the sag, its height far better
    assert 30.0 < slope[top] < 45.0
    assert rig.report("largest P a^2/EI", pressed.load[top], height) < 1.0e-3
    late = float(np.interp(45.0, slope, pressed.load))
    published = elastica.closed_three_point(math.radians(45.0))[0]
    assert rig.report("P a^2/EI at 45 deg", late, published) < 1.0e-3
    assert late < 0.98 * pressed.load[top]
    raw = np.interp([37.0, 50.0], slope, pressed.raw_load)
    assert raw[1] < raw[0], "the load itself falls, not only its scaling"


def test_the_rolls_carry_what_they_are_given(pressed):
    """Sum of the vertical forces of the rolls. Source: equilibrium, derived here."""
    scale = np.max(pressed.raw_load) * elastica.elastic(0.2).bending
    scale /= elastica.HALF_SPAN**2
    left = float(np.max(np.abs(pressed.balance))) / scale
    # a thousand nodes are left with up to 1e-7 of the load each, mostly of mixed sign
    assert rig.report("vertical balance over the load", left, 0.0) < 1.0e-4

"""A roll as a shaft on two bearings: handbook beams and judges that share no code.

Handbook formulas without shear are met by a shaft as slim as a hair, `HAIR`: its shear
deflection is 2e-12 of its bending. Formulas with shear take a real, stubby roll.
"""

import math
import sys
from itertools import pairwise

import numpy as np
import pytest
import rig
from scipy.integrate import quad, solve_bvp

from pinchline.physics.shaft import (
    Shaft,
    bearing_loads,
    influence,
    mean_compliance,
    mean_influence,
    middle_compliance,
    shear_coefficient,
    strips,
)

pytestmark = pytest.mark.verification

L, E, NU = 520.0, 205.0e3, 0.3  # steel: from memory
RIGID = math.inf
HAIR = Shaft(L, 1.0e-6 * L, 0.0, E, NU, RIGID)
ROLL = Shaft(L, 60.0, 0.0, E, NU, RIGID)
STUB = Shaft(L, 260.0, 0.0, E, NU, RIGID)
TUBE = Shaft(L, 90.0, 60.0, E, 0.27, 4.0e4)
ROUNDING = 1.0e-12, "both sides are closed forms: rounding of a few dozen operations"
SLIM = 1.0e-11, "shear is 1.8 (d/L)^2 = 2e-12 of the bending, the rest is rounding"


def close(what, computed, published, allowed):
    """Print computed, published, difference, tolerance and its reason; hold them."""
    tolerance, reason = allowed
    difference = rig.report(what, float(computed), float(published))
    sys.stdout.write(f"    tolerance {tolerance:.1e}: {reason}\n")
    assert difference < tolerance, what


def bending_stiffness(shaft):
    return shaft.youngs_modulus * math.pi * (shaft.diameter**4 - shaft.bore**4) / 64.0


def shear_stiffness(shaft):
    """kGA by hand, k of `flexure_coefficient` below."""
    k = flexure_coefficient(shaft.bore, shaft.diameter, shaft.poisson_ratio)
    area = math.pi * (shaft.diameter**2 - shaft.bore**2) / 4.0
    return k * shaft.youngs_modulus / (2.0 * (1.0 + shaft.poisson_ratio)) * area


def at(shaft, place, start, stop):
    """Deflection at one place for 1 N/mm over one strip."""
    z, a, b = (np.array([v]) for v in (place, start, stop))
    return influence(shaft, z, a, b)[0, 0]


# ------------------------------------------------------------------- handbook beams


@pytest.mark.parametrize("shaft", [HAIR, ROLL, STUB], ids=["hair", "roll", "stub"])
def test_a_load_along_the_whole_span(shaft):
    """5 q L^4/384 EI at the middle, and q L^2/8 kGA of shear.

    Source: Roark's Formulas, table 8.1 case 2e; Timoshenko; from memory.
    """
    bent = 5.0 * L**4 / (384.0 * bending_stiffness(shaft))
    sheared = L**2 / (8.0 * shear_stiffness(shaft))
    sys.stdout.write(f"shear over bending: {sheared / bent:.3g}\n")
    computed = at(shaft, L / 2.0, 0.0, L)
    close("middle, bending and shear", computed, bent + sheared, ROUNDING)
    assert middle_compliance(shaft, L, 0.0) == pytest.approx(computed, rel=1.0e-14)
    if shaft is HAIR:
        close("middle, bending alone", computed, bent, SLIM)


@pytest.mark.parametrize("share", [0.3, 0.1, 0.01, 0.001])
def test_a_narrow_strip_at_the_middle_becomes_a_point_load(share):
    """P L^3/48 EI. Source: any handbook, from memory."""
    width = share * L
    computed = middle_compliance(HAIR, width, 0.0) / width
    near = 0.51 * share**2, "the strip's own width takes c^2/2L^2 off, no more"
    close(
        f"middle, strip of {share:g} L",
        computed,
        L**3 / (48.0 * bending_stiffness(HAIR)),
        near,
    )


@pytest.mark.parametrize("a", [0.1, 0.37, 0.5, 0.8])
def test_a_narrow_strip_off_the_middle_becomes_a_point_load(a):
    """P a^2 b^2/3 EIL under it, P b z (L^2 - b^2 - z^2)/6 EIL left of it.

    Source: any handbook, e.g. Shigley's table of beams, intermediate load; from memory.
    """
    a, width = a * L, 1.0e-4 * L
    b = L - a
    stiff = 6.0 * bending_stiffness(HAIR) * L
    near = (
        width**2 / (7.0 * a * b),
        "a strip so wide deflects w^2/8ab less under its middle, by Taylor",
    )
    for z, published in (
        (a, 2.0 * (a * b) ** 2 / stiff),
        (0.6 * a, b * 0.6 * a * (L**2 - b**2 - (0.6 * a) ** 2) / stiff),
    ):
        computed = at(HAIR, z, a - width / 2.0, a + width / 2.0) / width
        close(f"z = {z / L:.3f} L, load at {a / L:g} L", computed, published, near)


def symmetric_partial(stiff, c):
    """Middle of a beam under 1 N/mm over its central ``c``, bending alone."""
    return c * (8.0 * L**3 - 4.0 * L * c**2 + c**3) / (384.0 * stiff)


def virtual_work(shaft, c):
    """The same with shear, by integration of M m/EI + V v/kGA over one half, twice."""
    edge = (L - c) / 2.0

    def work(z):
        force = c / 2.0 - max(z - edge, 0.0)
        moment = c / 2.0 * z - max(z - edge, 0.0) ** 2 / 2.0
        bent = moment * (z / 2.0) / bending_stiffness(shaft)
        return bent + force * 0.5 / shear_stiffness(shaft)

    return 2.0 * quad(work, 0.0, L / 2.0, points=[edge], epsabs=0.0, epsrel=1e-12)[0]


@pytest.mark.parametrize("c", [20.0, 100.0, 400.0, 519.0])
def test_a_sheet_over_the_middle_of_the_span(c):
    """w c (8 L^3 - 4 L c^2 + c^3)/384 EI at the middle.

    Source: handbook of beams, from memory; integrated again here by virtual work.
    """
    computed = middle_compliance(HAIR, c, 0.0)
    close(
        f"c = {c:g}, formula",
        computed,
        symmetric_partial(bending_stiffness(HAIR), c),
        SLIM,
    )
    exact = 1.0e-11, "quadrature of polynomials, asked to 1e-12"
    close(f"c = {c:g}, virtual work", computed, virtual_work(HAIR, c), exact)
    close(
        f"c = {c:g}, virtual work, stubby",
        middle_compliance(STUB, c, 0.0),
        virtual_work(STUB, c),
        exact,
    )


def roark(stiff, z, a):
    """Deflection at z for 1 N/mm from ``a`` to the right end (both ends supported)."""
    reaction = (L - a) ** 2 / (2.0 * L)
    slope = (L - a) ** 2 * (L**2 + 2.0 * a * L - a**2) / (24.0 * L)
    bent = slope * z - reaction * z**3 / 6.0 + np.clip(z - a, 0.0, None) ** 4 / 24.0
    return bent / stiff


@pytest.mark.parametrize(("start", "stop"), [(90.0, 490.0), (0.0, 60.0), (300.0, L)])
def test_a_sheet_anywhere_along_the_span(start, stop):
    """Partial uniform load, whole deflection line.

    Source: Roark's Formulas for Stress and Strain, table 8.1 case 2e (load from a to
    the right end, here the difference of two), from memory.
    """
    z = np.linspace(0.0, L, 53)
    stiff = bending_stiffness(HAIR)
    published = roark(stiff, z, start) - roark(stiff, z, stop)
    computed = influence(HAIR, z, np.array([start]), np.array([stop]))[:, 0]
    top = int(np.argmax(published))
    close(f"largest, {start:g} to {stop:g}", computed[top], published[top], SLIM)
    worst = np.max(np.abs(computed - published)) / published[top]
    close("worst along the span over the largest", worst, 0.0, SLIM)


# ------------------------------------------------------------- shear of the section


def flexure_coefficient(bore, diameter, poisson):
    """Cowper's k of a round section, from Saint-Venant's flexure of it, by numbers.

    The flexure function is harmonic with a given normal slope on the free surfaces;
    k = 2(1+nu) I / -(A/I) integral of x(chi + x y^2), where Ix = Iy.
    """
    m = bore / diameter
    rings = [1.0] if m == 0.0 else [1.0, m]
    powers = [1, 3] if m == 0.0 else [1, 3, -1, -3]
    angle = np.arange(0.0, 2.0 * math.pi, math.pi / 16.0)
    c, s = np.cos(angle), np.sin(angle)
    slopes, wanted = [], []
    for r in rings:
        slopes.append(
            np.stack([p * r ** (p - 1) * np.cos(p * angle) for p in powers], axis=1)
        )
        across = 0.5 * poisson * c**2 + (1.0 - 0.5 * poisson) * s**2
        wanted.append(-(r**2) * (c * across + s * (2.0 + poisson) * c * s))
    share = np.linalg.lstsq(np.concatenate(slopes), np.concatenate(wanted))[0]
    node, weight = np.polynomial.legendre.leggauss(6)
    total = 0.0
    for r, w in zip(
        0.5 * (1.0 + m + (1.0 - m) * node), 0.5 * (1.0 - m) * weight, strict=True
    ):
        warp = sum(
            q * r**p * np.cos(p * angle) for q, p in zip(share, powers, strict=True)
        )
        inside = r * c * (warp + r * c * (r * s) ** 2)
        total += w * r * 2.0 * math.pi * np.mean(inside)
    area, second = math.pi * (1.0 - m**2), math.pi * (1.0 - m**4) / 4.0
    return 2.0 * (1.0 + poisson) * second / (-area / second * total)


@pytest.mark.parametrize("poisson", [0.0, 0.3, 0.5])
@pytest.mark.parametrize("bore_share", [0.0, 0.3, 0.7, 0.95])
def test_the_shear_coefficient_is_that_of_the_flexure(bore_share, poisson):
    """Source: G. R. Cowper, J. Appl. Mech. 33 (1966) 335-340, from memory."""
    close(
        f"k, bore {bore_share:g} d, nu {poisson:g}",
        shear_coefficient(bore_share, poisson),
        flexure_coefficient(bore_share, 1.0, poisson),
        (1.0e-10, "the judge's harmonics and quadrature are exact up to conditioning"),
    )


def test_the_shear_coefficient_of_rod_and_thin_tube():
    """6(1+nu)/(7+6nu) = 0.886, 2(1+nu)/(4+3nu) = 0.531. Source: Cowper, from memory."""
    three = 6.0e-4, "three digits printed"
    close("rod, nu 0.3", shear_coefficient(0.0, 0.3), 0.886, three)
    close("rod, nu 0.5", shear_coefficient(0.0, 0.5), 0.9, ROUNDING)
    thin = 4.0e-8, "wall over radius, 2e-4, counts squared"
    close("tube, nu 0.3", shear_coefficient(0.9998, 0.3), 2.6 / 4.9, thin)


# ------------------------------------------------ a second formulation of the whole


def boundary_problem(shaft, start, stop):
    """Deflection by place (mm) for 1 N/mm over one strip: Timoshenko's equations.

    Three parts, before, under and behind the strip, are solved side by side, each on
    0..1, joined by their ends. Unknowns of each: v EI/L^4, phi EI/L^3, M/L^2, V/L.
    """
    ends = np.array([0.0, start, stop, L]) / L
    parts = np.diff(ends)
    soft = bending_stiffness(shaft) / (shear_stiffness(shaft) * L**2)
    sink = bending_stiffness(shaft) / (shaft.bearing_stiffness * L**3)
    load = (0.0, 1.0, 0.0)

    def slopes(x, u):
        out = np.empty_like(u)
        for i, part in enumerate(parts):
            _, turn, moment, force = u[4 * i : 4 * i + 4]
            out[4 * i] = part * (turn + soft * force)
            out[4 * i + 1] = -part * moment
            out[4 * i + 2] = part * force
            out[4 * i + 3] = -part * load[i]
        return out

    def joints(left, right):
        return np.concatenate(
            [
                [left[0] - sink * left[3], left[2]],
                right[:8] - left[4:],
                [right[8] + sink * right[11], right[10]],
            ]
        )

    mesh = np.linspace(0.0, 1.0, 33)
    found = solve_bvp(slopes, joints, mesh, np.zeros((12, 33)), tol=1.0e-10)
    assert found.success

    def deflection(z):
        part = int(np.clip(np.searchsorted(ends, z / L) - 1, 0, 2))
        v = found.sol((z / L - ends[part]) / parts[part])[4 * part]
        return v * L**4 / bending_stiffness(shaft)

    return deflection


SOLVED = 1.0e-8, "the collocation's tolerance is 1e-10 of a slope; asked: 1e-6"


@pytest.mark.parametrize(
    "shaft",
    [TUBE, STUB._replace(bearing_stiffness=2.0e5), ROLL],
    ids=["tube", "stub", "roll on rigid bearings"],
)
def test_an_off_centre_strip_solved_as_a_boundary_value_problem(shaft):
    """Bending, shear and bearings together.

    Source: Timoshenko's beam equations, solved here by collocation (scipy).
    """
    start, stop = strips(300.0, 70.0, L, 4)
    j = 2
    judged = boundary_problem(shaft, start[j], stop[j])
    z = np.array([0.0, 60.0, start[j], 0.5 * (start[j] + stop[j]), 500.0, L])
    computed = influence(shaft, z, start, stop)[:, j]
    for place, value in zip(z[1:-1], computed[1:-1], strict=True):
        close(f"z = {place:g}", value, judged(place), SOLVED)
    for place, value in zip(z[[0, -1]], computed[[0, -1]], strict=True):
        worst = (value - judged(place)) / computed[3]
        close(f"bearing at z = {place:g}, over the middle", worst, 0.0, SOLVED)
    node, weight = np.polynomial.legendre.leggauss(6)
    column = mean_influence(shaft, start, stop)[:, j]
    for a, b, value in zip(start, stop, column, strict=True):
        places = 0.5 * (a + b) + 0.5 * (b - a) * node
        mean = 0.5 * sum(w * judged(p) for w, p in zip(weight, places, strict=True))
        close(f"mean over {a:g} to {b:g}", value, mean, SOLVED)


def averaged(shaft, start, stop):
    """`mean_influence` by Gauss points in each piece between the ends of strips."""
    node, weight = np.polynomial.legendre.leggauss(4)
    out = np.zeros((start.size, start.size))
    for i, (a, b) in enumerate(zip(start, stop, strict=True)):
        cuts = np.unique(np.concatenate([start, stop]).clip(a, b))
        for left, right in pairwise(cuts):
            z = 0.5 * (left + right) + 0.5 * (right - left) * node
            share = 0.5 * weight * (right - left) / (b - a)
            out[i] += share @ influence(shaft, z, start, stop)
    return out


# apart, side by side, over one another, one within another, narrow
STARTS = np.array([10.0, 40.0, 60.0, 90.0, 200.0, 400.0, 300.0])
STOPS = np.array([40.0, 120.0, 100.0, 350.0, 201.0, 520.0, 420.0])


@pytest.mark.parametrize("shaft", [ROLL, STUB, TUBE], ids=["roll", "stub", "tube"])
def test_the_mean_over_a_strip_is_that_of_its_places(shaft):
    """Source: definition of a mean; Gauss points are exact for such polynomials."""
    computed = mean_influence(shaft, STARTS, STOPS)
    judged = averaged(shaft, STARTS, STOPS)
    worst = np.max(np.abs(computed / judged - 1.0))
    squared = 1.0e-10, "rounding 1e-16 times the square of span over strip, 520^2"
    close("worst of 49 pairs of strips", worst, 0.0, squared)


@pytest.mark.parametrize("shaft", [ROLL, STUB, TUBE], ids=["roll", "stub", "tube"])
def test_two_loads_do_the_same_work_on_each_other(shaft):
    """w_i A_ij = w_j A_ji, and point by point for narrow strips.

    Source: Maxwell-Betti reciprocity, any text.
    """
    work = (STOPS - STARTS)[:, None] * mean_influence(shaft, STARTS, STOPS)
    worst = np.max(np.abs(work - work.T) / work)
    close("worst pair of strips", worst, 0.0, ROUNDING)
    assert np.all(np.linalg.eigvalsh(work) > 0.0), "a load does work on the shaft"
    here, there = 130.0, 410.0
    one = at(shaft, here, there - 0.5, there + 0.5)
    other = at(shaft, there, here - 0.5, here + 0.5)
    width = 1.0e-5, "places against strips 1 mm wide: (w/L)^2"
    close("deflection here for a load there, and back", one, other, width)


# --------------------------------------------------------------- bearings and bores


def test_a_tube_gives_more_than_the_rod_by_what_the_bore_takes_away():
    """EI of a tube: the rod's less the bore's. Source: geometry."""
    slim = HAIR._replace(bore=0.6 * HAIR.diameter)
    ratio = middle_compliance(slim, 400.0, 0.0) / middle_compliance(HAIR, 400.0, 0.0)
    close("tube over rod, bore 0.6 d", ratio, 1.0 / (1.0 - 0.6**4), SLIM)


@pytest.mark.parametrize("stiffness", [1.0e3, 4.0e4, 1.0e9])
def test_bearings_sink_under_what_they_carry(stiffness):
    """Soft less rigid bearings: a straight line through R/c at the bearings.

    Source: statics of a bar on two springs.
    """
    start, stop = np.array([150.0]), np.array([490.0])
    z = np.array([0.0, 100.0, 330.0, L])
    left, right = 340.0 * 200.0 / L, 340.0 * 320.0 / L  # N, of 1 N/mm
    published = (left + (right - left) * z / L) / stiffness
    rigid = influence(ROLL, z, start, stop)[:, 0]
    soft = ROLL._replace(bearing_stiffness=stiffness)
    computed = influence(soft, z, start, stop)[:, 0]
    for place, value, line in zip(z, computed, rigid + published, strict=True):
        # rounding of the bending counts against a sinking that may be very small
        tolerance = 1.0e-12 * (1.0 + float(np.max(rigid)) / line)
        allowed = tolerance, "rounding of sinking and bending"
        close(f"c = {stiffness:g}, z = {place:g}", value, line, allowed)


@pytest.mark.parametrize("off_centre", [-60.0, 0.0, 45.0])
def test_the_bearings_carry_the_sheet(off_centre):
    """Sum of forces, moments about both bearings, and the lever rule.

    Source: equilibrium.
    """
    start, stop = strips(400.0, off_centre, L, 16)
    force = 20.0 + 0.05 * start  # N/mm, uneven
    left, right = bearing_loads(ROLL, start, stop, force)
    each, middle = force * (stop - start), 0.5 * (start + stop)
    close("left + right", left + right, np.sum(each), ROUNDING)
    close("about the left", right * L, each @ middle, ROUNDING)
    close("about the right", left * L, each @ (L - middle), ROUNDING)
    _, even = bearing_loads(ROLL, start, stop, np.full(16, 10.0))
    lever = 4000.0 * (0.5 + off_centre / L)
    close("right, even load", even, lever, ROUNDING)


# ------------------------------------------------------------------------ a machine


def test_a_roll_of_60_mm_gives_a_wide_sheet_far_less_hold_than_a_narrow_one():
    """60 mm steel, 520 mm between bearings: 143 N/mm per mm of a 400 mm sheet.

    Source: the handbook's formula for a sheet over the middle, with shear M/kGA and
    Cowper's k, worked here; from memory. Rigid bearings.
    """
    stiff = E * math.pi * 60.0**4 / 64.0
    shear = 6.0 * (1 + NU) / (7 + 6 * NU) * E / (2 * (1 + NU)) * math.pi * 900.0

    def handbook(c):
        moment = c * (2.0 * L - c) / 8.0
        return 1.0 / (symmetric_partial(stiff, c) + moment / shear)

    wide, narrow = handbook(400.0), handbook(100.0)
    assert 100.0 < wide < 200.0
    assert narrow > 3.0 * wide
    for c, published in ((400.0, wide), (100.0, narrow)):
        computed = 1.0 / middle_compliance(ROLL, c, 0.0)
        close(f"N/mm per mm, sheet of {c:g} mm", computed, published, ROUNDING)
        # the middle gives most, so the mean over the sheet is stiffer
        assert 1.0 / mean_compliance(ROLL, c, 0.0) > computed

"""Bent and let go: what is left of a bend, through beam, commit and release."""

import math

import judges
import numpy as np
import pytest
import rig
from scipy.optimize import brentq

from pinchline.verify import section, springback

pytestmark = pytest.mark.verification


def left_of(law, thickness, curvature):
    return rig.bent_and_released(law, thickness, curvature)


@pytest.mark.parametrize(
    "row", springback.CURVATURE_LEFT, ids=lambda row: f"c = {row[0]:g}"
)
def test_a_bend_keeps_what_its_moment_does_not_take_back(row):
    """kappa left over kappa loaded = 1 - m/c.

    Source: Prager & Hodge (1951), from memory, for h = 0; hardening derived
    (references.md, section 2). Range: elastic unloading, which isotropic hardening has
    at any c; c >= 1.
    """
    t = 1.3
    c, *shares = row
    for hardening, published in zip(section.HARDENINGS, shares, strict=True):
        law = rig.beam_profile(70.0e3, 250.0, t, hardening=hardening)
        curvature = c * law.yield_curvature
        share = left_of(law, t, curvature) / curvature
        # six decimals printed; the profile is exact, a uniform bend has no mesh error
        assert rig.report(f"c = {c}, h = {hardening}", share, published) < 5.0e-6


@pytest.mark.parametrize("c", [0.3, 0.9, 0.999])
def test_nothing_is_left_below_first_yield(c):
    """An elastic bend springs back whole. Source: definition of yield."""
    t = 1.3
    law = rig.beam_profile(70.0e3, 250.0, t)
    left = left_of(law, t, c * law.yield_curvature) / law.yield_curvature
    # rounding
    assert rig.report(f"c = {c}", left, 0.0) < 1.0e-9


@pytest.mark.parametrize("turn", [0.0, 0.25, 1.0])
def test_an_end_moment_leaves_the_same_bend_everywhere(turn):
    """Bent by an end moment instead of a turn; unload is exact in any attitude.

    Source: closed form of references.md, section 2, derived there.
    """
    t, n, h, c = 1.0, 16, 0.1, 5.0
    law = rig.beam_profile(70.0e3, 250.0, t, hardening=h)
    strip = rig.StripFixture(law, 60.0, n, t)
    ca, sa = math.cos(turn), math.sin(turn)
    strip.chain.y[:] = strip.chain.x * sa
    strip.chain.x[:] *= ca
    strip.chain.theta[:] = turn
    strip.clamp()
    for m in np.linspace(0.0, section.bilinear_moment(c, h), 30)[1:]:
        strip.push(n, rig.THETA, m * law.first_yield)
        strip.settle()
    ratio = strip.chain.curvature / law.yield_curvature
    # the iteration stops at 1e-6 of the moment, the tangent is a tenth of the elastic
    assert rig.report("c under the moment", float(np.max(ratio)), c) < 1.0e-5
    strip.release()
    left = strip.chain.curvature / law.yield_curvature
    assert rig.report("least left", float(np.min(left)), c * 0.6336) < 1.0e-5
    assert rig.report("most left", float(np.max(left)), c * 0.6336) < 1.0e-5
    assert np.all(strip.chain.moment == 0.0)


# ------------------------------------------------------------------------ the trap


def test_kinematic_hardening_yields_again_on_the_way_back():
    """Where m > 2, an unload by more than twice the yield yields again, unless the
    hardening is isotropic.

    Source: references.md, section 2, (*), derived there; judge of the kinematic bend:
    4000 fibres, derived here. Range: c - m is exact for isotropic hardening at any c,
    for kinematic hardening while m <= 2.
    """
    t, h, c = 1.0, 0.1, 20.0
    laws = [
        rig.beam_profile(70.0e3, 250.0, t, hardening=h, kinematic=k) for k in (0, 1)
    ]
    k = c * laws[0].yield_curvature
    column = 0.832556
    isotropic, kinematic = (left_of(law, t, k) / k for law in laws)
    # six decimals printed
    assert rig.report("isotropic", isotropic, column) < 5.0e-6
    judge = judges.Fibres(70.0e3, 250.0, t, hardening=h, kinematic=1.0)
    judge.bend_to(k)
    before = judge.set.copy(), judge.back.copy(), judge.spent.copy()

    def moment(curvature):
        judge.set, judge.back, judge.spent = (a.copy() for a in before)
        return judge.bend_to(curvature)

    truth = brentq(moment, 0.5 * k, k, xtol=1.0e-12 * k) / k
    # midpoint rule of 4000 fibres
    assert rig.report("kinematic, against fibres", kinematic, truth) < 1.0e-6
    doubled = springback.kinematic_left(c, h)
    assert rig.report("kinematic, by Masing's rule", kinematic, doubled) < 1.0e-6
    rig.report("kinematic, against the column", kinematic, column)
    # it goes back further than elastically: less moment is taken back per curvature
    assert kinematic < column - 0.005


@pytest.mark.parametrize(("c", "h"), [(20.0, 0.01), (5.0, 0.1), (6.5, 0.1)])
def test_kinematic_hardening_is_harmless_while_the_moment_is_below_twice_yield(c, h):
    """Both hardenings leave the same bend while m <= 2.

    Source: references.md, section 2, (*), derived there.
    """
    t = 1.0
    assert section.bilinear_moment(c, h) <= 2.0
    shares = []
    for kinematic in (0.0, 1.0):
        law = rig.beam_profile(70.0e3, 250.0, t, hardening=h, kinematic=kinematic)
        k = c * law.yield_curvature
        shares.append(left_of(law, t, k) / k)
    # rounding
    assert rig.report(f"c = {c}, h = {h}", shares[1], shares[0]) < 1.0e-9


@pytest.mark.parametrize("make", [rig.layered, rig.closed_form])
@pytest.mark.parametrize("kinematic", [0.0, 1.0])
def test_a_released_strip_bears_no_moment(make, kinematic):
    """A free strip, asked again by its own law, has no moment. Source: statics."""
    t = 1.0
    material = rig.metal(modulus=70.0e3, poisson=0.33, strength=200.0, hardening=0.1)
    law = make(material, t, kinematic=kinematic)
    c = 20.0
    piece = rig.SectionFixture(law, sub=4)
    piece.bend_to(c * law.yield_curvature)
    left = left_of(law, t, c * law.yield_curvature)
    moment, _ = piece.try_at(left)
    # the search for no moment ends at 1e-12 of the change of curvature
    assert rig.report("moment over first yield", moment / law.first_yield, 0.0) < 1.0e-9


@pytest.mark.parametrize("kinematic", [0.0, 0.5, 1.0])
def test_a_strip_bent_to_and_fro_keeps_to_the_fibres(kinematic):
    """Moment through 80 turns of the end, many of them elastic, in one strip.

    Source: 4000 fibres, derived here. Elastic steps leave the history where it stands,
    plastic ones move it; the moment must not notice.
    """
    t, n, h = 1.0, 3, 0.05
    law = rig.beam_profile(70.0e3, 250.0, t, hardening=h, kinematic=kinematic)
    strip = rig.StripFixture(law, 20.0, n, t)
    strip.clamp()
    judge = judges.Fibres(70.0e3, 250.0, t, hardening=h, kinematic=kinematic)
    random = np.random.default_rng(7)
    walk = np.cumsum(random.normal(0.0, 1.0, 80) * random.choice([0.3, 3.0], 80))
    worst = 0.0
    for c in walk:
        curvature = c * law.yield_curvature
        strip.hold(n, rig.THETA, curvature * strip.length)
        strip.settle()
        apart = strip.chain.moment - judge.bend_to(curvature)
        worst = max(worst, float(np.max(np.abs(apart))) / law.first_yield)
    # midpoint rule of the fibres, and breakpoints that a full profile drops
    assert rig.report("worst error over first yield", worst, 0.0) < 2.0e-4
    spent = strip.energies[1] / strip.length
    strip.release()
    assert np.ptp(strip.chain.curvature) < 1.0e-9 * law.yield_curvature
    assert spent > 0.0


@pytest.mark.parametrize("kinematic", [0.0, 0.5, 1.0])
def test_layers_know_how_far_they_may_bend_elastically(kinematic):
    """80 turns of a strip of J2 layers against the same layers asked at every step.

    Source: derived here. A strip that trusts a range of elastic bending which is too
    wide misses yielding; ``Piece`` trusts none.
    """
    t, n = 1.0, 3
    material = rig.metal(modulus=70.0e3, poisson=0.33, strength=250.0, hardening=0.05)
    law = rig.layered(material, t, kinematic=kinematic)
    strip, piece = rig.StripFixture(law, 20.0, n, t), rig.SectionFixture(law)
    strip.clamp()
    random = np.random.default_rng(7)
    walk = np.cumsum(random.normal(0.0, 1.0, 80) * random.choice([0.3, 3.0], 80))
    worst, elastic = 0.0, 0
    for c in walk:
        curvature = c * law.yield_curvature
        elastic += strip.chain.low[0] < curvature < strip.chain.high[0]
        strip.hold(n, rig.THETA, curvature * strip.length)
        strip.settle()
        apart = strip.chain.moment - piece.bend_to(curvature)
        worst = max(worst, float(np.max(np.abs(apart))) / law.first_yield)
    # elastic steps add up exactly
    assert rig.report("worst error over first yield", worst, 0.0) < 1.0e-9
    assert 20 < elastic < 60


# ---------------------------------------------------------------------- Gardiner


@pytest.mark.parametrize("x", [0.001, 0.01, 0.0192, 0.1, 0.3, 0.45, 0.5])
def test_gardiner_inside_his_range(x):
    """R_i/R_f = 4 x^3 - 3 x + 1 with x = R_i Y/(E t).

    Source: F. J. Gardiner, Trans. ASME 79 (1957) 1-9. Range: x <= 0.5 (first yield),
    perfect plasticity, R_i of the MID-PLANE.
    """
    t, modulus, strength = 1.0, 70.0e3, 250.0
    law = rig.beam_profile(modulus, strength, t)
    radius = x * modulus * t / strength
    ratio = left_of(law, t, 1.0 / radius) * radius
    rig.report(f"R_i/R_f at x = {x}", ratio, springback.gardiner(x))
    # exact on both sides; near x = 0.5 the ratio itself vanishes
    assert abs(ratio - springback.gardiner(x)) < 1.0e-9


@pytest.mark.parametrize("x", [0.55, 0.75, 1.0])
def test_gardiner_turns_up_outside_his_range_and_the_sheet_does_not(x):
    """Past x = 0.5 the cubic rises again; a sheet that never yielded goes flat.

    Source: references.md 3.1: x > 0.5 is meaningless.
    """
    t, modulus, strength = 1.0, 70.0e3, 250.0
    law = rig.beam_profile(modulus, strength, t)
    radius = x * modulus * t / strength
    ratio = left_of(law, t, 1.0 / radius) * radius
    rig.report(f"R_i/R_f at x = {x}, cubic beside it", ratio, springback.gardiner(x))
    assert abs(ratio) < 1.0e-9
    assert springback.gardiner(x) > 0.01


def test_the_inside_radius_is_not_the_radius_of_the_cubic():
    """Fed with the inside radius the cubic is off by what t/2 makes of it.

    Source: references.md 3.1: the identity needs the mid-plane radius.
    """
    t, modulus, strength, inside = 1.0, 70.0e3, 250.0, 20.0
    law = rig.beam_profile(modulus, strength, t)
    middle = inside + t / 2.0
    left = 1.0 / left_of(law, t, 1.0 / middle)
    right = middle / springback.gardiner(middle * strength / (modulus * t))
    wrong = inside / springback.gardiner(inside * strength / (modulus * t))
    # exact
    assert rig.report("mid-plane radius", left, right) < 1.0e-9
    assert rig.report("inside radius", left - t / 2.0, wrong) > 1.0e-3


# ----------------------------------------------------------------- worked examples


@pytest.mark.parametrize("case", springback.EXAMPLES, ids=lambda case: case.source)
def test_worked_springback(case):
    """Sheet sprung from a radius: textbook examples, perfect plasticity, no width.

    Sources: Kalpakjian & Schmid, Manufacturing Engineering and Technology, from memory;
    D. Morales-Palma, Univ. Seville, sheet-bending notebook, examples 8 and 9
    (references.md 3.2 a, b, c). Range: as Gardiner; the printed radius is taken as that
    of the mid-plane, as the cubic does. Inches and psi in the first: units cancel.
    """
    law = rig.beam_profile(case.modulus, case.strength, case.thickness)
    left = left_of(law, case.thickness, 1.0 / case.radius)
    x = case.radius * case.strength / (case.modulus * case.thickness)
    # as many digits as are printed (example 9 keeps three)
    assert x == pytest.approx(case.x, rel=5.0e-5)
    assert rig.report("R_i/R_f", case.radius * left, case.ratio) < case.digits
    assert rig.report("R_f", 1.0 / left, case.free) < case.digits


def test_the_fully_plastic_formula_and_where_it_ends():
    """1/r - 1/r' = 3 sigma'/(t E'): 0.036 in steel at 5 in springs to 8.57 in.

    Source: Hosford & Caddell, Metal Forming, example from memory, formula and
    arithmetic as references.md 3.2 e. Range: c >> 1; it leaves out the elastic core,
    0.5/c^2 of the moment, here 2.6 % of the springback.
    """
    t, radius, strength, modulus = 0.036, 5.0, 33.0e3, 33.0e6
    law = rig.beam_profile(modulus, strength, t)
    back = 1.0 / radius - left_of(law, t, 1.0 / radius)
    formula = 3.0 * strength / (t * modulus)
    # printed: 0.08333 per inch, 8.57 in
    assert rig.report("the formula itself", formula, 0.08333) < 5.0e-5
    assert rig.report("its radius", 1 / (1 / radius - formula), 8.57) < 5.0e-4
    c = 1.0 / radius / law.yield_curvature
    core = 1.0 - 1.0 / (3.0 * c**2)
    rig.report("springback, 1/in, sheet against formula", back, formula)
    # exact with the core put back
    assert rig.report("with the elastic core", back, formula * core) < 1.0e-9
    assert 0.02 < 1.0 - back / formula < 0.03
    tool = 1.0 / (1.0 / 5.0 + formula)
    assert rig.report("tool radius for 5 in", tool, 3.53) < 5.0e-4
    # there the core is smaller: the formula is 1.3 % off in springback, less in radius
    free = 1.0 / left_of(law, t, 1.0 / tool)
    assert rig.report("5 in from that tool", free, 5.0) < 6.0e-3


@pytest.mark.parametrize(
    ("t", "first", "free", "tool_lt", "tool_l"), springback.SHEET_2024
)
def test_sheet_of_2024_t3_springs_as_tabulated(t, first, free, tool_lt, tool_l):
    """First-yield radius, free radius of a 2 in bend, bend that ends at 6 in.

    Source: references.md 3.4, computed there from MIL-HDBK-5J strengths (42 ksi LT, 47
    ksi L). Range: perfect plasticity, plane strain by 2/sqrt(3) Y and E/(1 - nu^2),
    mid-plane radii. Inches and ksi.
    """

    def sheet(strength):
        modulus, poisson = springback.MODULUS_2024, springback.POISSON_2024
        material = rig.metal(modulus=modulus, poisson=poisson, strength=strength)
        return rig.closed_form(material, t)

    across, along = sheet(42.0), sheet(47.0)
    # four or five digits printed
    computed = 1.0 / across.yield_curvature
    assert rig.report("first-yield radius, in", computed, first) < 5.0e-4
    computed = 1.0 / left_of(across, t, 0.5)
    # the first row is so near first yield that the fifth digit is lost in rounding
    assert rig.report("2 in springs to, in", computed, free) < 5.0e-4
    for name, law, tool in (("LT", across, tool_lt), ("L", along, tool_l)):
        computed = 1.0 / left_of(law, t, 1.0 / tool)
        # half of the last digit of the tool's radius, five times over after springback
        label = f"{tool} in springs to, {name}, in"
        assert rig.report(label, computed, 6.0) < 1.0e-3


def test_a_coupon_yields_earlier_than_a_wide_sheet():
    """Uniaxial first-yield radius E t/2Y beside the plane-strain one.

    Source: references.md 3.4: 4.000 in for 0.032 in sheet at 42 ksi, against 3.887.
    """
    t = 0.032
    narrow = rig.beam_profile(10.5e3, 42.0, t)
    wide = rig.closed_form(rig.metal(modulus=10.5e3, poisson=0.33, strength=42.0), t)
    # exact
    assert rig.report("narrow, in", 1 / narrow.yield_curvature, 4.0) < 1.0e-9
    # (2/sqrt 3)(1 - nu^2) = 1.0290
    ratio = wide.yield_curvature / narrow.yield_curvature
    assert rig.report("wide over narrow", ratio, 1.0290) < 5.0e-5


def test_seville_moment_curvature_sample():
    """E' 230.8 GPa, first-yield radius 1199.1 mm, M_e 27.71 and M_p 41.57 N.

    Source: D. Morales-Palma, bending notebook, with the plane-strain factor put right:
    the notebook multiplies by sqrt(3)/2 (references.md 3.3, ERR).
    """
    t = 1.2
    material = rig.metal(modulus=210.0e3, poisson=0.3, strength=100.0)
    law = rig.closed_form(material, t)
    # four or five digits printed
    modulus, radius, first, plastic = springback.SEVILLE
    stiff = 12.0 * law.bending / t**3
    assert rig.report("E', MPa", stiff, modulus) < 5.0e-4
    assert rig.report("radius, mm", 1.0 / law.yield_curvature, radius) < 1.0e-4
    assert rig.report("M_e, N", law.first_yield, first) < 3.0e-4
    moment = rig.SectionFixture(law).bend_to(1000.0 * law.yield_curvature)
    assert rig.report("M_p, N", moment, plastic) < 3.0e-4

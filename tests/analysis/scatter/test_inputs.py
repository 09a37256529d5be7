"""What scatters about a case has a law, a width and a reason, or is refused."""

import math

import numpy as np
import pytest
from scipy import stats

from pinchline.analysis.scatter.inputs import (
    BASIS_QUANTILE_SD,
    NORMAL_CUT_SD,
    ScatterInput,
    inputs_of,
    settings_in,
    varied_case,
)
from pinchline.analysis.scatter.sampling import columns_of, sample_of
from pinchline.case.case import load_case, parse_case
from pinchline.case.metal.curve import Curve
from pinchline.case.variation import strengthened
from pinchline.errors import InputError

BASE = load_case("strut-fairing").text


def case_with(extra: str, base: str = BASE):
    return parse_case(f"{base}\n{extra}", path="job.toml")


def found(case, key, *, centred=False):
    by_key = {one.key: one for one in inputs_of(case, centred=centred)}
    return by_key.get(key)


def test_an_even_law_has_the_deviation_of_the_gum():
    """Half width over the square root of 3 (GUM 4.3.7, from memory)."""
    one = ScatterInput("thickness", 1.0, 0.06, "even", "", 1.0)
    assert one.sd == pytest.approx(0.06 / math.sqrt(3.0))
    ends = one.at(one.standard(np.array([0.0, 0.5, 1.0])))
    assert ends == pytest.approx([0.94, 1.0, 1.06])


def test_a_normal_law_is_that_of_scipy_cut_at_three_deviations():
    one = ScatterInput("yield_strength", 150.0, 8.0, "normal", "", 150.0)
    law = stats.truncnorm(-NORMAL_CUT_SD, NORMAL_CUT_SD, loc=150.0, scale=8.0)
    shares = np.linspace(0.001, 0.999, 31)
    assert one.at(one.standard(shares)) == pytest.approx(law.ppf(shares))
    assert one.sd == pytest.approx(law.std())


@pytest.mark.parametrize(
    ("inches", "thousandths"), [(0.020, 2.0), (0.040, 2.5), (0.063, 3.0), (0.090, 3.5)]
)
def test_sheet_is_as_thick_as_the_standard_lets_it_be(inches, thousandths):
    """ANSI H35.2, from memory; tolerances of general alloys to 39-48 in wide."""
    base = BASE.replace('thickness = "1.0 mm"', f'thickness = "{inches} in"')
    one = found(case_with("", base), "thickness")
    assert (one.law, one.origin) == ("even", "ANSI H35.2, from memory")
    assert one.spread == pytest.approx(25.4 * thousandths / 1000.0)


def test_a_handbook_minimum_lies_as_low_as_its_basis_says():
    """99 % of sheet exceed an A value: normal law, 2.326 deviations below the mean."""
    one = found(load_case("strut-fairing"), "yield_strength")
    below = stats.norm.cdf(one.stated, one.middle, one.spread)
    assert below == pytest.approx(0.01, rel=0.01)
    assert stats.norm.cdf(-BASIS_QUANTILE_SD["B"]) == pytest.approx(0.10, rel=0.01)
    assert "minimum" in one.origin


def test_a_plan_is_taken_at_its_word():
    case = load_case("strut-fairing")
    asked = found(case, "yield_strength", centred=True)
    assert asked.middle == case.sheet.material.yield_strength


def test_a_spread_of_the_case_is_about_its_own_value():
    case = case_with('[scatter.yield_strength]\nsd = "4 %"')
    one = found(case, "yield_strength")
    assert one.middle == one.stated == case.sheet.material.yield_strength
    assert one.spread == pytest.approx(0.04 * one.stated)
    assert one.law == "normal"


def test_a_middle_of_the_case_replaces_the_stated_one():
    told = '[scatter.yield_strength]\nmean = "180 MPa"\ntolerance = "10 MPa"'
    one = found(case_with(told), "yield_strength")
    assert (one.middle, one.spread, one.law) == (180.0, 10.0, "even")
    assert one.stated != one.middle


def test_a_spread_of_zero_leaves_an_input_out():
    case = case_with('[scatter]\nfriction = {sd = "0 %"}\ntouch = {sd = "0 mm"}')
    assert found(case, "friction") is None
    assert found(case, "touch") is None
    assert found(case, "lift") is not None


@pytest.mark.parametrize(
    ("extra", "key", "said"),
    [
        ('thicknes = {sd = "1 %"}', "scatter.thicknes", "did you mean thickness"),
        ('thickness = {sd = "40 %"}', "scatter.thickness.sd", "0 % to 30 %"),
        ("thickness = {sd = 0.1}", "scatter.thickness.sd", "no unit"),
        ("thickness = {}", "scatter.thickness", "says nothing"),
        (
            'thickness = {sd = "1 %", tolerance = "0.1 mm"}',
            "scatter.thickness.tolerance",
            "one of the two",
        ),
        ('touch = {sd = "5 %"}', "scatter.touch.sd", "not a unit of a length"),
        ('yield_strength = {sd = "90 MPa"}', "scatter.yield_strength.sd", "up to 30 %"),
    ],
)
def test_a_wrong_spread_is_named(extra, key, said):
    with pytest.raises(InputError) as refused:
        inputs_of(case_with(f"[scatter]\n{extra}"))
    assert refused.value.key == key
    assert said in str(refused.value)
    assert "job.toml" in str(refused.value)


def test_a_spread_of_what_the_case_has_not_is_refused():
    rigid = load_case("strut-fairing")
    nip = {"clearance": 0.05, "clamp": None}
    machine = rigid.machine.model_copy(
        update={"nip": rigid.machine.nip.model_copy(update=nip)}
    )
    told = case_with('[scatter]\nclamp = {sd = "10 %"}')
    with pytest.raises(InputError, match="no clamp"):
        inputs_of(told.model_copy(update={"machine": machine}))
    curved = case_with(
        '[scatter]\ntangent_modulus = {sd = "10 %"}',
        BASE.replace(
            'material = "5052-H32"',
            'material = {use = "5052-H32", curve = {exponent = 11.5}}',
        ),
    )
    with pytest.raises(InputError, match="no tangent modulus"):
        inputs_of(curved)


def test_every_setting_of_the_lift_errs_on_its_own_and_touch_in_all_alike():
    case = load_case("strut-fairing")
    settings = settings_in(case.moves)
    assert len(settings) == 2
    inputs = inputs_of(case)
    size = columns_of(inputs, 2)[-1][-1] + 1
    shares = np.full((3, size), 0.5)
    by_key = dict(zip([i.key for i in inputs], columns_of(inputs, 2), strict=True))
    shares[0, by_key["touch"]] = 1.0
    shares[1, by_key["lift"][0]] = 1.0
    lifts = sample_of(case, inputs, shares).lifts
    assert lifts[0, 0] == lifts[0, 1] > 0.0
    assert lifts[1, 0] > 0.0 == lifts[1, 1]
    assert lifts[2] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_a_varied_case_has_what_was_asked():
    case = load_case("strut-fairing")
    inputs = inputs_of(case)
    size = columns_of(inputs, 2)[-1][-1] + 1
    sample = sample_of(case, inputs, np.full((1, size), 0.9))
    one = varied_case(case, sample.values[0])
    told = dict(zip([i.key for i in inputs], sample.table[0], strict=True))
    assert one.sheet.thickness == told["thickness"]
    assert one.sheet.material.yield_strength == pytest.approx(told["yield_strength"])
    assert one.machine.nip.clamp == told["clamp"]
    for place, error in zip(settings_in(case.moves), sample.lifts[0], strict=True):
        assert one.moves[place].to == pytest.approx(case.moves[place].to + error)


def test_a_full_curve_gets_stronger_as_a_whole():
    """At the same plastic strain every stress is higher by the share."""
    material = load_case("strut-fairing").sheet.material
    e = material.youngs_modulus
    points = [(150.0 / e, 150.0), (150.0 / e + 0.01, 180.0)]
    curve = Curve.model_construct(
        strain=tuple(s for s, _ in points), stress=tuple(s for _, s in points)
    )
    more = strengthened(material.model_copy(update={"curve": curve}), 1.05).curve
    for (strain, stress), s, e_new in zip(
        points, more.stress, more.strain, strict=True
    ):
        assert s == pytest.approx(1.05 * stress)
        assert e_new - s / e == pytest.approx(strain - stress / e)

"""Units: the table of factors is judged by pint, and nonsense is refused."""

import math
import re
import subprocess
import sys

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinchline import units
from pinchline.errors import InputError

REGISTRY = pint.UnitRegistry()
INTERNAL = {
    "length": "mm",
    "stress": "MPa",
    "angle": "rad",
    "force": "N",
    "line_force": "N/mm",
    "stiffness": "N/mm",
    "line_stiffness": "N/mm^2",
    "line_moment": "N*mm/mm",
    "torque": "N*mm",
    "curvature": "1/mm",
    "density": "kg/m^3",
}
SPELLINGS = [(d, unit) for d, table in units.FACTORS.items() for unit in table]


@pytest.mark.parametrize(("dimension", "unit"), SPELLINGS)
def test_pint_agrees_with_the_table(dimension, unit):
    powered = re.sub(r"(?<=[a-z])([23])$", r"^\1", unit)
    judged = REGISTRY.Quantity(1.0, REGISTRY.parse_units(powered))
    assert units.FACTORS[dimension][unit] == pytest.approx(
        judged.m_as(INTERNAL[dimension]), rel=1e-12
    )


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("0.8 mm", "length", 0.8),
        ("0.032 in", "length", 0.8128),
        ("5/32 in", "length", 3.96875),
        (" .5mm ", "length", 0.5),
        ("2e-2 m", "length", 20.0),
        ("-3 mm", "length", -3.0),
        ("47 ksi", "stress", 47 * 6.894757293168361),
        ("10.5e3 ksi", "stress", 72394.95157826779),
        ("69.6 GPa", "stress", 69600.0),
        ("90 deg", "angle", math.pi / 2),
        ("80°", "angle", math.radians(80)),
        ("4 N/mm", "line_force", 4.0),
        ("60 N/mm/mm", "line_stiffness", 60.0),
        ("80 N mm/mm", "line_moment", 80.0),
        ("0.002 1/mm", "curvature", 0.002),
        ("0.002/mm", "curvature", 0.002),
        ("0.05 1 / in", "curvature", 0.05 / 25.4),
        ("0.100 lb/in^3", "density", 2767.990471020311),
        ("150 N", "force", 150.0),
    ],
)
def test_usual_spellings(text, dimension, value):
    assert units.parse(text, dimension) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("0.8 millimeter", "length", 0.8),
        ("2 yard", "length", 1828.8),
        ("20 kgf/mm^2", "stress", 196.133),
        ("1 tonne/m^3", "density", 1000.0),
    ],
)
def test_rare_spellings_go_to_pint(text, dimension, value):
    assert units.parse(text, dimension) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "reason"),
    [
        (0.8, "length", "bare number"),
        ("0.8", "length", "bare number"),
        (True, "length", "not text"),
        (["0.8 mm"], "length", "not text"),
        ("", "length", "not a number"),
        ("mm", "length", "not a number"),
        ("nan mm", "length", "not a finite number"),
        ("-inf mm", "length", "not a finite number"),
        ("1e999 mm", "length", "not a finite number"),
        ("1/0 in", "length", "divides by zero"),
        ("0,8 mm", "length", "decimal comma"),
        ("0.8 MPa", "length", "unit of a stress"),
        ("47 KSI", "stress", "did you mean ksi?"),
        ("3 furlongish", "length", "not a unit"),
        ("50 %", "angle", "not a unit"),
        ("3 degC", "length", "not a unit"),
        ("1 mm**99999999", "length", "not a unit"),
        ("9**9 mm", "length", "not a unit"),
        ("1 (mm", "length", "not a unit"),
    ],
)
def test_what_is_refused_and_why(text, dimension, reason):
    with pytest.raises(InputError, match=re.escape(reason)) as caught:
        units.parse(text, dimension)
    assert "with its unit, such as" in str(caught.value)


@given(st.text(max_size=12), st.sampled_from(list(units.FACTORS)))
def test_any_text_gives_a_finite_number_or_an_input_error(text, dimension):
    for candidate in (text, f"1 {text}"):
        try:
            value = units.parse(candidate, dimension)
        except InputError:
            continue
        assert math.isfinite(value)


@pytest.mark.parametrize("dimension", list(units.FACTORS))
@pytest.mark.parametrize("system", ["metric", "inch"])
def test_shop_text_reads_back(dimension, system):
    number, unit = units.display(0.5, dimension, system)
    assert units.parse(f"{number!r} {unit}", dimension) == pytest.approx(0.5, rel=1e-12)


def test_shop_text():
    assert units.format(0.8128, "length") == "0.81 mm"
    assert units.format(0.8128, "length", "inch") == "0.032 in"
    assert units.format(324.05, "stress", "inch") == "47.0 ksi"
    assert units.format(math.nan, "length") == "-"


def test_common_spellings_do_not_load_pint():
    code = (
        "import sys; from pinchline import units; "
        "units.parse('0.032 in', 'length'); units.parse('47 ksi', 'stress'); "
        "assert 'pint' not in sys.modules and 'numpy' not in sys.modules"
    )
    path = [entry for entry in sys.path if entry]
    subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path[:0] = {path!r}; {code}"],
        check=True,
    )

"""How tight it can be rolled: single runs, limits of every kind, facts of the trade."""

import math
from functools import cache

import numpy as np
import pytest
from rig import report

from pinchline.analysis.limits import limits
from pinchline.analysis.passes import one_pass, pass_case
from pinchline.model.case import parse_case
from pinchline.output.limits import limits_table, limits_words
from pinchline.process.programme import run_case

pytestmark = pytest.mark.verification

TEXT = """
[sheet]
material = {material}
direction = "LT"
thickness = "{thickness} mm"
length = "200 mm"
width = "400 mm"
[machine]
use = "bench-60"
{machine}
[model]
element = "{element} mm"
"""


SOFT = '"5052-H32"'
BRITTLE = '{use = "5052-H32", allowable_strain = 0.008}'


def case(material=SOFT, thickness=1.0, machine="", element=0.5):
    text = TEXT.format(
        material=material, thickness=thickness, machine=machine, element=element
    )
    moves = '[[move]]\nkind = "place"\nat = "100 mm"\n'
    return parse_case(text + moves, path="limits.toml")


@cache
def found(machine="", material=SOFT, thickness=1.0):
    return limits(case(material, thickness, machine), workers=1)


def test_a_point_is_the_single_run_at_the_same_inputs():
    """To rounding: the same job, done again by itself."""
    for way in found().ways:
        p = way.passes[7]
        again = one_pass(case(), p.lift, p.way)
        assert (p.way, p.limit) == (again.way, again.limit)
        assert p.radius == pytest.approx(again.radius, rel=1e-12)
        assert p.pinch_force == pytest.approx(again.pinch_force, rel=1e-12)
        result = run_case(pass_case(case(), p.lift, p.way))
        nip = result.steps["nip"][result.steps["move"] == 3][-1]
        s, k = result.sheet["s"], result.sheet["curvature_residual"]
        away = s - nip if p.way == "rear" else nip - s
        radius = 1.0 / np.mean(k[(away >= 6.0) & (away <= 18.0)])
        assert report("radius of a single run", p.radius, radius) < 1e-12


def test_every_point_carries_a_radius_or_the_name_of_a_limit():
    for way in found().ways:
        assert len(way.passes) >= 14
        for p in way.passes:
            assert p.limit or math.isfinite(p.radius)


def test_the_tightest_lies_on_the_upper_roll_and_springs_back_from_it():
    """Wrap: loaded within 4 % of the roll's curvature, freed by the section's own law.

    The pass springs back as the section does in pure bending to the same curvature.
    """
    for way in found().ways:
        assert way.binds == "wrap"
        assert report("loaded radius at wrap", way.tightest.loaded, 30.5) < 0.04
        assert way.tightest.radius > way.tightest.loaded


def test_reverse_is_tighter_than_forward_until_both_wrap():
    forward, reverse = found().ways
    pairs = [
        (p.radius, q.radius)
        for p, q in zip(forward.passes, reverse.passes, strict=False)
        if math.isfinite(p.radius) and math.isfinite(q.radius) and p.lift < 22.0
    ]
    assert len(pairs) > 3
    assert all(p > q for p, q in pairs)


@pytest.mark.parametrize(
    ("machine", "material", "thickness", "binds"),
    [
        ('rear.travel = "18 mm"', SOFT, 1.0, "end of screw travel"),
        ("nip.friction = 0.06", SOFT, 1.0, "grip exceeded"),
        ('crank.max_hand_force = "12 N"', SOFT, 1.0, "effort exceeded"),
        ('rear.max_screw_force = "220 N"', SOFT, 1.0, "screw force exceeded"),
        ('nip.max_force = "3.88 kN"', SOFT, 1.0, "pinch force exceeded"),
        ("", BRITTLE, 1.0, "surface strain"),
    ],
)
def test_what_binds_is_named(machine, material, thickness, binds):
    """Each limit of the machine and of the sheet, one at a time."""
    at = found(machine, material, thickness)
    kinds = {way.binds for way in at.ways} | {
        p.limit for way in at.ways for p in way.passes
    }
    assert binds in kinds or binds == at.end
    for way in at.ways:
        if way.tightest is not None:
            assert way.tightest.possible


def test_the_answer_is_said_and_written_down():
    text = limits_words(found(), "a sheet", "metric")
    assert "fed toward the rear: tightest" in text
    assert "wrap" in text
    assert "no permanent set" in text
    assert " in " in limits_words(found(), "a sheet", "inch")
    table = limits_table(found(), "a sheet")
    assert {c.name for c in table.columns} >= {"lift", "radius", "toward", "limit"}
    sizes = {c.values.size for c in table.columns}
    assert sizes == {sum(len(way.passes) for way in found().ways)}

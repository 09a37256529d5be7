"""Narrow strip, wide sheet, and what lies between.

The elastic share of plane strain is checked against its table by ``pinchline verify``.
"""

import math

import numpy as np
import pytest
from rig import SectionFixture, report

from pinchline.case.case import ModelOptions, parse_case
from pinchline.physics import section
from pinchline.physics.width import NARROW, WIDE, plane_strain_share
from pinchline.solvers.layers import section_law
from pinchline.solvers.regime import expected_radius, width_regime
from pinchline.solvers.stepped.program import run_case
from pinchline.solvers.stepped.state import new_state

pytestmark = pytest.mark.verification

TEXT = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "220 mm"
width = "{width} mm"
[machine]
use = "bench-60"
[machine.nip]
clearance = "0.05 mm"
{model}
[[move]]
kind = "place"
at = "150 mm"
[[move]]
kind = "lift"
to = "24 mm"
[[move]]
kind = "feed"
toward = "rear"
by = "110 mm"
"""


def case(width, regime="auto", section_word="layered"):
    model = f'[model]\nregime = "{regime}"\nsection = "{section_word}"'
    return parse_case(TEXT.format(width=width, model=model), path="width.toml")


def radius(result):
    s, k = result.sheet["s"], result.sheet["curvature_residual"]
    return float(1.0 / np.mean(k[(s > 50.0) & (s < 90.0)]))


def law(held, section_word="layered"):
    material = case(400).sheet.material
    return section_law(material, 1.0, ModelOptions(section=section_word), held)


@pytest.mark.parametrize("held", [0.25, 0.6])
def test_a_partly_held_section_is_the_sum_of_its_two_parts(held):
    """Loading, full unload, reversed load: moments of both bands side by side.

    Exact: both bands have the same curvature. To rounding.
    """
    together, flat, free = (SectionFixture(law(share)) for share in (held, 1.0, 0.0))
    for k in (0.002, 0.01, 0.03, 0.028, 0.01, -0.005, -0.02, 0.0):
        parts = [piece.bend_to(k) for piece in (together, flat, free)]
        expected = held * parts[1] + (1.0 - held) * parts[2]
        assert report(f"moment at {k}", parts[0], expected) < 1.0e-9


def test_a_narrow_strip_bends_by_plain_beam_theory():
    """E I and Y t^2/6: any text; no plane-strain factor is left."""
    material = case(400).sheet.material
    strip = law(0.0)
    assert strip.law == section.UNIAXIAL
    stiffness = material.youngs_modulus / 12.0
    assert report("bending stiffness", strip.bending, stiffness) < 1.0e-6
    yielding = material.yield_strength / 6.0
    assert report("first yield", strip.first_yield, yielding) < 1.0e-6


def test_the_closed_form_meets_both_limits():
    """2/sqrt 3 and 1/(1 - nu^2) wide, 1 narrow."""
    wide, narrow = law(1.0, "closed-form"), law(0.0, "closed-form")
    nu = case(400).sheet.material.poisson_ratio
    ratio = wide.bending / narrow.bending
    assert report("stiffness", ratio, 1.0 / (1.0 - nu**2)) < 1e-9
    # first yields of both in the closed forms: 2/sqrt 3 apart
    ratio = wide.first_yield / narrow.first_yield
    assert report("first yield", ratio, 2.0 / math.sqrt(3.0)) < 1e-9


def test_the_searle_number_decides_and_says_so_between():
    """Below 1 narrow, above 100 wide, between them a notice (references.md 10.3)."""
    bend = expected_radius(case(400))
    edges = [math.sqrt(b * bend) for b in (NARROW, WIDE)]
    for width, held, between in (
        (edges[0] - 0.1, 0.0, False),
        (edges[1] + 0.1, 1.0, False),
    ):
        found = width_regime(case(width))
        assert (found.held, found.between) == (held, between)
    middle = width_regime(case(0.5 * sum(edges)))
    assert middle.between
    assert 0.0 < middle.held < 1.0
    kinds = [event.kind for event in run_case(case(0.5 * sum(edges))).events]
    assert "between narrow and wide" in kinds
    assert "between narrow and wide" not in [
        event.kind for event in run_case(case(400)).events
    ]


def test_the_transition_is_continuous_and_follows_the_elastic_strip():
    """No jump at either end; within a tenth of the strip's own share between."""
    bend = expected_radius(case(400))
    for b in np.geomspace(NARROW * 1.001, WIDE * 0.999, 9):
        held = width_regime(case(math.sqrt(b * bend))).held
        strip = plane_strain_share(b, case(400).sheet.material.poisson_ratio)
        assert abs(held - strip) < 0.13  # the strip's share at 100 is 0.88
    first = width_regime(case(math.sqrt(NARROW * 1.001 * bend))).held
    last = width_regime(case(math.sqrt(WIDE * 0.999 * bend))).held
    assert first == pytest.approx(0.0, abs=1e-3)
    assert last == pytest.approx(1.0, abs=1e-3)


def test_a_coupon_springs_back_otherwise_than_the_sheet():
    """So a narrow test strip misleads (references.md 10.3); overriding shows it.

    Same elastic-plastic beam, weaker by 2/sqrt 3 and softer by 1/(1 - nu^2): the
    narrow strip is bent further past yield and keeps more.
    """
    narrow = radius(run_case(case(25.0, "narrow")))
    wide = radius(run_case(case(25.0, "wide")))
    between = radius(run_case(case(25.0)))
    report("narrow over wide radius, mm", narrow, wide)
    assert narrow < between < wide
    assert new_state(case(25.0, "wide")).regime.held == 1.0

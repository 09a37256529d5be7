"""The sheet's own weight against the cantilever under an even load.

``M(x) = q (a - x)^2 / 2`` and, turned from the root, ``q (a^3 - (a - x)^3) / (6 EI)``:
any text on strength of materials.
"""

import numpy as np
import pytest
from rig import report

from pinchline.case.case import parse_case
from pinchline.solvers.stepped.placing import place
from pinchline.solvers.stepped.program import run_case
from pinchline.solvers.stepped.state import new_state
from pinchline.solvers.stepped.stepping import feed, move_rear

pytestmark = pytest.mark.verification

SHEET = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "{length} mm"
width = "400 mm"
[machine]
use = "bench-60"
[model]
weight = {weight}
[[move]]
kind = "place"
at = "{at} mm"
"""
MORE = """
[[move]]
kind = "lift"
to = "20 mm"
[[move]]
kind = "feed"
toward = "{toward}"
by = "60 mm"
"""


def case(length=500.0, at=300.0, weight="true", more=""):
    text = SHEET.format(length=length, at=at, weight=weight)
    return parse_case(text + more, path="weight.toml")


def test_an_overhanging_arm_bends_the_sheet_as_a_cantilever():
    """Moment and rotation in the window, where the operator's arm hangs out.

    To 0.1 % in moment: the arm is straight but sinks by a hundredth of its length; to
    1 % in rotation: elements of 0.25 mm near the contact, over 3 mm of window.
    """
    state = new_state(case())
    place(state, 300.0, 1)
    beam, chain = state.beam, state.chain
    q = case().sheet.material.density * 9.80665e-9 * 1.0
    assert beam.weight == pytest.approx(q, rel=1e-12)
    length = beam.length
    # elements between the window's end and the contact patch of the nip
    touch = min(state.forces[r, 6] for r in (0, 1) if state.forces[r, 4] > 0.0)
    free = np.arange(state.first, int(touch / length) - 1)
    middle = (free + 0.5) * length  # from the tip
    expected = -0.5 * q * middle**2
    worst = np.max(np.abs(chain.moment[free] / expected - 1.0))
    assert abs(report("moment of the arm, worst", 1.0 + worst, 1.0)) < 1.0e-3
    start, stop = free[0], free[-1] + 1
    turned = chain.theta[start] - chain.theta[stop]
    tip, root = start * length, stop * length
    slope = q * (root**3 - tip**3) / (6.0 * beam.bending)
    assert abs(report("rotation over the window", turned, slope)) < 1.0e-2


def test_the_rolls_carry_the_whole_sheet():
    """Statics: the rolls' vertical force is the weight of all of it."""
    state = new_state(case())
    place(state, 300.0, 1)
    move_rear(state, 15.0, 2, lambda: False)
    feed(state, 1, 20.0, 15.0, 3, lambda: False)
    lifted = float(np.sum(state.forces[:, 1]))
    weight = state.beam.weight * 500.0
    # each balance is met to 1e-8 of first yield over the thickness, 3e-7 N/mm
    assert abs(report("vertical force of the rolls, N/mm", lifted, weight)) < 1.0e-4


@pytest.mark.parametrize("toward", ["rear", "operator"])
def test_the_energy_account_closes_with_height(toward):
    """To 0.5 % of the work, with a heavy arm on either side."""
    result = run_case(case(at=250.0, more=MORE.format(toward=toward)))
    error = report("energy account", result.summary["energy_error_max"], 0.0)
    assert error < 5.0e-3
    assert np.ptp(result.steps["energy_height"]) > 0.1


def test_weight_matters_for_long_arms_and_hardly_for_short_ones():
    """Its moment over that of first yield: q a^2 / 2 M_y, 5 % at 350 mm here."""
    ratios = []
    for length, at in ((120.0, 60.0), (700.0, 350.0)):
        radii = []
        for weight in ("true", "false"):
            result = run_case(
                case(length, at, weight, MORE.format(toward="rear").replace("60", "50"))
            )
            k = result.sheet["curvature_residual"]
            s = result.sheet["s"]
            zone = (s > at - 40.0) & (s < at - 20.0)
            radii.append(float(1.0 / np.mean(k[zone])))
        ratios.append(abs(radii[0] / radii[1] - 1.0))
    report("change of radius by weight, long over short arms", ratios[1], ratios[0])
    assert ratios[0] < 0.01
    assert ratios[1] > 3.0 * ratios[0]

"""The constants of a sheet are made once: both solvers follow a change of them."""

import pytest

from pinchline.case.case import load_case
from pinchline.case.moves import Lift
from pinchline.solvers import sheet
from pinchline.solvers.regime import width_regime
from pinchline.solvers.steady.problem import setting_of
from pinchline.solvers.stepped.equilibrium.window import tooling
from pinchline.solvers.stepped.state import new_state

LIFT = 20.0
CASE = load_case("strut-fairing").model_copy(update={"moves": (Lift(to=LIFT),)})


def in_both_solvers(case):
    """Constants as the kernels of the stepped and of the steady solver take them."""
    state = new_state(case)
    beam, tools = state.beam, tooling(state)
    stepped = (
        *(beam.axial, beam.shear, beam.bending, beam.bulge, beam.first_yield),
        *(tools.foundation, tools.offset),
    )
    strip = setting_of(case, width_regime(case, LIFT).held, 0.0, "operator", 1.0).strip
    steady = (
        *(strip.axial, strip.shear, strip.bending, strip.bulge, strip.first_yield),
        *(strip.foundation, strip.offset),
    )
    return stepped, steady


@pytest.mark.parametrize("bulging", [False, True])
def test_both_solvers_bend_the_same_sheet(bulging):
    options = {"bulging": bulging, "drive_share": 0.3}
    model = CASE.model.model_copy(update=options)
    stepped, steady = in_both_solvers(CASE.model_copy(update={"model": model}))
    assert stepped == steady


def test_both_solvers_follow_a_constant_that_is_changed_in_one_place(monkeypatch):
    before, _ = in_both_solvers(CASE)
    plain = sheet.sheet_properties(CASE, 1.0)
    monkeypatch.setattr(sheet, "SHEAR_FACTOR", 1.0)
    monkeypatch.setattr(sheet, "plane_strain_modulus", lambda _: 1000.0)
    monkeypatch.setattr(sheet, "bending_modulus", lambda *_: 2000.0)
    stepped, steady = in_both_solvers(CASE)
    assert stepped == steady
    changed = [now != then for now, then in zip(stepped, before, strict=True)]
    assert changed == [True, True, False, False, False, True, False]
    assert sheet.sheet_properties(CASE, 1.0).law.bending == plain.law.bending

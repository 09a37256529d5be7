"""A sheet a little off its card moves the part the way the bench knows.

Thicker sheet springs back less, stronger sheet more: common practice, no source; and by
M/E'I of pure bending, springback goes with yield strength over thickness.
"""

from dataclasses import replace

import pytest

from pinchline.analysis.plan import Plan, settings_of
from pinchline.analysis.plan_spread import STRENGTH, THICKNESS, raised, vary
from pinchline.model.case import load_case
from pinchline.model.curve import Curve
from pinchline.model.moves import Feed, Lift, Lower, Place, Release
from pinchline.process.programme import run_case


def plan_on(nip):
    """A short job with rigid rolls or with those of the card, planned by hand."""
    case = load_case("strut-fairing")
    sheet = case.sheet.model_copy(update={"length": 120.0})
    moves = (
        Place(at=3.0),
        Lift(to=14.0),
        Feed(toward="operator", by=100.0),
        Lower(),
        Release(),
    )
    model = case.model.model_copy(update={"element": 0.5})
    machine = case.machine
    if nip == "rigid":
        rigid = {"clearance": 0.05, "clamp": None, "play": 0.0}
        rigid_nip = machine.nip.model_copy(update=rigid)
        machine = machine.model_copy(update={"nip": rigid_nip})
    changed = {"sheet": sheet, "moves": moves, "model": model, "machine": machine}
    case = case.model_copy(update=changed)
    return Plan(
        case=case,
        result=run_case(case),
        way="one pass",
        settings=settings_of(case),
        deviations=(),
        effects=(),
        closing=None,
        reached=True,
    )


@pytest.fixture(scope="module")
def plan():
    return plan_on("rigid")


def turned(result):
    return result.summary["turned_angle"]


def test_thicker_sheet_closes_and_stronger_sheet_opens(plan):
    thick, strong = vary(plan, workers=1)
    assert (thick.name, thick.share) == ("thickness", THICKNESS)
    assert (strong.name, strong.share) == ("yield strength", STRENGTH)
    closes = turned(thick.result) - turned(plan.result)
    opens = turned(plan.result) - turned(strong.result)
    # 5 % of yield strength over 2 % of thickness is 2.5; thicker sheet also wraps less
    assert 1.0 < opens / closes < 4.0
    assert closes > 0.0


def test_rolls_that_give_take_back_what_thicker_sheet_closes(plan):
    """Forces go with t squared: the nip opens more under the thicker sheet."""
    giving = plan_on("giving")
    thick, strong = vary(giving, workers=1)
    closes = turned(thick.result) - turned(giving.result)
    rigid = vary(plan, workers=1)[0].result
    assert closes < 0.5 * (turned(rigid) - turned(plan.result))
    assert turned(strong.result) < turned(giving.result)


def test_a_full_curve_gets_stronger_as_a_whole(plan):
    """At the same plastic strain every stress is higher by the share."""
    material = plan.case.sheet.material
    e = material.youngs_modulus
    points = [(150.0 / e, 150.0), (150.0 / e + 0.01, 180.0)]
    curve = Curve.model_construct(
        strain=tuple(s for s, _ in points), stress=tuple(s for _, s in points)
    )
    more = raised(material.model_copy(update={"curve": curve}), 0.05).curve
    for (strain, stress), s, e_new in zip(
        points, more.stress, more.strain, strict=True
    ):
        assert s == pytest.approx(1.05 * stress)
        assert e_new - s / e == pytest.approx(strain - stress / e)


def test_what_cannot_be_run_stays_unknown(plan):
    """Travel of a bit more than nothing: neither sheet can be lifted so far."""
    rear = plan.case.machine.rear.model_copy(update={"travel": 1.0})
    machine = plan.case.machine.model_copy(update={"rear": rear})
    stuck = replace(plan, case=plan.case.model_copy(update={"machine": machine}))
    assert [v.result for v in vary(stuck, workers=1)] == [None, None]

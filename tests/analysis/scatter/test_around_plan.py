"""Parts of a plan's job when sheet, nip and hand are not quite as the plan says."""

from dataclasses import replace

import numpy as np
import pytest

from pinchline.analysis.planning.plan import Plan, settings_of
from pinchline.analysis.scatter.around_plan import spread_parts
from pinchline.case.case import load_case
from pinchline.case.moves import Feed, Lift, Lower, Place, Release, Turn
from pinchline.solvers.stepped.program import run_case


@pytest.fixture(scope="module")
def plan():
    """A short job, planned by hand."""
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
    case = case.model_copy(update={"sheet": sheet, "moves": moves, "model": model})
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
def parts(plan):
    return spread_parts(plan, workers=1)


def read(results, key):
    return np.array([result.summary[key] for result in results])


def test_parts_lie_about_the_part_of_the_plan(plan, parts):
    """The plan is taken at its word, so that its own part is in their midst."""
    for key in ("turned_angle", "flat_operator_straightedge"):
        own = plan.result.summary[key]
        low, middle, high = np.quantile(read(parts, key), (0.05, 0.5, 0.95))
        print(key, own, low, middle, high)
        assert low < own < high
        assert abs(middle - own) < 0.25 * (high - low)


def test_a_part_is_measured_as_it_is_shaped(parts):
    for part in parts[:8]:
        x, y = part.sheet["x"], part.sheet["y"]
        across = np.hypot(x[-1] - x[0], y[-1] - y[0])
        assert part.summary["opening"] == pytest.approx(across, rel=1e-9)


def test_the_same_plan_gives_the_same_parts(plan, parts):
    again = spread_parts(plan, workers=2)
    for one, other in zip(parts, again, strict=True):
        assert np.array_equal(one.sheet["x"], other.sheet["x"])


def test_parts_of_a_job_that_bends_twice_go_with_two_runs(plan):
    """Weaker and thicker sheet lie on the line through the plan's own and the run's."""
    case = plan.case
    first = (Place(at=3.0), Lift(to=14.0), Feed(toward="operator", by=60.0), Lower())
    second = (Place(at=117.0), Lift(to=14.0), Feed(toward="operator", by=60.0))
    moves = (*first, Turn(), *second, Lower(), Release())
    case = case.model_copy(update={"moves": moves})
    turned = replace(plan, case=case, result=run_case(case))
    own = turned.result.sheet["curvature_residual"]
    parts = spread_parts(turned, workers=1)
    apart = np.array([part.sheet["curvature_residual"] - own for part in parts])
    # two things are off, so that all parts lie in a plane about the plan's own
    sizes = np.linalg.svd(apart, compute_uv=False)
    assert sizes[1] > 1e-3 * sizes[0]
    assert sizes[2] < 1e-9 * sizes[0]
    low, high = np.quantile(read(parts, "turned_angle"), (0.05, 0.95))
    assert low < turned.result.summary["turned_angle"] < high


def test_what_cannot_be_run_has_no_parts(plan):
    """A job that a limit stops says nothing of other sheets."""
    first, *_ = plan.result.events
    stopped = replace(plan.result, events=[replace(first, level="stop")])
    assert spread_parts(replace(plan, result=stopped), workers=1) == ()

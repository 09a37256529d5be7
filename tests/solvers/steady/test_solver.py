"""The span solver against the collocation of ``soft_span`` and the stepped solver."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from passes import SHIPPED, a_pass, stepped
from soft_span import soft_contact
from steady_span import TO_OPERATOR, TO_REAR, span_of

from pinchline.case.case import Case, parse_case
from pinchline.solvers.steady.continuation import is_pass
from pinchline.solvers.steady.follower import LIFT, solve_many
from pinchline.solvers.steady.march import DRIVE, PUSH, REAR_Y, X
from pinchline.solvers.steady.shooting import Solution, new_solution
from pinchline.solvers.steady.solver import LOST, SOLVED, Way, solve_pass

WAYS: dict[int, Way] = {TO_REAR: "rear", TO_OPERATOR: "operator"}


def giving(way: int, lift: float) -> Case:
    """The same pass between rolls that bend, as bench-60 has them."""
    text = a_pass(way, lift).text
    text = text.replace('[machine.nip]\nclearance = "0.05 mm"\n', "")
    return parse_case(text, path="pass.toml")


def bulging(case: Case) -> Case:
    """The same of sheet that bulges, on the foundation that goes with it."""
    model = case.model.model_copy(update={"bulging": True, "contact": None})
    return case.model_copy(update={"model": model})


@pytest.mark.parametrize(("way", "lift"), [(TO_REAR, 20.0), (TO_OPERATOR, 16.0)])
def test_it_solves_the_same_equations_as_collocation(way: int, lift: float) -> None:
    """Same rod, foundation and closed-form law; ``scipy.integrate.solve_bvp``."""
    case = a_pass(way, lift)
    found = solve_pass(case, lift, WAYS[way])
    (judge,) = soft_contact(case, way, lift, (SHIPPED,))
    print(f"residual radius: collocation {judge.radius:.3f}, span {found.radius:.3f}")
    assert found.status == SOLVED
    # mesh of either moves the radius by 0.1 % in the worse direction, measured
    assert found.radius == pytest.approx(judge.radius, rel=2e-3)
    assert found.force_rear == pytest.approx(judge.force_rear, rel=5e-3)


@pytest.mark.parametrize("bulges", [False, True], ids=["plain", "bulging"])
@pytest.mark.parametrize("make", [a_pass, giving], ids=["rigid", "giving"])
@pytest.mark.parametrize(
    ("way", "lift", "allowed"),
    [
        (TO_REAR, 20.0, 0.005),  # asked of the span solver (issue 5)
        (TO_OPERATOR, 16.0, 0.015),  # the stepped solver's own element is worth 1.2 %
    ],
)
def test_it_agrees_with_the_stepped_solver_on_the_plateau(
    make: Callable[[int, float], Case],
    way: int,
    lift: float,
    allowed: float,
    bulges: bool,
) -> None:
    case = bulging(make(way, lift)) if bulges else make(way, lift)
    found = solve_pass(case, lift, WAYS[way])
    radius, result = stepped(case, way)
    print(f"residual radius: stepped {radius:.3f}, span {found.radius:.3f}")
    assert found.radius == pytest.approx(radius, rel=allowed)
    last = {k: float(result.steps[f"force_{k}"][-1]) for k in ("upper", "rear")}
    print(f"upper roll: stepped {last['upper']:.3f}, span {found.force_upper:.3f}")


@pytest.mark.parametrize(("way", "lift"), [(TO_REAR, 26.0), (TO_OPERATOR, 14.0)])
def test_the_drive_pays_for_plastic_work_and_locked_stress(
    way: int, lift: float
) -> None:
    """No equation of the solver says so: contacts and supports do no work steadily."""
    case = a_pass(way, lift)
    found = solve_pass(case, lift, WAYS[way])
    (judge,) = soft_contact(case, way, lift, (SHIPPED,))
    # per mm of feed; D along the sheet differs from D x' by the stretch alone
    assert way * found.drive == pytest.approx(judge.spent, rel=1e-2)


@pytest.mark.parametrize("thickness", [1.0, 2.0])
@pytest.mark.parametrize(
    ("way", "lift"),
    [(TO_REAR, 18.0), (TO_REAR, 26.0), (TO_OPERATOR, 12.0), (TO_OPERATOR, 14.0)],
)
def test_bulging_takes_no_work_either(way: int, lift: float, thickness: float) -> None:
    """What pressure does on the faces that stand off, it takes off the moment.

    So the drive pays for the loop of the section's own moment alone, in closed form.
    """
    case = bulging(a_pass(way, lift))
    sheet = case.sheet.model_copy(update={"thickness": thickness})
    case = case.model_copy(update={"sheet": sheet})
    found = solve_pass(case, lift, WAYS[way])
    spent = span_of(case, lift).spent(found.loaded)
    print(f"drive {way * found.drive:.5f}, loop {spent:.5f} N")
    # 0.42 % at worst measured, 0.07 % with segments half as long
    assert way * found.drive == pytest.approx(spent, rel=6e-3)


def straight(lower: float, rear: float, drive: float, x: float) -> Solution:
    """Two points of a sheet fed toward the rear roll, first at ``x`` (mm)."""
    found = new_solution()
    found.mesh[2:] = 2.0, 1.0
    found.path[0, 1 + X] = x
    found.path[1, 1 + PUSH] = lower
    found.q[[DRIVE, REAR_Y]] = drive, rear
    return found


def test_a_sheet_that_misses_the_nip_or_is_pulled_back_is_no_pass() -> None:
    """A straight sheet unloaded over lower and rear roll meets every equation.

    It once came out as a pass that leaves nothing, where the stepped solver leaves 53
    mm. Rolls only push, the sheet starts before the nip line, the drive feeds it.
    """
    rolls = np.zeros((3, 3))
    assert is_pass(rolls, straight(16.0, 1.0, 0.3, -1.5))
    assert is_pass(rolls, straight(16.0, 1.0, -1.0e-3, -1.5))  # elastic: rounding
    assert not is_pass(rolls, straight(0.0, 0.0, 0.0, 8.1))
    assert not is_pass(rolls, straight(16.0, -1.0, 0.3, -1.5))
    assert not is_pass(rolls, straight(16.0, 1.0, -0.3, -1.5))
    assert not is_pass(rolls, straight(16.0, 1.0, 0.3, 8.1))


@pytest.mark.parametrize("radius", [300.0, 1000.0])
def test_sheet_that_came_curved_agrees_with_the_stepped_solver(radius: float) -> None:
    case = a_pass(TO_REAR, 20.0)
    sheet = case.sheet.model_copy(update={"curvature": 1.0 / radius})
    found = solve_pass(case, 20.0, "rear", natural_curvature=1.0 / radius)
    judge, _ = stepped(case.model_copy(update={"sheet": sheet}), TO_REAR)
    flat = solve_pass(case, 20.0, "rear")
    print(f"stepped {judge:.3f}, span {found.radius:.3f}, from flat {flat.radius:.3f}")
    # half a percent is asked of a forward pass (issue 5); measured 0.05 %
    assert found.radius == pytest.approx(judge, rel=5e-3)
    assert found.loaded == pytest.approx(flat.loaded, rel=0.05)
    assert found.moment < 0.999 * flat.moment  # it needs bending from a start


def test_many_are_the_same_as_one_by_one_and_for_any_workers() -> None:
    rows = np.full((6, 7), np.nan)
    rows[:, 0] = np.linspace(0.9, 1.1, 6)
    rows[:, LIFT] = 22.0
    case = a_pass(TO_REAR, 22.0)
    one = solve_many(case, "rear", rows, workers=1, chunk=3)
    two = solve_many(case, "rear", rows, workers=2, chunk=3)
    assert [item.radius for item in one] == [item.radius for item in two]
    for row, item in zip(rows, one, strict=True):
        sheet = case.sheet.model_copy(update={"thickness": float(row[0])})
        alone = solve_pass(case.model_copy(update={"sheet": sheet}), 22.0, "rear")
        # another first guess lays another mesh: 0.1 % in radius, measured
        assert item.radius == pytest.approx(alone.radius, rel=2e-3)


def test_a_pass_that_is_not_there_says_so() -> None:
    """No lift, rigid clearance: nothing bends the sheet, and jam is a jam."""
    case = a_pass(TO_REAR, 20.0)
    nothing = solve_pass(case, 0.0, "rear")
    assert nothing.status == LOST
    assert math.isnan(nothing.residual)
    assert solve_pass(case, 500.0, "rear").status == "jam"

"""The law of a roll's support, and the bordered tangent of rolls that give."""

import numpy as np
import pytest

from pinchline.case.case import parse_case
from pinchline.physics import support
from pinchline.solvers.stepped.equilibrium import assembly
from pinchline.solvers.stepped.equilibrium.bordered_solve import solve_dense
from pinchline.solvers.stepped.equilibrium.window import choose_window, settle, tooling
from pinchline.solvers.stepped.placing import place
from pinchline.solvers.stepped.state import new_state
from pinchline.solvers.stepped.stepping import feed, move_rear

LAWS = [
    (0.0, 60.0, 0.0),
    (4.0, 60.0, 0.0),
    (0.0, 60.0, 0.2),
    (4.0, 60.0, 0.2),
    (10.0, 1.0e5, 0.05),
]


def held(preload: float, stiffness: float, play: float, give: float = 0.0):
    row = np.zeros(support.SUPPORT)
    row[support.GIVE_Y] = -1.0
    row[support.PRELOAD] = preload
    row[support.STIFFNESS] = stiffness
    row[support.PLAY] = play
    row[support.GIVE] = give
    return row


@pytest.mark.parametrize("law", LAWS)
def test_force_is_the_slope_of_the_energy_and_never_falls(law):
    """Central differences of an energy that is quadratic between its kinks."""
    preload, stiffness, play = law
    free = -preload / stiffness
    kinks = np.array([free, 0.0, play])
    step = 1.0e-6
    places = np.linspace(free - 0.2, play + 0.3, 901)
    places = places[np.min(np.abs(places[:, None] - kinks), axis=1) > 2.0 * step]

    def at(give):
        return support.support_force(held(*law, give))

    forces = np.array([at(d)[0] for d in places])
    assert np.all(np.diff(forces) > 0.0)
    for d in places[::7]:
        force, tangent, _ = at(d)
        slope = (at(d + step)[2] - at(d - step)[2]) / (2.0 * step)
        bend = (at(d + step)[0] - at(d - step)[0]) / (2.0 * step)
        assert slope == pytest.approx(force, abs=1e-6 * (preload + stiffness))
        # the differences carry 1e-16 of the force over the step
        assert bend == pytest.approx(tangent, rel=1e-6, abs=1e-9 * (1.0 + force))


@pytest.mark.parametrize("law", LAWS)
def test_play_is_taken_up_before_force_builds(law):
    preload, stiffness, play = law
    slack = support.UNLOADED_STIFFNESS_SHARE * stiffness * play
    for d in np.linspace(0.0, play, 5):
        force = support.support_force(held(*law, d))[0]
        assert preload - slack <= force <= preload
    beyond = support.support_force(held(*law, play + 0.1))[0]
    assert beyond == pytest.approx(preload + 0.1 * stiffness)


def test_a_small_dense_system_is_solved_with_pivoting():
    rng = np.random.default_rng(5)
    a = rng.normal(size=(4, 6))
    a[0, 0] = 0.0
    b = rng.normal(size=4)
    expected = np.linalg.solve(a[:, :4], b)
    solve_dense(a, b, 4)
    assert b == pytest.approx(expected, rel=1e-12)


CASE = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "160 mm"
width = "400 mm"
[machine]
use = "bench-60"
[machine.nip]
clamp = "4 N/mm"
stiffness = "60 N/mm/mm"
[machine.rear]
stiffness = "80 N/mm/mm"
[[move]]
kind = "place"
at = "80 mm"
"""


def test_the_border_is_the_derivative_of_the_residual():
    """Finite differences of residual and support forces, by node and by give.

    The tangent leaves out the second derivatives of the arc's rise and takes carried
    forces; at an equilibrium what is left out is of the order of depth over thickness.
    """
    state = new_state(parse_case(CASE, path="border.toml"))
    place(state, 80.0, 1)
    move_rear(state, 12.0, 2, lambda: False)
    feed(state, 1, 10.0, 12.0, 3, lambda: False)
    choose_window(state)
    assert settle(state)
    first, last, work = state.first, state.last, state.work
    size = 3 * (last - first + 1)

    def assembled():
        assembly.assemble(
            state.beam,
            state.chain,
            tooling(state),
            work,
            work.forces,
            first,
            last,
            False,
        )
        return (
            work.forces[:size].copy(),
            work.cross[:size].copy(),
            state.supports.copy(),
        )

    _, cross, table = assembled()
    giving = [r for r in range(3) if table[r, support.STIFFNESS] > 0.0]
    assert giving == [1, 2]
    step = 1.0e-7
    largest = np.max(np.abs(cross))
    for column, roll in enumerate(giving):
        ends = []
        for side in (1.0, -1.0):
            state.supports[roll, support.GIVE] += side * step
            state.stand_rolls()
            ends.append(assembled())
            state.supports[roll, support.GIVE] -= side * step
            state.stand_rolls()
        slope = (ends[0][0] - ends[1][0]) / (2.0 * step)
        assert slope == pytest.approx(cross[:, column], abs=1e-4 * largest)
        pull = ends[0][2][roll, support.UNBALANCED]
        pull -= ends[1][2][roll, support.UNBALANCED]
        tangent = table[roll, support.TANGENT]
        assert pull / (2.0 * step) == pytest.approx(tangent, rel=1e-4)

"""Closing a part by hand, against rings, the elastica, and its own energy account."""

import math
from functools import cache

import numpy as np
import pytest
from rig import report
from scipy.integrate import quad
from scipy.optimize import brentq

from pinchline.analysis.closing import ManualClosing, close_part
from pinchline.case.case import load_case
from pinchline.errors import InputError
from pinchline.results.schema import Result
from pinchline.solvers.stepped.loaded_strip import HeldSheet, X, Y
from pinchline.solvers.stepped.placing import turn
from pinchline.solvers.stepped.program import run_to_state
from pinchline.solvers.stepped.state import State, new_state

pytestmark = pytest.mark.verification

RADIUS, ELEMENTS = 80.0, 400
ELASTIC = 1.0e5  # MPa: a yield strength that nothing reaches


def arc(angle: float, strength: float = ELASTIC) -> State:
    """Free arc of 1 mm sheet, 80 mm in radius, free of stress."""
    case = load_case("strut-fairing")
    metal = case.sheet.material.model_copy(update={"yield_strength": strength})
    length = RADIUS * angle
    sheet = case.sheet.model_copy(
        update={"material": metal, "length": length, "curvature": 1.0 / RADIUS}
    )
    model = case.model.model_copy(update={"element": length / ELEMENTS})
    return new_state(case.model_copy(update={"sheet": sheet, "model": model}))


@cache
def rolled() -> tuple[Result, State]:
    """The demo, with coarse elements: it is the part's own consistency that counts."""
    case = load_case("strut-fairing")
    model = case.model.model_copy(update={"element": 1.0})
    return run_to_state(case.model_copy(update={"model": model}))


@cache
def closed(by: float) -> ManualClosing:
    result, state = rolled()
    return close_part(state, result.summary["opening"] - by)


def ring(state: State, angle: float) -> float:
    """Closing per force (mm per N/mm) of a thin arc pulled along its chord.

    Castigliano with M = P R (cos f - cos a), N = P cos f, Q = P sin f, a half the
    angle: E'I d / P R^3 = a (1 + 2 cos^2 a) - 3 sin a cos a, and what stretch and shear
    add (derived here; pi/2 for half a ring, 3 pi for a slit one, as any text has).
    """
    a = 0.5 * angle
    c, s = math.cos(a), math.sin(a)
    beam = state.beam
    bend = RADIUS**3 / beam.bending * (a * (1.0 + 2.0 * c * c) - 3.0 * s * c)
    return bend + RADIUS / beam.axial * (a + s * c) + RADIUS / beam.shear * (a - s * c)


@pytest.mark.parametrize("angle", [1.0, 2.0, math.pi, 5.0])
def test_an_arc_closes_by_a_little_as_castigliano_says(angle: float) -> None:
    """Closed and spread by 0.1 % of the opening: the mean is linear to its square.

    A shallow arc stiffens soonest when spread: 1 rad of arc is straight after 4 % more
    opening, so a 40th of the way costs 1/1600 and the least stiffness there; 0.2 % is
    allowed. The force itself is balanced to 1e-6 E'I / L^2, 1e-4 of it here.
    """
    state = arc(angle)
    opening = 2.0 * RADIUS * math.sin(0.5 * angle)
    ways = [close_part(state, opening * share) for share in (0.999, 1.001)]
    moved = [
        np.interp(0.0, (w.opening - w.opening_wanted)[::s], w.forces[::s])
        for w, s in zip(ways, (-1, 1), strict=True)
    ]
    softness = 0.002 * opening / (moved[0] - moved[1])
    difference = report("mm per N/mm", softness, ring(state, angle))
    assert abs(difference) < 2.0e-3


def elastica(force: float, bending: float, length: float) -> float:
    """Opening (mm) of an arc of natural curvature 1/R under end forces along its chord.

    From the middle out, theta' ^2 = 1/R^2 + 2 P/E'I (cos theta - cos theta_end), the
    pendulum's equation with no moment at the ends (any text on the elastica); lengths
    by quadrature.
    """

    def bend(theta: float, end: float) -> float:
        lever = 2.0 * force / bending * (math.cos(theta) - math.cos(end))
        return math.sqrt(1.0 / RADIUS**2 + lever)

    def half(end: float) -> float:
        return float(quad(lambda t: 1.0 / bend(t, end), 0.0, end)[0]) - 0.5 * length

    end = brentq(half, 0.49 * length / RADIUS, 0.999 * math.pi, xtol=1.0e-13)
    return 2.0 * float(quad(lambda t: math.cos(t) / bend(t, end), 0.0, end)[0])


@pytest.mark.parametrize("angle", [2.0, math.pi, 5.0])
def test_an_arc_closed_to_a_third_of_its_opening_is_the_elastica(angle: float) -> None:
    """Within 0.1 % of what the opening has moved: elements of 0.4 to 1 mm, and stretch.

    The elastica neither stretches nor shears: 1e-4 and less of the movement here.
    """
    state = arc(angle)
    way = close_part(state, 0.66 * RADIUS * math.sin(0.5 * angle))
    for at in (4, 12, 24):
        exact = elastica(way.forces[at], state.beam.bending, RADIUS * angle)
        report(f"opening at {way.forces[at]:.3f} N/mm", way.opening[at], exact)
        moved = way.opening_before - exact
        assert way.opening[at] == pytest.approx(exact, abs=1.0e-3 * moved)


def test_metal_that_does_not_yield_keeps_nothing_of_the_closing() -> None:
    """Pressed until its edges meet it is free as before, to rounding."""
    way = close_part(arc(math.pi), 100.0)
    assert not way.reached
    assert way.elastic
    assert math.isnan(way.opening_pressed)
    assert math.isnan(way.first_yield_opening)
    assert way.opening[-1] == 1.0  # one thickness: the faces meet
    assert way.left == pytest.approx(way.opening_before, abs=1.0e-9)
    assert way.energy_error < 1.0e-3  # the mean force of each of 50 steps


def test_first_yield_comes_where_the_elastica_reaches_the_section_s_own() -> None:
    """Virgin arc: the middle bends most, by P times its height; first layer at 100 MPa.

    0.5 mm of opening: the point is extended from two steps of 3 mm before it, and the
    outermost layer yields as the section law says.
    """
    angle = math.pi
    state = arc(angle, strength=100.0)
    way = close_part(state, 60.0)
    limit = state.sheet.law.high * state.beam.bending
    forces, openings = way.forces[1:], way.opening[1:]
    lowest = int(np.argmax(openings < way.first_yield_opening))
    force = float(
        np.interp(
            way.first_yield_opening,
            openings[: lowest + 1][::-1],
            forces[: lowest + 1][::-1],
        )
    )

    def moment(end: float) -> float:  # E'I (k_middle - 1/R)
        lever = 2.0 * force / state.beam.bending * (1.0 - math.cos(end))
        return state.beam.bending * (math.sqrt(1.0 / RADIUS**2 + lever) - 1.0 / RADIUS)

    def half(end: float) -> float:
        def bend(t: float) -> float:
            lever = 2.0 * force / state.beam.bending * (math.cos(t) - math.cos(end))
            return 1.0 / math.sqrt(1.0 / RADIUS**2 + lever)

        return float(quad(bend, 0.0, end)[0]) - 0.5 * RADIUS * angle

    end = brentq(half, 1.5, 0.999 * math.pi)
    difference = report("moment in the middle at first yield", moment(end), limit)
    assert abs(difference) < 0.01


@pytest.mark.parametrize("by", [5.0, 60.0])
def test_a_rolled_part_keeps_the_wanted_opening_once_pressed_past_it(by: float) -> None:
    """Let go by pulling the press back until it holds nothing: the same opening.

    The kernels let every element go on its own; here the whole part is opened to what
    they say is left, and hardly any force remains. 1e-3 of the force that pressed it:
    the opening is met to 1e-3 mm, and some elements may yield backward. The outline
    takes elements of 1 mm as arcs, the press as chords: 2e-3 mm more.
    """
    result, state = rolled()
    way = closed(by)
    wanted = result.summary["opening"] - by
    x, y = way.part_after
    assert way.reached
    assert way.opening_pressed < wanted
    assert math.hypot(x[-1], y[-1]) == pytest.approx(wanted, abs=4.0e-3)
    part = state.copy()
    sheet = HeldSheet(part.beam, part.chain)
    c, n = sheet.chain, sheet.elements
    tilt = math.atan2(c.y[n] - c.y[0], c.x[n] - c.x[0])
    dx, dy = c.x - c.x[0], c.y - c.y[0]
    c.x[:] = math.cos(tilt) * dx + math.sin(tilt) * dy
    c.y[:] = math.cos(tilt) * dy - math.sin(tilt) * dx
    c.theta[:] -= tilt
    for node, direction in ((0, X), (0, Y), (n, Y)):
        sheet.hold(node, direction)
    down = np.linspace(way.opening_before, way.opening_pressed, 60)
    back = np.linspace(way.opening_pressed, way.left[-1], 60)
    for opening in (*down[1:], *back[1:]):
        sheet.hold(n, X, opening)
        sheet.settle()
    rest = -sheet.reaction(n, X)
    print(f"pressed with {way.force:.4f} N/mm, {rest:.1e} N/mm left of it")
    assert abs(rest) < 1.0e-3 * way.force


def test_closing_accounts_for_its_work() -> None:
    """Work of the hands = elastic + plastic energy, to the mean force of each step."""
    for by in (5.0, 60.0, -10.0):
        print(f"by {by} mm: {closed(by).energy_error:.1e}")
        assert closed(by).energy_error < 0.005


def test_a_rolled_part_closes_further_than_it_opens_before_it_yields() -> None:
    """Its stresses are those of a bend sprung back: more of the same bend is elastic
    up to what the rolls gave, bending it back is not. The same shape without stress
    yields sooner when it is closed, since that lengthens the lever of the force.
    """
    _, state = rolled()
    free = state.copy()
    chain, law = free.chain, state.sheet.law
    chain.anchor[:] = chain.curvature
    chain.low[:], chain.high[:] = chain.curvature + law.low, chain.curvature + law.high
    chain.history[:] = law.virgin
    used = {}
    for name, part in (("rolled", state), ("free of stress", free)):
        before = closed(5.0).opening_before
        ways = [close_part(part, before + change) for change in (-90.0, 50.0)]
        used[name] = [
            abs(
                float(
                    np.interp(
                        abs(w.first_yield_opening - before),
                        abs(w.opening - before),
                        w.forces,
                    )
                )
            )
            for w in ways
        ]
        print(name, *(f"{force:.3f} N/mm" for force in used[name]))
    assert used["rolled"][0] > 1.3 * used["rolled"][1]
    assert used["free of stress"][0] < used["free of stress"][1]


def test_gauge_lines_take_the_place_of_the_edges() -> None:
    _, state = rolled()
    way = close_part(state, 140.0, gauge=(20.0, 240.0))
    x, y = way.part_after
    length = state.beam.length
    low, high = round(20.0 / length), round(240.0 / length)
    assert math.hypot(x[high] - x[low], y[high] - y[low]) == pytest.approx(
        140.0, abs=4.0e-3
    )


def test_a_part_that_opens_as_wanted_needs_no_hand() -> None:
    _, state = rolled()
    way = close_part(state, closed(5.0).opening_before)
    assert way.reached
    assert way.elastic
    assert (way.force, way.force_held) == (0.0, 0.0)
    assert way.opening_pressed == way.opening_before


def test_a_sheet_turned_end_for_end_closes_the_same() -> None:
    """s stays painted on it; gauge lines off the middle, where a mix-up would show."""
    _, state = rolled()
    other = state.copy()
    turn(other)
    ways = [close_part(part, 150.0, gauge=(0.0, 200.0)) for part in (state, other)]
    assert ways[1].force == pytest.approx(ways[0].force, rel=1.0e-6)
    assert ways[1].part_after[0] == pytest.approx(ways[0].part_after[0], abs=1.0e-3)


def test_closing_leaves_the_state_as_it_was() -> None:
    _, state = rolled()
    before = state.chain.curvature.copy()
    close_part(state, 100.0)
    assert np.array_equal(before, state.chain.curvature)


@pytest.mark.parametrize(
    ("opening", "gauge", "words"),
    [
        (0.5, None, "than the sheet is thick"),
        (math.nan, None, "than the sheet is thick"),
        (159.0, None, "pulled straight"),
        (100.0, (20.0, 900.0), "gauge lines"),
        (100.0, (90.0, 20.0), "gauge lines"),
    ],
)
def test_what_cannot_be_closed_is_refused(
    opening: float, gauge: tuple[float, float] | None, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        close_part(arc(2.0), opening, gauge=gauge)

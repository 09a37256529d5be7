"""A copy of a state goes on as its own, and to the same end."""

from dataclasses import fields

import numpy as np

from pinchline.case.case import load_case, parse_case
from pinchline.solvers.stepped.equilibrium.commit import advance
from pinchline.solvers.stepped.placing import place, turn
from pinchline.solvers.stepped.state import TRIAL_CHAIN, new_state
from pinchline.solvers.stepped.stepping import feed, move_rear


def keep_on() -> bool:
    return False


def bent_state():
    state = new_state(load_case("strut-fairing"))
    place(state, 130.0, 1)
    move_rear(state, 20.0, 2, keep_on)
    feed(state, 1, 10.0, 20.0, 3, keep_on)
    return state


def test_a_copied_state_goes_on_exactly_as_the_original():
    state = bent_state()
    other = state.copy()
    for each in (state, other):
        feed(each, 1, 8.0, 22.0, 3, keep_on)
    for mine, its in zip(state.chain, other.chain, strict=True):
        np.testing.assert_array_equal(mine, its)
    assert state.work_drive == other.work_drive


def test_a_copy_is_not_touched_by_what_the_original_does():
    state = bent_state()
    kept = state.copy()
    before = kept.chain.curvature.copy(), kept.peaks.copy(), kept.lift
    feed(state, -1, 5.0, 18.0, 3, keep_on)
    np.testing.assert_array_equal(kept.chain.curvature, before[0])
    np.testing.assert_array_equal(kept.peaks, before[1])
    assert kept.lift == before[2]


def test_the_nip_line_is_where_the_feed_has_brought_it():
    state = bent_state()
    assert state.nip_s == 120.0
    element, xi = state.driven()
    length = state.beam.length
    assert (element + 0.5 * (1.0 + xi)) * length == 120.0


def test_turning_twice_is_no_turn():
    state = new_state(load_case("strut-fairing"))
    state.chain.curvature[:] = np.linspace(0.0, 0.01, state.elements)
    state.set_nip(100.0)
    before = state.chain.curvature.copy()
    turn(state)
    assert state.turned
    np.testing.assert_array_equal(state.chain.curvature, before[::-1])
    assert state.nip_s == 100.0
    turn(state)
    np.testing.assert_array_equal(state.chain.curvature, before)


def test_no_change_of_curvature_is_always_elastic():
    """Rounding must not put an element outside its own elastic range."""
    text = load_case("strut-fairing").text + '\n[model]\nsection = "closed-form"\n'
    state = new_state(parse_case(text, path="x.toml"))
    c = state.chain
    shares = np.linspace(1.1, 30.0, state.elements)
    for share in (0.6, 1.0):
        for e, bend in enumerate(share * shares * state.sheet.law.yield_curvature):
            advance(state.beam, c, e, bend, state.work.scratch, state.energies)
        assert np.all(c.low <= c.curvature)
        assert np.all(c.curvature <= c.high)


def test_a_step_that_is_not_accepted_leaves_no_trace():
    state = bent_state()
    kept, tried = state.copy(), state.copy(trial=True)
    for name in TRIAL_CHAIN:
        getattr(state.chain, name)[:] += 1.0e-3
    for array in (state.rolls, state.axes, state.supports):
        array += 1.0e-3
    state.set_axes(3.0, np.ones(3))
    state.drive, state.first, state.last, state.nip_steps = 1.0, 2, 3, 4
    state.restore(tried, trial=True)
    for each in fields(state):
        if each.name not in ("case", "memory"):
            mine, its = getattr(state, each.name), getattr(kept, each.name)
            np.testing.assert_equal(mine, its)
    assert state.shift is kept.shift


def test_a_snapshot_shares_nothing_that_is_written_into():
    state = bent_state()
    other = state.copy()
    for each in fields(state):
        if "fixed" not in each.metadata:
            mine, its = getattr(state, each.name), getattr(other, each.name)
            pairs = zip(mine, its, strict=True) if isinstance(mine, tuple) else ()
            if isinstance(mine, np.ndarray):
                pairs = [(mine, its)]
            assert not any(np.shares_memory(a, b) for a, b in pairs)
    assert not np.shares_memory(state.memory.places, other.memory.places)

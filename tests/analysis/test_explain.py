"""Why the edges stay flat: what is said is put to the test by another run."""

import math
from functools import cache

import numpy as np
import pytest
from rig import report

from pinchline.analysis.explain import (
    crease_words,
    explain_flats,
    find_waves,
    flat_words,
)
from pinchline.case.case import load_case, parse_case
from pinchline.reports.style.table import summary_table
from pinchline.solvers.stepped.program import run_case

pytestmark = pytest.mark.verification

SHEET = load_case("strut-fairing").text.split("[[move]]")[0]
PLACE = '[[move]]\nkind = "place"\nat = "{at} mm"\n'
LIFT = '[[move]]\nkind = "lift"\nto = "26 mm"\n'
PASS = '[[move]]\nkind = "feed"\ntoward = "rear"\nleave = "{leave} mm"\n'
CARRIED = '[[move]]\nkind = "feed"\ntoward = "rear"\nby = "64 mm"\nlift_to = "26 mm"\n'
LOWER = '[[move]]\nkind = "lower"\n'
TURN = '[[move]]\nkind = "turn"\n'


@cache
def run(moves):
    return run_case(parse_case(SHEET + moves, path="explain.toml"))


def one_pass(leave):
    return run(PLACE.format(at=150) + LIFT + PASS.format(leave=leave) + LOWER)


def test_the_edge_that_was_left_in_hand_says_so():
    operator, _ = explain_flats(one_pass(18))
    assert operator.reason == "left in hand"
    assert operator.in_hand == pytest.approx(18.0)
    assert operator.move == 3
    # bent in the arm of the nip, millimetres from its line
    assert 0.0 < operator.place < 5.0
    assert "18.00 mm in hand" in " ".join(flat_words(operator, one_pass(18)))


def test_its_shortest_flat_is_what_a_pass_to_the_end_leaves():
    """The same machine, fed until the nip holds two thicknesses: within 0.5 mm.

    The two differ by how the nip grips the last of the sheet.
    """
    told = explain_flats(one_pass(18))[0].shortest
    done = one_pass(2).summary["flat_operator_moment"]
    report("shortest run-out flat, mm", told, done)
    assert abs(told - done) < 0.5


def test_the_lead_in_lay_ahead_of_the_nip_and_turning_the_sheet_cures_it():
    """The leading end stays straight (G. H. Thomas, Model Engineer, Oct 1976); turning
    the sheet end for end cures it (references.md section 8).
    """
    _, rear = explain_flats(one_pass(18))
    assert rear.reason == "lay ahead of the nip"
    assert rear.moment > 60.0
    second = PLACE.format(at=140) + LIFT + PASS.format(leave=2)
    turned = run(
        PLACE.format(at=150) + LIFT + PASS.format(leave=18) + LOWER + TURN + second
    )
    done = turned.summary["flat_rear_moment"]
    report("shortest lead-in flat, turned, mm", rear.shortest, done)
    assert abs(rear.shortest - done) < 0.5
    assert explain_flats(turned)[1].reason == "left in hand"


def test_a_reverse_pass_ends_where_the_edge_leaves_the_rear_roll():
    """Bending needs three rolls: with the edge off the third, nothing bends on."""
    result = run_case(load_case("strut-fairing"))
    _, rear = explain_flats(result)
    assert rear.reason == "left the rear roll"
    (left,) = [e.value for e in result.events if e.kind == "edge leaves the rear roll"]
    assert 18.0 < rear.moment < left


def test_a_sheet_that_is_hardly_bent_is_flat_all_along():
    weak = run(PLACE.format(at=150) + LIFT.replace("26", "3"))
    for flat in explain_flats(weak):
        assert flat.reason == "not bent at all"
        assert math.isnan(flat.shortest)
        assert "flat all along" in flat_words(flat, weak)[0]
    assert crease_words(weak) == []
    assert find_waves(weak) == []


def test_a_stop_is_named_where_it_ended_the_bend():
    text = SHEET.replace('use = "bench-60"', 'use = "bench-60"\nnip.friction = 0.02')
    moves = PLACE.format(at=150) + LIFT + PASS.format(leave=18)
    result = run_case(parse_case(text + moves, path="explain.toml"))
    assert result.stopped
    reasons = {flat.reason for flat in explain_flats(result)}
    assert reasons <= {"stopped", "lay ahead of the nip"}


def test_crease_and_waves_are_told_and_a_carried_lift_avoids_them():
    """Over the stretch that the words name: the distance from nip to rear roll."""
    raised = one_pass(18)
    words = " ".join(crease_words(raised))
    assert "lift_to" in words
    assert "64.00 mm" in words
    (wave,) = (w for w in find_waves(raised) if w.side == "operator")
    assert abs(wave.largest) > 0.1
    k, s = raised.sheet["curvature_residual"], raised.sheet["s"]
    at = k[np.argmin(np.abs(s - wave.at))]
    assert at / wave.level - 1.0 == pytest.approx(wave.largest)
    carried = run(PLACE.format(at=150) + CARRIED + PASS.format(leave=18))
    assert math.isnan(carried.summary["crease_s"])
    assert crease_words(carried) == []


def test_the_table_tells_it_in_the_units_asked_for():
    result = run_case(load_case("strut-fairing"))
    for system, said in (("metric", "18.00 mm in hand"), ("inch", "0.709 in in hand")):
        text = " ".join(summary_table(result, system).split())
        assert "Why it came out so" in text
        assert said in text

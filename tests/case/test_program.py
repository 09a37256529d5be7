"""The trace of a programme: where sheet and rear roll stand before and after a move."""

import math

import pytest

from pinchline.case.case import load_case
from pinchline.case.moves import Feed, Lift, Lower, Place, Release, Turn
from pinchline.case.program import lift_key, trace_program
from pinchline.errors import InputError

LENGTH = 200.0
MOVES = (
    Place(at=60.0),
    Lift(to=10.0),
    Feed(toward="rear", leave=20.0, lift_to=14.0),
    Feed(toward="operator", by=100.0),
    Lower(),
    Turn(),
    Place(at=50.0),  # 150 mm from the edge that is now the operator's
    Lift(to=8.0),
    Feed(toward="rear", by=30.0),
    Feed(toward="operator", leave=5.0, lift_to=6.0),
    Lower(to=2.0),
    Lower(),
    Release(),
)
TRACE = trace_program(MOVES, LENGTH)


def test_every_move_has_its_lift_before_and_after():
    assert [step.move for step in TRACE] == list(MOVES)
    lifts = [0, 10, 14, 14, 0, 0, 0, 8, 8, 6, 2, 0, 0]
    assert [step.lift for step in TRACE] == lifts
    assert [step.lift_before for step in TRACE] == [0, *lifts[:-1]]


def test_the_nip_lies_at_a_place_of_the_sheet_however_it_lies():
    nips = [60, 60, 20, 120, 120, math.nan, 50, 50, 80, 5, 5, 5, math.nan]
    assert [step.nip for step in TRACE] == pytest.approx(nips, nan_ok=True)
    assert [step.turned for step in TRACE] == [False] * 5 + [True] * 8


def test_a_feed_knows_its_length_and_what_is_behind():
    fed = {i: step.fed for i, step in enumerate(TRACE) if step.fed}
    assert fed == pytest.approx({2: 40.0, 3: -100.0, 8: 30.0, 9: -75.0})
    behind = {i: s.behind for i, s in enumerate(TRACE) if not math.isnan(s.behind)}
    assert behind == pytest.approx({2: 60.0, 3: 180.0, 8: 150.0, 9: 80.0})


def test_more_is_not_fed_than_there_is():
    place, feed = Place(at=60.0), Feed(toward="rear", by=70.0)
    last = trace_program((place, feed, Feed(toward="rear", by=5.0)), LENGTH)[-1]
    assert (last.behind, last.nip) == (0.0, 0.0)


def test_only_some_moves_set_a_lift():
    keys = [lift_key(move) for move in MOVES[:6]]
    assert keys == ["", "to", "lift_to", "", "to", ""]
    assert trace_program(MOVES, LENGTH) == TRACE
    assert trace_program((), LENGTH) == ()


def test_a_sheet_that_lies_end_for_end_has_its_other_end_behind():
    case = load_case("strut-fairing").replace({"sheet.length": 200.0, "move": MOVES})
    assert case.program == TRACE
    allowed = case.replace({"move.10.leave": "80 mm"})
    assert allowed.program[9].fed == 0.0
    with pytest.raises(InputError, match=r"move 10 \(feed\): leave.*only 80 mm"):
        case.replace({"move.10.leave": "81 mm"})

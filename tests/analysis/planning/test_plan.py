"""Plans that a search may miss: parts of the random ones of benchmarks/plan.py."""

from __future__ import annotations

import pytest

from pinchline.analysis.planning.job import Knot, Run, moves_of
from pinchline.analysis.planning.lift_table import lift_table
from pinchline.analysis.planning.planner import make_plan
from pinchline.analysis.planning.shortfall import bound
from pinchline.case.case import parse_case
from pinchline.solvers.stepped.program import run_case

pytestmark = pytest.mark.verification

SHEET = (
    '[sheet]\nmaterial = "{alloy}"\ndirection = "LT"\nthickness = "{thickness} mm"\n'
    'width = "300 mm"\n[machine]\nuse = "{machine}"\n[target]\n{target}'
)


def plan_of(alloy: str, thickness: float, machine: str, target: str):
    """Plan one part, text as a user writes it."""
    text = SHEET.format(
        alloy=alloy, thickness=thickness, machine=machine, target=target
    )
    return make_plan(parse_case(text, path="plan.toml"))


def test_a_flat_little_shorter_than_the_machine_s_own_takes_a_second_run():
    """The edge slides off the rear roll and bears no more before the feed has ended.

    To feed further bends nothing then. Wanted 1.7 mm shorter than one run leaves, with
    1 mm allowed: the sheet must be turned end for end, which makes it.
    """
    plan = plan_of(
        "5052-H32",
        1.44,
        "bench-50",
        'radius = "190.97 mm"\nangle = "79.1 deg"\nflat_operator = "39.4 mm"\n'
        'flat_rear = "35.0 mm"\n',
    )
    assert plan.reached, plan.limit
    assert plan.way == "turn end for end"
    for deviation in plan.deviations:
        assert deviation.good, deviation


def test_a_part_too_tight_and_too_short_is_refused_by_the_name_of_a_limit():
    """An arc so short that the creases of the raise are all of it: nothing crashes.

    Tighter by a quarter and more than this machine's rolls can grip it for.
    """
    plan = plan_of(
        "3003-H14", 1.48, "bench-76", 'radius = "38.11 mm"\nopening = "73.6 mm"\n'
    )
    assert not plan.reached
    assert plan.limit == "grip exceeded"
    assert plan.nearest
    assert plan.changes


def test_a_pass_that_slips_as_its_edge_leaves_the_rear_roll_ends_before_it():
    """The edge, sliding off the rear roll, takes more drive than the pass does.

    Near the tightest that this sheet comes to on these rolls (53 mm) they no longer
    grip it for that. The feed has to end with more sheet in hand than the nip needs.
    """
    plan = plan_of("2024-T3", 0.93, "bench-60", 'radius = "55 mm"\nangle = "130 deg"\n')
    assert plan.reached, plan.limit
    assert not [event for event in plan.result.events if event.level == "stop"]
    place, _, feed, *_ = plan.case.moves
    in_hand = plan.case.sheet.length - place.at - feed.by
    assert in_hand > 10.0  # the nip itself needs no more than 3 thicknesses


def test_what_one_pass_cannot_bend_is_rolled_in_two():
    """2.5 mm sheet to R = 50 mm asks of one pass more than the crank allows.

    Two passes, and the rear half with the sheet turned end for end, make it: no move
    is ended, both halves within 1 %. One pass at the lift for it is ended at once; the
    tightest of one pass is 69 mm, so this is a quarter and more beyond.
    """
    plan = plan_of("5052-H32", 2.5, "bench-50", 'radius = "50 mm"\nangle = "150 deg"\n')
    assert plan.reached, plan.limit
    assert plan.way == "2 passes one after the other, then turn end for end"
    again = run_case(parse_case(plan.case.text, path="again.toml"))
    assert not [event for event in again.events if event.level == "stop"]
    radii = [d for d in plan.deviations if d.name.startswith("radius")]
    assert len(radii) == 2
    for deviation in radii:
        assert deviation.made == pytest.approx(50.0, rel=0.01)
    assert any("effort exceeded" in note for note in plan.notes)

    first, last = [run for run in plan.case.moves if run.kind == "lift"][:2]
    assert last.to > first.to
    table = lift_table(plan.case)
    assert bound(plan.case, table).radius > 65.0


def test_passes_leave_a_long_rear_flat_as_flat_as_it_is_wanted():
    """No pass may bend what is to stay flat: here 60 mm by the drawing, 63 by gap."""
    plan = plan_of(
        "5052-H32",
        2.5,
        "bench-50",
        'radius = "50 mm"\nangle = "150 deg"\nflat_rear = "60 mm"\n',
    )
    assert plan.reached, plan.limit
    assert plan.way.startswith("2 passes")
    rear = next(d for d in plan.deviations if d.name.startswith("rear flat"))
    assert rear.made == pytest.approx(rear.wanted, abs=1.0)


def test_flats_shorter_than_the_grip_are_what_binds_a_part_in_passes():
    """5 mm of flat cannot be, in however many passes: three thicknesses are held.

    The nearest part is bent as wanted, and it is not the crank that is to blame.
    """
    plan = plan_of(
        "5052-H32",
        2.5,
        "bench-50",
        'radius = "50 mm"\nangle = "150 deg"\nflat_rear = "5 mm"\n'
        'flat_operator = "5 mm"\n',
    )
    assert not plan.reached
    assert plan.limit == "the nip must hold the edge"
    assert "operator's half 49.9" in plan.nearest
    assert plan.changes == ("a longer blank, its edges cut off after rolling",)


def test_runs_are_laid_in_from_the_edge_that_faces_the_operator():
    """Two runs one after the other, then one with the sheet turned end for end."""
    runs = (
        Run((Knot(7.5, 12.0), Knot(140.0, 12.0))),
        Run((Knot(7.5, 20.0), Knot(90.0, 20.0))),
        Run((Knot(10.0, 16.0), Knot(60.0, 22.0)), turned=True),
    )
    moves = moves_of(runs, 150.0)
    assert [move.kind for move in moves] == [
        *("place", "lift", "feed", "lower"),
        *("place", "lift", "feed", "lower"),
        *("turn", "place", "lift", "feed", "lower", "release"),
    ]
    assert [move.at for move in moves if move.kind == "place"] == [7.5, 7.5, 140.0]
    assert [move.by for move in moves if move.kind == "feed"] == [132.5, 82.5, 50.0]

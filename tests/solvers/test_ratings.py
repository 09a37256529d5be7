"""Grip, crank, screws: from forces to what hands and bearings feel."""

import math

import numpy as np
import pytest

from pinchline.analysis.limits.limit_map import LimitMap, MapPoint
from pinchline.analysis.limits.limits import DirectionLimits, Limits
from pinchline.analysis.limits.single_pass import SinglePass
from pinchline.analysis.limits.tightest import SPAN, TightestPass
from pinchline.case.case import parse_case
from pinchline.case.demand import (
    DEMAND_QUANTITIES,
    MACHINE_LIMITS,
    RATED_QUANTITIES,
    Demand,
    LimitKind,
)
from pinchline.reports.questions.limit_map import limit_map_table, limit_map_words
from pinchline.reports.questions.limits import limits_table, limits_words
from pinchline.solvers.ratings import (
    LimitCheck,
    demand_of,
    exceeded,
    excesses,
    first_exceeded,
    limit_checks,
    over_the_width,
    raising_torque,
)
from pinchline.solvers.stepped.program import run_case
from pinchline.solvers.stepped.state import new_state

TEXT = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "200 mm"
width = "400 mm"
{sheet}
[machine]
use = "bench-60"
{machine}
[[move]]
kind = "place"
at = "120 mm"
[[move]]
kind = "lift"
to = "20 mm"
[[move]]
kind = "feed"
toward = "rear"
by = "60 mm"
[[move]]
kind = "lower"
[[move]]
kind = "release"
"""


def run(machine="", sheet=""):
    return run_case(
        parse_case(TEXT.format(machine=machine, sheet=sheet), path="ratings.toml")
    )


def test_the_torque_of_a_power_screw_is_the_textbook_example():
    """Shigley & Mischke, Mechanical Engineering Design, power-screw example (from
    memory): 6.4 kN on a square thread of 32 mm, double, pitch 4 mm, friction 0.08,
    mean diameter 30 mm, lead 8 mm: 26.18 N m to raise, of which 10.24 N m are the
    collar's, which we leave out.
    """
    torque = raising_torque(6400.0, 8.0, 30.0, 0.08)
    assert torque == pytest.approx(15.94e3, abs=5.0)


def test_without_friction_a_turn_lifts_the_load_by_its_lead():
    """Work of one turn = load times lead."""
    torque = raising_torque(1000.0, 1.5, 16.0, 0.0)
    assert 2.0 * math.pi * torque == pytest.approx(1000.0 * 1.5)


def test_crank_and_screws_follow_from_the_forces():
    """Crank radius 180, gears 2.5, efficiency 0.8, rolls of 30 mm: the card's."""
    result = run()
    steps = result.steps
    fed = steps["move"] == 3
    at_rolls = np.abs(steps["drive_force"][fed]) * 400.0 * 30.0
    torque = steps["crank_torque"][fed]
    assert torque == pytest.approx(at_rolls / (2.5 * 0.8))
    assert steps["hand_force"][fed] == pytest.approx(torque / 180.0)
    # the rear roll pushes square to the sheet; the screws bear what lies along them
    half = 0.5 * 400.0 * steps["force_rear"][fed]
    assert np.all(steps["screw_force"][fed] <= half + 1e-9)
    assert np.all(steps["screw_force"][fed] > 0.7 * half)
    assert result.summary["screw_torque_max"] > 0.0


def test_an_off_centre_sheet_loads_one_screw_more():
    """Lever rule: half and the offset over the span of 640 mm."""
    sheet = run(sheet='off_centre = "100 mm"')
    steps, even = sheet.steps, run().steps
    share = 0.5 + 100.0 / 640.0
    pushed = steps["force_rear"] > 0.1
    ratio = steps["screw_force"][pushed] / (400.0 * steps["force_rear"][pushed])
    other = even["force_rear"] > 0.1
    base = even["screw_force"][other] / (400.0 * even["force_rear"][other])
    assert ratio[-1] / base[-1] == pytest.approx(share / 0.5, rel=0.02)


@pytest.mark.parametrize(
    ("machine", "kind"),
    [
        ('crank.max_hand_force = "2 N"', "effort exceeded"),
        ('rear.max_screw_force = "50 N"', "screw force exceeded"),
        ('rear.max_screw_torque = "0.05 N m"', "screw torque exceeded"),
        ('nip.max_force = "2 kN"', "pinch force exceeded"),
        ("nip.friction = 0.01", "grip exceeded"),
    ],
)
def test_a_limit_of_the_machine_stops_the_move_and_says_so(machine, kind):
    result = run(machine)
    stops = [event for event in result.events if event.level == "stop"]
    assert [event.kind for event in stops] == [kind]
    assert kind in stops[0].message
    assert result.stopped
    assert result.steps["move"][-1] == 5  # lowered and taken out all the same


def test_a_limit_that_is_hardly_exceeded_is_told_with_enough_figures():
    """5.0004 N against 5 N, and the same of a grip: never "5 N, 5 N is allowed"."""
    case = parse_case(
        TEXT.format(machine='[machine.rear]\nmax_screw_force = "5 N"', sheet=""),
        path="ratings.toml",
    )
    calm = Demand(1.0, 0.0, 0.0, 5.0004, 0.0, 0.0)
    (excess,) = exceeded(case, calm, 0.0, 0.0)
    assert "bear 5.0004 N, 5 N is allowed" in excess.message
    slips = calm._replace(screw_force=0.0, grip_margin=-0.00002)
    (excess,) = exceeded(case, slips, 0.3, 0.0)
    assert "0.3 N/mm is more" in excess.message
    assert "holds 0.29998 N/mm" in excess.message


def test_a_limit_far_exceeded_is_told_in_three_figures():
    case = parse_case(TEXT.format(machine="", sheet=""), path="ratings.toml")
    (excess,) = exceeded(case, Demand(1.0, 0.0, 209.37, 0.0, 0.0, 0.0), 1.0, 0.0)
    assert "need 209 N by hand, 150 N is allowed" in excess.message


def test_a_loose_sheet_that_slides_under_its_own_weight_is_no_slip():
    """1 mm aluminium, 200 mm long: 0.0053 N per mm of width."""
    text = TEXT.format(machine="[model]\nweight = true", sheet="")
    state = new_state(parse_case(text, path="ratings.toml"))
    state.forces[:] = 0.0
    for drive, kinds in ((0.005, []), (0.01, ["grip exceeded"])):
        state.drive_force = drive
        assert [excess.kind for excess in excesses(state, demand_of(state))] == kinds


def test_strips_over_the_width_ask_what_one_even_strip_asks():
    """The same push everywhere: one job over the whole width, or five strips of it."""
    case = parse_case(
        TEXT.format(machine="", sheet='off_centre = "20 mm"'), path="ratings.toml"
    )
    push, drive, margin = np.array([3.0, 4.0, 1.5]), 0.4, 0.2
    asked = [
        over_the_width(
            case,
            (np.arange(n) + 0.5 - n / 2.0) * 400.0 / n,
            np.tile(push, (n, 1)),
            np.full(n, drive),
            np.full(n, margin),
        )
        for n in (1, 5)
    ]
    assert asked[1] == pytest.approx(asked[0], rel=1e-12)
    assert asked[0].pinch_force == pytest.approx(4.0 * 400.0)
    assert asked[0].screw_force == pytest.approx(1.5 * 400.0 * (0.5 + 20.0 / 640.0))


def test_a_rear_roll_pushed_at_one_side_loads_that_sides_screw():
    """All of the push on the right half of a centred sheet, at z = 100 mm of 640."""
    case = parse_case(TEXT.format(machine="", sheet=""), path="ratings.toml")
    pushed = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 2.0]])
    z = np.array([-100.0, 100.0])
    asked = over_the_width(case, z, pushed, np.zeros(2), np.zeros(2))
    assert asked.screw_force == pytest.approx(400.0 * (0.5 + 100.0 / 640.0))


RATED = """
crank.max_hand_force = "100 N"
rear.max_screw_force = "2 kN"
rear.max_screw_torque = "3 N m"
nip.max_force = "4 kN"
rolls.shaft.max_deflection = "0.5 mm"
"""
ASKED = Demand(
    grip_margin=3.0,
    crank_torque=1.0,
    hand_force=50.0,
    screw_force=500.0,
    screw_torque=4500.0,
    pinch_force=3000.0,
    roll_deflection=0.05,
)
# of the drive of 1 N/mm, which a grip of 4 N/mm holds, and of the ratings above
UTILISATIONS = {
    LimitKind.GRIP: 0.25,
    LimitKind.HAND_FORCE: 0.5,
    LimitKind.SCREW_FORCE: 0.25,
    LimitKind.SCREW_TORQUE: 1.5,
    LimitKind.PINCH_FORCE: 0.75,
    LimitKind.ROLL_DEFLECTION: 0.1,
}


def test_the_utilisation_of_each_limit_is_demand_over_rating():
    case = parse_case(TEXT.format(machine=RATED, sheet=""), path="ratings.toml")
    checks = limit_checks(case, ASKED, 1.0)
    assert [check.kind for check in checks] == list(MACHINE_LIMITS)
    for check in checks:
        assert check.utilisation == pytest.approx(UTILISATIONS[check.kind])
        assert check.utilisation == pytest.approx(check.demand / check.rating)
        assert check.exceeded == (check.kind is LimitKind.SCREW_TORQUE)
    assert first_exceeded(checks) is LimitKind.SCREW_TORQUE
    assert set(UTILISATIONS) == set(MACHINE_LIMITS)


@pytest.mark.parametrize(
    ("demand", "rating", "utilisation"),
    [(5.0, None, 0.0), (0.0, 5.0, 0.0), (math.nan, 5.0, 0.0), (5.0, 0.0, math.inf)],
)
def test_what_is_not_rated_or_not_asked_is_not_utilised(demand, rating, utilisation):
    check = LimitCheck(LimitKind.SCREW_FORCE, demand, rating)
    assert check.utilisation == utilisation


def test_a_demand_has_the_quantities_of_the_table_in_their_order():
    assert Demand._fields == tuple(q.name for q in DEMAND_QUANTITIES)
    assert [q.limit for q in RATED_QUANTITIES] == list(MACHINE_LIMITS)
    assert all(q.excess.count("{}") == 2 for q in RATED_QUANTITIES)


def column(table, name):
    return next(c.values for c in table.columns if c.name == name)


@pytest.mark.parametrize("kind", LimitKind)
def test_each_limit_stands_in_the_tables_of_passes_and_maps(kind):
    """Its words in both tables, its label in the printed map, its demand beside it."""
    one = SinglePass(20.0, "rear", 80.0, 60.0, 0.01, kind, ASKED, 1.0)
    ways = [
        DirectionLimits(way, (one,), one, kind, 21.0) for way in ("rear", "operator")
    ]
    passes = Limits((ways[0], ways[1]), 40.0, LimitKind.TRAVEL)
    answer = TightestPass(80.0, 60.0, 0.01, 20.0, "rear", kind, SPAN, ASKED)
    points = tuple(MapPoint("alloy", t, 100.0, answer, None) for t in (1.0, 2.0))
    sheets = LimitMap("yield", points)
    for table in (limits_table(passes, "a sheet"), limit_map_table(sheets, "sheets")):
        assert set(column(table, "limit")) == {kind.value}
        for quantity in RATED_QUANTITIES:
            asked = column(table, quantity.name)
            assert asked == pytest.approx(getattr(ASKED, quantity.name))
    assert kind.value in limits_words(passes, "a sheet", "metric")
    assert kind.label in limit_map_words(sheets, "sheets", "metric")

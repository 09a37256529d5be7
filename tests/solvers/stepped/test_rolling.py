"""The stepped solver against what must hold on any three-roll machine.

Limits and balances, derived here; facts of the trade are marked as such.
"""

import math
from functools import cache

import numpy as np
import pytest

from pinchline.case.case import ModelOptions, load_case, parse_case
from pinchline.results.schema import Result
from pinchline.solvers.stepped.program import run_case

pytestmark = pytest.mark.verification

SHEET = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "300 mm"
width = "400 mm"
[machine]
use = "bench-60"
[machine.nip]
clearance = "0.05 mm"  # rigid: the theory of these tests
"""
SHIPPED = ModelOptions().foundation  # of E'/t
WRAP = 1.0 / 30.5  # 1/mm: upper roll of 30 mm under a sheet of 1 mm


def place(at: float) -> str:
    return f'[[move]]\nkind = "place"\nat = "{at} mm"\n'


def lift(to: float) -> str:
    return f'[[move]]\nkind = "lift"\nto = "{to} mm"\n'


def feed(toward: str, by: float) -> str:
    return f'[[move]]\nkind = "feed"\ntoward = "{toward}"\nby = "{by} mm"\n'


@cache
def roll(moves: str, model: str = "") -> Result:
    return run_case(parse_case(f"{SHEET}[model]\n{model}\n{moves}", path="test.toml"))


def radius(result: Result, low: float, high: float, what: str = "residual") -> float:
    name = "curvature_residual" if what == "residual" else "curvature_loaded_peak"
    s = result.sheet["s"]
    return float(1.0 / np.mean(result.sheet[name][(s > low) & (s < high)]))


def forward(height: float, model: str = "") -> Result:
    return roll(place(200) + lift(height) + feed("rear", 110), model)


def backward(height: float, model: str = "") -> Result:
    return roll(place(130) + lift(height) + feed("operator", 45), model)


def report(what: str, computed: float, expected: float) -> None:
    print(
        f"{what}: computed {computed:.5g}, expected {expected:.5g}, "
        f"difference {computed / expected - 1.0:+.3%}"
    )


def test_a_sheet_fed_at_touch_leaves_exactly_flat() -> None:
    """Nothing bends at touch (derived: no force, no moment)."""
    result = roll(place(150) + feed("rear", 60) + feed("operator", 90))
    assert np.all(result.sheet["curvature_residual"] == 0.0)
    assert result.summary["force_rear_max"] == 0.0


def test_with_the_rear_roll_backed_off_a_sheet_comes_out_unchanged() -> None:
    """A lift within the play of the nip bends nothing; common practice, no source.

    A straight sheet tilts in a nip of clearance c until both rolls hold it, at
    cos(tilt) = (2r + t) / (2r + t + c); up to there it bears no moment.
    """
    tilt = math.acos(61.0 / 61.05)
    free = 0.9 * 64.0 * math.tan(tilt)
    result = roll(place(150) + lift(round(free, 3)) + feed("rear", 40))
    assert np.max(np.abs(result.sheet["moment_peak"])) < 1.0e-3


def test_the_plateau_lies_on_the_upper_roll_at_wrap() -> None:
    """Rolled at wrap, the loaded curvature is the upper roll's, 1/(ru + t/2).

    Shipped stiffness: 1 %, for the patch gives a little.
    """
    loaded = 1.0 / radius(backward(28.0), 150, 165, "loaded")
    report("loaded curvature of the plateau over the bound", loaded / WRAP, 1.0)
    assert loaded / WRAP == pytest.approx(1.0, abs=0.01)


def test_stiff_contact_keeps_the_raise_within_the_wrap_bound() -> None:
    """As the contact stiffens the largest loaded curvature tends to the bound.

    Raising at rest is the worst place: the patch lets the shipped stiffness exceed the
    bound by up to a tenth, as a continuum does (design, section 4).
    """
    moves = place(130) + lift(28) + feed("operator", 2)
    excess = [
        roll(moves, f'contact = {k}\nelement = "{e} mm"').summary["wrap_excess"] - 1.0
        for k, e in ((SHIPPED, 0.25), (4.0, 0.125), (64.0, 0.0625))
    ]
    print(
        "excess over the wrap bound at the shipped contact, 4 and 64 E'/t:",
        ", ".join(f"{value:.2%}" for value in excess),
    )
    assert excess[0] > excess[1] > excess[2]
    assert 0.0 < excess[0] < 0.11  # continuum: up to a tenth
    assert abs(excess[2]) < 0.01


def test_the_two_directions_differ_below_wrap_and_agree_at_wrap() -> None:
    """At 16 mm lift the way back bends several times as much; at wrap 1.5 % remain.

    At wrap both see the same loaded curvature; what is left is the patch's give, which
    the crossing forces of the two directions use differently.
    """
    below = radius(forward(16.0), 95, 125), radius(backward(16.0), 150, 165)
    at = radius(forward(38.0), 95, 125), radius(backward(38.0), 150, 165)
    print(f"forward and reverse radius: {below} mm below wrap, {at} mm at wrap")
    assert below[0] > 2.0 * below[1]
    assert at[0] == pytest.approx(at[1], rel=0.015)


@pytest.mark.parametrize(
    ("height", "way"),
    [(26.0, "forward"), (12.0, "reverse"), (14.2, "reverse"), (16.0, "reverse")],
)
def test_the_radius_does_not_hang_on_the_element(height: float, way: str) -> None:
    """The shipped resolution against a quarter of it, to 0.4 %.

    Half a percent of change was asked for one halving. What is left, 0.3 % at most, is
    the peak of the moment that falls between two stops of the feed: an element of the
    shipped length in four steps instead of two leaves 0.1 %.
    """
    run = forward if way == "forward" else backward
    zone = (95, 125) if way == "forward" else (150, 165)
    shipped = radius(run(height), *zone)
    fine = radius(run(height, 'element = "0.0625 mm"'), *zone)
    report(f"{way} radius, {height} mm, 0.25 against 0.0625 mm", shipped, fine)
    assert shipped == pytest.approx(fine, rel=0.004)


def test_halving_the_element_moves_each_flat_by_less_than_half_a_millimetre() -> None:
    demo = load_case("strut-fairing").text
    halved = demo + '\n[model]\nelement = "0.125 mm"\n'
    results = [run_case(parse_case(text, path="x.toml")) for text in (demo, halved)]
    for name in results[0].summary:
        if name.startswith("flat_"):
            flats = [result.summary[name] for result in results]
            print(name, *(f"{value:.3f} mm" for value in flats))
            assert flats[0] == pytest.approx(flats[1], abs=0.5)


def test_the_forces_of_the_rolls_and_the_drive_balance() -> None:
    """Sum of the roll forces along x and y with the drive: zero to 1e-6 of the largest.

    Frictionless rolls push along the line from their axis to the contact's centre of
    pressure; over the small patch the sum of pressures is along it to 1e-4.
    """
    result = forward(26.0)
    steps = result.steps
    last = -2
    total = np.zeros(2)
    rolls = {"upper": (0.0, 30.525), "lower": (0.0, -30.525)}
    frames = result.frames
    rolls["rear"] = (frames["roll_x"][-2, 2], frames["roll_y"][-2, 2])
    for name, axis in rolls.items():
        point = np.array([steps[f"{name}_x"][last], steps[f"{name}_y"][last]])
        out = point - axis
        total += steps[f"force_{name}"][last] * out / np.hypot(*out)
    largest = steps["force_upper"][last]
    print(f"vertical sum {total[1]:.2e} N/mm of {largest:.2f}")
    assert abs(total[1]) < 1.0e-4 * largest
    assert total[0] == pytest.approx(-steps["drive_force"][last], rel=0.02)


@pytest.mark.parametrize("name", ["strut-fairing"])
def test_the_energy_account_of_every_shipped_case_closes(name: str) -> None:
    """Work of drive and slide = elastic + plastic + contact energy, to 0.5 %."""
    result = run_case(load_case(name))
    error = result.summary["energy_error_max"]
    print(f"{name}: {error:.2e}")
    assert error < 0.005


def test_drive_work_per_length_is_the_plastic_work_left_in_the_sheet() -> None:
    """In a steady pass what the drive does per mm stays in that mm (derived here).

    The elastic energy stored in a free bent sheet is part of it.
    """
    steps = backward(16.0).steps
    late = np.flatnonzero(steps["move"] == 3)[[-80, -1]]
    fed, work = steps["fed"][late], steps["work_drive"][late]
    held = (steps["energy_plastic"] + steps["energy_elastic"])[late]
    drive, kept = np.diff(work) / abs(np.diff(fed)), np.diff(held) / abs(np.diff(fed))
    report("drive work per mm", float(drive[0]), float(kept[0]))
    assert drive[0] == pytest.approx(kept[0], rel=2.0e-3)


def test_sheet_turned_end_for_end_ends_as_its_mirror() -> None:
    """Rolling from a mark, or from its mirror with the sheet turned: the same."""
    straight = roll(place(180) + lift(20) + feed("rear", 60))
    turned = roll(
        place(150)
        + '[[move]]\nkind = "turn"\n'
        + place(120)
        + lift(20)
        + feed("rear", 60)
    )
    np.testing.assert_allclose(
        turned.sheet["curvature_residual"][::-1],
        straight.sheet["curvature_residual"],
        atol=1.0e-9,
    )


def test_a_raise_leaves_a_crease_and_a_lift_carried_along_the_feed_does_not() -> None:
    """The ridge where the rear roll was raised; common practice, no source."""
    raised = forward(26.0)
    carried = roll(
        place(200)
        + feed("rear", 60).rstrip()
        + '\nlift_to = "26 mm"\n'
        + feed("rear", 50)
    )
    bend = 1.0 / radius(raised, 198, 204), 1.0 / radius(carried, 198, 204)
    print(f"crease {raised.summary['crease_height']:.2f} times the plateau")
    assert raised.summary["crease_height"] > 1.5
    assert abs(bend[1]) < bend[0] / 3.0


def wraps(result: Result) -> list[int]:
    """Return the moves in which wrap begins."""
    return [event.move for event in result.events if event.kind == "wrap begins"]


def test_wrap_at_rest_is_told_apart_from_wrap_in_a_pass() -> None:
    """A raise wraps at its crease long before a pass at that lift lies on the roll."""
    assert wraps(forward(26.0)) == [2]  # the pass comes to 0.63 of the bound
    assert wraps(backward(26.0)) == [2, 3]
    assert wraps(backward(14.0)) == []

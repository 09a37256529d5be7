"""The wanted part of a case: which dimensions determine it, and what is refused."""

import math

import pytest

from pinchline import library
from pinchline.case.case import load_case, parse_case
from pinchline.case.target import TargetArc, chord
from pinchline.errors import InputError
from pinchline.parts.wanted import wanted_part
from pinchline.solvers.stepped.program import run_case

TEXT = library.fetch("cases", "strut-nose").text
HEAD = TEXT[: TEXT.index("[target]")]


def target(lines: str, head: str = HEAD):
    return parse_case(f"{head}[target]\n{lines}", path="part.toml").target


def refused(lines: str, head: str = HEAD) -> str:
    with pytest.raises(InputError) as caught:
        parse_case(f"{head}[target]\n{lines}", path="part.toml")
    return str(caught.value)


def test_the_shipped_part_is_invented_and_needs_neither_moves_nor_blank():
    case = load_case("strut-nose")
    assert "invented" in case.title
    assert case.moves == ()
    assert case.target.radius == 80.0
    assert case.target.closing
    bent = 80.0 * math.radians(140.0)
    assert bent < case.sheet.length < bent + 80.0  # room for two flats


def test_a_part_without_a_programme_is_not_run():
    with pytest.raises(InputError) as caught:
        run_case(load_case("strut-nose"))
    assert "programme is empty" in str(caught.value)
    assert "pinchline plan" in str(caught.value)


def test_a_case_without_a_part_still_needs_moves_and_blank():
    with pytest.raises(InputError, match="programme is empty"):
        parse_case(HEAD.replace("width", 'length = "260 mm"\nwidth'), path="part.toml")
    with pytest.raises(InputError, match=r"sheet\.length.*missing"):
        parse_case(HEAD, path="part.toml")


def test_a_blank_that_is_told_counts():
    head = HEAD.replace("width", 'length = "300 mm"\nwidth')
    case = parse_case(
        f'{head}[target]\nradius = "80 mm"\nangle = "90 deg"', path="p.toml"
    )
    assert case.sheet.length == 300.0


def test_dimensions_carry_units_and_shares_a_percent():
    part = target(
        'radius = "3 in"\nangle = "90 deg"\nflat_operator = "1 in"\n'
        'tolerance_radius = "2 %"\ntolerance_opening = "0.02 in"'
    )
    assert part.radius == pytest.approx(76.2)
    assert part.angle == pytest.approx(0.5 * math.pi)
    assert part.tolerance_radius == 0.02
    assert part.flat_rear is None
    assert part.tolerance_opening == pytest.approx(0.508)
    assert part.side == "middle"
    assert not part.closing


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("", "does not say what part"),
        ('radius = "80 mm"', "radius alone do not determine"),
        ('flat_rear = "8 mm"', "does not say what part"),
        ('angle = "90 deg"', "angle alone do not determine"),
        ('opening = "90 mm"', "opening alone do not determine"),
        ('radius = "80 mm"\nprofile = "a.csv"', "profile and radius say more"),
        (
            'radius = "80 mm"\nangle = "90 deg"\nopening = "90 mm"',
            'target.opening = "90.00 mm": stands beside angle and radius',
        ),
        ('radius = "80"\nangle = "90 deg"', "a bare number has no unit"),
        ('radius = "80 mm"\nangle = "400 deg"', "target.angle"),
        ('radius = "80 mm"\nangle = "90 deg"\nclosng = true', "did you mean closing"),
        (
            'radius = "80 mm"\nangle = "90 deg"\ntolerance_radius = "90 %"',
            "above 0 % to 50 %",
        ),
        (
            'radius = "80 mm"\nangle = "90 deg"\ntolerance_radius = "1 mm"',
            "is not a share",
        ),
        ('radius = "2 mm"\nangle = "90 deg"', "four thicknesses"),
        ('profile = "part.txt"', "a .csv of points"),
        ('profile = "none.csv"', "there is no such file"),
        (
            'radius = "80 mm"\nangle = "90 deg"\nopening = "0.5 mm"\nclosing = true',
            "the edges would lie inside each other",
        ),
    ],
)
def test_what_does_not_determine_a_part_is_refused_in_one_message(lines, words):
    message = refused(lines)
    assert words in message
    assert "part.toml" in message
    assert "Allowed:" in message


def test_flats_do_not_stand_beside_a_profile():
    assert "holds the flats" in refused('profile = "a.csv"\nflat_rear = "9 mm"')


def test_a_blend_needs_room_on_both_arcs():
    lines = (
        'nose.radius_operator = "60 mm"\nnose.radius_rear = "100 mm"\n'
        'nose.angle_operator = "30 deg"\nnose.angle_rear = "90 deg"\n'
    )
    assert target(f'{lines}nose.blend = "60 mm"').nose.blend == 60.0
    message = refused(f'{lines}nose.blend = "80 mm"')
    assert "target.nose.blend" in message
    assert "62.83 mm" in message  # twice 60 mm times 30 deg


def test_the_side_of_a_radius_is_half_a_thickness_off_the_middle():
    for side, middle in (("inside", 80.5), ("middle", 80.0), ("outside", 79.5)):
        part = target(f'radius = "80 mm"\nangle = "90 deg"\nside = "{side}"')
        assert wanted_part(part, 1.0).sharpest == pytest.approx(1.0 / middle)


@pytest.mark.parametrize("flats", [(0.0, 0.0), (20.0, 20.0), (10.0, 35.0)])
def test_opening_with_radius_or_angle_gives_the_part_back(flats):
    """Chord of an arc and its flats, laid out: the same part three ways."""
    told = f'flat_operator = "{flats[0]} mm"\nflat_rear = "{flats[1]} mm"\n'
    whole = wanted_part(target(f'radius = "80 mm"\nangle = "200 deg"\n{told}'), 1.0)
    opening = f'opening = "{whole.opening():.9f} mm"\n'
    turned = wanted_part(target(f'angle = "200 deg"\n{opening}{told}'), 1.0)
    assert 1.0 / turned.sharpest == pytest.approx(80.0, abs=1.0e-4)
    by_radius = wanted_part(target(f'radius = "80 mm"\n{opening}{told}'), 1.0)
    # two angles leave one opening where it is wider than the flats; the smaller counts
    assert by_radius.turned <= math.radians(200.0) + 1.0e-5
    assert by_radius.opening() == pytest.approx(whole.opening(), abs=1.0e-3)


def test_the_chord_of_half_a_circle_is_its_diameter_whatever_its_flats():
    along, across = chord(TargetArc(50.0, math.pi), (30.0, 30.0))
    assert along == pytest.approx(100.0)
    assert across == pytest.approx(0.0)


def test_an_opening_that_no_arc_leaves_is_refused():
    lines = 'opening = "200 mm"\nradius = "80 mm"\nflat_rear = "0 mm"'
    part = target(lines)  # with a flat that the machine leaves there may be one
    with pytest.raises(InputError, match="leaves such an opening"):
        wanted_part(part, 1.0)
    assert wanted_part(part, 1.0, (130.0, 0.0)).opening() == pytest.approx(200.0)
    assert "leaves such an opening" in refused(f'{lines}\nflat_operator = "0 mm"')


def test_flats_left_to_the_machine_are_its_own():
    part = target('radius = "80 mm"\nangle = "90 deg"\nflat_rear = "12 mm"')
    assert wanted_part(part, 1.0, (21.0, 34.0)).flats == pytest.approx((21.0, 12.0))


def test_the_hand_closes_to_an_opening_beside_what_determines_the_part():
    part = target(
        'radius = "80 mm"\nangle = "90 deg"\nopening = "99 mm"\nclosing = true'
    )
    assert part.hand_opening == 99.0
    assert target('radius = "80 mm"\nopening = "99 mm"').hand_opening is None

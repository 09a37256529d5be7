import math
import pickle
from itertools import pairwise

import pytest

from pinchline.case.case import load_case, parse_case
from pinchline.case.metal.curve import Curve
from pinchline.case.moves import Feed, Lift, Lower, Place, Release, Turn
from pinchline.case.variation import rebuilt, strengthened
from pinchline.errors import InputError

CASE = load_case("strut-fairing")
NOSE = load_case("strut-nose")
STRAIN, STRESS = (0.002, 0.01, 0.05), (138.0, 200.0, 240.0)


def parts_of(case):
    return case.model_dump(exclude={"written", "path"})


def with_points():
    material = rebuilt(
        CASE.sheet.material, {"curve": Curve(strain=STRAIN, stress=STRESS)}
    )
    return CASE.replace({"sheet.material": material})


CHANGES = [
    {"sheet.width": 250.0},
    {"sheet.width": "250 mm", "sheet.off_centre": "-10 mm"},
    {"sheet.thickness": "0.8 mm"},
    {"sheet.thickness": 0.8},
    {"sheet.direction": "L"},
    {"sheet.material": "6061-T4"},
    {"sheet.material.use": "6061-T4"},
    {"sheet.material.yield_strength": "150 MPa"},
    {"sheet.radius": "400 mm"},
    {"sheet.curvature": 0.0025},
    {"machine.use": "bench-76"},
    {"machine.rear.slide_angle": "80 deg", "machine.rolls.upper_radius": 29.0},
    {"machine.nip.friction": 0.15, "machine.crank.efficiency": 0.8},
    {"machine.nip.clearance": "0.05 mm"},
    {"model.element": 0.5, "model.bulging": True, "model.hardening": "kinematic"},
    {"measure.zone_from": 60.0, "measure.zone_to": 160.0},
    {"move.2.to": "22 mm"},
    {"move.2.to": 22.0, "move.3.lift_to": 20.0},
    {"move": (Place(at=100.0), Lift(to=12.0), Feed(toward="rear", by=60.0), Lower())},
    {"title": "another"},
]


@pytest.mark.parametrize("changes", CHANGES, ids=lambda c: ", ".join(c))
def test_the_text_of_a_changed_case_is_that_of_what_it_is(changes):
    case = CASE.replace(changes)
    assert parts_of(case) != parts_of(CASE)
    again = parse_case(case.text, path=CASE.path)
    assert parts_of(again) == parts_of(case)
    assert "# " in case.text  # comments of the file stay


def test_a_case_without_changes_has_the_text_of_its_file():
    assert CASE.text == CASE.replace({}).text == CASE.written


def test_changes_come_one_after_another():
    case = CASE.replace({"sheet.material.yield_strength": "150 MPa", "move.2.to": 20.0})
    case = pickle.loads(pickle.dumps(case)).replace({"sheet.width": "250 mm"})
    assert case.sheet.material.yield_strength == 150.0
    assert (case.moves[1].to, case.sheet.width) == (20.0, 250.0)
    assert parts_of(parse_case(case.text, path=case.path)) == parts_of(case)
    card = case.replace({"sheet.material": "5052-H32"})
    assert card.sheet.material.yield_strength == CASE.sheet.material.yield_strength
    moves = case.replace({"move": CASE.moves})
    assert moves.moves == CASE.moves
    assert parse_case(moves.text, path=case.path).moves == CASE.moves
    assert CASE.text == CASE.written


def test_a_number_is_in_internal_units_and_text_as_in_a_file():
    by_text = CASE.replace(
        {"sheet.width": "10 in", "machine.rear.slide_angle": "90 deg"}
    )
    by_number = CASE.replace(
        {"sheet.width": 254.0, "machine.rear.slide_angle": math.pi / 2}
    )
    assert parts_of(by_text) == parts_of(by_number)


def test_another_thickness_takes_the_card_of_it_unless_a_material_comes_along():
    case = parse_case(CASE.text.replace("5052-H32", "2024-T3"), path=CASE.path)
    read = parse_case(case.text.replace('"1.0 mm"', '"0.3 mm"'), path=CASE.path)
    assert read.sheet.material != case.sheet.material
    for thickness in ("0.3 mm", 0.3):
        assert case.replace({"sheet.thickness": thickness}).sheet == read.sheet
    kept = {"sheet.thickness": 0.3, "sheet.material": case.sheet.material}
    assert case.replace(kept).sheet.material == case.sheet.material


@pytest.mark.parametrize("value", ["231 MPa", 231.0])
def test_a_curve_of_points_goes_with_the_yield_strength(value):
    case = with_points()
    material = case.sheet.material
    ratio = 231.0 / material.yield_strength
    curve = case.replace({"sheet.material.yield_strength": value}).sheet.material.curve
    assert curve.stress == pytest.approx([ratio * s for s in STRESS], rel=1e-12)
    youngs = material.youngs_modulus
    for e, s, before, was in zip(
        curve.strain, curve.stress, STRAIN, STRESS, strict=True
    ):
        assert e - s / youngs == pytest.approx(before - was / youngs, rel=1e-12)
    assert all(low < high for low, high in pairwise(curve.strain))


def test_a_file_that_says_another_yield_strength_of_a_card_moves_its_curve(tmp_path):
    points = "strain = [0.002, 0.01, 0.05]\nstress = ['138 MPa', '200 MPa', '240 MPa']"
    card = (
        'youngs_modulus = "70 GPa"\npoisson_ratio = 0.33\ntangent_modulus = "700 MPa"\n'
        f'yield_tension = "160 MPa"\nyield_compression = "180 MPa"\n[curve]\n{points}\n'
    )
    (tmp_path / "own.toml").write_text(card)
    text = CASE.text.replace(
        'material = "5052-H32"',
        'material = { use = "own.toml", yield_strength = "340 MPa" }',
    )
    case = parse_case(text, path=str(tmp_path / "case.toml"))
    assert case.sheet.material.curve.stress == pytest.approx([2 * s for s in STRESS])
    plain = parse_case(text.replace(', yield_strength = "340 MPa"', ""), path=case.path)
    assert plain.sheet.material.curve.stress == STRESS
    changed = plain.replace({"sheet.material.yield_strength": "340 MPa"})
    assert changed.sheet == case.sheet


def test_a_stress_of_an_exponent_goes_with_the_yield_strength():
    material = CASE.sheet.material
    curve = Curve(exponent=12.0, yield_offset=200.0)
    case = CASE.replace({"sheet.material": rebuilt(material, {"curve": curve})})
    strength = 1.5 * material.yield_strength
    moved = case.replace({"sheet.material.yield_strength": strength}).sheet.material
    assert moved.curve.yield_offset == pytest.approx(300.0, rel=1e-12)


def test_skins_are_another_metal_but_go_with_the_strength_of_the_sheet():
    case = CASE.replace({"sheet.material": "2024-T3-clad"})
    material = case.sheet.material
    core = case.replace({"sheet.material.yield_strength": 100.0}).sheet.material
    assert core.clad == material.clad
    whole = strengthened(material, 1.25).clad
    assert whole.yield_strength == 1.25 * material.clad.yield_strength


def refused(changes, case=CASE):
    with pytest.raises(InputError) as caught:
        case.replace(changes)
    return str(caught.value)


@pytest.mark.parametrize(
    ("changes", "old", "new"),
    [
        ({"sheet.thickness": "-1 mm"}, '"1.0 mm"', '"-1 mm"'),
        ({"sheet.thickness": "1 kg"}, '"1.0 mm"', '"1 kg"'),
        ({"sheet.thickness": "90 mm"}, '"1.0 mm"', '"90 mm"'),
        ({"sheet.material": "5052-H23"}, '"5052-H32"', '"5052-H23"'),
    ],
)
def test_the_message_is_that_of_a_file(changes, old, new):
    with pytest.raises(InputError) as caught:
        parse_case(CASE.text.replace(old, new, 1), path=CASE.path)
    assert refused(changes) == str(caught.value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sheet.thicknes": "1 mm"}, ["sheet.thicknes", "did you mean thickness?"]),
        ({"shet.thickness": 1.0}, ["shet", "did you mean sheet?"]),
        ({"machine.rear.distanze": 60.0}, ["rear.distanze", "did you mean distance?"]),
        ({"machine.rear.distance": -1.0}, ['"-1 mm"', "out of range", "above 0"]),
        ({"move.2.too": "1 mm"}, ["move 2 (lift): too", "did you mean to?"]),
        ({"move.2.to": "-1 mm"}, ['move 2 (lift): to = "-1 mm"', "from 0 up"]),
        ({"move.9.to": "1 mm"}, ["move.9.to", "no such move", "move.1 to move.7"]),
        ({"move.0.to": 1.0}, ["move.0.to", "no such move"]),
        ({"move.one.to": 1.0}, ["move.one.to", "no such move"]),
        ({"move": (Lift(to=1.0),)}, ["no sheet is in the machine yet", "move 1"]),
        ({"sheet.length": 60.0}, ["the nip line misses the sheet"]),
        ({"model.section": "layerd"}, ["model.section", "did you mean layered?"]),
        ({"sheet.thickness": None}, ["sheet.thickness", "is missing"]),
    ],
)
def test_what_a_case_cannot_be_is_refused(changes, words):
    said = refused(changes)
    assert said.startswith(CASE.path)
    for word in words:
        assert word in said


def test_a_target_changes_and_its_blank_with_it():
    case = NOSE.replace({"target.tolerance_radius": 0.02, "target.flat_rear": 12.0})
    assert (case.target.tolerance_radius, case.target.flat_rear) == (0.02, 12.0)
    assert case.sheet.length < NOSE.sheet.length  # the blank is estimated anew
    told = {"target.flat_rear": 12.0, "sheet.length": NOSE.sheet.length}
    assert NOSE.replace(told).sheet.length == NOSE.sheet.length
    again = parse_case(case.text, path=case.path)
    assert parts_of(again) == parts_of(case)
    moves = (Place(at=20.0), Turn(), Place(at=20.0), Release())
    assert parse_case(NOSE.replace({"move": moves}).text, path="x").moves == moves


def test_two_ways_to_say_one_thing_are_refused_as_in_a_file():
    curved = CASE.replace({"sheet.radius": "400 mm"})
    assert "radius" in refused({"sheet.curvature": 0.0025}, curved)
    told = {"sheet.curvature": 0.001, "sheet.radius": None}
    assert curved.replace(told).sheet.curvature == 0.001
    assert "leave" in refused({"move.3.by": 20.0})
    fed = CASE.replace({"move.3.by": 20.0, "move.3.leave": None})
    assert (fed.moves[2].by, fed.moves[2].leave) == (20.0, None)


def test_a_kind_of_nip_gives_way_to_the_other():
    rigid = CASE.replace({"machine.nip.clearance": 0.05})
    assert rigid.machine.nip.clamp is None
    assert rigid.machine.nip.opening == 0.05

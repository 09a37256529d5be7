"""Cases: what a good file becomes."""

import math
import pickle
import subprocess
import sys
from pathlib import Path

import pytest
from pydantic import ValidationError

from pinchline import library
from pinchline.case.case import Case, load_case, parse_case
from pinchline.case.layout import rear_roll_centre
from pinchline.case.machine import load_machine
from pinchline.case.moves import Feed, Lift, Lower, Place, Release, Turn
from pinchline.errors import InputError, SolverError

TEXT = library.fetch("cases", "strut-fairing").text


def edited(*changes):
    """The demo with texts replaced; every text must be there."""
    text = TEXT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return parse_case(text, path="edited.toml")


def programme(*moves):
    """The demo with another programme."""
    demo = load_case("strut-fairing")
    return Case(
        title="t",
        text="",
        path="here.toml",
        sheet=demo.sheet,
        machine=demo.machine,
        moves=moves,
    )


def test_the_demo():
    case = load_case("strut-fairing")
    assert "invented example" in case.title
    assert case.text == TEXT
    assert case.path.endswith("strut-fairing.toml")
    assert case.sheet.material.name == "5052-H32"
    assert case.sheet.material.direction == "LT"
    sheet = case.sheet
    assert (sheet.thickness, sheet.length, sheet.width) == (1.0, 260.0, 400.0)
    assert sheet.curvature == 0.0
    assert case.machine.name == "bench-60"
    assert case.machine.rear.distance == 64.0
    assert case.machine.rear.slide_angle == pytest.approx(math.radians(80))
    assert case.moves == (
        Place(at=130.0),
        Lift(to=26.0),
        Feed(toward="rear", leave=18.0),
        Lower(to=16.2),
        Feed(toward="operator", leave=18.0),
        Lower(),
        Release(),
    )
    assert (case.elements, case.element) == (1040, 0.25)
    assert case.model.hardening is None
    assert case.model.section == "layered"
    assert case.measure.straightedge_gap == 0.1


@pytest.mark.parametrize("name", library.names("machines"))
@pytest.mark.parametrize("thickness", [0.3, 1.0, 2.0])
def test_shipped_machines_clear_their_rolls(name, thickness):
    text = TEXT.replace("bench-60", name).replace('"1.0 mm"', f'"{thickness} mm"')
    table = '[sheet.material]\nyoungs_modulus = "70 GPa"\npoisson_ratio = 0.33\n'
    table += 'yield_strength = "150 MPa"\ntangent_modulus = "900 MPa"\n\n[machine]'
    text = text.replace('material = "5052-H32"', "").replace("[machine]", table)
    machine = parse_case(text, path="x.toml").machine
    assert "invented" in machine.title
    assert machine.crank is not None
    reach = machine.rolls.lower_radius + machine.rolls.rear_radius
    opening = thickness + machine.nip.opening
    for step in range(200):
        lift = machine.rear.travel * step / 199
        x, y = rear_roll_centre(machine, thickness, lift)
        assert math.hypot(x, y + machine.rolls.lower_radius + opening / 2) > reach + 1


def test_machine_cards_are_named_for_the_diameter():
    for name in library.names("machines"):
        machine = load_machine(name)
        assert name == f"bench-{2 * machine.rolls.upper_radius:.0f}"


def test_lift_raises_the_rear_roll_and_leans_it_to_the_nip():
    machine = load_machine("bench-60")
    x0, y0 = rear_roll_centre(machine, 1.0, 0.0)
    x, y = rear_roll_centre(machine, 1.0, 10.0)
    assert (x0, y0) == (64.0, -30.5)
    assert y - y0 == pytest.approx(10 * math.sin(math.radians(80)))
    assert x - x0 == pytest.approx(-10 * math.cos(math.radians(80)))


def test_keys_beside_use_replace_those_of_the_card():
    case = edited(
        (
            'use = "bench-60"',
            'use = "bench-60"\nnip.friction = 0.2\nrear.distance = "66 mm"',
        )
    )
    assert case.machine.nip.friction == 0.2
    assert case.machine.nip.clamp == 4.0
    assert case.machine.rear.distance == 66.0
    assert case.machine.rear.travel == 45.0


def test_a_clearance_beside_use_replaces_the_clamp_of_the_card():
    case = edited(('use = "bench-60"', 'use = "bench-60"\nnip.clearance = "0.05 mm"'))
    assert not case.machine.nip.gives
    assert case.machine.nip.opening == 0.05
    assert case.machine.nip.play == 0.0
    assert case.machine.nip.friction == 0.1


def test_a_machine_may_stand_in_the_case():
    card = library.fetch("machines", "bench-50").text
    inline = card.replace("[", "[machine.").replace("title", "# title")
    text = TEXT.replace("[machine]\n", inline).replace('use = "bench-60"', "")
    case = parse_case(text, path="x.toml")
    assert case.machine.name == "inline"
    assert case.machine.rolls == load_machine("bench-50").rolls


def test_relative_paths_start_beside_the_case(tmp_path):
    for kind, name in (("materials", "5052-H32"), ("machines", "bench-60")):
        text = library.fetch(kind, name).text
        (tmp_path / f"my-{name}.toml").write_text(text, encoding="utf-8")
    text = TEXT.replace('"5052-H32"', '"my-5052-H32.toml"')
    text = text.replace('"bench-60"', '"./my-bench-60.toml"')
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    case = load_case(str(path))
    assert case.sheet.material.name == "my-5052-H32"
    assert case.machine.name == "my-bench-60"
    assert case == load_case(path)


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    assert load_case(path).moves == load_case("strut-fairing").moves


@pytest.mark.parametrize(
    ("length", "thickness", "element", "count"),
    [
        ("260 mm", "1.0 mm", None, 1040),
        ("260.1 mm", "1.0 mm", None, 1041),
        ("100 mm", "2.0 mm", None, 200),
        ("100 mm", "0.5 mm", None, 800),
        ("100 mm", "1.0 mm", "0.3 mm", 334),
        ("100 mm", "1.0 mm", "2 mm", 50),
    ],
)
def test_a_whole_number_of_elements(length, thickness, element, count):
    changes = [
        ('"260 mm"', f'"{length}"'),
        ('thickness = "1.0 mm"', f'thickness = "{thickness}"'),
        ('at = "130 mm"', 'at = "50 mm"'),
    ]
    if element:
        changes.append(("[machine]", f'[model]\nelement = "{element}"\n[machine]'))
    case = edited(*changes)
    assert case.elements == count
    assert case.element * count == pytest.approx(case.sheet.length, rel=1e-14)


@pytest.mark.parametrize(
    ("given", "share"),
    [('"isotropic"', 0.0), ('"kinematic"', 1.0), ("0.3", 0.3), ("1", 1.0)],
)
def test_hardening_by_word_or_number(given, share):
    case = edited(("[machine]", f"[model]\nhardening = {given}\n[machine]"))
    assert case.model.hardening == share


def test_sheet_that_is_curved_already():
    radius = edited(('width = "400 mm"', 'width = "400 mm"\nradius = "500 mm"'))
    bend = edited(('width = "400 mm"', 'width = "400 mm"\ncurvature = "0.002 1/mm"'))
    assert radius.sheet.curvature == pytest.approx(0.002)
    assert bend.sheet.curvature == pytest.approx(0.002)


def test_inch_units_and_measures():
    measure = '[measure]\nstraightedge_gap = "0.004 in"\n'
    measure += 'zone_from = "4 in"\nzone_to = "6 in"\n'
    case = edited(
        ('"1.0 mm"', '"0.040 in"'),
        ("[machine]", f"{measure}[machine]"),
    )
    assert case.sheet.thickness == pytest.approx(1.016)
    assert case.measure.straightedge_gap == pytest.approx(0.1016)
    assert case.measure.zone_from == pytest.approx(101.6)
    assert case.measure.zone_to == pytest.approx(152.4)


def test_a_programme_may_turn_the_sheet_and_place_it_again():
    turned = programme(
        Place(at=130.0),
        Lift(to=10.0),
        Feed(toward="rear", by=60.0, lift_to=12.0),
        Lower(),
        Place(at=100.0),
        Lift(to=5.0),
        Lower(to=2.0),
        Lower(),
        Turn(),
        Place(at=200.0),
        Release(),
        Place(at=20.0),
    )
    assert len(turned.moves) == 12


def test_lift_beyond_the_travel_is_left_to_the_run():
    assert programme(Place(at=130.0), Lift(to=400.0)).moves[1].to == 400.0


def test_code_passes_plain_floats_within_the_same_ranges():
    assert Place(at=12).at == 12.0
    assert Lift(to="16 mm").to == 16.0
    for bad in (-1.0, math.nan, math.inf):
        with pytest.raises(
            InputError, match=r"move \(lift\): to = .*Allowed: a length"
        ):
            Lift(to=bad)


def test_a_case_is_frozen_and_travels_between_processes():
    case = load_case("strut-fairing")
    with pytest.raises(ValidationError):
        case.sheet.thickness = 2.0
    copy = pickle.loads(pickle.dumps(case))
    assert copy == case
    shorter = case.sheet.model_copy(update={"length": 130.0})
    assert case.model_copy(update={"sheet": shorter}).elements == 520


def test_errors_travel_between_processes():
    error = InputError("is odd", file="a.toml", key="k", value=3, allowed="even")
    assert str(pickle.loads(pickle.dumps(error))) == str(error)
    assert str(error) == "a.toml: k = 3: is odd. Allowed: even."
    failed = SolverError("move 2: stuck", diagnosis={"step": 4}, result="state")
    copy = pickle.loads(pickle.dumps(failed))
    assert (copy.exit_code, copy.diagnosis, copy.result) == (4, {"step": 4}, "state")


def test_shipped_files_lie_where_the_loader_looks():
    root = Path(__file__).parents[2]
    folders = {"materials": "materials", "machines": "cases/machines", "cases": "cases"}
    for kind, folder in folders.items():
        stems = sorted(path.stem for path in (root / folder).glob("*.toml"))
        assert library.names(kind) == stems


def test_the_model_loads_nothing_heavy():
    heavy = ("pint", "numpy", "scipy", "numba", "h5py", "matplotlib")
    path = [entry for entry in sys.path if entry]
    code = (
        f"import sys; sys.path[:0] = {path!r}; "
        "from pinchline.case.case import load_case; load_case('strut-fairing'); "
        f"found = set(sys.modules) & set({heavy!r}); assert not found, found"
    )
    subprocess.run([sys.executable, "-c", code], check=True)

"""Wrong input: each fault is named by file, key, value and what is allowed."""

import os
from dataclasses import dataclass

import pytest

from pinchline.case.case import load_case, parse_case
from pinchline.errors import InputError

GOOD = """\
title = "Duct half (invented)"

[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "260 mm"
width = "400 mm"

[machine]
use = "bench-60"

[model]
section = "layered"

[[move]]
kind = "place"
at = "130 mm"
[[move]]
kind = "lift"
to = "16 mm"
[[move]]
kind = "feed"
toward = "rear"
leave = "18 mm"
[[move]]
kind = "lower"
[[move]]
kind = "release"

[measure]
straightedge_gap = "0.1 mm"
"""
INLINE = """[machine]
rolls = {upper_radius = "30 mm", lower_radius = "30 mm", rear_radius = "30 mm"}
[machine.rear]
distance = "64 mm"
slide_angle = "80 deg"
travel = "45 mm"
screw_pitch = "1.5 mm"
[machine.nip]
clearance = "0.05 mm"
"""
RANGES = 'range = [{from = "0 mm", to = "2 mm"}, {from = "1 mm", to = "3 mm"}]\n'
MATERIAL = """[sheet.material]
youngs_modulus = "70 GPa"
poisson_ratio = 0.33
yield_strength = "150 MPa"
tangent_modulus = "900 MPa"
"""
THICK = 'thickness = "1.0 mm"'
CARD = 'material = "5052-H32"'
USE = 'use = "bench-60"'
MACHINE = f"[machine]\n{USE}\n"
OPTIONS = 'section = "layered"'
PLACE = 'kind = "place"\nat = "130 mm"'
FEED = 'toward = "rear"\nleave = "18 mm"'
GAP = 'straightedge_gap = "0.1 mm"'
WIDTH = 'width = "400 mm"'
SECTION = 'section = "layered"'
PROGRAMME = GOOD[GOOD.index("[[move]]") : GOOD.index("[measure]")]
MOVE = "[[move]]\nkind = "


def curve(strains, *stresses, exponent=None, bare=False):
    """Edit that gives the material a curve of points, stresses in MPa."""
    listed = ", ".join(f'"{stress} MPa"' for stress in stresses)
    strains = strains if bare else f"[{strains}]"
    more = "" if exponent is None else f", exponent = {exponent}"
    keys = f"curve = {{strain = {strains}, stress = [{listed}]{more}}}"
    return "[machine]", f"{keys}\n[machine]"


@dataclass(frozen=True)
class Bad:
    """One edit of the good case, and what its message must hold."""

    old: str
    new: str
    key: str
    value: str
    allowed: str


BAD = {
    # units and numbers
    "wrong unit": Bad(THICK, 'thickness = "1 MPa"', "sheet.thickness", '"1 MPa"', "mm"),
    "unknown unit": Bad(
        THICK, 'thickness = "1 mmm"', "sheet.thickness", '"1 mmm"', "did you mean mm?"
    ),
    "bare number": Bad(THICK, "thickness = 1.0", "sheet.thickness", "1.0", '"0.8 mm"'),
    "number without unit": Bad(
        THICK, 'thickness = "1.0"', "sheet.thickness", '"1.0"', "with its unit"
    ),
    "decimal comma": Bad(
        THICK, 'thickness = "1,0 mm"', "sheet.thickness", '"1,0 mm"', "point"
    ),
    "negative thickness": Bad(
        THICK, 'thickness = "-1 mm"', "sheet.thickness", '"-1 mm"', "above 0"
    ),
    "zero thickness": Bad(
        THICK, 'thickness = "0 mm"', "sheet.thickness", '"0 mm"', "above 0"
    ),
    "NaN": Bad(THICK, "thickness = nan", "sheet.thickness", "NaN", "with its unit"),
    "NaN text": Bad(THICK, 'thickness = "nan mm"', "sheet.thickness", "nan", "length"),
    "infinite": Bad('"260 mm"', '"inf mm"', "sheet.length", "inf mm", "a length"),
    "overflow": Bad('"260 mm"', '"1e999 mm"', "sheet.length", "1e999", "a length"),
    "infinite pure number": Bad(
        OPTIONS, "contact = inf", "model.contact", "Infinity", "above 0"
    ),
    "unit on a pure number": Bad(
        OPTIONS, 'contact = "0.25 mm"', "model.contact", '"0.25 mm"', "without unit"
    ),
    "huge whole number": Bad(
        OPTIONS, f"contact = 1{'0' * 400}", "model.contact", "1000", "above 0"
    ),
    "angle too flat": Bad(
        USE, f'{USE}\nrear.slide_angle = "20 deg"', "machine.rear.slide_angle",
        '"20 deg"', "from 30 deg to 150 deg",
    ),
    # keys
    "unknown key": Bad(
        THICK, f'{THICK}\nthicknes = "1 mm"', "sheet.thicknes", '"1 mm"',
        "did you mean thickness?",
    ),
    "misspelt key": Bad(
        'length = "260', 'lenght = "260', "sheet.lenght", '"260 mm"',
        "did you mean length?",
    ),
    "unknown key far from all": Bad(
        THICK, f"{THICK}\nzzz = 1", "sheet.zzz", "= 1", "did you mean"
    ),
    "unknown section": Bad("[model]", "[modle]", "modle", "a table",
        "did you mean model?"),
    "unknown key of a roll": Bad(
        USE, f'{USE}\nrolls.uper_radius = "3 mm"', "machine.rolls.uper_radius",
        '"3 mm"',
        "did you mean upper_radius?",
    ),
    "unknown key of a move": Bad(
        FEED, f'{FEED}\nlift_too = "1 mm"', "move 3 (feed): lift_too", "",
        "did you mean lift_to?",
    ),
    "unknown key of a material": Bad(
        CARD, 'material = {youngs_module = "70 GPa"}', "sheet.material.youngs_module",
        "", "did you mean youngs_modulus?",
    ),
    "missing key": Bad(THICK, "", "sheet.thickness", "is missing", '"0.8 mm"'),
    "missing section": Bad(MACHINE, "", "machine", "is missing", "a table [machine]"),
    "missing part of a machine": Bad(
        MACHINE,
        INLINE.replace("[machine.nip]\nclearance", "#"), "machine.nip", "is missing",
        "clearance",
    ),
    # wrong types
    "list for a length": Bad(
        THICK, 'thickness = ["1 mm"]', "sheet.thickness", '["1 mm"]', "a length"
    ),
    "truth for a length": Bad(
        THICK, "thickness = true", "sheet.thickness", "true", "a length"
    ),
    "date for a length": Bad(
        THICK, "thickness = 2024-01-01", "sheet.thickness", "2024-01-01", "a length"
    ),
    "table for a length": Bad(
        THICK, "thickness = {t = 1}", "sheet.thickness", "a table", "a length"
    ),
    "number for a title": Bad(
        '"Duct half (invented)"', "7", "title", "7", "text in quotes"
    ),
    "list for a material": Bad(
        CARD, 'material = ["5052-H32"]', "sheet.material", '["5052-H32"]', "card"
    ),
    "text for a section": Bad(
        MACHINE, "", "machine", '"bench-60"', "a table [machine]"
    ),
    "text for options": Bad("[model]\n" + OPTIONS, "", "model", '"fine"', "element"),
    "table for the moves": Bad(
        PROGRAMME, '[move]\nkind = "place"\n', "move", "a table", "[[move]]"
    ),
    "texts for the moves": Bad(PROGRAMME, "", "move", '"place"', "[[move]]"),
    "number for a machine card": Bad(USE, "use = 60", "machine.use", "60", "bench-60"),
    "part number of layers": Bad(
        OPTIONS, "layers = 16.5", "model.layers", "16.5", "a whole number from 6 to 64"
    ),
    "too many layers": Bad(OPTIONS, "layers = 65", "model.layers", "65",
        "from 6 to 64"),
    # words
    "unknown material": Bad(
        "5052-H32", "5052-H23", "sheet.material", '"5052-H23"', "did you mean 5052-H32"
    ),
    "unknown machine": Bad(
        "bench-60", "bench60", "machine.use", '"bench60"', "did you mean bench-60"
    ),
    "unknown direction": Bad('"LT"', '"45"', "sheet.direction", '"45"', '"L" or "LT"'),
    "unknown section law": Bad(
        '"layered"', '"layerd"', "model.section", '"layerd"', "did you mean layered?"
    ),
    "unknown hardening": Bad(
        OPTIONS, 'hardening = "mixed"', "model.hardening", '"mixed"', "kinematic share"
    ),
    "hardening out of range": Bad(
        OPTIONS, "hardening = 1.2", "model.hardening", "1.2", "from 0 to 1"
    ),
    "unknown feed direction": Bad(
        'toward = "rear"', 'toward = "back"', "move 3 (feed): toward", '"back"',
        '"rear" or "operator"',
    ),
    "unknown move": Bad(
        '"lift"', '"lfit"', "move 2: kind", '"lfit"', "did you mean lift"
    ),
    "move without kind": Bad(
        'kind = "lift"\n', "", "move 2: kind", "is missing", '"release"'
    ),
    # sheet and machine
    "sheet too thick for the rolls": Bad(
        f"{CARD}\ndirection = \"LT\"\n{THICK}",
        "direction = \"LT\"\nthickness = \"8 mm\"",
        "sheet.thickness", "8 mm", "a quarter of the upper roll's radius, 7.5 mm",
    ),
    "sheet shorter than it is thick": Bad(
        '"260 mm"', '"3 mm"', "sheet.length", "3 mm", "4 mm or more"
    ),
    "thickness outside of the card": Bad(
        THICK, 'thickness = "0.3 mm"', "sheet.thickness", "0.3 mm", "0.432 to 6.32 mm"
    ),
    "curvature and radius": Bad(
        WIDTH, f'{WIDTH}\ncurvature = "0.002 1/mm"\nradius = "500 mm"', "sheet.radius",
        "500.00 mm", "not both",
    ),
    "zero radius": Bad(WIDTH, f'{WIDTH}\nradius = "0 mm"', "sheet.radius", "0 mm",
        "flat"),
    "sheet closed on itself": Bad(
        WIDTH, f'{WIDTH}\nradius = "30 mm"', "sheet.curvature", "30 mm", "41.38 mm"
    ),
    "nip wider than the sheet": Bad(
        USE, f'{USE}\nnip.clearance = "1 mm"', "machine.nip.clearance", "1 mm", "below"
    ),
    "clamp beside clearance": Bad(
        USE, f'{USE}\nnip = {{clamp = "4 N/mm", clearance = "0.05 mm"}}',
        "machine.nip.clamp", "4 N/mm", "one of the two",
    ),
    "clamp without what gives": Bad(
        MACHINE, INLINE.replace("clearance = \"0.05 mm\"", 'clamp = "4 N/mm"'),
        "machine.nip.clamp", "4.00 N/mm", "rolls.shaft",
    ),
    "negative stiffness": Bad(
        USE, f'{USE}\nnip = {{clamp = "4 N/mm", stiffness = "-60 N/mm/mm"}}',
        "machine.nip.stiffness", "-60 N/mm/mm", "above 0",
    ),
    "negative stiffness behind": Bad(
        USE, f'{USE}\nrear.stiffness = "-1 N/mm/mm"', "machine.rear.stiffness",
        "-1 N/mm/mm", "above 0",
    ),
    "negative clamp": Bad(
        USE, f'{USE}\nnip = {{clamp = "-4 N/mm", stiffness = "60 N/mm/mm"}}',
        "machine.nip.clamp", "-4 N/mm", "from 0",
    ),
    "more play than thickness": Bad(
        USE,
        f'{USE}\nnip = {{clamp = "0 N/mm", stiffness = "9 N/mm/mm", play = "1 mm"}}',
        "machine.nip.play", "1 mm", "below the thickness, 1 mm",
    ),
    "bearings inside the sheet": Bad(
        USE, f'{USE}\nrolls.shaft.span = "390 mm"', "sheet.width", "400 mm",
        "bearings 390 mm apart",
    ),
    "bearings at the sheet's edges": Bad(
        USE, f'{USE}\nrolls.shaft.span = "400 mm"', "sheet.width", "400 mm",
        "less than 400 mm",
    ),
    "sheet off centre over a bearing": Bad(
        WIDTH, f'{WIDTH}\noff_centre = "130 mm"', "sheet.width", "400 mm", "380 mm"
    ),
    "bore as wide as the roll": Bad(
        USE, f'{USE}\nrolls.shaft = {{span = "500 mm", bore = "60 mm"}}',
        "machine.rolls.shaft.bore", "60 mm", "below its diameter",
    ),
    "torque limit without a thread": Bad(
        MACHINE, INLINE.replace("[machine.nip]",
        'max_screw_torque = "5 N m"\n[machine.nip]'), "machine.rear.max_screw_torque",
        "5.0 N m", "screw_diameter",
    ),
    "play of a rigid rear roll": Bad(
        USE, f'{USE}\nnip.clearance = "0 mm"\nrear.play = "0.1 mm"',
        "machine.rear.play", "0.10 mm", "rear.stiffness",
    ),
    "skew beyond the travel": Bad(
        USE, f'{USE}\nrear.skew = "-50 mm"', "machine.rear.skew", "-50 mm", "45 mm"
    ),
    "unknown regime": Bad(
        SECTION, f'{SECTION}\nregime = "broad"', "model.regime", "broad", "wide"
    ),
    "weight in words": Bad(
        SECTION, f'{SECTION}\nweight = "yes"', "model.weight", "yes", "true or false"
    ),
    "rolls overlap at touch": Bad(
        USE, f'{USE}\nrear.distance = "58 mm"', "machine.rear.distance", "58 mm",
        "more than 60 mm",
    ),
    "rolls overlap on the slide": Bad(
        USE, f'{USE}\nrear.slide_angle = "60 deg"', "machine.rear.slide_angle",
        "60.0 deg", "more than 60 mm",
    ),
    "elastic constant out of range": Bad(
        CARD, f"{CARD}", "sheet.material.poisson_ratio", "0.5", "below 0.5"
    ),
    "harder than elastic": Bad(
        CARD, f"{CARD}", "sheet.material.tangent_modulus", "90000 MPa", "youngs_modulus"
    ),
    "yield in two forms": Bad(
        CARD, f"{CARD}", "sheet.material.yield_strength", "150 MPa", "their mean"
    ),
    "skins too thick": Bad(
        CARD, f"{CARD}", "sheet.material.clad.share", "0.3", "from 0 to 0.2"
    ),
    "ranges overlap": Bad(
        CARD, f"{CARD}", "sheet.material.range[2].from", "1 mm", "from 2 mm up"
    ),
    # programme
    "empty programme": Bad(PROGRAMME, "", "move", "empty", '"place"'),
    "move before place": Bad(
        f"[[move]]\n{PLACE}\n", "", "move 1 (lift): kind", "lift", '"place" first'
    ),
    "by and leave": Bad(
        FEED, f'{FEED}\nby = "9 mm"', "move 3 (feed): leave", "18.00 mm", "one of by"
    ),
    "neither by nor leave": Bad(
        FEED, 'toward = "rear"', "move 3 (feed): by", "neither", "one of by"
    ),
    "backward feed": Bad(
        '"18 mm"', '"140 mm"', "move 3 (feed): leave", "140 mm", "up to 130 mm"
    ),
    "zero feed": Bad(
        'leave = "18 mm"', 'by = "0 mm"', "move 3 (feed): by", '"0 mm"', "above 0"
    ),
    "place outside of the sheet": Bad(
        'at = "130 mm"', 'at = "300 mm"', "move 1 (place): at", "300 mm", "260 mm"
    ),
    "place at the edge": Bad(
        'at = "130 mm"', 'at = "260 mm"', "move 1 (place): at", "260 mm", "below"
    ),
    "negative lift": Bad(
        '"16 mm"', '"-2 mm"', "move 2 (lift): to", '"-2 mm"', "from 0"
    ),
    "place twice": Bad(
        PLACE, f"{PLACE}\n[[move]]\n{PLACE}", "move 2 (place): kind", "place", "lower"
    ),
    "place under a raised roll": Bad(
        f'{MOVE}"lower"\n{MOVE}"release"',
        f'{MOVE}"release"\n[[move]]\n{PLACE}',
        "move 5 (place): kind", "16 mm", "roll down",
    ),
    "turn under a raised roll": Bad(
        f'{MOVE}"lower"', f'{MOVE}"turn"', "move 4 (turn): kind", "16 mm", "roll down"
    ),
    "feed after release": Bad(
        f'{MOVE}"release"', f'{MOVE}"release"\n[[move]]\nkind = "feed"\n{FEED}',
        "move 6 (feed): kind", "release", "turn or place",
    ),
    "release after turn": Bad(
        f'{MOVE}"release"', f'{MOVE}"turn"\n{MOVE}"release"', "move 6 (release): kind",
        "turn", "place next",
    ),
    "lower upward": Bad(
        f'{MOVE}"lower"', f'{MOVE}"lower"\nto = "20 mm"', "move 4 (lower): to", "20 mm",
        "up to the present 16 mm",
    ),
    # resolution and measures
    "element too long": Bad(
        OPTIONS, 'element = "2.5 mm"', "model.element", "2.5 mm", "up to 2 mm"
    ),
    "too many elements": Bad(
        OPTIONS, 'element = "0.01 mm"', "model.element", "0.01 mm", "20000 elements"
    ),
    "too few elements": Bad(
        '"260 mm"', '"13 mm"', "model.element", "2 mm", "8 to 20000"
    ),
    "half a zone": Bad(
        GAP, 'zone_from = "40 mm"', "measure.zone_from", "40 mm", "together"
    ),
    "zone the wrong way": Bad(
        GAP, 'zone_from = "40 mm"\nzone_to = "30 mm"', "measure.zone_from", "40 mm",
        "less than zone_to",
    ),
    "gauge line off the sheet": Bad(
        GAP, 'gauge_rear = "261 mm"', "measure.gauge_rear", "261 mm", "260 mm"
    ),
    # the curve of a material
    "curve of nothing": Bad(
        CARD, CARD, "sheet.material.curve", "neither exponent nor points", "exponent"
    ),
    "curve without bend": Bad(
        CARD, CARD, "sheet.material.curve.exponent", "= 1", "above 1"
    ),
    "unknown key of a curve": Bad(
        CARD, CARD, "sheet.material.curve.exponnent", "12", "did you mean exponent?"
    ),
    "bare offset of a curve": Bad(
        CARD, CARD, "sheet.material.curve.yield_offset", "150", '"325 MPa"'
    ),
    "exponent beside points": Bad(
        CARD, CARD, "sheet.material.curve.exponent", "12", "not both"
    ),
    "curve in a wrong measure": Bad(
        CARD, CARD, "sheet.material.curve.measure", '"log"', '"engineering" or "true"'
    ),
    "two points of a curve": Bad(
        CARD, CARD, "sheet.material.curve.strain", "2", "a list of 3 to 200"
    ),
    "one strain for a curve": Bad(
        CARD, CARD, "sheet.material.curve.strain", "0.01", "a list of 3 to 200"
    ),
    "a strain without its stress": Bad(
        CARD, CARD, "sheet.material.curve.stress", "3", "each of the 4 strains"
    ),
    "strain of a curve in words": Bad(
        CARD, CARD, "sheet.material.curve.strain[2]", '"much"', "a number"
    ),
    "bare stress of a curve": Bad(
        CARD, CARD, "sheet.material.curve.stress[2]", "160", '"325 MPa"'
    ),
    "curve that goes back": Bad(
        CARD, CARD, "sheet.material.curve.strain[3]", "0.003", "above 0.004"
    ),
    "curve that falls": Bad(
        CARD, CARD, "sheet.material.curve.stress[3]", "150 MPa", "from 160 MPa up"
    ),
    "curve that steepens": Bad(
        CARD, CARD, "sheet.material.curve.stress[3]", "400 MPa", "ever less steeply"
    ),
    "curve above the elastic line": Bad(
        CARD, CARD, "sheet.material.curve.stress[1]", "250 MPa", "140 MPa"
    ),
}  # fmt: skip

# further edits that a bad input needs
ALSO = {
    "text for a section": ("title", 'machine = "bench-60"\ntitle'),
    "text for options": ("title", 'model = "fine"\ntitle'),
    "texts for the moves": ("title", 'move = ["place"]\ntitle'),
    "sheet too thick for the rolls": ("[machine]", f"{MATERIAL}[machine]"),
    "too few elements": (OPTIONS, 'element = "2 mm"'),
}
ALSO_MATERIAL = {
    "elastic constant out of range": ("0.33", "0.5"),
    "harder than elastic": ('"900 MPa"', '"90000 MPa"'),
    "yield in two forms": ("poisson", 'yield_tension = "1 MPa"\npoisson'),
    "skins too thick": ("[machine]", "clad.share = 0.3\n[machine]"),
    "ranges overlap": (
        "[machine]",
        f"{RANGES}[machine]",
    ),
    "curve of nothing": ("[machine]", "curve = {}\n[machine]"),
    "curve without bend": ("[machine]", "curve.exponent = 1\n[machine]"),
    "unknown key of a curve": ("[machine]", "curve.exponnent = 12\n[machine]"),
    "bare offset of a curve": (
        "[machine]",
        "curve = {exponent = 12, yield_offset = 150}\n[machine]",
    ),
    "exponent beside points": curve("0.002, 0.004, 0.01", 140, 160, 170, exponent=12),
    "curve in a wrong measure": (
        "[machine]",
        'curve = {exponent = 12, measure = "log"}\n[machine]',
    ),
    "two points of a curve": curve("0.002, 0.004", 140, 160),
    "one strain for a curve": curve("0.01", 140, bare=True),
    "a strain without its stress": curve("0.002, 0.004, 0.01, 0.02", 140, 160, 170),
    "strain of a curve in words": curve('0.002, "much", 0.01', 140, 160, 170),
    "bare stress of a curve": (
        "[machine]",
        'curve = {strain = [0.1, 0.2, 0.3], stress = ["1 MPa", 160, 2]}\n[machine]',
    ),
    "curve that goes back": curve("0.002, 0.004, 0.003", 140, 160, 170),
    "curve that falls": curve("0.002, 0.004, 0.01", 140, 160, 150),
    "curve that steepens": curve("0.002, 0.004, 0.006", 140, 160, 400),
    "curve above the elastic line": curve("0.002, 0.004, 0.01", 250, 260, 270),
}


def spoilt(name):
    """The good case with one fault."""
    bad = BAD[name]
    assert bad.old in GOOD
    text = GOOD.replace(bad.old, bad.new, 1)
    if name in ALSO:
        text = text.replace(*ALSO[name], 1)
    if name in ALSO_MATERIAL:
        text = text.replace(CARD, "").replace("[machine]", f"{MATERIAL}[machine]", 1)
        text = text.replace(*ALSO_MATERIAL[name], 1)
    assert text != GOOD
    return text


def check(error, *parts):
    """One paragraph in our own words that holds the parts; exit code 2."""
    text = str(error)
    assert error.exit_code == 2
    for part in parts:
        assert part in text, f"{part!r} is not in: {text}"
    assert "\n" not in text
    assert text.endswith((".", "?"))
    assert len(text) < 600
    for foreign in ("pydantic", "http", "Input should", "validation error", "Extra"):
        assert foreign not in text


def test_the_case_that_is_spoilt_below_is_good():
    assert len(parse_case(GOOD, path="good.toml").moves) == 5
    assert parse_case(GOOD.replace(MACHINE, INLINE), path="good.toml").machine
    material = GOOD.replace(CARD, "").replace("[machine]", f"{MATERIAL}[machine]")
    assert parse_case(material, path="good.toml").sheet.material.name == "inline"


@pytest.mark.parametrize("name", BAD)
def test_bad_value(name):
    bad = BAD[name]
    with pytest.raises(InputError) as caught:
        parse_case(spoilt(name), path="jobs/bad.toml")
    check(caught.value, "jobs/bad.toml: ", bad.key, bad.value, bad.allowed)


FILES = {
    "not TOML": (b"thickness == 1", "not valid TOML"),
    "unfinished": (b'title = "a\n', "line 1"),
    "key given twice": (b"a = 1\na = 2\n", "not valid TOML"),
    "not UTF-8": (b'title = "\xff\xfe"', "not UTF-8"),
    "zero bytes": (b"\x00\x01\x02", "not valid TOML"),
    "empty": (b"", "sheet: is missing"),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00", "not UTF-8"),
    "nested without end": (b"a = " + b"[" * 100000, "not valid TOML"),
    "a number without end": (b"a = " + b"9" * 6000, "not valid TOML"),
}


@pytest.mark.parametrize("name", FILES)
def test_bad_file(name, tmp_path):
    content, reason = FILES[name]
    path = tmp_path / "job.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_case(path)
    check(caught.value, str(path), reason, "Allowed: ")


def test_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError) as caught:
        load_case(str(tmp_path / "none.toml"))
    check(caught.value, "none.toml", "there is no such file", "Allowed: ")


def test_directory(tmp_path):
    with pytest.raises(InputError) as caught:
        load_case(tmp_path)
    check(caught.value, str(tmp_path), "it is a directory", "Allowed: ")


def test_path_with_a_zero_byte():
    with pytest.raises(InputError) as caught:
        load_case("a\0b.toml")
    check(caught.value, "that is no path")


@pytest.mark.skipif(os.name != "posix", reason="needs a name that is too long")
def test_path_too_long():
    with pytest.raises(InputError) as caught:
        load_case(f"{'a' * 5000}.toml")
    assert "cannot be read" in str(caught.value)


@pytest.mark.parametrize("name", ["strut-farring", "bench-60", "", "strut fairing"])
def test_unknown_shipped_case_names_the_close_ones(name):
    with pytest.raises(InputError) as caught:
        load_case(name)
    check(caught.value, "no case of that name", "strut-fairing", "path of a .toml file")


@pytest.mark.parametrize(
    ("card", "key"), [("material", "sheet.material"), ("use", "machine.use")]
)
def test_card_by_path_that_cannot_be_read(card, key, tmp_path):
    old = CARD if card == "material" else USE
    for target, reason in (("none.toml", "no such file"), ("./", "a directory")):
        text = GOOD.replace(old, f'{card} = "{target}"')
        with pytest.raises(InputError) as caught:
            parse_case(text, path=str(tmp_path / "job.toml"))
        check(caught.value, "job.toml", key, target, reason, "Allowed: ")


@pytest.mark.parametrize("card", ["material", "use"])
def test_fault_in_a_card_names_the_card(card, tmp_path):
    (tmp_path / "mine.toml").write_text('titel = "x"\n', encoding="utf-8")
    old = CARD if card == "material" else USE
    text = GOOD.replace(old, f'{card} = "mine.toml"')
    with pytest.raises(InputError) as caught:
        parse_case(text, path=str(tmp_path / "job.toml"))
    check(caught.value, "mine.toml: titel", "did you mean title?")
    assert "job.toml" not in str(caught.value)


@pytest.mark.parametrize("card", ["material", "use"])
def test_cards_cannot_use_each_other(card, tmp_path):
    (tmp_path / "mine.toml").write_text('use = "mine.toml"\n', encoding="utf-8")
    old = CARD if card == "material" else USE
    text = GOOD.replace(old, f'{card} = "mine.toml"')
    with pytest.raises(InputError) as caught:
        parse_case(text, path=str(tmp_path / "job.toml"))
    assert "cannot use another card" in str(caught.value)


def test_unprintable_and_long_values_are_shown_on_one_short_line():
    text = GOOD.replace(THICK, 'thickness = "1 \\u001b[31m\\n' + "x" * 500 + '"')
    with pytest.raises(InputError) as caught:
        parse_case(text, path="job.toml")
    check(caught.value, "sheet.thickness")
    assert "\x1b" not in str(caught.value)


def test_a_section_law_that_the_sheet_does_not_fit_names_the_file():
    text = GOOD.replace(SECTION, 'section = "closed-form"')
    text = text.replace("5052-H32", "2024-T3-clad")
    with pytest.raises(InputError) as caught:
        parse_case(text, path="job.toml")
    check(caught.value, "job.toml: model.section", '"layered" for a clad sheet')

"""Material cards: the handbook's numbers, a source for each, one rule for all."""

import math
import tomllib

import pytest

from pinchline import library, units
from pinchline.case.metal.material import load_material
from pinchline.errors import InputError

NAMES = library.names("materials")
KSI = 6.894757293168361
INCH = 25.4

# MIL-HDBK-5J sheet tables, ksi: Fty and Fcy, by direction (None: not in the table)
HANDBOOK = [
    ("2024-T3", 0.009, "L", 47, 39, 10.5e3, "S"),
    ("2024-T3", 0.032, "L", 47, 39, 10.5e3, "A"),
    ("2024-T3", 0.032, "LT", 42, 45, 10.5e3, "A"),
    ("2024-T3", 0.200, "LT", 42, 45, 10.5e3, "A"),
    ("6061-T4", 0.032, "LT", 16, 16, 9.9e3, "A"),
    ("6061-T6", 0.032, "L", 36, 35, 9.9e3, "A"),
    ("6061-T6", 0.032, "LT", 35, 36, 9.9e3, "A"),
    ("5052-O", 0.040, "L", 9.5, None, 10.1e3, "S"),
    ("5052-H32", 0.040, "L", 23, 22, 10.1e3, "S"),
    ("5052-H32", 0.040, "LT", 22, 23, 10.1e3, "S"),
    ("7075-T6", 0.063, "L", 70, 69, 10.3e3, "A"),
    ("7075-T6", 0.063, "LT", 68, 73, 10.3e3, "A"),
]
# Table 3.2.3.0(e1), clad 2024-T3, basis A: share per side, Fty, Fcy, secondary modulus
CLAD = [
    (0.032, 0.05, "L", 44, 36, 9.5e3),
    (0.062, 0.05, "LT", 39, 42, 9.5e3),
    (0.063, 0.025, "L", 45, 37, 10.0e3),
    (0.128, 0.025, "LT", 40, 43, 10.0e3),
    (0.200, 0.025, "LT", 40, 43, 10.0e3),
]


def spans():
    """Every direction and a thickness in every range of every shipped card."""
    for name in NAMES:
        for piece in library.load("materials", name)["range"]:
            ends = [units.parse(piece[key], "length") for key in ("from", "to")]
            for direction in ("L", "LT"):
                yield name, direction, 0.5 * sum(ends)


def test_the_shipped_alloys():
    assert set(NAMES) == {
        "1100-O",
        "2024-O",
        "2024-T3",
        "2024-T3-clad",
        "3003-H14",
        "5052-H32",
        "5052-O",
        "6061-T4",
        "6061-T6",
        "7075-T6",
    }


@pytest.mark.parametrize(
    ("name", "inch", "direction", "tension", "compression", "modulus", "basis"),
    HANDBOOK,
)
def test_handbook_strengths(
    name, inch, direction, tension, compression, modulus, basis
):
    card = load_material(name, direction, inch * INCH, "test")
    assert card.yield_tension == pytest.approx(tension * KSI)
    mean = tension if compression is None else 0.5 * (tension + compression)
    if compression is None:
        assert card.yield_compression is None
    else:
        assert card.yield_compression == pytest.approx(compression * KSI)
    assert card.yield_strength == pytest.approx(mean * KSI)
    assert card.youngs_modulus == pytest.approx(modulus * KSI)
    assert card.poisson_ratio == 0.33
    assert card.basis == basis


@pytest.mark.parametrize(
    ("inch", "share", "direction", "tension", "compression", "secondary"), CLAD
)
def test_clad_layers_add_up_to_the_whole_sheet_of_the_handbook(
    inch, share, direction, tension, compression, secondary
):
    card = load_material("2024-T3-clad", direction, inch * INCH, "test")
    bare = load_material("2024-T3", direction, inch * INCH, "test")
    clad = card.clad
    assert clad.share == share
    assert clad.yield_strength == pytest.approx(6.0 * KSI)
    for core, whole in (
        (card.yield_tension, tension),
        (card.yield_compression, compression),
    ):
        total = (1 - 2 * share) * core + 2 * share * clad.yield_strength
        assert total == pytest.approx(whole * KSI, rel=2e-4)
    assert (1 - 2 * share) * card.youngs_modulus == pytest.approx(
        secondary * KSI, rel=0.006
    )
    assert card.yield_strength == pytest.approx(bare.yield_strength, rel=0.03)


def test_the_two_directions_of_2024_t3_bend_about_alike():
    grain = load_material("2024-T3", "L", 0.8, "test").yield_strength
    across = load_material("2024-T3", "LT", 0.8, "test").yield_strength
    assert across / grain == pytest.approx(43.5 / 43.0)


@pytest.mark.parametrize(("name", "direction", "thickness"), list(spans()))
def test_every_number_has_a_source_and_is_plausible(name, direction, thickness):
    card = load_material(name, direction, thickness, "test")
    numbers = {k for k, v in card if isinstance(v, float)}
    if card.clad is not None:
        numbers |= {f"clad.{key}" for key, _ in card.clad}
    assert numbers <= set(card.sources)
    assert all(len(text) > 10 for text in card.sources.values())
    assert card.basis in {"A", "S", "typical"}
    assert 68e3 < card.youngs_modulus < 74e3
    assert 2600 < card.density < 2850
    assert 30 < card.yield_strength < 500
    assert 300 < card.tangent_modulus < 2500
    assert card.minimum_bend_radius is not None
    assert card.allowable_strain == pytest.approx(
        0.5 / (card.minimum_bend_radius + 0.5)
    )


@pytest.mark.parametrize("name", NAMES)
def test_tangent_modulus_is_the_chord_of_the_typical_values(name):
    text = library.fetch("materials", name).text
    table = tomllib.loads(text)
    typical = table["typical"]
    strength = units.parse(typical["tensile_strength"], "stress")
    start = units.parse(typical["yield_strength"], "stress")
    half = 0.5 * typical["elongation"]
    modulus = units.parse(table["youngs_modulus"], "stress")
    chord = (strength * (1 + half) - start) / (math.log1p(half) - start / modulus)
    assert units.parse(table["tangent_modulus"], "stress") == pytest.approx(
        chord, abs=5.5
    )
    assert "assumed" in table["sources"]["tangent_modulus"]
    assert "(Ftu (1 + e/2) - Fty) / (ln(1 + e/2) - Fty/E)" in text


@pytest.mark.parametrize(
    ("name", "inch", "radius"),
    [
        ("2024-T3", 0.016, 3.0),
        ("2024-T3", 0.020, 4.0),
        ("2024-T3", 0.064, 5.0),
        ("5052-H32", 0.032, 0.0),
        ("6061-T6", 0.064, 2.0),
        ("7075-T6", 0.125, 7.0),
    ],
)
def test_bend_radii_are_the_larger_figure_of_the_faa_table(name, inch, radius):
    # FAA AC 43.13-1B, Table 4-6
    card = load_material(name, "L", inch * INCH, "test")
    assert card.minimum_bend_radius == radius
    assert "AC 43.13-1B" in card.sources["minimum_bend_radius"]


def test_a_thickness_between_two_printed_ranges_counts_as_the_thicker():
    assert load_material("2024-T3-clad", "L", 0.0625 * INCH, "test").clad.share == 0.025
    assert load_material("2024-T3-clad", "L", 0.062 * INCH, "test").clad.share == 0.05


@pytest.mark.parametrize("thickness", [0.2, 6.4])
def test_a_thickness_outside_of_the_card_is_refused(thickness):
    with pytest.raises(InputError, match="does not cover this thickness") as caught:
        load_material("2024-T3", "L", thickness, "test")
    assert "0.203 to 0.229 mm" in str(caught.value)


FLAT = {
    "youngs_modulus": "70 GPa",
    "poisson_ratio": 0.33,
    "yield_strength": "200 MPa",
    "tangent_modulus": "700 MPa",
}


def test_an_inline_table_needs_four_numbers():
    card = load_material(FLAT, "LT", 1.0, "case.toml")
    assert (card.name, card.yield_strength, card.tangent_modulus) == (
        "inline",
        200.0,
        700.0,
    )
    assert card.clad is None
    for key in FLAT:
        table = {k: v for k, v in FLAT.items() if k != key}
        with pytest.raises(InputError, match="missing") as caught:
            load_material(table, "LT", 1.0, "case.toml")
        assert f"sheet.material.{key}" in str(caught.value)


def test_the_more_special_value_wins():
    table = {
        **FLAT,
        "LT": {"yield_tension": "210 MPa", "yield_compression": "230 MPa"},
        "range": [
            {"from": "0.5 mm", "to": "1 mm", "tangent_modulus": "600 MPa"},
            {"from": "1 mm", "to": "2 mm", "LT": {"yield_strength": "250 MPa"}},
        ],
    }
    thin = load_material(table, "LT", 0.8, "case.toml")
    assert (thin.yield_strength, thin.tangent_modulus) == (220.0, 600.0)
    assert load_material(table, "L", 0.8, "case.toml").yield_strength == 200.0
    thick = load_material(table, "LT", 1.5, "case.toml")
    assert (thick.yield_strength, thick.yield_tension) == (250.0, None)


def test_an_inline_table_may_change_a_card():
    table = {"use": "5052-H32", "yield_strength": "190 MPa"}
    card = load_material(table, "LT", 1.0, "case.toml")
    plain = load_material("5052-H32", "LT", 1.0, "case.toml")
    assert card.yield_strength == 190.0
    assert card.yield_tension is None
    assert card.sources["yield_strength"] == "given in the case"
    assert "yield_tension" not in card.sources
    assert card.sources["tangent_modulus"] == plain.sources["tangent_modulus"]
    assert card.tangent_modulus == plain.tangent_modulus
    assert "changed" in card.title


def test_an_inline_table_may_start_from_a_clad_card():
    table = {"use": "2024-T3-clad", "clad": {"share": 0.04}}
    card = load_material(table, "L", 0.8, "case.toml")
    assert card.clad.share == 0.04
    assert card.clad.yield_strength == pytest.approx(6.0 * KSI)
    assert card.sources["clad.share"] == "given in the case"


def test_a_card_for_one_direction_is_refused_for_the_other(tmp_path):
    lines = [
        f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}" for k, v in FLAT.items()
    ]
    path = tmp_path / "coil.toml"
    special = ["[L]", 'tangent_modulus = "650 MPa"']
    path.write_text("\n".join([*lines, *special]))
    assert load_material(path, "L", 1.0, "case.toml").tangent_modulus == 650.0
    assert load_material(path, "LT", 1.0, "case.toml").tangent_modulus == 700.0
    path.write_text("\n".join([*lines[:-1], *special]))
    with pytest.raises(InputError, match="no values for this direction") as caught:
        load_material(path, "LT", 1.0, "case.toml")
    assert "case.toml: sheet.direction" in str(caught.value)

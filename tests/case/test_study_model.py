"""A study file: what it varies, where its points lie, what it refuses."""

import numpy as np
import pytest

from pinchline.analysis.sweep.points import points_of
from pinchline.analysis.sweep.worker import check_study
from pinchline.case.case import load_case
from pinchline.case.study.study import parse_study
from pinchline.case.study.values import keys_of
from pinchline.case.variation import changed
from pinchline.errors import InputError

HEAD = 'case = "strut-fairing"\nkeep = ["opening"]\n'


def points(text, head=HEAD, path="study.toml"):
    return points_of(parse_study(head + text, path=path))


def vary(key, **values):
    lines = [f'key = "{key}"', *(f"{k.strip('_')} = {v}" for k, v in values.items())]
    return "[[vary]]\n" + "\n".join(lines) + "\n"


def refused(text, head=HEAD):
    def checked():
        study = parse_study(head + text, path="study.toml")
        check_study(study, points_of(study))

    with pytest.raises(InputError) as caught:
        checked()
    return str(caught.value)


THICKNESS = vary("sheet.thickness", values='["0.8 mm", "1 mm", "0.05 in"]')


def test_a_grid_is_every_combination_the_last_the_fastest():
    lift = vary("move.2.to", from_='"20 mm"', to_='"26 mm"', count="4", name='"lift"')
    found = points(THICKNESS + lift)
    assert (found.dimensions, found.shape) == (("thickness", "lift"), (3, 4))
    assert found.values(1) == {"sheet.thickness": "0.8 mm", "move.2.to": "22.0 mm"}
    last = found.values(11)
    # 0.05 in is 1.27 mm exactly, by definition of the inch
    assert last == {"sheet.thickness": "1.27 mm", "move.2.to": "26.0 mm"}


def test_a_range_by_factors_has_equal_factors_and_its_ends_to_the_digit():
    found = points(
        vary(
            "machine.nip.stiffness",
            from_='"20 N/mm/mm"',
            to_='"2000 N/mm/mm"',
            count="5",
            spacing='"log"',
        )
    )
    values = found.coordinates[0].values
    assert values[0] == 20.0
    assert values[-1] == 2000.0
    # values are kept to twelve digits, so that they read well
    assert np.diff(np.log(values)) == pytest.approx(np.log(100.0) / 4.0, abs=1e-11)


def test_what_is_zipped_runs_side_by_side():
    found = points(
        vary("move.2.to", values='["20 mm", "26 mm"]', zipped='"setting"')
        + vary("move.4.to", values='["12 mm", "16 mm"]', zipped='"setting"')
        + THICKNESS
    )
    assert (found.dimensions, found.shape) == (("setting", "thickness"), (2, 3))
    assert found.values(3)["move.2.to"] == "26.0 mm"
    assert found.values(3)["move.4.to"] == "16.0 mm"


def test_one_value_can_go_to_several_keys():
    found = points(
        vary(
            "machine.rolls.lower_radius",
            values='["25 mm"]',
            also='["machine.rolls.rear_radius"]',
        )
    )
    assert set(found.values(0).values()) == {"25.0 mm"}
    assert len(found.values(0)) == 2


@pytest.mark.parametrize("method", ["latin-hypercube", "sobol"])
def test_a_sample_fills_its_ranges_evenly_and_is_the_same_for_the_same_seed(method):
    """Each of n equal strips of every range holds one point (both methods, n = 16)."""
    text = (
        f'[sample]\nmethod = "{method}"\ncount = 16\nseed = 3\n'
        + vary("move.2.to", from_='"10 mm"', to_='"26 mm"')
        + vary("model.contact", from_="0.1", to_="10.0", spacing='"log"')
    )
    found, again = points(text), points(text)
    assert found.shape == (16,)
    lift, contact = (c.values for c in found.coordinates)
    assert sorted((lift - 10.0).astype(int)) == list(range(16))
    shares = np.log(contact / 0.1) / np.log(100.0)
    assert sorted((16.0 * shares).astype(int)) == list(range(16))
    assert [found.values(i) for i in range(16)] == [again.values(i) for i in range(16)]
    other = points(text.replace("seed = 3", "seed = 4"))
    assert other.values(0) != found.values(0)


def test_points_come_from_a_table(tmp_path):
    table = "sheet.thickness [in],sheet.material,model.weight\n0.032,3003-H14,true\n\n"
    (tmp_path / "points.csv").write_text(table + "0.04,5052-H32,false\n")
    text = '[sample]\nmethod = "table"\nfile = "points.csv"\n'
    found = points(text, path=str(tmp_path / "study.toml"))
    assert found.count == 2
    assert found.values(0) == {
        "sheet.thickness": "0.032 in",
        "sheet.material": "3003-H14",
        "model.weight": True,
    }


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("sheet.thicknes [mm]\n1\n", "did you mean sheet.thickness?"),
        ("sheet.thickness\n1\n", "has no unit"),
        ("sheet.thickness [N]\n1\n", "N is the unit of a force"),
        ("sheet.thickness [mm]\n1\nx\n", "row 3"),
        ("sheet.thickness [mm],model.contact\n1\n", "row 2 has 1 cells"),
        ("sheet.thickness [mm]\n", "no points"),
        ("model.weight\nperhaps\n", "true or false"),
    ],
)
def test_a_bad_table_is_told_by_row_and_column(tmp_path, table, words):
    (tmp_path / "points.csv").write_text(table)
    text = '[sample]\nmethod = "table"\nfile = "points.csv"\n'
    with pytest.raises(InputError) as caught:
        points(text, path=str(tmp_path / "study.toml"))
    assert words in str(caught.value)
    assert "points.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (vary("sheet.thicknes", values='["1 mm"]'), "did you mean sheet.thickness?"),
        (vary("move.9.to", values='["1 mm"]'), "did you mean move."),
        (vary("sheet.thickness", values="[1.0]"), "a bare number has no unit"),
        (vary("sheet.thickness", values='["1 N"]'), "N is the unit of a force"),
        (vary("sheet.thickness", values="[]"), "is not a list of values"),
        (vary("sheet.thickness", from_='"1 mm"'), "neither values nor a range"),
        (vary("sheet.thickness", from_='"1 mm"', to_='"2 mm"'), "count: is missing"),
        (vary("sheet.material", from_='"a"', to_='"b"', count="2"), "has no range"),
        (vary("sheet.material", values="[1]"), "is not a word"),
        (vary("sheet.material", values='["5052-H33"]'), "did you mean 5052-H32"),
        (vary("model.layers", values="[20.5]"), "is not a whole number"),
        (vary("model.weight", values='["yes"]'), "is not a switch"),
        (
            vary("model.contact", from_="0.0", to_="1.0", count="3", spacing='"log"'),
            "needs both ends above zero",
        ),
        (THICKNESS + THICKNESS, "is used already"),
        (THICKNESS + vary("sheet.length", values='["1 m"]', name='"done"'), "already"),
        (vary("sheet.thickness", values='["90 mm"]'), "where thickness is 90.0 mm"),
        (THICKNESS + '[set]\n"sheet.widht" = "1 m"\n', "did you mean sheet.width?"),
        (THICKNESS + '[sample]\nmethod = "sobol"\ncount = 12\n', "power of two"),
        (THICKNESS + "[sample]\ncount = 12\n", 'method = "latin-hypercube"'),
        (THICKNESS + "colour = 1\n", "unknown key"),
        ("", "vary: is missing"),
        (
            vary("move.2.to", values='["1 mm"]', zipped='"a"')
            + vary("move.4.to", values='["1 mm", "2 mm"]', zipped='"a"'),
            "differs in length",
        ),
    ],
)
def test_a_bad_study_is_told_by_its_key(text, words):
    said = refused(text)
    assert words in said
    assert "study.toml" in said


def test_unknown_results_and_lift_without_a_pass_are_refused():
    head = 'case = "strut-fairing"\nkeep = ["openning"]\n'
    assert "did you mean opening?" in refused(THICKNESS, head)
    assert "did you mean" in refused(
        THICKNESS, HEAD.replace("opening", "solver_seconds")
    )
    span = 'case = "strut-fairing"\nsolver = "span"\nkeep = ["radius"]\n'
    assert "pass.lift: is missing" in refused(THICKNESS, span)


def test_a_value_below_a_card_is_an_override_of_it():
    table = {"sheet": {"material": "5052-H32"}, "machine": {"use": "bench-60"}}
    found = changed(
        table,
        {
            "sheet.material.yield_strength": "150 MPa",
            "sheet.material": "3003-H14",
            "machine.rear.distance": "70 mm",
        },
    )
    card = {"use": "3003-H14", "yield_strength": "150 MPa"}
    assert found["sheet"]["material"] == card
    assert found["machine"] == {"use": "bench-60", "rear": {"distance": "70 mm"}}
    assert table["sheet"]["material"] == "5052-H32"


def test_every_value_of_a_case_can_be_varied():
    """The keys of README's example and of the shipped machine are among them."""
    import tomllib

    from pinchline import library

    def leaves(table, place=""):
        for key, value in table.items():
            if isinstance(value, dict):
                yield from leaves(value, f"{place}{key}.")
            elif not isinstance(value, list):
                yield f"{place}{key}"

    case = tomllib.loads(load_case("strut-fairing").text)
    machine = {f"machine.{key}" for key in leaves(library.load("machines", "bench-60"))}
    moves = {
        f"move.{number}.{key}"
        for number, move in enumerate(case.pop("move"), 1)
        for key in leaves(move)
        if key != "kind"
    }
    wanted = (machine | moves | set(leaves(case))) - {"title", "machine.title"}
    case = tomllib.loads(load_case("strut-fairing").text)
    assert wanted <= set(keys_of(case))

"""The Python interface: cases without a file, what a result gives, every example."""

import doctest
import sys

import matplotlib.pyplot as plt
import numpy as np
import pint
import pytest

import pinchline as pl

PUBLIC = [name for name in pl.__all__ if name != "__version__"]
SHEET = {
    "material": "5052-H32",
    "direction": "LT",
    "thickness": "1.0 mm",
    "length": "260 mm",
    "width": "400 mm",
}
MOVES = [
    pl.Place("130 mm"),
    pl.Lift("26 mm"),
    pl.Feed("rear", leave="18 mm"),
    pl.Lower("16.2 mm"),
    pl.Feed("operator", leave="18 mm"),
    pl.Lower(),
    pl.Release(),
]


def written(sheet=None, **changes):
    """The strut fairing, written in Python."""
    parts = {"machine": "bench-60", "moves": MOVES}
    title = "Strut fairing, nose skin (invented example)"
    sheet = pl.Sheet(**(SHEET | (sheet or {})))
    return pl.Case(**({"title": title, "sheet": sheet} | parts | changes))


@pytest.mark.parametrize("name", PUBLIC)
def test_every_public_name_has_an_example(name, tmp_path, monkeypatch, result):
    monkeypatch.chdir(tmp_path)
    if name != "run":  # one run is shared by the examples that need a result
        monkeypatch.setitem(vars(pl), "run", lambda _: result)
    item = getattr(pl, name)
    found = doctest.DocTestFinder(recurse=False).find(item, name, globs={})
    assert any(test.examples for test in found), f"{name} has no example"
    if not isinstance(item, type):
        for section in ("Parameters", "Returns", "Raises"):
            assert f"{section}\n" in item.__doc__, f"{name}: no {section}"
    runner = doctest.DocTestRunner()
    for test in found:
        runner.run(test)
    assert runner.summarize(verbose=False).failed == 0


def test_a_case_in_python_is_the_case_of_the_file():
    case, read = written(), pl.load_case("strut-fairing")
    assert case == read
    assert written({"thickness": "1.2 mm"}) != read
    bench = pint.UnitRegistry()
    assert written({"length": bench.Quantity(26.0, "cm")}) == read


def test_its_text_loads_to_an_equal_case(tmp_path):
    length = pint.UnitRegistry().Quantity(0.8, "mm")
    path = tmp_path / "case.toml"
    for case in (written(), written().replace({"sheet.thickness": length})):
        path.write_text(case.to_toml(), encoding="utf-8")
        assert pl.load_case(path) == pl.load_case(str(path)) == case


def test_parts_of_another_case_keep_what_they_hold():
    weak = written().replace({"sheet.material.yield_strength": "120 MPa"})
    taken = {key: getattr(weak, key) for key in ("sheet", "machine", "moves")}
    assert pl.Case(title=weak.title, **taken) == weak
    own = written().replace({"sheet.material": weak.sheet.material})
    metal = pl.Case(
        title="of a record", **(taken | {"sheet": own.sheet})
    ).sheet.material
    assert metal.yield_strength == 120.0
    assert metal.sources == own.sheet.material.sources


def test_its_result_is_the_same_to_the_last_bit():
    mine, of_file = pl.run(written()), pl.run(pl.load_case("strut-fairing"))
    assert mine.case_text == written().to_toml()
    for group in ("sheet", "steps", "frames"):
        for name, values in getattr(of_file, group).items():
            np.testing.assert_array_equal(getattr(mine, group)[name], values, name)


@pytest.mark.parametrize(
    ("make", "old", "new"),
    [
        (lambda: written({"thickness": "1 mmm"}), '"1.0 mm"', '"1 mmm"'),
        (lambda: written({"material": "5052-H23"}), '"5052-H32"', '"5052-H23"'),
        (lambda: written(machine="bench-6"), '"bench-60"', '"bench-6"'),
    ],
)
def test_a_mistake_is_told_as_in_a_file(make, old, new, tmp_path):
    path = tmp_path / "case.toml"
    text = pl.load_case("strut-fairing").text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(pl.InputError) as of_file:
        pl.load_case(path)
    with pytest.raises(pl.InputError) as of_python:
        make()
    for part in ("key", "value", "message", "allowed"):
        assert getattr(of_python.value, part) == getattr(of_file.value, part)


@pytest.mark.parametrize("group", ["sheet", "steps", "frames", "summary", "inputs"])
def test_a_dataset_says_what_it_holds(result, group):
    data = result.dataset(group)
    for name, values in getattr(result, group).items():
        np.testing.assert_array_equal(data[name], values)
        assert data[name].attrs["units"]
        assert data[name].attrs["long_name"]
    if group == "sheet":
        assert data["curvature_residual"].dims == ("element",)
        assert data["x"].dims == ("node",)
        assert "s" in data.coords


def test_a_dataset_that_cannot_be_given_is_refused(result, monkeypatch):
    with pytest.raises(pl.InputError, match="did you mean sheet"):
        result.dataset("sheets")
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(pl.InputError, match="xarray, which is not installed"):
        result.dataset("sheet")


def test_a_result_draws_itself(result):
    figure, axes = result.plot("free-part")
    assert axes.figure is figure
    plt.close(figure)
    with pytest.raises(pl.InputError, match="did you mean free-part"):
        result.plot("free-parts")

"""The command `scatter`: what it prints and writes, and how it refuses."""

import csv
import re

import h5py
import numpy as np
import pytest
from matplotlib.text import Text
from typer.testing import CliRunner

import pinchline as pl
from pinchline import cli
from pinchline.analysis.scatter.scatter import scatter as solve
from pinchline.case.case import load_case
from pinchline.reports.questions.scatter import (
    scatter_picture,
    scatter_table,
    scatter_words,
)

CASE = """\
title = "Strip (invented)"
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "120 mm"
width = "400 mm"
[machine]
use = "bench-60"
[model]
element = "0.5 mm"
[[move]]
kind = "place"
at = "3 mm"
[[move]]
kind = "lift"
to = "14 mm"
[[move]]
kind = "feed"
toward = "operator"
by = "100 mm"
[[move]]
kind = "lower"
[[move]]
kind = "release"
[scatter]
thickness = {tolerance = "0.03 mm"}
yield_strength = {sd = "5 %"}
tangent_modulus = {sd = "0 %"}
youngs_modulus = {sd = "0 %"}
clamp = {sd = "0 %"}
friction = {sd = 0.01}
touch = {sd = "0 mm"}
lift = {tolerance = "0.1 mm"}
"""
SMALL = ("--points", "32", "--checks", "0")


def ask(*words):
    return CliRunner().invoke(cli.app, ["scatter", *map(str, words)])


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    path = tmp_path_factory.mktemp("scatter") / "strip.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def said(case):
    words = ask(case, *SMALL, "-o", case.with_suffix(".csv"), "--pictures", case.parent)
    assert words.exit_code == 0, words.output
    return words


@pytest.fixture(scope="module")
def found(case):
    return solve(load_case(case), points=32, checks=0)


def test_it_says_what_scatters_what_comes_of_it_and_what_to_measure(said):
    for word in (
        "within 0.03 mm",
        "given in the case",
        "Of 192 parts nine in ten",
        "What to measure first",
        "of the spread",
        "The stepped solver was not asked",
    ):
        assert word in said.stdout
    assert all(len(line) <= 90 for line in said.stdout.splitlines())


def test_the_table_holds_every_part_and_what_it_says(said, case, found):
    lines = case.with_suffix(".csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    text = rows[0].index("limit [1]")
    limits = [row.pop(text) for row in rows[1:]]
    head = [name for name in rows[0] if name != "limit [1]"]
    data = np.array(rows[1:], dtype=float)
    assert limits == [limit or "" for limit in found.limits]
    assert data.shape[0] == found.quick.shape[0] == 32 * 6
    column = next(name for name in head if name.startswith("opening"))
    opening = data[:, head.index(column)]
    assert opening == pytest.approx(found.quick[:, 0], rel=1e-6)
    about = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# "))
    made = opening[found.made]
    assert float(about["opening_95_percent"]) == pytest.approx(np.quantile(made, 0.95))


def test_the_table_goes_to_hdf5_as_well(case):
    path = case.with_suffix(".h5")
    words = ask(case, *SMALL, "-o", path)
    assert words.exit_code == 0, words.output
    with h5py.File(path) as file:
        names: list[str] = []
        file.visit(names.append)
        assert any(name.endswith("input_thickness") for name in names)


def test_the_same_seed_says_the_same(said, case):
    assert ask(case, *SMALL).stdout in said.stdout


def test_inches_are_inches_everywhere(found):
    words = scatter_words(found, "Strip", "inch")
    assert not re.search(r"\d mm\b", words)
    assert "0.0012 in" in words
    fig = scatter_picture(found, "Strip", "inch")
    drawn = " ".join(text.get_text() for text in fig.findobj(Text))
    assert "mm" not in drawn
    assert "opening, in" in drawn


def test_a_tolerance_counts_the_good_ones(case):
    words = ask(case, *SMALL, "--tolerance", "0.02 in")
    assert re.search(r"Within tolerance are \d+ % of the jobs", words.stdout)


def test_every_column_has_a_unit_and_words(found):
    table = scatter_table(found, "Strip")
    assert all(column.units and column.long_name for column in table.columns)


def test_python_asks_the_same(case, found):
    again = pl.scatter(pl.load_case(case), points=32, checks=0)
    assert np.array_equal(again.quick, found.quick)


@pytest.mark.parametrize(
    ("words", "key"),
    [
        (("--points", "100"), "--points"),
        (("--checks", "-1"), "--checks"),
        (("--seed", "-1"), "--seed"),
        (("--tolerance", "2"), "--tolerance"),
        (("--tolerance", "0 mm"), "--tolerance"),
        (("-o", "table.xyz"), "xyz"),
    ],
)
def test_wrong_options_are_named(case, words, key):
    refused = ask(case, *words)
    assert refused.exit_code == 2
    assert key in refused.stderr
    assert "Traceback" not in refused.output


def test_a_wanted_part_without_moves_is_sent_to_plan():
    refused = ask("strut-nose")
    assert refused.exit_code == 2
    assert "move" in refused.stderr


def test_a_job_that_stops_is_told(case, tmp_path):
    stuck = tmp_path / "stuck.toml"
    stuck.write_text(CASE.replace('by = "100 mm"', 'by = "300 mm"'), encoding="utf-8")
    refused = ask(stuck, *SMALL)
    assert refused.exit_code in (2, 3)
    assert "stopped" in refused.stderr

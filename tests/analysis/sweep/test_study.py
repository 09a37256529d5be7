"""`pinchline study` and `plot` of a study: its file, its tables, its pictures."""

import csv
import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
import xarray
from typer.testing import CliRunner

import pinchline as pl
from pinchline import cli, library
from pinchline.analysis.sweep import study, worker
from pinchline.analysis.sweep.points import points_of
from pinchline.case.study.study import load_study
from pinchline.errors import SolverError
from pinchline.reports.studies.study_pictures import draw_study

RUNNER = CliRunner()
STUDIES = Path(__file__).parents[3] / "cases" / "studies"
MOODY = "no balance at step 7"
CASE = """title = "Small job (invented)"
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "110 mm"
width = "300 mm"
[machine]
use = "bench-50"
[model]
element = "2 mm"
steps_per_element = 1
[[move]]
kind = "place"
at = "90 mm"
[[move]]
kind = "lift"
to = "20 mm"
[[move]]
kind = "feed"
toward = "rear"
by = "60 mm"
"""
STUDY = """title = "Small study (invented)"
case = "job.toml"
keep = ["opening", "force_rear_max"]
[[vary]]
key = "move.2.to"
name = "lift"
values = ["14 mm", "60 mm"]        # the second is beyond jam
[[vary]]
key = "sheet.material"
values = ["5052-H32", "3003-H14"]
[[vary]]
key = "machine.rear.slide_angle"
values = ["80 deg"]
"""


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A folder with a small study, done."""
    folder = tmp_path_factory.mktemp("small")
    (folder / "job.toml").write_text(CASE, encoding="utf-8")
    (folder / "small.toml").write_text(STUDY, encoding="utf-8")
    done = RUNNER.invoke(
        cli.app,
        [
            *("study", str(folder / "small.toml"), "-o", str(folder / "small.h5")),
            *("--csv", str(folder / "small.csv"), "--workers", "1"),
            *("--pictures", str(folder / "pictures")),
        ],
    )
    assert done.exit_code == 0, done.stderr
    return folder, done


def test_a_point_of_a_study_is_the_run_of_its_case(small):
    """The same numbers as `run` of a case with these values: to the last bit."""
    folder, _ = small
    found = pl.read_study(folder / "small.h5")
    case = pl.load_case(folder / "job.toml")
    alone = pl.run(case.replace({"move.2.to": "14 mm", "sheet.material": "3003-H14"}))
    assert found["opening"][0, 1, 0] == alone.summary["opening"]
    assert found["force_rear_max"][0, 1, 0] == alone.summary["force_rear_max"]


def test_a_stopped_job_is_a_row_with_its_event(small):
    folder, done = small
    found = pl.read_study(folder / "small.h5")
    assert (found.event[0] == "").all()
    assert (found.event[1] == "jam").all()
    assert "the rear roll presses the sheet" in found.message[1, 0, 0]
    assert np.isfinite(found["opening"]).all()  # of the job as far as it went
    assert "2 jam" in done.stdout


def test_the_file_opens_with_named_dimensions_and_units(small):
    folder, _ = small
    with xarray.open_dataset(folder / "small.h5", engine="h5netcdf") as data:
        assert dict(data.sizes) == {"lift": 2, "material": 2, "slide_angle": 1}
        assert data.lift.attrs["units"] == "mm"
        assert data.slide_angle.attrs["units"] == "deg"  # as the study writes it
        assert data.opening.attrs["units"] == "mm"
        one = data.sel(lift=14.0, material="3003-H14")
        assert one.opening.size == 1
        assert data.event.values[1, 0, 0] == "jam"
        assert data.attrs["study"] == STUDY
        assert data.attrs["case"] == CASE


def test_the_words_say_what_was_varied_and_what_came_of_it(small):
    _, done = small
    assert "Small study (invented)" in done.stdout
    assert "4 points" in done.stdout
    assert "lift (move.2.to): 14, 60 mm" in done.stdout
    assert "material (sheet.material): 5052-H32, 3003-H14" in done.stdout
    assert "opening" in done.stdout
    assert "The study is in" in done.stderr
    assert "The study is in" not in done.stdout


def test_the_csv_has_a_row_for_every_point(small):
    folder, _ = small
    lines = (folder / "small.csv").read_text(encoding="utf-8").splitlines()
    header, *rows = csv.reader([x for x in lines if not x.startswith("#")])
    assert header[:4] == [
        "lift [mm]",
        "material [1]",
        "slide_angle [deg]",
        "opening [mm]",
    ]
    assert [row[:2] for row in rows] == [
        ["14.0", "5052-H32"],
        ["14.0", "3003-H14"],
        ["60.0", "5052-H32"],
        ["60.0", "3003-H14"],
    ]
    assert rows[3][5] == "jam"


def test_parquet_carries_units(small, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    folder, _ = small
    file = tmp_path / "small.parquet"
    words = ["study", str(folder / "small.toml"), "-o", str(folder / "small.h5")]
    done = RUNNER.invoke(cli.app, [*words, "--resume", "--parquet", str(file)])
    assert done.exit_code == 0, done.stderr
    table = parquet.read_table(file)
    assert table.num_rows == 4
    assert table.schema.field("opening").metadata[b"units"] == b"mm"
    assert table["event"].to_pylist() == ["", "", "jam", "jam"]


def test_without_pyarrow_parquet_is_refused_before_the_study(small, monkeypatch):
    folder, _ = small
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    words = ["study", str(folder / "small.toml"), "-o", str(folder / "none.h5")]
    done = RUNNER.invoke(cli.app, [*words, "--parquet", str(folder / "x.parquet")])
    assert done.exit_code == 2
    assert "pyarrow" in done.stderr
    assert not (folder / "none.h5").exists()


def test_pictures_show_a_result_over_one_value_or_two(small, tmp_path):
    folder, _ = small
    assert (folder / "pictures" / "opening.png").is_file()
    file = str(folder / "small.h5")
    for words in (
        ["--show", "opening", "--over", "lift"],
        ["--show", "opening", "--over", "lift", "--over", "material"],
        ["--show", "opening", "--over", "lift", "--lines", "material"],
        ["--format", "svg"],
    ):
        drawn = RUNNER.invoke(cli.app, ["plot", file, "-o", str(tmp_path), *words])
        assert drawn.exit_code == 0, drawn.stderr
        assert "opening." in drawn.stdout
    said = RUNNER.invoke(cli.app, ["plot", file, "-o", str(tmp_path), "--over", "lif"])
    assert said.exit_code == 2
    assert "did you mean lift?" in said.stderr


def test_a_solver_that_fails_is_a_row_not_the_end(small, tmp_path, monkeypatch):
    folder, _ = small
    run = worker.run_case

    def moody(case):
        if case.sheet.material.name == "3003-H14":
            raise SolverError(MOODY)
        return run(case)

    monkeypatch.setattr(worker, "run_case", moody)  # forked with the workers
    found = pl.study(folder / "small.toml", tmp_path / "moody.h5", workers=1)
    assert found.done.all()
    assert (found.event[:, 1] == "no equilibrium").all()
    assert (found.message[:, 1] == MOODY).all()
    assert np.isnan(found["opening"][:, 1]).all()
    assert np.isfinite(found["opening"][:, 0]).all()


def test_a_sample_keeps_its_points_along_one_dimension(tmp_path):
    (tmp_path / "job.toml").write_text(CASE, encoding="utf-8")
    (tmp_path / "fill.toml").write_text(
        'case = "job.toml"\nsolver = "span"\nkeep = ["radius"]\n'
        '[set]\n"pass.toward" = "rear"\n[sample]\nmethod = "sobol"\ncount = 4\n'
        '[[vary]]\nkey = "pass.lift"\nfrom = "14 mm"\nto = "22 mm"\n'
        '[[vary]]\nkey = "sheet.material"\nvalues = ["5052-H32", "3003-H14"]\n'
        '[[picture]]\nname = "radius"\n'
        '[[picture.panel]]\nshow = "radius"\nover = "lift"\n'
        '[[picture.panel]]\nshow = "radius"\nover = ["lift", "material"]\n',
        encoding="utf-8",
    )
    words = ["study", str(tmp_path / "fill.toml"), "-o", str(tmp_path / "fill.h5")]
    done = RUNNER.invoke(
        cli.app, [*words, "--workers", "1", "--pictures", str(tmp_path / "p")]
    )
    assert done.exit_code == 0, done.stderr
    assert (tmp_path / "p" / "radius.png").is_file()
    with xarray.open_dataset(tmp_path / "fill.h5", engine="h5netcdf") as data:
        assert dict(data.sizes) == {"point": 4}
        assert set(data.coords) == {"point", "lift", "material"}
        # more lift, less radius: each of the two materials by itself
        for _, held in data.groupby("material"):
            assert (np.diff(held.sortby("lift").radius) < 0.0).all()


def test_a_study_may_not_write_over_what_it_is_made_of(small, tmp_path):
    folder, _ = small
    for name in ("small.toml", "job.toml"):
        words = ["study", str(folder / "small.toml"), "-o", str(folder / name)]
        done = RUNNER.invoke(cli.app, [*words, "--anew"])
        assert done.exit_code == 2
        assert "would overwrite" in done.stderr
    assert (folder / "job.toml").read_text(encoding="utf-8") == CASE


def test_only_a_study_has_results_to_choose_from(small, tmp_path):
    folder, _ = small
    said = RUNNER.invoke(cli.app, ["plot", str(folder / "job.toml"), "--over", "lift"])
    assert said.exit_code == 2


@pytest.mark.parametrize("name", library.names("studies"))
def test_a_shipped_study_can_be_done_and_drawn(name, tmp_path):
    """Its values suit its case; its pictures ask for what it has, also while empty."""
    wanted = load_study(name)
    points = points_of(wanted)
    worker.check_study(wanted, points)
    with study._file(
        wanted, points, "", tmp_path / "empty.h5", resume=False, anew=False
    ):
        pass
    empty = pl.read_study(tmp_path / "empty.h5")
    assert not empty.done.any()
    assert wanted.pictures
    assert draw_study(empty, tmp_path)


def test_every_number_in_a_finding_has_its_formula():
    """`findings.py` writes exactly the marked numbers; each page has its picture."""
    spec = importlib.util.spec_from_file_location("findings", STUDIES / "findings.py")
    findings = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(findings)
    assert sorted(findings.FINDINGS) == library.names("studies")
    for name, numbers in findings.FINDINGS.items():
        page = (STUDIES / f"{name}.md").read_text(encoding="utf-8")
        marked = [match[2] for match in findings.MARK.finditer(page)]
        assert sorted(marked) == sorted(numbers)
        assert (STUDIES.parent / "pictures" / f"{name}.png").is_file()
        assert f"pictures/{name}.png" in page

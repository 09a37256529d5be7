"""The commands that answer a question of a case: text, tables, pictures, refusals."""

import csv

import numpy as np
import pytest
import xarray
from typer.testing import CliRunner

from pinchline import cli

RUNNER = CliRunner()
CASE = """title = "Small job (invented)"
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "150 mm"
width = "300 mm"
[machine]
use = "bench-50"
[model]
element = "1 mm"
steps_per_element = 1
[[move]]
kind = "place"
at = "120 mm"
[[move]]
kind = "lift"
to = "20 mm"
[[move]]
kind = "feed"
toward = "rear"
by = "90 mm"
"""


@pytest.fixture
def job(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "job.toml"
    path.write_text(CASE, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("command", "first", "rows"),
    [(["limits"], "lift", 28), (["across", "--stations", "2"], "z", 2)],
)
def test_a_table_is_written_as_csv_and_hdf5_with_units(job, command, first, rows):
    said = RUNNER.invoke(cli.app, [*command, str(job), "-o", "table.csv"])
    assert said.exit_code == 0, said.output
    assert "Small job (invented)" in said.output
    lines = (job.parent / "table.csv").read_text(encoding="utf-8").splitlines()
    body = list(csv.reader(line for line in lines if not line.startswith("#")))
    assert body[0][0] == f"{first} [mm]"
    assert len(body) - 1 >= rows
    again = RUNNER.invoke(cli.app, [*command, str(job), "-o", "table.h5"])
    assert again.exit_code == 0, again.output
    with xarray.open_dataset(job.parent / "table.h5", engine="h5netcdf") as table:
        assert table[first].attrs["units"] == "mm"
        found = table[first].to_numpy()
        assert np.allclose(found, [float(row[0]) for row in body[1:]], rtol=1e-12)


@pytest.mark.parametrize("command", ["limits", "across"])
def test_a_picture_is_drawn_into_a_folder_that_is_made(job, command):
    said = RUNNER.invoke(cli.app, [command, str(job), "--pictures", "new/folder"])
    assert said.exit_code == 0, said.output
    picture = job.parent / "new" / "folder" / f"{command}.png"
    assert picture.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("options", "part"),
    [
        (["limits", "-o", "table.txt"], ".h5, .csv or .parquet"),
        (["limits", "-o", "missing/table.csv"], "cannot be written"),
        (["across", "-o", "job.toml"], "overwrite the case"),
        (["across", "--stations", "99"], "2 to 25"),
    ],
)
def test_what_cannot_be_written_or_asked_ends_with_code_2(job, options, part):
    said = RUNNER.invoke(cli.app, [options[0], str(job), *options[1:]])
    assert said.exit_code == 2
    assert part in " ".join(said.output.split())
    assert job.read_text(encoding="utf-8") == CASE

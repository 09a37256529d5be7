"""Result files: what goes in comes out, whole or not at all, and others can read it."""

import json
import math
from dataclasses import replace

import h5py
import numpy as np
import pytest
import xarray

from pinchline.errors import InputError
from pinchline.results import schema, writer
from pinchline.results.reader import read_result
from pinchline.results.writer import check_writable, write_result

ARRAYS = ("sheet", "steps", "frames")
SCALARS = ("inputs", "summary")


def assert_same(a, b):
    for name in ("title", "case_text", "case_path", "versions", "labels"):
        assert getattr(a, name) == getattr(b, name)
    for group in ARRAYS:
        left, right = getattr(a, group), getattr(b, group)
        assert left.keys() == right.keys()
        for name in left:
            np.testing.assert_array_equal(left[name], right[name], err_msg=name)
    for group in SCALARS:
        left, right = getattr(a, group), getattr(b, group)
        assert left.keys() == right.keys()
        names = sorted(left)
        np.testing.assert_array_equal(
            [left[name] for name in names], [right[name] for name in names]
        )
    assert [str(e) for e in a.events] == [str(e) for e in b.events]


@pytest.mark.parametrize("which", ["result", "flat_result", "stopped_result"])
def test_round_trip_with_nan_and_events(which, request, tmp_path):
    result = request.getfixturevalue(which)
    path = tmp_path / "run.h5"
    assert write_result(result, path) == path
    back = read_result(path)
    assert_same(result, back)
    assert back.stopped is (which == "stopped_result")
    assert back.sheet["moment_peak_move"].dtype == np.int32
    assert back.frames["x"].dtype == np.float64
    assert list(tmp_path.iterdir()) == [path]


def test_a_job_without_steps_round_trips(result, tmp_path):
    none = {name: values[:0] for name, values in result.steps.items()}
    frames = {name: values[:0] for name, values in result.frames.items()}
    short = replace(result, steps=none, frames=frames)
    assert_same(short, read_result(write_result(short, tmp_path / "run.h5")))


def test_text_survives_or_is_made_to(result, tmp_path):
    text = "# °µ∞\r\n" + "x" * 100_000
    odd = replace(result, case_text=text, title="a\0b", case_path="caf\udce9.toml")
    back = read_result(write_result(odd, tmp_path / "run.h5"))
    assert back.case_text == text
    assert back.title == "a\ufffdb"
    assert back.case_path == "caf?.toml"


def test_every_dataset_says_what_it_is(result, tmp_path):
    with h5py.File(write_result(result, tmp_path / "run.h5")) as file:
        assert file.attrs["schema"] == "pinchline-run"
        assert file.attrs["schema_version"] == 2
        assert json.loads(file.attrs["labels"]) == result.labels
        for field in schema.RESULT_DATASETS:
            dataset = file[field.group][field.name]
            assert dataset.attrs["units"] == field.units
            assert dataset.attrs["long_name"] == field.long_name
            assert [dim[0].name.rsplit("/")[-1] for dim in dataset.dims] == list(
                field.dims
            )
        frames = file["frames/x"]
        assert (frames.dtype, frames.compression, frames.shuffle) == (
            "f4",
            "gzip",
            True,
        )
        assert file["summary/opening"].shape == ()


def test_names_are_unique_and_documented():
    keys = [(f.group, f.name) for f in schema.RESULT_DATASETS]
    assert len(keys) == len(set(keys))
    assert all(f.units and f.long_name for f in schema.RESULT_DATASETS)
    assert {d for f in schema.RESULT_DATASETS for d in f.dims} == set(schema.DIMENSIONS)


@pytest.mark.parametrize(
    ("group", "sizes"),
    [
        ("sheet", {"element": 520, "node": 521}),
        ("steps", {"step": 722}),
        ("frames", {"frame": 35, "node": 521, "roll": 3}),
        ("events", {"event": 2}),
        ("summary", {}),
        ("inputs", {}),
    ],
)
def test_xarray_opens_every_group(result, tmp_path, group, sizes):
    path = write_result(result, tmp_path / "run.h5")
    with xarray.open_dataset(path, engine="h5netcdf", group=group) as data:
        assert dict(data.sizes) == sizes
        for field in schema.fields_of(group):
            assert data[field.name].dims == field.dims
            assert data[field.name].attrs["units"] == field.units
        if group == "sheet":
            assert data["curvature_residual"].coords["s"].dims == ("element",)
            assert data["x"].coords["s_node"].dims == ("node",)
        if group == "frames":
            assert list(data["roll"].values) == ["upper", "lower", "rear"]
        if group == "events":
            assert data["level"].values.tolist() == ["notice", "notice"]


def test_xarray_opens_a_file_without_events(flat_result, tmp_path):
    path = write_result(flat_result, tmp_path / "run.h5")
    with xarray.open_dataset(path, engine="h5netcdf", group="events") as data:
        assert data.sizes["event"] == 0


class DiskFullError(OSError):
    def __init__(self):
        super().__init__(28, "No space left on device")


def test_a_failed_write_leaves_what_was_there(result, tmp_path, monkeypatch):
    path = tmp_path / "run.h5"
    path.write_bytes(b"precious")

    def full(_):
        raise DiskFullError

    monkeypatch.setattr(writer.os, "fsync", full)
    with pytest.raises(InputError, match=r"run\.h5.*No space left"):
        write_result(result, path)
    assert path.read_bytes() == b"precious"
    assert list(tmp_path.iterdir()) == [path]


def test_an_interrupted_write_leaves_what_was_there(result, tmp_path, monkeypatch):
    path = tmp_path / "run.h5"
    path.write_bytes(b"precious")

    def interrupted(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(writer.os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_result(result, path)
    assert path.read_bytes() == b"precious"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_is_there_is_replaced_and_a_link_followed(result, tmp_path):
    path, link = tmp_path / "run.h5", tmp_path / "latest.h5"
    path.write_bytes(b"old")
    link.symlink_to(path)
    write_result(result, link)
    assert link.is_symlink()
    assert read_result(path).title == result.title


@pytest.mark.parametrize(
    "name", ["missing/run.h5", "run.toml/run.h5", ".", "a\0b.h5", "n" * 300 + ".h5"]
)
def test_output_that_cannot_be_written(result, tmp_path, name):
    (tmp_path / "run.toml").write_text("a file")
    for attempt in (check_writable, lambda path: write_result(result, path)):
        with pytest.raises(InputError, match="cannot be written") as caught:
            attempt(f"{tmp_path}/{name}")
        assert caught.value.exit_code == 2
        assert "Allowed: a file name in a folder that exists" in str(caught.value)
    assert [p.name for p in tmp_path.iterdir()] == ["run.toml"]


def test_a_device_is_no_output():
    with pytest.raises(InputError, match="not an ordinary file"):
        check_writable("/dev/null")


def test_the_check_leaves_no_trace(tmp_path):
    check_writable(tmp_path / "run.h5")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda r: r.sheet.pop("x"), r"/sheet: missing \['x'\]"),
        (lambda r: r.summary.update(mass=1.0), r"not in the schema \['mass'\]"),
        (lambda r: r.sheet.update(x=np.zeros(3)), r"/sheet/x: shape \(3,\)"),
        (lambda r: r.frames.update(roll_x=np.zeros((35, 2))), "/frames/roll_x"),
        (lambda r: r.steps.update(lift=np.float64(1.0)), "/steps/lift"),
    ],
)
def test_a_result_unlike_the_schema_is_refused(result, tmp_path, change, words):
    own = replace(result, **{g: dict(getattr(result, g)) for g in (*ARRAYS, *SCALARS)})
    change(own)
    with pytest.raises(ValueError, match=words):
        write_result(own, tmp_path / "run.h5")
    assert list(tmp_path.iterdir()) == []


def test_files_that_are_no_result(tmp_path):
    text, foreign = tmp_path / "text.h5", tmp_path / "foreign.h5"
    text.write_text("hello")
    with h5py.File(foreign, "w") as file:
        file["x"] = 1.0
    for path, words in (
        (text, "not HDF5"),
        (foreign, "not a result of pinchline"),
        (tmp_path / "missing.h5", "No such file"),
        (tmp_path, "Is a directory"),
        ("a\0b", "no path"),
    ):
        with pytest.raises(InputError, match=words) as caught:
            read_result(path)
        assert "pinchline run" in str(caught.value)


def test_a_later_schema_is_named(result, tmp_path):
    path = write_result(result, tmp_path / "run.h5")
    with h5py.File(path, "r+") as file:
        file.attrs["schema_version"] = 3
    with pytest.raises(InputError, match="version 3, made by a later pinchline"):
        read_result(path)


def test_cut_or_damaged_files_are_refused(result, tmp_path):
    path = write_result(result, tmp_path / "run.h5")
    whole = path.read_bytes()
    cut = tmp_path / "cut.h5"
    cut.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="cut short"):
        read_result(cut)
    with h5py.File(path, "r+") as file:
        del file["sheet/x"]
    with pytest.raises(InputError, match="damaged"):
        read_result(path)


@pytest.mark.parametrize("attribute", ["title", "labels"])
def test_attributes_that_are_missing_or_wrong(result, tmp_path, attribute):
    path = write_result(result, tmp_path / "run.h5")
    with h5py.File(path, "r+") as file:
        del file.attrs[attribute]
    with pytest.raises(InputError, match="damaged"):
        read_result(path)
    with h5py.File(path, "r+") as file:
        file.attrs[attribute] = "[1"
    if attribute == "labels":
        with pytest.raises(InputError, match="damaged"):
            read_result(path)


def test_nan_in_events_survives(stopped_result, tmp_path):
    back = read_result(write_result(stopped_result, tmp_path / "run.h5"))
    assert math.isnan(back.events[-1].s)
    assert back.events[-1].kind == "effort exceeded"

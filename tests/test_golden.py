"""The golden comparison: what counts as a difference, on files made up here."""

import importlib.util
from pathlib import Path

import h5py
import numpy as np
import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"
LIFT = np.array([0.0, 12.5, np.nan])


def module(name):
    """Load a module of the benchmarks, which are no package."""
    spec = importlib.util.spec_from_file_location(name, BENCHMARKS / f"{name}.py")
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


golden_read, golden_kept = module("golden_read"), module("golden_kept")


@pytest.fixture
def reading(tmp_path):
    """Give what reads a job's folder, made anew from a dataset and a printed table."""
    folders = iter(range(9))

    def made(
        lift=LIFT,
        name="lift",
        seconds=1.0,
        printed="radius 79.27 mm, open -3",
        units="mm",
    ):
        folder = tmp_path / str(next(folders))
        folder.mkdir()
        (folder / "1-run.txt").write_text(f"{printed}\nin {folder}, version 0.1.2\n")
        with h5py.File(folder / "part.h5", "w") as file:
            file[f"steps/{name}"] = lift
            file[f"steps/{name}"].attrs["long_name"] = printed
            file[f"steps/{name}"].attrs["units"] = units
            file["summary/solver_seconds"] = seconds
            file["summary/opening"] = 150.0
            file.attrs["change"] = 0.25
        return golden_read.read(folder)

    return made


def test_time_place_and_version_do_not_count(reading):
    found = golden_read.compare(reading(), reading(seconds=2.0))
    assert found.equal
    assert not found.words
    # the lift, opening and change; two numbers in the table and two in the long name
    assert found.count == 3 + 1 + 1 + 2 + 2


def test_last_bit_is_noticed(reading):
    other = LIFT.copy()
    other[1] = np.nextafter(other[1], 99.0)
    found = golden_read.compare(reading(), reading(other))
    assert not found.equal
    assert found.changed == ["part.h5:steps/lift"]
    assert 0.0 < found.largest < 2.0e-16


def test_sign_of_zero_kind_and_length_are_noticed(reading):
    plain = reading()
    for other in (LIFT * [-1.0, 1.0, 1.0], LIFT.astype(np.float32), LIFT[:2]):
        assert golden_read.compare(plain, reading(other)).changed


def test_renamed_dataset_is_noticed(reading):
    found = golden_read.compare(reading(), reading(name="rise"))
    assert not found.equal
    assert "part.h5:steps/lift" in found.missing
    assert "part.h5:steps/rise" in found.new


def test_words_alone_are_told_apart(reading):
    found = golden_read.compare(reading(), reading(printed="R 79.27 mm, opening: -3"))
    assert found.equal
    assert found.words == ["1-run.txt", "part.h5:steps/lift@long_name"]


def test_unit_is_no_mere_word(reading):
    found = golden_read.compare(reading(), reading(units="m"))
    assert found.changed == ["part.h5:steps/lift@units"]


@pytest.mark.parametrize(
    "printed", ["radius 79.28 mm, open -3", "radius 79.27 mm, open 3"]
)
def test_printed_digit_is_noticed(reading, printed):
    found = golden_read.compare(reading(), reading(printed=printed))
    assert "1-run.txt" in found.changed


def test_kept_file_holds_nine_digits(reading, tmp_path):
    path = tmp_path / "golden.json"
    golden_kept.write(path, {"part": golden_kept.digests(reading())})
    kept = golden_kept.load(path)["part"]
    assert kept["part.h5:steps/lift"] == [3, 12.5, 156.25, 0, 12.5, 0, 0]
    close = golden_kept.digests(reading(LIFT * (1.0 + 1.0e-10)))
    assert golden_kept.unlike(kept, close) == []
    apart = golden_kept.digests(reading(LIFT * (1.0 + 1.0e-7)))
    assert golden_kept.unlike(kept, apart) == ["part.h5:steps/lift"]
    renamed = golden_kept.digests(reading(name="rise"))
    assert golden_kept.unlike(kept, renamed) == [
        "part.h5:steps/lift",
        "part.h5:steps/rise",
    ]

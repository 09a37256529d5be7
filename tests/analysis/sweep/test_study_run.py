"""Studies that are killed, stopped, resumed, shared out; every number stays.

The reference is one uninterrupted study; whatever happens to the others, their finished
files must be the same bytes.
"""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import h5py
import numpy as np
import psutil
import pytest
from filelock import FileLock

import pinchline as pl
from pinchline.case.case import parse_case
from pinchline.errors import InputError
from pinchline.solvers.steady.solver import solve_pass

SOURCES = str(Path(pl.__file__).parents[1])
COUNT = 120
STUDY = """title = "Radius over lift, thickness and direction (invented)"
case = "strut-fairing"
solver = "span"
keep = ["radius", "force_lower"]
[[vary]]
key = "pass.toward"
values = ["rear", "operator"]
[[vary]]
key = "pass.lift"
from = "8 mm"
to = "60 mm"        # beyond jam: a failed point is a row
count = 12
[[vary]]
key = "sheet.thickness"
from = "0.8 mm"
to = "1.2 mm"
count = 5
"""
PATIENCE = 60.0  # seconds for what takes two on a quiet machine


def environment():
    return os.environ | {"PYTHONPATH": SOURCES, "OMP_NUM_THREADS": "1"}


def start(*words, cwd):
    return subprocess.Popen(
        [sys.executable, "-m", "pinchline", "study", *words],
        cwd=cwd,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def done(path):
    """Points that the file of a running study has."""
    try:
        with h5py.File(path, "r", locking=False) as file:
            return int(file["done"][...].sum())
    except (OSError, KeyError):
        return 0


def alive(process):
    """Whether a process runs; one that nobody has buried yet does not."""
    try:
        return process.status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def wait_until(true, what):
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end, what
        time.sleep(0.005)


@pytest.fixture(scope="module")
def reference(tmp_path_factory):
    """The study file, and the bytes of the uninterrupted result."""
    folder = tmp_path_factory.mktemp("reference")
    source = folder / "lifts.toml"
    source.write_text(STUDY, encoding="utf-8")
    found = pl.study(source, folder / "lifts.h5")
    assert found.done.all()
    return source, (folder / "lifts.h5").read_bytes()


def test_every_number_stands_at_its_point(reference):
    """Four points solved alone, of a jam too, equal those of the file to the bit."""
    source, _ = reference
    found = pl.read_study(source.with_suffix(".h5"))
    for at in ((0, 2, 0), (0, 3, 3), (1, 1, 4), (1, 11, 2)):
        toward, lift, thickness = (
            v.values[place]
            for v, place in zip(found.coordinates.values(), at, strict=True)
        )
        case = parse_case(found.case_text, path="alone.toml")
        case = case.replace({"sheet.thickness": f"{float(thickness)!r} mm"})
        alone = solve_pass(case, float(lift), toward)
        np.testing.assert_array_equal(found["radius"][at], alone.radius)
        np.testing.assert_array_equal(found["force_lower"][at], alone.force_lower)
        assert found.event[at] == ("jam" if at[1] == 11 else "")


def test_a_killed_study_goes_on_where_it_was(reference, tmp_path):
    """SIGKILL leaves a good file, no lock and no orphans; the rest is computed."""
    source, whole = reference
    file = tmp_path / "killed.h5"
    run = start(str(source), "-o", str(file), cwd=tmp_path)
    wait_until(lambda: done(file) >= 2, "the study does not come on")
    workers = psutil.Process(run.pid).children()
    run.kill()
    run.wait()
    before = done(file)
    assert 2 <= before < COUNT
    wait_until(lambda: not any(alive(w) for w in workers), "orphans remain")
    run.communicate()
    with h5py.File(file, "r+") as held:  # what is there is not computed again
        at = tuple(int(place[0]) for place in held["done"][...].nonzero())
        kept = held["radius"][at]
        held["radius"][at] = 123.0
    resumed = pl.study(source, file, resume=True)
    assert resumed["radius"][at] == 123.0
    with h5py.File(file, "r+") as held:
        held["radius"][at] = kept
    assert file.read_bytes() == whole


def test_ctrl_c_stops_a_study_that_can_be_resumed(reference, tmp_path):
    source, whole = reference
    file = tmp_path / "stopped.h5"
    run = start(str(source), "-o", str(file), cwd=tmp_path)
    wait_until(lambda: done(file) >= 2, "the study does not come on")
    before = done(file)
    os.killpg(run.pid, signal.SIGINT)  # as a terminal does: to all of them
    out, err = run.communicate(timeout=PATIENCE)
    assert run.returncode == 130
    assert out == ""
    assert before < done(file) < COUNT  # what was in flight has landed
    assert f"{done(file)} of {COUNT} points are in" in err
    assert "--resume" in err
    assert "Traceback" not in err
    pl.study(source, file, resume=True)
    assert file.read_bytes() == whole


def test_a_cluster_that_loses_a_worker_gets_every_point(reference, tmp_path):
    """A Dask scheduler and two workers, processes of their own; one is killed."""
    pytest.importorskip("distributed")
    source, whole = reference
    file, where = tmp_path / "cluster.h5", tmp_path / "scheduler.json"
    place = ["--host", "127.0.0.1", "--no-dashboard"]

    def dask(kind, *words):
        return subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.dask_{kind}", *words],
            env=environment(),
            cwd=tmp_path,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    alone = ["--nthreads", "1", "--no-nanny", "--scheduler-file", str(where)]
    crew = [dask("scheduler", *place, "--port", "0", "--scheduler-file", str(where))]
    try:
        wait_until(where.exists, "the scheduler does not start")
        crew += [dask("worker", *place, *alone) for _ in range(2)]
        address = json.loads(where.read_text(encoding="utf-8"))["address"]
        run = start(str(source), "-o", str(file), "--scheduler", address, cwd=tmp_path)
        wait_until(lambda: done(file) >= 2, "the cluster does not come on")
        crew[1].kill()
        assert done(file) < COUNT
        _, err = run.communicate(timeout=PATIENCE)
        assert run.returncode == 0, err
        assert file.read_bytes() == whole
    finally:
        for process in crew:
            process.kill()
            process.wait()


def test_two_studies_do_not_write_one_file(reference, tmp_path):
    source, whole = reference
    file = tmp_path / "lifts.h5"
    file.write_bytes(whole)
    with FileLock(tmp_path / ".lifts.h5.lock"):
        with pytest.raises(InputError, match="another study writes this file"):
            pl.study(source, file, resume=True)
        assert pl.read_study(file).done.all()  # but anyone may look at it
    assert file.read_bytes() == whole


def test_a_file_that_is_there_is_not_overwritten(reference, tmp_path):
    source, whole = reference
    file = tmp_path / "lifts.h5"
    file.write_bytes(whole)
    with pytest.raises(InputError, match=r"there already.*--resume"):
        pl.study(source, file)
    changed = tmp_path / "changed.toml"
    changed.write_text(STUDY.replace("60 mm", "59 mm"), encoding="utf-8")
    with pytest.raises(InputError, match="the study has changed since"):
        pl.study(changed, file, resume=True)
    file.write_bytes(b"not HDF5")
    with pytest.raises(InputError, match="the file cannot be used"):
        pl.study(source, file, resume=True)
    assert file.read_bytes() == b"not HDF5"


def test_no_cluster_there_is_a_message(reference, tmp_path):
    pytest.importorskip("distributed")
    source, _ = reference
    for address in ("127.0.0.1:9", "tcp://127.0.0.1:9", "nonsense://x", "x"):
        with pytest.raises(InputError, match="no Dask scheduler answers"):
            pl.study(source, tmp_path / "none.h5", scheduler=address)
        assert not (tmp_path / "none.h5").exists()

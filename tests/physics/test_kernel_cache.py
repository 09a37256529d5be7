"""Compiled kernels are kept under a hash of all their sources, in whatever folder."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pinchline.physics import _jit

CALLEE = """from pinchline.physics._jit import kernel

@kernel
def told() -> float:
    return {value}
"""
CALLER = """from pinchline.physics._jit import kernel
from pinchline.solvers.inner.callee import told

@kernel
def twice() -> float:
    return 2.0 * told()

print(twice())
"""


@pytest.fixture
def package(tmp_path):
    """Copy what a kernel needs into a package whose kernels lie in two folders."""
    root = tmp_path / "pinchline"
    inner = root / "solvers" / "inner"
    inner.mkdir(parents=True)
    (root / "physics").mkdir()
    for folder in (root, root / "physics", root / "solvers", inner):
        (folder / "__init__.py").touch()
    shutil.copy(_jit.__file__, root / "physics" / "_jit.py")
    (root / "solvers" / "caller.py").write_text(CALLER)
    (inner / "callee.py").write_text(CALLEE.format(value=1.0))
    return root


def run(package: Path) -> float:
    home = package.parent
    environment = os.environ | {
        "PYTHONPATH": str(home),
        "XDG_CACHE_HOME": str(home / "cache"),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    environment.pop("NUMBA_CACHE_DIR", None)
    command = [sys.executable, "-m", "pinchline.solvers.caller"]
    done = subprocess.run(
        command, env=environment, capture_output=True, text=True, check=True, cwd=home
    )
    return float(done.stdout)


def test_an_edited_callee_in_a_subfolder_is_compiled_anew(package):
    assert run(package) == 2.0
    callee = package / "solvers" / "inner" / "callee.py"
    callee.write_text(CALLEE.format(value=3.0))
    assert run(package) == 6.0


def test_the_hash_takes_kernels_and_what_they_import_and_nothing_else(
    package, monkeypatch
):
    monkeypatch.setattr(_jit, "PACKAGE", package)
    inner = package / "solvers" / "inner"
    first = _jit._sources_digest()
    (package / "words.py").write_text("WORD = 1\n")
    assert _jit._sources_digest() == first
    (inner / "columns.py").write_text("FORCE = 1\n")
    caller = package / "solvers" / "caller.py"
    line = "from pinchline.solvers.inner.columns import FORCE\n"
    caller.write_text(line + caller.read_text())
    second = _jit._sources_digest()
    (inner / "columns.py").write_text("FORCE = 2\n")
    third = _jit._sources_digest()
    (inner / "callee.py").rename(inner / "called.py")
    assert len({first, second, third, _jit._sources_digest()}) == 4


def test_every_kernel_of_the_package_is_in_the_hash():
    with_kernels = {
        path.relative_to(_jit.PACKAGE.parent).as_posix()
        for path in _jit.PACKAGE.rglob("*.py")
        if "\n@kernel\n" in path.read_text("utf-8")
    }
    assert with_kernels <= set(_jit._kernel_sources())
    assert "pinchline/physics/_jit.py" in _jit._kernel_sources()


def test_the_hash_costs_next_to_nothing():
    times = []
    for _ in range(5):
        start = time.perf_counter()
        _jit._sources_digest()
        times.append(time.perf_counter() - start)
    assert min(times) < 0.05

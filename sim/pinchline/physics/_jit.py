"""The one decorator that owns every numba option and the cache folder."""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar, cast

import numba

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

P = ParamSpec("P")
R = TypeVar("R")

PACKAGE = Path(__file__).parents[1]
IMPORTED = re.compile(rb"\nfrom (pinchline[\w.]*) import (\([^)]*\)|.*)")
NAME = re.compile(r"\w+")
OPTIONS: Any = numba.config  # its attributes have no type hints


def _kernel_sources() -> dict[str, bytes]:
    """Read the sources that make up the kernels, by their path from the package on.

    Every module with a line ``@kernel``, wherever it lies, and what such modules import
    from the package: compiled code holds their constants too.
    """
    modules: dict[str, bytes] = {}
    for folder, _, files in os.walk(PACKAGE):
        inside = Path(folder).relative_to(PACKAGE.parent).as_posix()
        for file in files:
            if file.endswith(".py"):
                modules[f"{inside}/{file}"] = Path(folder, file).read_bytes()
    waiting = [name for name, text in modules.items() if b"\n@kernel\n" in text]
    taken: dict[str, bytes] = {}
    while waiting:
        name = waiting.pop()
        if name in modules and name not in taken:
            taken[name] = modules[name]
            for where, what in IMPORTED.findall(b"\n" + modules[name]):
                module = where.decode().replace(".", "/")
                parts = NAME.findall(what.decode())
                waiting += [f"{module}.py", *(f"{module}/{part}.py" for part in parts)]
    return taken


def _sources_digest() -> str:
    """Hash of every kernel source: numba's own cache misses edited callees."""
    digest = hashlib.sha256(numba.__version__.encode())
    for name, text in sorted(_kernel_sources().items()):
        digest.update(f"\n{name}\n{len(text)}\n".encode())
        digest.update(text)
    return digest.hexdigest()[:16]


def _cache_folder() -> Path | None:
    """Folder of compiled kernels for these sources; None where none is writable."""
    root = os.environ.get("XDG_CACHE_HOME")
    try:
        base = Path(root) if root else Path.home() / ".cache"
        folder = base / "pinchline" / _sources_digest()
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, RuntimeError):
        return None
    return folder if os.access(folder, os.W_OK) else None


_FOLDER = _cache_folder()


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile without Python objects, cached per source digest, no fast-math.

    A private kernel is called by kernels only and has no way in from Python.
    """
    previous = OPTIONS.CACHE_DIR
    OPTIONS.CACHE_DIR = previous or str(_FOLDER or "")
    options: dict[str, Any] = {  # numba's type hints do not know the last two
        "cache": bool(previous or _FOLDER),
        "error_model": "numpy",
        "fastmath": False,
        "no_cpython_wrapper": function.__name__.startswith("_"),
        "no_cfunc_wrapper": True,
    }
    try:
        compiled = numba.njit(**options)(function)
    finally:
        OPTIONS.CACHE_DIR = previous
    return cast("Callable[P, R]", compiled)

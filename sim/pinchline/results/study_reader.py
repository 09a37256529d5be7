"""Reading the file of a study back, finished or not."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from pinchline.errors import InputError
from pinchline.results.study_schema import (
    DONE,
    EVENT,
    MESSAGE,
    SCHEMA_VERSION,
    STUDY_SCHEMA,
    StudyResult,
    Variable,
)

if TYPE_CHECKING:
    from pathlib import Path

    import h5py
    from numpy.typing import NDArray

_ALLOWED = "a file written by `pinchline study`"


def is_study(path: str | Path) -> bool:
    """Whether a file is that of a study."""
    import h5py

    try:
        with h5py.File(path, "r", locking=False) as file:
            return bool(file.attrs.get("schema") == STUDY_SCHEMA)
    except (OSError, RuntimeError, ValueError):
        return False


def read_study(path: str | Path) -> StudyResult:
    """Read a study; one that still runs gives what it has so far.

    Parameters
    ----------
    path : the HDF5 file

    Returns
    -------
    Coordinates and results, arrays over the study's dimensions, each with its unit.

    Raises
    ------
    InputError
        where it cannot be read, is no study, is damaged, or is of a later version

    Examples
    --------
    >>> import pinchline as pl
    >>> try:
    ...     pl.read_study("missing.h5")
    ... except pl.InputError as error:
    ...     print(error.message)
    the file cannot be read, or is not HDF5
    """
    import h5py

    try:
        file = h5py.File(path, "r", locking=False)
    except (OSError, RuntimeError, ValueError):
        _refuse(path, "the file cannot be read, or is not HDF5")
    with file:
        try:
            if file.attrs.get("schema") != STUDY_SCHEMA:
                _refuse(path, "the file is no study")
            version = int(file.attrs["schema_version"])
            if version > SCHEMA_VERSION:
                _refuse(path, f"the file has schema version {version}, a later one")
            return _read(file, str(path))
        except (AttributeError, KeyError, OSError, RuntimeError, TypeError, ValueError):
            _refuse(path, "the study is damaged")


def _refuse(path: str | Path, message: str) -> NoReturn:
    raise InputError(message, file=path, allowed=_ALLOWED) from None


def _read(file: h5py.File, path: str) -> StudyResult:
    marks = file[DONE]
    names = [marks.dims[axis][0].name.lstrip("/") for axis in range(marks.ndim)]
    dimensions = dict(zip(names, marks.shape, strict=True))
    coordinates, results = {}, {}
    for name, dataset in file.items():
        if name in (DONE, EVENT, MESSAGE):
            continue
        if "key" in dataset.attrs:
            coordinates[name] = _variable(name, dataset, names)
        elif name not in dimensions:
            results[name] = _variable(name, dataset, names)
    order = json.loads(file.attrs["order"])
    return StudyResult(
        path=path,
        title=str(file.attrs["title"]),
        study_text=str(file.attrs["study"]),
        case_text=str(file.attrs["case"]),
        versions=json.loads(file.attrs["versions"]),
        dimensions=dimensions,
        coordinates={name: coordinates[name] for name in order if name in coordinates},
        results={name: results[name] for name in order if name in results},
        done=marks[...].astype(bool),
        event=_words(file[EVENT]),
        message=_words(file[MESSAGE]),
    )


def _variable(name: str, dataset: h5py.Dataset, dimensions: list[str]) -> Variable:
    import h5py

    own = [name]
    if not dataset.is_scale:
        own = [dataset.dims[axis][0].name.lstrip("/") for axis in range(dataset.ndim)]
    if h5py.check_string_dtype(dataset.dtype) is not None:
        values: NDArray[Any] = np.array(dataset.asstr()[...], dtype=object)
    else:
        values = np.asarray(dataset[...], dtype="f8")
    return Variable(
        name,
        str(dataset.attrs["units"]),
        str(dataset.attrs["long_name"]),
        tuple(own),
        values,
        key=str(dataset.attrs.get("key", "")),
        log=dataset.attrs.get("spacing") == "log",
    )


def _words(dataset: h5py.Dataset) -> NDArray[Any]:
    return np.char.decode(dataset[...], "utf-8")

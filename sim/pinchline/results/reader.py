"""Reading a result back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from pinchline.errors import InputError
from pinchline.results.schema import (
    RESULT_GROUPS,
    RUN_SCHEMA,
    SCHEMA_VERSION,
    Event,
    Field,
    Result,
    check,
    fields_of,
)

if TYPE_CHECKING:
    import h5py

_ALLOWED = "a result written by `pinchline run`"


def read_result(path: str | Path) -> Result:
    """Read a result file.

    Parameters
    ----------
    path : the HDF5 file

    Returns
    -------
    The result that was written, bit for bit.

    Raises
    ------
    InputError
        where it cannot be read, is no result, is damaged, or is of a later version

    Examples
    --------
    >>> import pinchline as pl
    >>> try:
    ...     pl.read_result("missing.h5")
    ... except pl.InputError as error:
    ...     print(error.message)
    the file cannot be read: No such file or directory
    """
    import h5py

    try:
        with Path(path).open("rb"):
            pass
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "that is no path"
        _refuse(path, f"the file cannot be read: {reason}")
    try:
        file = h5py.File(path, "r")
    except (OSError, RuntimeError):
        _refuse(path, "the file is not HDF5, or it is cut short")
    with file:
        _check_schema(file, path)
        try:
            return _read(file)
        except (
            AttributeError,
            KeyError,
            OSError,
            RuntimeError,
            TypeError,
            ValueError,
        ) as error:
            _refuse(path, f"the result is damaged: {_first_line(error)}")


def _refuse(path: str | Path, message: str) -> NoReturn:
    raise InputError(message, file=path, allowed=_ALLOWED) from None


def _first_line(error: Exception) -> str:
    text = str(error.args[0] if error.args else error)
    return text.splitlines()[0] if text else "no reason given"


def _check_schema(file: h5py.File, path: str | Path) -> None:
    try:
        schema = file.attrs.get("schema")
        version = int(file.attrs.get("schema_version", 0))
    except (OSError, RuntimeError, TypeError, ValueError):
        schema, version = None, 0
    if schema != RUN_SCHEMA or version < 1:
        _refuse(path, "the file is HDF5 but not a result of pinchline")
    if version > SCHEMA_VERSION:
        message = f"the file has schema version {version}, made by a later pinchline"
        allowed = f"schema version {SCHEMA_VERSION}, or a newer pinchline to read it"
        raise InputError(message, file=path, allowed=allowed)


def _read(file: h5py.File) -> Result:
    groups = {name: _read_group(file, name) for name in RESULT_GROUPS}
    events = groups.pop("events")
    result = Result(
        title=str(file.attrs["title"]),
        case_text=str(file.attrs["case"]),
        case_path=str(file.attrs["case_path"]),
        versions=_read_table(file, "versions"),
        labels=_read_table(file, "labels"),
        events=[
            Event(**dict(zip(events, row, strict=True)))
            for row in zip(*events.values(), strict=True)
        ],
        **groups,
    )
    check(result)
    return result


def _read_table(file: h5py.File, name: str) -> dict[str, str]:
    table = json.loads(file.attrs[name])
    return {str(key): str(value) for key, value in table.items()}


def _read_group(file: h5py.File, name: str) -> dict[str, Any]:
    group = file[name]
    return {field.name: _read_dataset(group, field) for field in fields_of(name)}


def _read_dataset(group: h5py.Group, field: Field) -> Any:
    import h5py
    import numpy as np

    dataset = group[field.name]
    if not isinstance(dataset, h5py.Dataset) or dataset.ndim != len(field.dims):
        message = f"{dataset.name} is not a dataset along {field.dims}"
        raise ValueError(message)
    if field.dtype == "text":
        return [str(text) for text in dataset.asstr()[...]]
    # pictures and measures work in double precision whatever the file holds
    values = np.asarray(dataset[...], dtype="i4" if field.dtype == "i4" else "f8")
    if not field.dims:
        return float(values)
    return values.tolist() if field.group == "events" else values

"""Writing a result: whole or not at all."""

from __future__ import annotations

import io
import json
import os
import stat
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pinchline.errors import InputError
from pinchline.results.schema import (
    DIMENSIONS,
    RESULT_GROUPS,
    ROLLS,
    RUN_SCHEMA,
    SCHEMA_VERSION,
    Field,
    Result,
    check,
    columns,
    fields_of,
)

if TYPE_CHECKING:
    import h5py

RESULT_SUFFIXES = (".h5", ".hdf5")
_ALLOWED = "a file name in a folder that exists and can be written to"
_MIN_PACKED_BYTES = 4096  # bytes
_COORDINATES = {"sheet": "s s_node", "steps": "", "frames": "", "events": ""}


def write_result(result: Result, path: str | Path) -> Path:
    """Write a result to an HDF5 file.

    The file appears under its name only once it is complete; whatever was there stays
    untouched until then.

    Parameters
    ----------
    result : what to write
    path : the file; one that is there already is replaced

    Returns
    -------
    The path written.

    Raises
    ------
    InputError
        where the file cannot be written
    ValueError
        where the result is not as the schema says

    Examples
    --------
    >>> import pinchline as pl
    >>> result = pl.run(pl.load_case("strut-fairing"))
    >>> path = pl.write_result(result, "part.h5")
    >>> pl.read_result(path).title == result.title
    True
    """
    check(result)
    check_writable(path)
    write_whole(path, _image(result))
    return Path(path)


def check_result_path(path: Path) -> None:
    """Refuse a result file that cannot be written, or is not named as HDF5.

    Raises
    ------
    InputError
        that names the file and what is allowed
    """
    if path.suffix.lower() not in RESULT_SUFFIXES:
        message = "a result is an HDF5 file"
        raise InputError(message, file=path, allowed="a name that ends in .h5 or .hdf5")
    check_writable(path)


def write_whole(path: str | Path, image: bytes) -> None:
    """Put bytes under a file's name, all or none.

    Raises
    ------
    InputError
        where the file cannot be written
    """
    target = check_writable(path)
    try:
        _replace(target, image)
    except OSError as error:
        raise _refused(path, error) from None


def check_writable(path: str | Path) -> Path:
    """Make sure that a file can be written, without touching one that is there.

    Returns
    -------
    The file itself where ``path`` is a link to it.

    Raises
    ------
    InputError
        that names the file, the reason and what is allowed
    """
    try:
        target = Path(path).resolve()
        if target.exists():
            if not stat.S_ISREG(target.stat().st_mode):
                message = "the output cannot be written: it is not an ordinary file"
                raise InputError(message, file=path, allowed=_ALLOWED)
            if not os.access(target, os.W_OK):
                message = "the output cannot be written: the file is write-protected"
                raise InputError(message, file=path, allowed=_ALLOWED)
        trial = partial_path(target)
        trial.touch(exist_ok=False)
        trial.unlink()
    except (OSError, ValueError, RuntimeError) as error:
        raise _refused(path, error) from None
    return target


def _refused(path: str | Path, error: Exception) -> InputError:
    reason = error.strerror if isinstance(error, OSError) else None
    message = f"the output cannot be written: {reason or 'that is no path'}"
    return InputError(message, file=path, allowed=_ALLOWED)


def partial_path(target: Path) -> Path:
    """Name a file in the same folder, so that the rename stays on one disk."""
    return target.with_name(f".pinchline-{uuid.uuid4().hex}.part")


def _replace(target: Path, image: bytes) -> None:
    partial = partial_path(target)
    try:
        with partial.open("xb") as stream:
            stream.write(image)
            stream.flush()
            os.fsync(stream.fileno())
        partial.replace(target)
    except BaseException:
        partial.unlink(missing_ok=True)
        raise


def _image(result: Result) -> bytes:
    """Bytes of the file: built in memory, since a few MB fit and cannot half fail."""
    import h5py

    buffer = io.BytesIO()
    with h5py.File(buffer, "w") as file:
        file.attrs["schema"] = RUN_SCHEMA
        file.attrs["schema_version"] = SCHEMA_VERSION
        file.attrs["title"] = hdf5_text(result.title)
        file.attrs["case"] = hdf5_text(result.case_text)
        file.attrs["case_path"] = hdf5_text(result.case_path)
        file.attrs["versions"] = json.dumps(result.versions)
        file.attrs["labels"] = json.dumps(result.labels)
        for name in RESULT_GROUPS:
            values = (
                columns(result.events) if name == "events" else getattr(result, name)
            )
            _write_group(file.create_group(name, track_order=True), values)
    return buffer.getvalue()


def _write_group(group: h5py.Group, values: dict[str, Any]) -> None:
    name = group.name.lstrip("/")
    scales: dict[str, h5py.Dataset] = {}
    for field in fields_of(name):
        dataset = _write_dataset(group, field, values[field.name])
        for axis, dim in enumerate(field.dims):
            if dim not in scales:
                scales[dim] = _write_scale(group, dim, dataset.shape[axis])
            dataset.dims[axis].attach_scale(scales[dim])
    if _COORDINATES.get(name):
        group.attrs["coordinates"] = _COORDINATES[name]


def _write_scale(group: h5py.Group, dim: str, size: int) -> h5py.Dataset:
    import h5py
    import numpy as np

    if dim == "roll":
        scale = group.create_dataset(dim, data=list(ROLLS), dtype=h5py.string_dtype())
    else:
        scale = group.create_dataset(dim, data=np.arange(size, dtype="i4"))
    scale.make_scale(dim)
    _describe(scale, "1", DIMENSIONS[dim])
    return scale


def _write_dataset(group: h5py.Group, field: Field, value: Any) -> h5py.Dataset:
    import h5py
    import numpy as np

    data: Any
    if field.dtype == "text":
        data = np.array([hdf5_text(text) for text in value], dtype=object)
        options: dict[str, Any] = {"dtype": h5py.string_dtype()}
    else:
        data = np.asarray(value, dtype=field.dtype)
        options = {}
        if data.nbytes >= _MIN_PACKED_BYTES:
            options = {"compression": "gzip", "compression_opts": 4, "shuffle": True}
    dataset = group.create_dataset(field.name, data=data, **options)
    _describe(dataset, field.units, field.long_name)
    return dataset


def _describe(dataset: h5py.Dataset, units: str, long_name: str) -> None:
    dataset.attrs["units"] = units
    dataset.attrs["long_name"] = long_name


def hdf5_text(text: str) -> str:
    """Text that HDF5 can hold: no NUL, no halves of characters."""
    return text.replace("\0", "\ufffd").encode("utf-8", "replace").decode("utf-8")

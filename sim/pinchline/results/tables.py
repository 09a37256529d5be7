"""Tables of many jobs: named columns with units, as HDF5, CSV or Parquet.

The HDF5 opens with ``xarray.open_dataset(..., engine="h5netcdf")``; the CSV has the
units in its header, the Parquet in the metadata of its fields (it needs pyarrow).
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline.errors import InputError
from pinchline.results.writer import check_writable, write_whole

if TYPE_CHECKING:
    from numpy.typing import NDArray

TABLE_SUFFIXES = (".h5", ".csv", ".parquet")


@dataclass(frozen=True)
class Column:
    """One quantity: name, unit, what it is, and its values (n)."""

    name: str
    units: str
    long_name: str
    values: NDArray[Any]


@dataclass(frozen=True)
class Table:
    """Columns of one length over one dimension, and what the whole is about.

    Attributes
    ----------
    schema : what kind of table it is
    dimension : name of what the rows are; the first column is its coordinate
    columns : in order
    about : text and numbers that hold for the whole
    """

    schema: str
    dimension: str
    columns: tuple[Column, ...]
    about: dict[str, str | float | int] = field(default_factory=dict)


def check_table_path(path: Path) -> None:
    """Refuse a file that cannot be written, or of a kind that is not known."""
    if path.suffix.lower() not in TABLE_SUFFIXES:
        message = "the table cannot be written in that format"
        allowed = "a name that ends in .h5, .csv or .parquet"
        raise InputError(message, file=path, allowed=allowed)
    if path.suffix.lower() == ".parquet" and find_spec("pyarrow") is None:
        message = "Parquet needs pyarrow, which is not installed"
        allowed = "pip install 'pinchline[parquet]', or a name that ends in .csv"
        raise InputError(message, file=path, allowed=allowed)
    check_writable(path)


def write_table(table: Table, path: str | Path) -> Path:
    """Write a table, whole or not at all; the format by the name's ending.

    Raises
    ------
    InputError
        where the file cannot be written
    """
    path = Path(path)
    check_table_path(path)
    image = {".csv": _as_csv, ".h5": _as_hdf5, ".parquet": _as_parquet}
    write_whole(path, image[path.suffix.lower()](table))
    return path


def _as_csv(table: Table) -> bytes:
    text = io.StringIO(newline="")
    for key, value in table.about.items():
        line = str(value).replace("\r", " ").replace("\n", " ")
        text.write(f"# {key}: {line}\n")
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(f"{column.name} [{column.units}]" for column in table.columns)
    rows.writerows(
        zip(*(column.values.tolist() for column in table.columns), strict=True)
    )
    return text.getvalue().encode("utf-8")


def _as_hdf5(table: Table) -> bytes:
    import h5py

    buffer = io.BytesIO()
    with h5py.File(buffer, "w") as file:
        file.attrs["schema"] = table.schema
        for key, value in table.about.items():
            file.attrs[key] = value
        size = table.columns[0].values.size
        scale = file.create_dataset(table.dimension, data=np.arange(size, dtype="i4"))
        scale.make_scale(table.dimension)
        scale.attrs["units"] = "1"
        for column in table.columns:
            dtype = h5py.string_dtype() if column.values.dtype == object else None
            data = file.create_dataset(column.name, data=column.values, dtype=dtype)
            data.attrs["units"] = column.units
            data.attrs["long_name"] = column.long_name
            data.dims[0].attach_scale(scale)
    return buffer.getvalue()


def _as_parquet(table: Table) -> bytes:
    arrow: Any = import_module("pyarrow")
    parquet: Any = import_module("pyarrow.parquet")
    arrays = [arrow.array(column.values) for column in table.columns]
    fields = [
        arrow.field(
            column.name,
            array.type,
            metadata={"units": column.units, "long_name": column.long_name},
        )
        for column, array in zip(table.columns, arrays, strict=True)
    ]
    about = {"schema": table.schema} | {k: str(v) for k, v in table.about.items()}
    whole = arrow.Table.from_arrays(arrays, schema=arrow.schema(fields, about))
    buffer = io.BytesIO()
    parquet.write_table(whole, buffer)
    return buffer.getvalue()

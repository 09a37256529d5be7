"""Tables a user measured, as CSV: named columns that carry their units in the header.

A header cell is a name and a unit in brackets, such as ``rise error [mm]``. Lines that
begin with ``#`` and empty lines are passed over; commas, semicolons or tabs separate.
"""

import csv
import re
from math import isfinite
from pathlib import Path
from typing import NamedTuple

from pinchline import library, units
from pinchline.errors import InputError
from pinchline.units import Dimension

MAX_CSV_LINES = 20000
_COLUMN_HEAD = re.compile(r"([^\[\]()]*?)\s*(?:[\[(]\s*([^\[\]()]*?)\s*[\])])?")


class ColumnHead(NamedTuple):
    """A column: its name in small letters, its unit, "" where none is given."""

    name: str
    unit: str
    text: str


class CsvLine(NamedTuple):
    """A line of the file and its cells by column name; empty cells are left out."""

    number: int
    cells: dict[str, str]


class Columns(NamedTuple):
    """A table as it stands in the file."""

    path: str
    heads: dict[str, ColumnHead]
    lines: list[CsvLine]

    def fault(
        self, message: str, allowed: str, line: CsvLine | None = None, column: str = ""
    ) -> InputError:
        """Make the error of a line, of a column, or of a cell."""
        head = self.heads.get(column)
        value: str | None = None
        if line is not None:
            key = f"line {line.number}" + (f", {head.text}" if head else "")
            value = line.cells.get(column)
        else:
            key = f"column {head.text}" if head else "header"
        return InputError(
            message, file=self.path, key=key, value=value, allowed=allowed
        )

    def factor(self, column: str, dimension: Dimension, example: str) -> float:
        """Size of a column's unit in the internal unit.

        Raises
        ------
        InputError
            where the header gives no unit, or none of that dimension
        """
        head = self.heads[column]
        if not head.unit:
            message = "the column has no unit"
            raise self.fault(message, f"the unit in brackets: {example}", None, column)
        try:
            return units.parse(f"1 {head.unit}", dimension)
        except InputError as error:
            raise self.fault(error.message, example, None, column) from None

    def number(self, line: CsvLine, column: str) -> float | None:
        """Give the number in a cell as it stands, None where the cell is empty."""
        text = line.cells.get(column)
        if text is None:
            return None
        try:
            value = float(text)
        except ValueError:
            message = "is not a number"
            if re.fullmatch(r"[+-]?\d+,\d+", text):
                message = "has a decimal comma; write a point"
            raise self.fault(
                message, "a number; the unit stands in the header", line, column
            ) from None
        if not isfinite(value):
            message = "is not a finite number"
            raise self.fault(message, "a finite number", line, column)
        return value


def data_lines(text: str) -> tuple[list[tuple[int, str]], str]:
    """Numbered lines, without empty ones and remarks; the separator of their cells."""
    told = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    first = told[0][1] if told else ""
    return told, next((m for m in (";", "\t") if m in first), ",")


def read_columns(source: str | Path, example: str) -> Columns:
    """Read a table.

    Parameters
    ----------
    source : the file
    example : a header as it should be, for the errors

    Raises
    ------
    InputError
        where the file cannot be read, has no header or rows, or a row has more cells
        than the header
    """
    path = Path(source)
    text = library.read_text(
        path, source, None, None, f"a readable CSV file in UTF-8, {example}"
    )
    told, mark = data_lines(text)
    if not told:
        message = "the file is empty"
        raise InputError(message, file=path, allowed=example)
    first = told[0][1]
    names = [cell.strip() for cell in next(csv.reader([first], delimiter=mark))]
    table = Columns(str(path), _heads(names, path, example), [])
    if len(told) == 1 or len(told) - 1 > MAX_CSV_LINES:
        message = f"the file has {len(told) - 1} rows under its header"
        allowed = f"1 to {MAX_CSV_LINES} rows"
        raise InputError(message, file=path, allowed=allowed)
    order = list(table.heads)
    for number, line in told[1:]:
        cells = [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]
        if len(cells) > len(order):
            message = f"the line has {len(cells)} cells, the header {len(order)}"
            raise InputError(
                message,
                file=path,
                key=f"line {number}",
                value=line,
                allowed="one cell for each column, left empty where nothing is told",
            )
        values = {name: cell for name, cell in zip(order, cells, strict=False) if cell}
        if values:
            table.lines.append(CsvLine(number, values))
    return table


def _heads(names: list[str], path: Path, example: str) -> dict[str, ColumnHead]:
    heads: dict[str, ColumnHead] = {}
    for text in names:
        match = _COLUMN_HEAD.fullmatch(text)
        name = "" if match is None else _plain(match[1])
        if match is None or not name or name in heads:
            message = "the column is named twice" if name else "is no column's name"
            raise InputError(
                message, file=path, key="header", value=text, allowed=example
            )
        heads[name] = ColumnHead(name, match[2] or "", text)
    return heads


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").lower().split())

"""A tensile test as it was recorded: strain and stress from a CSV."""

from pathlib import Path
from typing import Literal

from pinchline.case.fields import Record
from pinchline.case.measured.columns import Columns, CsvLine, read_columns
from pinchline.errors import InputError

Measure = Literal["engineering", "true"]

TENSILE_HEADER_EXAMPLE = (
    'a header such as "engineering strain [%], engineering stress [MPa]"'
)
MIN_TEST_POINTS = 8
MAX_TEST_STRAIN = 1.0
# what strain may fall by from line to line: the scatter of an extensometer; more is an
# unloading
STRAIN_SCATTER = 2.0e-4
_STRAIN_UNITS = {"%": 0.01, "1": 1.0, "mm/mm": 1.0, "in/in": 1.0, "m/m": 1.0}
_STRAIN_WORDS = "strain [%], strain [1] or strain [mm/mm]"


class TensileTest(Record):
    """Uniaxial test of a strip of sheet.

    Attributes
    ----------
    path : the file
    measure : whether both columns are engineering or true
    strain : total, as recorded (points)
    stress : MPa (points)
    """

    path: str
    measure: Measure
    strain: tuple[float, ...]
    stress: tuple[float, ...]


def read_tensile(source: str | Path, measure: Measure | None = None) -> TensileTest:
    """Read a tensile test.

    Parameters
    ----------
    source : the CSV
    measure : engineering or true, where the header does not say so

    Raises
    ------
    InputError
        that names file, line or column, and what is allowed
    """
    table = read_columns(source, TENSILE_HEADER_EXAMPLE)
    strain, stress = (_column(table, word) for word in ("strain", "stress"))
    stated = _measure(table, (strain, stress), measure)
    unit = table.heads[strain].unit
    if unit not in _STRAIN_UNITS:
        message = "is not a unit of strain" if unit else "the column has no unit"
        raise table.fault(message, _STRAIN_WORDS, None, strain)
    size = table.factor(stress, "stress", "stress [MPa] or stress [ksi]")
    rows: list[tuple[CsvLine, float, float]] = []
    for line in table.lines:
        pair = [table.number(line, column) for column in (strain, stress)]
        if pair[0] is None or pair[1] is None:
            missing = strain if pair[0] is None else stress
            message = "the cell is empty"
            raise table.fault(message, "a number", line, missing)
        rows.append((line, pair[0] * _STRAIN_UNITS[unit], pair[1] * size))
    _check(table, strain, rows)
    return TensileTest(
        path=table.path,
        measure=stated,
        strain=tuple(row[1] for row in rows),
        stress=tuple(row[2] for row in rows),
    )


def _column(table: Columns, word: str) -> str:
    """Name of the one column of strain or stress."""
    matching = [name for name in table.heads if name.split()[-1] == word]
    if len(matching) != 1:
        message = f"there is no column of {word}"
        if matching:
            message = f"there are {len(matching)} columns of {word}"
        raise table.fault(message, TENSILE_HEADER_EXAMPLE)
    return matching[0]


def _measure(
    table: Columns, names: tuple[str, str], specified: Measure | None
) -> Measure:
    """Whether the columns are engineering or true; header and option must agree."""
    kinds: tuple[Measure, Measure] = ("engineering", "true")
    stated: set[Measure] = {k for name in names for k in kinds if k in name.split()}
    if specified is not None:
        stated.add(specified)
    if len(stated) == 1:
        return stated.pop()
    message = (
        "the header does not say whether strain and stress are engineering or true"
    )
    if stated:
        message = "strain and stress are called both engineering and true"
    raise table.fault(
        message, f"{TENSILE_HEADER_EXAMPLE}; or the option --measure true"
    )


def _check(
    table: Columns, column: str, rows: list[tuple[CsvLine, float, float]]
) -> None:
    """Refuse what is no pull to larger and larger strain."""
    if len(rows) < MIN_TEST_POINTS:
        message = f"the curve has {len(rows)} points"
        raise InputError(
            message, file=table.path, allowed=f"{MIN_TEST_POINTS} points or more"
        )
    furthest = rows[0][1]
    for line, strain, _ in rows[1:]:
        if strain < furthest - STRAIN_SCATTER:
            message = "strain falls"
            allowed = (
                "strain that rises from line to line: one pull, without unloading, and "
                "without what follows the break"
            )
            raise table.fault(message, allowed, line, column)
        furthest = max(furthest, strain)
    if furthest > MAX_TEST_STRAIN:
        message = f"the strain reaches {furthest:.3g}; is it in percent?"
        raise table.fault(message, _STRAIN_WORDS, None, column)
    if furthest - rows[0][1] <= STRAIN_SCATTER:
        message = "strain does not rise"
        raise table.fault(message, "strain that rises", rows[-1][0], column)

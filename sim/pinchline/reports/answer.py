"""What a command answers: text, the same as a table, pictures, notes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from matplotlib.figure import Figure

    from pinchline.results.tables import Table


@dataclass(frozen=True)
class Report:
    """Report of a command: its text, and its table and pictures, drawn on demand.

    Attributes
    ----------
    text : title, sentences and printed table
    table : makes the table that is written to a file
    pictures : file name, and what draws it
    files : writes what else there is; gives the paths
    notes : what the reader is warned of
    """

    text: str
    table: Callable[[], Table] | None = None
    pictures: Mapping[str, Callable[[], Figure]] = field(default_factory=dict)
    files: Callable[[], Iterable[Path]] | None = None
    notes: tuple[str, ...] = ()

"""Contents of the file of a study: coordinates, results, and failures.

The dimensions are the varied values of a grid, or ``point`` for a sample. ``done``
tells which points are computed, ``event`` and ``message`` what failed or stopped a
point; its results are then NaN, or those of the job as far as it went.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

STUDY_SCHEMA = "pinchline-study"
SCHEMA_VERSION = 1

EVENT_BYTES, MESSAGE_BYTES = 48, 240
DONE, EVENT, MESSAGE = "done", "event", "message"


@dataclass(frozen=True)
class Variable:
    """A coordinate or a result.

    Attributes
    ----------
    name, units, long_name : units "1" for pure numbers and words
    dimensions : names of what it runs along
    values : of that shape; numbers or words
    key : of a coordinate, the key of the case it varies
    log : whether a coordinate is spaced by factors
    """

    name: str
    units: str
    long_name: str
    dimensions: tuple[str, ...]
    values: NDArray[Any]
    key: str = ""
    log: bool = False

    @property
    def words(self) -> bool:
        """Whether the values are words, or true and false."""
        return bool(self.values.dtype == object)


@dataclass(frozen=True)
class StudyResult:
    """A study as far as it is computed.

    Attributes
    ----------
    path, title : of the file
    study_text, case_text : TOML, verbatim
    versions : package to version
    dimensions : name to length, the last the fastest
    coordinates, results : by name
    done : whether a point is computed (the shape of the dimensions)
    event, message : what failed or stopped it, "" for nothing
    """

    path: str
    title: str
    study_text: str
    case_text: str
    versions: dict[str, str]
    dimensions: dict[str, int]
    coordinates: dict[str, Variable]
    results: dict[str, Variable]
    done: NDArray[Any]
    event: NDArray[Any]
    message: NDArray[Any] = field(repr=False)

    def __getitem__(self, name: str) -> NDArray[Any]:
        """Values of a result or coordinate."""
        return (self.results.get(name) or self.coordinates[name]).values

    @property
    def failed(self) -> int:
        """How many computed points have an event."""
        return int((self.done & (self.event != "")).sum())

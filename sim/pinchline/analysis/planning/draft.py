"""A candidate job for a wanted part, with the part that its run gave."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pinchline.case.demand import LimitKind

if TYPE_CHECKING:
    from pinchline.analysis.planning.job import Run
    from pinchline.case.case import Case
    from pinchline.parts.assess import Deviation, FinishedPart
    from pinchline.parts.wanted import WantedPart
    from pinchline.results.schema import Result
    from pinchline.solvers.stepped.state import State


@dataclass(frozen=True)
class Draft:
    """A candidate job: runs, blank (mm), and its result once it was run.

    before: passes at less lift that go before the first run.
    """

    before: tuple[Run, ...]
    runs: tuple[Run, ...]
    blank: float
    case: Case
    result: Result
    state: State
    made: FinishedPart
    part: WantedPart
    deviations: tuple[Deviation, ...]

    @property
    def stopped(self) -> LimitKind | None:
        """What ended a move, None where nothing did."""
        stops = (event.kind for event in self.result.events if event.level == "stop")
        first = next(stops, None)
        return None if first is None else LimitKind(first)

    @property
    def stopped_pass(self) -> int:
        """Number of the run, from 0, in which a move was ended."""
        stop = next(e.move for e in self.result.events if e.level == "stop")
        return sum(m.kind == "place" for m in self.case.moves[:stop]) - 1

    @property
    def left(self) -> float:
        """Sheet beyond the nip where the first run ends, mm."""
        return self.blank - self.runs[0].knots[-1].u

    @property
    def miss(self) -> float:
        """Largest deviation over its tolerance, of those specified."""
        return max(self._misses(), default=0.0)

    @property
    def total_miss(self) -> float:
        """Sum of the deviations over their tolerances."""
        return sum(self._misses())

    def _misses(self) -> list[float]:
        specified = [d for d in self.deviations if not math.isnan(d.tolerance)]
        return [abs(d.off) / d.tolerance for d in specified]

"""Sensitivity of a plan's part to the lift of each run."""

from __future__ import annotations

import math
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pinchline import parallel
from pinchline.analysis.planning.job import job
from pinchline.analysis.planning.plan import Effect
from pinchline.errors import PinchlineError
from pinchline.parts.assess import read_finished_part, zone_radius, zones_of
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pinchline.analysis.planning.draft import Draft
    from pinchline.analysis.planning.lift_table import LiftTable
    from pinchline.case.case import Case
    from pinchline.parts.assess import FinishedPart
    from pinchline.results.schema import Result

    Changed = tuple[
        FinishedPart, float
    ]  # a part, and by how much more lift (mm) it was made

# mm: what the mesh does to a radius, some 0.3 %, is a tenth of it
LIFT_INCREMENT_MM = 0.3
# of the sharpest curvature: less is the ends, which follow the arc
BENT_CURVATURE_SHARE = 0.5


@contextmanager
def effects(
    draft: Draft, table: LiftTable, workers: int | None = None
) -> Iterator[Callable[[], tuple[Effect, ...]]]:
    """Begin to find the effect of every run's lift; what is given waits for them.

    A single run's by the slope of the table: every place takes its own curvature's.
    With two, each works on what the other leaves, so the job is run again; so it is
    where passes at less lift go before. Where more lift meets a limit, less tells it.
    """
    if len(draft.runs) == 1 and not draft.before:
        yield lambda: _effects(draft, [(_tighter(draft, table), LIFT_INCREMENT_MM)])
        return
    pairs = [
        (_changed(draft, i, LIFT_INCREMENT_MM), _changed(draft, i, -LIFT_INCREMENT_MM))
        for i in range(len(draft.runs))
    ]
    with parallel.workers(workers, len(pairs)) as do_all:
        results = do_all(_run, pairs)
        yield lambda: _effects(
            draft, [_changed_part(draft, result) for result in results]
        )


def _changed(draft: Draft, number: int, more: float) -> Case:
    """Give the job with so much more lift (mm) in one of its runs."""
    runs = list(draft.runs)
    runs[number] = runs[number].raised_by(more)
    return job(draft.case, (*draft.before, *runs), draft.case.sheet.length)


def _effects(draft: Draft, changed: list[Changed | None]) -> tuple[Effect, ...]:
    """Compare the parts that another lift made with that of the plan."""
    moves = draft.case.moves
    lifts = [n for n, move in enumerate(moves, 1) if move.kind == "lift"]
    lifts = lifts[len(draft.before) :]
    found = []
    for number, run, more in zip(lifts, draft.runs, changed, strict=True):
        if more is not None:
            found.append(_effect(draft, *more, number, run.knots[-1].lift))
    return tuple(found)


def _tighter(draft: Draft, table: LiftTable) -> FinishedPart:
    """Give the part with its bends sharper by their slope."""
    made = draft.made
    here = made.curvature > BENT_CURVATURE_SHARE * draft.part.sharpest
    more = np.where(here, table.slopes(made.curvature) * LIFT_INCREMENT_MM, 0.0)
    tighter = replace(made, curvature=made.curvature + more)
    before, after = (_edge_distance(part) for part in (made, tighter))
    return replace(tighter, opening=made.opening + after - before)


def _edge_distance(made: FinishedPart) -> float:
    """Distance of the edges, mm."""
    x, y, _ = made.outline()
    return math.hypot(x[-1] - x[0], y[-1] - y[0])


def _run(cases: tuple[Case, Case]) -> tuple[Result, float] | None:
    """Run a job with more lift, or with less where that meets a limit."""
    for case, more in zip(cases, (LIFT_INCREMENT_MM, -LIFT_INCREMENT_MM), strict=True):
        try:
            result = run_case(case)
        except PinchlineError:
            continue
        if not any(event.level == "stop" for event in result.events):
            return result, more
    return None


def _changed_part(draft: Draft, found: tuple[Result, float] | None) -> Changed | None:
    """Read what another lift made; None where it could not be made to the end."""
    if found is None:
        return None
    bend, distance = draft.part.sharpest, draft.case.machine.rear.distance
    return read_finished_part(found[0], bend, distance), found[1]


def _effect(
    draft: Draft, changed: FinishedPart, more: float, number: int, lift: float
) -> Effect:
    target = draft.case.target
    assert target is not None
    zones = zones_of(target, draft.part, draft.case.machine.rear.distance)
    radii = [
        (zone_radius(changed, zone) - zone_radius(draft.made, zone)) / more
        for zone in zones
    ] or [math.nan, math.nan]
    opened = (changed.opening - draft.made.opening) / more
    return Effect(number, lift, opened, radii[0], radii[1])

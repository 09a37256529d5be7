"""Reads what CalculiX printed, and measures the sheet as the engine does."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from history import History
from programme import ROLLS, play, start_of

if TYPE_CHECKING:
    from pathlib import Path

    from calculix import Model
    from mesh import Array, Numbers

TINY = 1.0e-6  # N/mm: below it a roll does not touch


class Table(NamedTuple):
    """One printed table: quantity, node set, time, rows of node and three values."""

    what: str
    where: str
    time: float
    rows: Array


def tables(path: Path) -> list[Table]:
    """Read all tables of the printed file."""
    found: list[Table] = []
    head: tuple[str, str, float] | None = None
    rows: list[list[float]] = []
    with path.open() as lines:
        for line in lines:
            words = line.split()
            if "for set" in line:
                if head:
                    found.append(Table(*head, np.array(rows)))
                at = words.index("set") + 1
                head, rows = (words[0], words[at], float(words[-1])), []
            elif len(words) == 4:
                rows.append([float(word) for word in words])
    if head:
        found.append(Table(*head, np.array(rows)))
    return found


def read_history(model: Model, path: Path) -> History:
    """Read the printed file of a model; an unfinished last increment is left out."""
    times: dict[float, dict[str, Array]] = {}
    for what, where, time, rows in tables(path):
        kind = "u" if what == "displacements" else "f"
        times.setdefault(time, {})[kind + where] = rows
    complete = max(len(found) for found in times.values())
    states = [
        _row(model, time, found)
        for time, found in sorted(times.items())
        if len(found) == complete
    ]
    return History(
        model.columns,
        start_of(model.case),
        *(np.array(column) for column in zip(*states, strict=True)),
    )


def _moved(model: Model, numbers: Numbers, rows: Array) -> Array:
    """Places (columns, 2) of nodes after their displacement, in the order asked."""
    order = np.argsort(rows[:, 0])
    found = order[np.searchsorted(rows[order, 0], numbers)]
    index = rows[found, 0].astype(np.int64) - 1
    return np.asarray(model.places[index] + rows[found, 1:3])


def _row(model: Model, time: float, found: dict[str, Array]) -> tuple[object, ...]:
    ends, lifts, feeds = model.schedule.T
    stage = max(1, int(np.searchsorted(ends, time - 1.0e-9)))
    lift = float(np.interp(time, ends, lifts))
    fed = float(np.interp(time, ends, feeds))
    top = _moved(model, model.top, found["uTOP"])
    middle = _moved(model, model.middle, found["uMID"])
    bottom = _moved(model, model.bottom, found["uBOTTOM"])
    across = top - bottom
    force, contact = np.zeros(3), np.full(3, np.nan)
    for i, name in enumerate(ROLLS):
        rows = found[f"f{name}"]
        push = rows[:, 1:3].sum(axis=0)
        force[i] = np.hypot(*push)
        if force[i] > TINY:
            # nodes of a roll stay where they are in its own frame
            x = model.places[rows[:, 0].astype(np.int64) - 1, 0]
            contact[i] = (rows[:, 1:3] @ push) @ x / force[i] ** 2
    slide = np.cos(model.case.machine.rear.slide_angle)
    contact[2] -= (lift - play(model.case)[1]) * slide
    return (
        stage,
        lift,
        fed,
        force,
        contact,
        float(found["fMID"][:, 1].sum()),
        np.unwrap(np.arctan2(-across[:, 0], across[:, 1])),
        middle[:, 0] + fed,
        middle[:, 1],
    )

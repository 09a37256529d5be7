"""Runs of the sheet through the nip, and the case that they make: moves and TOML."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from pinchline import library
from pinchline.case.moves import Feed, Lift, Lower, Move, Place, Release, Turn

if TYPE_CHECKING:
    from pinchline.case.case import Case

# mm: what a setting is rounded to
LIFT_STEP_MM = 0.01
PLACE_STEP_MM = 0.1
SAME_LIFT_MM = 0.5 * LIFT_STEP_MM


class Knot(NamedTuple):
    """Lift (mm) at a place: ``u`` (mm) from the edge nearer the operator."""

    u: float
    lift: float


class Run(NamedTuple):
    """One run toward the operator: laid in and raised at the first knot.

    turned: whether the sheet is turned end for end before it is laid in.
    """

    knots: tuple[Knot, ...]
    turned: bool = False

    def rounded(self) -> Run:
        """Give the run as it is set: lifts and places rounded, no idle pieces."""
        knots = [
            Knot(_to(k.u, PLACE_STEP_MM), _to(k.lift, LIFT_STEP_MM)) for k in self.knots
        ]
        kept = knots[:1]
        for i, knot in enumerate(knots[1:], 1):
            if knot.u <= kept[-1].u:
                kept[-1] = Knot(kept[-1].u, knot.lift) if len(kept) > 1 else kept[-1]
                continue
            after = knots[i + 1] if i + 1 < len(knots) else None
            level = abs(knot.lift - kept[-1].lift) < SAME_LIFT_MM
            if (
                level
                and after is not None
                and abs(after.lift - knot.lift) < SAME_LIFT_MM
            ):
                continue
            kept.append(knot)
        return self._replace(knots=tuple(kept))

    def placed(self, start: float, stop: float) -> Run:
        """Give the run with the same lifts from another start to another stop (mm)."""
        moved = start - self.knots[0].u
        kept = [Knot(k.u + moved, k.lift) for k in self.knots[:-1]]
        kept = [k for k in kept if k.u < stop]
        return self._replace(knots=(*kept, Knot(stop, self.knots[-1].lift)))

    def raised_by(self, more: float) -> Run:
        """Give the run with every lift higher by so much (mm)."""
        return self._replace(knots=tuple(Knot(k.u, k.lift + more) for k in self.knots))

    def below(self, most: float) -> Run:
        """Give the run with no lift above ``most`` (mm)."""
        return self._replace(
            knots=tuple(Knot(k.u, min(k.lift, most)) for k in self.knots)
        )


def _to(value: float, step: float) -> float:
    return round(round(value / step) * step, 6)


def moves_of(runs: tuple[Run, ...], length: float) -> tuple[Move, ...]:
    """Give the moves of runs, the sheet taken out between them."""
    moves: list[Move] = []
    turned = False
    for run in runs:
        first, *rest = run.knots
        if run.turned:
            moves.append(Turn())
            turned = not turned
        at = length - first.u if turned else first.u
        moves += [Place(at=_to(at, PLACE_STEP_MM)), Lift(to=first.lift)]
        here = first
        for knot in rest:
            changed = abs(knot.lift - here.lift) >= SAME_LIFT_MM
            moves.append(
                Feed(
                    toward="operator",
                    by=_to(knot.u - here.u, PLACE_STEP_MM),
                    lift_to=knot.lift if changed else None,
                )
            )
            here = knot
        moves.append(Lower())
    return (*moves, Release())


def job(case: Case, runs: tuple[Run, ...], length: float) -> Case:
    """Give the case with these runs and a blank of ``length`` (mm)."""
    length = _to(length, PLACE_STEP_MM)
    moves = moves_of(tuple(run.rounded() for run in runs), length)
    return case.replace({"sheet.length": length, "move": moves})


def toml_for_folder(case: Case, folder: Path) -> str:
    """Give the text of a case that is written into a folder: its paths start there."""
    import tomlkit

    document = tomlkit.parse(case.text)
    rebase_paths(document, Path(case.path).parent, folder)
    return tomlkit.dumps(document)


_PATHS = (("sheet", "material"), ("machine", "use"), ("target", "profile"))


def rebase_paths(document: Any, old: Path, new: Path) -> None:
    """Change relative paths of a case so that they hold in another folder."""
    for table, key in _PATHS:
        value = document.get(table, {}).get(key)
        if not isinstance(value, str) or Path(value).is_absolute():
            continue
        if key == "profile" or library.is_path(value):
            document[table][key] = Path(os.path.relpath(old / value, new)).as_posix()

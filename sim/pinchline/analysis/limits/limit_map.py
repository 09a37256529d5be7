"""Maps of the tightest radius: over thickness and alloy, or thickness and yield.

Every point is a sheet of its own on the case's machine, asked by ``tightest``; on a
sample of the points the stepped solver is asked the same. Points are independent, so
that a map that was interrupted goes on with the points that are not in its state file.
"""

from __future__ import annotations

import hashlib
import json
import math
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple, Self

import numpy as np

from pinchline import parallel
from pinchline._version import __version__
from pinchline.analysis.limits.tightest import (
    STEPPED,
    TightestPass,
    check_by_stepping,
    tightest,
)
from pinchline.case.checks import MAX_THICKNESS_OVER_RADIUS
from pinchline.case.metal.material import covered_thicknesses
from pinchline.case.metal.tempers import covered_by_all, own_source, tempers
from pinchline.case.moves import Place
from pinchline.errors import InputError
from pinchline.results.writer import write_whole

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from pinchline.case.case import Case
    from pinchline.case.metal.material import Material

    Progress = Callable[[float, str], None]

MapKind = Literal["alloy", "yield"]
MAP_KINDS: tuple[MapKind, ...] = ("alloy", "yield")
POINTS_PER_AXIS = 30  # each way
FEWEST_POINTS, MOST_POINTS = 4, 200
SAMPLE = 10  # points at which the stepped solver is asked as well
POINTS_PER_TASK = 5  # points that a process takes at a time
SAVE_INTERVAL_S = 1.0  # s between two states of the map
SPAN_SHARE_OF_TIME = 0.9  # of the time: the points; the rest is the sample
ALMOST_FLAT_RADIUS_MM = 10.0e3  # mm; a larger radius is no bend to be compared
GOLDEN_SECTION = 0.6180339887498949
# a card without ranges: from a fourth to four times the case's thickness
DEFAULT_THICKNESS_RATIO = 4.0
THINNEST_OVER_ROLL_RADIUS = 0.01  # of the upper roll's radius: thinner is foil
CLEARANCE_MARGIN = 1.02  # of clearance and play, which stay below the thickness
YIELD_ROUNDING_MPA = 10.0  # MPa, to which the ends of the yield axis are rounded


class MapPoint(NamedTuple):
    """One sheet of a map and its tightest pass.

    thickness (mm); yield_strength in bending (MPa); stepped: the stepped solver's
    answer, where it was asked.
    """

    material: str
    thickness: float
    yield_strength: float
    found: TightestPass
    stepped: TightestPass | None

    @property
    def error(self) -> float:
        """Radius over the stepped solver's, less 1; NaN where it was not asked."""
        return (
            self.found.radius / self.stepped.radius - 1.0 if self.stepped else math.nan
        )


@dataclass(frozen=True)
class LimitMap:
    """All points of a map, row by row: each alloy or yield strength by thickness."""

    kind: MapKind
    points: tuple[MapPoint, ...]

    @property
    def errors(self) -> list[float]:
        """Relative errors of the radius on the sample, by size; finite ones."""
        found = (abs(p.error) for p in self.points)
        return sorted(error for error in found if math.isfinite(error))


def limit_map(
    case: Case,
    kind: MapKind,
    *,
    points: int = POINTS_PER_AXIS,
    state: Path | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> LimitMap:
    """Map the tightest radius of a machine.

    Parameters
    ----------
    case : its machine, width and length of sheet count; its moves do not
    kind : over ``alloy`` (every card on file and the case's own) or ``yield`` strength
        (all else as in the case's sheet), and thickness
    points : thicknesses, and yield strengths
    state : file that keeps the points done; read where it is there
    workers : processes; None takes all cores
    progress : called with the share done (0..1) and what is being done

    Raises
    ------
    InputError
        The map has too few or too many points, the case cannot be mapped, or the state
        file is not of this map.
    """
    sheets = list(_sheets(case, kind, points))
    kept = _State(state, _fingerprint(kind, sheets))

    def report(share: float, words: str) -> None:
        if progress is not None:
            progress(share, words)

    with kept, parallel.workers(workers, len(sheets)) as do_all:
        todo = [i for i in range(len(sheets)) if i not in kept.found]
        for done in do_all(_ask, _chunks(sheets, todo, POINTS_PER_TASK)):
            kept.add("found", done)
            share = len(kept.found) / len(sheets)
            name = sheets[done[-1][0]].sheet.material.name
            report(
                SPAN_SHARE_OF_TIME * share,
                f"{len(kept.found)} of {len(sheets)} sheets, {name}",
            )
        found = [kept.found[i] for i in range(len(sheets))]
        sample = _sample(found)
        jobs = [(i, sheets[i], found[i]) for i in sample if i not in kept.stepped]
        for number, one in enumerate(do_all(_check_point, jobs), 1):
            kept.add("stepped", [one])
            share = number / len(jobs)
            report(
                SPAN_SHARE_OF_TIME + (1.0 - SPAN_SHARE_OF_TIME) * share,
                "stepped solver on a sample",
            )
    answers = (kept.stepped.get(i) for i in range(len(sheets)))
    rows = zip(sheets, found, answers, strict=True)
    return LimitMap(kind, tuple(_point(*row) for row in rows))


def _point(case: Case, found: TightestPass, stepped: TightestPass | None) -> MapPoint:
    sheet = case.sheet
    strength = sheet.material.yield_strength
    return MapPoint(sheet.material.name, sheet.thickness, strength, found, stepped)


def _chunks(
    sheets: list[Case], todo: list[int], size: int
) -> list[list[tuple[int, Case]]]:
    numbers = [todo[i : i + size] for i in range(0, len(todo), size)]
    return [[(i, sheets[i]) for i in some] for some in numbers]


def _ask(job: list[tuple[int, Case]]) -> list[tuple[int, TightestPass]]:
    return [(number, tightest(case)) for number, case in job]


def _check_point(job: tuple[int, Case, TightestPass]) -> tuple[int, TightestPass]:
    number, case, found = job
    return number, check_by_stepping(case, found)


def _sample(found: list[TightestPass]) -> list[int]:
    """Choose points that leave a bend, spread by the golden section."""
    bent = [
        i
        for i, answer in enumerate(found)
        if answer.radius < ALMOST_FLAT_RADIUS_MM and answer.by != STEPPED
    ]
    places = ((0.5 + GOLDEN_SECTION * number) % 1.0 for number in range(SAMPLE))
    return sorted({bent[int(place * len(bent))] for place in places}) if bent else []


def _sheets(case: Case, kind: MapKind, points: int) -> Iterator[Case]:
    """Every sheet of a map, row by row."""
    if not FEWEST_POINTS <= points <= MOST_POINTS:
        allowed = f"{FEWEST_POINTS} to {MOST_POINTS}"
        message = "so many points make no map"
        raise InputError(message, key="points", value=points, allowed=allowed)
    yield from _by_alloy(case, points) if kind == "alloy" else _by_yield(case, points)


def _by_alloy(case: Case, points: int) -> Iterator[Case]:
    thicknesses = _thicknesses(case, covered_by_all(case), points)
    for row in tempers(case, thicknesses).values():
        for thickness, material in row:
            yield _with_sheet(case, thickness, material)


def _by_yield(case: Case, points: int) -> Iterator[Case]:
    own = case.sheet.material
    if own.curve is not None:
        message = "a full curve has no one yield strength to map over"
        allowed = "a material of two straight lines, or the map over alloys"
        key = "sheet.material"
        raise InputError(message, file=case.path, key=key, allowed=allowed)
    t = case.sheet.thickness
    spread = covered_thicknesses(own_source(case), case.path) or (
        t / DEFAULT_THICKNESS_RATIO,
        t * DEFAULT_THICKNESS_RATIO,
    )
    thicknesses = _thicknesses(case, spread, points)
    on_file = [
        m.yield_strength for row in tempers(case, thicknesses).values() for _, m in row
    ]
    low = max(
        YIELD_ROUNDING_MPA * math.floor(min(on_file) / YIELD_ROUNDING_MPA),
        YIELD_ROUNDING_MPA,
    )
    high = YIELD_ROUNDING_MPA * math.ceil(max(on_file) / YIELD_ROUNDING_MPA)
    for strength in np.linspace(low, high, points):
        for thickness in thicknesses:
            sheet = _with_sheet(case, thickness, own)
            yield sheet.replace({"sheet.material.yield_strength": float(strength)})


def _thicknesses(case: Case, spread: tuple[float, float], points: int) -> list[float]:
    """Thicknesses (mm) in equal ratios, of those that the machine takes."""
    machine = case.machine
    nip, rear = machine.nip, machine.rear
    low = max(
        spread[0],
        THINNEST_OVER_ROLL_RADIUS * machine.rolls.upper_radius,
        CLEARANCE_MARGIN * max(nip.opening, nip.play, rear.play),
    )
    high = min(spread[1], MAX_THICKNESS_OVER_RADIUS * machine.rolls.upper_radius)
    if low >= high:
        message = "the machine takes no sheet that the cards cover"
        raise InputError(
            message,
            file=case.path,
            key="machine",
            value=machine.name,
            allowed=f"sheet of {spread[0]:.3g} to {spread[1]:.3g} mm",
        )
    return [float(t) for t in np.geomspace(low, high, points)]


def _with_sheet(case: Case, thickness: float, material: Material) -> Case:
    """Give a case with another sheet of the same width and length."""
    length = case.sheet.length
    changes: dict[str, object] = {
        "sheet.thickness": thickness,
        "sheet.material": material,
        "sheet.length": length,
        "target": None,
        "move": (Place(at=0.5 * length),),
    }
    if case.model.element is not None:
        element = case.model.element * thickness / case.sheet.thickness
        changes["model.element"] = element
    return case.replace(changes)


def _fingerprint(kind: MapKind, sheets: list[Case]) -> str:
    """Digest of everything that the points of a map are computed from."""
    digest = hashlib.sha256(f"{kind} {__version__}".encode())
    for case in sheets:
        for part in (case.sheet, case.machine, case.model):
            digest.update(part.model_dump_json().encode())
    return digest.hexdigest()


class _State:
    """Completed points of a map, kept in a file that is written whole.

    As a context it is saved once more when it is left, also by an exception.
    """

    def __init__(self, path: Path | None, fingerprint: str) -> None:
        self.path, self.fingerprint = path, fingerprint
        self.found: dict[int, TightestPass] = {}
        self.stepped: dict[int, TightestPass] = {}
        self._saved = time.monotonic()
        if path is not None and path.exists():
            self._read(path)

    def add(
        self, part: Literal["found", "stepped"], done: list[tuple[int, TightestPass]]
    ) -> None:
        """Add completed points; at intervals the file is written."""
        (self.found if part == "found" else self.stepped).update(done)
        if time.monotonic() - self._saved > SAVE_INTERVAL_S:
            self.save()

    def save(self) -> None:
        """Write the state's file."""
        if self.path is None:
            return
        kept = {
            "map": self.fingerprint,
            "found": [[i, *answer] for i, answer in self.found.items()],
            "stepped": [[i, *answer] for i, answer in self.stepped.items()],
        }
        write_whole(self.path, json.dumps(kept).encode())
        self._saved = time.monotonic()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        self.save()

    def _read(self, path: Path) -> None:
        message = "the file does not hold the points of this map"
        try:
            kept = json.loads(path.read_bytes())
            same = kept["map"] == self.fingerprint
            for part, into in (("found", self.found), ("stepped", self.stepped)):
                into.update((int(i), TightestPass.read(row)) for i, *row in kept[part])
        except OSError as error:
            same, message = False, f"the file cannot be read: {error.strerror}"
        except (ValueError, TypeError, KeyError):
            same = False
        if not same:
            allowed = "what the same command left; --anew does without it"
            raise InputError(message, file=path, allowed=allowed)

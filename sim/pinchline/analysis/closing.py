"""Manual closing of a finished part, with the same sheet and its stresses.

Two edges, or gauge lines, are drawn together by a pair of forces along the line between
them, step by step. The part gives elastically until the metal it was bent from yields
again; what opening it keeps when let go follows from its release at every step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pinchline.errors import InputError, SolverError
from pinchline.parts.measure import free_outline
from pinchline.solvers.stepped.loaded_strip import HeldSheet, SheetCopy, X, Y
from pinchline.solvers.stepped.placing import take_out

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.solvers.stepped.state import State

    Array = NDArray[np.float64]

CLOSING_STEPS = 24  # to the wanted opening
PRESS_STEP_GROWTH = 1.3  # of the steps past it
MAX_PRESS_SHARE = 0.9  # of the way from the free part to a straight one
MIN_STEP_SHARE = 1.0e-4  # of a step, where no equilibrium is found
OPENING_TOLERANCE_MM = 1.0e-3  # mm: how well the opening that is left is met
MAX_OPENING_TRIALS = 30
# 1/mm: an element at yield has no elastic range left that way
MIN_ELASTIC_ROOM_PER_MM = 1.0e-12


@dataclass(frozen=True)
class ManualClosing:
    """Result of a manual closing; forces per mm of width, + draws the lines together.

    Attributes
    ----------
    opening_before : between the gauge lines of the free part, mm
    opening_wanted : that is to be left, mm
    opening_pressed : to which it must be pressed to keep the wanted opening, mm; NaN
        where it cannot keep it
    force : there, N/mm; NaN likewise
    force_held : that holds it at the wanted opening, N/mm; NaN where it gets there not
    elastic : held at the wanted opening it keeps no set
    first_yield_opening : under load, at which the metal first yields, mm; NaN where it
        does not on the way
    reached : it keeps the wanted opening once pressed
    opening, forces, left : curve of the way: opening under load (mm), force (N/mm), and
        opening once let go from there (mm); the first point is the free part
    part_after : x and y of the mid-line once let go, mm, along s, level at s = 0
    energy_error : what the account of work and energy misses, over the work
    """

    opening_before: float
    opening_wanted: float
    opening_pressed: float
    force: float
    force_held: float
    elastic: bool
    first_yield_opening: float
    reached: bool
    opening: Array
    forces: Array
    left: Array
    part_after: tuple[Array, Array]
    energy_error: float


def close_part(
    state: State, wanted_opening: float, *, gauge: tuple[float, float] | None = None
) -> ManualClosing:
    """Close (or spread) a finished part until it keeps an opening.

    Parameters
    ----------
    state : a job's sheet as ``run_to_state`` gives it; a sheet still in the machine is
        taken out of a copy
    wanted_opening : between the gauge lines, mm
    gauge : s of the gauge lines (mm), taken at the nearest node; the edges unless told

    Raises
    ------
    InputError
        The opening is less than a thickness, or the gauge lines are not on the sheet.
    SolverError
        No equilibrium was found even with the smallest step.
    """
    part = state.copy()
    take_out(part, 1)
    lines = _nodes(part, gauge)
    thickness = 2.0 * part.beam.half
    if not wanted_opening >= thickness * (1.0 - 1.0e-9):
        message = "the lines cannot come closer than the sheet is thick"
        raise InputError(
            message,
            key="wanted_opening",
            value=f"{wanted_opening:g} mm",
            allowed=f"{thickness:g} mm or more",
        )
    press = _ManualPress(part, lines)
    if wanted_opening > max(press.flat, press.before):
        message = "the part would be pulled straight"
        raise InputError(
            message,
            key="wanted_opening",
            value=f"{wanted_opening:g} mm",
            allowed=f"up to {press.flat:.4g} mm between lines that lie "
            f"{press.between:.4g} mm apart along the sheet",
        )
    way = math.copysign(1.0, wanted_opening - press.before)
    reached = _press_to(press, wanted_opening, way, thickness)
    return _closing(press, part, wanted_opening, way, reached=reached)


def _nodes(part: State, gauge: tuple[float, float] | None) -> tuple[int, int]:
    """Nodes of the gauge lines, as the machine counts them."""
    n, length = part.elements, part.beam.length
    low, high = (0.0, n * length) if gauge is None else gauge
    first, last = round(low / length), round(high / length)
    if not (0 <= first < last <= n):
        message = "the gauge lines do not lie on the sheet"
        raise InputError(
            message,
            key="gauge",
            value=f"{low:g} mm, {high:g} mm",
            allowed=f"two rising places from 0 to {n * length:g} mm",
        )
    return (n - last, n - first) if part.turned else (first, last)


@dataclass
class _PressSnapshot:
    """Copy of a press's state that it can be restored to."""

    sheet: SheetCopy
    gap: float
    force: float
    work: float
    strain: float


class _ManualPress:
    """A part under a pair of closing forces: its sheet, gap, and load path so far."""

    def __init__(self, part: State, lines: tuple[int, int]) -> None:
        self.sheet = HeldSheet(part.beam._replace(weight=0.0), part.chain)
        self.lines = lines
        c, (a, b) = self.sheet.chain, lines
        self.sheet.lay_out()
        self.before = self.gap = _node_distance(self.sheet, lines)
        _level(self.sheet, a, b)
        self.between = (b - a) * part.beam.length
        self.flat = self.before + MAX_PRESS_SHARE * (self.between - self.before)
        self.start = c.curvature.copy()
        self.room = (
            np.minimum(c.low - self.start, -MIN_ELASTIC_ROOM_PER_MM),
            np.maximum(c.high - self.start, MIN_ELASTIC_ROOM_PER_MM),
        )
        self.force = self.work = self.strain = 0.0
        for node, direction in ((a, X), (a, Y), (b, Y)):
            self.sheet.hold(node, direction)
        self.curve = [(self.gap, 0.0, self.before)]
        self.strains = [0.0]

    def keep(self) -> _PressSnapshot:
        """Copy all that a step changes."""
        return _PressSnapshot(
            self.sheet.copy(), self.gap, self.force, self.work, self.strain
        )

    def restore(self, kept: _PressSnapshot) -> None:
        """Go back to a copy, which stays good."""
        self.sheet.restore(kept.sheet)
        self.gap, self.force = kept.gap, kept.force
        self.work, self.strain = kept.work, kept.strain

    def to(self, gap: float) -> None:
        """Bring the lines to a distance (mm), in one step or in smaller ones."""
        start, target = self.gap, gap
        step = target - start
        while self.gap != target:
            rest = target - self.gap
            stride = rest if abs(rest) <= abs(step) else step
            kept = self.keep()
            self.sheet.hold(self.lines[1], X, self.gap + stride)
            try:
                self.sheet.settle()
            except SolverError:
                self.restore(kept)
                step = 0.5 * stride
                if abs(step) < MIN_STEP_SHARE * abs(target - start):
                    raise
                continue
            force = -self.sheet.reaction(self.lines[1], X)
            self.work -= 0.5 * (self.force + force) * stride
            self.gap = target if stride == rest else self.gap + stride
            self.force = force
            self.strain = max(self.strain, self._strain())

    def _strain(self) -> float:
        """How much of its elastic range the worst element has used, 1 at yield.

        The range is that of the free part; it moves only when the metal yields.
        """
        change = self.sheet.chain.curvature - self.start
        low, high = self.room
        return float(np.max(np.where(change > 0.0, change / high, change / low)))

    def left(self) -> float:
        """Return the opening (mm) that is left once let go from here."""
        return self._let_go()[1]

    def free_curvature(self) -> Array:
        """Curvature (1/mm) of every element once let go; the press stays closed."""
        return self._let_go()[0]

    def _let_go(self) -> tuple[Array, float]:
        kept = self.keep()
        self.sheet.release()
        self.sheet.lay_out()
        c = self.sheet.chain
        free, opening = c.curvature.copy(), _node_distance(self.sheet, self.lines)
        self.restore(kept)
        return free, opening

    def note(self) -> None:
        """Record a point of the load path."""
        self.curve.append((self.gap, self.force, self.left()))
        self.strains.append(self.strain)


def _node_distance(sheet: HeldSheet, lines: tuple[int, int]) -> float:
    """Distance between two nodes, mm."""
    c = sheet.chain
    a, b = lines
    return math.hypot(c.x[b] - c.x[a], c.y[b] - c.y[a])


def _level(sheet: HeldSheet, a: int, b: int) -> None:
    """Turn the free sheet so that node a is the origin and node b lies on + x."""
    c = sheet.chain
    x, y = c.x - c.x[a], c.y - c.y[a]
    angle = math.atan2(y[b], x[b])
    cosine, sine = math.cos(angle), math.sin(angle)
    c.x[:], c.y[:] = cosine * x + sine * y, cosine * y - sine * x
    c.theta[:] -= angle


def _press_to(press: _ManualPress, wanted: float, way: float, least: float) -> bool:
    """Press past the wanted opening until so much is left; False where it cannot be.

    Leaves the press where the wanted opening is left, or as far as it goes: closing
    ends where the lines are a thickness apart, spreading where the part is nearly flat.
    """
    distance = abs(wanted - press.before)
    if distance <= OPENING_TOLERANCE_MM:
        return True
    end = least if way < 0.0 else press.flat
    step = distance / CLOSING_STEPS
    for i in range(1, CLOSING_STEPS + 1):
        press.to(press.before + way * distance * i / CLOSING_STEPS)
        press.note()
    while press.gap != end:
        kept = press.keep()
        open_before = press.curve[-1][2]
        step = min(PRESS_STEP_GROWTH * step, abs(end - press.before) / CLOSING_STEPS)
        press.to(end if abs(end - press.gap) <= step else press.gap + way * step)
        left = press.left()
        if (left - wanted) * way >= 0.0:
            _solve_opening(press, wanted, kept, (open_before, press.gap, left))
            press.note()
            return True
        press.note()
    return abs(press.curve[-1][2] - wanted) <= OPENING_TOLERANCE_MM


def _solve_opening(
    press: _ManualPress,
    wanted: float,
    kept: _PressSnapshot,
    ahead: tuple[float, float, float],
) -> None:
    """Find the pressing at which the wanted opening is left, by regula falsi.

    ``kept``: a point not pressed enough; ``ahead``: what it leaves, and the opening of
    one pressed too far and what that leaves.
    """
    low, high = kept.gap, ahead[1]
    miss_low, miss_high = ahead[0] - wanted, ahead[2] - wanted
    for _ in range(MAX_OPENING_TRIALS):
        gap = (low * miss_high - high * miss_low) / (miss_high - miss_low)
        press.restore(kept)
        press.to(gap)
        miss = press.left() - wanted
        if abs(miss) <= OPENING_TOLERANCE_MM:
            return
        if (miss > 0.0) == (miss_high > 0.0):
            high, miss_high, miss_low = gap, miss, 0.5 * miss_low
        else:
            low, miss_low, miss_high = gap, miss, 0.5 * miss_high


def _closing(
    press: _ManualPress, part: State, wanted: float, way: float, *, reached: bool
) -> ManualClosing:
    opening, forces, left = (
        np.array(column) for column in zip(*press.curve, strict=True)
    )
    strains = np.array(press.strains)
    held = way * (opening - wanted)
    at_wanted = 0.0 if opening.size == 1 else math.nan
    if held[-1] >= 0.0:
        at_wanted = float(np.interp(0.0, held, forces))
    first = _first_yield(opening, strains)
    energies = press.sheet.energies
    missing = press.work - float(np.sum(energies))
    free = press.free_curvature()
    shape = free_outline(free[::-1] if part.turned else free, part.beam.length)
    return ManualClosing(
        opening_before=press.before,
        opening_wanted=wanted,
        opening_pressed=press.gap if reached else math.nan,
        force=press.force if reached else math.nan,
        force_held=at_wanted,
        elastic=not way * (first - wanted) < 0.0,
        first_yield_opening=first,
        reached=reached,
        opening=opening,
        forces=forces,
        left=left,
        part_after=(shape.x, shape.y),
        energy_error=abs(missing) / press.work if press.work > 0.0 else 0.0,
    )


def _first_yield(opening: Array, strains: Array) -> float:
    """Return the opening (mm) at which the used share of the elastic range is 1.

    Extended from the two points before, since past yield the strain runs ahead.
    """
    if strains[-1] <= 1.0:
        return math.nan
    at = int(np.argmax(strains > 1.0))
    base = max(0, at - 2)
    if at == 1:
        slope = strains[1] / (opening[1] - opening[0])
    else:
        slope = (strains[at - 1] - strains[base]) / (opening[at - 1] - opening[base])
    found = opening[at - 1] + (1.0 - strains[at - 1]) / slope
    low, high = sorted((opening[at - 1], opening[at]))
    return float(np.clip(found, low, high))

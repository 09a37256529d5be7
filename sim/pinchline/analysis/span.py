"""The steady pass without history: what one long feed at one lift leaves, in a moment.

For first guesses, wide maps and fits. The sheet between the rolls is solved as one
boundary-value problem (``physics.pass_solve``) with the stepped solver's section law,
contact foundation, shear and supports; what is not in it are the sheet's ends, weight
and the steps of a feed. The raise at rest that comes before a pass is a problem of the
same kind, with a sheet that nowhere has unloaded (way ``rest``). What was not found has
NaN for numbers and a status that tells so.

Error of the residual radius against the stepped solver at its shipped element;
5052-H32, 2024-T3, 3003-H14, 0.5, 1 and 2 mm, lifts 10 to 30 mm on bench-60, where both
settle (``benchmarks/span.py`` prints every pass, and the time of a solution):

    toward   nip     passes  median  90 % below  worst
    rear     rigid   42      0.04 %  0.33 %      0.72 %
    rear     giving  40      0.07 %  0.29 %      0.51 %
    operator rigid   29      0.42 %  1.07 %      2.26 %
    operator giving  25      0.45 %  1.06 %      1.55 %

11 of the 216 are not found, all toward the operator deep in wrap, at 26 mm and more.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from pinchline.analysis import parallel
from pinchline.model.moves import Lift
from pinchline.physics import pass_follow, pass_solve
from pinchline.physics.pass_law import (
    COLUMNS,
    left_curvature,
    tabulate,
    virgin_curvature,
)
from pinchline.physics.pass_march import (
    DRIVE,
    GIVE_REAR,
    GIVE_UPPER,
    LARGEST,
    PUSH,
    REAR_Y,
    THETA,
    M,
    Strip,
    X,
    Y,
)
from pinchline.physics.section import HISTORY, SCRATCH
from pinchline.physics.support import GIVE_X, GIVE_Y
from pinchline.process.geometry import LOWER, REAR, UPPER, jam_lift, roll_table
from pinchline.process.layers import (
    bending_modulus,
    plane_strain_modulus,
    section_law,
)
from pinchline.process.regime import width_regime
from pinchline.process.state import SHEAR_FACTOR
from pinchline.process.supports import clamped_depths, support_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from pinchline.model.case import Case

    Array = NDArray[np.float64]

Way = Literal["rear", "operator", "rest"]

ROWS = 64  # of the section's table
TIGHTEST = 2.0  # of the upper roll's curvature: where the table ends
# shares of the clamp from which soft sheet is followed; ratio of its growth, and least
LOOSER, TIGHTEN, ENOUGH = (0.5, 0.12), 1.4, 1.02
# longest segment in the nip, in thicknesses; where it leads nowhere, half of that: thin
# sheet has patches that are short beside it
SEGMENT, SHORT_SEGMENT = 1.0, 0.5
SOLVED, JAM, LOST, REVERSED = "solved", "jam", "not found", "yields both ways"
UPPER_FIRST = "upper roll touches first"
# way of the march: at rest either would do
_SIGNS: dict[Way, float] = {"rear": 1.0, "operator": -1.0, "rest": 1.0}
# columns of the parameters of solve_many; NaN takes the case's own
THICKNESS, YIELD, TANGENT, YOUNGS, CLAMP, STIFFNESS, LIFT = range(7)
# what a ratio of each does to the bend, roughly: tells which solution is nearest
_WEIGHTS = np.array([1.0, 1.0, 0.1, 1.0, 0.1, 0.1, 2.0])
MOST_STARTS = 200  # kept of a chunk


class Pass(NamedTuple):
    """What a steady pass, or a raise at rest, leaves and takes, per mm of width.

    lift: mm; way: fed toward; loaded, residual: largest and remaining curvature (1/mm);
    moment: largest (N mm/mm); force_*: of the rolls (N/mm); drive: along the sheet at
    the nip line, + toward the rear roll (N/mm); push_rear: what the rear roll bears
    along its slide (N/mm); grip: with which both pinch rolls press (N/mm); reach: sheet
    between nip line and rear roll (mm); nip_opening: between the pinch rolls' surfaces
    (mm); gives: of upper, lower and rear roll (mm); iterations; status: ``solved``, or
    why the rest is NaN: ``jam``, ``not found`` (no equilibrium), ``yields both ways``
    (the law tabulated does not hold), ``upper roll touches first`` (the sheet bears
    something where it was taken to be free).
    """

    lift: float
    way: Way
    loaded: float
    residual: float
    moment: float
    force_upper: float
    force_lower: float
    force_rear: float
    drive: float
    push_rear: float
    grip: float
    reach: float
    nip_opening: float
    gives: tuple[float, float, float]
    iterations: int
    status: str

    @property
    def radius(self) -> float:
        """Residual radius of the mid-line, mm; infinite where nothing remains."""
        return 1.0 / self.residual if self.residual != 0.0 else math.inf

    @property
    def pushed(self) -> Array:
        """Push on upper, lower and rear roll the way they give, ``(3)``, N/mm."""
        return np.array([self.force_upper, self.force_lower, self.push_rear])


class _Setting(NamedTuple):
    """A case as the kernels take it: sheet, rolls at touch, slide, supports."""

    strip: Strip
    machine: Array
    slide: Array
    supports: Array


def _held(case: Case, lift: float) -> float:
    """Share of the width that a lift (mm) holds flat."""
    return width_regime(case.model_copy(update={"moves": (Lift(to=lift),)})).held


def _setting(
    case: Case, held: float, natural: float, way: Way, segment: float
) -> _Setting:
    sheet, model = case.sheet, case.model
    material, t = sheet.material, sheet.thickness
    law = section_law(material, t, model, held)
    table = np.zeros((ROWS, COLUMNS))
    last = max(TIGHTEST / case.machine.rolls.upper_radius, 4.0 * law.high)
    history = law.virgin.copy()
    scratch = np.zeros((HISTORY, SCRATCH))
    tabulate(
        law.law,
        law.layers,
        law.virgin,
        law.bending,
        law.high,
        last,
        history,
        scratch,
        table,
    )
    shear = material.youngs_modulus / (2.0 * (1.0 + material.poisson_ratio))
    strip = Strip(
        axial=bending_modulus(material, held) * t,
        shear=SHEAR_FACTOR * shear * t,
        bending=law.bending,
        foundation=model.contact * plane_strain_modulus(material) / t,
        natural=natural,
        thickness=t,
        offset=(model.drive_share - 0.5) * t,
        first_yield=law.first_yield,
        rest=way == "rest",
        segment=segment,
        table=table,
    )
    supports = support_table(case)
    depths = clamped_depths(case, strip.foundation)
    machine = roll_table(case.machine, t, 0.0, depths)[:, :3].copy()
    slide = supports[REAR, [GIVE_X, GIVE_Y]].copy()
    return _Setting(strip, machine, slide, supports)


def _read(
    case: Case,
    setting: _Setting,
    solution: pass_solve.Solution,
    lift: float,
    way: Way,
    natural: float,
    iterations: int,
) -> Pass:
    """Read a pass from a solution."""
    strip, q = setting.strip, solution.q
    rows = int(solution.mesh[2])
    path = solution.path[:rows]
    sign = _SIGNS[way]
    if float(np.min(path[:, 1 + M])) < -strip.table[0, 0]:
        return _nothing(lift, way, REVERSED, iterations)
    free = path[0 if sign > 0.0 else -1]
    axis = setting.machine[UPPER, 1] + q[GIVE_UPPER]
    if math.hypot(free[1 + X], free[1 + Y] - axis) < setting.machine[UPPER, 2]:
        return _nothing(lift, way, UPPER_FIRST, iterations)
    top = float(np.max(path[:, 1 + M]) if strip.rest else path[-1, 1 + LARGEST])
    peak, _ = virgin_curvature(strip.table, strip.bending, top)
    left, _ = left_curvature(strip.table, top)
    lower = sign * float(path[-1, 1 + PUSH])
    nip = int(np.argmin(np.abs(path[:, 1 + X])))
    tilt = float(path[nip, 1 + THETA])
    end = path[-1 if sign > 0.0 else 0]
    rear = float(q[REAR_Y]) / math.cos(end[1 + THETA])
    slide = setting.slide
    along = math.sin(end[1 + THETA]) * slide[0] - math.cos(end[1 + THETA]) * slide[1]
    gives = q[GIVE_UPPER : GIVE_REAR + 1]
    rolls = case.machine.rolls
    apart = setting.machine[0, 1] - setting.machine[1, 1] + gives[0] + gives[1]
    return Pass(
        lift=lift,
        way=way,
        loaded=natural + peak,
        residual=natural + left,
        moment=top,
        force_upper=lower + float(q[REAR_Y]),
        force_lower=lower,
        force_rear=rear,
        drive=float(q[DRIVE]) * math.cos(tilt),
        push_rear=rear * float(along),
        grip=_grip(setting, path, gives, lower + float(q[REAR_Y]), lower),
        reach=abs(float(end[0] - path[nip, 0])),
        nip_opening=float(apart) - rolls.upper_radius - rolls.lower_radius,
        gives=(float(gives[0]), float(gives[1]), float(gives[2])),
        iterations=iterations,
        status=SOLVED,
    )


def _grip(
    setting: _Setting, path: Array, gives: Array, upper: float, lower: float
) -> float:
    """Sum of the pressures of both pinch rolls (N/mm), from their forces along y.

    By the trapezoidal rule; what it misses of a patch it misses of both sums.
    """
    total = 0.0
    for roll, force, side in ((UPPER, upper, 1.0), (LOWER, lower, -1.0)):
        _, y, reach = setting.machine[roll]
        off = path[:, 1 + Y] - y - side * gives[roll]
        distance = np.hypot(path[:, 1 + X], off)
        depth = np.maximum(reach - distance, 0.0)
        along = float(np.trapezoid(depth * np.abs(off) / distance, path[:, 0]))
        whole = float(np.trapezoid(depth, path[:, 0]))
        total += force * whole / along if along != 0.0 else force
    return total


def _nothing(lift: float, way: Way, status: str, iterations: int = 0) -> Pass:
    nan = math.nan
    return Pass(lift, way, *(nan,) * 11, (nan, nan, nan), iterations, status)


class Follower:
    """Solutions of one case along its lifts, from which its neighbours start."""

    def __init__(self, case: Case, way: Way, natural: float) -> None:
        self.case, self.way, self.natural = case, way, natural
        self.room = pass_solve.new_room()
        self.solution = pass_solve.new_solution()
        self.kept = pass_solve.new_solution()
        self.starts: list[pass_solve.Solution] = []
        self.places: list[Array] = []
        self.here = math.nan  # lift of what ``kept`` holds
        self.first_yield = math.nan  # moment of the sheet solved last, N mm/mm
        self.segment = SEGMENT
        self._last: tuple[Case, float, _Setting] | None = None

    def from_nothing(self, case: Case, lift: float) -> Pass:
        """Follow the pass up from an elastic bend."""
        if lift >= jam_lift(case.machine, case.sheet.thickness):
            return _nothing(lift, self.way, JAM)
        status, spent = self._follow(self._setting(case, lift), lift)
        if status != pass_solve.CONVERGED and self._refine():
            status, more = self._follow(self._setting(case, lift), lift)
            spent += more
        if math.isnan(self.here) and case.machine.nip.clamp:
            status, more = self._tighten(case, lift)
            spent += more
        return self._end(case, self._setting(case, lift), lift, status, spent)

    def _refine(self) -> bool:
        """Take shorter segments from now on; False where that is done already."""
        if self.segment == SHORT_SEGMENT:
            return False
        self.segment, self._last = SHORT_SEGMENT, None
        return True

    def _follow(self, setting: _Setting, lift: float) -> tuple[int, int]:
        status, spent, self.here = pass_follow.follow(
            *setting, lift, _SIGNS[self.way], self.solution, self.kept, self.room
        )
        return status, spent

    def _tighten(self, case: Case, lift: float) -> tuple[int, int]:
        """Follow the pass in a looser nip, then clamp it: for soft sheet.

        Its bend is held by so short an arm that the patches of the pinch rolls would
        lie over each other in the elastic first guess.
        """
        spent = 0
        for share in LOOSER:
            status, more = self._follow(self._clamped(case, lift, share), lift)
            spent += more
            grow = TIGHTEN
            while status == pass_solve.CONVERGED and share < 1.0 and grow > ENOUGH:
                there = min(1.0, share * grow)
                status, more = self._approach(self._clamped(case, lift, there), lift)
                spent += more
                if status == pass_solve.CONVERGED:
                    share = there
                    pass_follow.copy_solution(self.solution, self.kept)
                    continue
                pass_follow.copy_solution(self.kept, self.solution)
                status, grow = pass_solve.CONVERGED, 1.0 + 0.5 * (grow - 1.0)
            if share == 1.0 and status == pass_solve.CONVERGED:
                return status, spent
            self.here = math.nan
        return pass_solve.STALLED, spent

    def _clamped(self, case: Case, lift: float, share: float) -> _Setting:
        """Give the setting with a share of the clamp."""
        nip = case.machine.nip
        nip = nip.model_copy(update={"clamp": share * (nip.clamp or 0.0)})
        machine = case.machine.model_copy(update={"nip": nip})
        return self._setting(case.model_copy(update={"machine": machine}), lift)

    def _approach(self, setting: _Setting, lift: float) -> tuple[int, int]:
        """Solve at a lift from what ``solution`` holds."""
        rolls = np.empty_like(setting.machine)
        pass_follow.at_lift(setting.machine, setting.slide, lift, rolls)
        return pass_follow.approach(
            setting.strip,
            rolls,
            setting.slide,
            setting.supports,
            self.solution,
            self.room,
        )

    def at(self, lift: float) -> Pass:
        """Solve at a lift (mm) from the last one that was found this way."""
        case = self.case
        if math.isnan(self.here):
            return self.from_nothing(case, lift)
        if lift >= jam_lift(case.machine, case.sheet.thickness):
            return _nothing(lift, self.way, JAM)
        status, spent = self._climb(lift)
        if status != pass_solve.CONVERGED and self._refine():
            status, more = self._climb(lift)
            spent += more
        return self._end(case, self._setting(case, lift), lift, status, spent)

    def _climb(self, lift: float) -> tuple[int, int]:
        setting = self._setting(self.case, lift)
        status, spent, self.here = pass_follow.climb(
            setting.strip,
            setting.machine,
            setting.slide,
            setting.supports,
            self.here,
            lift,
            self.solution,
            self.kept,
            self.room,
        )
        return status, spent

    def _setting(self, case: Case, lift: float) -> _Setting:
        """Give the setting; the lift counts where it changes how the width bends."""
        held = _held(case, lift)
        if self._last is None or self._last[0] is not case or self._last[1] != held:
            setting = _setting(case, held, self.natural, self.way, self.segment)
            self._last = (case, held, setting)
        setting = self._last[2]
        self.first_yield = setting.strip.first_yield
        return setting

    def climb_rungs(self, lifts: Array) -> None:
        """Keep solutions of the case at these lifts (mm), where there are any."""
        for lift in lifts:
            if self.from_nothing(self.case, float(lift)).status == SOLVED:
                self._keep(self._place(self.case, float(lift)))

    def near(self, case: Case, lift: float) -> Pass:
        """Start at the nearest solution kept; from nothing where that fails."""
        if not self.starts or lift >= jam_lift(case.machine, case.sheet.thickness):
            return self.from_nothing(case, lift)
        setting = self._setting(case, lift)
        place = self._place(case, lift)
        apart = np.abs(np.array(self.places) - place) @ _WEIGHTS
        start = self.starts[int(np.argmin(apart))]
        pass_follow.copy_solution(start, self.solution)
        status, spent = self._approach(setting, lift)
        if status == pass_solve.CONVERGED:
            found = self._end(case, setting, lift, status, spent)
        else:
            found = self.from_nothing(case, lift)
        if found.status == SOLVED and len(self.starts) < MOST_STARTS:
            self._keep(place)
        return found

    def _keep(self, place: Array) -> None:
        """Keep the present solution as a start for what lies near it."""
        rows = int(self.solution.mesh[2])
        kept = pass_solve.Solution(
            states=self.solution.states.copy(),
            q=self.solution.q.copy(),
            path=self.solution.path[:rows].copy(),
            mesh=self.solution.mesh.copy(),
        )
        self.starts.append(kept)
        self.places.append(place)

    @staticmethod
    def _place(case: Case, lift: float) -> Array:
        """Where a case lies among its variations: logarithms, so that ratios count."""
        sheet, nip = case.sheet, case.machine.nip
        material = sheet.material
        sizes = np.zeros(LIFT + 1)
        sizes[THICKNESS], sizes[LIFT] = sheet.thickness, lift
        sizes[YIELD] = material.yield_strength
        sizes[TANGENT], sizes[YOUNGS] = (
            material.tangent_modulus,
            material.youngs_modulus,
        )
        sizes[CLAMP], sizes[STIFFNESS] = nip.clamp or 0.0, nip.stiffness or 0.0
        places: Array = np.log(np.maximum(sizes, 1.0e-3))
        return places

    def _end(
        self, case: Case, setting: _Setting, lift: float, status: int, spent: int
    ) -> Pass:
        if status != pass_solve.CONVERGED:
            return _nothing(lift, self.way, LOST, spent)
        return _read(case, setting, self.solution, lift, self.way, self.natural, spent)


def solve_pass(
    case: Case, lift: float, way: Way, *, natural_curvature: float = 0.0
) -> Pass:
    """Solve the steady pass of a case's sheet and machine; its moves do not matter.

    Parameters
    ----------
    case : sheet, machine and model
    lift : of the rear roll, mm
    way : fed toward the "rear" roll or the "operator"; "rest" is the raise before
    natural_curvature : of the stress-free sheet before the pass, 1/mm
    """
    return Follower(case, way, natural_curvature).from_nothing(case, lift)


def climb_lifts(
    case: Case, lifts: Array, way: Way, *, natural_curvature: float = 0.0
) -> Iterator[Pass]:
    """Solve the passes at rising lifts (mm), each from those before it."""
    follower = Follower(case, way, natural_curvature)
    for lift in map(float, lifts):
        yield follower.at(lift)


def _varied(case: Case, row: Array) -> Case:
    """Give a case with the parameters of a row; NaN leaves the case's own."""

    def given(**columns: int) -> dict[str, float]:
        return {k: float(row[c]) for k, c in columns.items() if not np.isnan(row[c])}

    material = case.sheet.material.model_copy(
        update=given(
            yield_strength=YIELD, tangent_modulus=TANGENT, youngs_modulus=YOUNGS
        )
    )
    sheet = case.sheet.model_copy(
        update={"material": material, **given(thickness=THICKNESS)}
    )
    nip = case.machine.nip.model_copy(update=given(clamp=CLAMP, stiffness=STIFFNESS))
    machine = case.machine.model_copy(update={"nip": nip})
    return case.model_copy(update={"sheet": sheet, "machine": machine})


def _chunk(job: tuple[Case, Way, Array, float, int]) -> list[Pass]:
    case, way, parameters, natural, rungs = job
    solver = Follower(case, way, natural)
    lifts = parameters[:, LIFT]
    solver.climb_rungs(np.unique(np.quantile(lifts, np.linspace(0.0, 1.0, rungs))))
    return [solver.near(_varied(case, row), float(row[LIFT])) for row in parameters]


def solve_many(
    case: Case,
    way: Way,
    parameters: Array,
    *,
    natural_curvature: float = 0.0,
    workers: int | None = None,
    chunk: int = 500,
    rungs: int = 3,
) -> list[Pass]:
    """Solve many passes that vary a case; in order, the same for any ``workers``.

    Parameters
    ----------
    parameters : (n, 7) thickness (mm), yield strength, tangent and Young's modulus
        (MPa), clamp (N/mm), stiffness (N/mm per mm), lift (mm); NaN takes the case's
        own, but for the lift
    workers : processes; None takes all cores
    chunk : rows that share first guesses
    rungs : first guesses of a chunk, solutions of the case over its lifts
    """
    rows = np.atleast_2d(np.asarray(parameters, dtype=np.float64))
    parts = [rows[i : i + chunk] for i in range(0, rows.shape[0], chunk)]
    jobs = [(case, way, part, natural_curvature, rungs) for part in parts]
    with parallel.workers(workers, len(jobs)) as do_all:
        return [item for part in do_all(_chunk, jobs) for item in part]

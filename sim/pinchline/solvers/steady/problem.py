"""A steady pass as a problem for the kernels, and its result read from them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from pinchline.physics.section import HISTORY, SCRATCH
from pinchline.physics.support import GIVE_X, GIVE_Y
from pinchline.solvers.regime import width_regime
from pinchline.solvers.rolls import REAR, UPPER, roll_table
from pinchline.solvers.sheet import sheet_properties
from pinchline.solvers.steady.march import (
    BEND,
    DRIVE,
    GIVE_REAR,
    GIVE_UPPER,
    LARGEST,
    PUSH,
    REAR_Y,
    THETA,
    M,
    UnitStrip,
    X,
    Y,
)
from pinchline.solvers.steady.section_table import (
    COLUMNS,
    left_curvature,
    left_curvatures,
    tabulate,
    virgin_curvature,
)
from pinchline.solvers.steady.shooting import pinch_pressure
from pinchline.solvers.supports import clamped_depths, support_table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.solvers.layers import SectionLaw
    from pinchline.solvers.steady.shooting import Solution

    Array = NDArray[np.float64]

Way = Literal["rear", "operator", "rest"]

ROWS = 64  # of the section's table
TIGHTEST = 2.0  # of the upper roll's curvature: where the table ends
SOLVED, JAM, LOST, REVERSED = "solved", "jam", "not found", "yields both ways"
UPPER_FIRST = "upper roll touches first"
# way of the march: at rest either would do
SIGNS: dict[Way, float] = {"rear": 1.0, "operator": -1.0, "rest": 1.0}


class SteadyPass(NamedTuple):
    """Curvature and forces of a steady pass, or of a lift in place, per mm of width.

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


class PassProblem(NamedTuple):
    """A case as the kernels take it: sheet, rolls at touch, slide, supports."""

    strip: UnitStrip
    machine: Array
    slide: Array
    supports: Array


def law_table(law: SectionLaw, upper_radius: float) -> Array:
    """Tabulate a section's law (``pass_law``) to twice the upper roll's curvature."""
    table = np.zeros((ROWS, COLUMNS))
    last = max(TIGHTEST / upper_radius, 4.0 * law.high)
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
    return table


def setting_of(
    case: Case, held: float, natural: float, way: Way, segment: float
) -> PassProblem:
    """Put a case to the kernels.

    ``held``: share of the width held flat; ``natural``: curvature that the sheet came
    with (1/mm); ``segment``: longest in the nip, in thicknesses.
    """
    sheet, t = sheet_properties(case, held), case.sheet.thickness
    law = sheet.law
    table = law_table(law, case.machine.rolls.upper_radius)
    strip = UnitStrip(
        axial=sheet.axial,
        shear=sheet.shear,
        bending=law.bending,
        foundation=sheet.foundation,
        bulge=sheet.bulge,
        natural=natural,
        thickness=t,
        offset=sheet.drive_offset,
        first_yield=law.first_yield,
        rest=way == "rest",
        segment=segment,
        table=table,
    )
    supports = support_table(case)
    depths = clamped_depths(case, strip.foundation)
    machine = roll_table(case.machine, t, 0.0, depths)[:, :3].copy()
    slide = supports[REAR, [GIVE_X, GIVE_Y]].copy()
    return PassProblem(strip, machine, slide, supports)


def read_pass(
    case: Case,
    setting: PassProblem,
    solution: Solution,
    lift: float,
    way: Way,
    natural: float,
    iterations: int,
) -> SteadyPass:
    """Read a pass from a solution."""
    strip, q = setting.strip, solution.q
    rows = int(solution.mesh[2])
    path = solution.path[:rows]
    sign = SIGNS[way]
    if float(np.min(path[:, 1 + M])) < -strip.table[0, 0]:
        return nothing(lift, way, REVERSED, iterations)
    free = path[0 if sign > 0.0 else -1]
    stand = strip.bulge * float(free[BEND])
    x = free[1 + X] - stand * math.sin(free[1 + THETA])
    y = free[1 + Y] + stand * math.cos(free[1 + THETA])
    axis = setting.machine[UPPER, 1] + q[GIVE_UPPER]
    if math.hypot(x, y - axis) < setting.machine[UPPER, 2]:
        return nothing(lift, way, UPPER_FIRST, iterations)
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
    return SteadyPass(
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
        grip=pinch_pressure(
            setting.machine,
            path,
            gives,
            strip.bulge,
            lower + float(q[REAR_Y]),
            lower,
        ),
        reach=abs(float(end[0] - path[nip, 0])),
        nip_opening=float(apart) - rolls.upper_radius - rolls.lower_radius,
        gives=(float(gives[0]), float(gives[1]), float(gives[2])),
        iterations=iterations,
        status=SOLVED,
    )


def nothing(lift: float, way: Way, status: str, iterations: int = 0) -> SteadyPass:
    """Give a pass that is not there, and why."""
    nan = math.nan
    return SteadyPass(lift, way, *(nan,) * 11, (nan, nan, nan), iterations, status)


def residual_curvatures(case: Case, moments: Array) -> Array:
    """Curvature (1/mm) that a case's sheet keeps of largest moments (N mm/mm)."""
    held = width_regime(case).held
    law = sheet_properties(case, held).law
    table = law_table(law, case.machine.rolls.upper_radius)
    left = np.empty_like(moments)
    left_curvatures(table, np.ascontiguousarray(moments), left)
    left += case.sheet.curvature
    return left

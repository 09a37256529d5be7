"""The steady pass: curvature and forces of one long feed at one lift, no history.

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
    rear     rigid   42      0.02 %  0.08 %      0.34 %
    rear     giving  40      0.02 %  0.12 %      0.74 %
    operator rigid   29      0.10 %  0.35 %      0.66 %
    operator giving  24      0.13 %  0.32 %      0.38 %

10 of the 216 are not found, toward the operator at or near wrap; 33 have no plateau by
the stepped solver. From nothing a solution takes 3 to 20 ms, as it is followed up from
an elastic bend; beside one that is known (``span_many``) about 1 ms. Where the sheet
bulges the pass is followed without, then brought to it (``physics.pass_bulge``): 4 to 6
times as long, and more passes at wrap are not found.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline.solvers.regime import width_regime
from pinchline.solvers.rolls import jam_lift
from pinchline.solvers.steady import continuation, shooting
from pinchline.solvers.steady.problem import (
    JAM,
    LOST,
    SIGNS,
    SOLVED,
    PassProblem,
    SteadyPass,
    Way,
    nothing,
    read_pass,
    setting_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from pinchline.case.case import Case

    Array = NDArray[np.float64]

__all__ = [
    "LOST",
    "SOLVED",
    "Follower",
    "SteadyPass",
    "Way",
    "solve_lifts",
    "solve_pass",
]

# shares of the clamp from which soft sheet is followed; ratio of its growth, and least
LOOSER, TIGHTEN, ENOUGH = (0.5, 0.12), 1.4, 1.02
SWELLING = (1, 2, 4, 12)  # steps in which the bulge is brought in: more where it fails
# longest segment in the nip, in thicknesses; where it leads nowhere, half of that: thin
# sheet has patches that are short beside it; with bulging half of either
SEGMENT, SHORT_SEGMENT = 1.0, 0.5


def _plain(setting: PassProblem) -> PassProblem:
    """Give the setting with a sheet that does not bulge: it is followed so."""
    return setting._replace(strip=setting.strip._replace(bulge=0.0))


class Follower:
    """Solutions of one case along its lifts, from which its neighbours start."""

    def __init__(self, case: Case, way: Way, natural: float) -> None:
        self.case, self.way, self.natural = case, way, natural
        self.room = shooting.new_room()
        self.solution = shooting.new_solution()
        self.kept = shooting.new_solution()
        self.here = math.nan  # lift of what ``kept`` holds
        self.first_yield = math.nan  # moment of the sheet solved last, N mm/mm
        self.segment = SEGMENT
        self._last: tuple[Case, float, PassProblem] | None = None

    def cold_start(self, case: Case, lift: float) -> SteadyPass:
        """Solve a pass by continuation in lift from an elastic bend."""
        if lift >= jam_lift(case.machine, case.sheet.thickness):
            return nothing(lift, self.way, JAM)
        status, spent = self._follow(self._setting(case, lift), lift)
        if status != shooting.CONVERGED and self._refine():
            status, more = self._follow(self._setting(case, lift), lift)
            spent += more
        if math.isnan(self.here) and case.machine.nip.clamp:
            status, more = self._tighten(case, lift)
            spent += more
        if status == shooting.CONVERGED:
            status, more = self._swell(self._setting(case, lift), lift)
            spent += more
        return self._end(case, self._setting(case, lift), lift, status, spent)

    def _refine(self) -> bool:
        """Take shorter segments from now on; False where that is done already."""
        if self.segment == SHORT_SEGMENT:
            return False
        self.segment, self._last = SHORT_SEGMENT, None
        return True

    def _swell(self, setting: PassProblem, lift: float) -> tuple[int, int]:
        """Solve with the bulge of the sheet from the solution without, in ``kept``."""
        if setting.strip.bulge == 0.0:
            return shooting.CONVERGED, 0
        status, spent = shooting.STALLED, 0
        for steps in SWELLING:
            continuation.copy_solution(self.kept, self.solution)
            for share in np.linspace(0.0, 1.0, steps + 1)[1:]:
                strip = setting.strip
                swollen = strip._replace(bulge=float(share) * strip.bulge)
                status, more = self._approach(setting._replace(strip=swollen), lift)
                spent += more
                if status != shooting.CONVERGED:
                    break
            if status == shooting.CONVERGED:
                break
        return status, spent

    def _follow(self, setting: PassProblem, lift: float) -> tuple[int, int]:
        status, spent, self.here = continuation.follow(
            *_plain(setting), lift, SIGNS[self.way], self.solution, self.kept, self.room
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
            while status == shooting.CONVERGED and share < 1.0 and grow > ENOUGH:
                there = min(1.0, share * grow)
                looser = _plain(self._clamped(case, lift, there))
                status, more = self._approach(looser, lift)
                spent += more
                if status == shooting.CONVERGED:
                    share = there
                    continuation.copy_solution(self.solution, self.kept)
                    continue
                continuation.copy_solution(self.kept, self.solution)
                status, grow = shooting.CONVERGED, 1.0 + 0.5 * (grow - 1.0)
            if share == 1.0 and status == shooting.CONVERGED:
                return status, spent
            self.here = math.nan
        return shooting.STALLED, spent

    def _clamped(self, case: Case, lift: float, share: float) -> PassProblem:
        """Give the setting with a share of the clamp."""
        clamp = share * (case.machine.nip.clamp or 0.0)
        return self._setting(case.replace({"machine.nip.clamp": clamp}), lift)

    def _approach(self, setting: PassProblem, lift: float) -> tuple[int, int]:
        """Solve at a lift from what ``solution`` holds."""
        rolls = np.empty_like(setting.machine)
        continuation.at_lift(setting.machine, setting.slide, lift, rolls)
        return continuation.approach(
            setting.strip,
            rolls,
            setting.slide,
            setting.supports,
            self.solution,
            self.room,
        )

    def at(self, lift: float) -> SteadyPass:
        """Solve at a lift (mm) from the last one that was found this way."""
        case = self.case
        if math.isnan(self.here):
            return self.cold_start(case, lift)
        if lift >= jam_lift(case.machine, case.sheet.thickness):
            return nothing(lift, self.way, JAM)
        status, spent = self._climb(lift)
        if status != shooting.CONVERGED and self._refine():
            status, more = self._climb(lift)
            spent += more
        if status == shooting.CONVERGED:
            status, more = self._swell(self._setting(case, lift), lift)
            spent += more
        return self._end(case, self._setting(case, lift), lift, status, spent)

    def _climb(self, lift: float) -> tuple[int, int]:
        setting = _plain(self._setting(self.case, lift))
        continuation.copy_solution(self.kept, self.solution)
        status, spent, self.here = continuation.continue_in_lift(
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

    def _setting(self, case: Case, lift: float) -> PassProblem:
        """Give the setting; the lift counts where it changes how the width bends."""
        held = width_regime(case, lift).held
        if self._last is None or self._last[0] is not case or self._last[1] != held:
            segment = self.segment * (0.5 if case.model.bulging else 1.0)
            setting = setting_of(case, held, self.natural, self.way, segment)
            self._last = (case, held, setting)
        setting = self._last[2]
        self.first_yield = setting.strip.first_yield
        return setting

    def _end(
        self, case: Case, setting: PassProblem, lift: float, status: int, spent: int
    ) -> SteadyPass:
        if status != shooting.CONVERGED:
            return nothing(lift, self.way, LOST, spent)
        return read_pass(
            case, setting, self.solution, lift, self.way, self.natural, spent
        )


def solve_pass(
    case: Case, lift: float, way: Way, *, natural_curvature: float = 0.0
) -> SteadyPass:
    """Solve the steady pass of a case's sheet and machine; its moves do not matter.

    Parameters
    ----------
    case : sheet, machine and model
    lift : of the rear roll, mm
    way : fed toward the "rear" roll or the "operator"; "rest" is the raise before
    natural_curvature : of the stress-free sheet before the pass, 1/mm
    """
    return Follower(case, way, natural_curvature).cold_start(case, lift)


def solve_lifts(
    case: Case, lifts: Array, way: Way, *, natural_curvature: float = 0.0
) -> Iterator[SteadyPass]:
    """Solve the passes at rising lifts (mm), each from those before it."""
    follower = Follower(case, way, natural_curvature)
    for lift in map(float, lifts):
        yield follower.at(lift)

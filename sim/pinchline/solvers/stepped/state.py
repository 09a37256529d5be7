"""The state of a job: sheet, machine, records. Copyable; a copy goes on as its own."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from pinchline.physics.beam import Beam, Chain, lay_out
from pinchline.physics.rolls import AXIS_Y, REACH, ROLL_COLUMNS, ROLL_RESULTS, TRAVEL_X
from pinchline.physics.support import GIVE, GIVE_X, GIVE_Y, STIFFNESS
from pinchline.physics.weight import potential
from pinchline.solvers.layers import bulge_share
from pinchline.solvers.regime import Regime, width_regime
from pinchline.solvers.rolls import LOWER, UPPER, roll_table
from pinchline.solvers.sheet import SheetProperties, sheet_properties
from pinchline.solvers.stepped.equilibrium.assembly import Work, workspace
from pinchline.solvers.stepped.equilibrium.commit import (
    BENDING_ENERGY,
    CAME_WITH,
    PEAK_CURVATURE,
    PEAKS,
    PLASTIC_WORK,
    STRETCH_ENERGY,
)
from pinchline.solvers.stepped.equilibrium.newton import StopCriteria
from pinchline.solvers.stepped.equilibrium.predictor import FIELDS
from pinchline.solvers.supports import clamped_depths, support_table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pinchline.case.case import Case
    from pinchline.solvers.stepped.roll_offsets import Track

FORCE_TOLERANCE = 1.0e-7  # of the first-yield moment over the thickness
LENGTH_TOLERANCE = 1.0e-9  # mm
MOST_ITERATIONS = 80
LARGEST_TURN = 0.2  # rad in one iteration
FIXED = {"fixed": True}  # fields whose value is replaced, never written into
TRIAL = {"trial": True}  # what a step that is tried changes before it is accepted
TRIAL_CHAIN = ("x", "y", "theta", "axial", "shear")


@dataclass
class Memory:
    """What the places of the machine bore at each step of the last elements of feed."""

    places: NDArray[np.float64]  # (steps of two elements, slots, fields)
    pose: NDArray[np.float64]  # (steps of two elements, 3)
    valid: int = 0  # steps remembered in a row
    turn: int = 0  # slot to be overwritten next: two elements ago

    @property
    def size(self) -> int:
        """Steps that can be remembered."""
        return int(self.places.shape[0])

    @property
    def element_ago(self) -> int:
        """Slot of one element of feed ago."""
        return (self.turn + self.size // 2) % self.size


class Noticed(NamedTuple):
    """What has been noticed in a job so far.

    reported: beginnings that are told once; wrapped_from: what was fed when the sheet
    came to wrap (mm); rear_touch: where the rear roll last touched, from edge 0 (mm);
    both NaN where they do not hold.
    """

    reported: frozenset[str] = frozenset()
    wrapped_from: float = math.nan
    rear_touch: float = math.nan

    def reporting(self, key: str) -> Noticed:
        """Add a beginning that is told."""
        return self._replace(reported=self.reported | {key})


@dataclass
class State:
    """Everything that a step reads and changes.

    Machine numbering runs along the feed: node 0 is the sheet's edge nearer the
    operator now, which after an odd number of turns is not the edge s = 0.
    """

    case: Case = field(metadata=FIXED)
    regime: Regime = field(metadata=FIXED)
    sheet: SheetProperties = field(metadata=FIXED)
    beam: Beam = field(metadata=FIXED)
    chain: Chain = field(metadata=TRIAL)  # of it, TRIAL_CHAIN
    work: Work
    limits: StopCriteria = field(metadata=FIXED)
    # where the rolls are, (3, 6); where if nothing gave, (3, 2), mm; their supports
    rolls: NDArray[np.float64] = field(metadata=TRIAL)
    axes: NDArray[np.float64] = field(metadata=TRIAL)
    supports: NDArray[np.float64] = field(metadata=TRIAL)
    arms: NDArray[np.float64]
    memory: Memory
    peaks: NDArray[np.float64]
    energies: NDArray[np.float64]
    guess: NDArray[np.float64]
    forces: NDArray[np.float64]
    steps_per_element: int
    lift: float = field(default=0.0, metadata=TRIAL)
    shift: NDArray[np.float64] = field(
        default_factory=lambda: np.zeros(3), metadata=FIXED | TRIAL
    )
    # of the shifts of the rolls along the job, mm
    track: Track | None = field(default=None, metadata=FIXED)
    share: float = 0.0  # of the move that is done
    # whole steps of feed between edge 0 and the nip line, the rest as a share of a step
    nip_steps: int = field(default=0, metadata=TRIAL)
    nip_rest: float = field(default=0.0, metadata=TRIAL)
    # nodes of the window
    first: int = field(default=0, metadata=TRIAL)
    last: int = field(default=0, metadata=TRIAL)
    gripped: bool = False
    turned: bool = False
    fed: float = 0.0
    # multiplier of the nip line, N/mm
    drive: float = field(default=0.0, metadata=TRIAL)
    drive_force: float = 0.0  # along the sheet, + toward the rear roll, N/mm
    energy_contact: float = 0.0
    energy_support: float = 0.0
    energy_height: float = 0.0
    work_drive: float = 0.0
    work_rear: float = 0.0
    work_clamp: float = 0.0  # of the nip: closed on the sheet, set, opened
    iterations: int = 0
    residual: float = 0.0
    noticed: Noticed = field(default_factory=Noticed, metadata=FIXED)

    @property
    def elements(self) -> int:
        """Number of elements."""
        return int(self.chain.moment.shape[0])

    @property
    def step_length(self) -> float:
        """Feed per step, mm."""
        return self.beam.length / self.steps_per_element

    @property
    def nip(self) -> float:
        """Sheet between edge 0 and the nip line, machine numbering, mm."""
        return (self.nip_steps + self.nip_rest) * self.step_length

    @property
    def nip_s(self) -> float:
        """The s that lies on the nip line, mm."""
        length = self.elements * self.beam.length
        return length - self.nip if self.turned else self.nip

    def driven(self) -> tuple[int, float]:
        """Element on the nip line, and the place in it (-1..1)."""
        element, rest = divmod(self.nip_steps, self.steps_per_element)
        share = (rest + self.nip_rest) / self.steps_per_element
        if element >= self.elements:
            return self.elements - 1, 1.0
        return element, 2.0 * share - 1.0

    def set_nip(self, nip: float) -> None:
        """Put ``nip`` (mm from edge 0) on the nip line."""
        steps = nip / self.step_length
        self.nip_steps = int(steps)
        self.nip_rest = steps - self.nip_steps
        self.memory.valid = 0

    @property
    def nip_opening(self) -> float:
        """Distance between the pinch rolls' surfaces, mm."""
        rolls = self.case.machine.rolls
        apart = self.rolls[UPPER, AXIS_Y] - self.rolls[LOWER, AXIS_Y]
        return float(apart) - rolls.upper_radius - rolls.lower_radius

    @property
    def energy_elastic(self) -> float:
        """Elastic energy of the sheet, N mm per mm."""
        return float(self.energies[BENDING_ENERGY] + self.energies[STRETCH_ENERGY])

    @property
    def energy_plastic(self) -> float:
        """Plastic work, N mm per mm."""
        return float(self.energies[PLASTIC_WORK])

    @property
    def curvature_max(self) -> float:
        """Largest curvature in the window, 1/mm."""
        return float(np.max(self.chain.curvature[self.first : self.last]))

    def lay_arms(self, reach: int | None = None) -> None:
        """Place the free nodes outside the window: all, or ``reach`` on each side."""
        n = self.elements
        up = n if reach is None else min(n, self.last + reach)
        down = 0 if reach is None else max(0, self.first - reach)
        c = self.chain
        length = self.beam.length
        if up > self.last:
            lay_out(c.x, c.y, c.theta, c.curvature, length, self.last, up)
        if down < self.first:
            lay_out(c.x, c.y, c.theta, c.curvature, length, self.first, down)

    @property
    def energy_given(self) -> float:
        """Work that went in, N mm per mm."""
        return self.work_drive + self.work_rear + self.work_clamp

    @property
    def energy_held(self) -> float:
        """What is stored in sheet, contacts, supports and height, and what is spent."""
        stored = self.energy_elastic + self.energy_contact + self.energy_support
        return stored + self.energy_height + self.energy_plastic

    @property
    def energy_missing(self) -> float:
        """Work that went in less what is held and spent, N mm per mm."""
        return self.energy_given - self.energy_held

    def stand_rolls(self) -> None:
        """Put the rolls where their axes and their gives say."""
        give = self.supports[:, GIVE : GIVE + 1]
        away = self.supports[:, GIVE_X : GIVE_Y + 1]
        self.rolls[:, : AXIS_Y + 1] = self.axes + give * away

    def shift_at(self, move: int, share: float) -> NDArray[np.float64]:
        """Shift of each roll away from the sheet at a share of a move, mm."""
        return self.shift if self.track is None else self.track.at(move, share)

    def set_axes(self, lift: float, shift: NDArray[np.float64]) -> None:
        """Put the axes of the rolls at a lift and their shifts (mm)."""
        self.lift = lift
        self.shift = shift
        depths = clamped_depths(self.case, self.sheet.foundation)
        thickness = self.case.sheet.thickness
        table = roll_table(self.case.machine, thickness, lift, depths)
        away = self.supports[:, GIVE_X : GIVE_Y + 1]
        self.axes[:] = table[:, : AXIS_Y + 1] + shift[:, np.newaxis] * away
        self.rolls[:, REACH] = table[:, REACH]
        self.stand_rolls()

    def reset_rolls(self, move: int = 1) -> None:
        """Put the rolls as they grip the flat sheet, the rear roll at touch."""
        self.supports[:, GIVE] = 0.0
        self.rolls[:, TRAVEL_X:] = 0.0
        self.set_axes(0.0, self.shift_at(move, 0.0))

    def measure_height(self) -> None:
        """Take the energy of height; expects the arms laid out."""
        if self.beam.weight > 0.0:
            self.energy_height = float(potential(self.beam, self.chain))

    def copy(self, *, trial: bool = False) -> State:
        """Return a snapshot, which goes on as a state of its own.

        Only to be restored, of a step that is tried and not yet accepted, ``trial``
        takes what such a step changes and shares the rest.
        """
        other = copy.copy(self)
        other._take(self, trial=trial)
        return other

    def restore(self, kept: State, *, trial: bool = False) -> None:
        """Go back to a snapshot, which stays as it is; the count of iterations goes on.

        With ``trial``, undo a step that was tried but not accepted.
        """
        spent = self.iterations
        self._take(kept, trial=trial)
        self.iterations = spent

    def _take(self, other: State, *, trial: bool) -> None:
        """Take the values of another state over, of all fields or those of a trial."""
        for each in fields(self):
            if trial and "trial" not in each.metadata:
                continue
            value: Any = getattr(other, each.name)
            if trial and each.name == "chain":
                chain: Chain = other.chain
                moved = {name: getattr(chain, name).copy() for name in TRIAL_CHAIN}
                value = chain._replace(**moved)
            elif "fixed" not in each.metadata:
                value = copy.deepcopy(value)
            setattr(self, each.name, value)


def new_state(case: Case) -> State:
    """Sheet of a case, free and not yet placed."""
    t = case.sheet.thickness
    regime = width_regime(case)
    sheet = sheet_properties(case, regime.held)
    law = sheet.law
    n = case.elements
    beam = Beam(
        axial=sheet.axial,
        shear=sheet.shear,
        bending=law.bending,
        length=case.sheet.length / n,
        half=t / 2.0,
        first_yield=law.first_yield,
        weight=sheet.weight,
        bulge=sheet.bulge,
        own=bulge_share(case.element / t),
        law=law.law,
        layers=law.layers,
    )
    natural = case.sheet.curvature
    chain = Chain(
        x=np.linspace(0.0, case.sheet.length, n + 1),
        y=np.zeros(n + 1),
        theta=np.zeros(n + 1),
        axial=np.zeros(n),
        shear=np.zeros(n),
        curvature=np.full(n, natural),
        moment=np.zeros(n),
        low=np.full(n, natural + law.low),
        high=np.full(n, natural + law.high),
        anchor=np.full(n, natural),
        history=np.repeat(law.virgin[np.newaxis], n, axis=0),
    )
    supports = support_table(case)
    work = workspace(n, int(np.count_nonzero(supports[:, STIFFNESS])))
    steps = case.steps_per_element
    reach = 2.5 * case.machine.rear.distance / beam.length
    slots = 2 * min(n, int(reach)) + 1
    peaks = np.zeros((n, PEAKS))
    peaks[:, [PEAK_CURVATURE, CAME_WITH]] = natural
    limits = StopCriteria(
        force=FORCE_TOLERANCE * law.first_yield / t,
        length=LENGTH_TOLERANCE,
        iterations=MOST_ITERATIONS,
        turn=LARGEST_TURN,
    )
    state = State(
        case=case,
        regime=regime,
        sheet=sheet,
        beam=beam,
        chain=chain,
        work=work,
        limits=limits,
        rolls=np.zeros((3, ROLL_COLUMNS)),
        axes=np.zeros((3, 2)),
        supports=supports,
        arms=np.zeros((2, 3)),
        memory=Memory(np.zeros((2 * steps, slots, FIELDS)), np.zeros((2 * steps, 3))),
        peaks=peaks,
        energies=np.zeros(3),
        guess=np.zeros((n, FIELDS)),
        forces=np.zeros((3, ROLL_RESULTS)),
        steps_per_element=steps,
    )
    state.reset_rolls()
    return state

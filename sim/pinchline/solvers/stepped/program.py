"""The moves of a job, in order, and the result they leave."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.checks import require_programme
from pinchline.case.demand import LimitKind
from pinchline.case.moves import describe
from pinchline.errors import SolverError
from pinchline.solvers.ratings import grip_margin, pushed_away
from pinchline.solvers.rolls import GRIP_EDGE, jam_lift
from pinchline.solvers.stepped import events
from pinchline.solvers.stepped.outcome import outcome
from pinchline.solvers.stepped.placing import place, take_out, turn
from pinchline.solvers.stepped.recorder import Recorder
from pinchline.solvers.stepped.roll_offsets import Log
from pinchline.solvers.stepped.state import State, new_state
from pinchline.solvers.stepped.stepping import feed, move_rear

if TYPE_CHECKING:
    from collections.abc import Callable

    from pinchline.case.case import Case
    from pinchline.case.moves import Feed, Move
    from pinchline.results.schema import Result
    from pinchline.solvers.stepped.roll_offsets import Track

    Progress = Callable[[float, str], None]


@dataclass
class Job:
    """A running job: its state, its records, how far it is."""

    state: State
    progress: Progress | None = None
    move: int = 1
    text: str = ""
    stopped: bool = False
    log: Log = field(default_factory=Log)
    recorder: Recorder = field(init=False)
    _looked: float = 0.0

    def __post_init__(self) -> None:
        self.recorder = Recorder(self.state)

    def note(self, finding: events.Finding) -> None:
        """Record an event; a stop ends the move."""
        self.recorder.event(self.state, self.move, finding)
        self.stopped = self.stopped or finding.stops

    def record(self) -> bool:
        """Take down an accepted step; True when an event stops the move."""
        state = self.state
        feeding = self.text.startswith("feed")
        demand = self.recorder.step(state, self.move)
        if state.track is not None:
            now = [*pushed_away(state), grip_margin(state), state.drive_force]
            self.log.note(self.move, state.share, np.array(now))
        found, state.noticed = events.notices(state, feeding=feeding)
        for finding in found:
            self.note(finding)
        if self.stopped:
            return False
        if state.track is None:  # crank and screws are asked by all strips together
            for finding in events.stops(state, demand):
                self.note(finding)
        if abs(state.fed - self._looked) >= events.LOOK_AT_CURL:
            self._looked = state.fed
            state.lay_arms()
            curl = events.curl_meets(state)
            if curl is not None:
                self.note(curl)
        return self.stopped

    def barred(self, lift: float) -> bool:
        """Stop where the edge, about to meet the rear roll, would not ride up it."""
        finding = events.edge_runs_against(self.state, lift)
        if finding is not None:
            self.note(finding)
        return finding is not None

    def report(self, share: float) -> None:
        """Tell the progress of the move."""
        if self.progress is not None:
            moves = len(self.state.case.moves)
            self.progress((self.move - 1 + min(share, 1.0)) / moves, self.text)


def run_case(case: Case, *, progress: Progress | None = None) -> Result:
    """Do the programme of a case and measure the part.

    Parameters
    ----------
    case : the checked case
    progress : called with the share done (0..1) and the move in words

    Returns
    -------
    The free part, every step and frame, and the events, in mm, N/mm, rad and 1/mm; the
    units stand with the names in its datasets.

    Raises
    ------
    InputError
        The case has no moves.
    SolverError
        A step has no equilibrium; its ``result`` is the job up to the last good step.

    Examples
    --------
    >>> import pinchline as pl
    >>> result = pl.run(pl.load_case("strut-fairing"))
    >>> 20.0 < result.summary["radius_fit"] < 200.0  # mm
    True
    """
    return run_to_state(case, progress=progress)[0]


def run_to_state(
    case: Case, *, progress: Progress | None = None
) -> tuple[Result, State]:
    """Do the programme of a case; the free sheet with its stresses comes along.

    Parameters, and what it raises, as ``run_case``.
    """
    require_programme(case)
    job = Job(new_state(case), progress=progress)
    return _run(job), job.state


def run_shifted(case: Case, shifts: Track) -> tuple[Result, Track]:
    """Do the programme with the rolls shifted along it (mm, away from the sheet).

    Returns the result and, along the job, the forces with which the sheet pushes upper,
    lower and rear roll away, the margin of grip and the drive (N/mm).
    """
    require_programme(case)
    state = new_state(case)
    state.track = shifts
    job = Job(state)
    return _run(job), job.log.track(len(case.moves))


def _run(job: Job) -> Result:
    started = time.perf_counter()
    state = job.state
    moves = state.case.moves
    for finding in events.warnings(state):
        job.note(finding)
    try:
        for number, move in enumerate(moves, start=1):
            if job.stopped and move.kind not in ("lower", "release"):
                continue
            job.move = number
            job.text = describe(move)
            job.report(0.0)
            _do(job, move)
            job.recorder.frame(state, number)
    except SolverError as error:
        error.result = _finish(job, started)
        raise
    if state.gripped:
        job.move = len(moves)
        take_out(state, job.move)
    return _finish(job, started)


def _finish(job: Job, started: float) -> Result:
    """Measure a copy of the sheet taken out, so that a failed job can be measured."""
    free = job.state.copy()
    take_out(free, job.move)
    if job.progress is not None:
        job.progress(1.0, "measured")
    return outcome(free, job.recorder, time.perf_counter() - started)


def _do(job: Job, move: Move) -> None:
    """Carry out one move."""
    state = job.state
    if move.kind == "place":
        take_out(state, job.move)
        _place(job, move.at)
    elif move.kind == "lift" or (move.kind == "lower" and move.to < state.lift):
        if state.gripped:
            _move_rear(job, move.to)
        else:  # after a stop that took the sheet out the roll moves by itself
            state.set_axes(move.to, state.shift)
    elif move.kind == "feed":
        _feed(job, move)
    elif move.kind != "lower" and state.gripped:
        take_out(state, job.move)
        job.recorder.step(state, job.move)
    if move.kind == "turn":
        turn(state)


def _place(job: Job, at: float) -> None:
    state = job.state
    length = state.elements * state.beam.length
    least = GRIP_EDGE * state.case.sheet.thickness
    if not least <= at <= length - least:
        message = (
            f"the nip has no grip at s = {at:g} mm: it needs {least:g} mm of sheet on "
            "either side"
        )
        job.note(
            events.Finding(LimitKind.NO_GRIP, stops=True, message=message, value=at)
        )
    elif place(state, at, job.move):
        job.record()
    else:
        message = "the curl of the sheet does not go into the nip past the rolls"
        job.note(
            events.Finding(LimitKind.NOT_IN_NIP, stops=True, message=message, value=at)
        )
        state.gripped = False


def _limited_lift(job: Job, wanted: float) -> tuple[float, events.Finding | None]:
    """Lift that the machine can reach, and what limits it."""
    case = job.state.case
    jam = jam_lift(case.machine, case.sheet.thickness)
    travel = case.machine.rear.travel
    if wanted <= min(jam, travel):
        return wanted, None
    if jam <= travel:
        message = (
            f"jam: at {jam:.2f} mm lift the rear roll presses the sheet against the "
            f"upper roll; {wanted:g} mm was asked for"
        )
        return jam, events.Finding(
            LimitKind.JAM, stops=True, message=message, value=jam
        )
    message = (
        f"end of screw travel: the rear roll stands at {travel:g} mm, {wanted:g} mm "
        "was asked for"
    )
    return travel, events.Finding(
        LimitKind.TRAVEL, stops=True, message=message, value=travel
    )


def _move_rear(job: Job, wanted: float) -> None:
    state = job.state
    target, limit = _limited_lift(job, wanted)
    start = state.lift

    def record() -> bool:
        span = target - start
        job.report((state.lift - start) / span if span else 1.0)
        return job.record()

    stopped = move_rear(state, target, job.move, record, job.barred)
    if not stopped and limit is not None:
        job.note(limit)


def _feed(job: Job, move: Feed) -> None:
    state = job.state
    way = 1 if move.toward == "rear" else -1
    length = state.elements * state.beam.length
    behind = state.nip if way > 0 else length - state.nip
    least = GRIP_EDGE * state.case.sheet.thickness
    by = move.by if move.by is not None else behind - (move.leave or 0.0)
    if by <= 0.0:
        message = (
            f"nothing to feed: only {behind:.1f} mm of sheet stand behind the nip line "
            f"and {move.leave:g} mm are to be left"
        )
        job.note(
            events.Finding(
                LimitKind.NOTHING_TO_FEED, stops=True, message=message, value=behind
            )
        )
        return
    go = min(by, behind - least)
    wanted = state.lift if move.lift_to is None else move.lift_to
    reach, limit = _limited_lift(job, wanted)
    start = state.fed

    def record() -> bool:
        job.report(abs(state.fed - start) / by)
        return job.record()

    if limit is not None:
        go *= (reach - state.lift) / (wanted - state.lift)
    elif go < by:
        wanted = state.lift + (wanted - state.lift) * max(go, 0.0) / by
        reach = wanted
    if go > 0.0 and feed(state, way, go, reach, job.move, record, job.barred):
        return
    if limit is not None:
        job.note(limit)
    elif go < by:
        message = (
            f"the tail leaves the grip: {by:.1f} mm of feed were asked for, after "
            f"{max(go, 0.0):.1f} mm the nip holds no more than {least:g} mm of sheet"
        )
        job.note(
            events.Finding(
                LimitKind.TAIL_LEAVES_GRIP,
                stops=True,
                message=message,
                value=max(go, 0.0),
            )
        )

"""A study: many runs of one case, here or on a cluster, into one file.

Points travel in chunks whose size follows the time that a point was seen to take, so
that a chunk lasts about a second: long beside what it costs to send, short beside what
a kill may lose. A finished chunk goes to the file at once, in whatever order.
"""

from __future__ import annotations

import json
import math
import time
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, wait
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import numpy as np

from pinchline import parallel
from pinchline._version import __version__
from pinchline.analysis.sweep.points import points_of
from pinchline.analysis.sweep.worker import (
    Chunk,
    check_study,
    do_points,
    results_of,
    task_of,
)
from pinchline.case.study.study import Study, load_study
from pinchline.errors import InputError, SolverError
from pinchline.results.study_reader import read_study
from pinchline.results.study_schema import StudyResult, Variable
from pinchline.results.study_store import StudyFile
from pinchline.solvers.stepped.outcome import versions

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pinchline.analysis.sweep.points import StudyPoints
    from pinchline.parallel import WorkerPool

    Progress = Callable[[float, str], None]
    Places = NDArray[np.int64]

TASK_SECONDS = 1.0
LARGEST_TASK = 2000
LOOK_SECONDS = 0.5  # between looks at workers that came or left


class StudyInterruptedError(KeyboardInterrupt):
    """Ctrl-C: what was in flight is in the file, and the study can be resumed."""

    def __init__(self, done: int, count: int) -> None:
        super().__init__(f"{done} of {count} points")
        self.done, self.count = done, count


def study(
    source: Study | str | Path,
    output: str | Path | None = None,
    *,
    resume: bool = False,
    anew: bool = False,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> StudyResult:
    """Compute every point of a study into a file.

    Parameters
    ----------
    source : the study, a path, or a shipped name
    output : the file; None takes the study's name with .h5, here
    resume : go on with a file that is there; what it holds is kept
    anew : replace a file that is there
    workers : processes here; None takes all cores
    scheduler : address of a Dask scheduler, which then does the work
    progress : called with the share done (0..1) and the pace in words

    Returns
    -------
    The study as its file holds it, arrays over its dimensions.

    Raises
    ------
    InputError
        The study is wrong, its file is held or is another's, or no cluster answers.
    SolverError
        A process was lost; the file keeps what was done.
    StoppedError
        Ctrl-C; likewise.

    Examples
    --------
    >>> import pinchline as pl
    >>> try:
    ...     pl.study("missing.toml")
    ... except pl.InputError as error:
    ...     print(error.message)
    the file cannot be read: there is no such file
    """
    wanted = source if isinstance(source, Study) else load_study(source)
    path = Path(output or f"{Path(wanted.path).stem}.h5")
    points = points_of(wanted)
    digest = check_study(wanted, points)
    with (
        parallel.worker_pool(workers, scheduler) as crew,
        _file(wanted, points, digest, path, resume=resume, anew=anew) as file,
    ):
        _Run(wanted, points, file, crew, progress).go()
    return read_study(path)


def _file(
    wanted: Study,
    points: StudyPoints,
    digest: str,
    path: Path,
    *,
    resume: bool,
    anew: bool,
) -> StudyFile:
    known = results_of(wanted.solver)
    coordinates = [
        Variable(
            c.axis.name,
            c.axis.unit,
            c.axis.keys[0],
            (points.dimensions[c.dimension],),
            c.values,
            key=" ".join(c.axis.keys),
            log=c.axis.log,
        )
        for c in points.coordinates
    ]
    none = np.empty(0)
    results = [Variable(name, *known[name], (), none) for name in wanted.keep]
    about = {
        "title": wanted.title,
        "study": wanted.text,
        "case": wanted.case_text,
        "digest": digest,
        "versions": json.dumps(versions()),
        "order": json.dumps([c.name for c in coordinates] + list(wanted.keep)),
    }
    shape = dict(zip(points.dimensions, points.shape, strict=True))
    return StudyFile(path, about, shape, coordinates, results, resume=resume, anew=anew)


class _Run:
    """A running study: points waiting, points in flight, rate."""

    def __init__(
        self,
        wanted: Study,
        points: StudyPoints,
        file: StudyFile,
        crew: WorkerPool,
        progress: Progress | None,
    ) -> None:
        self.task, self.points = task_of(wanted), points
        self.file, self.crew, self.progress = file, crew, progress
        self.missing = file.missing()
        self.sent = 0
        self.before = points.count - self.missing.size
        self.done = 0
        self.seconds = math.inf  # that a point takes
        # the first chunk loads the kernels: the pace is taken from there
        self.first = (0, time.monotonic())
        self.flying: dict[Future[Chunk], Places] = {}

    def go(self) -> None:
        """Compute what is missing."""
        self._tell()
        try:
            while self.sent < self.missing.size or self.flying:
                self._send()
                self._collect(LOOK_SECONDS)
        except KeyboardInterrupt:
            self._land()
            held = self.points.count - self.file.missing().size
            raise StudyInterruptedError(held, self.points.count) from None
        except BrokenExecutor:
            self._lost("a process ended unexpectedly; was memory short?")

    def _send(self) -> None:
        """Keep everybody busy, and nobody with more than one chunk."""
        size = max(self.crew.size(), 1)
        while len(self.flying) < size and self.sent < self.missing.size:
            left = self.missing.size - self.sent
            share = math.ceil(left / (2 * size))
            fits = TASK_SECONDS / self.seconds
            count = int(max(1, min(fits, share, LARGEST_TASK)))
            places = self.missing[self.sent : self.sent + count]
            values = [self.points.values(int(place)) for place in places]
            future = self.crew.executor.submit(do_points, self.task, values)
            self.flying[future] = places
            self.sent += count

    def _collect(self, seconds: float | None) -> None:
        """Write the chunks that have come back."""
        came, _ = wait(self.flying, timeout=seconds, return_when=FIRST_COMPLETED)
        for future in came:
            chunk = self._result(future)
            places = self.flying.pop(future)
            self.seconds = max(chunk.seconds / places.size, 1.0e-6)
            values = np.array([row.values for row in chunk.rows])
            events = [(row.event, row.message) for row in chunk.rows]
            self.file.write(places, values, events)
            if self.done == 0:
                self.first = (places.size, time.monotonic())
            self.done += places.size
        if came:
            self._tell()

    def _result(self, future: Future[Chunk]) -> Chunk:
        try:
            chunk = future.result()
        except (KeyboardInterrupt, BrokenExecutor):
            raise
        except Exception as error:
            self._lost(f"{type(error).__name__}: {' '.join(str(error).split())[:200]}")
        if chunk.version != __version__:
            message = f"a worker runs pinchline {chunk.version}, this is {__version__}"
            raise InputError(message, allowed="the same version everywhere")
        return chunk

    def _land(self) -> None:
        """Wait for the chunks in flight, which nobody wants to do again."""
        if self.progress is not None:
            share = (self.before + self.done) / self.points.count
            self.progress(share, "stopping: the chunks in flight are waited for")
        while self.flying:
            self._collect(None)

    def _lost(self, reason: str) -> NoReturn:
        held = self.before + self.done
        message = (
            f"the study lost a worker: {reason} {held} of {self.points.count} points "
            "are in its file; --resume goes on"
        )
        raise SolverError(message) from None

    def _tell(self) -> None:
        if self.progress is None:
            return
        held, count = self.before + self.done, self.points.count
        words = f"{held} of {count} points"
        first, since = self.first
        elapsed = time.monotonic() - since
        if self.done > first and elapsed > 0.0:
            rate = (self.done - first) / elapsed
            words += f", {_rate(rate)}, {_duration((count - held) / rate)} left"
        self.progress(held / count, words)


def _rate(rate: float) -> str:
    return f"{rate:.3g} a second" if rate >= 1.0 else f"{60.0 * rate:.3g} a minute"


def _duration(seconds: float) -> str:
    whole = round(seconds)
    hours, minutes = whole // 3600, whole % 3600 // 60
    if hours:
        return f"{hours} h {minutes:02d} min"
    return f"{minutes} min {whole % 60:02d} s" if minutes else f"{whole} s"

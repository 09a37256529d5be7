"""What a study costs: rate on 1 and 2 cores, overhead on Dask, growth with its size.

Run ``python benchmarks/study.py`` from a checkout with the package and its extra
``cluster`` installed; it takes some three minutes on a quiet machine. Rates are taken
from the end of the first chunks, which load the kernels, and are the best of a few
turns. On a machine with other work the processor's seconds a point tell more: what they
grow by on two cores is what the cores take from each other.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from pinchline.analysis.sweep import study as under_test
from pinchline.analysis.sweep.worker import do_points
from pinchline.case.case import parse_case
from pinchline.case.study.study import parse_study
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pinchline.analysis.sweep.worker import Chunk, Task

TURNS = 3
STEPPED, SPAN = 24, 600
SIZES = (100, 200, 400, 800)


@dataclass
class Clock:
    """When chunks came back, and how long their workers took.

    The first chunk of each worker loads the kernels and does not count.
    """

    workers: int = 1
    stamps: list[tuple[float, int, float]] = field(default_factory=list)

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Note every chunk of the studies inside."""
        plain = under_test._Run._result
        clock = self

        def noted(run: object, future: object) -> Chunk:
            chunk: Chunk = plain(run, future)  # type: ignore[arg-type]
            stamp = (time.perf_counter(), len(chunk.rows), chunk.seconds)
            clock.stamps.append(stamp)
            return chunk

        under_test._Run._result = noted  # type: ignore[assignment]
        try:
            yield
        finally:
            under_test._Run._result = plain  # type: ignore[method-assign]

    @property
    def points(self) -> int:
        """Points after the first chunks."""
        return sum(count for _, count, _ in self.stamps[self.workers :])

    @property
    def wall(self) -> float:
        """Seconds from the first chunks to the last."""
        return self.stamps[-1][0] - self.stamps[self.workers - 1][0]

    @property
    def computed(self) -> float:
        """Seconds the workers spent in points, together."""
        return sum(seconds for _, _, seconds in self.stamps[self.workers :])


def a_study(solver: str, count: int) -> str:
    """Passes of the shipped job at lifts close together, alike in cost."""
    keep = "radius_zone_mean" if solver == "stepped" else "radius"
    key = "move.2.to" if solver == "stepped" else "pass.lift"
    toward = "" if solver == "stepped" else '[set]\n"pass.toward" = "rear"\n'
    return (
        f'case = "one-pass"\nsolver = "{solver}"\nkeep = ["{keep}"]\n{toward}'
        f'[[vary]]\nkey = "{key}"\nfrom = "24 mm"\nto = "26 mm"\ncount = {count}\n'
    )


def timed(
    solver: str, count: int, workers: int | None = None, scheduler: str | None = None
) -> Clock:
    """Do a study and return its clock."""
    clock = Clock(workers or 1)
    with TemporaryDirectory() as folder, clock.watching():
        under_test.study(
            parse_study(a_study(solver, count), path="study.toml"),
            Path(folder) / "study.h5",
            workers=workers,
            scheduler=scheduler,
        )
    return clock


def by_processor(task: Task, points: Sequence[dict[str, Any]]) -> Chunk:
    """Do points as a study does; its seconds are the processor's, not the wall's."""
    start = time.process_time()
    chunk = do_points(task, points)
    return chunk._replace(seconds=time.process_time() - start)


def rates() -> None:
    """Print the rate on one core and two, and what a point takes of a processor."""
    load = os.getloadavg()[0]
    print(f"\nload of the machine before: {load:.1f}, {os.cpu_count()} cores")
    columns = ("what", "1 core", "2 cores", "ratio (aim 1.8)", "processor a point, ms")
    print(f"\n| {' | '.join(columns)} |\n|{' --- |' * len(columns)}")
    under_test.do_points = by_processor
    for solver, count, per, unit in (
        ("stepped", STEPPED, 60.0, "runs a minute"),
        ("span", SPAN, 1.0, "solutions a second"),
    ):
        found = {}
        for workers in (1, 2):
            clocks = [timed(solver, count, workers) for _ in range(TURNS)]
            rate = max(per * clock.points / clock.wall for clock in clocks)
            took = min(1.0e3 * clock.computed / clock.points for clock in clocks)
            found[workers] = (rate, took)
        one, two = found[1], found[2]
        print(
            f"| {solver}, {unit} | {one[0]:.3g} | {two[0]:.3g} | "
            f"{two[0] / one[0]:.2f} | {one[1]:.3g} and {two[1]:.3g} |"
        )
    under_test.do_points = do_points


@contextmanager
def cluster() -> Iterator[str]:
    """A Dask scheduler and one worker, processes of their own."""
    with TemporaryDirectory() as folder:
        where = Path(folder) / "scheduler.json"
        place = [
            "--host",
            "127.0.0.1",
            "--no-dashboard",
            "--scheduler-file",
            str(where),
        ]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}

        def dask(kind: str, *words: str) -> subprocess.Popen[bytes]:
            command = [sys.executable, "-m", f"distributed.cli.dask_{kind}"]
            return subprocess.Popen([*command, *place, *words], cwd=folder, **quiet)

        crew = [dask("scheduler", "--port", "0")]
        try:
            while not where.exists():
                time.sleep(0.05)
            crew.append(dask("worker", "--nthreads", "1", "--no-nanny"))
            yield json.loads(where.read_text(encoding="utf-8"))["address"]
        finally:
            for process in crew:
                process.terminate()
                process.wait()


def overhead() -> None:
    """Print what a point costs beside its own solution: one worker each."""
    print("\n| one worker, span | overhead a point, ms (limit 5) |\n| --- | --- |")
    with cluster() as address:
        for name, where in (("processes here", None), ("Dask cluster", address)):
            clocks = [timed("span", SPAN, 1, where) for _ in range(TURNS)]
            least = min((c.wall - c.computed) / c.points for c in clocks)
            print(f"| {name} | {1.0e3 * least:.2f} |")


def growth() -> None:
    """Print the time of studies of several sizes."""
    print("\n| span points, 1 core | s | ms a point |\n| --- | --- | --- |")
    for count in SIZES:
        clock = min(
            (timed("span", count, 1) for _ in range(TURNS)), key=lambda c: c.wall
        )
        print(f"| {count} | {clock.wall:.2f} | {1e3 * clock.wall / clock.points:.2f} |")


def one_run(length: float, feed: float) -> float:
    """Processor's seconds for a feed on a sheet so long, mm; least of turns."""
    case = parse_case(
        '[sheet]\nmaterial = "5052-H32"\ndirection = "LT"\nthickness = "1 mm"\n'
        f'length = "{length} mm"\nwidth = "400 mm"\n[machine]\nuse = "bench-60"\n'
        f'[[move]]\nkind = "place"\nat = "{length - 70.0} mm"\n'
        '[[move]]\nkind = "lift"\nto = "18 mm"\n'
        f'[[move]]\nkind = "feed"\ntoward = "rear"\nby = "{feed} mm"\n',
        path="run.toml",
    )
    taken = []
    for _ in range(TURNS):
        start = time.process_time()
        run_case(case)
        taken.append(time.process_time() - start)
    return min(taken)


def lengths() -> None:
    """Print the time of one run over feed and sheet length."""
    print("\n| sheet, mm | fed, mm | s | ms per mm fed |\n| --- | --- | --- | --- |")
    for length, feed in (
        (500, 50),
        (500, 100),
        (500, 200),
        (500, 400),
        (1000, 200),
        (2000, 200),
    ):
        took = one_run(length, feed)
        print(f"| {length} | {feed} | {took:.2f} | {1e3 * took / feed:.2f} |")


if __name__ == "__main__":
    rates()
    overhead()
    growth()
    lengths()

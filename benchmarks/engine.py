"""How long the engine takes, beside the bare cost of its arithmetic.

Run ``python benchmarks/engine.py`` from a checkout with the package installed. The
solver time of a job is put beside what its banded solves and section updates alone cost
in the same process: every Newton iteration factors and solves one band of the window's
size and updates the moment of each element that has left its elastic range; every
accepted step commits those elements once. What is left is assembly, contact, first
guesses, records.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.case import Case, load_case, parse_case
from pinchline.physics.section import section_commit, section_moment
from pinchline.solvers.stepped import stepping
from pinchline.solvers.stepped.equilibrium.banded_solve import factor, solve
from pinchline.solvers.stepped.program import run_case
from pinchline.solvers.stepped.state import State, new_state

if TYPE_CHECKING:
    from collections.abc import Callable

REPEATS = 5


@dataclass
class Count:
    """What the job did, per accepted step."""

    windows: list[int] = field(default_factory=list)
    yielding: list[int] = field(default_factory=list)

    def watch(self) -> None:
        """Count in place of the plain acceptance."""
        plain = stepping.accept

        def accept(state: State, move: int) -> None:
            plain(state, move)
            c = state.chain
            inside = slice(state.first, state.last)
            self.windows.append(state.last - state.first)
            moved = c.anchor[inside] == c.curvature[inside]
            self.yielding.append(int(np.sum(moved & (c.moment[inside] != 0.0))))

        stepping.accept = accept

    @staticmethod
    def unwatch(plain: object) -> None:
        """Put the plain acceptance back."""
        stepping.accept = plain


def timed(call: Callable[..., object], *args: object) -> float:
    """Least time of one call over repeats, s."""
    best = np.inf
    for _ in range(REPEATS):
        start = time.perf_counter()
        for _ in range(200):
            call(*args)
        best = min(best, (time.perf_counter() - start) / 200)
    return best


def call_overhead(state: State) -> float:
    """Cost of crossing from Python into a kernel that does next to nothing, s."""
    work = state.work
    return timed(factor, work.band, 1)


def bare_cost(case: Case, count: Count, iterations: int) -> float:
    """Cost of the banded solves and section updates alone, s."""
    state = new_state(case)
    work, beam = state.work, state.beam
    overhead = call_overhead(state)
    size = 3 * (int(np.mean(count.windows)) + 1)

    def one_solve() -> None:
        work.band[:size] = 0.0
        work.band[:size, 0] = 1.0
        factor(work.band, size)
        solve(work.band, size, work.right)

    zeroing = timed(lambda: work.band[:size].fill(0.0))
    solving = timed(one_solve) - 2 * overhead - 2 * zeroing
    history = state.chain.history[0]
    bend = 3.0 * state.sheet.law.yield_curvature
    args = (beam.law, beam.layers, history, bend, work.scratch)
    moment = timed(section_moment, *args) - overhead
    commit = timed(section_commit, beam.law, beam.layers, history, 0.0, work.scratch)
    commit -= overhead
    yielding = float(np.mean(count.yielding))
    steps = len(count.windows)
    updates = yielding * ((iterations + steps) * moment + steps * commit)
    return iterations * solving + updates


def job(title: str, case: Case) -> None:
    """Time one job and print it beside its bare cost."""
    run_case(case)
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        result = run_case(case)
        times.append(time.perf_counter() - start)
    count = Count()
    plain = stepping.accept
    count.watch()
    run_case(case)
    Count.unwatch(plain)
    iterations = int(result.summary["iterations"])
    bare = bare_cost(case, count, iterations)
    best = min(times)
    feeding = np.abs(np.diff(result.steps["fed"], prepend=0.0)) > 0.0
    lifting = (~feeding) & (result.steps["move"] == 2)
    per_mm = result.steps["iterations"][lifting].sum() / result.summary["lift_max"]
    feeds = int(feeding.sum())
    print(f"{title}")
    print(
        f"  feed steps {feeds}, Newton iterations {iterations}, "
        f"window {np.mean(count.windows):.0f} elements, "
        f"yielding {np.mean(count.yielding):.0f}"
    )
    print(
        f"  solver {best:.3f} s; bare solves and sections {bare:.3f} s; "
        f"ratio {best / bare:.2f}"
    )
    print(f"  700 feed steps of it: {best * 700 / feeds:.3f} s (limit 1.0 s)")
    print(f"  iterations per mm of lift {per_mm:.1f} (limit 15)")
    print(f"  energy account closes to {result.summary['energy_error_max']:.1e}")


def giving_over_rigid(demo: Case) -> None:
    """Print what a feed step costs where the rolls give, over where they do not.

    One and the same forward pass, the two nips by turns, so that the machine's other
    work falls on both alike.
    """
    pass_only = demo.text.split('[[move]]\nkind = "lower"', maxsplit=1)[0]
    rigid = pass_only.replace(
        'use = "bench-60"', 'use = "bench-60"\nnip.clearance = "0.05 mm"'
    )
    cases = [parse_case(text, path="pass.toml") for text in (pass_only, rigid)]
    best = [np.inf, np.inf]
    steps = [0, 0]
    for _ in range(2 * REPEATS):
        for index, case in enumerate(cases):
            start = time.perf_counter()
            result = run_case(case)
            best[index] = min(best[index], time.perf_counter() - start)
            steps[index] = int(result.summary["steps"])
    each = [1.0e3 * spent / count for spent, count in zip(best, steps, strict=True)]
    print("one forward pass, rolls that give and rigid rolls")
    print(
        f"  a step {each[0]:.3f} ms and {each[1]:.3f} ms, "
        f"ratio {each[0] / each[1]:.2f} (limit 1.5)"
    )


def coarser(text: str) -> str:
    """Return the demo with half-millimetre elements, one step each."""
    return text + '\n[model]\nelement = "0.5 mm"\nsteps_per_element = 1\n'


def longer_sheet(text: str, length: float) -> str:
    """Return the demo on a longer sheet with the same feeds."""
    text = text.replace('length = "260 mm"', f'length = "{length:g} mm"')
    for _ in range(2):
        text = text.replace('leave = "18 mm"', 'by = "112 mm"', 1)
    return text.replace('at = "130 mm"', f'at = "{length / 2:g} mm"')


def command() -> None:
    """Time the command as a user runs it: warm, and for the first time ever."""
    executable = str(Path(sys.executable).with_name("pinchline"))
    with TemporaryDirectory() as folder:
        warm = []
        environment = {"PATH": "/usr/bin:/bin", "HOME": folder}
        for _ in range(4):
            start = time.perf_counter()
            subprocess.run(
                [executable, "run", "strut-fairing", "-o", f"{folder}/demo.h5"],
                check=True,
                env=environment,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            warm.append(time.perf_counter() - start)
    print("pinchline run strut-fairing")
    print(f"  first ever run, compilation included {warm[0]:.1f} s (limit 30 s)")
    print(f"  warm {min(warm[1:]):.2f} s (limit 2.5 s)")


def main() -> None:
    """Print every figure."""
    demo = load_case("strut-fairing")
    job("demo at the shipped resolution", demo)
    job("demo, 0.5 mm elements", parse_case(coarser(demo.text), path="coarse"))
    giving_over_rigid(demo)
    for length in (260.0, 520.0, 1040.0):
        case = parse_case(longer_sheet(demo.text, length), path="long")
        run_case(case)
        start = time.perf_counter()
        run_case(case)
        print(
            f"sheet {length:6.0f} mm long, the same feed: "
            f"{time.perf_counter() - start:.3f} s"
        )
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"memory of this process {memory:.0f} MB (limit 400 MB)")
    command()


if __name__ == "__main__":
    main()

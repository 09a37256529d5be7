"""The scatter of ten thousand parts: time, stage by stage, and how near it is.

Run ``python benchmarks/scatter.py [CASE ...]``, the demo and a pass of its own unless
told. Ten thousand parts shall take less than 20 s on two free cores; where other work
is on the machine the processor's time over two says more than the clock. "Miss" is the
root mean square by which the surfaces miss the span solver at 32 of the parts, over the
standard deviation of all; "together" the correlation with the stepped solver's parts,
and "left" what its line leaves of them, over the same.
"""

from __future__ import annotations

import os
import resource
import sys
import time

import numpy as np

from pinchline.analysis.scatter.scatter import DEFAULT_POINTS, Scatter, scatter
from pinchline.case.case import load_case

LIMIT, CORES = 20.0, 2
CASES = ("strut-fairing", "one-pass")


def spent() -> float:
    """Processor's time (s) of this process and of those it has started and ended."""
    return sum(
        usage.ru_utime + usage.ru_stime
        for usage in map(
            resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
    )


def near(found: Scatter) -> None:
    """Print how near quick answers are to either solver."""
    for number, q in enumerate(found.quantities):
        quick = found.quick[found.made, number]
        quick = quick[np.isfinite(quick)]
        spread = float(np.std(quick))
        miss = found.check.surface_error(number) / spread if spread > 0.0 else 0.0
        line = found.check.line(number)
        off = found.check.stepped[:, number] - line.at(found.check.quick[:, number])
        off = off[np.isfinite(off)]
        left = float(np.std(off)) / spread if spread > 0.0 and off.size else np.nan
        used = "corrects" if line.used else "not used"
        print(
            f"  {q.words:26} miss {100.0 * miss:5.1f} %, together "
            f"{line.together:.4f} ({used}), left {100.0 * left:5.1f} %"
        )


def main(names: tuple[str, ...]) -> None:
    """Time the scatter of every case and print how near it is."""
    for name in names:
        case = load_case(name)
        scatter(case, points=16, checks=0)  # compiled, and files read
        stages: list[tuple[float, float, str]] = []
        start, cpu = time.perf_counter(), spent()

        def tell(
            _share: float,
            words: str,
            since: tuple[float, float] = (start, cpu),
            into: list[tuple[float, float, str]] = stages,
        ) -> None:
            into.append((time.perf_counter() - since[0], spent() - since[1], words))

        found = scatter(case, points=DEFAULT_POINTS, progress=tell)
        wall, used = time.perf_counter() - start, spent() - cpu
        print(
            f"{name}: {found.made.size} parts, {found.solutions} span solutions, "
            f"{wall:.1f} s by the clock, {used:.1f} s of processors, so "
            f"{used / CORES:.1f} s on {CORES} free ones (limit {LIMIT:.0f}); load "
            f"{os.getloadavg()[0]:.1f}"
        )
        for clock, processor, words in stages:
            print(f"  {clock:6.1f} s, {processor:6.1f} s of processors: {words} begins")
        near(found)


if __name__ == "__main__":
    main(tuple(sys.argv[1:]) or CASES)

"""The span solver beside the stepped solver: error, and time of a solution.

Run ``python benchmarks/span.py``; ``--brief`` leaves the error table out, ``--bulging``
has the sheet bulge in both solvers. The error is that of the residual radius against
the mean over the settled plateau of a long feed at the shipped element; "spread" is the
half range of the stepped radius over that plateau.
"""

from __future__ import annotations

import math
import sys
import time
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.case import Case, parse_case
from pinchline.errors import SolverError
from pinchline.solvers.steady.follower import LIFT, solve_many
from pinchline.solvers.steady.solver import SOLVED, SteadyPass, Way, solve_pass
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

ALLOYS = ("5052-H32", "2024-T3", "3003-H14")
THICKNESSES = (0.5, 1.0, 2.0)
LIFTS = (10.0, 14.0, 18.0, 22.0, 26.0, 30.0)
RIGID = 'clearance = "0.05 mm"'
GIVING = "giving"
SAMPLES = 1000
MODEL = "[model]\nbulging = true\n" if "--bulging" in sys.argv else ""


def a_case(alloy: str, thickness: float, nip: str, way: Way, lift: float) -> Case:
    """Give a long pass of a bench-60 machine, rigid or giving."""
    length, at, by = (330, 240, 190) if way == "rear" else (140, 12, 58)
    rigid = f"[machine.nip]\n{nip}\n" if nip != GIVING else ""
    return parse_case(
        f'[sheet]\nmaterial = "{alloy}"\ndirection = "LT"\n'
        f'thickness = "{thickness} mm"\nlength = "{length} mm"\nwidth = "400 mm"\n'
        f'[machine]\nuse = "bench-60"\n{rigid}{MODEL}'
        f'[[move]]\nkind = "place"\nat = "{at} mm"\n'
        f'[[move]]\nkind = "lift"\nto = "{lift} mm"\n'
        f'[[move]]\nkind = "feed"\ntoward = "{way}"\nby = "{by} mm"\n',
        path="span.toml",
    )


def plateau(case: Case, way: Way) -> tuple[float, float]:
    """Radius (mm) of the stepped solver and its half range; NaN where it stopped."""
    try:
        result = run_case(case)
    except SolverError:
        return math.nan, math.nan
    length = 330.0 if way == "rear" else 140.0
    fed = float(np.sum(np.abs(np.diff(result.steps["fed"]))))
    s, curvature = result.sheet["s"], result.sheet["curvature_residual"]
    nip = float(result.steps["nip"][-1])
    t = case.sheet.thickness
    away = s - nip if way == "rear" else nip - s
    zone = (away > 6.0 * t) & (away < 6.0 * t + 15.0)
    if fed < 25.0 or not np.any(zone) or nip < 3.0 * t or nip > length:
        return math.nan, math.nan
    values = curvature[zone]
    mean = float(np.mean(values))
    if mean < 2.0e-4:
        return math.inf, math.nan
    return 1.0 / mean, float(np.ptp(values)) / 2.0 / mean


def rows() -> Iterator[tuple[str, float, str, Way, float, float, float, SteadyPass]]:
    """Every pass of the table: stepped radius, spread, span solution."""
    for alloy in ALLOYS:
        for t in THICKNESSES:
            for nip in (RIGID, GIVING):
                ways: tuple[Way, ...] = ("rear", "operator")
                for way in ways:
                    for lift in LIFTS:
                        case = a_case(alloy, t, nip, way, lift)
                        radius, spread = plateau(case, way)
                        found = solve_pass(case, lift, way)
                        yield alloy, t, nip, way, lift, radius, spread, found


def error_table() -> None:
    """Print each pass, and the worst and median error by way and nip."""
    errors: dict[tuple[str, str], list[float]] = {}
    lost = amiss = unjudged = 0
    for alloy, t, nip, way, lift, radius, spread, found in rows():
        kind = "rigid" if nip == RIGID else GIVING
        error = 100.0 * (found.radius / radius - 1.0)
        lost += found.status != SOLVED
        unjudged += math.isnan(radius)
        # one says that set remains and the other that none does
        amiss += (
            found.status == SOLVED
            and math.isfinite(radius)
            != math.isfinite(found.radius if found.radius < 5.0e3 else math.inf)
            and not math.isnan(radius)
        )
        print(
            f"{alloy} {t:4.1f} {kind:6} {way:8} {lift:4.0f} mm: stepped {radius:8.2f} "
            f"span {found.radius:8.2f} error {error:+6.2f} % "
            f"(spread {100.0 * spread:.1f} %) {found.status} {found.iterations}",
            flush=True,
        )
        if math.isfinite(error) and spread < 0.02:
            errors.setdefault((kind, way), []).append(abs(error))
    for (kind, way), sizes in errors.items():
        print(
            f"{kind} {way}: {len(sizes)} settled passes, median "
            f"{np.median(sizes):.2f} %, 90 % below {np.quantile(sizes, 0.9):.2f} %, "
            f"worst {max(sizes):.2f} %"
        )
    print(f"not solved: {lost}; set against none: {amiss}")
    print(f"the stepped solver did not settle or stopped: {unjudged}")


def scatter(count: int, lift: float) -> NDArray[np.float64]:
    """Parameters scattered by 5 % about 1 mm 5052-H32, lift by 0.2 mm; seeded."""
    draw = np.random.default_rng(7).normal(size=(count, 4))
    table = np.full((count, 7), np.nan)
    table[:, :3] = np.array([1.0, 160.0, 700.0]) * (
        1.0 + np.array([0.02, 0.05, 0.1]) * draw[:, :3]
    )
    table[:, LIFT] = lift + 0.2 * draw[:, 3]
    return table


def timing() -> None:
    """Print the time of a solution from nothing and of one among many, one core."""
    cases: tuple[tuple[Way, float], ...] = (
        ("rear", 20.0),
        ("rear", 26.0),
        ("operator", 12.0),
        ("operator", 16.0),
    )
    for nip in (RIGID, GIVING):
        for way, lift in cases:
            case = a_case("5052-H32", 1.0, nip, way, lift)
            solve_pass(case, lift, way)
            start = time.perf_counter()
            for _ in range(10):
                found = solve_pass(case, lift, way)
            cold = (time.perf_counter() - start) / 10
            start = time.perf_counter()
            many = solve_many(case, way, scatter(SAMPLES, lift), workers=1)
            each = (time.perf_counter() - start) / SAMPLES
            held = sum(item.status == SOLVED for item in many)
            print(
                f"{nip[:9]:9} {way:8} {lift:.0f} mm: from nothing {1e3 * cold:5.2f} ms "
                f"({found.iterations} iterations), among many {1e3 * each:5.2f} ms, "
                f"{held}/{SAMPLES} solved; limit 1 ms"
            )


if __name__ == "__main__":
    timing()
    if "--brief" not in sys.argv:
        error_table()

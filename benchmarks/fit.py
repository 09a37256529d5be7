"""Whether `fit` finds what was hidden: strips of the stepped solver, read with noise.

    python benchmarks/fit.py            # 100 seeds, some twenty minutes on two cores
    python benchmarks/fit.py 10         # as many seeds
    python benchmarks/fit.py strips     # the strips that the tests fit, again
    python benchmarks/fit.py plan       # whole plans of `strut-nose`, for six seeds

Every seed draws sheet and machine from the prior, rolls three strips with the stepped
solver at lifts that are a little off, reads them with noise and fits. Printed: how
often the 95 % intervals hold the truth, and what the corrected setting is worth: the
opening of an arc of 140 deg and 80 mm rolled, by the stepped solver at the truth, at
the lift that the card gives and at the lift that the fit gives. With `plan` the whole
job is planned by card and by fit and run at the truth. The jobs are invented.
"""

from __future__ import annotations

import csv
import math
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline import parallel
from pinchline.analysis.fitting.advise import Forecast, lift_for
from pinchline.analysis.fitting.estimate import fit
from pinchline.analysis.fitting.solution import QUANTILE_95
from pinchline.analysis.fitting.strip_model import parameters_of, varied
from pinchline.analysis.limits.single_pass import one_pass
from pinchline.analysis.planning.planner import make_plan
from pinchline.case.case import load_case
from pinchline.case.measured.readings import FeedDirection, Reading, rise_over
from pinchline.case.measured.strips import ScrapStrip
from pinchline.case.program import lift_key
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from pinchline.analysis.fitting.strip_model import ParameterName
    from pinchline.analysis.planning.plan import Plan
    from pinchline.case.case import Case

CASE = "strut-fairing"
SETTINGS: tuple[tuple[FeedDirection, float], ...] = (
    ("operator", 16.0),
    ("operator", 19.0),
    ("rear", 26.0),
)
CHORD, RISE_ERROR = 50.0, 0.05  # mm: a bar of 50 mm with a depth gauge
THICKNESS_ERROR, LIFT_ERROR = 0.01, 0.05  # mm: micrometer; scale of the screws
RADIUS, TURNED = 80.0, math.radians(140.0)  # mm, rad: the arc that is wanted
TABLE = Path(__file__).with_name("fit.csv")
# strips for the tests, which have no time to roll them
KEPT = (
    Path(__file__).parents[1] / "tests" / "analysis" / "fitting" / "hidden_strips.csv"
)
KEPT_SEEDS = range(1000, 1006)
PLANNED, PLAN_SEEDS = "strut-nose", range(2000, 2006)


class Hidden(NamedTuple):
    """What a seed hides, in prior units, and what was read: rises and thickness, mm."""

    x: tuple[float, ...]
    rises: tuple[float, ...]
    thickness: float


class Row(NamedTuple):
    """One seed: what is off in posterior deviations, by parameter, and openings.

    off: of the parameters, and last of the predicted radius of the job; share: of the
    prior's deviation left; before, after: error of the opening, mm; chance: of the
    readings' scatter; seconds.
    """

    seed: int
    off: tuple[float, ...]
    share: tuple[float, ...]
    before: float
    after: float
    chance: float
    seconds: float


def hide(case: Case, seed: int) -> tuple[Hidden, Case, float]:
    """Draw a truth, roll and read its strips; with the true case and touch offset."""
    parameters = parameters_of(case)
    rng = np.random.default_rng(seed)
    x = rng.normal(size=len(parameters))
    values = {p.name: p.value(float(v)) for p, v in zip(parameters, x, strict=True)}
    truth = varied(case, values)
    t = truth.sheet.thickness
    rises = []
    for way, lift in SETTINGS:
        true_lift = lift + values["touch offset"] + rng.normal(0.0, LIFT_ERROR)
        k = 1.0 / one_pass(truth, true_lift, way).radius
        inside = k / (1.0 - 0.5 * t * k)
        rises.append(max(0.0, rise_over(inside, CHORD) + rng.normal(0.0, RISE_ERROR)))
    read = t + rng.normal(0.0, THICKNESS_ERROR)
    hidden = Hidden(tuple(map(float, x)), tuple(map(float, rises)), float(read))
    return hidden, truth, values["touch offset"]


def strips_of(hidden: Hidden) -> tuple[ScrapStrip, ...]:
    """Give the strips as a measurement file would."""
    found = []
    micrometer = Reading(
        kind="thickness", value=hidden.thickness, error=THICKNESS_ERROR
    )
    for number, ((way, lift), rise) in enumerate(
        zip(SETTINGS, hidden.rises, strict=True)
    ):
        bar = Reading(
            kind="rise", value=rise, error=RISE_ERROR, side="inside", beside=CHORD
        )
        found.append(
            ScrapStrip(
                name="ABC"[number],
                screw="lift",
                setting=lift,
                setting_error=LIFT_ERROR,
                way=way,
                readings=(bar,) if number else (bar, micrometer),
            )
        )
    return tuple(found)


def opening(radius: float) -> float:
    """Opening (mm) of the wanted length of sheet at a radius (mm)."""
    half = 0.5 * RADIUS * TURNED
    return 2.0 * radius * math.sin(half / radius) if math.isfinite(radius) else 2 * half


def one(seed: int) -> Row:
    """Hide, fit, compare."""
    start = time.perf_counter()
    case = load_case(CASE)
    hidden, truth, touch = hide(case, seed)
    found = fit(case, strips_of(hidden), workers=1)
    offs = [
        (x - e.x) / e.deviation for x, e in zip(hidden.x, found.estimates, strict=True)
    ]
    aim = opening(RADIUS)
    by_card = lift_for(case, RADIUS, "operator")
    by_fit = lift_for(found.best, RADIUS, "operator") - found.values["touch offset"]
    made = [
        one_pass(truth, lift + touch, "operator").radius for lift in (by_card, by_fit)
    ]
    told = Forecast(found).at(by_fit, "operator")
    deviation = math.hypot(told.deviation(found.covariance), 0.004)
    offs.append(math.log(1.0 / made[1] / told.curvature) / deviation)
    return Row(
        seed=seed,
        off=tuple(map(float, offs)),
        share=tuple(e.deviation for e in found.estimates),
        before=abs(opening(made[0]) - aim),
        after=abs(opening(made[1]) - aim),
        chance=found.chance,
        seconds=time.perf_counter() - start,
    )


def main(seeds: int) -> None:
    """Compute, print, keep every seed beside."""
    names = [*(p.name for p in parameters_of(load_case(CASE))), "radius of the job"]
    rows: list[Row] = []
    with parallel.workers(None, seeds) as do_all, TABLE.open("w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["seed", *names, "before [mm]", "after [mm]", "chance", "s"])
        for row in do_all(one, list(range(seeds))):
            rows.append(row)
            numbers = (*row.off, row.before, row.after, row.chance, row.seconds)
            table.writerow([row.seed, *(f"{v:.4g}" for v in numbers)])
            file.flush()
            print(f"seed {row.seed} done in {row.seconds:.0f} s", file=sys.stderr)
    off = np.array([row.off for row in rows])
    share = np.mean([row.share for row in rows], axis=0)
    inside = np.mean(np.abs(off) <= QUANTILE_95, axis=0)
    print(f"| {'of the truth':<20} | inside 95 % | deviation left of the prior's |")
    print("| --- | ---: | ---: |")
    for i, name in enumerate(names):
        left = f"{share[i]:.0%}" if i < share.size else ""
        print(f"| {name:<20} | {inside[i]:.0%} | {left} |")
    print(f"all parameters together: {np.mean(inside[:-1]):.1%} of {off[:, :-1].size}")
    before, after = (
        np.array([getattr(r, k) for r in rows]) for k in ("before", "after")
    )
    for word, how in (
        ("rms", lambda v: math.sqrt(np.mean(v**2))),
        ("median", np.median),
    ):
        ratio = how(before) / how(after)
        print(
            f"error of the opening, {word}: by the card {how(before):.2f} mm, "
            f"corrected {how(after):.2f} mm, {ratio:.1f} times less"
        )
    print(f"seconds a fit with its strips: {np.median([r.seconds for r in rows]):.0f}")


def keep_strips() -> None:
    """Roll the strips that the tests fit, and write what is hidden beside them."""
    case = load_case(CASE)
    settings = ", ".join(f"{way} {lift:g} mm" for way, lift in SETTINGS)
    with KEPT.open("w", newline="") as file:
        file.write(
            f"# made by benchmarks/fit.py strips: {CASE}, {settings}; rises over\n"
        )
        file.write(
            f"# {CHORD:g} mm, error {RISE_ERROR:g}; micrometer {THICKNESS_ERROR:g};\n"
        )
        file.write(
            f"# lifts off by {LIFT_ERROR:g} mm; parameters in prior deviations\n"
        )
        table = csv.writer(file, lineterminator="\n")
        names = [p.name for p in parameters_of(case)]
        rises = [f"rise {s} [mm]" for s in "ABC"]
        table.writerow(["seed", *names, *rises, "thickness read [mm]"])
        for seed in KEPT_SEEDS:
            hidden, _, _ = hide(case, seed)
            numbers = (*hidden.x, *hidden.rises, hidden.thickness)
            table.writerow([seed, *(f"{v:.6f}" for v in numbers)])


def at_the_bench(plan: Plan, truth: dict[ParameterName, float], zero: float) -> float:
    """Opening (mm) of a plan's job at a truth; ``zero``: touch offset it took (mm)."""
    off = truth["touch offset"] - zero
    moves = {
        f"move.{number}.{key}": getattr(move, key) + off
        for number, move in enumerate(plan.case.moves, 1)
        if move.kind != "lower" and (key := lift_key(move))
    }
    job = varied(plan.case.replace(moves), truth)
    return float(run_case(job).summary["opening"])


def planned(seed: int) -> tuple[int, float, float]:
    """Plan by the card and by a fit; what either opening is off its plan's, mm."""
    case = load_case(PLANNED)
    hidden, _, _ = hide(load_case(CASE), seed)
    parameters = parameters_of(case)
    pairs = zip(parameters, hidden.x, strict=True)
    truth = {p.name: p.value(x) for p, x in pairs}
    found = fit(case, strips_of(hidden), workers=1)
    off = []
    for asked, zero in ((case, 0.0), (found.best, found.values["touch offset"])):
        plan = make_plan(asked)
        made = at_the_bench(plan, truth, zero)
        off.append(made - float(plan.result.summary["opening"]))
    return seed, off[0], off[1]


def plans() -> None:
    """Print what whole plans are off at the bench."""
    rows = []
    for seed in PLAN_SEEDS:
        rows.append(planned(seed)[1:])
        card, corrected = rows[-1]
        print(
            f"seed {seed}: card {card:+.2f} mm, corrected {corrected:+.2f} mm",
            flush=True,
        )
    card, corrected = np.sqrt(np.mean(np.square(rows), axis=0))
    print(f"rms: {card:.2f} and {corrected:.2f} mm, {card / corrected:.1f} times less")


if __name__ == "__main__":
    if sys.argv[1:] == ["plan"]:
        plans()
    elif sys.argv[1:] == ["strips"]:
        keep_strips()
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)

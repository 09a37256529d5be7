"""Plans of random parts, run again from their own text: deviation, time, refusals.

Run ``python benchmarks/plan.py [COUNT [SEED]]``; every part is one row of
``benchmarks/plan.csv``. A part within what the machine should reach by the span solver
counts as reachable, one well beyond it as unreachable; between them nothing is drawn.
``python benchmarks/plan.py passes [COUNT [SEED]]`` draws parts between the tightest
that one pass can and the sheet's own, for several passes, to ``plan_passes.csv``.
The deviations are those of a second run, read from the text that the plan would write.
"""

from __future__ import annotations

import csv
import math
import sys
import time
from pathlib import Path

import numpy as np

from pinchline.analysis.planning.lift_table import lift_table
from pinchline.analysis.planning.planner import make_plan
from pinchline.analysis.planning.search import Search
from pinchline.analysis.planning.shortfall import bound, reach
from pinchline.case.case import Case, parse_case
from pinchline.case.demand import LimitKind
from pinchline.errors import PinchlineError
from pinchline.parts.assess import (
    FLAT_QUANTITIES,
    RADIUS_QUANTITIES,
    PartQuantity,
    deviations_from_target,
    read_finished_part,
)
from pinchline.solvers.stepped.program import run_case

ALLOYS = ("5052-H32", "2024-T3", "3003-H14", "6061-T4", "5052-O")
MACHINES = ("bench-50", "bench-60", "bench-76")
STRONG, STRONG_MACHINES = ("5052-H32", "2024-T3", "3003-H14", "6061-T6"), MACHINES[:2]
RESULTS = Path(__file__).with_suffix(".csv")
PASSES = RESULTS.with_stem("plan_passes")
IN_REACH_WORDS, BEYOND_WORDS, PASSES_WORDS = "in reach", "beyond", "in passes"
IN_REACH, BEYOND = 0.85, 1.25  # of the tightest curvature
WIDEST = 0.15  # of it: the flattest part drawn
COLUMNS = (
    "part", "wanted", "reached", "limit", "way", "radius_off", "opening_off",
    "angle_off", "flat_off", "halves", "seconds", "cpu",
)  # fmt: skip


def a_case(draw: np.random.Generator, kind: str) -> tuple[str, str]:
    """Draw sheet and machine: text without target, and in words."""
    thick = kind == PASSES_WORDS
    alloy = str(draw.choice(STRONG if thick else ALLOYS))
    machine = str(draw.choice(STRONG_MACHINES if thick else MACHINES))
    low, high = (1.2, 2.5) if thick else (0.6, 1.6)
    thickness = round(float(draw.uniform(low, high)), 2)
    text = (
        f'[sheet]\nmaterial = "{alloy}"\ndirection = "LT"\n'
        f'thickness = "{thickness} mm"\nwidth = "300 mm"\n'
        f'[machine]\nuse = "{machine}"\n'
    )
    return text, f"{alloy} {thickness} mm {machine}"


def a_tight_target(draw: np.random.Generator, probe: Case) -> str:
    """Draw a part tighter than one pass is gripped or cranked for; "" where none is."""
    table = lift_table(probe)
    most = bound(probe, table)
    tightest = 1.0 / table.tightest
    by_hand = most.limit in (LimitKind.GRIP, LimitKind.HAND_FORCE)
    if not by_hand or most.radius < 1.1 * tightest:
        return ""
    radius = draw.uniform(1.05 * tightest, 0.99 * most.radius)
    angle = draw.uniform(110.0, 200.0)
    return f'radius = "{radius:.2f} mm"\nangle = "{angle:.1f} deg"\n'


def a_target(draw: np.random.Generator, tightest: float, *, in_reach: bool) -> str:
    """Draw a target of one of three kinds, in or out of reach (1/mm)."""
    if in_reach:
        low, high = WIDEST * tightest, IN_REACH * tightest
        bend = math.exp(draw.uniform(math.log(low), math.log(high)))
    else:
        bend = draw.uniform(BEYOND, 1.6) * tightest
    radius = 1.0 / bend
    most = min(200.0, math.degrees(350.0 * bend))
    angle = draw.uniform(0.4, 1.0) * most
    flats = ""
    if draw.random() < 0.6:
        flats += f'flat_operator = "{draw.uniform(12.0, 40.0):.1f} mm"\n'
    if draw.random() < 0.6:
        flats += f'flat_rear = "{draw.uniform(12.0, 70.0):.1f} mm"\n'
    kind = draw.random()
    if kind < 0.5:
        return f'radius = "{radius:.2f} mm"\nangle = "{angle:.1f} deg"\n{flats}'
    if kind < 0.75:
        opening = 2.0 * radius * math.sin(math.radians(0.5 * min(angle, 150.0)))
        return f'radius = "{radius:.2f} mm"\nopening = "{opening:.1f} mm"\n'
    other = radius * draw.uniform(1.0, 1.5)
    return (
        f"{flats}[target.nose]\n"
        f'radius_operator = "{radius:.2f} mm"\nradius_rear = "{other:.2f} mm"\n'
        f'angle_operator = "{0.5 * angle:.1f} deg"\nangle_rear = "{0.5 * angle:.1f} '
        f'deg"\nblend = "{0.2 * radius * math.radians(angle):.1f} mm"\n'
    )


def again(case: Case) -> dict[str, float]:
    """Run a plan's case from its text and measure it against the target."""
    read = parse_case(case.text, path="again.toml")
    result = run_case(read)
    distance = read.machine.rear.distance
    part = Search(read).part((0.0, 0.0))
    made = read_finished_part(result, part.sharpest, distance)
    part = Search(read).part(made.arc_flats)
    rows = deviations_from_target(read, part, made)
    radii = [d for d in rows if d.quantity in RADIUS_QUANTITIES]
    asked = [d for d in rows if not math.isnan(d.tolerance)]
    flats = [abs(d.off) for d in asked if d.quantity in FLAT_QUANTITIES]
    openings = [abs(d.off) for d in asked if d.quantity is PartQuantity.OPENING]
    angles = [abs(d.off) for d in asked if d.quantity is PartQuantity.TURNED_ANGLE]
    first, second = (d.made / d.wanted for d in radii)
    return {
        "radius_off": max(abs(d.off) / d.wanted for d in radii),
        "opening_off": max(openings, default=math.nan),
        "angle_off": math.degrees(max(angles, default=math.nan)),
        "flat_off": max(flats, default=math.nan),
        "halves": abs(first / second - 1.0),
    }


def row(number: int, seed: int, kind: str) -> dict[str, object]:
    """Plan one random part."""
    draw = np.random.default_rng((seed, number))
    target = ""
    while not target:
        text, words = a_case(draw, kind)
        probe = parse_case(
            text + '[target]\nradius = "1 m"\nangle = "10 deg"\n', path="p.toml"
        )
        if kind == PASSES_WORDS:
            target = a_tight_target(draw, probe)
        else:
            tightest = reach(lift_table(probe))
            target = a_target(draw, tightest, in_reach=kind == IN_REACH_WORDS)
    wanted = target.replace("\n", "; ")
    found: dict[str, object] = dict.fromkeys(COLUMNS, math.nan)
    found |= {"part": f"{number} {words}", "wanted": wanted}
    try:
        case = parse_case(f"{text}[target]\n{target}", path="random.toml")
        start, cpu = time.perf_counter(), time.process_time()
        plan = make_plan(case)
    except PinchlineError as error:
        return found | {"reached": "refused", "limit": str(error)}
    found["seconds"] = time.perf_counter() - start
    found["cpu"] = time.process_time() - cpu
    found |= {"reached": plan.reached, "limit": plan.limit, "way": plan.way}
    return found | again(plan.case)


def _say(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def main(kinds: list[str], seed: int, results: Path) -> None:
    """Plan a part of every kind named."""
    with results.open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(("kind", *COLUMNS))
        for number, kind in enumerate(kinds):
            found = row(number, seed, kind)
            cells = [_say(found[name]) for name in COLUMNS]
            writer.writerow((kind, *cells))
            stream.flush()
            print(f"{kind:<10}", *cells, flush=True)


if __name__ == "__main__":
    words = sys.argv[1:]
    passes = words[:1] == ["passes"]
    count, seed = (int(word) for word in (*words[passes:], "50", "5")[:2])
    if passes:
        main([PASSES_WORDS] * count, seed, PASSES)
    else:
        mixed = [IN_REACH_WORDS] * count + [BEYOND_WORDS] * (count // 5)
        main(mixed, seed, RESULTS)

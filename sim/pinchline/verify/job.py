"""Short jobs for checks: a sheet on a shipped machine with a rigid nip."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from pinchline.case.case import parse_case
from pinchline.solvers.stepped.program import run_case

if TYPE_CHECKING:
    from pinchline.results.schema import Result

THICKNESS = 1.0  # mm
TOP_ROLL_RADIUS = 30.0  # radius, mm


def place(at: float) -> str:
    """Put ``at`` (mm) on the nip line."""
    return f'[[move]]\nkind = "place"\nat = "{at} mm"\n'


def lift(to: float) -> str:
    """Raise the rear roll to a lift (mm)."""
    return f'[[move]]\nkind = "lift"\nto = "{to} mm"\n'


def feed(toward: str, *, by: float | None = None, leave: float | None = None) -> str:
    """Feed a length, or until a length is left (mm)."""
    length = f'by = "{by} mm"' if leave is None else f'leave = "{leave} mm"'
    return f'[[move]]\nkind = "feed"\ntoward = "{toward}"\n{length}\n'


def bare_move(kind: str) -> str:
    """Make a move without keys: lower, turn or release."""
    return f'[[move]]\nkind = "{kind}"\n'


@cache
def roll(moves: str, length: float = 300.0, material: str = "5052-H32") -> Result:
    """Roll 1 mm sheet between rigid rolls of 60 mm; the machine is invented."""
    return run_case(
        parse_case(
            f'[sheet]\nmaterial = "{material}"\ndirection = "LT"\n'
            f'thickness = "{THICKNESS} mm"\nlength = "{length} mm"\nwidth = "400 mm"\n'
            f'[machine]\nuse = "bench-60"\n[machine.nip]\nclearance = "0.05 mm"\n'
            f"{moves}",
            path="verify",
        )
    )


def mean_over(result: Result, name: str, low: float, high: float) -> float:
    """Mean of a dataset of the sheet over ``low < s < high`` (mm)."""
    s = result.sheet["s"]
    return float(np.mean(result.sheet[name][(s > low) & (s < high)]))

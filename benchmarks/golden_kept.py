"""The kept file of the golden comparison: what every array is, in a few digits.

Scalars are kept as they are, an array as seven numbers: how many, sum, sum of squares,
least, largest, first and last; all to nine digits. Kernels are compiled for the
processor at hand, so another machine may differ in later ones.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from golden_read import Reading

    Digests = dict[str, list[float]]

DIGITS = 9
WITHIN = 2.0 * 10.0 ** (1 - DIGITS)  # both sides are rounded
LEAST = 1.0e-12  # mm, N or rad: what is left of a difference of equal numbers
# in how many iterations a step is balanced, and what is left: last digits of a sum
NOISE = frozenset(("residual", "iterations", "energy_error", "energy_error_max"))
SCALARS = " scalars"
NOT_KEPT = (".html", ".dxf")  # marks that only look like numbers; too many numbers


def digests(reading: Reading) -> Digests:
    """Give the digest of every array of a reading, and the scalars of each group."""
    scalars: Digests = {}
    found: Digests = {}
    for name, array in sorted(reading.numbers.items()):
        file, inside, key = name.partition(":")
        if inside and (array.dtype.kind == "U" or key.rpartition("/")[2] in NOISE):
            continue
        values = array.astype(float).ravel()
        if array.ndim == 0:
            group = name.rpartition("/" if "/" in key else ":")[0] + SCALARS
            scalars.setdefault(group, []).append(rounded(float(values[0])))
        elif values.size and not file.endswith(NOT_KEPT):
            found[name] = digest(values)
    return found | scalars


def digest(values: np.ndarray) -> list[float]:
    """Give count, sum, sum of squares, least, largest, first and last.

    Infinite counts as 0, as NaN does; nothing but zeros gives the count alone.
    """
    x = np.nan_to_num(values, posinf=0.0, neginf=0.0)
    if not x.any():
        return [x.size]
    numbers = (x.sum(), (x**2).sum(), x.min(), x.max(), x[0], x[-1])
    return [x.size, *map(rounded, numbers)]


def rounded(number: float) -> float:
    """Round to nine digits; whole numbers and what is not a number stay short."""
    if not np.isfinite(number):
        return 0
    short = float(f"{number:.{DIGITS}g}")
    return int(short) if short == int(short) else short


def near(name: str, kept: list[float], now: list[float]) -> bool:
    """Whether two agree to nine digits of the largest number that went into each."""
    if len(kept) != len(now):
        return False
    if name.endswith(SCALARS):
        scales = np.abs(kept)
    elif kept[0] != now[0] or len(kept) == 1:
        return kept[0] == now[0]
    else:
        count, _, squares, least, largest, *_ = kept
        peak = max(abs(least), abs(largest))
        scales = np.array((1.0, np.sqrt(count * squares), squares, *[peak] * 4))
    return bool((np.abs(np.subtract(kept, now)) <= WITHIN * scales + LEAST).all())


def unlike(kept: Digests, now: Digests) -> list[str]:
    """Name what is on one side only, or differs."""
    return [
        name
        for name in sorted(kept.keys() | now.keys())
        if name not in kept or name not in now or not near(name, kept[name], now[name])
    ]


def write(path: Path, items: dict[str, Digests]) -> None:
    """Write the file, a line for every array."""
    parts = []
    for item, found in items.items():
        rows = [
            f"{json.dumps(name)}:{json.dumps(values, separators=(',', ':'))}"
            for name, values in found.items()
        ]
        parts.append(f"{json.dumps(item)}:{{\n" + ",\n".join(rows) + "\n}")
    path.write_text("{\n" + ",\n".join(parts) + "\n}\n", encoding="utf-8")


def load(path: Path) -> dict[str, Digests]:
    """Read the file."""
    items: dict[str, Digests] = json.loads(path.read_text(encoding="utf-8"))
    return items

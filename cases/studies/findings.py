"""Compute the shipped studies again: their pictures, and the numbers in their findings.

    .venv/bin/python cases/studies/findings.py [NAME ...] [--into FOLDER]

A study whose finished file lies in FOLDER already is not computed again. A number
stands in a finding between ``<!--=name-->`` and ``<!--/-->``; what it is, is said here.
Numbers that move by more than a tenth are printed: read the sentence around them again.
"""

import re
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import xarray

import pinchline as pl
from pinchline.reports.studies.study_pictures import draw_study

HERE = Path(__file__).parent
MARK = re.compile(r"(<!--=(\w+)-->)(.*?)(<!--/-->)")
MOVED = 0.1  # of a number: its sentence may not hold any more

Data = xarray.Dataset
Numbers = dict[str, Callable[[Data], float | str]]


def flat(
    lift: float, thickness: float, distance: int, edge: str = "rear"
) -> Callable[[Data], float]:
    """Give a flat by moment, mm; ``distance`` counts the rear-roll places from 0."""
    return lambda data: float(
        data[f"flat_{edge}_moment"]
        .sel(lift=lift, thickness=thickness)
        .isel(rear_roll=distance)
    )


def gone(data: Data) -> float:
    """Share of the way from nip to edge that is lead-in flat, %; 1 mm, 26 mm lift."""
    return 100.0 * flat(26, 1, 0)(data) / 70.0


def slope(data: Data) -> float:
    """Lead-in flat per mm of rear-roll distance, 1 mm, 26 mm lift."""
    return (flat(26, 1, 3)(data) - flat(26, 1, 0)(data)) / 24.0


def radius(lift: float, toward: str, thickness: float = 1.0) -> Callable[[Data], float]:
    """Give the radius of a steady pass, mm."""
    return lambda data: float(
        data.radius.sel(lift=lift, toward=toward, thickness=thickness)
    )


def ratio(lift: float) -> Callable[[Data], float]:
    """Give how many times wider the pass toward the rear comes out, 1 mm."""
    return lambda data: radius(lift, "rear")(data) / radius(lift, "operator")(data)


def wrapped(data: Data) -> float:
    """Radius that more lift no longer tightens, toward the operator, 1 mm."""
    return float(data.radius.sel(toward="operator", thickness=1.0).min())


def settled(data: Data) -> float:
    """Least lift at which the pass toward the operator is within 2 % of that."""
    held = data.radius.sel(toward="operator", thickness=1.0)
    return float(data.lift.where(held < 1.02 * wrapped(data)).min())


def nip(name: str, end: int, way: int) -> Callable[[Data], float]:
    """Give a result at the softest (0) or stiffest (-1) nip, rear 0 or operator 1."""
    return lambda data: float(data[name].isel({"stiffness": end, "pass": way}))


def wider(way: int) -> Callable[[Data], float]:
    """Give by how much the softest nip leaves a wider radius than the stiffest, %."""
    return lambda data: (
        100.0 * (nip("radius", 0, way)(data) / nip("radius", -1, way)(data) - 1.0)
    )


def tightest(temper: str, roll: float) -> Callable[[Data], float]:
    """Give the least radius over all lifts that can be made, mm."""
    return lambda data: float(
        data.radius_zone_mean.where(data.event == "")
        .sel(temper=temper, upper_radius=roll)
        .min()
    )


def opened(temper: str, roll: float) -> Callable[[Data], float]:
    """Give the tightest radius over the radius of the roll."""
    return lambda data: tightest(temper, roll)(data) / roll


def wrap(temper: str, roll: float) -> Callable[[Data], float]:
    """Give how near the plateau came to lying on the roll, % of that curvature."""
    return lambda data: (
        100.0
        * (roll + 0.5)  # of 1 mm sheet's mid-line
        / float(
            data.springback_loaded_radius.where(data.event == "")
            .sel(temper=temper, upper_radius=roll)
            .min()
        )
    )


FINDINGS: dict[str, Numbers] = {
    "edge-flats": {
        "lead_in": flat(26, 1, 0),
        "share": gone,
        "low": flat(18, 1, 0),
        "high": flat(30, 1, 0),
        "far": flat(26, 1, 3),
        "slope": slope,
        "thin": flat(26, 0.6, 0),
        "thick": flat(26, 1.6, 0),
        "run_out": flat(26, 1, 0, "operator"),
        "run_out_thick": flat(18, 1.6, 0, "operator"),
    },
    "direction": {
        "rear": radius(16, "rear"),
        "operator": radius(16, "operator"),
        "ratio": ratio(16),
        "ratio_more": ratio(22),
        "wrapped": wrapped,
        "settled": settled,
        "rear_most": radius(34, "rear"),
        "rear_at_settled": lambda data: radius(settled(data), "rear")(data),
    },
    "nip-stiffness": {
        "open_soft": lambda data: nip("nip_opening", 0, 0)(data) - 1.0,
        "open_stiff": lambda data: nip("nip_opening", -1, 0)(data) - 1.0,
        "force_soft": nip("force_lower", 0, 0),
        "force_stiff": nip("force_lower", -1, 0),
        "back_soft": nip("force_lower", 0, 1),
        "back_stiff": nip("force_lower", -1, 1),
        "wider_rear": wider(0),
        "wider_operator": wider(1),
        "radius_soft": nip("radius", 0, 1),
        "radius_stiff": nip("radius", -1, 1),
    },
    "tightest": {
        "soft_small": tightest("5052-O", 15),
        "soft_large": tightest("5052-O", 38),
        "opened_soft": opened("5052-O", 30),
        "opened_t3": opened("2024-T3", 30),
        "opened_hard": opened("7075-T6", 30),
        "opened_hard_small": opened("7075-T6", 20),
        "hard_30": tightest("7075-T6", 30),
        "hard_20": tightest("7075-T6", 20),
        "hard_15": tightest("7075-T6", 15),
        "wrap_hard_15": wrap("7075-T6", 15),
    },
}


def written(value: float | str) -> str:
    """Write a number with three digits, as a finding tells it."""
    if isinstance(value, str):
        return value
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def refresh(name: str, folder: Path) -> None:
    """Compute a study, draw its picture, put its numbers into its findings."""
    file = folder / f"{name}.h5"
    found = pl.study(HERE / f"{name}.toml", file, resume=file.exists())
    draw_study(found, HERE.parent / "pictures")
    page = HERE / f"{name}.md"
    with xarray.open_dataset(file, engine="h5netcdf") as data:
        numbers = {key: written(tell(data)) for key, tell in FINDINGS[name].items()}

    def put(match: re.Match[str]) -> str:
        old, new = match[3], numbers[match[2]]
        if abs(float(new) - float(old or "nan")) > MOVED * abs(float(new)):
            print(f"{name}.md: {match[2]} was {old}, is {new}")
        return f"{match[1]}{new}{match[4]}"

    text = page.read_text(encoding="utf-8")
    page.write_text(MARK.sub(put, text), encoding="utf-8")
    print(f"{name}: {found.done.size} points, {found.failed} with an event")


def main(words: list[str]) -> None:
    """Refresh the studies named, or all."""
    with tempfile.TemporaryDirectory() as scratch:
        into = Path(scratch)
        if "--into" in words:
            at = words.index("--into")
            into = Path(words[at + 1])
            words = words[:at] + words[at + 2 :]
        into.mkdir(parents=True, exist_ok=True)
        for name in words or FINDINGS:
            refresh(name, into)


if __name__ == "__main__":
    main(sys.argv[1:])

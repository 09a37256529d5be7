"""What a bilinear card costs against the full stress-strain curve of the metal.

    python benchmarks/bilinear.py

bends the section, and then rolls sheet on the shipped ``bench-60``, once with the curve
and once with each of four ways to put two straight lines in its place; prints the
tables of ``cases/studies/bilinear.md`` and draws ``cases/pictures/bilinear.png``. Takes
a minute. All jobs are invented; the curves are Ramberg-Osgood through the card's yield
strength at 0.2 % offset.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

import pinchline as pl
from pinchline.case.case import parse_case
from pinchline.case.metal.curve import Curve
from pinchline.case.metal.material import Material, load_material
from pinchline.reports.style import theme
from pinchline.solvers.sublayers import hardening_curve
from pinchline.verify.section_fixtures import SectionFixture, layered

PICTURE = Path(__file__).parents[1] / "cases" / "pictures" / "bilinear.png"
# 2024-T3 LT: mean of 12 in tension and 11 in compression (from memory, references.md
# 4.1). 5052: no exponent on file; that of the curve through the card's typical yield
# and greatest load, n = ln(e_u / 0.002) / ln(Ftu / Fty) with e_u = e - Ftu / E (a rule
# from memory; by it 2024-T3 has 13).
EXPONENTS = {"2024-T3": 11.5, "5052-H32": 25.0, "5052-O": 6.3}
RADII = (20, 30, 40, 50, 60, 80, 100, 130, 160, 200, 250, 300)
# past this the part is as good as flat, and a percentage says nothing
FLAT = 10.0
THICKNESS = 1.0  # mm
LIFTS = {
    ("2024-T3", "rear"): (20, 26, 32),
    ("2024-T3", "operator"): (18, 21, 24),
    ("5052-H32", "rear"): (20, 26, 32),
    ("5052-H32", "operator"): (12, 15, 18),
}
WAYS = {
    "a": "the shipped card: yield at 0.2 %, one chord for all bends",
    "b": "yield at 0.2 %, tangent for the moment at work",
    "c": "yield at 0.2 %, tangent to the stress at work",
    "d": "line through the curve at 60 % and all of the strain at work",
}
NEAR = 0.6  # of the strain at work: the first point of d
ONE_RADIUS = 40.0  # mm, for which d is set where one card serves all bends


class Two(NamedTuple):
    """Two straight lines: yield and tangent modulus, MPa."""

    strength: float
    tangent: float


def with_curve(card: str) -> Material:
    """Give the metal of a card its curve, as the handbook prints it: engineering."""
    plain = load_material(card, "LT", THICKNESS, "bilinear.py")
    return plain.model_copy(update={"curve": Curve(exponent=EXPONENTS[card])})


def with_lines(metal: Material, lines: Two) -> Material:
    """Put two straight lines in place of the curve."""
    keys = {"yield_strength": lines.strength, "tangent_modulus": lines.tangent}
    return metal.model_copy(update={"curve": None, **keys})


def moment(metal: Material, curvature: float) -> tuple[float, float]:
    """Moment (N mm/mm) of a wide sheet at a curvature, and the curvature left."""
    law = layered(metal, THICKNESS, kinematic=1.0)
    piece = SectionFixture(law, sub=40)
    at_work = piece.bend_to(curvature)
    left = brentq(lambda k: piece.try_at(k)[0], -0.2 * curvature, curvature)
    return at_work, float(left)


def stress(metal: Material, strain: float) -> float:
    """True stress (MPa) of the curve at a total strain."""
    assert metal.curve is not None
    plastic, on = hardening_curve(
        metal.curve, metal.youngs_modulus, metal.yield_strength
    )
    return float(np.interp(strain, on / metal.youngs_modulus + plastic, on))


def lines_for(way: str, metal: Material, radius: float) -> Two | None:
    """Two lines in one of the ways, for a loaded radius (mm); None: there are none."""
    youngs, strength = metal.youngs_modulus, metal.yield_strength
    strain = THICKNESS / (2.0 * radius)
    if way == "a":
        return Two(strength, metal.tangent_modulus)
    if way == "b":
        aim, _ = moment(metal, 1.0 / radius)

        def over(tangent: float) -> float:
            lines = with_lines(metal, Two(strength, tangent))
            return moment(lines, 1.0 / radius)[0] - aim

        if over(0.0) > 0.0:
            return None
        return Two(strength, float(brentq(over, 0.0, 0.2 * youngs, xtol=1.0)))
    offset = strength / youngs + 0.002
    near = offset if way == "c" else NEAR * strain
    if way == "c" and strain <= offset:
        return None
    tangent = (stress(metal, strain) - stress(metal, near)) / (strain - near)
    if way == "c":
        return Two(strength, tangent)
    meets = (stress(metal, strain) - tangent * strain) / (1.0 - tangent / youngs)
    return Two(meets, tangent)


def error(metal: Material, lines: Two | None, radius: float) -> float:
    """Residual radius by two lines over that by the curve, less 1; NaN for none."""
    if lines is None:
        return math.nan
    _, left = moment(metal, 1.0 / radius)
    _, other = moment(with_lines(metal, lines), 1.0 / radius)
    return left / other - 1.0 if other > 0.0 else math.inf


class Bend(NamedTuple):
    """One loaded radius: what the curve leaves, and errors by way; over R in mm."""

    loaded: float
    residual: float
    way_back: float  # what yielding on the way back alone does to the radius
    errors: dict[str, float]


def bends(card: str) -> list[Bend]:
    """Bend the section of a card to each radius that leaves more than a trace."""
    metal = with_curve(card)
    stiffness = layered(metal, THICKNESS, kinematic=1.0).bending
    fixed = lines_for("d", metal, ONE_RADIUS)
    rows = []
    for radius in RADII:
        at_work, left = moment(metal, 1.0 / radius)
        if left * FLAT * radius < 1.0:
            break
        elastic = 1.0 / radius - at_work / stiffness
        errors = {w: error(metal, lines_for(w, metal, radius), radius) for w in WAYS}
        errors["d40"] = error(metal, fixed, radius)
        rows.append(Bend(radius, 1.0 / left, elastic / left - 1.0, errors))
    return rows


def rolled(card: str, toward: str, lift: float, lines: str) -> tuple[float, float]:
    """Loaded and residual radius (mm) on the plateau of one pass; ``lines`` in TOML."""
    length, at, by = (330, 240, 190) if toward == "rear" else (120, 10, 40)
    low, high = (55, 75) if toward == "rear" else (22, 40)
    text = f"""title = "One pass (invented)"
[sheet]
direction = "LT"
thickness = "{THICKNESS} mm"
length = "{length} mm"
width = "400 mm"
[sheet.material]
use = "{card}"
{lines}
[machine]
use = "bench-60"
[[move]]
kind = "place"
at = "{at} mm"
[[move]]
kind = "lift"
to = "{lift} mm"
[[move]]
kind = "feed"
toward = "{toward}"
by = "{by} mm"
"""
    result = pl.run(parse_case(text, path="bilinear.toml"))
    if any(event.level == "stop" for event in result.events):
        return math.nan, math.nan
    zone = (result.sheet["s"] > low) & (result.sheet["s"] < high)
    names = ("curvature_loaded_peak", "curvature_residual")
    loaded, left = (float(1.0 / np.mean(result.sheet[name][zone])) for name in names)
    return loaded, left


def passes(card: str, toward: str) -> list[Bend]:
    """Roll at each lift by the curve and by two lines set for its loaded radius."""
    metal = with_curve(card)
    rows = []
    for lift in LIFTS[card, toward]:
        curve = f"curve.exponent = {EXPONENTS[card]}"
        loaded, left = rolled(card, toward, lift, curve)
        errors = {}
        for way in WAYS:
            lines = lines_for(way, metal, loaded)
            errors[way] = math.nan
            if lines is not None:
                keys = f'yield_strength = "{lines.strength} MPa"\n'
                keys += f'tangent_modulus = "{lines.tangent} MPa"'
                _, other = rolled(card, toward, lift, keys)
                errors[way] = other / left - 1.0
        rows.append(Bend(loaded, left, math.nan, errors))
    return rows


def table(title: str, first: str, rows: list[Bend], steps: list[float]) -> None:
    """Print a Markdown table of one metal or one kind of pass."""
    ways = list(rows[0].errors)
    section = not math.isnan(rows[0].way_back)
    heads = [first, *([] if section else ["loaded, mm"]), "free, mm"]
    heads += [*ways, *(["way back"] if section else [])]
    print(f"\n{title}\n\n| {' | '.join(heads)} |\n|{' ---: |' * len(heads)}")
    for step, row in zip(steps, rows, strict=True):
        cells = [f"{step:g}", *([] if section else [f"{row.loaded:.1f}"])]
        cells.append(f"{row.residual:.1f}")
        values = [row.errors[way] for way in ways]
        values += [row.way_back] if section else []
        cells += ["-" if math.isnan(v) else f"{100.0 * v:+.1f} %" for v in values]
        print(f"| {' | '.join(cells)} |")


def draw(
    sections: dict[str, list[Bend]], rolls: dict[tuple[str, str], list[Bend]]
) -> None:
    """Draw errors over loaded radius: the section alone, and passes."""
    styles = {
        "a": ("o-", theme.RUST, "a: shipped card"),
        "b": ("^:", theme.GOLD, "b: tangent for the moment at work"),
        "c": ("s--", theme.SEA, "c: tangent to the stress at work"),
        "d": ("D-", theme.BLUE, "d: line through 60 and 100 % of the strain"),
        "d40": ("x-.", theme.INK, "d, set for R/t 40"),
    }
    with theme.project_style():
        fig = theme.figure(9.6, 7.2)
        grid = fig.subplots(2, 3, sharey="row")
        for ax, card in zip(grid[0], EXPONENTS, strict=True):
            rows = sections[card]
            for way, (mark, color, words) in styles.items():
                values = [100.0 * row.errors[way] for row in rows]
                ax.plot(
                    [r.loaded for r in rows], values, mark, color=color, label=words
                )
            ax.set_title(f"{card}, pure bending", loc="left")
            ax.set_xlabel("R/t under load")
        grid[0, 0].set_ylim(-15.0, 15.0)
        for ax, card in zip(grid[1], ("2024-T3", "5052-H32"), strict=False):
            for toward, fill in (("rear", "full"), ("operator", "none")):
                rows = rolls[card, toward]
                for way in WAYS:
                    mark, color, _ = styles[way]
                    values = [100.0 * row.errors[way] for row in rows]
                    loaded = [row.loaded for row in rows]
                    ax.plot(loaded, values, mark, color=color, fillstyle=fill)
            ax.set_title(f"{card}, one pass on bench-60", loc="left")
            ax.set_xlabel("R/t under load")
        theme.add_note(
            grid[1, 0],
            "filled: toward the rear\nhollow: toward the operator",
            0.36,
            0.9,
            transform=grid[1, 0].transAxes,
        )
        for ax in grid[:, 0]:
            ax.set_ylabel(
                "residual radius by two lines\nover that by the curve, less 1, %"
            )
        grid[1, 2].axis("off")
        lines, words = grid[0, 0].get_legend_handles_labels()
        grid[1, 2].legend(lines, words, loc="center left")
        theme.set_heading(fig, "What two straight lines cost (invented jobs)")
        theme.save(fig, PICTURE)


def main() -> None:
    """Compute, print, draw."""
    sections = {card: bends(card) for card in EXPONENTS}
    for card, rows in sections.items():
        title = f"{card}, n = {EXPONENTS[card]:g}, pure bending"
        table(title, "R/t", rows, [row.loaded for row in rows])
    rolls = {kind: passes(*kind) for kind in LIFTS}
    for (card, toward), rows in rolls.items():
        title = f"{card}, one pass toward the {toward}"
        table(title, "lift, mm", rows, list(LIFTS[card, toward]))
    draw(sections, rolls)


if __name__ == "__main__":
    main()

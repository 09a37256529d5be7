"""Study: a narrow strip and a wide sheet on one and the same machine.

    .venv/bin/python cases/studies/nip-give.py

draws ``cases/pictures/nip-give.png`` and prints the table of ``nip-give.md``. The
machine and the sheet are the invented ones of the shipped cases.
"""

from pathlib import Path

import numpy as np

import pinchline as pl
from pinchline.case.case import Case, parse_case
from pinchline.reports.style import theme

WIDTHS = (15, 25, 50, 100, 200, 300, 400, 500, 600)
PASSES = {"forward": (24, 240, "rear", 190), "reverse": (16, 10, "operator", 40)}
NIPS = {"giving": "", "rigid": 'nip.clearance = "0.05 mm"'}
HERE = Path(__file__).parents[1]


def job(way: str, width: float, nip: str, regime: str) -> Case:
    """One pass of the demo's sheet at some width."""
    lift, at, toward, by = PASSES[way]
    length = 330 if way == "forward" else 120
    return parse_case(
        f"""title = "One pass, {width:g} mm wide (invented)"
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "{length} mm"
width = "{width} mm"
[machine]
use = "bench-60"
{NIPS[nip]}
[model]
regime = "{regime}"
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
""",
        path="nip-give.toml",
    )


def measured(way: str, width: float, nip: str, regime: str) -> dict[str, float]:
    """Radius on the plateau, and the largest of nip opening and pinch force."""
    result = pl.run(job(way, width, nip, regime))
    s, k = result.sheet["s"], result.sheet["curvature_residual"]
    low, high = (55, 75) if way == "forward" else (22, 40)
    feeding = result.steps["move"] == 3
    return {
        "radius": float(1.0 / np.mean(k[(s > low) & (s < high)])),
        "opening": float(np.median(result.steps["nip_opening"][feeding])) - 1.0,
        "pinch": float(np.median(result.steps["force_lower"][feeding])),
        "stiffness": result.inputs["stiffness_lower"],
        "held": result.inputs["held_flat"],
    }


def study() -> dict[tuple[str, str, str], list[dict[str, float]]]:
    """All passes, nips and regimes over the widths."""
    kinds = [("giving", "auto"), ("giving", "wide"), ("rigid", "auto")]
    return {
        (way, *kind): [measured(way, width, *kind) for width in WIDTHS]
        for way in PASSES
        for kind in kinds
    }


def draw(found: dict[tuple[str, str, str], list[dict[str, float]]], path: Path) -> None:
    """Draw opening, pinch force and radius over the width."""
    styles = {
        ("giving", "auto"): ("o-", theme.BLUE, "rolls give"),
        ("giving", "wide"): ("x:", theme.INK, "rolls give, counted as wide"),
        ("rigid", "auto"): ("s--", theme.RUST, "rigid, 0.05 mm clearance"),
    }
    rows = {
        "opening": "nip opens beyond\nthe sheet, mm",
        "pinch": "lower roll bears,\nN per mm of width",
        "radius": "residual radius, mm",
    }
    with theme.project_style():
        fig = theme.figure(9.0, 7.6)
        axes = fig.subplots(3, 2, sharex=True, sharey="row")
        for column, way in enumerate(PASSES):
            for row, (name, label) in enumerate(rows.items()):
                ax = axes[row, column]
                for kind, (mark, color, words) in styles.items():
                    values = [point[name] for point in found[way, *kind]]
                    ax.plot(WIDTHS, values, mark, color=color, label=words)
                ax.set_xscale("log")
                if column == 0:
                    ax.set_ylabel(label)
            lift, _, toward, _ = PASSES[way]
            words = f"fed toward the {toward}, {lift} mm lift"
            axes[0, column].set_title(words, loc="left")
            axes[2, column].set_xlabel("width of the sheet, mm")
            ticks = [width for width in WIDTHS if width != 500]
            axes[2, column].set_xticks(ticks, [str(width) for width in ticks])
            axes[2, column].minorticks_off()
        for ax in axes[:, 0]:
            ax.set_ylim(0.0, 1.08 * ax.dataLim.y1)
        axes[0, 1].legend(loc="upper left")
        theme.set_heading(
            fig, "A narrow strip and a wide sheet on one machine (invented)"
        )
        theme.save(fig, path)


def main() -> None:
    """Compute, print, draw."""
    found = study()
    print("pass     width  k of a roll   nip opens   pinch force  radius   rigid")
    for way in PASSES:
        for index, width in enumerate(WIDTHS):
            point = found[way, "giving", "auto"][index]
            rigid = found[way, "rigid", "auto"][index]
            print(
                f"{way:<9}{width:>5}{point['stiffness']:>12.0f}{point['opening']:>12.3f}"
                f"{point['pinch']:>12.2f}{point['radius']:>10.1f}{rigid['radius']:>8.1f}"
            )
    draw(found, HERE / "pictures" / "nip-give.png")


if __name__ == "__main__":
    main()

"""A job across the width, as text, table and picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pinchline import units
from pinchline.messages import worded
from pinchline.reports.style import theme
from pinchline.results.tables import Column, Table

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from pinchline.analysis.across import Across
    from pinchline.units import System

    Array = NDArray[np.float64]

NO_TAPER = 1.0e-3  # mm
LEAST_FOR_A_BARREL = 3
LEAST_SPREAD = 0.01  # of the radius: less is drawn as level


def across_table(across: Across, title: str) -> Table:
    """Give the stations as columns, from left to right."""
    made = across.stations
    forces = np.array([station.forces for station in made])
    shifts = np.array([station.shifts for station in made])
    columns = [
        Column("z", "mm", "place across the width, from the middle, + to the right",
               np.array([station.z for station in made])),
        Column("radius", "mm", "radius of the free part over the common zone",
               np.array([station.radius for station in made])),
        Column("opening", "mm", "opening of the free part",
               np.array([station.opening for station in made])),
        Column("turned_angle", "rad", "angle between the two edges",
               np.array([station.turned_angle for station in made])),
        Column("lift", "mm", "largest lift at this place",
               np.array([station.lift for station in made])),
    ]  # fmt: skip
    for index, roll in enumerate(("upper", "lower", "rear")):
        columns += [
            Column(f"force_{roll}", "N/mm", f"largest push on the {roll} roll",
                   forces[:, index]),
            Column(f"shift_{roll}", "mm",
                   f"{roll} roll away from the sheet, from its mean line, at that time",
                   shifts[:, index]),
        ]  # fmt: skip
    about: dict[str, str | float | int] = {
        "title": title,
        "width_mm": across.width,
        "barrel_mm": across.barrel,
        "taper_mm": across.taper,
        "cone_rad": across.cone,
        "edge_force_N_per_mm": across.edge_force,
        "exceeded": "; ".join(_limit_words(across)) or "no limit",
        "rounds": across.rounds,
        "change": across.change,
    }
    return Table("pinchline-across", "station", tuple(columns), about)


def across_words(across: Across, title: str, system: System) -> str:
    """Give the stations as lines of text, and what they make together."""

    def say(value: float) -> str:
        return units.format(value, "length", system)

    lines = [
        title,
        "",
        "from the middle        radius       opening   pinch roll bears",
    ]
    for station in across.stations:
        bears = units.format(float(max(station.forces[:2])), "line_force", system)
        cells = (say(station.z), say(station.radius), say(station.opening), bears)
        lines.append("".join(f"{cell:>15}" for cell in cells))
    grip = units.format(across.grip_margin, "line_force", system)
    edge = units.format(across.edge_force, "line_force", system)
    lines += ["", *_barrel_words(across, system)]
    if abs(across.taper) > NO_TAPER:
        tight = "left" if across.taper > 0.0 else "right"
        lines += [
            f"taper: the radius changes by {say(abs(across.taper))} across the width,",
            f"  tighter on the {tight}; a cone of {math.degrees(across.cone):.2f} deg",
        ]
    rest = f"within {across.change:.1%} after {across.rounds} rounds"
    lines += [
        f"at a side edge a pinch roll bears {edge}, carried on likewise",
        f"least grip beyond the drive, mean over the width: {grip}",
        f"the rolls' lines came to rest {rest}",
    ]
    if not across.settled:
        lines.append("THE LINES OF THE ROLLS DID NOT COME TO REST: take it as a trend")
    limits = _limit_words(across, system)
    lines += [f"LIMIT over the whole width: {words}" for words in limits]
    if not limits:
        lines.append("all strips together exceed no limit of the machine")
    lines.append(
        "Strips do not pull on each other here; a real sheet evens out part of this."
    )
    return "\n".join(lines)


def _barrel_words(across: Across, system: System) -> list[str]:
    """Say how barrelled the part is, and between what."""
    if len(across.stations) < LEAST_FOR_A_BARREL:
        return ["barrel: two strips cannot show one; take 3 stations or more"]
    if math.isnan(across.barrel):
        return ["barrel: not every strip keeps a radius"]
    bow = units.format(abs(across.barrel), "length", system)
    wider = "wider" if across.barrel > 0.0 else "tighter"
    return [
        f"barrel: the middle is {bow} {wider} in radius than the side edges,",
        "  where a parabola through the strips' middles is carried on to them",
    ]


def _limit_words(across: Across, system: System = "metric") -> list[str]:
    """Say which limits of the machine all stations together exceed, in which move."""
    return [
        worded(f"move {move}, {excess.message}", system)
        for move, excess in across.excesses
    ]


def across_notes(across: Across, system: System) -> tuple[str, ...]:
    """Warn of what is exceeded, and of a job that was stopped."""
    notes = [
        f"move {move}: {worded(excess.message, system)}"
        for move, excess in across.excesses
    ]
    if across.stopped:
        notes.append("a station's job was stopped; `pinchline run` says why")
    return tuple(notes)


def across_picture(across: Across, title: str, system: System = "metric") -> Figure:
    """Draw radius and forces across the width, left and right as the operator sees."""
    length, size, _ = units.display_unit("length", system)
    push, force, _ = units.display_unit("line_force", system)
    z = np.array([station.z for station in across.stations]) / size
    radii = np.array([station.radius for station in across.stations]) / size
    half = 0.5 * across.width / size
    with theme.project_style():
        fig = theme.figure(7.2, 5.4)
        top, bottom = fig.subplots(2, 1, sharex=True)
        top.plot(z, radii, "o-", color=theme.BLUE)
        _limit_axis_zoom(top, radii)
        top.set_ylabel(f"radius, {length}")
        theme.set_title(top, "Residual radius across the width", title)
        for index, (roll, color, mark) in enumerate(
            (("upper", theme.BLUE, "o-"), ("lower", theme.RUST, "s--"),
             ("rear", theme.INK, "^:"))
        ):  # fmt: skip
            values = [station.forces[index] / force for station in across.stations]
            bottom.plot(z, values, mark, color=color, label=f"{roll} roll")
        bottom.set_ylabel(f"largest push, {push}")
        bottom.set_xlabel(
            f"across the width from the sheet's middle, {length}, + to the right"
        )
        bottom.set_xlim(-half, half)
        bottom.set_ylim(bottom=0.0)
        theme.legend_below(bottom, 3)
        return fig


def _limit_axis_zoom(ax: Axes, radii: Array) -> None:
    """Keep the axis round the radii, but no finer than what can be measured."""
    known = radii[np.isfinite(radii)]
    if known.size:
        middle = 0.5 * float(np.min(known) + np.max(known))
        reach = max(0.6 * float(np.ptp(known)), LEAST_SPREAD * middle)
        ax.set_ylim(middle - reach, middle + reach)

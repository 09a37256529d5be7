"""A short table of a result as plain text, in shop units."""

from __future__ import annotations

import math
import re
import textwrap
from typing import TYPE_CHECKING, Any, NamedTuple

from pinchline import units
from pinchline.analysis.explain import crease_words, explain_flats, flat_words
from pinchline.messages import alone, worded

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pinchline.results.schema import Event, Result
    from pinchline.units import Dimension, System

SAFETY_CAUTIONS = (
    "Rolls draw in fingers, gloves and sleeves: hands clear of the nip while anyone "
    "turns the crank, adjusting screws backed off for cleaning, sharp edges deburred.\n"
    "A computed setting is an estimate: roll a scrap strip first; local rules, the "
    "machine's own manual and licensed practice decide; structural or airworthiness "
    "acceptance is not this tool's to give."
)

_MOVE_NUMBER = re.compile(r"^\s*(?:move\s+)?\d+\s*[.:)]\s*", re.IGNORECASE)
_TEXT_WIDTH = 88
_HANGING: dict[str, Any] = {"subsequent_indent": "    "}
_WORD_WIDTH = 46
_VALUE_WIDTH = 15
_SAME_LENGTH_SHARE = 1.0e-4  # of the sheet's length
_PRINTED_ZERO = 1.0e-9


class Row(NamedTuple):
    """One line: what it is, indented under its parent, and its values as text."""

    words: str
    values: tuple[str, ...] = ()

    def __str__(self) -> str:
        cells = "".join(f"{value:>{_VALUE_WIDTH}}" for value in self.values)
        return f"  {self.words:<{_WORD_WIDTH if cells else 0}}{cells}"


def move_words(result: Result) -> list[str]:
    """Return the moves of the programme in words, without their numbers."""
    lines = result.labels.get("moves", "").splitlines()
    return [_MOVE_NUMBER.sub("", line).strip() for line in lines if line.strip()]


def event_words(event: Event, system: System = "metric") -> str:
    """Return one line for an event: what, in which move, with how much sheet fed."""
    where = "" if math.isnan(event.s) else f", nip at s = {event.s:.1f} mm"
    words = f"{event.level}, move {event.move}{where}: {event.message}"
    return worded(words, system)


def summary_table(result: Result, system: System = "metric") -> str:
    """Return the table of a result.

    Parameters
    ----------
    result : of a run
    system : the units that come first; the others stand beside them
    """
    lines = [result.title, subject_line(result, system)]
    for heading, rows in table_sections(result, system):
        lines += ["", heading, *map(str, rows)]
    lines += ["", "Why it came out so"]
    for first, *rest in flat_reasons(result, system):
        lines += textwrap.wrap(first, _TEXT_WIDTH, initial_indent="  ", **_HANGING)
        for line in rest:
            lines += textwrap.wrap(line, _TEXT_WIDTH, initial_indent="    ", **_HANGING)
    lines += ["", "Events"]
    lines += [f"  {event_words(event, system)}" for event in result.events] or [
        "  none"
    ]
    return "\n".join([*lines, "", SAFETY_CAUTIONS])


def table_sections(
    result: Result, system: System = "metric"
) -> tuple[tuple[str, list[Row]], ...]:
    """Return the rows of the table under their headings."""
    return (
        ("The free part", list(_part(result, system))),
        ("Springback and strain", list(_bend(result, system))),
        ("The machine", list(_machine(result, system))),
    )


def flat_reasons(result: Result, system: System = "metric") -> list[list[str]]:
    """Give the flats and the crease in words: of each, a heading and what follows."""
    parts = [flat_words(flat, result, system) for flat in explain_flats(result)]
    return [part for part in (*parts, crease_words(result, system)) if part]


def opening_words(result: Result) -> str:
    """Say between what the opening was measured: gauge lines lie within the edges."""
    x, y = result.sheet["x"], result.sheet["y"]
    edges = math.hypot(x[-1] - x[0], y[-1] - y[0])
    same = _SAME_LENGTH_SHARE * result.inputs["length"]
    named = abs(edges - result.summary["opening"]) > same
    return f"opening between the {'gauge lines' if named else 'edges'}"


def subject_line(result: Result, system: System = "metric") -> str:
    """Return material, direction, thickness and machine in one line."""
    thickness = result.inputs["thickness"]
    labels = result.labels
    first = units.format(thickness, "length", system)
    second = units.format(
        thickness, "length", "inch" if system == "metric" else "metric"
    )
    return (
        f"{labels.get('material', '')}, {labels.get('direction', '')}, "
        f"{first} ({second}); {labels.get('machine', '')}"
    )


def unit_row(
    words: str, value: float, dimension: Dimension, system: System = "metric"
) -> Row:
    """Return a row with a value in both systems of units."""
    if math.isnan(value):
        return Row(words, ("none",))
    if math.isinf(value):
        return Row(words, ("flat" if dimension == "length" else "unbounded",))
    value = value if abs(value) > _PRINTED_ZERO else 0.0  # no "-0.0"
    first = units.format(value, dimension, system)
    second = units.format(value, dimension, "inch" if system == "metric" else "metric")
    return Row(words, (first,) if first == second else (first, second))


def number_row(words: str, value: float, pattern: str) -> Row:
    """Return a row with a value that has no unit."""
    return Row(words, ("none" if math.isnan(value) else pattern.format(value),))


def _part(result: Result, system: System) -> Iterator[Row]:
    values = result.summary
    gap = units.format(result.inputs["straightedge_gap"], "length", system)
    for key, words in {
        "operator": "run-out flat, at the operator's edge",
        "rear": "lead-in flat, at the edge nearer the rear roll",
    }.items():
        straight = values[f"flat_{key}_straightedge"]
        moment = values[f"flat_{key}_moment"]
        yield Row(words)
        yield unit_row(f"  by straightedge, gap {gap}", straight, "length", system)
        yield unit_row("  by moment, never past first yield", moment, "length", system)
    yield unit_row(opening_words(result), values["opening"], "length", system)
    yield unit_row("turned angle", values["turned_angle"], "angle", system)
    zone = f"zone s {values['zone_from']:.0f} to {values['zone_to']:.0f} mm"
    zone = "no zone" if math.isnan(values["zone_from"]) else alone(zone, system)
    fit = values["radius_fit"]
    yield unit_row(f"radius, circle fitted, {zone}", fit, "length", system)
    yield unit_row(
        "  departure from that circle", values["radius_fit_residual"], "length", system
    )
    chord = values["chord"]
    over = "" if math.isnan(chord) else alone(f" over {chord:.1f} mm", system)
    yield unit_row(
        f"radius by chord and rise{over}", values["radius_chord_rise"], "length", system
    )
    yield unit_row(
        "tightest radius that stays", values["radius_residual_min"], "length", system
    )
    yield unit_row("crease at s", values["crease_s"], "length", system)
    yield number_row(
        "  its height over the plateau", values["crease_height"], "{:.2f} x"
    )
    yield number_row(
        "difference of the two halves", values["halves_difference"], "{:.1%}"
    )


def _bend(result: Result, system: System) -> Iterator[Row]:
    values = result.summary
    yield unit_row(
        "tightest radius under the rolls", values["radius_loaded_min"], "length", system
    )
    yield unit_row(
        "middle of the zone, under the rolls",
        values["springback_loaded_radius"],
        "length",
        system,
    )
    yield unit_row(
        "middle of the zone, once free",
        values["springback_residual_radius"],
        "length",
        system,
    )
    yield number_row(
        "  opens by springback, free over loaded",
        values["springback_ratio"],
        "{:.2f} x",
    )
    strain, allowed = values["surface_strain_max"], values["allowable_strain"]
    yield number_row("largest surface strain", strain, "{:.2%}")
    yield number_row("  allowed for this alloy", allowed, "{:.2%}")
    if strain > allowed:
        yield Row("THE STRAIN IS MORE THAN THE ALLOY ALLOWS: expect cracks")


def _machine(result: Result, system: System) -> Iterator[Row]:
    values, inputs = result.summary, result.inputs
    yield unit_row("largest lift", values["lift_max"], "length", system)
    for key, words in {
        "force_upper_max": "largest force, upper roll",
        "force_lower_max": "largest force, lower roll",
        "force_rear_max": "largest force, rear roll",
        "drive_force_max": "largest drive force",
    }.items():
        yield unit_row(f"{words}, per width", values[key], "line_force", system)
        total = values[key] * inputs["width"]
        yield unit_row("  over the whole width", total, "force", system)
    opened = values["nip_opening_max"] - inputs["thickness"]
    yield unit_row("nip opens beyond the sheet, up to", opened, "length", system)
    yield unit_row(
        "rear roll gives way, up to", values["give_rear_max"], "length", system
    )
    for key, words, dimension in _EFFORT_ROWS:
        if not math.isnan(values[key]):
            yield unit_row(words, values[key], dimension, system)
    wrap = values["wrap_excess"]
    yield number_row("largest loaded curvature over the wrap bound", wrap, "{:.2f} x")
    yield Row("width counts as", (_width_words(inputs["held_flat"]),))
    yield number_row(
        "energy account closes within", values["energy_error_max"], "{:.3%}"
    )


_EFFORT_ROWS: tuple[tuple[str, str, Dimension], ...] = (
    ("grip_margin_min", "least grip beyond the drive, per width", "line_force"),
    ("hand_force_max", "largest force of the hand", "force"),
    ("crank_torque_max", "  torque at the crank", "torque"),
    ("screw_force_max", "largest force on a screw of the rear roll", "force"),
    ("screw_torque_max", "  torque to raise it", "torque"),
    ("roll_deflection_max", "largest deflection of a roll", "length"),
)


def _width_words(constrained: float) -> str:
    if constrained in (0.0, 1.0):
        return "wide" if constrained else "narrow"
    return f"{constrained:.0%} wide"

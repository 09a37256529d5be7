"""How a result shows itself in a notebook: the part, small, and its chief numbers."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

from pinchline.reports.run import figures
from pinchline.reports.style import theme
from pinchline.reports.style.table import (
    event_words,
    number_row,
    opening_words,
    subject_line,
    unit_row,
)

if TYPE_CHECKING:
    from pinchline.reports.style.table import Row
    from pinchline.results.schema import Result


def notebook_html(result: Result) -> str:
    """Return the result as a piece of HTML in the colours of light paper."""
    values = result.summary
    rows = [
        unit_row("radius, circle fitted", values["radius_fit"], "length"),
        unit_row(opening_words(result), values["opening"], "length"),
        unit_row("turned angle", values["turned_angle"], "angle"),
        unit_row("run-out flat", values["flat_operator_straightedge"], "length"),
        unit_row("lead-in flat", values["flat_rear_straightedge"], "length"),
        number_row("opens by springback", values["springback_ratio"], "{:.2f} x"),
        unit_row("largest pinch force", values["force_upper_max"], "line_force"),
        unit_row("largest lift", values["lift_max"], "length"),
    ]
    fig, _ = figures.free_part(result)
    drawn = theme.fixed_color_svg(theme.inline_svg(fig, "part", "The free part"))
    stops = "".join(
        f"<p><strong>{html.escape(event_words(event))}</strong></p>"
        for event in result.events
        if event.level == "stop"
    )
    ground = f"background:{theme.PAPER};color:{theme.INK};padding:.6em"
    return (
        f'<div style="{ground};display:flex;flex-wrap:wrap;gap:1em;align-items:center">'
        f'<div style="width:21em">{drawn}</div><div>'
        f"<p><strong>{html.escape(result.title)}</strong><br>"
        f"{html.escape(subject_line(result))}</p>{stops}"
        f"<table>{''.join(map(_line, rows))}</table></div></div>"
    )


def _line(row: Row) -> str:
    cells = "".join(f"<td>{html.escape(value)}</td>" for value in row.values)
    return f'<tr><td style="text-align:left">{html.escape(row.words)}</td>{cells}</tr>'

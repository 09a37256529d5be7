"""Comparison of several runs: differences of their inputs and of their results."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from pinchline import units
from pinchline.reports.style import theme
from pinchline.reports.style.table import move_words
from pinchline.reports.style.unit_system import UNIT_DIMENSIONS
from pinchline.results.schema import fields_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from pinchline.results.schema import Field, Result
    from pinchline.units import Dimension

# the numbers of the solver are the engineers', and stand in the file
_NOT_COMPARED = ("steps", "iterations", "solver_seconds", "penetration_max")
_COMPARED_LABELS = {
    "material": "material",
    "direction": "direction",
    "machine": "machine",
    "section": "section law",
}
_UNIT_DIMENSIONS: dict[str, Dimension] = {
    **UNIT_DIMENSIONS,
    "N/mm/mm": "line_stiffness",
    "MPa": "stress",
    "rad": "angle",
}
_EQUAL_SHARE = 1.0e-9


def dimension_of(unit: str) -> Dimension | None:
    """Return the dimension of a dataset's unit; None for a pure number."""
    return _UNIT_DIMENSIONS.get(unit)


def compare(results: Sequence[Result], letters: str) -> dict[str, Any]:
    """Return the tables of differences and two figures, for the page."""
    return {
        "inputs": _labels(results) + _moves(results) + _inputs(results),
        "summary": _summary(results),
        "parts": theme.inline_svg(
            draw_parts(results, letters), "parts", "The free parts laid on one another"
        ),
        "curves": theme.inline_svg(
            draw_curvatures(results, letters),
            "curves",
            "Residual curvature, and differences",
        ),
    }


def _row(words: str, texts: Sequence[str], changes: Sequence[str]) -> dict[str, Any]:
    return {"words": words, "texts": list(zip(texts, changes, strict=True))}


def _labels(results: Sequence[Result]) -> list[dict[str, Any]]:
    rows = []
    for key, words in _COMPARED_LABELS.items():
        texts = [result.labels.get(key, "") for result in results]
        if len(set(texts)) > 1:
            rows.append(_row(words, texts, [""] * len(texts)))
    return rows


def _moves(results: Sequence[Result]) -> list[dict[str, Any]]:
    lists = [move_words(result) for result in results]
    rows = []
    for index in range(max(map(len, lists))):
        texts = [moves[index] if index < len(moves) else "none" for moves in lists]
        if len(set(texts)) > 1:
            rows.append(_row(f"move {index + 1}", texts, [""] * len(texts)))
    return rows


def _inputs(results: Sequence[Result]) -> list[dict[str, Any]]:
    rows = []
    for field in fields_of("inputs"):
        values = [result.inputs[field.name] for result in results]
        if max(values) - min(values) > _EQUAL_SHARE * max(map(abs, values)):
            rows.append(_numbers(field, values))
    return rows


def _summary(results: Sequence[Result]) -> list[dict[str, Any]]:
    rows = []
    for field in fields_of("summary"):
        values = [result.summary[field.name] for result in results]
        if field.name not in _NOT_COMPARED and not all(map(math.isnan, values)):
            rows.append(_numbers(field, values))
    return rows


def _numbers(field: Field, values: Sequence[float]) -> dict[str, Any]:
    """Row of one quantity: its values, and what each differs by from the first."""
    dimension = dimension_of(field.units)
    texts = [_text(value, dimension) for value in values]
    changes = [""] + [_change(value, values[0], dimension) for value in values[1:]]
    return _row(field.long_name, texts, changes)


def _text(value: float, dimension: Dimension | None) -> str:
    if not math.isfinite(value):
        return "none"
    return f"{value:.4g}" if dimension is None else units.format(value, dimension)


def _change(value: float, first: float, dimension: Dimension | None) -> str:
    """Say by how much a value differs from the first job's."""
    if not (math.isfinite(value) and math.isfinite(first)):
        return ""
    if _text(value, dimension) == _text(first, dimension):
        return "the same"
    share = f" ({(value - first) / abs(first):+.1%})" if first else ""
    sign = "+" if value > first else "-"
    return f"{sign}{_text(abs(value - first), dimension)}{share}"


def draw_parts(results: Sequence[Result], letters: str) -> Figure:
    """Draw the free parts on one another, laid on the operator's edge."""
    with theme.project_style():
        fig = theme.figure(7.2, 4.6)
        ax = fig.subplots()
        for result, letter, style in zip(
            results, letters, theme.JOB_STYLES, strict=False
        ):
            ax.plot(result.sheet["x"], result.sheet["y"], label=letter, **style)
        ax.set_aspect("equal", adjustable="datalim")
        ax.set_xlabel("along the bench from the operator's edge, mm")
        ax.set_ylabel("height, mm")
        theme.legend_below(ax, len(results))
        theme.set_title(ax, "The free parts", "middle of the thickness, drawn to scale")
        return fig


def draw_curvatures(results: Sequence[Result], letters: str) -> Figure:
    """Draw the residual curvatures, and what they differ by from the first job's."""
    with theme.project_style():
        fig = theme.figure(7.2, 5.4)
        top, bottom = fig.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        base = results[0].sheet
        for i, (result, letter) in enumerate(zip(results, letters, strict=False)):
            s, k = result.sheet["s"], result.sheet["curvature_residual"]
            top.plot(s, k, label=letter, **theme.JOB_STYLES[i])
            if i:
                first = np.interp(s, base["s"], base["curvature_residual"])
                inside = s <= base["s_node"][-1]
                bottom.plot(s[inside], (k - first)[inside], **theme.JOB_STYLES[i])
        bottom.axhline(0.0, **theme.LINE_STYLES["guide"])
        top.set_ylabel("curvature, 1/mm")
        bottom.set(xlabel="s along the sheet, mm", ylabel=f"less that of {letters[0]}")
        theme.legend_below(bottom, len(results), handles=top.get_lines())
        theme.set_title(top, "Residual curvature along the sheet", "and the difference")
        return fig

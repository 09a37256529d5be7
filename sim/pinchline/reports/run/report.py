"""One self-contained page of a run, or of several side by side.

The page holds its style, its script and its data; a policy inside it forbids every
request and every script but its own. Text from cases is escaped by the template.
"""

from __future__ import annotations

import base64
import hashlib
import json
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pinchline import __version__, units
from pinchline.errors import InputError
from pinchline.reports.run import figures
from pinchline.reports.run.compare import compare, dimension_of
from pinchline.reports.run.page_data import page_data
from pinchline.reports.run.playback import MOST_FRAMES
from pinchline.reports.style import theme
from pinchline.reports.style.table import (
    SAFETY_CAUTIONS,
    Row,
    event_words,
    flat_reasons,
    move_words,
    number_row,
    table_sections,
    unit_row,
)
from pinchline.results.schema import fields_of
from pinchline.results.writer import check_writable, write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinchline.results.schema import Result

MOST_JOBS = 6  # jobs on one page
JOB_LETTERS = "ABCDEF"
PAGE_SUFFIX = ".html"
_PAGE_PICTURES = {
    "part": ("free-part", "The free part"),
    "moment": ("largest-moment", "Why the edges stay flat"),
    "rolls": ("sheet-in-rolls", "The sheet in the rolls, six times"),
}
_GRAIN_WORDS = {"L": "along the grain (L)", "LT": "across the grain (LT)"}


def write_report(
    results: Sequence[Result], path: str | Path, names: Sequence[str] = ()
) -> Path:
    """Write the page of one or several results, whole or not at all.

    Parameters
    ----------
    results : what to show; the first is what the others are compared with
    path : the file, ``.html``
    names : of the files they come from, to be told on the page

    Raises
    ------
    InputError
        where there are none or too many, or the file cannot be written
    """
    check_page(path, len(results))
    write_whole(path, page_html(results, names).encode("utf-8", "replace"))
    return Path(path)


def check_page(path: str | Path, jobs: int) -> None:
    """Refuse a page that cannot be made, before anything is drawn."""
    if not 1 <= jobs <= MOST_JOBS:
        message = f"{jobs} results do not fit on one page"
        raise InputError(message, allowed=f"1 to {MOST_JOBS} results")
    if Path(path).suffix.lower() != PAGE_SUFFIX:
        message = "the page cannot be written under that name"
        raise InputError(
            message, file=path, allowed=f"a name that ends in {PAGE_SUFFIX}"
        )
    check_writable(path)


def page_html(results: Sequence[Result], names: Sequence[str] = ()) -> str:
    """Return the page as text; the same results give the same text."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    folder = files("pinchline.reports.run") / "page"
    style, script, template = (
        (folder / f"page.{kind}").read_text("utf-8") for kind in ("css", "js", "html")
    )
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    ).from_string(template)
    names = names or [Path(result.case_path).name for result in results]
    jobs = [
        _job(result, name, index)
        for index, (result, name) in enumerate(zip(results, names, strict=True))
    ]
    several = len(results) > 1
    return environment.render(
        heading=" / ".join(dict.fromkeys(result.title for result in results)),
        jobs=jobs,
        comparison=compare(results, JOB_LETTERS) if several else None,
        cautions=SAFETY_CAUTIONS.splitlines(),
        version=__version__,
        sources=", ".join(names),
        style=Markup(f"{theme.page_style()}\n{style}"),
        script=Markup(script),
        script_hash=_hash(script),
        data=Markup(_as_script(page_data(results))),
    )


def _hash(script: str) -> str:
    """Return what a content security policy calls a script by."""
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"


def _as_script(data: Any) -> str:
    """JSON that cannot end the element that it stands in."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _job(result: Result, name: str, index: int) -> dict[str, Any]:
    """Everything that the template tells of one job."""
    mark = f"job{index}"
    return {
        "title": result.title,
        "name": name,
        "letter": JOB_LETTERS[index],
        "block": _block(result),
        "stops": [event_words(e) for e in result.events if e.level == "stop"],
        "sections": [
            (heading, [_cells(row) for row in rows])
            for heading, rows in table_sections(result)
        ],
        "frames": _frame_words(result),
        "reasons": flat_reasons(result),
        "events": [
            {"level": event.level, "words": event_words(event), "step": event.step}
            for event in result.events
        ],
        "moves": move_words(result),
        "inputs": [_cells(row) for row in _inputs(result)],
        "case": result.case_text,
        "figures": {
            key: theme.inline_svg(
                figures.RUN_PICTURES[name](result)[0], mark + key, label
            )
            for key, (name, label) in _PAGE_PICTURES.items()
        },
    }


def _block(result: Result) -> list[tuple[str, str]]:
    """Return the head of the sheet: what is rolled of what, on what."""
    inputs, labels = result.inputs, result.labels
    direction = labels.get("direction", "")

    def size(key: str) -> str:
        value = inputs[key]
        inch = units.format(value, "length", "inch")
        both_units = (units.format(value, "length"), f"({inch})")
        return " ".join(text.replace(" ", "\u00a0") for text in both_units)

    return [
        ("Material", labels.get("material", "")),
        ("Thickness", size("thickness")),
        ("Length, as fed", size("length")),
        ("Width, along the rolls", size("width")),
        ("Bent", _GRAIN_WORDS.get(direction, direction)),
        ("Machine", labels.get("machine", "")),
    ]


def _frame_words(result: Result) -> str:
    """Say how many frames the file has, and how many are shown."""
    count = result.frames["move"].size
    if count <= MOST_FRAMES:
        return f"{count} frames, all that the file holds." if count else ""
    return (
        f"The file holds {count} frames; about {MOST_FRAMES} of them are shown, among "
        "them "
        "the first and last of each move as far as they fit."
    )


def _inputs(result: Result) -> list[Row]:
    rows = []
    for field in fields_of("inputs"):
        value, dimension = result.inputs[field.name], dimension_of(field.units)
        if dimension is None:
            rows.append(number_row(field.long_name, value, "{:.4g}"))
        else:
            rows.append(unit_row(field.long_name, value, dimension))
    return rows


def _cells(row: Row) -> dict[str, Any]:
    """Row for the template: the indent as a number."""
    words = row.words.lstrip()
    depth = (len(row.words) - len(words)) // 2
    return {"words": words, "depth": depth, "texts": row.values}

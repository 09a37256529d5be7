"""`cards` lists what is on file, or prints one card."""

from collections.abc import Iterator
from typing import Annotated, Any

import typer

from pinchline.cli.common import app, told
from pinchline.errors import InputError


@app.command()
def cards(
    name: Annotated[
        str | None,
        typer.Argument(help="The card or case to print.", show_default=False),
    ] = None,
) -> None:
    """List what is on file, or print one card with its sources."""
    with told():
        lines = _card_list() if name is None else _card(name)
        typer.echo("\n".join(lines))


def _card_list() -> list[str]:
    from pinchline import library

    lines: list[str] = []
    kinds: tuple[library.Kind, ...] = ("materials", "machines", "cases", "studies")
    for kind in kinds:
        lines += [kind]
        for name in library.names(kind):
            title = library.load(kind, name).get("title", "")
            lines += [f"  {name:<16}{title}"]
    return lines


def _card(name: str) -> list[str]:
    """Print a material with the source of every number; others as they stand on file.

    The remarks in machine and case files are their sources.
    """
    from pinchline import library

    if name in library.names("materials"):
        table = library.load("materials", name)
        title = f"{table.get('title', name)} ({name})"
        width = 34
        rows = [
            f"{key:<{width}}{value:<18}{source}".rstrip()
            for key, value, source in _numbers(table, "", {})
        ]
        return [title, "", f"{'number':<{width}}{'value':<18}source", *rows]
    files: tuple[library.Kind, ...] = ("machines", "cases", "studies")
    for kind in files:
        if name in library.names(kind):
            return library.fetch(kind, name).text.splitlines()
    known = [n for kind in ("materials", *files) for n in library.names(kind)]
    hint = library.did_you_mean(name, known)
    message = f"there is no card or case of that name{hint}"
    raise InputError(message, value=name, allowed=", ".join(known))


def _numbers(
    table: dict[str, Any], place: str, sources: dict[str, str]
) -> Iterator[tuple[str, str, str]]:
    """Go through a card: key, value and source of every entry."""
    sources = sources | table.get("sources", {})
    own = table.get("source", "")
    for key, value in table.items():
        if key in ("title", "sources", "source"):
            continue
        if isinstance(value, dict):
            yield from _numbers(value, f"{place}{key}.", sources)
        elif isinstance(value, list):
            for number, entry in enumerate(value, 1):
                yield from _numbers(entry, f"{place}{key} {number}.", sources)
        else:
            dotted = f"{place}{key}".split(".")
            tails = [".".join(dotted[i:]) for i in range(len(dotted))]
            known = (sources[tail] for tail in tails if tail in sources)
            yield f"{place}{key}", str(value), own or next(known, "")

"""The command line: results to standard output, everything else to standard error.

Exit codes: 0 done; 2 the input is wrong; 3 the machine or the sheet cannot do it; 4 the
solver failed; 130 interrupted. Whatever is slow to load is loaded by the command that
needs it, so that help comes at once.
"""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pinchline import __version__
from pinchline.errors import InputError, PinchlineError, SolverError

if TYPE_CHECKING:
    from pinchline.model.case import Case
    from pinchline.results.schema import Result

    Progress = Callable[[float, str], None]

STOPPED, INTERRUPTED = 3, 130

CaseFile = Annotated[str, typer.Argument(help="A case file (.toml) or a shipped case.")]
TableFile = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        help="Also write the table to this file, .h5 or .csv.",
        show_default=False,
    ),
]
PictureFolder = Annotated[
    Path | None, typer.Option(help="Also draw the pictures into this folder.")
]
InchFirst = Annotated[
    bool, typer.Option("--inch/--mm", help="The units that come first.")
]

app = typer.Typer(
    help="Bending sheet on a hand-cranked three-roll pinch bender.",
    epilog="Exit codes: 0 done, 2 the input is wrong, 3 the machine or the sheet "
    "cannot do it, 4 the solver failed.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


class PictureFormat(StrEnum):
    """Formats in which pictures are written."""

    png = "png"
    svg = "svg"
    pdf = "pdf"


def _show_version(wanted: bool) -> None:  # noqa: FBT001 - typer calls it so
    if wanted:
        typer.echo(f"pinchline {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    *,
    _version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=_show_version,
            is_eager=True,
            help="Print the version and leave.",
        ),
    ] = False,
) -> None:
    """Bending sheet on a hand-cranked three-roll pinch bender."""


@app.command()
def run(
    case: CaseFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            help="The result file; by default the case's name with .h5, here.",
            show_default=False,
        ),
    ] = None,
    pictures: PictureFolder = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Do the programme of a case: a result file, and a short table."""
    with _told():
        from pinchline.model.case import load_case
        from pinchline.results.writer import check_writable, write_result

        job = load_case(case)
        target = output or Path(f"{Path(job.path).stem}.h5")
        _keep_apart(target, job)
        check_writable(target)
        if pictures is not None:
            _check_folder(pictures)
        result = _run(job, target)
        write_result(result, target)
        _say(f"The result is in {target}.")
        _report(result, pictures, inch=inch)
        if result.stopped:
            raise typer.Exit(STOPPED)


@app.command()
def across(
    case: CaseFile,
    output: TableFile = None,
    pictures: PictureFolder = None,
    stations: Annotated[
        int, typer.Option(help="Strips across the width, 2 to 25.")
    ] = 5,
    *,
    inch: InchFirst = False,
) -> None:
    """Do a job at several places across the width, with the rolls bending."""
    with _told():
        from pinchline.analysis.across import across as solve
        from pinchline.model.case import load_case
        from pinchline.output.across import across_table, across_words, draw_across
        from pinchline.results.tables import write_table

        job = load_case(case)
        _check_targets(job, output, pictures)
        with _progress() as progress:
            found = solve(job, stations=stations, progress=progress)
        typer.echo(across_words(found, job.title, "inch" if inch else "metric"))
        if output is not None:
            write_table(across_table(found, job.title), output)
            _say(f"The table is in {output}.")
        if pictures is not None:
            _say(f"The picture is {draw_across(found, job.title, pictures)}.")
        if found.stopped:
            _say("pinchline: a station's job was stopped; `pinchline run` says why")
            raise typer.Exit(STOPPED)


@app.command()
def limits(
    case: CaseFile,
    output: TableFile = None,
    pictures: PictureFolder = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Find how tight the sheet of a case can be rolled, and what binds."""
    with _told():
        from pinchline.analysis.limits import limits as solve
        from pinchline.model.case import load_case
        from pinchline.output.limits import draw_limits, limits_table, limits_words
        from pinchline.results.tables import write_table

        job = load_case(case)
        _check_targets(job, output, pictures)
        with _progress() as progress:
            found = solve(job, progress=progress)
        typer.echo(limits_words(found, job.title, "inch" if inch else "metric"))
        if output is not None:
            write_table(limits_table(found, job.title), output)
            _say(f"The table is in {output}.")
        if pictures is not None:
            _say(f"The picture is {draw_limits(found, job.title, pictures)}.")


@app.command()
def rules(
    case: CaseFile,
    output: TableFile = None,
    pictures: PictureFolder = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Put the hand rules of the trade beside the model, and say where they hold."""
    with _told():
        from pinchline.analysis.rules import compare
        from pinchline.model.case import load_case
        from pinchline.output.rules import rules_table, rules_words
        from pinchline.output.rules_picture import draw_rules
        from pinchline.results.tables import write_table

        job = load_case(case)
        _check_targets(job, output, pictures)
        with _progress() as progress:
            found = compare(job, progress=progress)
        typer.echo(rules_words(found, job.title, "inch" if inch else "metric"))
        if output is not None:
            write_table(rules_table(found, job.title), output)
            _say(f"The table is in {output}.")
        if pictures is not None:
            _say(f"The picture is {draw_rules(found, job.title, pictures)}.")


@app.command()
def plot(
    file: Annotated[Path, typer.Argument(help="A result file of `pinchline run`.")],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            help="The folder; by default the result's name with -pictures, here.",
            show_default=False,
        ),
    ] = None,
    picture_format: Annotated[
        PictureFormat, typer.Option("--format", help="The format of the pictures.")
    ] = PictureFormat.png,
) -> None:
    """Draw the pictures of a result."""
    with _told():
        from pinchline.results.reader import read_result

        result = read_result(file)
        folder = output or Path(f"{file.stem}-pictures")
        for path in _draw(result, folder, picture_format):
            typer.echo(str(path))


@app.command()
def cards(
    name: Annotated[
        str | None,
        typer.Argument(help="The card or case to print.", show_default=False),
    ] = None,
) -> None:
    """List what is on file, or print one card with its sources."""
    with _told():
        lines = _card_list() if name is None else _card(name)
        typer.echo("\n".join(lines))


@app.command()
def verify(
    *,
    markdown: Annotated[
        bool, typer.Option("--markdown", help="A Markdown table instead of text.")
    ] = False,
) -> None:
    """Check the engine against published values; ends with 4 where a check fails."""
    with _told():
        from pinchline.verify import dossier

        with _progress() as progress:
            found = dossier.collect(progress)
        render = dossier.as_markdown if markdown else dossier.as_text
        typer.echo(render(found))
        failed = dossier.failures(found)
        if failed:
            _say(f"pinchline: {failed} checks fail.")
            raise typer.Exit(SolverError.exit_code)


def _say(text: str) -> None:
    typer.echo(text, err=True)


@contextmanager
def _told() -> Iterator[None]:
    """Turn errors into one paragraph and an exit code."""
    try:
        yield
    except PinchlineError as error:
        _say(f"pinchline: {error}")
        raise typer.Exit(error.exit_code) from None
    except KeyboardInterrupt:
        _say("pinchline: interrupted; no half-written file is left")
        raise typer.Exit(INTERRUPTED) from None


def _keep_apart(target: Path, job: "Case") -> None:
    """Refuse to write the result over the case."""
    try:
        same = target.samefile(job.path)
    except (OSError, ValueError):
        same = False
    if same:
        message = "the output would overwrite the case"
        raise InputError(message, file=target, allowed="another file name")


def _check_targets(job: "Case", table: Path | None, pictures: Path | None) -> None:
    """Make sure, before a long run, that table and pictures can be written."""
    from pinchline.results.tables import check_table_path

    if table is not None:
        _keep_apart(table, job)
        check_table_path(table)
    if pictures is not None:
        _check_folder(pictures)


def _check_folder(folder: Path) -> None:
    """Make sure, before a long run, that the folder is there or can be made."""
    place = folder.absolute()
    try:
        while not place.exists() and place != place.parent:
            place = place.parent
        good = place.is_dir() and os.access(place, os.W_OK | os.X_OK)
    except (OSError, ValueError):
        good = False
    if not good:
        message = "the pictures cannot be written there"
        allowed = "a folder that can be written to, or made"
        raise InputError(message, file=folder, allowed=allowed)


def _run(job: "Case", target: Path) -> "Result":
    """Run the job; when the solver fails, save what is good and say so."""
    from pinchline.process.programme import run_case

    try:
        with _progress() as progress:
            return run_case(job, progress=progress)
    except SolverError as error:
        _say(f"pinchline: {error}")
        _save_last(error, target)
        raise typer.Exit(error.exit_code) from None


def _save_last(error: SolverError, target: Path) -> None:
    from pinchline.results.schema import Result
    from pinchline.results.writer import write_result

    if not isinstance(error.result, Result):
        _say("No good state was reached; no result was written.")
        return
    try:
        write_result(error.result, target)
    except InputError as refused:
        _say(f"pinchline: {refused}")
    else:
        _say(f"The job up to its last good step is in {target}.")


@contextmanager
def _progress() -> "Iterator[Progress | None]":
    """Show a bar on standard error where that is a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

    words = TextColumn("{task.description}", markup=False)
    bar = Progress(
        BarColumn(),
        TaskProgressColumn(),
        words,
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("preparing", total=1.0)

        def tell(share: float, text: str) -> None:
            bar.update(task, completed=share, description=text)

        yield tell


def _report(result: "Result", pictures: Path | None, *, inch: bool) -> None:
    """Print the table; name what stopped the job; draw."""
    from pinchline.output.table import event_words, summary_table

    typer.echo(summary_table(result, "inch" if inch else "metric"))
    for event in result.events:
        if event.level == "stop":
            _say(f"pinchline: {event_words(event)}")
    if pictures is not None:
        _draw(result, pictures, PictureFormat.png)
        _say(f"The pictures are in {pictures}.")


def _draw(result: "Result", folder: Path, wanted: PictureFormat) -> list[Path]:
    from pinchline.output.figures import plot_all

    return plot_all(result, folder, wanted.value)


def _card_list() -> list[str]:
    from pinchline import library

    lines: list[str] = []
    kinds: tuple[library.Kind, ...] = ("materials", "machines", "cases")
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
    if name in library.names("machines"):
        return library.fetch("machines", name).text.splitlines()
    if name in library.names("cases"):
        return library.fetch("cases", name).text.splitlines()
    known = [
        *library.names("materials"),
        *library.names("machines"),
        *library.names("cases"),
    ]
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

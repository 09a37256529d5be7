"""What the commands share: the app, options, messages, the checks before a run."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pinchline import __version__
from pinchline.errors import InputError, PinchlineError
from pinchline.messages import alone, worded

if TYPE_CHECKING:
    from pinchline.case.case import Case
    from pinchline.units import System

    Progress = Callable[[float, str], None]

STOPPED, INTERRUPTED = 3, 130

CaseFile = Annotated[str, typer.Argument(help="A case file (.toml) or a shipped case.")]
TableFile = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        help="Also write the table to this file, .h5, .csv or .parquet.",
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


def say(text: str) -> None:
    """Write a line to standard error."""
    typer.echo(text, err=True)


def system_of(*, inch: bool) -> "System":
    """Name the system of units that comes first."""
    return "inch" if inch else "metric"


@contextmanager
def told(*, inch: bool = False) -> Iterator[None]:
    """Turn errors into one paragraph and an exit code."""
    try:
        yield
    except PinchlineError as error:
        say(f"pinchline: {worded(str(error), system_of(inch=inch))}")
        raise typer.Exit(error.exit_code) from None
    except KeyboardInterrupt:
        say("pinchline: interrupted; no half-written file is left")
        raise typer.Exit(INTERRUPTED) from None


def keep_apart(target: Path, job: "Case") -> None:
    """Refuse to write the result over the case."""
    try:
        same = target.samefile(job.path)
    except (OSError, ValueError):
        same = False
    if same:
        message = "the output would overwrite the case"
        raise InputError(message, file=target, allowed="another file name")


def check_targets(job: "Case", table: Path | None, pictures: Path | None) -> None:
    """Make sure, before a long run, that table and pictures can be written."""
    from pinchline.results.tables import check_table_path

    if table is not None:
        keep_apart(table, job)
        check_table_path(table)
    if pictures is not None:
        check_folder(pictures)


def check_folder(folder: Path) -> None:
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


@contextmanager
def progress_bar(*, inch: bool = False) -> "Iterator[Progress | None]":
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
            said = alone(text, system_of(inch=inch))
            bar.update(task, completed=share, description=said)

        yield tell

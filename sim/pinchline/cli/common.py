"""What the commands share: the app, options, messages, the checks before a run."""

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from pinchline import __version__
from pinchline.errors import InputError, PinchlineError
from pinchline.messages import alone, worded

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from pinchline.case.case import Case
    from pinchline.reports.answer import Report
    from pinchline.results.tables import Table
    from pinchline.units import System

    Progress = Callable[[float, str], None]

T = TypeVar("T")

EXIT_STOPPED, EXIT_INTERRUPTED = 3, 130

option = partial(typer.Option, show_default=False)
output_option = partial(option, "-o", "--output")

CaseFile = Annotated[str, typer.Argument(help="A case file (.toml) or a shipped case.")]
TableFile = Annotated[
    Path | None,
    output_option(help="Also write the table to this file, .h5, .csv or .parquet."),
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


def notify(text: str) -> None:
    """Write a line to standard error."""
    typer.echo(text, err=True)


def unit_system(*, inch: bool) -> "System":
    """Name the system of units that comes first."""
    return "inch" if inch else "metric"


@contextmanager
def exit_on_error(*, inch: bool = False) -> Iterator[None]:
    """Context that turns errors into one paragraph and an exit code."""
    try:
        yield
    except PinchlineError as error:
        notify(f"pinchline: {worded(str(error), unit_system(inch=inch))}")
        raise typer.Exit(error.exit_code) from None
    except KeyboardInterrupt:
        notify("pinchline: interrupted; no half-written file is left")
        raise typer.Exit(EXIT_INTERRUPTED) from None


def parse_length(key: str, text: str) -> float:
    """Read a length above zero that an option gives, in mm."""
    from pinchline import units

    try:
        value = units.parse(text, "length")
    except InputError as error:
        raise error.located(key=key) from None
    if value <= 0.0:
        message, allowed = "is out of range", units.allowed_text("length", "above 0")
        raise InputError(message, key=key, value=text, allowed=allowed)
    return value


def check_not_the_case(target: Path, job: "Case") -> None:
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
        check_not_the_case(table, job)
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


def deliver_report(
    report: "Report", *tables: Path | None, pictures: Path | None
) -> None:
    """Print a report, write its table to files and its pictures into a folder."""
    from pinchline.results.tables import write_table

    typer.echo(report.text)
    for path in tables:
        if path is not None and report.table is not None:
            write_table(report.table(), path)
            notify(f"The table is in {path}.")
    for path in report.files() if report.files is not None else ():
        notify(f"written: {path}")
    if pictures is not None:
        from pinchline.reports.style.theme import save_in

        for name, picture in report.pictures.items():
            notify(f"The picture is {save_in(picture(), pictures, name)}.")
    for note in report.notes:
        notify(f"pinchline: {note}")


@dataclass(frozen=True)
class AnalysisRequest:
    """A case to analyse, and where its report goes."""

    job: "Case"
    system: "System"
    output: Path | None
    pictures: Path | None

    def solve(self, analysis: "Callable[..., T]", *args: Any, **options: Any) -> "T":
        """Compute the answer, with a bar that shows how far it is."""
        with progress_bar(inch=self.system == "inch") as progress:
            return analysis(self.job, *args, progress=progress, **options)

    def deliver_report(
        self,
        reply: "T",
        words: "Callable[[T, str, System], str]",
        table: "Callable[[T, str], Table]",
        pictures: "Mapping[str, Callable[[T, str, System], Figure]]",
        notes: tuple[str, ...] = (),
    ) -> None:
        """Print, write and draw an answer; pictures by their file's name."""
        from pinchline.reports.answer import Report

        title, system = self.job.title, self.system
        drawn = {name: partial(p, reply, title, system) for name, p in pictures.items()}
        text, rows = words(reply, title, system), partial(table, reply, title)
        report = Report(text, rows, drawn, notes=notes)
        deliver_report(report, self.output, pictures=self.pictures)


@contextmanager
def open_request(
    case: str, output: Path | None, pictures: Path | None, *, inch: bool
) -> Iterator[AnalysisRequest]:
    """Load a case and check, before a long run, that its report can be written.

    Errors are reported as by ``exit_on_error``.
    """
    with exit_on_error(inch=inch):
        from pinchline.case.case import load_case

        job = load_case(case)
        check_targets(job, output, pictures)
        yield AnalysisRequest(job, unit_system(inch=inch), output, pictures)


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

        def report_progress(share: float, text: str) -> None:
            description = alone(text, unit_system(inch=inch))
            bar.update(task, completed=share, description=description)

        yield report_progress

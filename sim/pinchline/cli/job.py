"""`run` does a job, `plot` draws what came out."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pinchline.cli.common import (
    EXIT_STOPPED,
    CaseFile,
    InchFirst,
    PictureFolder,
    app,
    check_folder,
    check_not_the_case,
    exit_on_error,
    notify,
    output_option,
    progress_bar,
    unit_system,
)
from pinchline.errors import InputError, SolverError
from pinchline.messages import worded

if TYPE_CHECKING:
    from pinchline.case.case import Case
    from pinchline.case.study.picture import Picture
    from pinchline.results.schema import Result
    from pinchline.units import System


class PictureFormat(StrEnum):
    """Formats in which pictures are written."""

    png = "png"
    svg = "svg"
    pdf = "pdf"


@app.command()
def run(
    case: CaseFile,
    output: Annotated[
        Path | None,
        output_option(
            help="The result file, .h5 or .hdf5; by default the case's name, here."
        ),
    ] = None,
    pictures: PictureFolder = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Do the programme of a case: a result file, and a short table."""
    with exit_on_error(inch=inch):
        from pinchline.case.case import load_case
        from pinchline.results.writer import check_result_path, write_result

        job = load_case(case)
        target = output or Path(f"{Path(job.path).stem}.h5")
        check_not_the_case(target, job)
        check_result_path(target)
        if pictures is not None:
            check_folder(pictures)
        result = _run(job, target, inch=inch)
        write_result(result, target)
        notify(f"The result is in {target}.")
        _report(result, pictures, inch=inch)
        if result.stopped:
            raise typer.Exit(EXIT_STOPPED)


@app.command()
def plot(
    file: Annotated[Path, typer.Argument(help="A file of `run` or `study`.")],
    output: Annotated[
        Path | None,
        output_option(
            help="The folder; by default the result's name with -pictures, here."
        ),
    ] = None,
    picture_format: Annotated[
        PictureFormat, typer.Option("--format", help="The format of the pictures.")
    ] = PictureFormat.png,
    show: Annotated[
        list[str] | None,
        typer.Option(help="Of a study: a result; may stand several times."),
    ] = None,
    over: Annotated[
        list[str] | None,
        typer.Option(help="Of a study: what was varied; twice for a map."),
    ] = None,
    lines: Annotated[
        str | None,
        typer.Option(help="Of a study: what has a line for every value."),
    ] = None,
    *,
    inch: Annotated[
        bool, typer.Option("--inch/--mm", help="The units of a result's pictures.")
    ] = False,
) -> None:
    """Draw the pictures of a result or a study."""
    with exit_on_error(inch=inch):
        from pinchline.reports.studies.study_pictures import asked_pictures, draw_study
        from pinchline.results.reader import read_result
        from pinchline.results.study_reader import is_study, read_study

        folder = output or Path(f"{file.stem}-pictures")
        if is_study(file):
            study = read_study(file)
            wanted: tuple[Picture, ...] = ()
            if show or over or lines:
                wanted = asked_pictures(study, show or [], over or [], lines)
            paths = draw_study(study, folder, picture_format.value, wanted)
        elif show or over or lines:
            message = "only a study has results to choose from"
            raise InputError(message, file=file, allowed="a file of `pinchline study`")
        else:
            system = unit_system(inch=inch)
            paths = _draw(read_result(file), folder, picture_format, system)
        for path in paths:
            typer.echo(str(path))


def _run(job: "Case", target: Path, *, inch: bool) -> "Result":
    """Run the job; when the solver fails, save what is good and say so."""
    from pinchline.solvers.stepped.program import run_case

    try:
        with progress_bar(inch=inch) as progress:
            return run_case(job, progress=progress)
    except SolverError as error:
        notify(f"pinchline: {worded(str(error), unit_system(inch=inch))}")
        _save_last(error, target)
        raise typer.Exit(error.exit_code) from None


def _save_last(error: SolverError, target: Path) -> None:
    from pinchline.results.schema import Result
    from pinchline.results.writer import write_result

    if not isinstance(error.result, Result):
        notify("No good state was reached; no result was written.")
        return
    try:
        write_result(error.result, target)
    except InputError as refused:
        notify(f"pinchline: {refused}")
    else:
        notify(f"The job up to its last good step is in {target}.")


def _report(result: "Result", pictures: Path | None, *, inch: bool) -> None:
    """Print the table; name what stopped the job; draw."""
    from pinchline.reports.style.table import event_words, summary_table

    system = unit_system(inch=inch)
    typer.echo(summary_table(result, system))
    for event in result.events:
        if event.level == "stop":
            notify(f"pinchline: {event_words(event, system)}")
    if pictures is not None:
        _draw(result, pictures, PictureFormat.png, system)
        notify(f"The pictures are in {pictures}.")


def _draw(
    result: "Result", folder: Path, wanted: PictureFormat, system: "System"
) -> list[Path]:
    from pinchline.reports.run.figures import plot_all

    return plot_all(result, folder, wanted.value, system)

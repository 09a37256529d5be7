"""`plan` finds the job for a wanted part: settings, set-up sheet, template."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pinchline.cli.common import (
    EXIT_STOPPED,
    CaseFile,
    InchFirst,
    app,
    check_folder,
    exit_on_error,
    notify,
    option,
    output_option,
    progress_bar,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pinchline.analysis.planning.plan import Plan
    from pinchline.reports.style.paper import Paper
    from pinchline.units import System


class PaperSize(StrEnum):
    """Paper for the set-up sheet and the template."""

    a4 = "a4"
    letter = "letter"


@app.command()
def plan(
    case: CaseFile,
    output: Annotated[
        Path | None,
        output_option(help="The folder; by default the case's name with -plan, here."),
    ] = None,
    paper: Annotated[
        PaperSize | None,
        option(
            help="Paper of set-up sheet and template; A4 for mm, Letter for inches."
        ),
    ] = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Find the job for a wanted part, with its set-up sheet and template."""
    with exit_on_error():
        from pinchline.analysis.planning.planner import make_plan
        from pinchline.case.case import load_case
        from pinchline.reports.plan.plan import plan_words

        job = load_case(case)
        name = Path(job.path).stem
        folder = output or Path(f"{name}-plan")
        check_folder(folder)
        with progress_bar() as progress:
            planned = make_plan(job, progress=progress)
        system: System = "inch" if inch else "metric"
        typer.echo(plan_words(planned, system))
        for path in _write(planned, folder, name, system, _paper(paper)):
            notify(f"written: {path}")
        if not planned.reached:
            raise typer.Exit(EXIT_STOPPED)


def _paper(size: PaperSize | None) -> "Paper | None":
    from pinchline.reports.style.paper import A4, LETTER

    return {None: None, PaperSize.a4: A4, PaperSize.letter: LETTER}[size]


def _write(
    planned: "Plan", folder: Path, name: str, system: "System", paper: "Paper | None"
) -> "Iterator[Path]":
    """Write the job, its result, the set-up sheet and the template."""
    from pinchline.analysis.planning.job import toml_for_folder
    from pinchline.analysis.scatter.around_plan import spread_parts
    from pinchline.parallel import aside
    from pinchline.reports.plan.setup_sheet import write_setup_sheet
    from pinchline.reports.plan.template import write_template
    from pinchline.results.writer import write_result, write_whole

    folder.mkdir(parents=True, exist_ok=True)
    start = folder / f"{name}-plan"
    job, result = start.with_suffix(".toml"), start.with_suffix(".h5")
    with aside(spread_parts, planned) as parts:
        write_whole(job, toml_for_folder(planned.case, folder).encode())
        write_result(planned.result, result)
        yield from (job, result)
        yield from write_template(
            planned.result, folder, name, system=system, paper=paper
        )
        yield from write_setup_sheet(
            planned, parts(), folder, name, system=system, paper=paper
        )

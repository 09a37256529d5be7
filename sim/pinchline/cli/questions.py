"""Questions asked of a case: across the width, limits, hand rules, scatter."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from pinchline.cli.common import (
    STOPPED,
    CaseFile,
    InchFirst,
    PictureFolder,
    TableFile,
    app,
    check_targets,
    progress_bar,
    say,
    system_of,
    told,
)
from pinchline.errors import InputError
from pinchline.messages import worded

if TYPE_CHECKING:
    from collections.abc import Callable

    from pinchline.case.case import Case
    from pinchline.units import Dimension, System


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
    with told(inch=inch):
        from pinchline.analysis.across import across as solve
        from pinchline.case.case import load_case
        from pinchline.reports.questions.across import (
            across_table,
            across_words,
            draw_across,
        )
        from pinchline.results.tables import write_table

        system = system_of(inch=inch)
        job = load_case(case)
        check_targets(job, output, pictures)
        with progress_bar(inch=inch) as progress:
            found = solve(job, stations=stations, progress=progress)
        typer.echo(across_words(found, job.title, system))
        if output is not None:
            write_table(across_table(found, job.title), output)
            say(f"The table is in {output}.")
        if pictures is not None:
            say(f"The picture is {draw_across(found, job.title, pictures, system)}.")
        for move, excess in found.excesses:
            say(f"pinchline: move {move}: {worded(excess.message, system)}")
        if found.stopped:
            say("pinchline: a station's job was stopped; `pinchline run` says why")
        if found.stopped or found.excesses:
            raise typer.Exit(STOPPED)


@app.command()
def limits(
    case: CaseFile,
    output: TableFile = None,
    pictures: PictureFolder = None,
    over: Annotated[
        Literal["alloy", "yield"] | None,
        typer.Option(
            "--map", help="Map it over thickness, and alloys or yield strengths."
        ),
    ] = None,
    points: Annotated[
        int | None, typer.Option(help="Points of the map each way; 30 unless told.")
    ] = None,
    *,
    anew: Annotated[
        bool,
        typer.Option("--anew", help="Forget what an interrupted map has done."),
    ] = False,
    inch: InchFirst = False,
) -> None:
    """Find how tight the sheet of a case can be rolled, and what binds.

    With --map the same of every sheet that the machine takes. A map with -o that was
    interrupted goes on where it stopped: the same command again, or --anew.
    """
    with told(inch=inch):
        from pinchline.analysis.limits.limits import limits as solve
        from pinchline.case.case import load_case
        from pinchline.reports.questions.limits import (
            draw_limits,
            limits_table,
            limits_words,
        )
        from pinchline.results.tables import write_table

        system = system_of(inch=inch)
        job = load_case(case)
        check_targets(job, output, pictures)
        if over is not None:
            state = _state_of(output, anew=anew)
            _map(job, over, points, output, state, pictures, system)
            return
        if anew:
            message = "only a map goes on where it was stopped"
            allowed = "--map alloy or --map yield beside it"
            raise InputError(message, key="--anew", allowed=allowed)
        if points is not None:
            message = "points are counted on a map"
            allowed = "--map alloy or --map yield beside it"
            raise InputError(message, key="--points", value=points, allowed=allowed)
        with progress_bar(inch=inch) as progress:
            found = solve(job, progress=progress)
        typer.echo(limits_words(found, job.title, system))
        if output is not None:
            write_table(limits_table(found, job.title), output)
            say(f"The table is in {output}.")
        if pictures is not None:
            say(f"The picture is {draw_limits(found, job.title, pictures, system)}.")


def _state_of(output: Path | None, *, anew: bool) -> Path | None:
    """Name the file beside a map's table that keeps what is done; gone if ``anew``."""
    if output is None:
        return None
    state = output.with_name(output.name + ".part")
    if anew:
        try:
            state.unlink(missing_ok=True)
        except OSError as error:
            message = f"it cannot be removed: {error.strerror}"
            allowed = "a file beside the table that can be, or another table"
            raise InputError(message, file=state, allowed=allowed) from None
    return state


def _map(
    job: "Case",
    over: Literal["alloy", "yield"],
    points: int | None,
    output: Path | None,
    state: Path | None,
    pictures: Path | None,
    system: "System",
) -> None:
    """Map the tightest radius; what is done is kept in ``state`` until it all is."""
    from pinchline.analysis.limits.limit_map import POINTS, limit_map
    from pinchline.reports.questions.limit_map import limit_map_table, limit_map_words
    from pinchline.reports.questions.limit_map_picture import draw_limit_map
    from pinchline.results.tables import write_table

    try:
        with progress_bar(inch=system == "inch") as progress:
            found = limit_map(
                job,
                over,
                points=POINTS if points is None else points,
                state=state,
                progress=progress,
            )
    except KeyboardInterrupt:
        if state is not None and state.exists():
            say(f"What is done is in {state}; the same command goes on from there.")
        raise
    typer.echo(limit_map_words(found, job.title, system))
    if output is not None and state is not None:
        write_table(limit_map_table(found, job.title), output)
        state.unlink(missing_ok=True)
        say(f"The table is in {output}.")
    if pictures is not None:
        say(f"The picture is {draw_limit_map(found, job.title, pictures, system)}.")


@app.command()
def rules(
    case: CaseFile,
    output: TableFile = None,
    pictures: PictureFolder = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Put the hand rules of the trade beside the model, and say where they hold."""
    with told(inch=inch):
        from pinchline.analysis.rules.comparison import compare
        from pinchline.case.case import load_case
        from pinchline.reports.questions.rules import rules_table, rules_words
        from pinchline.reports.questions.rules_picture import draw_rules
        from pinchline.results.tables import write_table

        system = system_of(inch=inch)
        job = load_case(case)
        check_targets(job, output, pictures)
        with progress_bar(inch=inch) as progress:
            found = compare(job, progress=progress)
        typer.echo(rules_words(found, job.title, system))
        if output is not None:
            write_table(rules_table(found, job.title), output)
            say(f"The table is in {output}.")
        if pictures is not None:
            say(f"The picture is {draw_rules(found, job.title, pictures, system)}.")


@app.command()
def scatter(
    case: CaseFile,
    output: TableFile = None,
    pictures: PictureFolder = None,
    tolerance: Annotated[
        str | None,
        typer.Option(
            help='Of the opening, such as "2 mm"; instead of the target\'s.',
            show_default=False,
        ),
    ] = None,
    points: Annotated[
        int, typer.Option(help="Of each sample, a power of two; parts are ten times.")
    ] = 1024,
    checks: Annotated[
        int, typer.Option(help="Jobs that the stepped solver rolls as well.")
    ] = 8,
    seed: Annotated[int, typer.Option(help="Same seed, same numbers.")] = 1,
    *,
    inch: InchFirst = False,
) -> None:
    """Find how far parts spread with sheet, nip and hand, and what to measure first."""
    with told(inch=inch):
        from pinchline import units
        from pinchline.analysis.scatter.scatter import scatter as solve
        from pinchline.case.case import load_case
        from pinchline.reports.questions.scatter import scatter_table, scatter_words
        from pinchline.reports.questions.scatter_picture import draw_scatter
        from pinchline.results.tables import write_table

        system = system_of(inch=inch)
        asked = None if tolerance is None else _tolerance(units.parse, tolerance)
        job = load_case(case)
        check_targets(job, output, pictures)
        with progress_bar(inch=inch) as progress:
            found = solve(
                job,
                points=points,
                seed=seed,
                checks=checks,
                tolerance=asked,
                progress=progress,
            )
        typer.echo(scatter_words(found, job.title, system))
        if output is not None:
            write_table(scatter_table(found, job.title), output)
            say(f"The table is in {output}.")
        if pictures is not None:
            say(f"The picture is {draw_scatter(found, job.title, pictures, system)}.")


def _tolerance(parse: "Callable[[object, Dimension], float]", text: str) -> float:
    """Read a tolerance of the opening, mm."""
    allowed = 'a length above 0 with its unit, such as "2 mm"'
    try:
        value = parse(text, "length")
    except InputError as error:
        raise InputError(
            error.message, key="--tolerance", value=text, allowed=allowed
        ) from None
    if value <= 0.0:
        message = "is out of range"
        raise InputError(message, key="--tolerance", value=text, allowed=allowed)
    return value

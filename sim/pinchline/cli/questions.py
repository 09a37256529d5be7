"""Commands that analyse a case: across the width, limits, hand rules, scatter."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from pinchline.cli.common import (
    EXIT_STOPPED,
    AnalysisRequest,
    CaseFile,
    InchFirst,
    PictureFolder,
    TableFile,
    app,
    notify,
    open_request,
    parse_length,
)
from pinchline.errors import InputError


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
    with open_request(case, output, pictures, inch=inch) as request:
        from pinchline.analysis.across import across as solve
        from pinchline.reports.questions.across import (
            across_notes,
            across_picture,
            across_table,
            across_words,
        )

        answer = request.solve(solve, stations=stations)
        drawn = {"across.png": across_picture}
        notes = across_notes(answer, request.system)
        request.deliver_report(answer, across_words, across_table, drawn, notes)
        if answer.stopped or answer.excesses:
            raise typer.Exit(EXIT_STOPPED)


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
    with open_request(case, output, pictures, inch=inch) as request:
        from pinchline.analysis.limits.limits import limits as solve
        from pinchline.reports.questions.limits import (
            limits_picture,
            limits_table,
            limits_words,
        )

        if over is not None:
            _map(request, over, points, _state_of(output, anew=anew))
            return
        if anew or points is not None:
            message = "points are counted on a map"
            if anew:
                message = "only a map goes on where it was stopped"
            raise InputError(
                message,
                key="--anew" if anew else "--points",
                value=None if anew else points,
                allowed="--map alloy or --map yield beside it",
            )
        answer = request.solve(solve)
        drawn = {"limits.png": limits_picture}
        request.deliver_report(answer, limits_words, limits_table, drawn)


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
    request: AnalysisRequest,
    over: Literal["alloy", "yield"],
    points: int | None,
    state: Path | None,
) -> None:
    """Map the tightest radius; what is done is kept in ``state`` until it all is."""
    from pinchline.analysis.limits.limit_map import POINTS_PER_AXIS, limit_map
    from pinchline.reports.questions.limit_map import limit_map_table, limit_map_words
    from pinchline.reports.questions.limit_map_picture import limit_map_picture

    count = POINTS_PER_AXIS if points is None else points
    try:
        answer = request.solve(limit_map, over, points=count, state=state)
    except KeyboardInterrupt:
        if state is not None and state.exists():
            notify(f"What is done is in {state}; the same command goes on from there.")
        raise
    drawn = {f"limits-map-{over}.png": limit_map_picture}
    request.deliver_report(answer, limit_map_words, limit_map_table, drawn)
    if state is not None:
        state.unlink(missing_ok=True)


@app.command()
def rules(
    case: CaseFile,
    output: TableFile = None,
    pictures: PictureFolder = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Put the hand rules of the trade beside the model, and say where they hold."""
    with open_request(case, output, pictures, inch=inch) as request:
        from pinchline.analysis.rules.comparison import compare
        from pinchline.reports.questions.rules import rules_table, rules_words
        from pinchline.reports.questions.rules_picture import rules_picture

        drawn = {"rules.png": rules_picture}
        request.deliver_report(request.solve(compare), rules_words, rules_table, drawn)


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
    with open_request(case, output, pictures, inch=inch) as request:
        from pinchline.analysis.scatter.scatter import scatter as solve
        from pinchline.reports.questions.scatter import (
            scatter_picture,
            scatter_table,
            scatter_words,
        )

        allowed = None if tolerance is None else parse_length("--tolerance", tolerance)
        answer = request.solve(
            solve,
            points=points,
            seed=seed,
            checks=checks,
            tolerance=allowed,
        )
        drawn = {"scatter.png": scatter_picture}
        request.deliver_report(answer, scatter_words, scatter_table, drawn)

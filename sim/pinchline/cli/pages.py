"""`report` makes one page of results, `export` hands them to other programs."""

from pathlib import Path
from typing import Annotated

import typer

from pinchline.cli.common import (
    app,
    exit_on_error,
    notify,
    output_option,
    parse_length,
)


@app.command()
def report(
    files: Annotated[
        list[Path],
        typer.Argument(help="Result files of `pinchline run`, up to six."),
    ],
    output: Annotated[
        Path | None,
        output_option(
            help="The page; by default the first result's name with .html, here."
        ),
    ] = None,
) -> None:
    """Make one page of a result, or of several side by side, with a playback."""
    with exit_on_error():
        from pinchline.reports.run.report import check_page, write_report
        from pinchline.results.reader import read_result

        target = output or Path(f"{files[0].stem}.html")
        check_page(target, len(files))
        results = [read_result(file) for file in files]
        typer.echo(str(write_report(results, target, [file.name for file in files])))


@app.command()
def export(
    file: Annotated[Path, typer.Argument(help="A result file of `pinchline run`.")],
    output: Annotated[
        list[Path],
        output_option(
            help="What to write; the ending tells: .csv tables, .dxf the free part for "
            "CAD, .pvd shapes for mesh viewers, .gif or .mp4 the playback. May be "
            "given again."
        ),
    ],
    group: Annotated[
        str, typer.Option(help="Which group of the result a .csv holds.")
    ] = "sheet",
    tolerance: Annotated[
        str, typer.Option(help="How near a .dxf keeps to the part.")
    ] = "0.005 mm",
    *,
    inch: Annotated[
        bool, typer.Option("--inch/--mm", help="The unit of a .dxf.")
    ] = False,
) -> None:
    """Hand a result to other programs: tables, CAD, mesh viewers, moving pictures."""
    with exit_on_error():
        from pinchline.reports.export.export import check_export, omitted_frames
        from pinchline.reports.export.export import export as write
        from pinchline.results.reader import read_result

        within = parse_length("--tolerance", tolerance)
        for target in output:
            check_export(target, group, within)
        result = read_result(file)
        for target in output:
            for path in write(
                result,
                target,
                group=group,
                tolerance=within,
                system="inch" if inch else "metric",
            ):
                typer.echo(str(path))
            if words := omitted_frames(result, target):
                notify(words)

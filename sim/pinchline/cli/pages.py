"""`report` makes one page of results, `export` hands them to other programs."""

from pathlib import Path
from typing import Annotated

import typer

from pinchline.cli.common import app, told


@app.command()
def report(
    files: Annotated[
        list[Path],
        typer.Argument(help="Result files of `pinchline run`, up to six."),
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--output",
            help="The page; by default the first result's name with .html, here.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Make one page of a result, or of several side by side, with a playback."""
    with told():
        from pinchline.output.report import check_page, write_report
        from pinchline.results.reader import read_result

        target = output or Path(f"{files[0].stem}.html")
        check_page(target, len(files))
        results = [read_result(file) for file in files]
        typer.echo(str(write_report(results, target, [file.name for file in files])))

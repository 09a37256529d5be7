"""`verify` holds the engine against published values."""

from typing import Annotated

import typer

from pinchline.cli.common import app, exit_on_error, notify, progress_bar
from pinchline.errors import SolverError


@app.command()
def verify(
    *,
    markdown: Annotated[
        bool, typer.Option("--markdown", help="A Markdown table instead of text.")
    ] = False,
) -> None:
    """Check the engine against published values; ends with 4 where a check fails."""
    with exit_on_error():
        from pinchline.verify import dossier

        with progress_bar() as progress:
            checks = dossier.collect(progress)
        render = dossier.as_markdown if markdown else dossier.as_text
        typer.echo(render(checks))
        failed = dossier.failures(checks)
        if failed:
            notify(f"pinchline: {failed} checks fail.")
            raise typer.Exit(SolverError.exit_code)

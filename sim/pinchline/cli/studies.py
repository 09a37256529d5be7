"""`study` computes many runs of a case; `plot` draws what came of them."""

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from pinchline.cli.common import (
    EXIT_INTERRUPTED,
    PictureFolder,
    app,
    check_folder,
    deliver_report,
    exit_on_error,
    notify,
    option,
    output_option,
    progress_bar,
)
from pinchline.errors import InputError


@app.command()
def study(
    study: Annotated[
        str, typer.Argument(help="A study file (.toml) or a shipped study.")
    ],
    output: Annotated[
        Path | None,
        output_option(
            help="The file of the results; by default the study's name with .h5, here."
        ),
    ] = None,
    pictures: PictureFolder = None,
    csv: Annotated[
        Path | None, option(help="Also write a row for every point.")
    ] = None,
    parquet: Annotated[
        Path | None, option(help="The same as Parquet (needs pyarrow).")
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(help="Processes here; by default every core.", min=1),
    ] = None,
    scheduler: Annotated[
        str | None,
        option(help="Address of a Dask scheduler that does the work, tcp://host:8786."),
    ] = None,
    *,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with a file that is there.")
    ] = False,
    anew: Annotated[
        bool, typer.Option("--anew", help="Replace a file that is there.")
    ] = False,
) -> None:
    """Do many runs of a case, with its values varied, into one file."""
    with exit_on_error():
        from pinchline.analysis.sweep.study import StudyInterruptedError
        from pinchline.analysis.sweep.study import study as compute
        from pinchline.case.study.study import load_study
        from pinchline.reports.answer import Report
        from pinchline.reports.studies.study import study_table, study_words
        from pinchline.reports.studies.study_pictures import draw_study

        if resume and anew:
            message = "there is either something to go on with or to replace"
            raise InputError(message, key="--anew", allowed="--resume or --anew")
        wanted = load_study(study)
        target = output or Path(f"{Path(wanted.path).stem}.h5")
        _check_targets(target, (wanted.path, wanted.case_path), csv, parquet, pictures)
        try:
            with progress_bar() as progress:
                result = compute(
                    wanted,
                    target,
                    resume=resume,
                    anew=anew,
                    workers=workers,
                    scheduler=scheduler,
                    progress=progress,
                )
        except StudyInterruptedError as stopped:
            notify(
                f"pinchline: interrupted; {stopped} are in {target}. Go on: --resume"
            )
            raise typer.Exit(EXIT_INTERRUPTED) from None
        notify(f"The study is in {target}.")
        report = Report(study_words(result), partial(study_table, result))
        deliver_report(report, csv, parquet, pictures=None)
        if pictures is not None:
            for path in draw_study(result, pictures):
                notify(f"The picture is {path}.")


def _check_targets(
    target: Path,
    sources: tuple[str, ...],
    csv: Path | None,
    parquet: Path | None,
    pictures: Path | None,
) -> None:
    """Make sure, before a long study, that everything can be written."""
    from pinchline.results.tables import check_table_path

    outputs = [path for path in (target, csv, parquet) if path is not None]
    taken = [Path(source).resolve() for source in sources]
    for file in outputs:
        if file.resolve() in taken:
            message = "the output would overwrite what the study is made of"
            raise InputError(message, file=file, allowed="another file name")
        taken.append(file.resolve())
    for path, suffix in ((csv, ".csv"), (parquet, ".parquet")):
        if path is None:
            continue
        if path.suffix.lower() != suffix:
            message = "the name does not tell the format"
            raise InputError(
                message, file=path, allowed=f"a name that ends in {suffix}"
            )
        check_table_path(path)
    if pictures is not None:
        check_folder(pictures)

"""`fit` corrects sheet and machine by scrap strips."""

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from pinchline.cli.common import (
    CaseFile,
    InchFirst,
    PictureFolder,
    app,
    check_folder,
    deliver_report,
    exit_on_error,
    output_option,
    progress_bar,
    unit_system,
)


@app.command()
def fit(
    case: CaseFile,
    measurements: Annotated[
        Path, typer.Argument(help="A CSV of strips; cases/README.md lists its columns.")
    ],
    output: Annotated[
        Path | None,
        output_option(help="Write corrected card, machine and case into this folder."),
    ] = None,
    pictures: PictureFolder = None,
    *,
    inch: InchFirst = False,
) -> None:
    """Correct sheet and machine by measured scrap strips, and say how sure it is."""
    with exit_on_error(inch=inch):
        from pinchline.analysis.fitting.advise import advise
        from pinchline.analysis.fitting.estimate import fit as solve
        from pinchline.case.case import load_case
        from pinchline.reports.answer import Report
        from pinchline.reports.questions.fit import fit_picture, fit_words
        from pinchline.reports.questions.fit_files import write_fit

        system = unit_system(inch=inch)
        job = load_case(case)
        for folder in (output, pictures):
            if folder is not None:
                check_folder(folder)
        with progress_bar(inch=inch) as progress:
            estimate = solve(job, measurements, progress=progress)
            advice = advise(estimate)
        picture = partial(fit_picture, estimate, advice, system)
        report = Report(
            fit_words(estimate, advice, system),
            files=None if output is None else partial(write_fit, estimate, output),
            pictures={"fit.png": picture},
        )
        deliver_report(report, pictures=pictures)

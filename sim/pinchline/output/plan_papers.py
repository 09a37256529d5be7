"""The papers of a plan: set-up sheet and template, written in one go."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.analysis.plan_spread import vary
from pinchline.output.paper import A4, LETTER
from pinchline.output.setup_sheet import write_setup_sheet
from pinchline.output.template import write_template

if TYPE_CHECKING:
    from pathlib import Path

    from pinchline.analysis.plan import Plan
    from pinchline.output.paper import Paper
    from pinchline.units import System

PAPERS = {"a4": A4, "letter": LETTER}


def write_papers(
    plan: Plan,
    folder: Path,
    name: str,
    *,
    system: System = "metric",
    paper: Paper | None = None,
    workers: int | None = None,
) -> list[Path]:
    """Write what is taken to the machine and held against the part.

    Parameters
    ----------
    plan : of a case; its job is run twice more for the spread of the sheet
    folder, name : files are ``NAME-setup.pdf``, ``.png``, ``NAME-template.pdf``,
        ``.dxf`` and ``.csv`` in the folder, which is made where it is missing
    system : mm or inches
    paper : A4 for mm and Letter for inches unless told
    workers : processes; None takes all cores

    Raises
    ------
    InputError
        where a file cannot be written, or a page cannot hold the job
    """
    varied = vary(plan, workers=workers)
    return [
        *write_setup_sheet(plan, varied, folder, name, system=system, paper=paper),
        *write_template(plan.result, folder, name, system=system, paper=paper),
    ]

"""Bending sheet on a hand-cranked three-roll pinch bender, from case to free part.

``r = pinchline.run(pinchline.load_case("strut-fairing"))`` does a job in memory; the
command ``pinchline`` does it with files. A case is written in Python with ``Case``,
``Sheet`` and the moves ``Place``, ``Lift``, ``Feed``, ``Lower``, ``Release``, ``Turn``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from pinchline._version import __version__
from pinchline.results.views import VIEWS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from pinchline.analysis.across import across as across
    from pinchline.analysis.fitting.estimate import fit as fit
    from pinchline.analysis.planning.planner import make_plan as plan
    from pinchline.analysis.scatter.scatter import scatter as scatter
    from pinchline.analysis.sweep.study import study as study
    from pinchline.case.case import Case as Case
    from pinchline.case.case import load_case as load_case
    from pinchline.case.machine import Machine as Machine
    from pinchline.case.metal.material import Material as Material
    from pinchline.case.moves import Feed as Feed
    from pinchline.case.moves import Lift as Lift
    from pinchline.case.moves import Lower as Lower
    from pinchline.case.moves import Place as Place
    from pinchline.case.moves import Release as Release
    from pinchline.case.moves import Turn as Turn
    from pinchline.case.sheet import Sheet as Sheet
    from pinchline.errors import InputError as InputError
    from pinchline.results.reader import read_result as read_result
    from pinchline.results.schema import Result as Result
    from pinchline.results.study_reader import read_study as read_study
    from pinchline.results.writer import write_result as write_result
    from pinchline.solvers.stepped.program import run_case as run

__all__ = [
    "Case",
    "Feed",
    "InputError",
    "Lift",
    "Lower",
    "Machine",
    "Material",
    "Place",
    "Release",
    "Result",
    "Sheet",
    "Turn",
    "__version__",
    "across",
    "fit",
    "load_case",
    "plan",
    "read_result",
    "read_study",
    "run",
    "scatter",
    "study",
    "write_result",
]

_HOME = {
    "Case": ("pinchline.case.case", "Case"),
    "Feed": ("pinchline.case.moves", "Feed"),
    "Lift": ("pinchline.case.moves", "Lift"),
    "Lower": ("pinchline.case.moves", "Lower"),
    "Machine": ("pinchline.case.machine", "Machine"),
    "Material": ("pinchline.case.metal.material", "Material"),
    "Place": ("pinchline.case.moves", "Place"),
    "Release": ("pinchline.case.moves", "Release"),
    "Result": ("pinchline.results.schema", "Result"),
    "Sheet": ("pinchline.case.sheet", "Sheet"),
    "Turn": ("pinchline.case.moves", "Turn"),
    "InputError": ("pinchline.errors", "InputError"),
    "across": ("pinchline.analysis.across", "across"),
    "fit": ("pinchline.analysis.fitting.estimate", "fit"),
    "load_case": ("pinchline.case.case", "load_case"),
    "plan": ("pinchline.analysis.planning.planner", "make_plan"),
    "scatter": ("pinchline.analysis.scatter.scatter", "scatter"),
    "study": ("pinchline.analysis.sweep.study", "study"),
    "read_study": ("pinchline.results.study_reader", "read_study"),
    "read_result": ("pinchline.results.reader", "read_result"),
    "run": ("pinchline.solvers.stepped.program", "run_case"),
    "write_result": ("pinchline.results.writer", "write_result"),
}


def __getattr__(name: str) -> object:
    """Load what is asked for, and no more: the command's help must not wait."""
    if name not in _HOME:
        message = f"module 'pinchline' has no attribute {name!r}"
        raise AttributeError(message)
    module, attribute = _HOME[name]
    found: object = getattr(import_module(module), attribute)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """Names that exist or can be loaded."""
    return sorted({*globals(), *__all__})


def _html(result: Result) -> str:
    from pinchline.reports.run.notebook import notebook_html

    return notebook_html(result)


def _plot(result: Result, name: str, **options: Any) -> tuple[Figure, Any]:
    from pinchline.reports.run.figures import draw

    return draw(result, name, **options)


VIEWS.update(html=_html, plot=_plot)

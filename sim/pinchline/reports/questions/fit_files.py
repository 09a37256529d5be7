"""Card, machine and case that a fit corrected, each with where its numbers are from."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pinchline import units
from pinchline.analysis.fitting.strip_model import FITTED_BASIS
from pinchline.analysis.planning.job import rebase_paths
from pinchline.reports.questions.card import machine_card, material_card
from pinchline.results.writer import write_whole

if TYPE_CHECKING:
    from pinchline.analysis.fitting.solution import Estimate, Fit
    from pinchline.analysis.fitting.strip_model import ParameterName

_TITLE_LETTERS = 90  # letters of a title


def write_fit(fit: Fit, folder: Path) -> tuple[Path, Path, Path]:
    """Write material card, machine card and case into a folder; returns their paths.

    The names are those of the case's own with ``-fit``; the case uses both cards by
    their names in the folder.
    """
    folder.mkdir(parents=True, exist_ok=True)
    best = fit.best
    names = (
        f"{Path(best.sheet.material.name).stem}-fit.toml",
        f"{Path(best.machine.name).stem}-machine-fit.toml",
        f"{Path(fit.case.path).stem}-fit.toml",
    )
    texts = (_material(fit), _machine(fit), _case(fit, folder, names[:2]))
    paths = tuple(folder / name for name in names)
    for path, text in zip(paths, texts, strict=True):
        write_whole(path, text.encode())
    return paths[0], paths[1], paths[2]


def origin(fit: Fit) -> str:
    """Say which strips the numbers are fitted to, and when."""
    day = dt.datetime.now(tz=dt.UTC).date().isoformat()
    strips = f"{len(fit.strips)} strip{'s' if len(fit.strips) != 1 else ''}"
    return f"fit of {strips} in {Path(fit.source).name}, {day}"


def fitted_words(estimate: Estimate) -> str:
    """Say an estimate with its interval, and what it was before."""
    p = estimate.parameter
    low, high = (units.format(v, p.dimension) for v in estimate.interval)
    before = units.format(p.median, p.dimension)
    return f"95 % {low} to {high}; before {before}"


def _material(fit: Fit) -> str:
    material = fit.best.sheet.material
    name = fit.case.sheet.material.name
    keys: dict[str, ParameterName] = {
        "yield_strength": "yield strength",
        "tangent_modulus": "tangent modulus",
    }
    sources = dict(material.sources)
    fitted = {p.name for p in fit.parameters}
    for key, parameter in keys.items():
        if parameter in fitted:
            source = fitted_words(fit.estimate(parameter))
            sources[key] = f"{origin(fit)}, card {name}; {source}"
    title = material.title.removesuffix(", fitted")[:_TITLE_LETTERS]
    changed = {"sources": sources, "basis": FITTED_BASIS, "title": f"{title}, fitted"}
    remarks = (
        f"Written by `pinchline fit`: {origin(fit)}.",
        "It holds for the sheet the strips were cut from, in this direction.",
    )
    return material_card(material.model_copy(update=changed), remarks=remarks)


def _machine(fit: Fit) -> str:
    machine = fit.best.machine
    own = (
        "touch offset",
        "nip play",
        "clearance",
        "nip stiffness",
        "bearing stiffness",
    )
    remarks = [f"Written by `pinchline fit`: {origin(fit)}; before {machine.name}."]
    remarks += [
        f"{e.parameter.name}: {fitted_words(e)}"
        for e in fit.estimates
        if e.parameter.name in own
    ]
    title = f"{machine.title.removesuffix(', fitted')[:_TITLE_LETTERS]}, fitted"
    changed = machine.model_copy(update={"title": title})
    return machine_card(changed, remarks=tuple(remarks))


def _case(fit: Fit, folder: Path, cards: tuple[str, ...]) -> str:
    """Give the case's text with both cards and the fitted thickness in it."""
    import tomlkit

    document: Any = tomlkit.parse(fit.case.text)
    rebase_paths(document, Path(fit.case.path).parent, folder)
    sheet = document["sheet"]
    sheet.pop("material")
    sheet.add("material", cards[0])
    sheet["thickness"] = f"{fit.best.sheet.thickness:.5g} mm"
    machine = tomlkit.table()
    machine.add("use", cards[1])
    document["machine"] = machine
    text = f"# Corrected by `pinchline fit`: {origin(fit)}.\n"
    return text + str(tomlkit.dumps(document))

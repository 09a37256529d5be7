"""How far a plan's part moves when the sheet is not quite what its card says.

The same job is run again with a little more thickness and with a little more yield
strength; what changes on the part is the model's own derivative times that spread.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pinchline.analysis import parallel
from pinchline.errors import PinchlineError
from pinchline.process.programme import run_case

if TYPE_CHECKING:
    from pinchline.analysis.plan import Plan
    from pinchline.model.case import Case
    from pinchline.model.material import Material
    from pinchline.results.schema import Result

THICKNESS = 0.02  # of it: a sheet that was measured; assumed
STRENGTH = 0.05  # of the yield strength: within one delivery; assumed


class Varied(NamedTuple):
    """One property a little off: its name, by what share, and what came out.

    It is less than the card's where with more of it a limit stops the job; ``result``
    is None where neither could be run.
    """

    name: str
    share: float
    result: Result | None


def vary(plan: Plan, *, workers: int | None = None) -> tuple[Varied, ...]:
    """Run a plan's job with another thickness and with another yield strength.

    Lifts stay as set from touch. ``workers``: processes; None takes all cores.
    """
    asked = [
        (plan.case, "thickness", THICKNESS),
        (plan.case, "yield strength", STRENGTH),
    ]
    with parallel.workers(workers, len(asked)) as do_all:
        return tuple(do_all(_varied, asked))


def _varied(asked: tuple[Case, str, float]) -> Varied:
    """Run the job with more of a property, or where that is stopped with less."""
    case, name, spread = asked
    for share in (spread, -spread):
        try:
            result = run_case(_CHANGES[name](case, share))
        except PinchlineError:
            continue
        if not result.stopped:
            return Varied(name, share, result)
    return Varied(name, spread, None)


def _thicker(case: Case, share: float) -> Case:
    thickness = (1.0 + share) * case.sheet.thickness
    sheet = case.sheet.model_copy(update={"thickness": thickness})
    return case.model_copy(update={"sheet": sheet})


def _stronger(case: Case, share: float) -> Case:
    sheet = case.sheet
    sheet = sheet.model_copy(update={"material": raised(sheet.material, share)})
    return case.model_copy(update={"sheet": sheet})


_CHANGES = {"thickness": _thicker, "yield strength": _stronger}


def raised(material: Material, share: float) -> Material:
    """Give the material with every stress of its yielding raised by a share."""
    more = 1.0 + share
    changed: dict[str, object] = {"yield_strength": more * material.yield_strength}
    clad, curve = material.clad, material.curve
    if clad is not None:
        skin = {"yield_strength": more * clad.yield_strength}
        changed["clad"] = clad.model_copy(update=skin)
    if curve is not None and curve.stress is not None and curve.strain is not None:
        # the elastic part of every strain grows with its stress
        elastic = share / material.youngs_modulus
        points = list(zip(curve.strain, curve.stress, strict=True))
        shifted = {
            "strain": tuple(e + elastic * s for e, s in points),
            "stress": tuple(more * s for _, s in points),
        }
        changed["curve"] = curve.model_copy(update=shifted)
    elif curve is not None and curve.yield_offset is not None:
        offset = {"yield_offset": more * curve.yield_offset}
        changed["curve"] = curve.model_copy(update=offset)
    return material.model_copy(update=changed)

"""Two straight lines for a metal's curve: in words, and as a card."""

from __future__ import annotations

import datetime as dt
import textwrap
from typing import TYPE_CHECKING

from pinchline import units
from pinchline.analysis.material.bilinear import FLAT_RADIUS_RATIO, with_bilinear
from pinchline.reports.questions.card import material_card

if TYPE_CHECKING:
    from pinchline.analysis.material.bilinear import BilinearFit
    from pinchline.analysis.material.tensile import TensileResult
    from pinchline.case.metal.material import Material
    from pinchline.units import System

_TEXT_WIDTH = 88
_MOMENT_MISFIT = 1.0e-3  # of the moment: more, and the lines do not meet the curve


def two_lines_words(
    metal: Material,
    pair: BilinearFit,
    thickness: float,
    system: System,
    tested: TensileResult | None = None,
) -> str:
    """Say the two lines, for which bends they are, and what they cost."""

    def stress(value: float) -> str:
        return units.format(value, "stress", system)

    def length(value: float) -> str:
        return units.format(value, "length", system)

    lines = [metal.title, ""]
    if tested is not None:
        lines += [*_test_words(tested, system), ""]
    low, high = (thickness / (2.0 * r) for r in (pair.weak, pair.tight))
    fitted = (
        f"fitted for {length(thickness)} sheet bent to {length(pair.weak)} down to "
        f"{length(pair.tight)} under the rolls (surface strain {low:.2%} to "
        f"{high:.2%}): equal moment at both"
    )
    lines += [
        f"{'yield strength':<22}{stress(pair.strength)}",
        f"{'tangent modulus':<22}{stress(pair.tangent)}",
        *textwrap.wrap(fitted, _TEXT_WIDTH),
    ]
    if pair.off > _MOMENT_MISFIT:
        off = (
            f"No two lines meet the curve there: moments differ by {pair.off:.1%}. "
            "Let the card keep the curve (--keep-curve)."
        )
        lines += textwrap.wrap(off, _TEXT_WIDTH)
    lines += ["", *_error_table(pair, metal, system)]
    return "\n".join(lines)


def _test_words(tested: TensileResult, system: System) -> list[str]:
    metal = tested.metal
    youngs, slope = metal.youngs_modulus, tested.modulus
    proof = units.format(metal.yield_strength, "stress", system)
    top = units.format(tested.ultimate, "stress", system)
    scatter = units.display(tested.scatter, "stress", system)
    text = (
        f"The test: elastic slope {_modulus(slope, system)}, beginning at "
        f"{tested.toe:.3%} strain; yield at 0.2 % {proof}; true stress {top} at the "
        f"largest load, {tested.last:.1%} strain. The smooth curve passes the points "
        f"within {scatter[0]:.2g} {scatter[1]} (rms)."
    )
    if abs(slope / youngs - 1.0) > 1.0e-9:
        text += (
            f" The card's modulus, {_modulus(youngs, system)}, holds: the slope "
            f"differs by {slope / youngs - 1.0:+.1%}, the strain is corrected for it."
        )
    return textwrap.wrap(text, _TEXT_WIDTH)


def _modulus(value: float, system: System) -> str:
    if system == "inch":
        return f"{units.display(value, 'stress', system)[0]:.0f} ksi"
    return f"{value / 1000.0:.1f} GPa"


def _error_table(pair: BilinearFit, metal: Material, system: System) -> list[str]:
    unit = "in" if system == "inch" else "mm"
    head = f"{'radius, ' + unit:>14}{'':>14}{'error of the free radius':>32}"
    names = f"{'under load':>14}{'free':>14}{'two lines':>14}{'yield at 0.2 %':>18}"
    lines = ["By the full curve, and by two lines (pure bending):", head, names]
    for j in pair.judged:
        loaded, free = (
            f"{units.format(r, 'length', system).split()[0]:>14}"
            for r in (j.loaded, j.free)
        )
        inside = 0.999 * pair.tight <= j.loaded <= 1.001 * pair.weak
        mark = "" if inside else "   outside the fit"
        lines.append(f"{loaded}{free}{j.error:>+14.1%}{j.plain:>+18.1%}{mark}")
    tangent = units.format(metal.tangent_modulus, "stress", system)
    note = (
        f"+ is too wide. The last column: the yield at 0.2 % with a tangent modulus of "
        f"{tangent}. Moments are equal at both ends of the fit; what is left there is "
        "that the curve yields again on the way back. Bends that spring to more than "
        f"{FLAT_RADIUS_RATIO:.0f} times their radius are as good as flat and left out."
    )
    return [*lines, *textwrap.wrap(note, _TEXT_WIDTH)]


def two_lines_card(
    metal: Material, pair: BilinearFit, thickness: float, origin: str, *, keep: bool
) -> str:
    """Write the card: two lines, or the curve itself where it is kept.

    ``origin``: what they were fitted to, in words.
    """
    day = dt.datetime.now(tz=dt.UTC).date().isoformat()
    note = (
        f"{origin}, {day}: equal moment at {pair.weak:.4g} and {pair.tight:.4g} mm "
        f"radius under load, {thickness:.4g} mm sheet"
    )
    fitted = with_bilinear(metal, pair.strength, pair.tangent)
    sources = dict(metal.sources)
    sources |= dict.fromkeys(("yield_strength", "tangent_modulus"), note)
    changed: dict[str, object] = {
        "sources": sources,
        "basis": "measured" if "tensile test" in origin else metal.basis,
        "curve": metal.curve if keep else None,
        "title": f"{metal.title}, two lines for {pair.tight:.4g} mm under load"[:120],
    }
    remarks = (
        f"Made by `pinchline cards` from: {origin}.",
        "Two straight lines hold for the bends named in the sources, not for others.",
    )
    return material_card(fitted.model_copy(update=changed), remarks=remarks)

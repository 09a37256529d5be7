"""A simply supported beam that yields under a central load: sag, set, collapse."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pinchline.parts.measure import free_outline
from pinchline.verify import strip_fixture
from pinchline.verify.check import Check, worst
from pinchline.verify.section import PRAGER
from pinchline.verify.section_fixtures import beam_profile

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from pinchline.solvers.layers import SectionLaw

SPAN, THICKNESS = 400.0, 1.0
FIRST_STRAIN = 3.0e-6  # sags of 2e-4 of the span at first yield: linear
MESH_TOLERANCE = 2.0e-4
MESH_REASON = "600 elements take the moment at their middle: 1e-4 near collapse"

# references.md 2.1: P/P_y, sag and sag left over the sag at first yield, by hardening
LOADED = {
    0.0: [
        (1.1, 1.101528, 0.001528),
        (1.2, 1.212982, 0.012982),
        (1.25, 1.276670, 0.026670),
        (1.3, 1.349373, 0.049373),
        (1.4, 1.547072, 0.147072),
        (1.45, 1.708816, 0.258816),
    ],
    0.01: [
        (1.1, 1.101508, 0.001508),
        (1.2, 1.212754, 0.012754),
        (1.25, 1.276098, 0.026098),
        (1.3, 1.348033, 0.048033),
        (1.4, 1.539069, 0.139069),
        (1.45, 1.683228, 0.233228),
        (1.5, 1.909485, 0.409485),
        (2.0, 19.416639, 17.416639),
    ],
    0.1: [
        (1.1, 1.101337, 0.001337),
        (1.2, 1.210871, 0.010871),
        (1.25, 1.271607, 0.021607),
        (1.3, 1.338232, 0.038232),
        (1.4, 1.496613, 0.096613),
        (1.45, 1.592914, 0.142914),
        (1.5, 1.704010, 0.204010),
        (2.0, 3.860086, 1.860086),
    ],
}


def law_of(hardening: float, strain: float = FIRST_STRAIN) -> SectionLaw:
    """Narrow beam that first yields at a strain."""
    return beam_profile(1.0, strain, THICKNESS, hardening=hardening)


def first_yield(law: SectionLaw) -> tuple[float, float]:
    """Load (N/mm) and sag (mm) at which the middle first yields."""
    load = 4.0 * law.first_yield / SPAN
    return load, load * SPAN**3 / 48.0 / law.bending


def supported(
    hardening: float, elements: int, strain: float = FIRST_STRAIN
) -> strip_fixture.StripFixture:
    """Strip on two supports."""
    law = law_of(hardening, strain)
    strip = strip_fixture.StripFixture(law, SPAN, elements, THICKNESS, rigidity=1.0e6)
    strip.hold(0, strip_fixture.X)
    strip.hold(0, strip_fixture.Y)
    strip.hold(elements, strip_fixture.Y)
    return strip


def sag_of(curvature: NDArray[np.float64], length: float) -> float:
    """Sag (mm) of the middle of a free strip below its ends."""
    x, y, _ = free_outline(curvature, length)
    middle = y.size // 2
    chord = y[0] + (y[-1] - y[0]) * (x[middle] - x[0]) / (x[-1] - x[0])
    return float(chord - y[middle])


def loaded_and_released(
    hardening: float, ratio: float, elements: int = 600
) -> tuple[float, float]:
    """Sag under ``ratio`` times the load of first yield, and sag left, over its sag.

    The set is that of the free strip: a determinate beam unloads to no moment.
    """
    # twenty times the sag of first yield is still to be a linear one
    strain = FIRST_STRAIN if ratio < 2.0 else FIRST_STRAIN / 3.0
    strip = supported(hardening, elements, strain)
    load, sag = first_yield(strip.law)
    for step in (1.0, *np.linspace(1.0, ratio, 6)[1:]):
        strip.push(elements // 2, strip_fixture.Y, -step * load)
        strip.settle()
    loaded = -float(strip.chain.y[elements // 2]) / sag
    strip.release()
    return loaded, sag_of(strip.chain.curvature, strip.beam.length) / sag


def pushed_to_collapse(elements: int = 1500) -> NDArray[np.float64]:
    """Push the middle of a perfectly plastic beam down by hand.

    Rows: sag over that of first yield, load over that of first yield, share of the span
    that has yielded.
    """
    strip = supported(0.0, elements)
    load, sag = first_yield(strip.law)
    rows = []
    for step in np.concatenate([np.linspace(0.5, 2.0, 16), np.linspace(2.2, 8.0, 30)]):
        strip.hold(elements // 2, strip_fixture.Y, -step * sag)
        strip.settle()
        yielded = np.abs(strip.peaks[:, 0]) > (1.0 + 1.0e-6) * strip.law.first_yield
        zone = np.flatnonzero(yielded)
        share = (zone[-1] + 1 - zone[0]) / elements if zone.size else 0.0
        rows.append(
            (step, -strip.reaction(elements // 2, strip_fixture.Y) / load, share)
        )
    return np.array(rows)


def checks() -> Iterator[Check]:
    """Check sag and set under load, then collapse."""
    source = f"{PRAGER}; hardening derived (references.md 2.1)"
    loaded: list[Check] = []
    left: list[Check] = []
    for hardening, rows in LOADED.items():
        for ratio, *published in rows:
            found = loaded_and_released(hardening, ratio)
            for bag, value, truth in zip((loaded, left), found, published, strict=True):
                bag.append(
                    Check(
                        what=f"over that of first yield at P/P_y = {ratio:g}, "
                        f"h = {hardening:g}",
                        source=source,
                        published=truth,
                        computed=value,
                        tolerance=MESH_TOLERANCE * max(1.0, published[0]),
                        reason=MESH_REASON,
                        relative=False,
                    )
                )
    yield worst(loaded, "sag of a beam under a central load")
    yield worst(left, "sag left once the load is off")
    yield from _collapse()


def _collapse() -> Iterator[Check]:
    elements = 1500
    sag, load, share = pushed_to_collapse(elements).T
    yield Check(
        what="collapse load over that of first yield",
        source=PRAGER,
        published=1.5,
        computed=float(load[-1]) * (1.0 - 1.0 / elements),
        tolerance=5.0e-4,
        reason="the hinge forms half an element from the load, which is corrected",
    )
    yield Check(
        what="load over that of first yield at the sag of collapse, 20/9",
        source=PRAGER,
        published=1.5,
        computed=float(np.interp(20.0 / 9.0, sag, load)),
        tolerance=0.01,
        reason="the curve meets its limit like a square root: the mesh shows there",
    )
    yield Check(
        what="share of the span that yields at collapse",
        source="derived (references.md 2.1)",
        published=1.0 / 3.0,
        computed=float(share[-1]),
        tolerance=3.0 / elements,
        reason="whole elements",
        relative=False,
    )

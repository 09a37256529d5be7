"""Large deflection of an elastic strip: the beam's finite rotations and its tangent."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.physics.contact import roll_forces
from pinchline.physics.rolls import (
    AXIS_X,
    AXIS_Y,
    FORCE_X,
    FORCE_Y,
    PRESSURE,
    PRESSURE_MOMENT_X,
    PRESSURE_MOMENT_Y,
    REACH,
    ROLL_COLUMNS,
    ROLL_RESULTS,
    TRAVEL_Y,
)
from pinchline.verify import strip_fixture
from pinchline.verify.check import Check, worst, worst_of
from pinchline.verify.section_fixtures import beam_profile

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from pinchline.solvers.layers import SectionLaw

LENGTH, THICKNESS = 100.0, 1.0
UNREACHED_YIELD_STRAIN = 1.0e6  # a flow stress over the modulus that no check reaches

# Mattiasson (1981), table 1, and elliptic integrals (references.md 1.1): alpha, w/L,
# u/L, tip slope (rad), root curvature times L
CANTILEVER = [
    (0.2, 0.066364, 0.002647, 0.099636, 0.199471),
    (0.4, 0.130975, 0.010354, 0.197155, 0.395858),
    (0.6, 0.192350, 0.022488, 0.290738, 0.586507),
    (0.8, 0.249452, 0.038166, 0.379063, 0.769468),
    (1.0, 0.301721, 0.056433, 0.461352, 0.943567),
    (2.0, 0.493457, 0.160642, 0.781750, 1.678717),
    (3.0, 0.603253, 0.254420, 0.986017, 2.236739),
    (4.0, 0.669964, 0.328941, 1.121239, 2.684235),
    (5.0, 0.713792, 0.387628, 1.215368, 3.061858),
    (6.0, 0.744571, 0.434589, 1.283697, 3.392467),
    (7.0, 0.767369, 0.472927, 1.334960, 3.689508),
    (8.0, 0.784982, 0.504828, 1.374432, 3.961378),
    (9.0, 0.799056, 0.531821, 1.405465, 4.213615),
    (10.0, 0.810609, 0.554996, 1.430286, 4.450044),
]
CANTILEVER_NAMES = ("w/L", "u/L", "tip slope, rad", "root curvature x L")

# references.md 1.3, derived there: slope over the support (deg), P a^2/EI, delta/a,
# kappa_mid a
KNIFE_EDGES = [
    (1.0, 0.069792, 0.011636, 0.034903),
    (5.0, 0.346415, 0.058241, 0.174090),
    (20.0, 1.233965, 0.236845, 0.670169),
    (30.0, 1.577869, 0.363387, 0.954454),
]
HALF_SPAN, EDGE = 100.0, 5.0  # distance of the supports from the load; their radius

END_MOMENT_TURNS = (0.25, 0.5, 1.0, 1.5, 2.0)  # of an end moment, in half circles


def elastic(thickness: float = THICKNESS) -> SectionLaw:
    """Return a narrow beam that never yields."""
    return beam_profile(1.0, UNREACHED_YIELD_STRAIN, thickness)


def cantilevers(
    alphas: Iterable[float], elements: int
) -> Iterator[tuple[strip_fixture.StripFixture, tuple[float, float, float, float]]]:
    """Push the tip of a clamped strip across, to every ``alpha = P L^2/EI`` in turn.

    Gives the strip and what ``CANTILEVER_NAMES`` names.
    """
    law = elastic()
    strip = strip_fixture.StripFixture(law, LENGTH, elements, THICKNESS)
    strip.clamp()
    c, load = strip.chain, 0.0
    for alpha in alphas:
        for step in np.linspace(load, alpha, 2 + int(alpha - load))[1:]:
            strip.push(elements, strip_fixture.Y, step * law.bending / LENGTH**2)
            strip.settle()
        load = alpha
        moment = 1.5 * c.moment[0] - 0.5 * c.moment[1]  # at the wall, of two elements
        yield (
            strip,
            (
                float(c.y[-1]) / LENGTH,
                1.0 - float(c.x[-1]) / LENGTH,
                float(c.theta[-1]),
                float(moment) / law.bending * LENGTH,
            ),
        )


def cantilever_tolerance(published: float) -> float:
    """128 elements err by 3e-5 at most; six decimals leave half of the last."""
    return 1.0e-4 + 0.5e-6 / published


def rolled_up(
    turn: float, elements: int = 200
) -> tuple[strip_fixture.StripFixture, float]:
    """Bend a strip to ``turn`` half circles by an end moment; it, and how far it errs.

    The second value is the distance of its tip from that of the arc, over L.
    """
    law = elastic()
    strip = strip_fixture.StripFixture(law, LENGTH, elements, THICKNESS)
    strip.clamp()
    phi = turn * math.pi
    for share in np.linspace(0.0, 1.0, 21)[1:]:
        strip.push(elements, strip_fixture.THETA, share * phi * law.bending / LENGTH)
        strip.settle()
    c = strip.chain
    x, y = math.sin(phi) / phi, (1.0 - math.cos(phi)) / phi
    return strip, math.hypot(c.x[-1] / LENGTH - x, c.y[-1] / LENGTH - y)


def closed_three_point(angle: float) -> tuple[float, float, float]:
    """P a^2/EI, delta/a and kappa_mid a at a slope (rad) over the supports.

    Closed form of references.md 1.3, by Gauss's rule; ``psi = u^2`` takes the root
    singularity away.
    """
    nodes, weights = np.polynomial.legendre.leggauss(40)
    top = math.sqrt(angle)
    u = 0.5 * top * (nodes + 1.0)

    def part(side: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> float:
        value = 2.0 * side(angle - u * u) / np.sqrt(np.sinc(u * u / np.pi))
        return 0.5 * top * float(weights @ value)

    along, across = part(np.cos), part(np.sin)
    return (
        math.cos(angle) * along**2,
        across / along,
        math.sqrt(math.sin(angle)) * along,
    )


class PressedStrip(NamedTuple):
    """States of a strip pressed between knife edges, in the words of the closed form.

    slope (rad); load P a^2/EI, sag delta/a, curvature kappa_mid a, for the half span
    ``a`` of the points of contact; load by the fixed half span; vertical balance
    (N/mm); angle between a support's push and the strip's normal (rad)
    """

    slope: NDArray[np.float64]
    load: NDArray[np.float64]
    sag: NDArray[np.float64]
    curvature: NDArray[np.float64]
    raw_load: NDArray[np.float64]
    balance: NDArray[np.float64]
    askew: NDArray[np.float64]


def pressed_between_knife_edges(steps: int = 75) -> PressedStrip:
    """Press a strip down by a roll to 0.75 of its half span.

    Rolls of small radius stand for knife edges. The reaction is normal to the strip and
    goes through the roll's axis, so the closed form holds for the distance of the
    points of contact, which moves in by ``EDGE sin(slope)``.
    """
    thickness, n = 0.2, 1040
    law = elastic(thickness)
    strip = strip_fixture.StripFixture(
        law, 2.6 * HALF_SPAN, n, thickness, rigidity=1.0e6
    )
    chain, middle = strip.chain, n // 2
    chain.x[:] -= 0.5 * strip.length
    stiff = 1.0e3 * law.bending / HALF_SPAN**3 / strip.beam.length
    rolls = np.zeros((3, ROLL_COLUMNS))
    rolls[:, AXIS_X] = 0.0, -HALF_SPAN, HALF_SPAN
    rolls[:, AXIS_Y] = EDGE, -EDGE, -EDGE
    rolls[:, REACH] = EDGE
    out = np.zeros((3, ROLL_RESULTS))
    rows = []
    for sag in np.linspace(0.0, 0.75 * HALF_SPAN, steps + 1)[1:]:
        rolls[0, TRAVEL_Y] = EDGE - sag - rolls[0, AXIS_Y]
        strip.settle_between(rolls, stiff, middle, -1.0)
        roll_forces(strip.beam, chain, 0, n, stiff, rolls, out)
        load, half = -out[0, FORCE_Y], out[2, PRESSURE_MOMENT_X] / out[2, PRESSURE]
        slope = float(np.interp(half, chain.x, chain.theta))
        # straight line of curvature beside the patch, drawn on to the middle
        near, far = chain.curvature[middle + 4], chain.curvature[middle + 5]
        rows.append(
            (
                slope,
                load * half**2 / law.bending,
                (out[2, PRESSURE_MOMENT_Y] / out[2, PRESSURE] - chain.y[middle]) / half,
                (near + 4.5 * (near - far)) * half,
                load * HALF_SPAN**2 / law.bending,
                out[1, FORCE_Y] + out[2, FORCE_Y] - load,
                math.atan2(-out[2, FORCE_X], out[2, FORCE_Y]) - slope,
            )
        )
    return PressedStrip(*np.transpose(rows))


def limit_point() -> tuple[float, float]:
    """Slope (deg) and P a^2/EI at the largest load of the closed form."""
    angles = np.linspace(30.0, 45.0, 1501)
    loads = [closed_three_point(math.radians(a))[0] for a in angles]
    top = int(np.argmax(loads))
    return float(angles[top]), loads[top]


def checks() -> Iterator[Check]:
    """Check cantilever, end moment and knife edges."""
    yield from _cantilever()
    yield _end_moment()
    yield from _knife_edges()


def _cantilever() -> Iterator[Check]:
    source = "Mattiasson, Int. J. Numer. Meth. Engng 17 (1981), table 1"
    states = cantilevers((row[0] for row in CANTILEVER), 128)
    found = [values for _, values in states]
    for i, name in enumerate(CANTILEVER_NAMES):
        yield worst(
            [
                Check(
                    what=f"{name} at P L^2/EI = {row[0]:g}",
                    source=source,
                    published=row[i + 1],
                    computed=values[i],
                    tolerance=cantilever_tolerance(row[i + 1]),
                    reason="128 elements err by 3e-5; six decimals are printed",
                )
                for row, values in zip(CANTILEVER, found, strict=True)
            ],
            "cantilever, tip load across",
        )


def _end_moment() -> Check:
    return worst(
        [
            Check(
                what=f"distance of the tip from the arc's, over L, at {180 * turn:g} "
                "deg",
                source="exact, any text",
                published=0.0,
                computed=rolled_up(turn)[1],
                tolerance=(turn * math.pi) ** 2 / 20.0 / 200**2,
                reason="200 chords in place of arcs: phi^2 / 24 n^2",
                relative=False,
            )
            for turn in END_MOMENT_TURNS
        ],
        "end moment rolls a strip up",
    )


def _knife_edges() -> Iterator[Check]:
    source = "closed form of the elastica, derived (references.md 1.3)"
    reason = "the edges are rolls that touch over 1 % of the half span: 1e-4"
    pressed = pressed_between_knife_edges()
    named = zip(("P a^2/EI", "delta/a", "kappa a"), pressed[1:4], strict=True)
    for i, (name, column) in enumerate(named, start=1):
        yield worst_of(
            "three-point bend on knife edges",
            (
                (
                    f"{name} at {row[0]:g} deg",
                    row[i],
                    float(np.interp(math.radians(row[0]), pressed[0], column)),
                )
                for row in KNIFE_EDGES
            ),
            source=source,
            tolerance=1.0e-3,
            reason=reason,
        )
    yield Check(
        what="a support pushes normal to the strip, worst of 75 states",
        source="no friction: statics",
        published=0.0,
        computed=float(np.max(np.abs(pressed.askew))),
        unit="rad",
        tolerance=1.0e-3,
        reason="points of contact 0.03 mm apart on a roll of 5 mm: a sixth of that",
        relative=False,
    )
    _, height = limit_point()
    top = int(np.argmax(pressed.load))
    yield Check(
        what="largest P a^2/EI on knife edges, passed by displacement",
        source=source,
        published=height,
        computed=float(pressed.load[top]),
        tolerance=1.0e-3,
        reason=reason,
    )
    yield Check(
        what="slope over the support at that load",
        source=source,
        published=30.0,
        upper=45.0,
        computed=math.degrees(pressed.slope[top]),
        unit="deg",
        reason="a flat maximum: its place is known to a step of the sag",
    )

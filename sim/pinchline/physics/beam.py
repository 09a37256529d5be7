"""The sheet as a planar beam with finite rotations.

Geometrically exact (E. Reissner, J. Appl. Math. Phys. 23 (1972) 795-804; J. C. Simo,
Comput. Meth. Appl. Mech. Eng. 49 (1985) 55-70): node unknowns ``x, y, theta``; two-node
elements with one integration point, which do not lock. With ``d`` the vector between
the nodes and ``theta`` their mean rotation,

    stretch  e = ( d.x cos + d.y sin) / L - 1
    shear    g = (-d.x sin + d.y cos) / L
    bend     k = (theta2 - theta1) / L

Positive curvature curls the sheet up, round the upper roll.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from pinchline.physics._jit import kernel

if TYPE_CHECKING:
    from pinchline.physics._jit import Array


class Beam(NamedTuple):
    """Constants of the sheet, per mm of width.

    axial, shear (N/mm), bending (N mm): elastic stiffness; length: of an element (mm);
    half: half thickness (mm); first_yield: moment (N mm/mm); weight: per area of the
    sheet, 0 where it does not count (N/mm2); bulge: how far both faces stand off the
    mid-line, over the curvature (mm2); own: share of an element's own curvature in
    that, its two neighbours have the rest; law: code of the section law; layers:
    (7, rows).
    """

    axial: float
    shear: float
    bending: float
    length: float
    half: float
    first_yield: float
    weight: float
    bulge: float
    own: float
    law: int
    layers: Array


class Chain(NamedTuple):
    """State of all nodes and elements; the kernels write into these arrays.

    Nodes (n + 1): x, y (mm), theta (rad). Elements (n): axial, shear force (N/mm);
    curvature (1/mm) and moment (N mm/mm) of the last accepted step; the range
    ``low..high`` of curvature that stays elastic (1/mm); history (n, 5, rows) and the
    curvature ``anchor`` at which it stands: elastic steps leave it where it is.
    """

    x: Array
    y: Array
    theta: Array
    axial: Array
    shear: Array
    curvature: Array
    moment: Array
    low: Array
    high: Array
    anchor: Array
    history: Array


@kernel
def strains(
    x: Array, y: Array, theta: Array, e: int, length: float
) -> tuple[float, float, float, float, float]:
    """Stretch, shear, bend (1/mm), and cosine and sine of the mean rotation."""
    mean = 0.5 * (theta[e] + theta[e + 1])
    c = math.cos(mean)
    s = math.sin(mean)
    dx = x[e + 1] - x[e]
    dy = y[e + 1] - y[e]
    stretch = (c * dx + s * dy) / length - 1.0
    shear = (c * dy - s * dx) / length
    return stretch, shear, (theta[e + 1] - theta[e]) / length, c, s


@kernel
def add_forces(
    right: Array,
    base: int,
    c: float,
    s: float,
    stretch: float,
    shear: float,
    n: float,
    q: float,
    m: float,
    length: float,
) -> None:
    """Add the element's internal forces to ``right[base:base + 6]``."""
    fx = n * c - q * s
    fy = n * s + q * c
    turn = 0.5 * length * (n * shear - q * (1.0 + stretch))
    right[base] -= fx
    right[base + 1] -= fy
    right[base + 2] += turn - m
    right[base + 3] += fx
    right[base + 4] += fy
    right[base + 5] += turn + m


@kernel
def add_stiffness(
    band: Array,
    base: int,
    c: float,
    s: float,
    stretch: float,
    shear: float,
    n: float,
    q: float,
    tangent: float,
    beam: Beam,
) -> None:
    """Add the element's tangent to the band.

    ``n`` and ``q`` enter the geometric part only and may be independent of the strains:
    carrying them as unknowns of the iteration keeps it quadratic in large steps
    (D. Magisano, L. Leonetti, G. Garcea, Int. J. Numer. Meth. Engng 109 (2017)
    1237-1262; from memory).
    """
    length = beam.length
    ea = beam.axial / length
    ga = beam.shear / length
    ei = tangent / length
    kxx = ea * c * c + ga * s * s
    kyy = ea * s * s + ga * c * c
    kxy = (ea - ga) * c * s
    along = 0.5 * length * shear
    across = -0.5 * length * (1.0 + stretch)
    kxt = ea * c * along - ga * s * across + 0.5 * (-n * s - q * c)
    kyt = ea * s * along + ga * c * across + 0.5 * (n * c - q * s)
    ktt = ea * along * along + ga * across * across
    ktt -= 0.25 * length * (n * (1.0 + stretch) + q * shear)
    # node 1 with itself
    band[base, 0] += kxx
    band[base, 1] += kxy
    band[base, 2] -= kxt
    band[base + 1, 0] += kyy
    band[base + 1, 1] -= kyt
    band[base + 2, 0] += ktt + ei
    # node 2 with node 1
    band[base, 3] -= kxx
    band[base, 4] -= kxy
    band[base, 5] -= kxt
    band[base + 1, 2] -= kxy
    band[base + 1, 3] -= kyy
    band[base + 1, 4] -= kyt
    band[base + 2, 1] += kxt
    band[base + 2, 2] += kyt
    band[base + 2, 3] += ktt - ei
    # node 2 with itself
    band[base + 3, 0] += kxx
    band[base + 3, 1] += kxy
    band[base + 3, 2] += kxt
    band[base + 4, 0] += kyy
    band[base + 4, 1] += kyt
    band[base + 5, 0] += ktt + ei


@kernel
def lay_out(
    x: Array,
    y: Array,
    theta: Array,
    curvature: Array,
    length: float,
    start: int,
    stop: int,
) -> None:
    """Place the free nodes from ``start`` to ``stop`` by their curvature alone.

    Exact for a piece without moment: node ``start`` stays, the others follow it,
    upward or downward in number.
    """
    if stop > start:
        for e in range(start, stop):
            theta[e + 1] = theta[e] + curvature[e] * length
            mean = 0.5 * (theta[e] + theta[e + 1])
            x[e + 1] = x[e] + length * math.cos(mean)
            y[e + 1] = y[e] + length * math.sin(mean)
    else:
        for e in range(start - 1, stop - 1, -1):
            theta[e] = theta[e + 1] - curvature[e] * length
            mean = 0.5 * (theta[e] + theta[e + 1])
            x[e] = x[e + 1] - length * math.cos(mean)
            y[e] = y[e + 1] - length * math.sin(mean)

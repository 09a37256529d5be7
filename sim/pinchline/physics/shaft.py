"""A roll as a shaft on two bearings, bent by the sheet along its length.

A straight round shaft of constant section lies on two simple supports, each on a
spring, and is loaded across its axis by line forces that are even over strips. It is
a Timoshenko beam: bending, shear and the give of the bearings add up. With ``x`` and
``y`` measured from mid-span and ``h`` half the span, a unit force (1 N) at ``y``
deflects the shaft at ``x`` by

    bending   [|x-y|^3/12 + h^3/6 + hxy/6 - h(x^2+y^2)/4 + (x^3 y + x y^3)/12h] / EI
    shear     [(h^2 - xy)/2h - |x-y|/2] / kGA
    bearings  (1 + xy/h^2) / 2c           c: stiffness of one bearing, N/mm

Bending is the textbook ``P b z (L^2 - b^2 - z^2) / 6 E I L`` of a force at distance
``b`` from the far support, written symmetric in the place and the force. Shear is the
moment over ``kGA``, since the ends turn freely. Every term is averaged over strips in
closed form. Out of it: shoulders, journals, the flattening under the contact, and any
moment that a bearing holds.

Places and strips are in mm from the left bearing, within 0 and the span; a strip
starts before it stops. Nothing is checked here: the model refuses bad geometry.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

    Means = tuple[Array, Array, Array]


class Shaft(NamedTuple):
    """A roll between its bearings; ``0 <= bore < diameter``, all else above 0."""

    span: float  # between the bearings, mm
    diameter: float  # outer, mm
    bore: float  # mm; 0 where solid
    youngs_modulus: float  # MPa
    poisson_ratio: float
    bearing_stiffness: float  # of each bearing, N/mm; may be inf


def shear_coefficient(bore_share: float, poisson_ratio: float) -> float:
    """Share ``k`` of the section that carries shear, ``k G A`` (Timoshenko).

    ``bore_share`` is bore over diameter, 0 where solid: there ``6(1+nu)/(7+6nu)``.
    Source: G. R. Cowper, J. Appl. Mech. 33 (1966) 335-340, from memory; a test derives
    it again from the flexure of the section.
    """
    square = bore_share**2
    ring = (1.0 + square) ** 2
    whole = (7.0 + 6.0 * poisson_ratio) * ring
    bored = (20.0 + 12.0 * poisson_ratio) * square
    return 6.0 * (1.0 + poisson_ratio) * ring / (whole + bored)


def influence(shaft: Shaft, z: Array, start: Array, stop: Array) -> Array:
    """Deflection (mm) at places for 1 N/mm over each strip, exact.

    ``z (m)`` places, ``start, stop (n)`` strips, all mm from the left bearing. Returns
    ``(m, n)``, mm per N/mm, positive the way the force pushes; the deflection under
    line forces ``q (n)`` is ``influence @ q``. Rounding grows as span over strip width.
    Source: see the module.
    """
    x = (z - 0.5 * shaft.span)[:, None]
    width = stop - start
    far = z[:, None] - start
    near = z[:, None] - stop

    def apart(power: int) -> Array:
        """Mean of ``|x - y|^power`` over the strip, by its antiderivative in y."""
        rise: Array = far * np.abs(far) ** power - near * np.abs(near) ** power
        return rise / ((power + 1) * width)

    places = (x, x**2, x**3)
    strip_means = _means(shaft, start, stop)
    return width * _deflection(shaft, places, strip_means, apart(1), apart(3))


def mean_influence(shaft: Shaft, start: Array, stop: Array) -> Array:
    """Deflection (mm) averaged over strip i for 1 N/mm over strip j, exact.

    ``start, stop (n)`` in mm from the left bearing; strips may overlap. Returns
    ``(n, n)``, mm per N/mm; weighted by the widths of its rows it is symmetric
    (Maxwell-Betti). Rounding grows as the square of span over strip width.
    Source: see the module.
    """
    width = stop - start
    area = width[:, None] * width

    def apart(power: int) -> Array:
        """Mean of ``|x - y|^power`` over both strips, by its second antiderivative."""

        def rise(i: Array, j: Array) -> Array:
            return np.abs(i[:, None] - j) ** (power + 2)

        rises = rise(stop, start) - rise(stop, stop)
        rises -= rise(start, start) - rise(start, stop)
        return rises / ((power + 1) * (power + 2) * area)

    one, two, three = _means(shaft, start, stop)
    places = (one[:, None], two[:, None], three[:, None])
    return width * _deflection(shaft, places, (one, two, three), apart(1), apart(3))


@lru_cache(maxsize=64)
def mean_compliance(shaft: Shaft, width: float, off_centre: float) -> float:
    """Deflection averaged over the sheet for 1 N/mm over its width (mm per N/mm).

    ``width`` of the sheet and ``off_centre``, the distance of its middle from mid-span
    toward the right bearing (mm); the sheet lies between the bearings. The reciprocal
    is the roll's stiffness in N/mm per mm of width. Source: see the module.
    """
    start, stop = strips(width, off_centre, shaft.span, 1)
    return float(mean_influence(shaft, start, stop)[0, 0])


def middle_compliance(shaft: Shaft, width: float, off_centre: float) -> float:
    """Deflection at the sheet's middle for 1 N/mm over its width (mm per N/mm).

    Arguments as in ``mean_compliance``. Source: see the module.
    """
    start, stop = strips(width, off_centre, shaft.span, 1)
    return float(influence(shaft, 0.5 * (start + stop), start, stop)[0, 0])


def bearing_loads(
    shaft: Shaft, start: Array, stop: Array, line_force: Array
) -> tuple[float, float]:
    """Force (N) that the left and the right bearing carry, of strips' line forces.

    ``start, stop (n)`` in mm from the left bearing, ``line_force (n)`` in N/mm. Source:
    equilibrium; free ends take no moment.
    """
    force = line_force * (stop - start)
    right = float(np.sum(force * (0.5 * (start + stop) / shaft.span)))
    return float(np.sum(force)) - right, right


def strips(
    width: float, off_centre: float, span: float, count: int
) -> tuple[Array, Array]:
    """Cut the sheet into ``count`` strips of one width: starts and stops ``(count)``.

    ``width`` and ``off_centre`` as in ``mean_compliance``; mm from the left bearing.
    """
    middle = 0.5 * span + off_centre
    edges = middle + np.linspace(-0.5, 0.5, count + 1) * width
    return edges[:-1], edges[1:]


def _means(shaft: Shaft, start: Array, stop: Array) -> Means:
    """Means of y, y^2 and y^3 over strips, y in mm from mid-span."""
    middle = 0.5 * (start + stop) - 0.5 * shaft.span
    spread = (stop - start) ** 2 / 12.0
    return middle, middle**2 + spread, middle**3 + 3.0 * middle * spread


def _deflection(
    shaft: Shaft, place: Means, load: Means, apart: Array, apart_cubed: Array
) -> Array:
    """Deflection (mm) for 1 N, by the formula of the module.

    Takes the means of the powers of ``x`` over the place and of ``y`` over the load,
    and of ``|x - y|`` and its cube over both.
    """
    half = 0.5 * shaft.span
    bore_share = shaft.bore / shaft.diameter
    area = 0.25 * math.pi * (shaft.diameter**2 - shaft.bore**2)
    second_moment = math.pi / 64.0 * (shaft.diameter**4 - shaft.bore**4)
    shear_modulus = 0.5 * shaft.youngs_modulus / (1.0 + shaft.poisson_ratio)
    carrying = shear_coefficient(bore_share, shaft.poisson_ratio) * area
    x, x2, x3 = place
    y, y2, y3 = load
    bending = (
        apart_cubed / 12.0
        + half**3 / 6.0
        + half * x * y / 6.0
        - half * (x2 + y2) / 4.0
        + (x3 * y + x * y3) / (12.0 * half)
    )
    moment = (half**2 - x * y) / (2.0 * half) - 0.5 * apart
    sinking = 0.5 * (1.0 + x * y / half**2)
    return (
        bending / (shaft.youngs_modulus * second_moment)
        + moment / (shear_modulus * carrying)
        + sinking / shaft.bearing_stiffness
    )

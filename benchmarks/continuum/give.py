"""What a patch of pressure does to a strip: the evidence for `[model] contact`.

    PYTHONPATH=sim python benchmarks/continuum/give.py

A plane-strain strip on two far supports bears the pressure of Hertz on one face, over a
patch of half-width ``a``. Two things are read, each the foundation that does the same:

- give: how much nearer the face comes to the mid-line than in pure bending, which
  thickens its hollow half. The stiffness is that of equal energy, the pressure squared
  over pressure times give.
- clip: how much less the far face is stretched under the load than by a point load on a
  beam. The beam on a foundation has a parabola of pressure of half-width ``w``, which
  takes ``3 F w / 16`` off the moment; for the same force and roll, Hertz on one side
  and the foundation on the other, its stiffness is ``3 pi a^2 t / (8 w^3)`` E'/t.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from mesh import Mesh, sheet_block, stations
from plane import Metal, Solid, add_elements, gradients
from scipy.linalg import solveh_banded

if TYPE_CHECKING:
    from mesh import Array

MODULUS, POISSON = 70000.0, 0.33  # MPa, -; an aluminium
HALF = 10.0  # thicknesses from the load to a support: far, by Saint-Venant
FORCE = 1.0e-3  # N/mm: so small that nothing turns
HELD = 1.0e9  # N/mm per mm: a support


def strip(half_width: float, rows: int) -> tuple[float, float]:
    """Stiffness by give and by clip, times E'/t, for a patch on a strip with t = 1."""
    mesh = Mesh()
    columns = stations(-HALF, HALF, (-2.0, 2.0), 1.0 / rows, 0.25)
    block = sheet_block(mesh, columns, 1.0, rows)
    places, elements = np.array(mesh.nodes), np.array(mesh.elements) - 1
    slopes, weights = gradients(places, elements)
    n = elements.shape[0]
    solid = Solid(
        places, elements, slopes, weights, np.zeros((n, 4, 4)), np.zeros((n, 4))
    )
    metal = Metal(
        MODULUS / (3.0 * (1.0 - 2.0 * POISSON)),
        MODULUS / (2.0 * (1.0 + POISSON)),
        1.0e9,
        0.0,
    )
    size = 2 * places.shape[0]
    width = 2 * int(np.max(np.ptp(elements, axis=1))) + 2
    band, force = np.zeros((width, size)), np.zeros(size)
    new = (solid.plastic.copy(), solid.slip.copy())
    u = np.zeros(size)
    add_elements(solid, metal, u, *new, force, band, True)  # noqa: FBT003 - a kernel
    top, bottom, middle = block[:, -1] - 1, block[:, 0] - 1, block[:, rows] - 1
    for node in (middle[0], middle[-1]):
        band[0, 2 * node + 1] += HELD
    band[0, 2 * middle[middle.size // 2]] += HELD
    share = pressure_shares(places[top, 0], half_width)
    right = np.zeros(size)
    right[2 * top + 1] = -FORCE * share
    u = np.asarray(solveh_banded(band, right, lower=True))
    modulus = MODULUS / (1.0 - POISSON**2)
    x = places[top, 0]
    arms = HALF - np.abs(x[:, None] - x[None, :]) @ share
    thickened = POISSON / (1.0 - POISSON) * 0.5 * FORCE * arms * 12.0 / modulus / 8.0
    give = u[2 * middle + 1] - u[2 * top + 1] + thickened
    # of Hertz: (2 F / pi a)^2 times 4 a / 3
    squared = 16.0 * FORCE**2 / (3.0 * math.pi**2 * half_width)
    by_give = squared / float(FORCE * share @ give) / modulus
    at = 2 * int(np.argmin(np.abs(columns)))
    ends = slice(at - 2, at + 3)
    stretch = float(np.polyfit(places[bottom[ends], 0], u[2 * bottom[ends]], 1)[0])
    moment = modulus * stretch / 6.0
    w = (0.5 * FORCE * HALF - moment) * 16.0 / (3.0 * FORCE)
    return by_give, 3.0 * math.pi * half_width**2 / (8.0 * w**3)


def pressure_shares(x: Array, half_width: float) -> Array:
    """Shares of the nodes of a face in the pressure of Hertz over a patch about 0."""
    gauss, weight = np.polynomial.legendre.leggauss(40)
    shares = np.zeros(x.size)
    angle = 0.5 * math.pi * gauss  # x = a sin(angle): the ellipse becomes smooth
    for point, w in zip(
        half_width * np.sin(angle), np.cos(angle) ** 2 * weight, strict=True
    ):
        first = 2 * min(
            int(np.searchsorted(x[::2], point, side="right")) - 1, (x.size - 3) // 2
        )
        xi = 2.0 * (point - x[first]) / (x[first + 2] - x[first]) - 1.0
        shares[first : first + 3] += w * np.array(
            [0.5 * xi * (xi - 1.0), 1.0 - xi * xi, 0.5 * xi * (xi + 1.0)]
        )
    return np.asarray(shares / shares.sum())


def main() -> None:
    """Print both stiffnesses over the width of the patch, at two finenesses."""
    print("patch 2a/t   give, E'/t        clip, E'/t       (8, 16 rows)")
    for a in (0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.75, 1.0):
        (g8, c8), (g16, c16) = strip(a, 8), strip(a, 16)
        print(f"{2 * a:8.2f}   {g8:7.3f} {g16:7.3f}   {c8:7.3f} {c16:7.3f}")


if __name__ == "__main__":
    main()

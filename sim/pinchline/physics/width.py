"""Constrained fraction of the width: bending of wide sheet and narrow strip.

A bent strip curls the other way across its width (anticlastic). A wide one cannot, but
for its edges, and bends in plane strain. The parameter is ``w^2 / (R t)`` (G. F. C.
Searle, Experimental Elasticity, 1908). Between the limits, the elastic strip of D. G.
Ashwell (J. R. Aero. Soc. 54 (1950) 708-715) tells the share of the way: its deflection
``v`` across the width solves ``D v'''' + E t v / R^2 = 0`` with ``v'' = -nu / R`` and
``v''' = 0`` at the free edges, and ``M = D (b / R - R int v''^2 dy)``.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

NARROW, WIDE = 1.0, 100.0  # Searle numbers below, above which one limit holds
_POINTS = 64
_GONE = 20.0  # decay lengths inward from an edge after which its curl is nothing


def searle_number(width: float, radius: float, thickness: float) -> float:
    """Return ``w^2 / (R t)`` of a strip (mm) bent to a radius (mm)."""
    return width * width / (radius * thickness)


def plane_strain_share(searle: float, poisson: float) -> float:
    """Share of the way from uniaxial bending (0) to plane strain (1), elastic strip.

    ``1 - mean(f^2)``, where ``f = -v'' R / nu`` is 1 at the edges and falls off inward:
    ``f'''' + 4 b^4 f = 0`` with ``4 b^4 = 12 (1 - nu^2) / (R t)^2``.
    """
    # half the width in units of 1/b
    half = 0.5 * (3.0 * (1.0 - poisson * poisson)) ** 0.25 * float(np.sqrt(searle))
    if half < 1.0e-3:
        return 0.0
    nodes, weights = _rule()
    reach = min(half, _GONE)
    curl = _edge_curl(0.5 * reach * (nodes + 1.0), half)
    return float(1.0 - 0.5 * reach * np.sum(weights * curl * curl) / half)


@cache
def _rule() -> tuple[Array, Array]:
    """Nodes and weights of Gauss and Legendre on -1..1: 10 ms to compute."""
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    return nodes, weights


def _edge_curl(z: Array, half: float) -> Array:
    """``f`` at distances ``z`` from an edge, in 1/b, of a strip of ``half`` width.

    Two decaying waves from either edge, ``A cos + B sin`` each, so nothing overflows.
    """
    across = 2.0 * half
    near, far = np.exp(-z), np.exp(z - across)
    even = near * np.cos(z) + far * np.cos(across - z)
    odd = near * np.sin(z) + far * np.sin(across - z)
    end = np.exp(-across)
    c, s = np.cos(across), np.sin(across)
    edge = np.array(
        [
            [1.0 + end * c, end * s],  # f = 1
            [-1.0 + end * (c + s), 1.0 + end * (s - c)],  # f' = 0
        ]
    )
    a, b = np.linalg.solve(edge, np.array([1.0, 0.0]))
    curl: Array = a * even + b * odd
    return curl

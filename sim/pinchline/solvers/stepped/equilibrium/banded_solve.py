"""Direct solution of the banded symmetric systems of a chain of nodes.

Each node holds three unknowns and meets its neighbours only, so the half-bandwidth is
five. Storage is by column, lower triangle: ``band[i, d] = K[i + d, i]``. The
factorisation ``K = L D L^T`` needs no pivoting for the definite matrices of a stable
equilibrium; a pivot that is not positive is counted and tells an unstable one
(G. H. Golub and C. F. Van Loan, Matrix Computations, section 4.3).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

WIDTH = 6


@kernel
def factor(band: Array, size: int) -> int:
    """Factor ``band[:size]`` in place into ``L`` and ``D``; count bad pivots.

    ``band`` has (at least) ``size + 5`` rows; the rows past ``size`` are scratch.
    """
    bad = 0
    for i in range(size):
        pivot = band[i, 0]
        if not pivot > 0.0:
            bad += 1
            if pivot == 0.0:
                pivot = 1.0e-300
        k1 = band[i, 1]
        k2 = band[i, 2]
        k3 = band[i, 3]
        k4 = band[i, 4]
        k5 = band[i, 5]
        inverse = 1.0 / pivot
        l1 = k1 * inverse
        l2 = k2 * inverse
        l3 = k3 * inverse
        l4 = k4 * inverse
        l5 = k5 * inverse
        band[i + 1, 0] -= l1 * k1
        band[i + 1, 1] -= l1 * k2
        band[i + 1, 2] -= l1 * k3
        band[i + 1, 3] -= l1 * k4
        band[i + 1, 4] -= l1 * k5
        band[i + 2, 0] -= l2 * k2
        band[i + 2, 1] -= l2 * k3
        band[i + 2, 2] -= l2 * k4
        band[i + 2, 3] -= l2 * k5
        band[i + 3, 0] -= l3 * k3
        band[i + 3, 1] -= l3 * k4
        band[i + 3, 2] -= l3 * k5
        band[i + 4, 0] -= l4 * k4
        band[i + 4, 1] -= l4 * k5
        band[i + 5, 0] -= l5 * k5
        band[i, 0] = inverse
        band[i, 1] = l1
        band[i, 2] = l2
        band[i, 3] = l3
        band[i, 4] = l4
        band[i, 5] = l5
    return bad


@kernel
def solve(band: Array, size: int, right: Array) -> None:
    """Solve with the factors for every column of ``right (size + 5, columns)``.

    Overwrites ``right[:size]``; its last five rows are scratch and must be zero.
    """
    columns = right.shape[1]
    for i in range(size):
        l1, l2, l3 = band[i, 1], band[i, 2], band[i, 3]
        l4, l5 = band[i, 4], band[i, 5]
        for c in range(columns):
            v = right[i, c]
            right[i + 1, c] -= l1 * v
            right[i + 2, c] -= l2 * v
            right[i + 3, c] -= l3 * v
            right[i + 4, c] -= l4 * v
            right[i + 5, c] -= l5 * v
    right[size : size + 5] = 0.0
    for i in range(size - 1, -1, -1):
        inverse, l1, l2 = band[i, 0], band[i, 1], band[i, 2]
        l3, l4, l5 = band[i, 3], band[i, 4], band[i, 5]
        for c in range(columns):
            v = right[i, c] * inverse
            v -= l5 * right[i + 5, c] + l4 * right[i + 4, c]
            v -= l3 * right[i + 3, c] + l2 * right[i + 2, c]
            right[i, c] = v - l1 * right[i + 1, c]

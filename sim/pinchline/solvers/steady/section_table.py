"""The section's law in a steady pass, tabulated once per sheet.

In a steady pass every point of the sheet is bent once, from its natural curvature to
its largest moment, and then let go: two curves, and they are the section's own law
(``section``) followed in that order. A table row holds, at a curvature of the virgin
law beyond the natural one,

    M, kappa, dkappa/dM, kappa left when M is taken off, its derivative by M

and between rows cubic Hermite polynomials in M. Below the first row all is elastic.
While a point unloads, curvature falls on a straight line from its peak to what is left.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.section import free_curvature, section_commit, section_moment

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

MOMENT, CURVATURE, SLOPE, LEFT, LEFT_SLOPE = range(5)
COLUMNS = 5


@kernel
def tabulate(
    law: int,
    layers: Array,
    virgin: Array,
    bending: float,
    first: float,
    last: float,
    history: Array,
    scratch: Array,
    table: Array,
) -> None:
    """Fill ``table (rows, 5)`` from curvature ``first`` (end of elastic) to ``last``.

    Rows are spaced by a constant ratio. ``bending``: elastic stiffness (N mm);
    ``history`` as ``virgin``, ``scratch (5, 64)``: working space.
    """
    rows = table.shape[0]
    ratio = (last / first) ** (1.0 / (rows - 1))
    history[:] = virgin
    before = 0.0
    kappa = first
    for i in range(rows):
        _, slope = section_moment(law, layers, history, kappa - before, scratch)
        m, _, low, _ = section_commit(law, layers, history, kappa - before, scratch)
        left = -m / bending
        if left < low:
            left = free_curvature(law, layers, history, left, bending, scratch)
        table[i, MOMENT] = m
        table[i, CURVATURE] = kappa
        table[i, SLOPE] = 1.0 / slope
        table[i, LEFT] = kappa + left
        before = kappa
        kappa *= ratio
    table[0, SLOPE] = 1.0 / bending
    for i in range(rows):
        low_row, high_row = max(i - 1, 0), min(i + 1, rows - 1)
        rise = table[high_row, LEFT] - table[low_row, LEFT]
        over = table[high_row, MOMENT] - table[low_row, MOMENT]
        table[i, LEFT_SLOPE] = rise / over
        taken = table[i, CURVATURE] - table[i, LEFT]
        if taken < 1.0000001 * table[i, MOMENT] / bending:
            table[i, LEFT_SLOPE] = table[i, SLOPE] - 1.0 / bending


@kernel
def _row(table: Array, moment: float) -> int:
    low, high = 0, table.shape[0] - 1
    while high - low > 1:
        middle = (low + high) // 2
        if table[middle, MOMENT] <= moment:
            low = middle
        else:
            high = middle
    return low


@kernel
def _interpolate(
    table: Array, row: int, moment: float, value: int
) -> tuple[float, float]:
    """Column ``value`` and its derivative at a moment, by the slopes beside it."""
    h = table[row + 1, MOMENT] - table[row, MOMENT]
    z = (moment - table[row, MOMENT]) / h
    f0, f1 = table[row, value], table[row + 1, value]
    g0, g1 = h * table[row, value + 1], h * table[row + 1, value + 1]
    if z > 1.0:  # beyond the table: straight on
        return f1 + g1 * (z - 1.0), g1 / h
    c2 = 3.0 * (f1 - f0) - 2.0 * g0 - g1
    c3 = 2.0 * (f0 - f1) + g0 + g1
    return f0 + z * (g0 + z * (c2 + z * c3)), (g0 + z * (2.0 * c2 + 3.0 * z * c3)) / h


@kernel
def virgin_curvature(
    table: Array, bending: float, moment: float
) -> tuple[float, float]:
    """Curvature (1/mm) over the natural one, and slope, of sheet never bent so far."""
    size = abs(moment)
    if size <= table[0, MOMENT]:
        return moment / bending, 1.0 / bending
    kappa, slope = _interpolate(table, _row(table, size), size, CURVATURE)
    return (kappa if moment > 0.0 else -kappa), slope


@kernel
def left_curvature(table: Array, moment: float) -> tuple[float, float]:
    """Curvature (1/mm) left of a largest moment, over the natural one, and slope."""
    if moment <= table[0, MOMENT]:
        return 0.0, 0.0
    return _interpolate(table, _row(table, moment), moment, LEFT)


@kernel
def left_curvatures(table: Array, moments: Array, out: Array) -> None:
    """Curvature (1/mm) left of each largest moment, over the natural one, into out."""
    for i in range(moments.shape[0]):
        out[i] = left_curvature(table, moments[i])[0]


@kernel
def curvature(
    table: Array, bending: float, moment: float, largest: float
) -> tuple[float, float, float]:
    """Curvature (1/mm) over the natural one, its slopes by moment and by ``largest``.

    ``largest``: moment that this point of the sheet has borne so far (N mm/mm).
    """
    if moment >= largest or largest <= table[0, MOMENT]:
        kappa, slope = virgin_curvature(table, bending, moment)
        return kappa, slope, 0.0
    peak, peak_slope = virgin_curvature(table, bending, largest)
    left, left_slope = left_curvature(table, largest)
    give = (peak - left) / largest
    change = (peak_slope - left_slope - give) / largest
    return left + give * moment, give, left_slope + change * moment

"""Bordered solve: the unknowns outside the band, the drive and rolls that give.

The tangent of a window is bordered::

    [ K    b   C ] [ dq ]   [ -r   ]      b  gradient of the nip line
    [ b^T  0   0 ] [ mu ] = [ -gap ]      C  derivative of the residual by the gives
    [ C^T  0   D ] [ dd ]   [ -u   ]      D, u  tangent and unbalanced force of supports

``K`` is factored once and solved for ``-r``, ``b`` and ``C`` together; what is left is
a dense system as large as the border (G. H. Golub and C. F. Van Loan, Matrix
Computations, section 3.2: block elimination and the Schur complement).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pinchline.physics._jit import kernel
from pinchline.physics.support import STEP, TANGENT, UNBALANCED, gives

if TYPE_CHECKING:
    from pinchline.physics._jit import Array

STEP_COLUMN, DRIVE_COLUMN, FIRST_ROLL = 0, 1, 2  # columns of the right sides


@kernel
def solve_dense(a: Array, b: Array, size: int) -> None:
    """Solve ``a[:size, :size] x = b[:size]`` into ``b``; overwrites both."""
    for i in range(size):
        best = i
        for j in range(i + 1, size):
            if abs(a[j, i]) > abs(a[best, i]):
                best = j
        if best != i:
            for k in range(size):
                a[i, k], a[best, k] = a[best, k], a[i, k]
            b[i], b[best] = b[best], b[i]
        for j in range(i + 1, size):
            factor = a[j, i] / a[i, i]
            for k in range(i, size):
                a[j, k] -= factor * a[i, k]
            b[j] -= factor * b[i]
    for i in range(size - 1, -1, -1):
        for k in range(i + 1, size):
            b[i] -= a[i, k] * b[k]
        b[i] /= a[i, i]


@kernel
def solve_schur_complement(
    right: Array,
    cross: Array,
    gradient: Array,
    supports: Array,
    schur: Array,
    size: int,
    at: int,
    gap: float,
) -> float:
    """Solve the Schur complement of a step, its band solved for columns of ``right``.

    ``cross (unknowns, rolls)``: C, one column a giving roll, in the order of the table;
    ``gradient (6)``: b at the unknowns from ``at``, which is negative where nothing
    holds the sheet; ``schur (n, n + 1)``: scratch. Leaves dq in ``right[:, 0]`` and dd
    in the supports; returns mu (N/mm), the change of the drive.
    """
    rolls = cross.shape[1]
    held = 1 if at >= 0 else 0
    count = held + rolls
    if count == 0:
        return 0.0
    last = schur.shape[1] - 1
    known = schur[:, last]
    if held:
        known[0] = gap
        for k in range(6):
            known[0] += gradient[k] * right[at + k, STEP_COLUMN]
        for j in range(count):
            total = 0.0
            column = DRIVE_COLUMN + j
            for k in range(6):
                total += gradient[k] * right[at + k, column]
            schur[0, j] = total
            schur[j, 0] = total
    row = held
    for r in range(supports.shape[0]):
        if gives(supports[r]):
            c = row - held
            known[row] = supports[r, UNBALANCED]
            for j in range(rolls):
                schur[row, held + j] = 0.0
            schur[row, row] = -supports[r, TANGENT]
            for i in range(size):
                value = cross[i, c]
                if value != 0.0:
                    known[row] += value * right[i, STEP_COLUMN]
                    for j in range(rolls):
                        schur[row, held + j] += value * right[i, FIRST_ROLL + j]
            row += 1
    solve_dense(schur, known, count)
    for i in range(size):
        if held:
            right[i, STEP_COLUMN] -= known[0] * right[i, DRIVE_COLUMN]
        for j in range(rolls):
            right[i, STEP_COLUMN] -= known[held + j] * right[i, FIRST_ROLL + j]
    row = held
    for r in range(supports.shape[0]):
        if gives(supports[r]):
            supports[r, STEP] = known[row]
            row += 1
    return float(known[0]) if held else 0.0

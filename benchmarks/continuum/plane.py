"""Compiled kernels of the plane continuum: elements, metal, contact.

Eight-node quadrilaterals with four integration points. Total Lagrangian: Green strain
and second Piola-Kirchhoff stress, J2 flow additive in them (isotropic, linear), plane
strain, radial return. Green and logarithmic strain differ by 1.5 e^2, which is even
through the thickness and drops out of a moment.
Rolls are circles; what lies on them is sampled along the deformed faces.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinchline.physics._jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Numbers = NDArray[np.int64]

SAMPLES = 12  # of contact along a face
ROLL_RESULTS = 4  # force x, y; first moment of the force along x; total


class Metal(NamedTuple):
    """Bulk and shear modulus, yield strength, plastic modulus (MPa)."""

    bulk: float
    shear: float
    strength: float
    hard: float


class Solid(NamedTuple):
    """The sheet: places (nodes, 2), element nodes (n, 8), gradients and weights.

    gradients : (n, 4, 8, 2) of the shape functions at the integration points, 1/mm
    weights : (n, 4) areas, mm2
    plastic : (n, 4, 4) plastic strain xx, yy, zz, xy
    slip : (n, 4) equivalent plastic strain
    """

    places: Array
    elements: Numbers
    gradients: Array
    weights: Array
    plastic: Array
    slip: Array


def gradients(places: Array, elements: Numbers) -> tuple[Array, Array]:
    """Gradients (n, 4, 8, 2) and weights (n, 4) of all elements."""
    corner = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=float)
    g = 1.0 / math.sqrt(3.0)
    slopes = np.zeros((4, 8, 2))
    for q, (x, y) in enumerate(corner * g):
        for a, (cx, cy) in enumerate(corner):
            slopes[q, a, 0] = 0.25 * cx * (1 + cy * y) * (2 * cx * x + cy * y)
            slopes[q, a, 1] = 0.25 * cy * (1 + cx * x) * (2 * cy * y + cx * x)
        for a, cy in ((4, -1.0), (6, 1.0)):
            slopes[q, a] = -x * (1 + cy * y), 0.5 * cy * (1 - x * x)
        for a, cx in ((5, 1.0), (7, -1.0)):
            slopes[q, a] = 0.5 * cx * (1 - y * y), -y * (1 + cx * x)
    jacobian = np.einsum("eai,qaj->eqij", places[elements], slopes)
    inverse = np.linalg.inv(jacobian)
    return np.einsum("qaj,eqji->eqai", slopes, inverse), np.linalg.det(jacobian)


@kernel
def flow(
    metal: Metal, strain: Array, plastic: Array, slip: float, out: Array, tangent: Array
) -> float:
    """Radial return; ``out (8)``: stress xx, yy, xy, -, then the new plastic strain.

    ``strain (3)``: xx, yy, xy. Fills ``tangent (3, 3)`` (against engineering shear) and
    returns the new equivalent plastic strain.
    """
    xx = strain[0] - plastic[0]
    yy = strain[1] - plastic[1]
    zz = -plastic[2]
    xy = strain[2] - plastic[3]
    trace = xx + yy + zz
    two = 2.0 * metal.shear
    sx = two * (xx - trace / 3.0)
    sy = two * (yy - trace / 3.0)
    sz = two * (zz - trace / 3.0)
    sxy = two * xy
    size = math.sqrt(sx * sx + sy * sy + sz * sz + 2.0 * sxy * sxy)
    root = math.sqrt(2.0 / 3.0)
    over = size - root * (metal.strength + metal.hard * slip)
    for k in range(4):
        out[4 + k] = plastic[k]
    keep = 1.0
    turn = 0.0
    nx = ny = nz = nxy = 0.0
    if over > 0.0:
        amount = over / (two + 2.0 / 3.0 * metal.hard)
        nx, ny, nz, nxy = sx / size, sy / size, sz / size, sxy / size
        keep = 1.0 - two * amount / size
        turn = 1.0 / (1.0 + metal.hard / (3.0 * metal.shear)) - (1.0 - keep)
        out[4] += amount * nx
        out[5] += amount * ny
        out[6] += amount * nz
        out[7] += amount * nxy
        slip += root * amount
    out[0] = metal.bulk * trace + keep * sx
    out[1] = metal.bulk * trace + keep * sy
    out[2] = keep * sxy
    a = metal.bulk + two * keep * 2.0 / 3.0
    b = metal.bulk - two * keep / 3.0
    tangent[0, 0] = a - two * turn * nx * nx
    tangent[1, 1] = a - two * turn * ny * ny
    tangent[0, 1] = tangent[1, 0] = b - two * turn * nx * ny
    tangent[0, 2] = tangent[2, 0] = -two * turn * nx * nxy
    tangent[1, 2] = tangent[2, 1] = -two * turn * ny * nxy
    tangent[2, 2] = metal.shear * keep - two * turn * nxy * nxy
    return slip


@kernel
def add_elements(  # noqa: C901 - one compiled loop
    solid: Solid,
    metal: Metal,
    u: Array,
    new_plastic: Array,
    new_slip: Array,
    force: Array,
    band: Array,
    stiff: bool,  # noqa: FBT001 - kernels take no keywords
) -> None:
    """Add internal forces, and the tangent to the lower band where ``stiff``."""
    out = np.zeros(8)
    tangent = np.zeros((3, 3))
    strain = np.zeros(3)
    b = np.zeros((3, 16))
    cb = np.zeros((3, 16))
    local = np.zeros((16, 16))
    right = np.zeros(16)
    for e in range(solid.elements.shape[0]):
        local[:] = 0.0
        right[:] = 0.0
        for q in range(4):
            g = solid.gradients[e, q]
            fxx = fyy = 1.0
            fxy = fyx = 0.0
            for a in range(8):
                n = solid.elements[e, a]
                fxx += u[2 * n] * g[a, 0]
                fxy += u[2 * n] * g[a, 1]
                fyx += u[2 * n + 1] * g[a, 0]
                fyy += u[2 * n + 1] * g[a, 1]
            strain[0] = 0.5 * (fxx * fxx + fyx * fyx - 1.0)
            strain[1] = 0.5 * (fxy * fxy + fyy * fyy - 1.0)
            strain[2] = 0.5 * (fxx * fxy + fyx * fyy)
            new_slip[e, q] = flow(
                metal, strain, solid.plastic[e, q], solid.slip[e, q], out, tangent
            )
            for k in range(4):
                new_plastic[e, q, k] = out[4 + k]
            w = solid.weights[e, q]
            for a in range(8):
                b[0, 2 * a] = fxx * g[a, 0]
                b[0, 2 * a + 1] = fyx * g[a, 0]
                b[1, 2 * a] = fxy * g[a, 1]
                b[1, 2 * a + 1] = fyy * g[a, 1]
                b[2, 2 * a] = fxx * g[a, 1] + fxy * g[a, 0]
                b[2, 2 * a + 1] = fyx * g[a, 1] + fyy * g[a, 0]
            for i in range(16):
                right[i] += w * (b[0, i] * out[0] + b[1, i] * out[1] + b[2, i] * out[2])
            if not stiff:
                continue
            for k in range(3):
                for i in range(16):
                    cb[k, i] = w * (
                        tangent[k, 0] * b[0, i]
                        + tangent[k, 1] * b[1, i]
                        + tangent[k, 2] * b[2, i]
                    )
            for i in range(16):
                for j in range(i + 1):
                    local[i, j] += (
                        b[0, i] * cb[0, j] + b[1, i] * cb[1, j] + b[2, i] * cb[2, j]
                    )
            for a in range(8):
                px = w * (out[0] * g[a, 0] + out[2] * g[a, 1])
                py = w * (out[2] * g[a, 0] + out[1] * g[a, 1])
                for c in range(a + 1):
                    s = px * g[c, 0] + py * g[c, 1]
                    local[2 * a, 2 * c] += s
                    local[2 * a + 1, 2 * c + 1] += s
        for a in range(8):
            for k in range(2):
                i = 2 * solid.elements[e, a] + k
                force[i] += right[2 * a + k]
                if not stiff:
                    continue
                for j in range(2 * a + k + 1):
                    m = 2 * solid.elements[e, j // 2] + j % 2
                    if i >= m:
                        band[i - m, m] += local[2 * a + k, j]
                    else:
                        band[m - i, i] += local[2 * a + k, j]


@kernel
def add_roll(
    places: Array,
    faces: Numbers,
    u: Array,
    roll: Array,
    stiffness: float,
    force: Array,
    band: Array,
    stiff: bool,  # noqa: FBT001 - kernels take no keywords
    out: Array,
) -> None:
    """Add the push of one roll on the faces; ``roll (3)``: axis x, y, radius.

    ``faces (n, 3)``: first, middle, last node. Pressure is ``stiffness`` (MPa/mm) times
    the overlap. ``out (4)`` receives the force of the roll, see ``ROLL_RESULTS``.
    """
    shape = np.zeros(3)
    for f in range(faces.shape[0]):
        m = faces[f, 1]
        dx = places[m, 0] + u[2 * m] - roll[0]
        dy = places[m, 1] + u[2 * m + 1] - roll[1]
        length = math.hypot(
            places[faces[f, 2], 0] - places[faces[f, 0], 0],
            places[faces[f, 2], 1] - places[faces[f, 0], 1],
        )
        far = roll[2] + length
        if dx * dx + dy * dy > far * far:
            continue
        w = stiffness * length / SAMPLES
        for p in range(SAMPLES):
            xi = (2.0 * p + 1.0) / SAMPLES - 1.0
            shape[0] = 0.5 * xi * (xi - 1.0)
            shape[1] = 1.0 - xi * xi
            shape[2] = 0.5 * xi * (xi + 1.0)
            px = -roll[0]
            py = -roll[1]
            for a in range(3):
                n = faces[f, a]
                px += shape[a] * (places[n, 0] + u[2 * n])
                py += shape[a] * (places[n, 1] + u[2 * n + 1])
            distance = math.hypot(px, py)
            depth = roll[2] - distance
            if depth <= 0.0:
                continue
            nx, ny = px / distance, py / distance
            push = w * depth
            out[0] += push * nx
            out[1] += push * ny
            out[2] += push * (px + roll[0])
            out[3] += push
            soft = push / distance
            kxx = w * nx * nx - soft * ny * ny
            kyy = w * ny * ny - soft * nx * nx
            kxy = (w + soft) * nx * ny
            for a in range(3):
                i = 2 * faces[f, a]
                force[i] -= push * nx * shape[a]
                force[i + 1] -= push * ny * shape[a]
                if not stiff:
                    continue
                for c in range(3):
                    j = 2 * faces[f, c]
                    s = shape[a] * shape[c]
                    if i > j:
                        band[i - j, j] += s * kxx
                        band[i + 1 - j, j] += s * kxy
                        band[i - j - 1, j + 1] += s * kxy
                        band[i - j, j + 1] += s * kyy
                    elif i == j:
                        band[0, i] += s * kxx
                        band[1, i] += s * kxy
                        band[0, i + 1] += s * kyy

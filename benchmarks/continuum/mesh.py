"""Plane meshes of the sheet and the rolls, in eight-node quadrilaterals.

Nodes and elements are numbered from 1, as the solver wants them. The sheet lies level
in the nip, as the engine places it: x = 0 on the nip line, y = 0 on its mid-line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Numbers = NDArray[np.int64]

GROWTH = 1.25  # of the element length, from one column to the next, off the fine zone
FACET = math.radians(2.0)  # of a roll; its middle node lies on the circle as well
SHELL = 1.0  # mm: depth of the meshed ring of a roll
RING = ((0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1))


@dataclass
class Mesh:
    """Nodes ``(x, y)`` in mm and elements of eight node numbers."""

    nodes: list[tuple[float, float]] = field(default_factory=list)
    elements: list[tuple[int, ...]] = field(default_factory=list)

    def lattice(self, x: Array, y: Array) -> Numbers:
        """Add a block of elements; ``x``, ``y`` are ``(2 n + 1, 2 m + 1)``.

        Even rows and columns are corners, odd ones lie between them. Returns the node
        numbers, 0 in the middle of an element, where there is none.
        """
        numbers = np.zeros(x.shape, dtype=np.int64)
        for i, j in np.ndindex(x.shape):
            if i % 2 == 0 or j % 2 == 0:
                self.nodes.append((float(x[i, j]), float(y[i, j])))
                numbers[i, j] = len(self.nodes)
        for i in range(0, x.shape[0] - 1, 2):
            for j in range(0, x.shape[1] - 1, 2):
                self.elements.append(tuple(int(numbers[i + a, j + b]) for a, b in RING))
        return numbers

    def turn(self, angle: float) -> None:
        """Turn all nodes about the origin by an angle (rad)."""
        c, s = math.cos(angle), math.sin(angle)
        self.nodes = [(c * x - s * y, s * x + c * y) for x, y in self.nodes]


def halved(places: Array) -> Array:
    """Put a place in the middle between each two."""
    both = np.empty(2 * places.size - 1)
    both[::2] = places
    both[1::2] = 0.5 * (places[:-1] + places[1:])
    return both


def stations(
    low: float, high: float, fine: tuple[float, float], length: float, longest: float
) -> Array:
    """Places of the columns from ``low`` to ``high`` (mm).

    They stand ``length`` apart in the stretch ``fine`` and grow apart outside it, to
    ``longest`` at most.
    """
    count = max(1, round((fine[1] - fine[0]) / length))
    middle = np.linspace(*fine, count + 1)
    left = fine[0] - _growing(fine[0] - low, length, longest)[::-1]
    right = fine[1] + _growing(high - fine[1], length, longest)
    return np.concatenate((left, middle, right))


def _growing(span: float, length: float, longest: float) -> Array:
    """Distances of columns that grow apart over a span, without the first at 0."""
    steps: list[float] = []
    while sum(steps) < span:
        length = min(GROWTH * length, longest)
        steps.append(length)
    places = np.cumsum(steps)
    return places * (span / places[-1]) if steps else places


def sheet_block(mesh: Mesh, columns: Array, thickness: float, rows: int) -> Numbers:
    """Add the sheet; returns its node numbers ``(2 columns - 1, 2 rows + 1)``."""
    half = thickness / 2.0
    x, y = np.meshgrid(
        halved(columns), np.linspace(-half, half, 2 * rows + 1), indexing="ij"
    )
    return mesh.lattice(x, y)


def roll_block(
    mesh: Mesh, centre: tuple[float, float], radius: float, arc: tuple[float, float]
) -> Numbers:
    """Add the ring of a roll over an arc (rad); returns its node numbers.

    The face of the roll is the side from node 2 to node 3 of its elements.
    """
    facets = max(2, math.ceil((arc[1] - arc[0]) / FACET))
    r, angle = np.meshgrid(
        np.linspace(radius - SHELL, radius, 3),
        np.linspace(*arc, 2 * facets + 1),
        indexing="ij",
    )
    return mesh.lattice(centre[0] + r * np.cos(angle), centre[1] + r * np.sin(angle))

"""What the continuum's sections bear in a pass, beside the engine's section law.

    PYTHONPATH=sim python benchmarks/continuum/sections.py thick-reverse [--rows 8]

The moment of a section is that of its stress about the mid-line, its curvature that of
the straight line nearest to its strain (least squares over the height). Over the zone
of the case each section's own history of curvature goes through the engine's law: at
its peak the law's moment is set beside the continuum's, at the end what the law leaves
beside what the continuum leaves.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from plane import flow
from plane_sheet import PlaneSheet
from programme import Fineness, start_of

from pinchline.case.case import load_case
from pinchline.verify.section_fixtures import SectionFixture, layered

if TYPE_CHECKING:
    from mesh import Array

    from pinchline.case.case import Case

HERE = Path(__file__).parent


class Sections(PlaneSheet):
    """A continuum that keeps moment and curvature of its sections, step by step."""

    def __init__(self, case: Case, fineness: Fineness) -> None:
        """Find the sections: integration points of one x, from face to face."""
        super().__init__(case, fineness)
        solid = self.solid
        corners = solid.places[solid.elements[:, :4]]
        low, size = corners[:, 0], corners[:, 2] - corners[:, 0]
        inner = 0.5 / math.sqrt(3.0)
        signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        at = low[:, None] + (0.5 + inner * signs) * size[:, None]
        self.height = at[:, :, 1]
        self.part = np.repeat(0.5 * size[:, 1:], 4, axis=1)
        self.x, self.of = np.unique(np.round(at[:, :, 0], 7), return_inverse=True)
        self.states: list[tuple[Array, Array]] = []

    def accept(self, stage: int) -> None:
        """Keep moment and curvature of the sections too."""
        super().accept(stage)
        stress, strain = self._stretches()
        inertia = self.case.sheet.thickness**3 / 12.0
        self.states.append((self._moment(stress), self._moment(strain) / inertia))

    def _moment(self, values: Array) -> Array:
        """First moment over the height, of every section."""
        weights = -values * self.height * self.part
        return np.bincount(self.of.ravel(), weights.ravel(), self.x.size)

    def _stretches(self) -> tuple[Array, Array]:
        """Stress and strain along the sheet at the integration points, (n, 4)."""
        solid = self.solid
        moved = self.u.reshape(-1, 2)[solid.elements]
        slope = np.einsum("eai,eqaj->eqij", moved, solid.gradients) + np.eye(2)
        green = 0.5 * (np.einsum("eqki,eqkj->eqij", slope, slope) - np.eye(2))
        stress = np.zeros(green.shape[:2])
        out, tangent = np.zeros(8), np.zeros((3, 3))
        for e, q in np.ndindex(stress.shape):
            g = green[e, q]
            strain = np.array([g[0, 0], g[1, 1], g[0, 1]])
            plastic, slip = solid.plastic[e, q], solid.slip[e, q]
            flow(self.metal, strain, plastic, slip, out, tangent)
            stress[e, q] = out[0]
        return stress, green[:, :, 0, 0]


def compare(case: Case, rows: int) -> list[tuple[str, float]]:
    """Run a case; means over the sections of its zone."""
    body = Sections(case, Fineness.of(rows))
    body.run()
    moment, bend = (np.array(part) for part in zip(*body.states, strict=True))
    s = start_of(case) + body.x
    low, high = case.measure.zone_from, case.measure.zone_to
    assert low is not None
    assert high is not None
    found = []
    law = layered(case.sheet.material, case.sheet.thickness)
    for j in np.flatnonzero((s > low) & (s < high)):
        piece, top = SectionFixture(law), int(np.argmax(bend[:, j]))
        given = np.array([piece.bend_to(k) for k in bend[:, j]])
        left = bend[-1, j] - given[-1] / law.bending
        largest = float(moment[:, j].max())
        found.append(
            (bend[top, j], moment[top, j], given[top], largest, bend[-1, j], left)
        )
    peak, at_peak, law_there, largest, remains, law_left = np.mean(found, axis=0)
    return [
        ("largest curvature, 1/mm", peak),
        ("moment there, N mm/mm", at_peak),
        ("over the law's, %", 100.0 * (at_peak / law_there - 1.0)),
        ("largest moment, N mm/mm", largest),
        ("curvature left, 1/mm", remains),
        ("the law leaves, %", 100.0 * (law_left / remains - 1.0)),
    ]


def main() -> None:
    """Print one line per quantity."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("name")
    parser.add_argument("--rows", type=int, default=8)
    asked = parser.parse_args()
    case = load_case(HERE / "cases" / f"{asked.name}.toml")
    for what, value in compare(case, asked.rows):
        print(f"{what}: {value:.5g}")


if __name__ == "__main__":
    main()

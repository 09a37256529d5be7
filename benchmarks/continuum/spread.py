"""How a line load on one face spreads before it bends the section, elastic.

    python benchmarks/continuum/spread.py

Stress across the sheet, s_y, adds c int s_y y dy to a section's moment, with
c = nu/(1 - nu) in plane strain. Of a load P cos(q x) on one face of an endless strip,
balanced by shear far away, the Airy function is f(y) cos(q x) with the four hyperbolic
parts of the biharmonic equation (any text, from memory), s_y = -q^2 f. Prints that
moment over P t^2, and the mean square (over t^2) of the place at which it arises.
"""

from __future__ import annotations

import numpy as np

WAVES = (0.5, 1.0, 2.0, 4.0, 8.0)  # q t; shorter than 0.5 the four parts look alike
POINTS = 40


def moment(q: float) -> float:
    """Return -int s_y y dy under a unit load of wave number q, thickness 1."""

    def parts(y: float) -> tuple[list[float], list[float]]:
        c, s = np.cosh(q * y), np.sinh(q * y)
        values = [c, s, y * c, y * s]
        return values, [q * s, q * c, c + q * y * s, s + q * y * c]

    (top, top_slope), (low, low_slope) = parts(0.5), parts(-0.5)
    share = np.linalg.solve(
        np.array([top, low, top_slope, low_slope]), [q**-2, 0.0, 0.0, 0.0]
    )
    places, weights = np.polynomial.legendre.leggauss(POINTS)
    values = [y * (np.array(parts(y)[0]) @ share) for y in 0.5 * places]
    return float(0.5 * q**2 * weights @ values)


def main() -> None:
    """Print the table."""
    for q in WAVES:
        m = moment(q)
        print(f"q t {q}: moment {m:.5f}, spread {2.0 * (1.0 - 10.0 * m) / q**2:.5f}")
    print(f"limits: 1/10 and 1/210 = {1.0 / 210.0:.5f}")


if __name__ == "__main__":
    main()

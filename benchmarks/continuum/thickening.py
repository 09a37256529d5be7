"""What the thickening of bent sheet does in a nip of fixed opening, by estimate.

    PYTHONPATH=sim python benchmarks/continuum/thickening.py

Bent sheet is thicker on its hollow side and thinner on the other: without strain across
the width, by ``nu/(1 - nu)`` of the elastic part of the strain and by the whole of the
plastic part, which sums up to ``t^2/8`` of the curvature (derived). The beam has none
of it. Here each case runs once more with its clearance less by what the upper roll
finds at the loaded peak, less what the lower roll loses on sheet that has been bent.
"""

from __future__ import annotations

from compare import NAMES, continuum, engine, load, reference


def bulge(elastic: float, plastic: float, thickness: float, poisson: float) -> float:
    """Give of a half's thickness (mm) at parts of curvature (1/mm)."""
    return (poisson / (1.0 - poisson) * elastic + plastic) * thickness**2 / 8.0


def main() -> None:
    """Print engine minus continuum as it is, and with the nip narrower."""
    print("| case | narrower, mm | R | upper | R, narrower | upper, narrower |")
    print("| --- " * 6 + "|")
    for name in NAMES:
        case = load(name)
        if case.machine.nip.gives:
            continue
        t, nu = case.sheet.thickness, case.sheet.material.poisson_ratio
        solver, rows = reference(name)
        stored, plain = continuum(case, name, rows, solver), engine(case)
        left = 1.0 / plain.radius
        less = bulge(plain.peak - left, left, t, nu)
        if name.endswith(("-12", "-14", "-16", "-18", "reverse")):
            less -= bulge(0.0, left, t, nu)
        opening = case.machine.nip.clearance
        assert opening is not None
        closer = {"machine.nip.clearance": opening - less}
        narrow = engine(case.replace(closer))
        print(f"| {name} | {less:.4f} |", end="")
        for run in (plain, narrow):
            force = run.steady[0] / stored.steady[0] - 1.0
            print(f" {run.radius / stored.radius - 1.0:+.1%} | {force:+.1%} |", end="")
        print()


if __name__ == "__main__":
    main()

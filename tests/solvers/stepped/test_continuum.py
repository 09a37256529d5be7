"""The engine beside a plane-strain continuum with contact, from its stored tables.

Source: `benchmarks/continuum/`, solved in NGSolve and by our own plane elements, which
agree with CalculiX (last tests); `RESULTS.md` there holds mesh uncertainty and causes.
Rerun it with `PYTHONPATH=sim python benchmarks/continuum/run.py --library`.
"""

import importlib.util
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pinchline.solvers.stepped.events import warnings
from pinchline.solvers.stepped.state import new_state
from pinchline.verify.section_fixtures import SectionFixture, layered

FOLDER = Path(__file__).parents[3] / "benchmarks" / "continuum"


def _load_compare() -> Any:
    spec = importlib.util.spec_from_file_location(
        "continuum_compare", FOLDER / "compare.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


compare = _load_compare()

# Share by which the residual radius may differ, where it is not the 1 % asked for.
BULGING = {
    # the continuum itself moves by 2.3 % with its mesh: 0.2 % of moment does that
    "reverse-12": 0.015,
    # rolls that give turn 0.4 % of pinch force into as much of radius: 1.0 % off
    "give-thick-reverse": 0.015,
}
# Without bulging, as shipped: measured, RESULTS.md says why.
PLAIN = {
    "reverse-12": 0.03,
    "reverse-14": 0.018,
    "reverse-16": 0.015,
    "thick-forward": 0.025,
    "give-thick-reverse": 0.05,
}


def _both(name: str, *, bulging: bool) -> tuple[Any, Any]:
    """Stored and computed, of NGSolve where there is a table of it."""
    case = compare.load(name, bulging=bulging)
    solver, rows = compare.reference(name)
    return compare.continuum(case, name, rows, solver), compare.engine(case)


@pytest.mark.verification
@pytest.mark.parametrize("name", compare.NAMES)
def test_the_engine_bends_as_the_continuum_does(name: str) -> None:
    """Residual radius, rolls and flats of a pass with bulging; nothing in it is fitted.

    Against the finest stored run: NGSolve's where there is one, a general-purpose
    library with other elements than ours.
    """
    stored, ours = _both(name, bulging=True)
    radius = ours.radius / stored.radius - 1.0
    steady = ours.steady / stored.steady - 1.0
    raised = ours.static / stored.static - 1.0
    flats = np.subtract(ours.flats, stored.flats)
    print(
        f"{name}: radius {stored.radius:.2f} and {ours.radius:.2f} mm, {radius:+.2%}; "
        f"rolls {steady.round(4)}, raised {raised.round(4)}; flats {flats.round(2)} mm"
    )
    assert abs(radius) < BULGING.get(name, 0.01)
    assert np.abs(steady).max() < 0.02  # asked for of the rear roll
    assert np.abs(raised).max() < 0.02
    assert np.abs(flats).max() < 1.0  # mm, asked for


@pytest.mark.verification
@pytest.mark.parametrize("name", compare.NAMES)
def test_the_plain_contact_is_as_near_as_it_is_said_to_be(name: str) -> None:
    """The shipped law, whose one constant stands for bulging too."""
    stored, ours = _both(name, bulging=False)
    radius = ours.radius / stored.radius - 1.0
    flats = np.subtract(ours.flats, stored.flats)
    print(f"{name}: radius {radius:+.2%}, flats {flats.round(2)} mm")
    assert abs(radius) < PLAIN.get(name, 0.01)
    assert abs(ours.steady[2] / stored.steady[2] - 1.0) < 0.02
    assert abs(ours.static[2] / stored.static[2] - 1.0) < 0.02
    assert np.abs(flats).max() < 1.0  # mm


@pytest.mark.parametrize(
    ("name", "bulging", "told"),
    [
        ("thick-reverse", False, True),
        ("thick-reverse", True, False),
        ("reverse-16", False, False),
    ],
)
def test_a_run_of_thick_sheet_says_what_it_leaves_out(
    name: str, bulging: bool, told: bool
) -> None:
    """Those 2 to 4 % are told with the result, not in README alone."""
    state = new_state(compare.load(name, bulging=bulging))
    assert ("thick sheet" in [finding.kind for finding in warnings(state)]) == told


BOTH = [
    name
    for name in compare.NAMES
    if compare.finest(name, compare.LIBRARY) and compare.finest(name)
]


# 6 rows against 8 of the thinnest sheet: 1.7 % of the pinch rolls
COARSE = {"thin-reverse": 0.02}


@pytest.mark.verification
@pytest.mark.parametrize("name", BOTH)
def test_two_continua_agree(name: str) -> None:
    """NGSolve and our own elements, each on its finest stored mesh."""
    case = compare.load(name)
    theirs, ours = (
        compare.continuum(case, name, compare.finest(name, solver), solver)
        for solver in (compare.LIBRARY, compare.OWN)
    )
    print(f"{name}: radius {theirs.radius:.2f} and {ours.radius:.2f} mm")
    # 0.7 to 1.1 % is what our own mesh moves reverse passes by; forward ones 0.1 %
    assert ours.radius == pytest.approx(theirs.radius, rel=0.015)
    assert ours.steady == pytest.approx(theirs.steady, rel=COARSE.get(name, 0.015))
    assert ours.flats == pytest.approx(theirs.flats, abs=0.3)


@pytest.mark.verification
def test_the_continuum_agrees_with_calculix() -> None:
    """Raise and 11 mm of a reverse pass, our plane solver and CalculiX 2.20.

    Same mesh and contact stiffness; CalculiX has faceted rolls, touches at nodes only,
    and holds the sheet at the node nearest the nip line.
    """
    name = "reverse-16-soft"
    ours, theirs = (
        np.loadtxt(FOLDER / "results" / f"{name}{mark}-rolls.csv", delimiter=",")
        for mark in ("", "-calculix")
    )
    for move in (compare.RAISE, compare.FEED):
        a = ours[ours[:, 0] == move][-1, compare.UPPER : compare.REAR + 1]
        b = theirs[theirs[:, 0] == move][-1, compare.UPPER : compare.REAR + 1]
        print(f"move {move}: forces {a} and {b} N/mm, {(a / b - 1.0).round(4)}")
        # pinch rolls; the force hangs on the arm, and the arm on where nodes touch
        assert np.abs(a / b - 1.0)[:2].max() < 0.01
        # rear roll: it touches one node or two in CalculiX, which swings by 0.6 %
        assert abs(a[2] / b[2] - 1.0) < 0.01
    ours, theirs = (
        np.loadtxt(FOLDER / "results" / f"{name}{mark}-sheet.csv", delimiter=",")
        for mark in ("", "-calculix")
    )
    # the stretch that has left the nip and is free: what remains is residual
    curl = [
        1.0 / compare.mean_over(table[:, 0], table[:, 1], 27.0, 31.0)
        for table in (ours, theirs)
    ]
    print(f"residual radius, {curl[0]:.3f} and {curl[1]:.3f} mm")
    # a node's contact against a face's: 0.4 % locally, less in the mean
    assert curl[0] == pytest.approx(curl[1], rel=0.005)


@pytest.mark.verification
@pytest.mark.parametrize(
    ("name", "stretch", "mean", "largest"),
    [
        ("short-reverse", (16.0, 25.0), 0.005, 0.006),
        ("short-reverse-18", (16.0, 25.0), 0.005, 0.006),
        # the bend still settles there: 1 % of it is a node's part of a millimetre
        ("short-forward", (16.5, 25.0), 0.012, 0.006),
        ("short-thick-forward", (24.0, 40.0), 0.005, 0.006),
        # 1.1 t of arm on four rows of elements: ours moves by 8 % with its mesh there
        ("short-thick-reverse", (46.0, 54.0), 0.03, 0.022),
    ],
)
def test_whole_short_jobs_agree_with_calculix(
    name: str, stretch: tuple[float, float], mean: float, largest: float
) -> None:
    """Raise, feed and release in both solvers; what remains in the sheet."""
    tables = [
        np.loadtxt(FOLDER / "results" / f"{name}-soft{mark}-sheet.csv", delimiter=",")
        for mark in ("", "-calculix")
    ]
    left, peak = (
        [compare.mean_over(t[:, 0], t[:, column], *stretch) for t in tables]
        for column in (1, 2)
    )
    print(f"{name}: left {left} 1/mm, largest under the rolls {peak}")
    assert left[0] == pytest.approx(left[1], rel=mean)
    assert peak[0] == pytest.approx(peak[1], rel=largest)


@pytest.mark.verification
def test_a_forward_feed_at_more_lift_agrees_with_calculix() -> None:
    """26 mm lift: CalculiX fed it to the end but did not find its release."""
    ours, theirs = (
        np.loadtxt(
            FOLDER / "results" / f"short-forward-26-soft{mark}-sheet.csv", delimiter=","
        )
        for mark in ("", "-calculix")
    )
    peaks = [compare.mean_over(t[:, 0], t[:, 2], 18.5, 24.0) for t in (ours, theirs)]
    print(f"largest curvature under the rolls {peaks} 1/mm")
    assert peaks[0] == pytest.approx(peaks[1], rel=0.006)


@pytest.mark.verification
def test_the_section_bends_and_springs_back_as_calculix_says() -> None:
    """A thick strip under nothing but a moment, bent and let go three times.

    CalculiX 2.20, plane strain with 16 rows (`benchmarks/continuum/bend.py`): what the
    section law leaves out is the strip's curvature, thinning and mesh. To R/t of 18.
    """
    sheet = compare.load("thick-reverse").sheet
    law = SectionFixture(layered(sheet.material, sheet.thickness))
    table = np.loadtxt(FOLDER / "results" / "pure-bending.csv", delimiter=",")
    for (bent, moment), (free, _) in zip(table[::2], table[1::2], strict=True):
        ours = law.bend_to(bent)
        left = law.bend_to(free)
        print(f"{bent:.5f} 1/mm: {moment:.3f} and {ours:.3f} N, let go {left:.3f} N")
        # the square of t/R that bent sheet adds is 0.03 to 0.2 %; the mesh has the rest
        assert ours == pytest.approx(moment, rel=1.0e-3)
        # no moment where the strip is free: what is missing is stiffness times bend
        assert abs(left) < 2.0e-3 * ours

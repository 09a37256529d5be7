"""A nip that gives: limits, balances, and a second way to the same equilibrium.

No published table holds this system; each expectation is derived here.
"""

from functools import cache

import numpy as np
import pytest
from rig import report
from scipy.optimize import brentq

from pinchline.case.case import ModelOptions, parse_case
from pinchline.physics import support
from pinchline.physics.contact import add_contact, roll_forces
from pinchline.solvers.layers import bulge, bulge_share
from pinchline.solvers.rolls import LOWER, REAR, UPPER
from pinchline.solvers.stepped.equilibrium.banded_solve import WIDTH
from pinchline.solvers.stepped.equilibrium.window import accept, settle
from pinchline.solvers.stepped.placing import place
from pinchline.solvers.stepped.program import run_case
from pinchline.solvers.stepped.state import new_state
from pinchline.solvers.stepped.stepping import feed, move_rear

pytestmark = pytest.mark.verification

SHEET = """
[sheet]
material = "5052-H32"
direction = "LT"
thickness = "1.0 mm"
length = "240 mm"
width = "400 mm"
[machine.rolls]
upper_radius = "30 mm"
lower_radius = "30 mm"
rear_radius = "30 mm"
[machine.rear]
distance = "64 mm"
slide_angle = "80 deg"
travel = "45 mm"
screw_pitch = "1.5 mm"
"""
GIVING = [
    'clamp = "0 N/mm"\nstiffness = "60 N/mm/mm"',
    'clamp = "0 N/mm"\nstiffness = "60 N/mm/mm"\nplay = "0.2 mm"',
    'clamp = "4 N/mm"\nstiffness = "60 N/mm/mm"',
    'clamp = "4 N/mm"\nstiffness = "30 N/mm/mm"\nplay = "0.1 mm"',
    'clamp = "20 N/mm"\nstiffness = "400 N/mm/mm"',
    'clamp = "4 N/mm"\n[machine.rolls.shaft]\nspan = "520 mm"',
    """clamp = "0 N/mm"
[machine.rolls.shaft]
span = "460 mm"
bearing_stiffness = "20 kN/mm"
""",
]
FORWARD = (200.0, 22.0, "rear", 110.0)
REVERSE = (130.0, 14.0, "operator", 45.0)


def text(nip: str, at: float, lift: float, toward: str, by: float) -> str:
    return (
        f"{SHEET}[machine.nip]\n{nip}\n"
        f'[[move]]\nkind = "place"\nat = "{at} mm"\n'
        f'[[move]]\nkind = "lift"\nto = "{lift} mm"\n'
        f'[[move]]\nkind = "feed"\ntoward = "{toward}"\nby = "{by} mm"\n'
    )


@cache
def run(nip: str, job):
    return run_case(parse_case(text(nip, *job), path="nip.toml"))


def plateau(result) -> float:
    start, stop = result.summary["zone_from"], result.summary["zone_to"]
    s = result.sheet["s"]
    zone = (s > start + 5.0) & (s < stop - 5.0)
    return float(1.0 / np.mean(result.sheet["curvature_residual"][zone]))


def test_the_foundation_stores_what_presses_the_sheet_in() -> None:
    """Slope of its energy by the depth of each roll: the roll's force, derived.

    On 1 mm gripped with 0.05 mm less than its thickness; the sheet is held where it is.
    """
    case = parse_case(text('clearance = "0 mm"', *FORWARD), path="nip.toml")
    state = new_state(case)
    place(state, 200.0, 1)
    state.rolls[LOWER, 1] += 0.05

    def pressed() -> float:
        return roll_forces(
            state.beam,
            state.chain,
            0,
            state.elements,
            state.sheet.foundation,
            state.rolls,
            state.forces,
        )

    pressed()
    force = state.forces[LOWER, 1]  # on the sheet, along y
    step, ends = 1.0e-4, []
    for side in (1.0, -1.0):
        state.rolls[LOWER, 1] += side * step
        ends.append(pressed())
        state.rolls[LOWER, 1] -= side * step
    slope = (ends[0] - ends[1]) / (2.0 * step)
    report("slope of the contact's energy by depth, N/mm", slope, force)
    # 0.1 %: points of contact come and go as the patch grows, eight an element
    assert slope == pytest.approx(force, rel=1.0e-3)


def test_the_bulge_is_what_pressure_takes_off_a_section() -> None:
    """Elastic plane strain: stress across the sheet by integration (derived, THEORY 5).

    ``s_y = -(1/2 + 3y/2 - 2y^3)`` under a unit pressure, unit thickness: no traction on
    the far face, the pressure on the near one, no shear on either.
    """
    y = np.linspace(-0.5, 0.5, 20001)
    across = -(0.5 + 1.5 * y - 2.0 * y**3)
    assert across[[0, -1]] == pytest.approx([0.0, -1.0])
    nu, t = 0.33, 2.0
    metal = parse_case(text('clearance = "0 mm"', *FORWARD), path="nip.toml")
    material = metal.sheet.material.model_copy(update={"poisson_ratio": nu})
    for held, c in ((1.0, nu / (1.0 - nu)), (0.0, nu)):
        moment = -c * np.trapezoid(across * y, y) * t**2
        assert bulge(material, t, held) == pytest.approx(moment, rel=1e-7)
    half = y >= 0.0
    squeezed = -np.trapezoid(across[half], y[half])  # of the near half, times p t/E'
    assert ModelOptions(bulging=True).foundation == pytest.approx(
        1 / squeezed, rel=1e-7
    )


@pytest.mark.parametrize("length", [0.09, 0.125, 0.2, 0.25])
def test_elements_spread_the_bulge_by_one_mean_square(length: float) -> None:
    """``t^2/210`` (``benchmarks/continuum/spread.py``), a quarter of t has 9 % more."""
    own = bulge_share(length)
    spread = length**2 / 12.0 + (1.0 - own) * length**2
    expected = max(1.0 / 210.0, length**2 / 12.0)
    assert spread == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("element", [0.25, 0.1], ids=["own bulge", "neighbours' too"])
def test_the_pressure_works_on_the_bulge(element: float) -> None:
    """Slope of the contact's energy by every unknown: the residual, derived.

    Bent 1 mm sheet, its faces in the rolls by 0.05 mm; so a turn of a node that changes
    no place of the mid-line, but its bend, is resisted by pressure.
    """
    case = parse_case(
        text('clearance = "0 mm"', *FORWARD)
        + f'[model]\nbulging = true\nelement = "{element} mm"\n',
        path="nip.toml",
    )
    state = new_state(case)
    place(state, 200.0, 1)
    chain, beam = state.chain, state.beam
    middle = state.driven()[0]
    chain.theta[:] += 0.01 * (np.arange(state.elements + 1) - middle) * beam.length
    state.rolls[LOWER, 1] += 0.05
    around = range(middle - 6, middle + 7)

    def energy() -> float:
        """Energy of the foundation; fills the forces of the state."""
        return roll_forces(
            beam,
            chain,
            0,
            state.elements,
            state.sheet.foundation,
            state.rolls,
            state.forces,
        )

    residual = np.zeros(3 * (state.elements + 1) + 5)
    for roll, row in zip(state.rolls, state.supports, strict=True):
        for e in range(around[0] - 3, around[-1] + 3):
            add_contact(
                beam,
                chain,
                e,
                3 * e,
                state.sheet.foundation,
                roll,
                0.0,
                np.zeros((residual.size, WIDTH)),
                residual,
                row,
                np.zeros((residual.size, 0)),
                -1,
                True,
            )
    step, slopes = 1.0e-6, []
    for node in around:
        both = []
        for side in (1.0, -1.0):
            chain.theta[node] += side * step
            both.append(energy())
            chain.theta[node] -= side * step
        slopes.append((both[0] - both[1]) / (2.0 * step))
    ours = residual[3 * around[0] + 2 : 3 * around[-1] + 3 : 3]
    print(f"largest couple {np.abs(slopes).max():.4f} N, off {ours - slopes}")
    assert np.abs(slopes).max() > 0.1  # N: the pressure does work on turns
    assert ours == pytest.approx(
        slopes, abs=1.0e-5
    )  # rounding of an energy over a step


@pytest.mark.parametrize("job", [FORWARD, REVERSE], ids=["forward", "reverse"])
def test_a_support_without_end_of_stiffness_is_a_rigid_nip(job):
    """Within 0.1 %, and the difference falls as one over the stiffness."""
    rigid = run('clearance = "0 mm"', job)
    differences = []
    for stiffness in (1.0e5, 1.0e6, 1.0e7):
        giving = run(f'clamp = "0 N/mm"\nstiffness = "{stiffness} N/mm/mm"', job)
        what = f"radius at {stiffness:.0e} N/mm/mm"
        differences.append(report(what, plateau(giving), plateau(rigid)))
    assert abs(differences[-1]) < 1.0e-3
    for name in ("force_upper_max", "force_lower_max", "force_rear_max"):
        computed, expected = giving.summary[name], rigid.summary[name]
        assert abs(report(name, computed, expected)) < 1.0e-3
    # a tenth from decade to decade; 30 % for the steps' own scatter
    assert differences[1] / differences[0] == pytest.approx(0.1, rel=0.3)


@pytest.mark.parametrize("nip", GIVING)
@pytest.mark.parametrize("job", [FORWARD, REVERSE], ids=["forward", "reverse"])
def test_rolls_and_drive_balance_and_supports_bear_them(nip, job):
    """At every step: forces sum to zero to 1e-6 of the largest; support = roll force.

    Only where the rolls bear anything to speak of: 0.5 N/mm.
    """
    at, lift, toward, by = job
    state = new_state(parse_case(text(nip, *job), path="nip.toml"))
    worst = np.zeros(2)

    def look() -> bool:
        forces = state.forces[:, :2]
        largest = float(np.max(np.hypot(forces[:, 0], forces[:, 1])))
        if largest < 0.5:
            return False
        together = forces.sum(axis=0) - [state.drive, 0.0]
        missing = 0.0
        for roll in (UPPER, LOWER, REAR):
            row = state.supports[roll]
            if row[support.STIFFNESS] > 0.0:
                away = forces[roll] @ row[[support.GIVE_X, support.GIVE_Y]]
                missing = max(missing, abs(support.support_force(row)[0] + away))
        worst[:] = np.maximum(
            worst, [np.max(np.abs(together)) / largest, missing / largest]
        )
        return False

    place(state, at, 1)
    look()
    move_rear(state, lift, 2, look)
    feed(state, 1 if toward == "rear" else -1, by, lift, 3, look)
    report("rolls and drive, over the largest", worst[0], 0.0)
    report("supports, over the largest", worst[1], 0.0)
    assert worst[0] < 1.0e-6
    assert worst[1] < 1.0e-6


@pytest.mark.parametrize("nip", GIVING)
@pytest.mark.parametrize("job", [FORWARD, REVERSE], ids=["forward", "reverse"])
def test_the_energy_account_closes_with_clamp_play_and_supports(nip, job):
    """To 0.5 % of the work, the design's demand at the shipped resolution."""
    result = run(nip, job)
    assert not result.stopped
    error = report("energy account", result.summary["energy_error_max"], 0.0)
    assert error < 5.0e-3


@pytest.mark.parametrize("stiffness", [30.0, 300.0])
def test_an_outer_search_on_a_rigid_roll_finds_the_same_equilibrium(stiffness):
    """The lower roll held rigidly where a root finder puts it, by force = k d.

    Raising to 4 mm keeps the sheet elastic, so the path does not matter.
    """
    lift = 4.0
    nip = f'clamp = "0 N/mm"\nstiffness = "{stiffness} N/mm/mm"'
    job = (120.0, 1.0, "rear", 1.0)
    giving = new_state(parse_case(text(nip, *job), path="nip.toml"))
    place(giving, 120.0, 1)
    move_rear(giving, lift, 2, lambda: False)

    def missing(give: float) -> float:
        rigid = new_state(parse_case(text('clearance = "0 mm"', *job), path="nip.toml"))
        place(rigid, 120.0, 1)
        move_rear(rigid, lift, 2, lambda: False)
        rigid.axes[LOWER, 1] -= give
        rigid.stand_rolls()
        assert settle(rigid)
        accept(rigid, 2)
        return float(stiffness * give - rigid.forces[LOWER, 1])

    found = brentq(missing, 0.0, 0.5, xtol=1e-12)
    give = giving.supports[LOWER, support.GIVE]
    assert giving.energy_plastic == 0.0
    # both meet a residual of 1e-7 of first yield; the nip multiplies it
    assert abs(report("give of the lower roll, mm", give, found)) < 1.0e-5


def test_the_nip_opens_the_arm_grows_and_the_forces_fall():
    """Softer supports: less force, wider nip, wider radius; a balance of moments.

    The pinch forces hold the rear roll's moment through the arm between them, so force
    times arm stays while the nip opens.
    """
    rigid = run('clearance = "0 mm"', FORWARD)
    results = [
        run(f'clamp = "4 N/mm"\nstiffness = "{k} N/mm/mm"', FORWARD)
        for k in (1000, 200, 60)
    ]
    lower = [r.summary["force_lower_max"] for r in [rigid, *results]]
    opened = [r.summary["nip_opening_max"] for r in [rigid, *results]]
    radii = [plateau(r) for r in [rigid, *results]]
    assert np.all(np.diff(lower) < 0.0)
    assert np.all(np.diff(opened) > 0.0)
    assert np.all(np.diff(radii) > 0.0)


def test_a_clamp_grips_the_flat_sheet_with_its_force():
    """By the balance at touch: every roll of the nip bears the clamp.

    To 1e-4: the patch is integrated at points 0.03 mm apart.
    """
    state = new_state(parse_case(text(GIVING[2], *FORWARD), path="nip.toml"))
    place(state, 120.0, 1)
    for roll in (UPPER, LOWER):
        assert abs(report("clamp, N/mm", state.forces[roll, 4], 4.0)) < 1.0e-4
    assert state.supports[LOWER, support.GIVE] == pytest.approx(0.0, abs=1e-4)

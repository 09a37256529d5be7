"""A test rig for strips of sheet: section laws by hand, dead loads, held ends, rolls.

The package has no dead loads: its sheet is moved by rolls. The rig adds them, and held
nodes, to the package's own forces and tangent, and leaves everything else to it.
"""

import sys

import numpy as np

from pinchline.model.case import ModelOptions
from pinchline.model.material import Material
from pinchline.physics import section
from pinchline.physics.banded import factor, solve
from pinchline.physics.beam import Beam, Chain, strains
from pinchline.physics.newton import (
    CONVERGED,
    Limits,
    Tooling,
    Work,
    _assemble,
    _move,
    _prepare,
    commit,
    equilibrate,
    let_go,
)
from pinchline.process.layers import SectionLaw, section_law

X, Y, THETA = range(3)
NO_ROLLS = Tooling(np.zeros((0, 6)), 0.0, -1, 0.0, 0.0)
MOST_TURN = 0.3  # rad in one iteration


def report(what, computed, published):
    """Print both values; return the difference, relative where that has a meaning."""
    difference = computed - published
    if abs(published) > 1.0e-12:
        difference /= abs(published)
    sys.stdout.write(
        f"{what}: computed {computed:.7g}, published {published:.7g}, "
        f"difference {difference:.2e}\n"
    )
    return abs(difference)


# ---------------------------------------------------------------- laws of the section


def metal(
    *, modulus, poisson, strength, hardening=0.0, clad=None, name="metal of the test"
):
    """A material with a tangent modulus of ``hardening`` times Young's."""
    return Material(
        name=name,
        title=name,
        direction="L",
        youngs_modulus=modulus,
        poisson_ratio=poisson,
        yield_strength=strength,
        tangent_modulus=hardening * modulus,
        clad=clad,
    )


def layered(material, thickness, *, kinematic=0.0, layers=20):
    """The package's layers with plane-strain von Mises plasticity."""
    options = ModelOptions(section="layered", hardening=kinematic, layers=layers)
    return section_law(material, thickness, options)


def closed_form(material, thickness, *, kinematic=0.0):
    """The package's closed form for a wide sheet."""
    options = ModelOptions(section="closed-form", hardening=kinematic)
    return section_law(material, thickness, options)


def _rectangle(code, layers, virgin, modulus, flow, thickness):
    first = flow * thickness**2 / 6.0
    bending = modulus * thickness**3 / 12.0
    start = first / bending
    return SectionLaw(code, layers, virgin, -start, start, bending, first, start)


def beam_profile(modulus, flow, thickness, *, hardening=0.0, kinematic=0.0):
    """Closed form of a narrow rectangular beam: no plane-strain factor anywhere."""
    layers = np.zeros((section.LAYER, 1))
    layers[section.Y] = thickness / 2.0
    layers[section.CA] = modulus
    _harden(layers, modulus, flow, hardening, kinematic)
    virgin = np.zeros((section.HISTORY, section.BREAKPOINTS))
    virgin[0, 1] = thickness / 2.0
    virgin[3, :2] = flow
    virgin[4, 0] = 2.0
    return _rectangle(section.PROFILE, layers, virgin, modulus, flow, thickness)


def beam_layers(modulus, flow, thickness, *, hardening=0.0, kinematic=0.0, layers=20):
    """One-dimensional layers, at the heights and weights of the package."""
    anything = metal(modulus=modulus, poisson=0.3, strength=flow)
    table = layered(anything, thickness, layers=layers).layers.copy()
    table[section.CA] = modulus
    table[section.CB] = 0.0
    _harden(table, modulus, flow, hardening, kinematic)
    virgin = np.zeros((section.HISTORY, layers))
    return _rectangle(section.UNIAXIAL, table, virgin, modulus, flow, thickness)


def _harden(layers, modulus, flow, hardening, kinematic):
    plastic = modulus * hardening / (1.0 - hardening)
    layers[section.YIELD] = flow
    layers[section.HI] = (1.0 - kinematic) * plastic
    layers[section.HK] = kinematic * plastic


class Piece:
    """One mm of sheet that is bent step by step, without the beam around it."""

    def __init__(self, law, *, sub=1):
        self.law = law
        self.sub = sub
        self.history = law.virgin.copy()
        self.scratch = np.zeros((section.HISTORY, section.SCRATCH))
        self.curvature = self.moment = 0.0
        self.plastic_work = self.work = 0.0
        self.low, self.high = law.low, law.high

    def bend_to(self, curvature):
        """Go to a curvature in ``sub`` steps; returns the moment."""
        change = (curvature - self.curvature) / self.sub
        for _ in range(self.sub):
            before = self.moment
            self.moment, spent, self.low, self.high = section.section_commit(
                self.law.law, self.law.layers, self.history, change, self.scratch
            )
            self.plastic_work += spent
            self.work += 0.5 * (before + self.moment) * change
        self.curvature = curvature
        return self.moment

    def try_at(self, curvature):
        """Moment and tangent at a curvature; nothing is kept."""
        return section.section_moment(
            self.law.law,
            self.law.layers,
            self.history,
            curvature - self.curvature,
            self.scratch,
        )

    def elastic_energy(self):
        """Energy per length that the stresses hold (N mm/mm/mm)."""
        layers, h = self.law.layers, self.history
        if self.law.law == section.PROFILE:
            count = int(h[4, 0])
            y, s = h[0, :count], h[1, :count]
            square = s[:-1] ** 2 + s[:-1] * s[1:] + s[1:] ** 2
            return float(np.diff(y) @ square) / 3.0 / layers[section.CA, 0]
        held = h[0] ** 2 / layers[section.CA]
        if self.law.law == section.J2_PLANE_STRAIN:
            held = held + h[1] ** 2 / layers[section.CB]
        return float(layers[section.W] @ held)


# -------------------------------------------------------------------------- the strip


class Strip:
    """A straight strip of sheet, node 0 at the origin, along x."""

    def __init__(
        self, law, length, elements, thickness, *, rigidity=1.0e7, shear_rigidity=None
    ):
        """Rigidities of stretch and shear in units of ``EI / length^2``."""
        n = elements
        unit = law.bending / length**2
        shear_rigidity = shear_rigidity or rigidity
        self.rounding = 1.0e-15 * n * rigidity  # of a force, in those units
        self.elements, self.length, self.law = n, length, law
        self.beam = Beam(
            axial=rigidity * unit,
            shear=shear_rigidity * unit,
            bending=law.bending,
            length=length / n,
            half=thickness / 2.0,
            first_yield=law.first_yield,
            law=law.law,
            layers=law.layers,
        )
        self.chain = Chain(
            x=np.arange(n + 1) * self.beam.length,
            y=np.zeros(n + 1),
            theta=np.zeros(n + 1),
            axial=np.zeros(n),
            shear=np.zeros(n),
            curvature=np.zeros(n),
            moment=np.zeros(n),
            low=np.full(n, law.low),
            high=np.full(n, law.high),
            anchor=np.zeros(n),
            history=np.repeat(law.virgin[np.newaxis], n, axis=0),
        )
        self.size = 3 * (n + 1)
        self.work = Work(
            band=np.zeros((self.size + 5, 6)),
            right=np.zeros((self.size + 5, 2)),
            forces=np.zeros(self.size + 5),
            pull=np.zeros((n, 2)),
            gradient=np.zeros(6),
            scratch=np.zeros((section.HISTORY, section.SCRATCH)),
            report=np.zeros(6),
        )
        self.loads = np.zeros(self.size)
        self.held = {}
        self.peaks = np.zeros((n, 4))
        self.energies = np.zeros(3)

    def push(self, node, direction, force):
        """Dead load: force along X or Y, or a moment about THETA."""
        self.loads[3 * node + direction] = force

    def hold(self, node, direction, value=0.0):
        """Hold a position (X, Y) or a rotation (THETA) of a node at a value."""
        self.held[3 * node + direction] = value

    def clamp(self, node=0):
        """Hold all of a node where it is."""
        for direction, array in enumerate(self.chain[:3]):
            self.hold(node, direction, float(array[node]))

    def reaction(self, node, direction):
        """Force that the last equilibrium asks of a node."""
        return float(self.work.forces[3 * node + direction])

    def settle(self):
        """Equilibrium under the dead loads and held nodes, accepted."""
        size, n, work = self.size, self.elements, self.work
        scale = self.beam.bending / self.length**2
        moments = np.ones(size)
        moments[THETA::3] = self.length
        for _ in range(100):
            self._forces()
            free = work.forces[:size] - self.loads
            gaps = {i: value - self._place(i) for i, value in self.held.items()}
            free[list(self.held)] = 0.0
            worst = np.max(np.abs(free) / moments) / scale
            far = max((abs(gap) for gap in gaps.values()), default=0.0)
            if worst < self.rounding and far < 1.0e-13 * self.length:
                break
            self._step(free, gaps)
        else:
            message = f"no equilibrium: residual {worst:.1e} of EI / L^2"
            raise AssertionError(message)
        commit(
            self.beam,
            self.chain,
            0,
            n,
            work.scratch,
            self.peaks,
            1,
            self.energies,
        )

    def internal(self):
        """Forces of the nodes as they stand, and their tangent, (size, size)."""
        for e in range(self.elements):
            stretch, shear, *_ = strains(*self.chain[:3], e, self.beam.length)
            self.chain.axial[e] = self.beam.axial * stretch
            self.chain.shear[e] = self.beam.shear * shear
        self._forces()
        size, band = self.size, self.work.band
        tangent = np.zeros((size, size))
        for d in range(6):
            column = np.diag(band[: size - d, d], -d)
            tangent += column + (column.T if d else 0.0)
        return self.work.forces[:size].copy(), tangent

    def _forces(self):
        _assemble(
            self.beam,
            self.chain,
            NO_ROLLS,
            self.work,
            self.work.forces,
            0,
            self.elements,
            False,
        )

    def _place(self, unknown):
        node, direction = divmod(unknown, 3)
        return float(self.chain[direction][node])

    def _step(self, free, gaps):
        work, size = self.work, self.size
        right = work.right
        right[:] = 0.0
        right[:size, 0] = -free
        for i, gap in gaps.items():
            for d in range(1, 6):
                right[i + d, 0] -= work.band[i, d] * gap
                work.band[i, d] = 0.0
                if i >= d:
                    right[i - d, 0] -= work.band[i - d, d] * gap
                    work.band[i - d, d] = 0.0
            work.band[i, 0] = 1.0
        for i, gap in gaps.items():
            right[i, 0] = gap
        right[size:] = 0.0
        factor(work.band, size)
        solve(work.band, size, right)
        _prepare(self.beam, self.chain, work, 0, self.elements)
        turn = float(np.max(np.abs(right[THETA:size:3, 0])))
        share = min(1.0, MOST_TURN / turn) if turn > 0.0 else 1.0
        _move(self.chain, work, 0, self.elements, share)

    def settle_between(self, rolls, foundation, driven, xi=0.0):
        """Equilibrium between rolls by the package's own iteration, accepted.

        ``rolls (rolls, 6)``: axis, reach, travel to make; they are moved.
        """
        limits = Limits(
            force=self.rounding * self.beam.bending / self.length**2,
            length=1.0e-12 * self.length,
            iterations=60,
            turn=0.2,
        )
        tooling = Tooling(rolls, foundation, driven, xi, 0.0)
        status, _ = equilibrate(
            self.beam, self.chain, tooling, limits, self.work, 0, self.elements
        )
        assert status == CONVERGED, f"residual {self.work.report[1]:.2e} N/mm"
        rolls[:, 3:] = 0.0
        commit(
            self.beam,
            self.chain,
            0,
            self.elements,
            self.work.scratch,
            self.peaks,
            1,
            self.energies,
        )

    def release(self):
        """Take the strip out: no load, no hold, no moment anywhere."""
        let_go(
            self.beam,
            self.chain,
            self.work.scratch,
            self.energies,
            0,
            self.elements,
        )


def bent_and_released(law, thickness, curvature, *, steps=4, elements=4):
    """Curvature that is left of a uniform bend, through beam, commit and release.

    The strip is held at one end and its other end is turned; then it is let go.
    """
    strip = Strip(law, 20.0 * thickness, elements, thickness)
    strip.clamp()
    for share in np.linspace(0.0, 1.0, steps + 1)[1:]:
        strip.hold(elements, THETA, share * curvature * strip.length)
        strip.settle()
    bent = strip.chain.curvature.copy()
    assert np.allclose(bent, curvature, rtol=1.0e-9), "not a uniform bend"
    strip.release()
    left = strip.chain.curvature
    assert np.allclose(left, left[0], rtol=1.0e-9, atol=1.0e-12 * abs(curvature))
    return float(left[0])

"""Judges of the section law that share no code with the package."""

import math
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq


class Fibres:
    """Rectangle of very many bilinear fibres by the midpoint rule: one dimension.

    One-dimensional plasticity needs no small steps while the strain goes one way.
    """

    def __init__(self, modulus, flow, thickness, *, hardening, kinematic, count=4000):
        self.dy = 0.5 * thickness / count
        self.y = (np.arange(count) + 0.5) * self.dy
        plastic = modulus * hardening / (1.0 - hardening)
        self.modulus, self.flow = modulus, flow
        self.widen, self.shift = (1.0 - kinematic) * plastic, kinematic * plastic
        self.set, self.back, self.spent = (np.zeros(count) for _ in range(3))
        self.stress = np.zeros(count)
        self.plastic_work = 0.0

    def bend_to(self, curvature):
        """Stress of every fibre after its strain ``y * curvature``; the moment."""
        over = self.modulus * (self.y * curvature - self.set) - self.back
        excess = np.abs(over) - (self.flow + self.widen * self.spent)
        flow = np.maximum(excess, 0.0) / (self.modulus + self.widen + self.shift)
        self.set = self.set + np.sign(over) * flow
        self.back = self.back + self.shift * np.sign(over) * flow
        self.spent = self.spent + flow
        stress = self.modulus * (self.y * curvature - self.set)
        spent = (self.stress + stress) @ (np.sign(over) * flow)
        self.plastic_work += self.dy * float(spent)
        self.stress = stress
        return 2.0 * self.dy * float(stress @ self.y)


class Metal(NamedTuple):
    """Young's modulus (MPa), Poisson's ratio, yield (MPa)."""

    modulus: float
    poisson: float
    strength: float


def fibre_of_von_mises(metal, turns, widen, shift):
    """Stress along x of one fibre taken through strains along x, by its rate equations.

    Three-dimensional: Hooke's law, plastic rate along (3/2) (s - b)/q, back stress rate
    (2/3) H_k of it; no stress through the thickness and no strain across the width fix
    the rate through the thickness. Derived here. State: stress x and z, back stress x,
    y, z, equivalent plastic strain; one row per turning point.
    """
    e, nu = metal.modulus, metal.poisson
    shear, lame = e / 2 / (1 + nu), e * nu / (1 + nu) / (1 - 2 * nu)

    def parts(state):
        stress = np.array([state[0], 0.0, state[1]])
        apart = stress - stress.mean() - state[2:5]
        q = math.sqrt(1.5 * apart @ apart)
        return 1.5 * apart / q if q else apart, q - metal.strength - widen * state[5]

    def rates(plastic, way):
        def rate(_, state):
            n = parts(state)[0] if plastic else np.zeros(3)
            pull = 2 * shear / (3 * shear + widen + shift)
            through = (2 * shear * pull * n[0] * n[1] - lame) * way
            through /= 2 * shear * (1 - pull * n[1] ** 2) + lame
            strain = np.array([way, through, 0.0])
            flow = pull * (n @ strain)
            stress = 2 * shear * (strain - flow * n) + lame * strain.sum()
            back = 2.0 / 3.0 * shift * flow * n
            return np.concatenate([stress[[0, 2]], back, [flow]])

        return rate

    state, at, rows = np.zeros(6), 0.0, []
    for turn in turns:
        way = math.copysign(1.0, turn - at)
        elastic = rates(plastic=False, way=way)(0.0, state)
        left = abs(turn - at)

        def over(length, state=state, elastic=elastic):
            return parts(state + length * elastic)[1]

        # the yield surface is convex: from a point on it the chord is crossed once more
        start = 1.0e-9 * left
        free = left if over(left) <= 0 else 0.0
        if over(left) > 0 and over(start) < 0:
            free = brentq(over, start, left, xtol=1.0e-14)
        state = state + free * elastic
        if free < left:
            march = rates(plastic=True, way=way)
            span = (0.0, left - free)
            state = solve_ivp(march, span, state, rtol=1.0e-8, atol=1.0e-8).y[:, -1]
        at = turn
        rows.append(state.copy())
    return np.array(rows)

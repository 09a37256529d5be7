"""The sheet in the finite elements of NGSolve, a general-purpose library.

Nine-node quadrilaterals, nine integration points. What is ours is the physics told to
the library: the energy of a step (below), the gaps to the rolls, and the supports. It
differentiates, assembles and factorises. ``pip install ngsolve`` (6.2, from PyPI).
In an activated environment and with a C++ compiler a run takes 0.7 times as long.

The energy of a step from the plastic strain ``Ep`` and slip ``a`` before it, with the
trial deviator ``s`` of Green strain less ``Ep``: ``K/2 tr^2 + s:s/4G`` less
``<|s| - sqrt(2/3)(Y + H a)>^2 / (4G + 4/3 H)``. Its derivative is the radial return of
J2 flow with linear isotropic hardening (derived; for the return see any text).
"""

from __future__ import annotations

import math
import shutil
from contextlib import suppress
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import netgen.meshing as nm
import ngsolve as ng
import numpy as np
from ngsolve.comp import IntegrationRuleSpace
from plane import SAMPLES
from rolling import HOLDING, Rolling

from pinchline.physics.support import (
    GIVE_X,
    GIVE_Y,
    PLAY,
    PRELOAD,
    STIFFNESS,
    UNLOADED_STIFFNESS_SHARE,
)
from pinchline.solvers.layers import plastic_modulus
from pinchline.solvers.supports import support_table

if TYPE_CHECKING:
    from mesh import Array
    from programme import Fineness

    from pinchline.case.case import Case

FACES = ("top", "bottom", "bottom")  # that the rolls lie on
ORDER = 4  # of what the integration points integrate: nine of them
TINY = 1.0e-12  # MPa2: keeps the root of a stress of zero differentiable


class LibrarySheet(Rolling):
    """A sheet between rolls that may give; the unknowns end with the rolls' gives."""

    def __init__(self, case: Case, fineness: Fineness, hold: str = "nip") -> None:
        super().__init__(case, fineness, hold)
        self.supports = support_table(case)
        self.mesh = quadrilaterals(self.columns, case.sheet.thickness, fineness.rows)
        self.moved = ng.VectorH1(self.mesh, order=2)
        self.space = ng.FESpace([self.moved, *(ng.NumberSpace(self.mesh),) * 3])
        self.state = ng.GridFunction(self.space)
        points = IntegrationRuleSpace(self.mesh, order=ORDER)
        self.dx = ng.dx(intrules=points.GetIntegrationRules())
        self.history = ng.GridFunction(ng.FESpace([points] * 5))
        self.axes = [(ng.Parameter(0.0), ng.Parameter(0.0)) for _ in range(3)]
        samples = [((p + 0.5) / SAMPLES,) for p in range(SAMPLES)]
        rule = ng.IntegrationRule(points=samples, weights=[1.0 / SAMPLES] * SAMPLES)
        self.along = {ng.SEGM: rule}
        self.form = self._form()
        _, after = self._metal(ng.Grad(self.state.components[0]))
        self.after = [value.Compile() for value in after]
        self.new = [ng.GridFunction(points) for _ in after]
        self.out = self.state.vec.CreateVector()
        self.right = self.state.vec.CreateVector()
        self._find_mid_line()
        c, s = math.cos(self.tilt) - 1.0, math.sin(self.tilt)
        turned = ng.CF((c * ng.x - s * ng.y, s * ng.x + c * ng.y))
        self.state.components[0].Set(turned)
        self.u = self.state.vec.FV().NumPy().copy()

    def _form(self) -> Any:
        """Energy of sheet, contact and supports, as a form of the library."""
        (u, *gives) = self.space.TrialFunction()
        form = ng.BilinearForm(self.space)
        energy, _ = self._metal(ng.Grad(u))
        form += ng.Variation(machine_code(energy) * self.dx)
        fixed = ng.BitArray(self.space.ndof)
        fixed.Clear()
        long = float(np.ptp(self.columns))
        for r, (face, give) in enumerate(zip(FACES, gives, strict=True)):
            depth, _, _ = self._overlap(r, u.Trace(), give)
            pressed = 0.5 * self.push[r] * ng.IfPos(depth, depth * depth, 0.0)
            over = ng.ds(face, intrules=self.along)
            form += ng.Variation(machine_code(pressed) * over)
            if self.supports[r, STIFFNESS] > 0.0:
                stored = support_energy(give, self.supports[r]) / long
                form += ng.Variation(stored * ng.ds("bottom"))
            else:
                fixed.Set(self.moved.ndof + r)
        self.free = ~fixed
        return form

    def _metal(self, slope: Any) -> tuple[Any, list[Any]]:
        """Energy of a step, and the five history fields after it."""
        metal = self.case.sheet.material
        bulk = metal.youngs_modulus / (3.0 * (1.0 - 2.0 * metal.poisson_ratio))
        shear = metal.youngs_modulus / (2.0 * (1.0 + metal.poisson_ratio))
        hard = plastic_modulus(metal.youngs_modulus, metal.tangent_modulus)
        px, py, pz, pxy, slip = self.history.components
        f = ng.Id(2) + slope
        c = f.trans * f
        x, y = 0.5 * (c[0, 0] - 1.0) - px, 0.5 * (c[1, 1] - 1.0) - py
        z, xy = -pz, 0.5 * c[0, 1] - pxy
        trace = x + y + z
        sx, sy, sz = (2.0 * shear * (e - trace / 3.0) for e in (x, y, z))
        sxy = 2.0 * shear * xy
        size = ng.sqrt(sx * sx + sy * sy + sz * sz + 2.0 * sxy * sxy + TINY)
        root = math.sqrt(2.0 / 3.0)
        over = size - root * (metal.yield_strength + hard * slip)
        stiff = 2.0 * shear + 2.0 / 3.0 * hard
        flow = ng.IfPos(over, over, 0.0) / stiff
        energy = 0.5 * bulk * trace * trace + size * size / (4.0 * shear)
        energy = energy - 0.5 * stiff * flow * flow
        parts = ((px, sx), (py, sy), (pz, sz), (pxy, sxy))
        after = [old + flow * s / size for old, s in parts]
        return energy, [*after, slip + root * flow]

    def _overlap(self, r: int, u: Any, give: Any) -> tuple[Any, Any, Any]:
        """Overlap with a roll that has given way, and the place from its axis."""
        row = self.supports[r]
        x = ng.x + u[0] - self.axes[r][0] - row[GIVE_X] * give
        y = ng.y + u[1] - self.axes[r][1] - row[GIVE_Y] * give
        return self.rolls()[r, 2] - ng.sqrt(x * x + y * y), x, y

    def _find_mid_line(self) -> None:
        """Find the unknowns of the mid-line: corners, and bubbles between them."""
        rows = self.fineness.rows
        corner = np.arange(self.columns.size) * (rows + 1) + rows // 2
        edges = {
            tuple(sorted(v.nr for v in edge.vertices)): edge.nr
            for edge in self.mesh.edges
        }
        between = [
            edges[tuple(pair)] for pair in np.stack((corner[:-1], corner[1:]), 1)
        ]
        node = [ng.NodeId(ng.EDGE, number) for number in between]
        self.bubble = np.array([self.moved.GetDofNrs(n)[0] for n in node])
        self.middle = corner
        one = ng.GridFunction(self.moved)
        one.vec[int(self.bubble[0])] = 1.0
        x = 0.5 * float(self.columns[0] + self.columns[1])
        self.height = float(one(self.mesh(x, 0.0))[0])

    def residual(self, u: Array, *, stiff: bool) -> Array:
        """Unbalanced forces; with ``stiff`` the library assembles the tangent too."""
        for (x, y), axis in zip(self.axes, self.rolls(), strict=True):
            x.Set(float(axis[0]))
            y.Set(float(axis[1]))
        self.state.vec.FV().NumPy()[:] = u
        if stiff:
            self.form.AssembleLinearization(self.state.vec)
        self.form.Apply(self.state.vec, self.out)
        force = self.out.FV().NumPy().copy()
        e, xi, shift = self.held()
        at = (self.middle[e], self.middle[e + 1], self.bubble[e])
        shares = (0.5 * (1.0 - xi), 0.5 * (1.0 + xi), self.height * (1.0 - xi * xi))
        gap = float(np.dot(shares, u[list(at)])) - shift
        self.drive = -HOLDING * gap
        for i, a in zip(at, shares, strict=True):
            force[i] += HOLDING * gap * a
            if stiff:
                for j, b in zip(at, shares, strict=True):
                    self.form.mat[int(i), int(j)] += HOLDING * a * b
        force[~np.array(self.free)] = 0.0
        return force

    def solve(self, right: Array) -> Array:
        """Solve with the library's sparse factors."""
        self.right.FV().NumPy()[:] = right
        inverse = self.form.mat.Inverse(self.free, inverse="sparsecholesky")
        self.out.data = inverse * self.right
        return self.out.FV().NumPy().copy()

    def keep(self) -> None:
        """Make the strains of the state the metal's history."""
        self.state.vec.FV().NumPy()[:] = self.u
        for field, value in zip(self.new, self.after, strict=True):
            field.Interpolate(value)
        for field, old in zip(self.new, self.history.components, strict=True):
            old.vec.data = field.vec

    def corners(self) -> tuple[Array, Array, Array]:
        """Places of the corner columns now."""
        rows, n = self.fineness.rows, self.moved.ndof // 2
        half = 0.5 * self.case.sheet.thickness
        found = []
        for row, y in ((rows, half), (rows // 2, 0.0), (0, -half)):
            at = np.arange(self.columns.size) * (rows + 1) + row
            x = self.columns + self.u[at]
            found.append(np.column_stack((x, y + self.u[n + at])))
        return found[0], found[1], found[2]

    def pushes(self) -> Array:
        """Forces of the rolls, integrated along the faces."""
        u, *gives = self.state.components
        forces = np.zeros((3, 4))
        for r, (face, give) in enumerate(zip(FACES, gives, strict=True)):
            depth, x, y = self._overlap(r, u, give)
            pressure = self.push[r] * ng.IfPos(depth, depth, 0.0)
            far = ng.sqrt(x * x + y * y)
            parts = (x / far, y / far, ng.x + u[0], 1.0)
            over = ng.ds(face, intrules=self.along)
            forces[r] = [ng.Integrate(pressure * p * over, self.mesh) for p in parts]
        return forces


def machine_code(value: Any) -> Any:
    """Have the library compile a value, by a C++ compiler where that works."""
    if shutil.which("ngscxx") is not None:
        with suppress(nm.NgException):
            return value.Compile(realcompile=True, wait=True)
    return value.Compile()


def support_energy(give: Any, row: Array) -> Any:
    """Energy of a support, as ``pinchline.physics.support.support_force`` has it."""
    preload, k, play = row[PRELOAD], row[STIFFNESS], row[PLAY]
    soft = UNLOADED_STIFFNESS_SHARE * k
    slack, free = preload - soft * play, -preload / k
    over, past = give - play, give - free
    taken = (preload - 0.5 * soft * play) * play
    tight = taken + (preload + 0.5 * k * over) * over
    loose = (slack + 0.5 * soft * give) * give
    open_ = (slack + 0.5 * k * give) * give
    lost = (slack + 0.5 * k * free) * free + (
        slack - preload + 0.5 * soft * past
    ) * past
    return ng.IfPos(
        give - play, tight, ng.IfPos(give, loose, ng.IfPos(give - free, open_, lost))
    )


def quadrilaterals(columns: Array, thickness: float, rows: int) -> Any:
    """Mesh of the library; corners are numbered up each column, then along."""
    mesh = nm.Mesh(dim=2)
    mesh.Add(nm.FaceDescriptor(surfnr=1, domin=1, bc=1))
    height = np.linspace(-0.5 * thickness, 0.5 * thickness, rows + 1)
    at = [
        [mesh.Add(nm.MeshPoint(nm.Pnt(float(x), float(y), 0.0))) for y in height]
        for x in columns
    ]
    for left, right in pairwise(at):
        for j in range(rows):
            ring = [left[j], right[j], right[j + 1], left[j + 1]]
            mesh.Add(nm.Element2D(1, ring))
        mesh.Add(nm.Element1D([left[0], right[0]], index=1))
        mesh.Add(nm.Element1D([right[rows], left[rows]], index=2))
    mesh.SetBCName(0, "bottom")
    mesh.SetBCName(1, "top")
    return ng.Mesh(mesh)

"""The equations of one mesh: residual, tangent, and their solution with two unknowns on the border.

Unknowns are the displacements of the free nodes (banded), the amplitude q of the far field and the
depth h of the tip (both on the border, because they touch every column of the mesh).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from drypoint.stress import element
from drypoint.stress.farfield import outside_stiffness, point_force_displacement
from drypoint.stress.mesh import Mesh
from drypoint.stress.rub import rub, slips
from drypoint.stress.touch import press

Floats = NDArray[np.float64]


@dataclass
class Place:
    """Where the unknowns are: displacements (2 n,), far amplitude q (N), tip depth h (m)."""

    U: Floats
    q: float
    h: float

    def plus(self, other: Place, factor: float) -> Place:
        """This place moved by ``factor`` times ``other``."""
        return Place(
            self.U + factor * other.U, self.q + factor * other.q, self.h + factor * other.h
        )

    def minus(self, other: Place) -> Place:
        """The way from ``other`` to here."""
        return self.plus(other, -1.0)


class System:
    """Residual and tangent of a mesh, its solids and a tip. Holds the work arrays and the state.

    ``solids`` and ``table`` as in :mod:`drypoint.stress.flow`; ``tip`` as in
    :func:`drypoint.stress.touch.press`; ``start`` the plastic part at the start, one row a layer
    (rr, rz, zz, hoop), which carries the residual stress.
    """

    def __init__(
        self,
        mesh: Mesh,
        solids: Floats,
        table: Floats,
        tip: tuple[int, Floats, Floats, float],
        start: Floats,
        finite: bool,
        stiffness: float,
        nu_far: float,
        friction: float = 0.0,
    ) -> None:
        self.mesh, self.solids, self.table, self.tip = mesh, solids, table, tip
        self.finite, self.k, self.mu = finite, stiffness, friction
        n, m = len(mesh.X), len(mesh.quads)
        self.geo, self.N = element.geometry(mesh.X, mesh.quads), element.shape_functions()
        self.last_J = np.ones(m)
        self._number(n, nu_far)
        self.old = np.ascontiguousarray(np.repeat(start[mesh.layer][:, None, :], 4, axis=1))
        self.strain = np.zeros((m, 4))
        self.new, self.new_strain = self.old.copy(), self.strain.copy()
        self.sigma = np.zeros((m, 4, 4))
        self.plastic_work = 0.0
        # What the tip gives at each node of the surface, as if the surface lay lower.
        self.lift: Floats = np.zeros(len(mesh.top))
        self.lowered = mesh.X.copy()
        self.touching = True
        self.before = Place(np.zeros(2 * n), 0.0, 0.0)
        self.assemblies = self.factors = 0
        self.at_rest = 0.0
        self.evaluate(Place(np.zeros(2 * n), 0.0, -1.0), with_K=False)
        self.at_rest = float(self.ends[0])

    def _number(self, n: int, nu: float) -> None:
        mesh = self.mesh
        E = float(self.solids[-1, 5])
        eq = np.zeros(2 * n, np.int64)
        eq[2 * mesh.axis] = -1
        eq[2 * mesh.far] = eq[2 * mesh.far + 1] = -2
        eq[2 * np.intersect1d(mesh.axis, mesh.far)] = -1
        free = np.flatnonzero(eq == 0)
        eq[free] = np.arange(len(free))
        share = np.zeros(2 * n)
        u_r, u_z = point_force_displacement(E, nu, *mesh.X[mesh.far].T)
        share[2 * mesh.far], share[2 * mesh.far + 1] = u_r, u_z
        share[eq == -1] = 0.0
        self.eq, self.share, self.free = eq, share, free
        corner = mesh.X[mesh.far]
        self.outside = outside_stiffness(E, nu, corner[:, 0].max(), corner[:, 1].min())
        all_eq = np.stack([eq[2 * mesh.quads], eq[2 * mesh.quads + 1]], axis=-1).reshape(-1, 8)
        high = all_eq.max(axis=1)
        low = np.where(all_eq < 0, np.iinfo(np.int64).max, all_eq).min(axis=1)
        self.width = int(np.max(np.where(high >= 0, high - low, 0))) + 1
        self.f = np.zeros(len(free))
        self.band = np.zeros((self.width, len(free)), order="F")
        self.border, self.column = np.zeros(len(free)), np.zeros(len(free))
        self.ends, self.contact = np.zeros(4), np.zeros(4)
        self.pressure = np.zeros(len(mesh.top))
        self.slip: Floats = np.zeros(len(mesh.top))
        self.rubbing = np.zeros((len(mesh.top), 5))
        self.row = np.zeros(len(free)) if self.mu else self.column
        w = self.width - 1
        self.extra = np.zeros((3 * w + 1, len(free)), order="F") if self.mu else np.zeros((1, 1))
        self.friction_work = 0.0
        self.ratios = np.zeros(len(self.solids))

    def place(self, u: Floats, q: float, h: float) -> Place:
        """A place from the free displacements alone."""
        U = q * self.share
        U[self.free] = u
        return Place(U, q, h)

    def evaluate(self, at: Place, with_K: bool = True) -> bool:
        """Residual (and tangent) at a place; False where an element is turned inside out."""
        for a in (self.f, self.border, self.column, self.ends, self.ratios):
            a[:] = 0.0
        if with_K:
            self.band[:] = 0.0
        self.assemblies += 1
        state = (self.old, self.strain, self.last_J, self.new, self.new_strain, self.sigma)
        bad = element.assemble(
            (self.geo, self.N, self.mesh.quads, self.mesh.layer), at.U, self.finite, self.solids,
            self.table, state, (self.eq, self.share), with_K, self.f, self.band, self.border,
            self.ends, self.ratios,
        )  # fmt: skip
        if bad >= 0:
            return False
        self.ends[0] += self.outside * at.q - self.at_rest
        self.ends[1] += self.outside
        self.contact[:] = 0.0
        self.pressure[:] = 0.0
        if self.touching:
            press(
                self.lowered, self.mesh.top, at.U, at.h, self.tip, self.k, self.finite, self.eq,
                with_K, self.f, self.band, self.column, self.contact, self.pressure,
            )  # fmt: skip
            if self.mu:
                self._rub(at, with_K)
        return bool(np.all(np.isfinite(self.f)))

    def _rub(self, at: Place, with_K: bool) -> None:
        X, top = self.lowered, self.mesh.top
        self.extra[:] = 0.0
        self.row[:] = self.column
        slips(
            X, top, at.U, at.h, self.before.U, self.before.h, self.slip, self.tip, self.finite,
            self.rubbing,
        )  # fmt: skip
        rub(
            X, top, self.rubbing, self.k, self.mu, self.finite, self.eq, with_K, self.f,
            self.extra, self.column, self.row, self.contact,
        )  # fmt: skip

    def set_lift(self, lift: Floats) -> None:
        """Take how far the tip's surface has given above each node of the specimen's, m."""
        self.lift = lift
        self.lowered[self.mesh.top, 1] = self.mesh.X[self.mesh.top, 1] - lift

    def solve(self, rhs: Floats) -> Floats:
        """Solve the banded part for (n_eq, k) right-hand sides."""
        self.factors += 1
        rubs = self.mu > 0 and self.touching
        if not rubs:
            c, info = lapack.dpbtrf(self.band, lower=1, overwrite_ab=0)
            if info == 0:
                return lapack.dpbtrs(c, rhs, lower=1)[0]
        w, n = self.width - 1, len(self.f)
        ab = self.extra.copy() if rubs else np.zeros((3 * w + 1, n))
        for i in range(w + 1):
            ab[2 * w + i, : n - i] += self.band[i, : n - i]
            if i > 0:
                ab[2 * w - i, i:] += self.band[i, : n - i]
        lu, piv, info = lapack.dgbtrf(ab, w, w)
        if info != 0:
            return np.full_like(rhs, np.nan)
        return lapack.dgbtrs(lu, w, w, rhs, piv)[0]

    def accept(self, at: Place) -> None:
        """Take the state after the step as the new state."""
        if self.finite:
            element.mean_dilatation(self.geo, self.N, self.mesh.quads, at.U, self.last_J)
        self.plastic_work += float(self.ends[3])
        self.before = at
        if self.mu:
            self._stick()
        self.old, self.new = self.new, self.old
        self.strain, self.new_strain = self.new_strain, self.strain

    def _stick(self) -> None:
        """Elastic slip after a step: at most what the pressure about the node can hold."""
        gap, slip, steep = self.rubbing[:, 0], self.rubbing[:, 1], self.rubbing[:, 4]
        most = np.where(gap < 0, -self.mu * gap * steep, 0.0) if self.touching else 0.0 * gap
        kept = np.clip(slip, -most, most)
        self.friction_work += float(np.sum(self.mu * self.pressure * steep * np.abs(slip - kept)))
        self.slip = kept

    @property
    def force(self) -> float:
        """Force on the tip at the last place evaluated, N."""
        return float(self.contact[0])

"""The specimen's surface at a step: where it lies, what presses on it, where contact ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.stress.system import Place, System
from drypoint.stress.touch import profile

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Surface:
    """Radius and height (m) of the surface's nodes, vertical gap to the tip (m, below zero where
    they overlap), mean pressure about each node (Pa, on the surface seen from above), contact
    radius (m)."""

    r: Floats
    z: Floats
    gap: Floats
    pressure: Floats
    radius: float

    @property
    def pile_up(self) -> float:
        """Greatest height above the surface as it was, m."""
        return float(max(self.z.max(), 0.0))


def contact_edge(r: Floats, gap: Floats) -> float:
    """Contact radius from the gaps of the nodes, m.

    The mean of two estimates that err to opposite sides: where the straight line between the last
    closed and the first open node crosses zero, and where (r - a)^(3/2) through the first two open
    nodes, the law of elastic contact [johnson1985], starts.
    """
    closed = np.flatnonzero(gap < 0)
    if len(closed) == 0:
        return 0.0
    k = int(closed[-1])
    if k + 2 >= len(r) or not np.isfinite(gap[k + 2]):
        return float(r[k])
    straight = r[k] - gap[k] * (r[k + 1] - r[k]) / (gap[k + 1] - gap[k])
    if gap[k + 2] <= gap[k + 1]:
        return float(straight)
    q = (gap[k + 1] / gap[k + 2]) ** (2 / 3)
    bent = np.clip((r[k + 1] - q * r[k + 2]) / (1 - q), r[k], r[k + 1])
    return float(0.5 * (straight + bent))


def surface(s: System, at: Place) -> Surface:
    """The surface of a system at a place just evaluated."""
    top, X = s.mesh.top, s.mesh.X
    move = 1.0 if s.finite else 0.0
    r = X[top, 0] + move * at.U[2 * top]
    z = X[top, 1] + at.U[2 * top + 1]
    kind, numbers, curve, r_max = s.tip
    height = np.array([profile(x, kind, numbers, curve)[0] for x in r])
    gap = np.where(X[top, 0] > r_max * (1 + 1e-9), np.inf, height + s.lift - at.h - z)
    R = r if s.finite else X[top, 0]
    width = np.diff(R)
    share = np.zeros_like(R)
    share[:-1] += width * (R[:-1] / 3 + R[1:] / 6)
    share[1:] += width * (R[:-1] / 6 + R[1:] / 3)
    shown = s.pressure / (2 * np.pi * share)
    flat = np.isfinite(r_max)
    radius = (r_max if np.any(gap < 0) else 0.0) if flat else contact_edge(r, gap)
    return Surface(r, z, gap, shown, radius if s.touching else 0.0)

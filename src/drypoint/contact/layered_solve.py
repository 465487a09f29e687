"""The Fredholm equation of the layered contact, solved on panels that crowd where it bends.

For contact radius a the unknown y(x) on [0, a] obeys

    y(x) + (1/pi) integral over s in [0, a] of [G(x - s) + G(x + s)] y(s) ds = r(x)

with r = 1 for unit depth and r = g(x), the profile's transform, for the shape. The pressure is
p(r) = (E*_1/pi) [y(a)/sqrt(a^2 - r^2) - integral from r to a of y'(s)/sqrt(s^2 - r^2) ds], the
force 2 E*_1 times the integral of y [lebedev1958] [sneddon1965] [perriot2004]. For a homogeneous
half-space G = 0.

G has the width of the top layer, so under a wide contact (a >> t_1) the solution has a boundary
layer at the edge. Panels halve towards the edge, the axis and the profile's breaks; where the
kernel is narrower than a panel the product of kernel and polynomial is integrated on a finer mesh
(so the kernel is always resolved). Lengths are in units of t_1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.contact.layered_table import cosine_integral, kernel

Floats = NDArray[np.float64]

#: Nodes of a panel, and of a piece of the finer mesh.
NODES, FINE = 8, 16
_X, _W = np.polynomial.legendre.leggauss(NODES)
_TO_LEGENDRE = (
    (np.arange(NODES) + 0.5)[:, None] * np.polynomial.legendre.legvander(_X, NODES - 1).T * _W
)
_XF, _WF = np.polynomial.legendre.leggauss(FINE)
#: Barycentric weights of the nodes.
_BARY = np.array([1 / np.prod([a - b for b in _X if b != a]) for a in _X])
_BARY /= np.max(np.abs(_BARY))
#: Length (in t_1) below which a panel at the edge or at the axis is not halved again.
EDGE = 2.0
#: Panels at a break of the profile, and at the axis, need not be finer than this part of a.
AT_BREAK, AT_AXIS = 0.02, 0.02


@dataclass(frozen=True)
class Solution:
    """Solution for one contact radius, lengths in units of ``unit``.

    Parameters
    ----------
    edges : array, shape (panels + 1,)
        Panels of [0, a].
    s, weight : array, shape (nodes,)
        Gauss nodes of all panels and their weights.
    y : array, shape (nodes, 2)
        Solutions for unit depth and for the profile's transform.
    at_edge : array, shape (2,)
        The same at x = a.
    """

    edges: Floats
    s: Floats
    weight: Floats
    y: Floats
    at_edge: Floats

    @property
    def depth(self) -> float:
        """Depth at which the pressure vanishes at the edge, in the unit of length."""
        return float(self.at_edge[1] / self.at_edge[0])

    def series(self, depth: float) -> Floats:
        """Legendre coefficients of depth * y_1 - y_2 in each panel, shape (panels, nodes)."""
        y = depth * self.y[:, 0] - self.y[:, 1]
        return np.asarray(y.reshape(-1, NODES) @ _TO_LEGENDRE.T)

    def transform(self, depth: float, k: Floats) -> Floats:
        """Integral of (depth * y_1 - y_2) cos(ks): the pressure's Hankel transform, scaled."""
        return cosine_integral(self.edges[:-1], self.edges[1:], self.series(depth), k)


@njit(cache=True)
def _panels(a: float, breaks: Floats) -> Floats:
    """Edges of panels: as long as their distance to what they crowd towards, or its floor."""
    n = len(breaks)
    stack = np.empty((400, 2))
    stack[0] = 0.0, a
    top, count = 1, 0
    edges = np.empty(2000)
    while top > 0:
        top -= 1
        lo, hi = stack[top]
        long = hi - lo
        split = long > max(EDGE, a - hi) or long > max(EDGE, lo, AT_AXIS * a)
        where = (lo + hi) / 2
        for i in range(n):
            b = breaks[i]
            if lo + 1e-12 * a < b < hi - 1e-12 * a:
                split, where = True, b
            elif long > max(AT_BREAK * a, b - hi, lo - b):
                split = True
        if split:
            stack[top] = where, hi
            stack[top + 1] = lo, where
            top += 2
        else:
            edges[count] = lo
            count += 1
    edges[count] = a
    return edges[: count + 1].copy()


@njit(cache=True)
def _fine_row(row: Floats, coefficients: Floats, y: float, lo: float, hi: float) -> None:
    """Adds the integral of G(y - s) times each Lagrange polynomial of the panel [lo, hi]."""
    half, mid = (hi - lo) / 2, (hi + lo) / 2
    stack = np.empty((200, 2))
    stack[0] = lo, hi
    top = 1
    lagrange = np.empty(NODES)
    while top > 0:
        top -= 1
        c, d = stack[top]
        apart = max(c - y, y - d, 0.0)
        if d - c > max(2.0, apart):
            m = (c + d) / 2
            stack[top] = c, m
            stack[top + 1] = m, d
            top += 2
            continue
        for j in range(FINE):
            s = (c + d) / 2 + (d - c) / 2 * _XF[j]
            g = kernel(coefficients, abs(y - s)) * _WF[j] * (d - c) / 2
            t = (s - mid) / half
            total, hit = 0.0, -1
            for i in range(NODES):
                gap = t - _X[i]
                if gap == 0.0:
                    hit = i
                    break
                lagrange[i] = _BARY[i] / gap
                total += lagrange[i]
            if hit >= 0:
                row[hit] += g
            else:
                for i in range(NODES):
                    row[i] += g * lagrange[i] / total


@njit(cache=True)
def _matrix(a: float, edges: Floats, coefficients: Floats) -> tuple[Floats, Floats, Floats]:
    """Nodes, weights and the kernel's matrix; its last row stands for x = a."""
    panels = len(edges) - 1
    n = panels * NODES
    s, w = np.empty(n + 1), np.empty(n)
    for p in range(panels):
        half, mid = (edges[p + 1] - edges[p]) / 2, (edges[p + 1] + edges[p]) / 2
        for i in range(NODES):
            s[p * NODES + i] = mid + half * _X[i]
            w[p * NODES + i] = half * _W[i]
    s[n] = a
    out = np.zeros((n + 1, n))
    for i in range(n + 1):
        for p in range(panels):
            lo, hi, k = edges[p], edges[p + 1], p * NODES
            for mirror in range(2):
                y = s[i] if mirror == 0 else -s[i]
                apart = max(lo - y, y - hi, 0.0)
                if hi - lo <= 0.6 * max(2.0, apart):
                    for j in range(k, k + NODES):
                        out[i, j] += w[j] * kernel(coefficients, abs(y - s[j]))
                else:
                    _fine_row(out[i, k : k + NODES], coefficients, y, lo, hi)
    return s, w, out / np.pi


def mesh(a: float, breaks: tuple[float, ...], coefficients: Floats) -> tuple[Floats, ...]:
    """Edges, nodes (the last is a), weights and kernel matrix for contact radius a."""
    inside = np.array(sorted(breaks), dtype=float)
    edges = _panels(a, inside) if np.any(coefficients) else _plain(a, inside)
    return (edges, *_matrix(a, edges, coefficients))


def _plain(a: float, breaks: Floats) -> Floats:
    """Panels for a homogeneous half-space, as if the layer were as thick as the contact."""
    return np.asarray(_panels(EDGE, breaks / a * EDGE) * (a / EDGE))


def solve(meshed: tuple[Floats, ...], shape: Floats) -> Solution:
    """Solution on a mesh, for the profile's transform at its nodes (in units of t_1)."""
    edges, s, w, matrix = meshed
    rhs = np.stack([np.ones_like(s), shape], axis=1)
    y = np.asarray(np.linalg.solve(np.eye(len(w)) + matrix[:-1], rhs[:-1]), dtype=np.float64)
    return Solution(edges, s[:-1], w, y, rhs[-1] - matrix[-1] @ y)

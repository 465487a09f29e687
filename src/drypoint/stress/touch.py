"""Contact of the specimen's surface with a rigid tip of any axisymmetric profile: Numba kernels.

The tip is z = f(r) - h. Where the surface stands above it, the depth of overlap g costs the energy
(k/2) integral g^2 over the undeformed surface. Between two nodes the gap runs straight from the
one's to the other's, so that the surface can lie on a curved tip without being forced; the integral
runs over the closed part of each segment only, so that force and stiffness change smoothly while
the contact edge travels through an element. Residual and tangent are exact derivatives.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Tip = tuple[int, Floats, Floats, float]


#: Kinds of profile, as the kernels count them.
CONE, SPHERE, PARABOLOID, FLAT, CURVE = 0, 1, 2, 3, 4

#: Three Gauss points on (0, 1) and their weights.
QUADRATURE_X = (0.5 - math.sqrt(0.15), 0.5, 0.5 + math.sqrt(0.15))
QUADRATURE_W = (5 / 18, 8 / 18, 5 / 18)


@njit(cache=True, error_model="numpy")
def profile(r: float, kind: int, p: Floats, curve: Floats) -> tuple[float, float, float]:
    """Height of the tip's surface above its lowest point, its slope and curvature, at radius r.

    ``p``: cone: end radius, tan(half angle), radius where the sphere ends, height lost by the
    rounding; sphere and paraboloid: radius. ``curve``: rows of radius, height, slope.
    """
    r = abs(r)
    if kind == CONE:
        if r >= p[2]:
            return r / p[1] - p[3], 1.0 / p[1], 0.0
        q = math.sqrt(p[0] * p[0] - r * r)
        return p[0] - q, r / q, p[0] * p[0] / (q * q * q)
    if kind == SPHERE:
        x = min(r, 0.999 * p[0])
        q = math.sqrt(p[0] * p[0] - x * x)
        return p[0] - q + (r - x) * x / q, x / q, p[0] * p[0] / (q * q * q)
    if kind == PARABOLOID:
        return 0.5 * r * r / p[0], r / p[0], 1.0 / p[0]
    if kind == FLAT:
        return 0.0, 0.0, 0.0
    n = curve.shape[0]
    k = min(max(int(np.searchsorted(curve[:, 0], r)) - 1, 0), n - 2)
    if r >= curve[n - 1, 0]:
        return curve[n - 1, 1] + curve[n - 1, 2] * (r - curve[n - 1, 0]), curve[n - 1, 2], 0.0
    d = curve[k + 1, 0] - curve[k, 0]
    t = (r - curve[k, 0]) / d
    y0, y1, m0, m1 = curve[k, 1], curve[k + 1, 1], d * curve[k, 2], d * curve[k + 1, 2]
    a, b = 2 * (y0 - y1) + m0 + m1, 3 * (y1 - y0) - 2 * m0 - m1
    return (
        ((a * t + b) * t + m0) * t + y0,
        ((3 * a * t + 2 * b) * t + m0) / d,
        (6 * a * t + 2 * b) / (d * d),
    )


@njit(cache=True, error_model="numpy")
def press(
    X: Floats,
    top: Ints,
    U: Floats,
    h: float,
    tip: Tip,
    k: float,
    finite: bool,
    eq: Ints,
    with_K: bool,
    f: Floats,
    band: Floats,
    column: Floats,
    out: Floats,
    pressure: Floats,
) -> None:
    """Add the contact's forces and tangent.

    Parameters
    ----------
    X, top : nodes and the numbers of those on the surface, from the axis outwards
    h : depth of the tip, m
    tip : (kind, numbers (4,), curve (n, 3), radius beyond which there is no tip)
    k : stiffness of the contact, Pa/m
    eq : equation of each freedom, below zero where fixed or far
    f, band : residual and banded tangent, added to
    column : (n_eq,) derivative of the residual by h, added to
    out : (4,) filled: force, dF/dh, contact radius, energy of the overlap
    pressure : (n_top,) nodal forces in z, filled
    """
    kind, p, curve, r_max = tip
    out[:] = 0.0
    pressure[:] = 0.0
    D, ids = np.empty(4), np.empty(4, np.int64)
    move = 1.0 if finite else 0.0
    last = top.shape[0] - 1
    a, r_a = top[0], 0.0
    y, slope_a, bend_a = profile(r_a, kind, p, curve)
    g_a = y - h - X[a, 1] - U[2 * a + 1]
    for s in range(last):
        b = top[s + 1]
        if X[b, 0] > r_max * (1 + 1e-9):
            break
        r_b = X[b, 0] + move * U[2 * b]
        y, slope_b, bend_b = profile(r_b, kind, p, curve)
        g_b = y - h - X[b, 1] - U[2 * b + 1]
        if g_a < 0 or g_b < 0:
            lo = g_a / (g_a - g_b) if g_a > 0 else 0.0
            hi = g_a / (g_a - g_b) if g_b > 0 else 1.0
            out[2] = max(out[2], r_a + hi * (r_b - r_a))
            ids[0], ids[1], ids[2], ids[3] = 2 * a, 2 * a + 1, 2 * b, 2 * b + 1
            width = k * 2 * math.pi * (X[b, 0] - X[a, 0]) * (hi - lo)
            for i in range(3):
                x = lo + QUADRATURE_X[i] * (hi - lo)
                n0, n1 = 1 - x, x
                g = n0 * g_a + n1 * g_b
                w = width * QUADRATURE_W[i] * (n0 * X[a, 0] + n1 * X[b, 0])
                out[0] -= w * g
                out[1] += w
                out[3] += 0.5 * w * g * g
                pressure[s] -= w * g * n0
                pressure[s + 1] -= w * g * n1
                D[0], D[1], D[2], D[3] = move * n0 * slope_a, -n0, move * n1 * slope_b, -n1
                for m in range(4):
                    q = eq[ids[m]]
                    if q < 0:
                        continue
                    f[q] += w * g * D[m]
                    column[q] -= w * D[m]
                    if not with_K:
                        continue
                    for n in range(m + 1):
                        o = eq[ids[n]]
                        if o >= 0:
                            band[abs(q - o), min(q, o)] += w * D[m] * D[n]
                    if m % 2 == 0:
                        turn = n0 * bend_a if m == 0 else n1 * bend_b
                        band[0, q] += move * w * g * turn
        a, r_a, g_a, slope_a, bend_a = b, r_b, g_b, slope_b, bend_b

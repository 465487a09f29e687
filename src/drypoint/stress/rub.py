"""Coulomb friction between surface and tip: a Numba kernel, called after the pressing.

Each node of the surface carries an elastic slip e along the tip's side: what it slid since it last
stuck. Over a closed part of a segment the shear is k e, at most mu times the normal pressure; it
resists the slip. The tangent is exact but for the turning of the tip's side with radius and the
travel of the contact edge through a segment that sticks; it is not symmetric where the surface
slides.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.stress.touch import QUADRATURE_W, QUADRATURE_X, profile

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Tip = tuple[int, Floats, Floats, float]


@njit(cache=True, error_model="numpy")
def slips(
    X: Floats, top: Ints, U: Floats, h: float, U_old: Floats, h_old: float, slip: Floats,
    tip: Tip, finite: bool, out: Floats,
) -> None:  # fmt: skip
    """Fill ``out`` (n_top, 5): gap, elastic slip, the side's direction (r, z), its steepness.

    The direction points outwards and up; the steepness is sqrt(1 + f'^2). Gap infinite where there
    is no tip.
    """
    kind, p, curve, r_max = tip
    move = 1.0 if finite else 0.0
    for s in range(top.shape[0]):
        n = top[s]
        y, slope, _ = profile(X[n, 0] + move * U[2 * n], kind, p, curve)
        c = math.sqrt(1 + move * slope * slope)
        out[s, 0] = y - h - X[n, 1] - U[2 * n + 1]
        if X[n, 0] > r_max * (1 + 1e-9):
            out[s, 0] = math.inf
        out[s, 2], out[s, 3], out[s, 4] = 1 / c, move * slope / c, c
        along = out[s, 2] * (U[2 * n] - U_old[2 * n])
        along += out[s, 3] * (U[2 * n + 1] - U_old[2 * n + 1] + h - h_old)
        out[s, 1] = slip[s] + along


@njit(cache=True, error_model="numpy")
def rub(
    X: Floats, top: Ints, at: Floats, k: float, mu: float, finite: bool, eq: Ints, with_K: bool,
    f: Floats, extra: Floats, column: Floats, row: Floats, out: Floats,
) -> None:  # fmt: skip
    """Add the friction's forces and tangent.

    Parameters
    ----------
    at : as :func:`slips` fills it
    extra : (3 w + 1, n_eq) general band as LAPACK's LU wants it, w the half width
    column, row : (n_eq,) derivatives of the residual by the depth, of the force by displacements
    out : force on the tip and its derivative by the depth, added to
    """
    w_band = (extra.shape[0] - 1) // 3
    ids, t, D = np.empty(4, np.int64), np.empty(4), np.empty(4)
    for s in range(top.shape[0] - 1):
        g_a, g_b = at[s, 0], at[s + 1, 0]
        if (g_a >= 0 and g_b >= 0) or math.isinf(g_b):
            continue
        a, b = top[s], top[s + 1]
        lo = g_a / (g_a - g_b) if g_a > 0 else 0.0
        hi = g_a / (g_a - g_b) if g_b > 0 else 1.0
        ids[0], ids[1], ids[2], ids[3] = 2 * a, 2 * a + 1, 2 * b, 2 * b + 1
        steep_a = math.sqrt(at[s, 4] * at[s, 4] - 1)
        steep_b = math.sqrt(at[s + 1, 4] * at[s + 1, 4] - 1)
        steep_a = math.copysign(steep_a, at[s, 3])
        steep_b = math.copysign(steep_b, at[s + 1, 3])
        for i in range(3):
            x = lo + QUADRATURE_X[i] * (hi - lo)
            n0, n1 = 1 - x, x
            g, e = n0 * g_a + n1 * g_b, n0 * at[s, 1] + n1 * at[s + 1, 1]
            c = n0 * at[s, 4] + n1 * at[s + 1, 4]
            w = 2 * math.pi * (n0 * X[a, 0] + n1 * X[b, 0]) * (X[b, 0] - X[a, 0])
            w *= QUADRATURE_W[i] * (hi - lo)
            most = -mu * k * g * c
            sliding = abs(k * e) > most
            shear = math.copysign(most, e) if sliding else k * e
            t[0], t[1] = n0 * at[s, 2], n0 * at[s, 3]
            t[2], t[3] = n1 * at[s + 1, 2], n1 * at[s + 1, 3]
            t_h = t[1] + t[3]
            if sliding:
                factor = -mu * k * c * math.copysign(1.0, e)
                D[0], D[1] = factor * n0 * steep_a, -factor * n0
                D[2], D[3] = factor * n1 * steep_b, -factor * n1
                D_h = -factor
            else:
                for m in range(4):
                    D[m] = k * t[m]
                D_h = k * t_h
            out[0] += w * shear * t_h
            out[1] += w * t_h * D_h
            for m in range(4):
                q = eq[ids[m]]
                if q < 0:
                    continue
                f[q] += w * shear * t[m]
                column[q] += w * t[m] * D_h
                row[q] += w * t_h * D[m]
                if not with_K:
                    continue
                for n in range(4):
                    o = eq[ids[n]]
                    if o >= 0:
                        extra[2 * w_band + q - o, o] += w * t[m] * D[n]

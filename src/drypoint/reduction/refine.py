"""Rid the fit of an unloading curve of the bias that noise in depth gives it.

In any usual record the noise of depth times S is far above the noise of force. Least squares in
force with the depth as abscissa then finds a slope that is too low, by the ratio of the noise's
variance to that of the depths in the window: up to some percent on stiff, shallow contacts.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@njit(cache=True)
def at_force(x: Floats, y: Floats, p: Floats, jac: Floats, res: Floats) -> None:
    """Residuals y - f(x) and derivatives of f = A (1 + x/L)^m, both to first order in the noise of
    x: taken at the depth g = L ((y/A)^(1/m) - 1) where the curve has the force read.

    ``res = s (g - x)`` with ``s = dF/dh`` at g.
    """
    for i in range(len(x)):
        lg = np.log(y[i] / p[0])
        r = np.exp(lg / p[2])
        s = p[2] * y[i] / (p[1] * r)
        res[i] = s * (p[1] * (r - 1.0) - x[i])
        jac[i, 0] = s * p[1] * r / (p[2] * p[0])
        jac[i, 1] = s * (1.0 - r)
        jac[i, 2] = s * p[1] * r * lg / (p[2] * p[2])


@njit(cache=True)
def refine(x: Floats, y: Floats, start: Floats, free: Floats) -> tuple[Floats, Floats, Floats]:
    """Solve ``sum s_i^2 (g(y_i) - x_i) dg/dp = 0`` by Gauss-Newton steps.

    The weights are those of least squares in force; the noise of x stands alone, so that the
    solution has no bias of first order in its variance.

    Parameters
    ----------
    x, y : array, shape (n,)
        Abscissa (noisy) and force, above zero.
    start : array, shape (3,)
        A, L, m from least squares in force.
    free : array, shape (3,)
        1 where fitted, 0 where held.

    Returns
    -------
    p, jac, res : arrays, shapes (3,), (n, 3), (n,)
        ``p`` is the start where the steps do not settle.
    """
    n = len(x)
    p = start.copy()
    jac = np.empty((n, 3))
    res = np.empty(n)
    h = np.empty((3, 3))
    g = np.empty(3)
    for _ in range(50):
        at_force(x, y, p, jac, res)
        for a in range(3):
            g[a] = 0.0
            for b in range(3):
                h[a, b] = 0.0
            if free[a] == 0.0:
                h[a, a] = 1.0
                continue
            for i in range(n):
                g[a] += jac[i, a] * res[i]
            for b in range(3):
                if free[b] > 0.0:
                    for i in range(n):
                        h[a, b] += jac[i, a] * jac[i, b]
        step = _solve(h, g)
        size = np.max(np.abs(step / p))
        if not np.isfinite(size):
            break
        p = p + step * (min(1.0, 0.3 / size) if size > 0.0 else 1.0)
        if size < 1e-9:
            at_force(x, y, p, jac, res)
            return p, jac, res
    p = start.copy()
    at_force(x, y, p, jac, res)
    return p, jac, res


@njit(cache=True)
def _solve(h: Floats, g: Floats) -> Floats:
    """h^-1 g by Cholesky's factors; NaN where h is not positive definite."""
    k = len(g)
    low = np.zeros((k, k))
    out = g.copy()
    for i in range(k):
        for j in range(i + 1):
            t = h[i, j]
            for m in range(j):
                t -= low[i, m] * low[j, m]
            if i == j and not t > 0.0:
                return np.full(k, np.nan)
            low[i, j] = np.sqrt(t) if i == j else t / low[j, j]
        for m in range(i):
            out[i] -= low[i, m] * out[m]
        out[i] /= low[i, i]
    for i in range(k - 1, -1, -1):
        for m in range(i + 1, k):
            out[i] -= low[m, i] * out[m]
        out[i] /= low[i, i]
    return out

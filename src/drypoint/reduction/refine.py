"""Rid the fit of an unloading curve of the bias that noise in depth gives it.

In any usual record the noise of depth times S is far above the noise of force. Least squares in
force with the depth as abscissa then finds a slope that is too low, by the ratio of the noise's
variance to that of the depths in the window: up to some percent on stiff, shallow contacts.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.reduction.power_law import cholesky3

Floats = NDArray[np.float64]

_FREE = {"reassoc", "contract"}  # sums in the order that the processor does best


@njit(cache=True, nogil=True, error_model="numpy")
def _at_force(
    x: Floats, y: Floats, logs: Floats, p: Floats, r: Floats, jac: Floats, res: Floats
) -> None:
    """Fill derivatives (3, n) and residuals at the forces y; ``logs`` is ln y, r is room."""
    n = len(x)
    base = np.log(p[0])
    one = 1.0 / p[2]
    for i in range(n):
        r[i] = np.exp((logs[i] - base) * one)
    a = p[1] / (p[2] * p[0])
    c = p[1] / (p[2] * p[2])
    per = p[2] / p[1]
    for i in range(n):
        s = per * y[i] / r[i]
        res[i] = s * (p[1] * (r[i] - 1.0) - x[i])
        jac[0, i] = s * a * r[i]
        jac[1, i] = s * (1.0 - r[i])
        jac[2, i] = s * c * r[i] * (logs[i] - base)


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def _normal(jac: Floats, res: Floats, h: Floats, g: Floats) -> None:
    """J'J and J'r of derivatives (3, n)."""
    for a in range(3):
        t = 0.0
        for i in range(len(res)):
            t += jac[a, i] * res[i]
        g[a] = t
        for b in range(a + 1):
            t = 0.0
            for i in range(len(res)):
                t += jac[a, i] * jac[b, i]
            h[a, b] = t
            h[b, a] = t


@njit(cache=True, nogil=True, error_model="numpy")
def refine(
    x: Floats, y: Floats, start: Floats, free: Floats
) -> tuple[Floats, Floats, Floats, bool]:
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
        Residuals y - f(x) and derivatives of f = A (1 + x/L)^m, both to first order in the noise
        of x: taken at the depth g = L ((y/A)^(1/m) - 1) where the curve has the force read.
        ``res = s (g - x)`` with ``s = dF/dh`` at g.
    settled : bool
        Where the steps do not settle, ``p`` is the start.
    """
    n = len(x)
    p = start.copy()
    logs = np.log(y)
    jac = np.empty((3, n))
    res = np.empty(n)
    r = np.empty(n)
    h = np.empty((3, 3))
    g = np.empty(3)
    step = np.zeros(3)
    settled = False
    for _ in range(50):
        if not (p[0] > 0.0 and p[1] > 0.0):
            break
        _at_force(x, y, logs, p, r, jac, res)
        if settled:
            break
        _normal(jac, res, h, g)
        if not np.isfinite(cholesky3(h, g, free, step)):
            break
        size = 0.0
        for a in range(3):
            size = max(size, abs(step[a] / p[a]))
        if not np.isfinite(size):
            break
        p = p + step * (min(1.0, 0.3 / size) if size > 0.0 else 1.0)
        settled = size < 1e-9
    if not settled:
        p = start.copy()
        _at_force(x, y, logs, p, r, jac, res)
    return p, jac.T.copy(), res, settled

"""Uncertainty of a least-squares fit whose noise has a colour; and a robust straight line.

How the colour is found stands in :mod:`drypoint.uncertainty.colour`; what the intervals cover,
in ``benchmarks/noise_colour.py``. Both functions can be called from ``numba`` kernels.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.uncertainty.colour import MOST, averaged_meat, cosines, drift_of, orthonormal
from drypoint.uncertainty.hac import longrun_factor, longrun_factors, sandwich_cov

__all__ = [
    "fit_covariance",
    "longrun_factor",
    "longrun_factors",
    "robust_slope",
    "sandwich_cov",
]

Floats = NDArray[np.float64]


@njit(cache=True)
def fit_covariance(jac: Floats, resid: Floats) -> Floats:
    """Covariance of least-squares parameters, the colour of the noise taken from the residuals.

    The method stands at the head of :mod:`drypoint.uncertainty.colour`. The factor of Student's t
    is inside: take the result with infinite degrees of freedom.

    Parameters
    ----------
    jac : array, shape (n, p)
        Derivative of the model with respect to each parameter at the fit.
    resid : array, shape (n,)
        Residuals in sample order, samples about equally spaced in time.

    Returns
    -------
    array, shape (p, p)
        In the parameters' units; NaN when ``n <= p``, a number is not finite, or the
        parameters cannot be told apart; zero when the residuals are.
    """
    n, p = jac.shape
    bad = np.full((p, p), np.nan)
    if n <= p:
        return bad
    q, r, ok = orthonormal(jac)
    rss = 0.0
    for i in range(n):
        rss += resid[i] * resid[i]
    if not ok or not np.isfinite(rss):
        return bad
    if not rss > 0.0:
        return np.zeros((p, p))
    root = np.sqrt(rss / n)
    drift = drift_of(resid)
    block = (n + MOST - 1) // MOST
    m = n // block
    model = np.zeros((m, p))
    fit = np.zeros((m, p))
    data = np.zeros((m, p + 1))
    scale = 1.0 / np.sqrt(block)
    for i in range(m):
        for k in range(i * block, (i + 1) * block):
            for j in range(p):
                model[i, j] += q[k, j] / drift[k] * scale
                fit[i, j] += q[k, j] * drift[k] * scale
            data[i, p] += resid[k] / drift[k] / root * scale
    basis, _, ok = orthonormal(model)
    if not ok:
        return bad
    data[:, :p] = basis
    meat = averaged_meat(cosines(data), cosines(fit))
    inv = np.zeros((p, p))
    for k in range(p):
        inv[k, k] = 1.0 / r[k, k]
        for a in range(k - 1, -1, -1):
            s = 0.0
            for i in range(a + 1, k + 1):
                s += r[a, i] * inv[i, k]
            inv[a, k] = -s / r[a, a]
    cov = np.zeros((p, p))
    for a in range(p):
        for b in range(a + 1):
            s = 0.0
            for i in range(a, p):
                for j in range(b, p):
                    s += inv[a, i] * meat[i, j] * inv[b, j]
            cov[a, b] = s * root * root
            cov[b, a] = cov[a, b]
    return cov


@njit(cache=True)
def robust_slope(t: Floats, y: Floats) -> tuple[float, float, float]:
    """Straight line by Huber's M-estimate (k = 1.345), for thermal drift.

    Parameters
    ----------
    t, y : array, shape (n,)
        Time and depth (or force) in sample order.

    Returns
    -------
    slope, intercept (at ``t = 0``), u_slope : float
        ``u_slope`` from :func:`fit_covariance` on the pseudo-residuals
        ``s psi(e/s) / mean(psi')`` ([huber1981], section 7.6), so that it
        knows the colour of the noise. NaN with fewer than three samples.
    """
    n = t.size
    if n < 3:
        return np.nan, np.nan, np.nan
    tm = 0.0
    for i in range(n):
        tm += t[i]
    tm /= n
    jac = np.empty((n, 2))
    span = 0.0
    for i in range(n):
        jac[i, 0] = 1.0
        jac[i, 1] = t[i] - tm
        span = max(span, abs(jac[i, 1]))
    if not span > 0.0:
        return np.nan, np.nan, np.nan
    w = np.ones(n)
    e = np.empty(n)
    a = 0.0
    b = 0.0
    s = 0.0
    for _ in range(50):
        s0 = 0.0
        s1 = 0.0
        s2 = 0.0
        y0 = 0.0
        y1 = 0.0
        for i in range(n):
            x = jac[i, 1]
            s0 += w[i]
            s1 += w[i] * x
            s2 += w[i] * x * x
            y0 += w[i] * y[i]
            y1 += w[i] * x * y[i]
        det = s0 * s2 - s1 * s1
        new_b = (s0 * y1 - s1 * y0) / det
        new_a = (y0 - new_b * s1) / s0
        for i in range(n):
            e[i] = y[i] - new_a - new_b * jac[i, 1]
        s = 1.4826 * np.median(np.abs(e)) * np.sqrt(n / (n - 2.0))
        done = abs(new_b - b) * span + abs(new_a - a) <= 1e-9 * s
        a = new_a
        b = new_b
        if not s > 0.0 or done:
            break
        for i in range(n):
            z = abs(e[i]) / s
            w[i] = 1.0 if z <= 1.345 else 1.345 / z
    if not s > 0.0:
        return b, a - b * tm, np.sqrt(fit_covariance(jac, e)[1, 1])
    inside = 0.0
    for i in range(n):
        if abs(e[i]) <= 1.345 * s:
            inside += 1.0
    share = max(inside / n, 0.1)
    correct = 1.0 + 2.0 / n * (1.0 - share) / share
    for i in range(n):
        e[i] = min(max(e[i], -1.345 * s), 1.345 * s) * correct / share
    u = np.sqrt(fit_covariance(jac, e)[1, 1])
    return b, a - b * tm, u

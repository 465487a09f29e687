"""Long-run variance of coloured noise, and sandwich covariances: the general, slower ways.

These assume little about the noise and need long records. The default of the reduction is
:func:`drypoint.uncertainty.noise.fit_covariance`; these stand beside it as a check
(``benchmarks/noise_colour.py`` compares them).
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import special

from drypoint.errors import UncertaintyError

Floats = NDArray[np.float64]
Kernel = Literal["bartlett", "qs"]


@njit(cache=True)
def burg(x: Floats, max_order: int) -> tuple[Floats, float, int]:
    """AR(p) by Burg's recursion, order by the corrected Akaike criterion.

    ``x_t = sum_j a_j x_{t-j} + e_t``. AICc = n ln(s2) + n (n + p) / (n - p - 2)
    [hurvich1989].

    Returns
    -------
    a : array, shape (p,)
    s2 : float
        Innovation variance, unit of ``x`` squared.
    p : int
    """
    n = x.size
    f = x.copy()
    b = x.copy()
    a = np.zeros(max_order)
    best = np.zeros(max_order)
    s2 = 0.0
    for i in range(n):
        s2 += x[i] * x[i]
    s2 /= n
    best_s2 = s2
    best_p = 0
    if not s2 > 0.0 or n < 4:
        return best[:0].copy(), s2, 0
    best_aic = n * np.log(s2) + n * n / (n - 2.0)
    old = np.zeros(max_order)
    for p in range(1, max_order + 1):
        if n - p - 2 <= 0:
            break
        num = 0.0
        den = 0.0
        for i in range(p, n):
            num += f[i] * b[i - 1]
            den += f[i] * f[i] + b[i - 1] * b[i - 1]
        if not den > 0.0:
            break
        k = 2.0 * num / den
        for i in range(n - 1, p - 1, -1):
            fi = f[i]
            f[i] = fi - k * b[i - 1]
            b[i] = b[i - 1] - k * fi
        old[:] = a
        for j in range(p - 1):
            a[j] = old[j] - k * old[p - 2 - j]
        a[p - 1] = k
        s2 *= 1.0 - k * k
        if not s2 > 0.0:
            break
        aic = n * np.log(s2) + n * (n + p) / (n - p - 2.0)
        if aic < best_aic:
            best_aic = aic
            best_p = p
            best_s2 = s2
            best[:] = a
    return best[:best_p].copy(), best_s2, best_p


@njit(cache=True)
def longrun_factor(resid: Floats, max_order: int = 8) -> float:
    """Long-run over short-run variance, ``1 + 2 sum_k rho_k``, by an AR(p) spectrum at zero.

    ``s2 / (1 - sum a)^2 / var(x)``: the factor by which colour inflates the variance of a mean.
    A sum of AR coefficients above ``1 - 2/sqrt(n)`` is held there (a record cannot show noise
    slower than itself). Order by AICc [hurvich1989]. 1 for white noise.
    """
    n = resid.size
    x = resid - np.mean(resid)
    v = 0.0
    for i in range(n):
        v += x[i] * x[i]
    v /= max(n, 1)
    if not v > 0.0:
        return 1.0
    a, s2, _ = burg(x, min(max_order, n // 4))
    total = min(np.sum(a), 1.0 - 2.0 / np.sqrt(n))
    return float(s2 / (1.0 - total) ** 2 / v)


@njit(cache=True)
def longrun_factors(resid: Floats, offsets: NDArray[np.int64], max_order: int = 8) -> Floats:
    """:func:`longrun_factor` of many ragged series, ``resid[offsets[i]:offsets[i + 1]]``."""
    m = offsets.size - 1
    out = np.ones(m)
    for i in range(m):
        out[i] = longrun_factor(resid[offsets[i] : offsets[i + 1]], max_order)
    return out


def _kernel(x: Floats, kind: Kernel) -> Floats:
    if kind == "bartlett":
        return np.clip(1.0 - np.abs(x), 0.0, None)
    z = 6.0 * np.pi * np.where(x == 0.0, 1.0, x) / 5.0
    return np.where(x == 0.0, 1.0, 3.0 / z**2 * (np.sin(z) / z - np.cos(z)))


def _plug_in(scores: Floats, kind: Kernel) -> float:
    """Andrews' automatic bandwidth ([andrews1991], eqs 6.2 and 6.4), AR(1)."""
    n = scores.shape[0]
    a = np.sum(scores[1:] * scores[:-1], 0) / np.sum(scores[:-1] ** 2, 0)
    a = np.clip(a, -0.97, 0.97)
    s4 = np.mean((scores[1:] - a * scores[:-1]) ** 2, axis=0) ** 2
    down = np.sum(s4 / (1 - a) ** 4)
    if kind == "bartlett":
        alpha = np.sum(4 * a**2 * s4 / ((1 - a) ** 6 * (1 + a) ** 2)) / down
        width = 1.1447 * (alpha * n) ** (1 / 3)
    else:
        alpha = np.sum(4 * a**2 * s4 / (1 - a) ** 8) / down
        width = 1.3221 * (alpha * n) ** (1 / 5)
    return float(np.clip(width, 1.0, n / 2))


def sandwich_cov(
    jac: Floats,
    resid: Floats,
    *,
    kernel: Kernel = "qs",
    bandwidth: float | None = None,
    prewhiten: bool = False,
) -> Floats:
    """Heteroscedasticity- and autocorrelation-consistent covariance of a least-squares fit.

    ``(J'J)^-1 [sum_j k(j/S) (G_j + G_j')] (J'J)^-1`` with ``G_j = sum_i g_i g_{i-j}'`` and
    ``g = J e``. Bandwidth by [andrews1991] unless given; with ``prewhiten`` each score is
    first filtered by an AR(1) and the result recoloured [andrews1992]. Small samples: times
    ``n/(n-p)``, and times ``(t_nu / z)^2`` at 95 % with ``nu = 1/(b int k^2)``, ``b = S/n``, so
    that a coverage factor 1.96 holds (fixed-b, [lazarus2018]).

    Parameters
    ----------
    jac : array, shape (n, p)
    resid : array, shape (n,)
    kernel : {"qs", "bartlett"}
    bandwidth : float, optional
        ``S`` in samples.
    prewhiten : bool

    Raises
    ------
    UncertaintyError
        When there are no more samples than parameters, or the parameters are not independent.
    """
    n, p = jac.shape
    if n <= p + 2 or resid.shape != (n,):
        raise UncertaintyError("The fit has too few samples for a covariance.")
    q, r = np.linalg.qr(jac)
    if np.min(np.abs(np.diag(r)) / np.linalg.norm(jac, axis=0)) < 1e-13:
        raise UncertaintyError("Two parameters of the fit cannot be told apart.")
    g = q * resid[:, None]
    if not np.any(g):
        return np.zeros((p, p))
    colour = np.ones(p)
    if prewhiten:
        a = np.clip(np.sum(g[1:] * g[:-1], 0) / np.sum(g[:-1] ** 2, 0), -0.97, 0.97)
        g = g[1:] - a * g[:-1]
        colour = 1.0 / (1.0 - a)
    m = g.shape[0]
    width = _plug_in(g, kernel) if bandwidth is None else float(bandwidth)
    meat = g.T @ g
    top = min(m - 1, int(width) if kernel == "bartlett" else m - 1)
    weights = _kernel(np.arange(top + 1) / width, kernel)
    for j in range(1, top + 1):
        gamma = g[j:].T @ g[:-j]
        meat += weights[j] * (gamma + gamma.T)
    meat = meat * np.outer(colour, colour) * (n / (n - p)) * (n / m)
    nu = max(1.0, n / (width * (2 / 3 if kernel == "bartlett" else 1.0)))
    meat *= (special.stdtrit(nu, 0.975) / special.ndtri(0.975)) ** 2
    inv = np.linalg.inv(r)
    out: Floats = inv @ meat @ inv.T
    return out

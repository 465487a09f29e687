"""The colour of a fit's noise: spectra averaged over, for :mod:`drypoint.uncertainty.noise`.

The colour of the noise is not known and a short record shows little of it, so it is averaged
over rather than picked: 18 spectra (white noise plus a first-order process, six correlation
lengths from about one sample to about a third of the record, three shares of white) and plain
white noise, each weighted by its restricted likelihood (the part of the data that the fit has
not used up; [patterson1971]) times its weight beforehand. The result is the posterior mean of
the parameters' covariance. As in GUM Supplement 1, 6.4.9 [gum-s1-2008], scarce data widen it:
the t factor is inside, so take it with infinite degrees of freedom.

For least squares ``p - p0 = (J'J)^-1 J'u = R^-1 Q'u`` (``J = Q R``), hence
``cov = R^-1 Q' C Q R^-T``, with ``C = Cov(u) = s2 D T' diag(S) T D``: ``T`` the cosine transform
(which all but diagonalises a stationary covariance), ``S_k = c + 1/(1 + (s_k/f0)^2)``,
``s_k = 2 sin(pi k/2N)``: exactly a sampled AR(1) with ``f0 = (1 - rho)/sqrt(rho)``, plus white.
``D`` is a log-linear drift of the noise along the record, from the first differences (noise in
depth weighs less where the curve is flat). ``benchmarks/noise_colour.py`` shows what it covers.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST = 128  # samples after averaging into equal blocks; the fit looks at slow things only
_CORNERS = 6
_WHITE_SHARES = (0.001, 0.03, 0.3)  # the white floor over the first-order plateau
_WHITE_WEIGHT = 30.0  # weight beforehand of plain white noise, against 1 for each other spectrum
_DRIFT_VARIANCE = 1.0  # of the log-variance's change along the record, beforehand


@njit(cache=True)
def orthonormal(jac: Floats) -> tuple[Floats, Floats, bool]:
    """Thin QR by modified Gram-Schmidt, twice; False when a column is (nearly) dependent."""
    n, p = jac.shape
    q = jac.copy()
    r = np.zeros((p, p))
    ok = True
    for k in range(p):
        before = 0.0
        for i in range(n):
            before += q[i, k] * q[i, k]
        for _ in range(2):
            for m in range(k):
                s = 0.0
                for i in range(n):
                    s += q[i, m] * q[i, k]
                r[m, k] += s
                for i in range(n):
                    q[i, k] -= s * q[i, m]
        after = 0.0
        for i in range(n):
            after += q[i, k] * q[i, k]
        if not after > 1e-26 * before:
            ok = False
            return q, r, ok
        norm = np.sqrt(after)
        r[k, k] = norm
        for i in range(n):
            q[i, k] /= norm
    return q, r, ok


@njit(cache=True)
def cosines(x: Floats) -> Floats:
    """Orthonormal cosine transform (DCT-II) of each column, by Chebyshev's recurrence."""
    n, p = x.shape
    out = np.zeros((n, p))
    for k in range(n):
        w = np.pi * k / n
        twice = 2.0 * np.cos(w)
        last = np.cos(0.5 * w)
        now = last
        for i in range(n):
            for j in range(p):
                out[k, j] += now * x[i, j]
            last, now = now, twice * now - last
        scale = np.sqrt((1.0 if k == 0 else 2.0) / n)
        for j in range(p):
            out[k, j] *= scale
    return out


@njit(cache=True)
def drift_of(resid: Floats) -> Floats:
    """Standard deviation along the record, relative: ``exp(b t / 2)``, ``t`` in [-1/2, 1/2].

    ``b = 24 sum(t |d|) / sum |d|`` from first differences ``d``, drawn towards zero by
    ``v / (v + 36/n)`` (its own variance is about ``36/n``).
    """
    n = resid.size
    total = 0.0
    moment = 0.0
    for i in range(n - 1):
        d = abs(resid[i + 1] - resid[i])
        total += d
        moment += d * ((i + 0.5) - 0.5 * (n - 1)) / n
    b = 0.0
    if total > 0.0:
        b = 24.0 * moment / total * _DRIFT_VARIANCE / (_DRIFT_VARIANCE + 36.0 / n)
    out = np.empty(n)
    for i in range(n):
        out[i] = np.exp(0.5 * b * (i - 0.5 * (n - 1)) / n)
    return out


@njit(cache=True)
def _one_spectrum(
    data: Floats, fit: Floats, spectrum: Floats, meat: Floats, g: Floats
) -> tuple[float, float]:
    """Restricted log-likelihood and scale for one spectrum; ``meat = Q' T' S T Q`` is filled.

    ``data`` holds the transformed Jacobian (p columns) and residuals, ``fit`` the transformed
    ``D Q``; ``g`` is work space, (p + 1, p + 1).
    """
    n, p1 = data.shape
    p = p1 - 1
    g[:] = 0.0
    meat[:] = 0.0
    logdet = 0.0
    product = 1.0
    for k in range(n):
        s = spectrum[k]
        product *= s
        if k % 16 == 15:
            logdet += np.log(product)
            product = 1.0
        for i in range(p1):
            t = data[k, i] / s
            for j in range(i + 1):
                g[i, j] += t * data[k, j]
        for i in range(p):
            t = fit[k, i] * s
            for j in range(i + 1):
                meat[i, j] += t * fit[k, j]
    logdet += np.log(product)
    for i in range(p1):
        for j in range(i + 1):
            t = g[i, j]
            for m in range(j):
                t -= g[i, m] * g[j, m]
            g[i, j] = np.sqrt(max(t, 1e-300)) if i == j else t / g[j, j]
    for i in range(p):
        logdet += 2.0 * np.log(g[i, i])
        for j in range(i):
            meat[j, i] = meat[i, j]
    rss = g[p, p] * g[p, p]
    return -0.5 * (logdet + (n - p) * np.log(rss)), rss / max(n - p - 2, 1)


@njit(cache=True)
def averaged_meat(data: Floats, fit: Floats) -> Floats:
    """``Q' C Q`` averaged over the spectra, weighted by likelihood and weight beforehand."""
    n, p1 = data.shape
    p = p1 - 1
    shares = len(_WHITE_SHARES)
    log_like = np.empty(_CORNERS * shares + 1)
    meats = np.empty((_CORNERS * shares + 1, p, p))
    g = np.empty((p1, p1))
    plateau = np.ones(n)
    spectrum = np.ones(n)
    like, s2 = _one_spectrum(data, fit, spectrum, meats[0], g)
    log_like[0] = like + np.log(_WHITE_WEIGHT)
    meats[0] *= s2
    model = 1
    low = np.log(3.0 / n)
    for corner in range(_CORNERS):
        f0 = np.exp(low * (1.0 - corner / (_CORNERS - 1.0)))
        for k in range(n):
            x = 2.0 * np.sin(np.pi * max(k, 0.5) / (2.0 * n)) / f0
            plateau[k] = 1.0 / (1.0 + x * x)
        for share in _WHITE_SHARES:
            for k in range(n):
                spectrum[k] = share + plateau[k]
            log_like[model], s2 = _one_spectrum(data, fit, spectrum, meats[model], g)
            meats[model] *= s2
            model += 1
    weights = np.exp(log_like - np.max(log_like))
    weights /= np.sum(weights)
    out = np.zeros((p, p))
    for i in range(model):
        out += weights[i] * meats[i]
    return out

"""Compiled loops of :mod:`drypoint.uncertainty.colour`: one fit after the other.

Each fit is computed by itself, so its numbers do not depend on those beside it, to the last bit.
Long axes come last, so that the compiler can take several numbers at once. Transformed data stand
in the order "even, then odd": the cosine transform of the even part of a signal gives the even
frequencies, of the odd part the odd ones, at half the work.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FREE = {"reassoc", "contract"}  # sums in the order that the processor does best


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def _dot(x: Floats, y: Floats) -> float:
    t = 0.0
    for i in range(len(x)):
        t += x[i] * y[i]
    return t


@njit(cache=True, nogil=True, error_model="numpy")
def _orthonormal(x: Floats, r: Floats) -> bool:
    """Gram and Schmidt, twice over, on the rows of x in place: ``x = r' q``, r upper.

    False where a row is no more than a sum of those before it.
    """
    p, n = x.shape
    r[:, :] = 0.0
    for b in range(p):
        for _ in range(2):
            for a in range(b):
                t = _dot(x[a], x[b])
                r[a, b] += t
                for i in range(n):
                    x[b, i] -= t * x[a, i]
        r[b, b] = np.sqrt(_dot(x[b], x[b]))
        if not r[b, b] > 1e-13:
            return False
        one = 1.0 / r[b, b]
        for i in range(n):
            x[b, i] *= one
    return True


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def _relative_drift(e: Floats) -> float:
    """``sum(t |d|) / sum |d|`` of the first differences, t in [-1/2, 1/2]; 0 where they are."""
    n = len(e)
    total = 0.0
    pull = 0.0
    for i in range(n - 1):
        d = abs(e[i + 1] - e[i])
        total += d
        pull += d * (i + 0.5 - 0.5 * (n - 1))
    return pull / (n * total) if total > 0.0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def _fold(x: Floats, even: Floats, odd: Floats) -> None:
    """Even and odd part of the rows of x."""
    c, m = x.shape
    half = m // 2
    for j in range(c):
        for i in range(half):
            even[j, i] = x[j, i] + x[j, m - 1 - i]
            odd[j, i] = x[j, i] - x[j, m - 1 - i]
        if m % 2:
            even[j, half] = x[j, half]


@njit(cache=True, nogil=True, error_model="numpy")
def likelihoods(
    g: Floats, p: int, m: int, logsum: Floats, low: Floats, like: Floats, rss: Floats
) -> None:
    """Restricted log-likelihood and residual sum of squares under each spectrum.

    ``g`` holds, packed row by row and shape (pairs, spectra), the symmetric (a b; b' c) of model
    and residuals: ``rss = c - b' a^-1 b``. ``low`` (pairs, spectra) is room for Cholesky's factors.
    """
    count = g.shape[1]
    for s in range(count):
        like[s] = 1.0
    for i in range(p + 1):
        ri = i * (i + 1) // 2
        for j in range(i + 1):
            rj = j * (j + 1) // 2
            for s in range(count):
                low[ri + j, s] = g[ri + j, s]
            for k in range(j):
                for s in range(count):
                    low[ri + j, s] -= low[ri + k, s] * low[rj + k, s]
            if i != j:
                for s in range(count):
                    low[ri + j, s] *= low[rj + j, s]
            elif i < p:
                for s in range(count):
                    like[s] *= low[ri + j, s]
                    low[ri + j, s] = 1.0 / np.sqrt(low[ri + j, s])
    last = p * (p + 1) // 2 + p
    for s in range(count):
        rss[s] = max(low[last, s], 1e-300)
        like[s] = -0.5 * (logsum[s] + np.log(like[s]) + (m - p) * np.log(rss[s]))


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def _sandwich(
    fit: Floats, spectra: Floats, w: Floats, r: Floats, scale: Floats, mean2: float, out: Floats
) -> None:
    """``R^-1 F diag(sum_s w_s S_s) F' R^-T mean2``, where ``scale`` is taken out of R's columns."""
    p, m = fit.shape
    mixed = np.zeros(m)
    for s in range(len(w)):
        for k in range(m):
            mixed[k] += w[s] * spectra[s, k]
    meat = np.zeros((p, p))
    for a in range(p):
        for b in range(p):
            t = 0.0
            for k in range(m):
                t += mixed[k] * fit[a, k] * fit[b, k]
            meat[a, b] = t
    inv = np.zeros((p, p))
    for b in range(p):
        inv[b, b] = 1.0 / r[b, b]
        for a in range(b - 1, -1, -1):
            t = 0.0
            for c in range(a + 1, b + 1):
                t += r[a, c] * inv[c, b]
            inv[a, b] = -t / r[a, a]
    for a in range(p):
        for b in range(a + 1):
            t = 0.0
            for c in range(a, p):
                for d in range(b, p):
                    t += inv[a, c] * meat[c, d] * inv[b, d]
            t *= mean2 / (scale[a] * scale[b])
            out[a, b] = t
            out[b, a] = t


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def _prepared(
    jac: Floats, e: Floats, block: int, q: Floats, r: Floats, scale: Floats, x: Floats, way: Floats
) -> float:
    """Fill q (p, n), r and scale of the fit, and x (2 p + 1, m): blocks of model, residuals, D Q.

    ``way`` (2, n) is room. Returns the residuals' mean square; NaN where the fit is no good, 0
    where they are.
    """
    n, p = jac.shape
    m = n // block
    rss = _dot(e, e)
    if not rss < np.inf:
        return np.nan
    for a in range(p):
        for i in range(n):
            q[a, i] = jac[i, a]
        scale[a] = np.sqrt(_dot(q[a], q[a]))
        if not (scale[a] > 0.0 and scale[a] < np.inf):
            return np.nan
        one = 1.0 / scale[a]
        for i in range(n):
            q[a, i] *= one
    if not _orthonormal(q, r):
        return np.nan
    if not rss > 0.0:
        return 0.0
    b = 12.0 * _relative_drift(e) / (1.0 + 36.0 / n)
    step = np.exp(b / n)
    now = np.exp(b * (-0.5 * (n - 1)) / n)
    for i in range(n):
        way[0, i] = now
        way[1, i] = 1.0 / now
        now *= step
    one = 1.0 / np.sqrt(block)
    size = one / np.sqrt(rss / n)
    for k in range(m):
        i0 = k * block
        for a in range(p):
            up = 0.0
            down = 0.0
            for i in range(i0, i0 + block):
                up += q[a, i] * way[0, i]
                down += q[a, i] * way[1, i]
            x[a, k] = down * one
            x[p + 1 + a, k] = up * one
        down = 0.0
        for i in range(i0, i0 + block):
            down += e[i] * way[1, i]
        x[p, k] = down * size
    return rss / n


@njit(cache=True, nogil=True, error_model="numpy")
def covariance_kernel(
    jac: Floats,
    resid: Floats,
    first: Ints,
    n: int,
    block: int,
    even: Floats,
    odd: Floats,
    spectra: Floats,
    inverse: Floats,
    logsum: Floats,
    beforehand: Floats,
) -> Floats:
    """Covariance of the parameters of fits of n samples each, beginning at ``first``.

    ``beforehand`` has shape (fits, spectra): logarithm of each spectrum's weight, what a quiet
    stretch says of it included. ``even`` and ``odd`` are the halves of the cosine transform of
    ``n // block`` points, frequencies last; ``spectra`` (spectra, m) and their ``inverse``
    (m, spectra) are in its order.
    """
    p = jac.shape[1]
    m = n // block
    n_even = (m + 1) // 2
    count = len(spectra)
    pairs = (p + 1) * (p + 2) // 2
    out = np.full((len(first), p, p), np.nan)
    q = np.empty((p, n))
    way = np.empty((2, n))
    r = np.empty((p, p))
    scrap = np.empty((p, p))
    scale = np.empty(p)
    x = np.empty((2 * p + 1, m))
    even_part = np.empty((2 * p + 1, n_even))
    odd_part = np.empty((2 * p + 1, m // 2))
    y_even = np.empty((2 * p + 1, n_even))
    y_odd = np.empty((2 * p + 1, m // 2))
    products = np.empty((pairs, m))
    fit = np.empty((p, m))
    g = np.empty((pairs, count))
    low = np.empty((pairs, count))
    like = np.empty(count)
    rss = np.empty(count)
    for f in range(len(first)):
        a = first[f]
        mean2 = _prepared(jac[a : a + n], resid[a : a + n], block, q, r, scale, x, way)
        if not mean2 > 0.0:
            if mean2 == 0.0:
                out[f] = 0.0
            continue
        if not _orthonormal(x[:p], scrap):
            continue
        _fold(x, even_part, odd_part)
        np.dot(even_part, even, y_even)
        np.dot(odd_part, odd, y_odd)
        at = 0
        for i in range(p + 1):
            for j in range(i + 1):
                for k in range(n_even):
                    products[at, k] = y_even[i, k] * y_even[j, k]
                for k in range(m // 2):
                    products[at, n_even + k] = y_odd[i, k] * y_odd[j, k]
                at += 1
        fit[:, :n_even] = y_even[p + 1 :]
        fit[:, n_even:] = y_odd[p + 1 :]
        np.dot(products, inverse, g)
        likelihoods(g, p, m, logsum, low, like, rss)
        top = -np.inf
        for s in range(count):
            like[s] += beforehand[f, s]
            top = max(top, like[s])
        total = 0.0
        for s in range(count):
            like[s] = np.exp(like[s] - top)
            total += like[s]
        for s in range(count):
            rss[s] *= like[s] / (total * max(m - p - 2, 1))
        _sandwich(fit, spectra, rss, r, scale, mean2, out[f])
    return out


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def _quiet_signal(signal: Floats, stop: int, block: int, parabola: Floats, x: Floats) -> None:
    """The last samples before ``stop`` in x: averaged, without their parabola, of unit size."""
    m = len(x)
    a = stop - m * block
    one = 1.0 / np.sqrt(block)
    for k in range(m):
        t = 0.0
        for i in range(a + k * block, a + (k + 1) * block):
            t += signal[i] - signal[a]
        x[k] = t * one
    for c in range(3):
        t = _dot(parabola[c], x)
        for k in range(m):
            x[k] -= t * parabola[c, k]
    t = np.sqrt(_dot(x, x) / m)
    one = 1.0 / t if t > 0.0 else 0.0
    for k in range(m):
        x[k] *= one


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def quiet_kernel(
    signal: Floats,
    stop: Ints,
    block: int,
    parabola: Floats,
    even: Floats,
    odd: Floats,
    model: Floats,
    inverse: Floats,
    factors: Floats,
    constant: Floats,
) -> Floats:
    """Log-likelihood of each spectrum, (stretches, spectra), from the last ``m block`` samples of
    stretches that end at ``stop``.

    ``parabola`` (3, m) is orthonormal, ``model`` its cosine transform, ``inverse`` (spectra, m)
    one over the spectra. ``factors`` (spectra, 6) holds Cholesky's factors of the model's part,
    packed, one over each on the diagonal; ``constant`` what of the likelihood is the same always.
    """
    m = len(parabola[0])
    n_even = (m + 1) // 2
    count = len(inverse)
    out = np.empty((len(stop), count))
    x = np.empty((1, m))
    even_part = np.empty((1, n_even))
    odd_part = np.empty((1, m // 2))
    y_even = np.empty((1, n_even))
    y_odd = np.empty((1, m // 2))
    p0 = np.empty(m)
    p1 = np.empty(m)
    p2 = np.empty(m)
    p3 = np.empty(m)
    for f in range(len(stop)):
        _quiet_signal(signal, stop[f], block, parabola, x[0])
        _fold(x, even_part, odd_part)
        np.dot(even_part, even, y_even)
        np.dot(odd_part, odd, y_odd)
        for k in range(m):
            y = y_even[0, k] if k < n_even else y_odd[0, k - n_even]
            p0[k] = model[0, k] * y
            p1[k] = model[1, k] * y
            p2[k] = model[2, k] * y
            p3[k] = y * y
        for s in range(count):
            b0 = 0.0
            b1 = 0.0
            b2 = 0.0
            c = 0.0
            for k in range(m):
                v = inverse[s, k]
                b0 += v * p0[k]
                b1 += v * p1[k]
                b2 += v * p2[k]
                c += v * p3[k]
            b0 *= factors[s, 0]
            b1 = (b1 - factors[s, 1] * b0) * factors[s, 2]
            b2 = (b2 - factors[s, 3] * b0 - factors[s, 4] * b1) * factors[s, 5]
            rest = max(c - b0 * b0 - b1 * b1 - b2 * b2, 1e-300)
            out[f, s] = constant[s] - 0.5 * (m - 3) * np.log(rest)
    return out

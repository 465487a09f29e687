"""What drypoint.uncertainty.colour does, in plain array operations: a check of its kernels."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from drypoint.uncertainty.colour import (
    _LEAST_QUIET,
    MOST,
    MOST_QUIET,
    _spectra,
    _spectra_beside,
)

Floats = NDArray[np.float64]

_DRIFT_VARIANCE = 1.0  # of the log-variance's change along the record, beforehand


@lru_cache(maxsize=256)
def transform(n: int) -> Floats:
    """Orthonormal cosine transform (DCT-II), shape (n, n)."""
    k = np.arange(n)[:, None]
    t: Floats = np.cos(np.pi * k * (np.arange(n) + 0.5) / n) * np.sqrt(2.0 / n)
    t[0] /= np.sqrt(2.0)
    return t


def quiet_blocks(signal: Floats, n: int) -> Floats | None:
    """The end of each quiet stretch (fits, samples), averaged as a fit of ``n`` samples is.

    Returns
    -------
    array, shape (fits, m, 4), or None
        Orthonormal parabola and what is left of the signal, transformed and of unit size; None
        where there is too little.
    """
    block = -(-n // MOST)
    m = min(signal.shape[1] // block, MOST_QUIET)
    if m < _LEAST_QUIET:
        return None
    last = signal[:, signal.shape[1] - m * block :]
    y = _blocks((last - last[:, :1])[:, :, None], m, block)[:, :, 0]
    q, _ = np.linalg.qr(np.linspace(-1.0, 1.0, m)[:, None] ** np.arange(3))
    y = y - (y @ q) @ q.T
    size = np.sqrt(np.mean(y * y, axis=1, keepdims=True))
    y = np.where(size > 0, y / np.where(size > 0, size, 1.0), 0.0)
    t = transform(m)
    model = np.broadcast_to(t @ q, (len(y), m, 3))
    return np.concatenate([model, (y @ t.T)[:, :, None]], axis=2)


def drift_of(resid: Floats) -> Floats:
    """Standard deviation along the record, relative: ``exp(b t / 2)``, ``t`` in [-1/2, 1/2].

    ``b = 24 sum(t |d|) / sum |d|`` from first differences ``d``, drawn towards zero by
    ``v / (v + 36/n)`` (its own variance is about ``36/n``). Shape (fits, n) in and out.
    """
    n = resid.shape[1]
    d = np.abs(np.diff(resid, axis=1))
    t = ((np.arange(n - 1) + 0.5) - 0.5 * (n - 1)) / n
    total = d.sum(axis=1)
    safe = np.where(total > 0.0, total, 1.0)
    b = 24.0 * (d @ t) / safe * _DRIFT_VARIANCE / (_DRIFT_VARIANCE + 36.0 / n)
    out: Floats = np.exp(0.5 * b[:, None] * (np.arange(n) - 0.5 * (n - 1)) / n)
    return out


def _blocks(x: Floats, m: int, block: int) -> Floats:
    """Sums over equal blocks of samples over sqrt(block): (fits, n, p) -> (fits, m, p)."""
    cut = x[:, : m * block]
    out: Floats = cut.reshape(len(x), m, block, -1).sum(axis=2) / np.sqrt(block)
    return out


def covariance_of(jac: Floats, resid: Floats, beside: Floats | None = None) -> Floats:
    """Covariance of the parameters of fits of one length; see the head of this module.

    Parameters
    ----------
    jac : array, shape (fits, n, p)
    resid : array, shape (fits, n)
    beside : array, optional
        From :func:`quiet_blocks`.

    Returns
    -------
    array, shape (fits, p, p)
        NaN where the parameters cannot be told apart, zero where the residuals are.
    """
    count, n, p = jac.shape
    cov = np.full((count, p, p), np.nan)
    rss = np.einsum("fi,fi->f", resid, resid)
    scale = np.sqrt(np.einsum("fip,fip->fp", jac, jac))
    good = np.isfinite(rss) & np.all(np.isfinite(scale) & (scale > 0), axis=1)
    still = good & ~(rss > 0.0)
    rows = np.flatnonzero(good)
    if not len(rows):
        return cov
    q, r = np.linalg.qr(jac[rows] / scale[rows][:, None, :])
    told = np.min(np.abs(np.einsum("fpp->fp", r)), axis=1) > 1e-13
    cov[np.intersect1d(rows[told], np.flatnonzero(still))] = 0.0
    use = told & (rss[rows] > 0.0)
    rows, q, r = rows[use], q[use], r[use]
    if not len(rows):
        return cov
    root = np.sqrt(rss[rows] / n)
    drift = drift_of(resid[rows])
    block = -(-n // MOST)
    m = n // block
    model, _ = np.linalg.qr(_blocks(q / drift[:, :, None], m, block))
    fit = _blocks(q * drift[:, :, None], m, block)
    seen = _blocks((resid[rows] / drift / root[:, None])[:, :, None], m, block)
    data = np.concatenate([model, seen], axis=2)
    t = transform(m)
    meat = _averaged_meat(
        np.matmul(t, data), np.matmul(t, fit), None if beside is None else beside[rows]
    )
    inv = np.linalg.inv(r * scale[rows][:, None, :])
    out = np.einsum("fab,fbc,fdc->fad", inv, meat, inv) * (root**2)[:, None, None]
    cov[rows] = 0.5 * (out + np.swapaxes(out, 1, 2))
    return cov


def _likelihood(data: Floats, spectra: Floats) -> tuple[Floats, Floats]:
    """Restricted log-likelihood and residual sum of squares, (fits, spectra), of transformed model
    and residuals (fits, m, p + 1)."""
    count, n, p1 = data.shape
    p = p1 - 1
    pairs = data[:, :, :, None] * data[:, :, None, :]
    g = np.matmul(1.0 / spectra, pairs.reshape(count, n, p1 * p1)).reshape(count, -1, p1, p1)
    a, b, c = g[:, :, :p, :p], g[:, :, :p, p], g[:, :, p, p]
    logdet = np.log(spectra).sum(axis=1) + np.linalg.slogdet(a)[1]
    rss = c - np.einsum("fsi,fsi->fs", b, np.linalg.solve(a, b[..., None])[..., 0])
    rss = np.maximum(rss, 1e-300)
    return -0.5 * (logdet + (n - p) * np.log(rss)), rss


def _averaged_meat(data: Floats, fit: Floats, beside: Floats | None) -> Floats:
    """``Q' C Q`` averaged over the spectra, weighted by likelihood and weight beforehand.

    ``data`` (fits, m, p + 1) holds the transformed model and residuals, ``fit`` (fits, m, p) the
    transformed ``D Q``, ``beside`` the like of ``data`` for the quiet stretches.
    """
    count, n, p = fit.shape
    if beside is None:
        spectra, beforehand = _spectra(n)
        like, rss = _likelihood(data, spectra)
    else:
        spectra, others, beforehand = _spectra_beside(n, beside.shape[1])
        like, rss = _likelihood(data, spectra)
        like = like + _likelihood(beside, others)[0]
    both = fit[:, :, :, None] * fit[:, :, None, :]
    meats = np.matmul(spectra, both.reshape(count, n, p * p)).reshape(count, -1, p, p)
    like = like + beforehand
    w = np.exp(like - like.max(axis=1, keepdims=True))
    w *= rss / max(n - p - 2, 1) / w.sum(axis=1, keepdims=True)
    out: Floats = np.einsum("fs,fsij->fij", w, meats)
    return out

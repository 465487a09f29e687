"""Uncertainty of a least-squares fit whose noise has a colour; and a robust straight line.

How the colour is found stands in :mod:`drypoint.uncertainty.colour`; what the intervals cover,
in ``benchmarks/noise_colour.py``. Many fits are done at once; fits of one length share a pass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.uncertainty.colour import covariance_of, quiet_blocks
from drypoint.uncertainty.hac import longrun_factor, longrun_factors, sandwich_cov

__all__ = [
    "Quiet",
    "fit_covariance",
    "fit_covariances",
    "line_fits",
    "longrun_factor",
    "longrun_factors",
    "robust_slope",
    "robust_slopes",
    "sandwich_cov",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_AT_ONCE = 4_000_000  # numbers of the Jacobians that one pass holds


@dataclass(frozen=True)
class Quiet:
    """For each fit a stretch of the same noise beside it: where nothing but noise and drift moves
    the signal (a hold), at the sampling rate of the fit.

    ``signal`` has shape (n_samples,), any unit; ``start`` and ``stop`` shape (n_fits,), equal
    where there is none.
    """

    signal: Floats
    start: Ints
    stop: Ints


def fit_covariances(
    jac: Floats, resid: Floats, offsets: Ints, quiet: Quiet | None = None
) -> Floats:
    """Covariance of the parameters of many least-squares fits, their noise of unknown colour.

    The method stands at the head of :mod:`drypoint.uncertainty.colour`. The factor of Student's t
    is inside: take the result with infinite degrees of freedom.

    Parameters
    ----------
    jac : array, shape (n_samples, p)
        Derivative of the model with respect to each parameter at the fit, fit behind fit.
    resid : array, shape (n_samples,)
        Residuals in sample order, samples about equally spaced in time.
    offsets : array, shape (n_fits + 1,)
        Samples of fit i are ``offsets[i]:offsets[i + 1]``.
    quiet : Quiet, optional
        Helps to tell the colour: a fit of twenty samples cannot tell slow noise from none.

    Returns
    -------
    array, shape (n_fits, p, p)
        In the parameters' units; NaN when a fit has no more samples than parameters, a number is
        not finite, or the parameters cannot be told apart; zero when the residuals are.
    """
    p = jac.shape[1]
    lengths = np.diff(offsets)
    out = np.full((len(lengths), p, p), np.nan)
    held = np.zeros(len(lengths), dtype=np.int64) if quiet is None else quiet.stop - quiet.start
    kinds, kind = np.unique(np.stack([lengths, held]), axis=1, return_inverse=True)
    for j, (n, m) in enumerate(kinds.T):
        if n <= p:
            continue
        fits = np.flatnonzero(kind.ravel() == j)
        step = max(1, _AT_ONCE // int(n * p + 16 * m))
        for k in range(0, len(fits), step):
            some = fits[k : k + step]
            at = offsets[some][:, None] + np.arange(n)
            beside = None
            if quiet is not None and m > 0:
                stretch = quiet.signal[quiet.start[some][:, None] + np.arange(m)]
                beside = quiet_blocks(stretch, int(n))
            out[some] = covariance_of(jac[at], resid[at], beside)
    return out


def fit_covariance(jac: Floats, resid: Floats) -> Floats:
    """:func:`fit_covariances` of one fit: jac (n, p), resid (n,) -> (p, p)."""
    return fit_covariances(jac, resid, np.array([0, len(resid)]))[0]


def line_fits(
    x: Floats, y: Floats, offsets: Ints, at: Floats, quiet: Quiet | None = None
) -> tuple[Floats, Floats, Floats, Floats]:
    """Straight lines by least squares through many pieces, with coloured noise.

    Parameters
    ----------
    x, y : array, shape (n_samples,)
    offsets : array, shape (n + 1,)
        No piece is empty.
    at : array, shape (n,)
        Where the value is wanted.
    quiet : Quiet, optional
        As for :func:`fit_covariances`.

    Returns
    -------
    value, slope, u_value, u_slope : array, shape (n,)
        Slope 0 with NaN uncertainties where all x of a piece are one.
    """
    starts, lengths = offsets[:-1], np.diff(offsets)
    if not len(lengths):
        empty = np.empty(0)
        return empty, empty, empty, empty

    def total(v: Floats) -> Floats:
        return np.asarray(np.add.reduceat(v, starts))

    dx = x - np.repeat(at, lengths)
    mx, my = total(dx) / lengths, total(y) / lengths
    cx = dx - np.repeat(mx, lengths)
    sxx = total(cx * cx)
    slope = total(cx * (y - np.repeat(my, lengths))) / np.where(sxx > 0, sxx, 1.0)
    value = my - slope * mx
    resid = y - np.repeat(value, lengths) - np.repeat(slope, lengths) * dx
    cov = fit_covariances(np.stack([np.ones_like(dx), dx], axis=1), resid, offsets, quiet)
    u = np.sqrt(np.maximum(np.diagonal(cov, axis1=1, axis2=2), 0.0))
    return value, slope, u[:, 0], u[:, 1]


@njit(cache=True)
def _huber_lines(
    t: Floats, y: Floats, offsets: Ints, jac: Floats, e: Floats
) -> tuple[Floats, Floats]:
    """Huber's line through each piece; fills the Jacobian and the pseudo-residuals."""
    count = len(offsets) - 1
    slopes = np.full(count, np.nan)
    intercepts = np.full(count, np.nan)
    for piece in range(count):
        lo = offsets[piece]
        hi = offsets[piece + 1]
        n = hi - lo
        if n < 3:
            continue
        tm = 0.0
        for i in range(lo, hi):
            tm += t[i]
        tm /= n
        span = 0.0
        for i in range(lo, hi):
            jac[i, 0] = 1.0
            jac[i, 1] = t[i] - tm
            span = max(span, abs(jac[i, 1]))
        if not span > 0.0:
            continue
        w = np.ones(n)
        size = np.empty(n)
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
                x = jac[lo + i, 1]
                s0 += w[i]
                s1 += w[i] * x
                s2 += w[i] * x * x
                y0 += w[i] * y[lo + i]
                y1 += w[i] * x * y[lo + i]
            det = s0 * s2 - s1 * s1
            new_b = (s0 * y1 - s1 * y0) / det
            new_a = (y0 - new_b * s1) / s0
            for i in range(n):
                e[lo + i] = y[lo + i] - new_a - new_b * jac[lo + i, 1]
                size[i] = abs(e[lo + i])
            s = 1.4826 * np.median(size) * np.sqrt(n / (n - 2.0))
            done = abs(new_b - b) * span + abs(new_a - a) <= 1e-9 * s
            a = new_a
            b = new_b
            if not s > 0.0 or done:
                break
            for i in range(n):
                z = size[i] / s
                w[i] = 1.0 if z <= 1.345 else 1.345 / z
        slopes[piece] = b
        intercepts[piece] = a - b * tm
        if not s > 0.0:
            continue
        inside = 0.0
        for i in range(lo, hi):
            if abs(e[i]) <= 1.345 * s:
                inside += 1.0
        share = max(inside / n, 0.1)
        correct = 1.0 + 2.0 / n * (1.0 - share) / share
        for i in range(lo, hi):
            e[i] = min(max(e[i], -1.345 * s), 1.345 * s) * correct / share
    return slopes, intercepts


def robust_slopes(t: Floats, y: Floats, offsets: Ints) -> tuple[Floats, Floats, Floats]:
    """Straight lines by Huber's M-estimate (k = 1.345), for thermal drift.

    Parameters
    ----------
    t, y : array, shape (n_samples,)
        Time and depth (or force) in sample order, piece behind piece.
    offsets : array, shape (n + 1,)

    Returns
    -------
    slope, intercept (at ``t = 0``), u_slope : array, shape (n,)
        ``u_slope`` from :func:`fit_covariances` on the pseudo-residuals
        ``s psi(e/s) / mean(psi')`` ([huber1981], section 7.6), so that it knows the colour of
        the noise. NaN with fewer than three samples.
    """
    jac = np.zeros((len(t), 2))
    e = np.zeros(len(t))
    slope, intercept = _huber_lines(t, y, offsets, jac, e)
    cov = fit_covariances(jac, e, offsets)
    return slope, intercept, np.sqrt(cov[:, 1, 1])


def robust_slope(t: Floats, y: Floats) -> tuple[float, float, float]:
    """:func:`robust_slopes` of one piece."""
    out = robust_slopes(t, y, np.array([0, len(t)]))
    return float(out[0][0]), float(out[1][0]), float(out[2][0])

"""Uncertainty of a least-squares fit whose noise has a colour; and a robust straight line.

How the colour is found stands in :mod:`drypoint.uncertainty.colour`; what the intervals cover,
in ``benchmarks/noise_colour.py``. Many fits are done at once; fits of one length share a pass.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.medians import middle_of
from drypoint.threads import in_stretches, together
from drypoint.uncertainty.colour import Quiet, covariances_of
from drypoint.uncertainty.hac import longrun_factor, longrun_factors, sandwich_cov

__all__ = [
    "Quiet",
    "fit_covariance",
    "fit_covariances",
    "line_fits",
    "line_slopes",
    "longrun_factor",
    "longrun_factors",
    "robust_slope",
    "robust_slopes",
    "sandwich_cov",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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
    held: Ints = np.zeros(len(lengths), dtype=np.int64)
    if quiet is not None:
        held = (quiet.stop - quiet.start)[quiet.stretch]
    kinds, kind = np.unique(np.stack([lengths, held]), axis=1, return_inverse=True)
    jac, resid = np.ascontiguousarray(jac), np.ascontiguousarray(resid)
    for j, (n, m) in enumerate(kinds.T):
        if n <= p:
            continue
        fits = np.flatnonzero(kind.ravel() == j)
        beside = quiet.of(fits) if quiet is not None and m > 0 else None
        out[fits] = covariances_of(jac, resid, offsets[fits].astype(np.int64), int(n), beside)
    return out


def fit_covariance(jac: Floats, resid: Floats) -> Floats:
    """:func:`fit_covariances` of one fit: jac (n, p), resid (n,) -> (p, p)."""
    return fit_covariances(jac, resid, np.array([0, len(resid)]))[0]


def _lines(x: Floats, y: Floats, offsets: Ints, at: Floats) -> tuple[Floats, Floats, Floats]:
    """Value at ``at`` and slope of each line, and ``x - at``."""
    starts, lengths = offsets[:-1], np.diff(offsets)
    if not len(lengths):
        return np.empty(0), np.empty(0), np.empty(0)

    def total(v: Floats) -> Floats:
        return np.asarray(np.add.reduceat(v, starts))

    dx = x - np.repeat(at, lengths)
    mx, my = total(dx) / lengths, total(y) / lengths
    cx = dx - np.repeat(mx, lengths)
    sxx = total(cx * cx)
    slope = total(cx * (y - np.repeat(my, lengths))) / np.where(sxx > 0, sxx, 1.0)
    return my - slope * mx, slope, dx


def line_slopes(x: Floats, y: Floats, offsets: Ints) -> Floats:
    """Only the slopes of :func:`line_fits`."""
    return _lines(x, y, offsets, np.zeros(len(offsets) - 1))[1]


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
    lengths = np.diff(offsets)
    value, slope, dx = _lines(x, y, offsets, at)
    if not len(lengths):
        return value, slope, value, slope
    resid = y - np.repeat(value, lengths) - np.repeat(slope, lengths) * dx
    cov = fit_covariances(np.stack([np.ones_like(dx), dx], axis=1), resid, offsets, quiet)
    u = np.sqrt(np.maximum(np.diagonal(cov, axis1=1, axis2=2), 0.0))
    return value, slope, u[:, 0], u[:, 1]


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc", "contract"})
def _weighted_line(x: Floats, y: Floats, w: Floats) -> tuple[float, float]:
    """Intercept and slope."""
    s0 = s1 = s2 = y0 = y1 = 0.0
    for i in range(len(x)):
        wx = w[i] * x[i]
        s0 += w[i]
        s1 += wx
        s2 += wx * x[i]
        y0 += w[i] * y[i]
        y1 += wx * y[i]
    b = (s0 * y1 - s1 * y0) / (s0 * s2 - s1 * s1)
    return (y0 - b * s1) / s0, b


@njit(cache=True, nogil=True, error_model="numpy")
def _huber_line(x: Floats, y: Floats, span: float, e: Floats) -> tuple[float, float, float]:
    """Intercept, slope and scale of Huber's line; fills the residuals."""
    n = len(x)
    w = np.ones(n)
    size = np.empty(n)
    room = np.empty(n)
    a = b = s = 0.0
    for _ in range(50):
        new_a, new_b = _weighted_line(x, y, w)
        for i in range(n):
            e[i] = y[i] - new_a - new_b * x[i]
            size[i] = abs(e[i])
        s = 1.4826 * middle_of(size, room) * np.sqrt(n / (n - 2.0))
        done = abs(new_b - b) * span + abs(new_a - a) <= 1e-9 * s
        a, b = new_a, new_b
        if not s > 0.0 or done:
            break
        limit = 1.345 * s
        for i in range(n):
            w[i] = limit / max(size[i], limit)
    return a, b, s


@njit(cache=True, nogil=True, error_model="numpy")
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
        a, b, s = _huber_line(jac[lo:hi, 1].copy(), y[lo:hi], span, e[lo:hi])
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

    def some(a: int, b: int) -> tuple[Floats, Floats]:
        lo, hi = offsets[a], offsets[b]
        found: tuple[Floats, Floats] = _huber_lines(
            t[lo:hi], y[lo:hi], offsets[a : b + 1] - lo, jac[lo:hi], e[lo:hi]
        )
        return found

    slope, intercept = together(in_stretches(len(offsets) - 1, some))
    cov = fit_covariances(jac, e, offsets)
    return slope, intercept, np.sqrt(cov[:, 1, 1])


def robust_slope(t: Floats, y: Floats) -> tuple[float, float, float]:
    """:func:`robust_slopes` of one piece."""
    out = robust_slopes(t, y, np.array([0, len(t)]))
    return float(out[0][0]), float(out[1][0]), float(out[2][0])

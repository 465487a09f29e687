"""Unloading curves: F = A (1 + (h - h_ref) / L)^m, fitted to many records at once.

This is Oliver and Pharr's power law F = alpha (h - h_f)^m written with well-scaled parameters:
A is the force at h_ref, L = h_ref - h_f, and S = m A / L is the slope there. Least squares in
force by Levenberg-Marquardt with exact derivatives, then without the bias that noise in depth gives
it (:mod:`drypoint.reduction.refine`); covariance with coloured noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.records.segments import noise_of
from drypoint.reduction.power_law import fit_power_law, solve3, start_near
from drypoint.reduction.refine import refine
from drypoint.threads import in_stretches, together
from drypoint.uncertainty.noise import Quiet, fit_covariances

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Status of a fit, by code.
STATUS = {0: "", 1: "too few samples in the fit window", 2: "the fit did not converge"}


@dataclass(frozen=True)
class Unloading:
    """Fits of all unloading curves, shape (n,) each.

    ``A`` (N), ``L`` (m), ``m`` as in the module's formula with ``h_ref`` (m); ``cov`` has shape
    (n, 3, 3) in the order A, L, m; ``rms`` is the residual's root mean square over A; ``samples``
    were used; ``status`` is a key of :data:`STATUS`. ``force_rate`` (N/s, positive) is the mean
    rate of unloading in the window, NaN without time. ``m_per_C`` (N/m) and ``C_per_C`` say how far
    the fitted exponent and the compliance at the top (1/S) would move with the frame compliance
    taken off the depth; C_per_C is near -1.
    """

    A: Floats
    L: Floats
    m: Floats
    h_ref: Floats
    cov: Floats
    rms: Floats
    samples: Ints
    status: Ints
    force_rate: Floats
    m_per_C: Floats
    C_per_C: Floats

    @property
    def S(self) -> Floats:
        """Slope at ``h_ref``, N/m."""
        return self.m * self.A / self.L

    @property
    def h_f(self) -> Floats:
        """Depth at which the fitted curve reaches zero force, m."""
        return self.h_ref - self.L


@njit(cache=True, nogil=True)
def _with_compliance(
    x: Floats, p: Floats, jac: Floats, f_max: float, span: float, linear: bool
) -> tuple[float, float]:
    """Change of m and of 1/S for each unit of compliance taken off the depth (first order).

    The depths relative to the reference move by -dC (F - F_max); least squares answers with
    dp = -(J'J)^-1 J' (f' dx).
    """
    n = len(x)
    h = np.zeros((3, 3))
    g = np.zeros(3)
    free = np.ones(3)
    if linear:
        free[2] = 0.0
    for i in range(n):
        u = 1.0 + x[i] / p[1]
        f = p[0] * np.exp(p[2] * np.log(u))
        push = p[2] * f / (u * p[1]) * (f - 1.0) * f_max / span
        for a in range(3):
            g[a] += jac[i, a] * push
            for b in range(3):
                h[a, b] += jac[i, a] * jac[i, b]
    dp = solve3(h, g, 0.0, free)
    dm = 0.0 if linear else dp[2]
    c_t = p[1] * span / (p[2] * p[0] * f_max)
    return dm, c_t * (dp[1] / p[1] - dp[0] / p[0] - dm / p[2])


@njit(cache=True, nogil=True)
def _fit_all(
    force: Floats,
    depth: Floats,
    time: Floats,
    start: Ints,
    stop: Ints,
    f_max: Floats,
    h_ref: Floats,
    low: Floats,
    high: Floats,
    linear: bool,
) -> tuple[Floats, Ints, Floats, Floats, Ints]:
    n = len(start)
    real = np.full((n, 7), np.nan)
    room = 0
    for c in range(n):
        room += stop[c] - start[c]
    all_jac = np.empty((room, 3))
    all_res = np.empty(room)
    used = np.zeros(n + 1, dtype=np.int64)
    whole = np.zeros((n, 2), dtype=np.int64)
    for c in range(n):
        a = start[c]
        b = stop[c]
        fm = f_max[c]
        # From the last sample above the window's top to the first below its bottom.
        i0 = a
        while i0 < b and force[i0] > high[c] * fm:
            i0 += 1
        i1 = i0
        while i1 < b and force[i1] >= low[c] * fm:
            i1 += 1
        k = i1 - i0
        whole[c, 0] = k
        used[c + 1] = used[c]
        if k < 6:
            whole[c, 1] = 1
            continue
        span = depth[i0] - depth[i1 - 1]
        if not span > 0.0:
            whole[c, 1] = 2
            continue
        x = (depth[i0:i1] - h_ref[c]) / span
        y = force[i0:i1] / fm
        if np.isfinite(time[i0]):
            dt = time[i1 - 1] - time[i0]
            if dt > 0.0:
                real[c, 4] = (force[i0] - force[i1 - 1]) / dt
        # Straight line through the data for a start (and for the linear method).
        xm = np.mean(x)
        ym = np.mean(y)
        sxx = 0.0
        sxy = 0.0
        for i in range(k):
            sxx += (x[i] - xm) ** 2
            sxy += (x[i] - xm) * (y[i] - ym)
        slope = sxy / sxx
        p0 = np.empty(3)
        free = np.ones(3)
        if linear:
            at = ym - slope * xm
            p0[0] = at
            p0[1] = at / slope if slope != 0.0 else 1.0
            p0[2] = 1.0
            free[2] = 0.0
        else:
            p0[0] = 1.0
            p0[2] = 1.4
            p0[1] = max(1.4 / max(1.3 * slope, 1e-3), 1.02 * (-np.min(x)))
        # Where depth is the noisier of the two (all usual records) its noise bends the fit.
        bent = np.min(y) > 0.0 and slope * noise_of(x) > noise_of(y)
        settled = False
        status = 0
        if bent:
            p, near = start_near(x, y, p0, free)
            if near:
                p, jac, res, settled = refine(x, y, p, free)
        if not settled:
            p, jac, rss, status = fit_power_law(x, y, p0, free)
            if status != 0 and not linear:
                p0[2] = 2.0
                p0[1] = 1.3 * (-np.min(x)) + 0.2
                p, jac, rss, status = fit_power_law(x, y, p0, free)
            if status == 0 and bent:
                p, jac, res, _ = refine(x, y, p, free)
            else:
                res = y - p[0] * jac[:, 0]
        rss = np.sum(res * res)
        whole[c, 1] = status
        real[c, 0] = p[0] * fm
        real[c, 1] = p[1] * span
        real[c, 2] = p[2]
        real[c, 3] = np.sqrt(rss / k) / p[0]
        first = used[c]
        used[c + 1] = first + k
        for i in range(k):
            all_res[first + i] = res[i] * fm
            all_jac[first + i, 0] = jac[i, 0]
            all_jac[first + i, 1] = jac[i, 1] * fm / span
            all_jac[first + i, 2] = jac[i, 2] * fm
        real[c, 5], real[c, 6] = _with_compliance(x, p, jac, fm, span, linear)
    return real, whole, all_jac[: used[n]], all_res[: used[n]], used


def fit_unloading(
    force: Floats,
    depth: Floats,
    time: Floats,
    start: Ints,
    stop: Ints,
    f_max: Floats,
    h_ref: Floats,
    window: tuple[float, float] | Floats,
    *,
    linear: bool = False,
    quiet: Quiet | None = None,
) -> Unloading:
    """Fit every unloading curve.

    Parameters
    ----------
    force, depth, time : array, shape (n_samples,)
        Corrected, in N, m, s (time may be NaN).
    start, stop : array, shape (n,)
        Samples of each unloading.
    f_max, h_ref : array, shape (n,)
        Force at the start of unloading (N) and the depth to which A and S refer (m).
    window : pair, or array of shape (n, 2)
        Lowest and highest share of ``f_max`` in the fit.
    linear : bool
        A straight tangent (m = 1) instead of the power law.
    quiet : Quiet, optional
        For each of them a hold that shows the colour of the noise in depth.

    Returns
    -------
    Unloading
    """
    w = np.broadcast_to(np.asarray(window, dtype=float), (len(start), 2))
    low, high = w[:, 0].copy(), w[:, 1].copy()

    def some(a: int, b: int) -> tuple[Floats, Ints, Floats, Floats, Ints]:
        one = slice(a, b)
        values, numbers, slopes, rest, used = _fit_all(
            force, depth, time, start[one], stop[one], f_max[one], h_ref[one], low[one], high[one],
            linear,
        )  # fmt: skip
        return values, numbers, slopes, rest, np.diff(used)

    real, whole, jac, res, counts = together(in_stretches(len(start), some))
    used = np.concatenate([[0], np.cumsum(counts)])
    fitted = np.flatnonzero(np.diff(used) > 0)
    cov = np.full((len(start), 3, 3), np.nan)
    cov[fitted] = 0.0
    p = 2 if linear else 3
    offsets = np.concatenate([used[fitted], used[-1:]])
    cov[fitted[:, None, None], np.arange(p)[:, None], np.arange(p)] = fit_covariances(
        jac[:, :p],
        res,
        offsets,
        None if quiet is None else quiet.of(fitted),
    )
    return Unloading(
        A=real[:, 0].copy(),
        L=real[:, 1].copy(),
        m=real[:, 2].copy(),
        h_ref=h_ref,
        cov=cov,
        rms=real[:, 3].copy(),
        samples=whole[:, 0].copy(),
        status=whole[:, 1].copy(),
        force_rate=real[:, 4].copy(),
        m_per_C=real[:, 5].copy(),
        C_per_C=real[:, 6].copy(),
    )

"""What each unloading starts from, and the works and creep around it: numbers read off a curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.records.segments import Kind, Segments
from drypoint.reduction.correct import Corrected
from drypoint.uncertainty.noise import fit_covariance

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Cycles:
    """One row per unloading. All in SI, shape (n,).

    ``F_max`` and ``h_max`` are read at the start of unloading (a short mean over the end of the
    hold where there is one) with the standard uncertainty of the reading. ``h_1``, ``F_1`` at the
    start of the hold and ``h_2``, ``F_2`` at its end, NaN without a hold. ``W_total`` is the work
    done up to F_max, ``W_back`` the work given back from there to the last sample of the cycle,
    ``h_last``/``F_last`` that sample. ``slope_sqrt`` is dh/d(sqrt F) of the loading curve (NaN
    where this cycle re-loads). ``creep_rate`` (m/s) is the rate of depth at the end of the hold.
    """

    test: Ints
    cycle: Ints
    start: Ints
    stop: Ints
    F_max: Floats
    h_max: Floats
    u_F_max: Floats
    u_h_max: Floats
    has_hold: NDArray[np.bool_]
    hold_start: Ints
    F_1: Floats
    h_1: Floats
    t_hold: Floats
    creep_rate: Floats
    u_creep_rate: Floats
    W_total: Floats
    W_back: Floats
    h_last: Floats
    F_last: Floats
    t_last: Floats
    slope_sqrt: Floats
    u_slope_sqrt: Floats
    t_max: Floats


@njit(cache=True)
def _line_at(x: Floats, y: Floats, at: float) -> tuple[float, float]:
    n = len(x)
    xm = np.mean(x)
    ym = np.mean(y)
    sxx = 0.0
    sxy = 0.0
    for i in range(n):
        sxx += (x[i] - xm) ** 2
        sxy += (x[i] - xm) * (y[i] - ym)
    b = sxy / sxx if sxx > 0.0 else 0.0
    return ym + b * (at - xm), b


@njit(cache=True)
def _end_of_hold(x: Floats, y: Floats) -> tuple[float, float, float, float]:
    """Straight line through the end of a hold: value and slope at its last sample, with their
    standard uncertainties (coloured noise)."""
    n = len(x)
    at = x[n - 1]
    value, slope = _line_at(x, y, at)
    jac = np.empty((n, 2))
    res = np.empty(n)
    for i in range(n):
        jac[i, 0] = 1.0
        jac[i, 1] = (x[i] - at) / n
        res[i] = y[i] - value - slope * (x[i] - at)
    cov = fit_covariance(jac, res)
    if not np.isfinite(cov[0, 0]):
        return value, slope, 0.0, np.inf
    return value, slope, np.sqrt(max(cov[0, 0], 0.0)), np.sqrt(max(cov[1, 1], 0.0)) / n


@njit(cache=True)
def _read(
    force: Floats,
    depth: Floats,
    time: Floats,
    test_start: Ints,
    load_start: Ints,
    hold_start: Ints,
    start: Ints,
    stop: Ints,
    end: Ints,
    noise_f: Floats,
    noise_h: Floats,
    seen: Floats,
    lo: float,
    hi: float,
) -> Floats:
    n = len(start)
    out = np.full((n, 17), np.nan)
    for c in range(n):
        s = start[c]
        a = hold_start[c]
        length = s - a
        if length >= 5:
            k = max(3, min(length // 10, 200))
            idx = np.arange(s - k + 1, s + 1).astype(np.float64)
            fm = np.mean(force[s - k + 1 : s + 1])
            hm, rate, u_h, u_rate = _end_of_hold(idx, depth[s - k + 1 : s + 1])
            _, _, u_f, _ = _end_of_hold(idx, force[s - k + 1 : s + 1])
            out[c, 2] = max(u_f, noise_f[c] / np.sqrt(k))
            out[c, 3] = max(u_h, noise_h[c] / np.sqrt(k))
            out[c, 4] = np.mean(force[a : a + 3])
            out[c, 5] = np.mean(depth[a : a + 3])
            if np.isfinite(time[s]) and time[s] > time[s - k + 1]:
                out[c, 6] = time[s] - time[a]
                per_s = (k - 1) / (time[s] - time[s - k + 1])
                out[c, 7] = rate * per_s
                out[c, 16] = u_rate * per_s
        else:
            fm = force[s]
            hm = depth[s]
            out[c, 2] = noise_f[c]
            out[c, 3] = noise_h[c]
        out[c, 0] = fm
        out[c, 1] = hm
        # Work up to the start of unloading, and work given back after it (trapezoids).
        w = 0.0
        for i in range(test_start[c], s):
            w += 0.5 * (force[i] + force[i + 1]) * (depth[i + 1] - depth[i])
        out[c, 8] = w
        back = 0.0
        last = s
        for i in range(s, end[c] - 1):
            if force[i + 1] < 0.0:
                break
            back -= 0.5 * (force[i] + force[i + 1]) * (depth[i + 1] - depth[i])
            last = i + 1
        out[c, 9] = back
        out[c, 10] = depth[last]
        out[c, 11] = force[last]
        out[c, 12] = time[last]
        out[c, 15] = time[s]
        # Slope of h against sqrt(F) on the part of the loading that was not loaded before.
        m = 0
        for i in range(load_start[c], s):
            if force[i] > seen[c] and lo * fm <= force[i] <= hi * fm:
                m += 1
        top_of_load = min(s, hold_start[c] if length >= 5 else s)
        if seen[c] <= lo * fm and m >= 6:
            x = np.empty(m)
            y = np.empty(m)
            m = 0
            for i in range(load_start[c], top_of_load):
                if force[i] > seen[c] and lo * fm <= force[i] <= hi * fm:
                    x[m] = np.sqrt(force[i])
                    y[m] = depth[i]
                    m += 1
            x = x[:m]
            y = y[:m]
            if m >= 6:
                ref = np.sqrt(fm)
                y0, b = _line_at(x, y, ref)
                jac = np.empty((m, 2))
                res = np.empty(m)
                for i in range(m):
                    jac[i, 0] = 1.0
                    jac[i, 1] = (x[i] - ref) / ref
                    res[i] = y[i] - y0 - b * (x[i] - ref)
                cov = fit_covariance(jac, res)
                out[c, 13] = b
                out[c, 14] = np.sqrt(max(cov[1, 1], 0.0)) / ref
    return out


def read_cycles(
    corrected: Corrected, segments: Segments, hms_window: tuple[float, float]
) -> Cycles:
    """Read every unloading of every test.

    Parameters
    ----------
    corrected : Corrected
    segments : Segments
    hms_window : pair
        Lowest and highest share of F_max for the slope of h against sqrt(F) (HM_s).

    Returns
    -------
    Cycles
        One row per unloading that follows a loading.
    """
    rows = np.flatnonzero(segments.kind == Kind.UNLOADING)
    key = segments.test[rows] * 100_000 + segments.cycle[rows]
    _, first = np.unique(key, return_index=True)
    rows = rows[np.sort(first)]
    rows = rows[segments.cycle[rows] > 0]
    test, cycle = segments.test[rows], segments.cycle[rows]
    start, stop = segments.start[rows], segments.stop[rows]
    n = len(rows)
    before = np.maximum(rows - 1, 0)
    held = (segments.kind[before] == Kind.HOLD) & (segments.test[before] == test) & (rows > 0)
    hold_start = np.where(held, segments.start[before], start)
    load_row = np.where(held, rows - 2, rows - 1)
    good = (load_row >= 0) & (segments.kind[np.maximum(load_row, 0)] == Kind.LOADING)
    load_start = np.where(good, segments.start[np.maximum(load_row, 0)], hold_start)
    # The cycle ends where the next loading begins, or at the end of the test.
    end = np.empty(n, dtype=np.int64)
    seen = np.zeros(n)
    for i in range(n):
        same = i + 1 < n and test[i + 1] == test[i]
        end[i] = load_start[i + 1] + 1 if same else corrected.offsets[test[i] + 1]
    starts_force = corrected.force[start]
    for i in range(1, n):
        if test[i] == test[i - 1]:
            seen[i] = max(seen[i - 1], float(starts_force[i - 1]))
    zero = corrected.zero
    out = _read(
        corrected.force,
        corrected.depth,
        corrected.time,
        zero.contact[test],
        load_start,
        hold_start,
        start,
        stop,
        end,
        zero.noise_force[test],
        zero.noise_depth[test],
        seen,
        *hms_window,
    )
    return Cycles(
        test=test, cycle=cycle, start=start, stop=stop,
        F_max=out[:, 0], h_max=out[:, 1], u_F_max=out[:, 2], u_h_max=out[:, 3],
        has_hold=(start - hold_start) >= 5, hold_start=hold_start,
        F_1=out[:, 4], h_1=out[:, 5], t_hold=out[:, 6], creep_rate=out[:, 7],
        u_creep_rate=out[:, 16],
        W_total=out[:, 8], W_back=out[:, 9], h_last=out[:, 10], F_last=out[:, 11],
        t_last=out[:, 12], slope_sqrt=out[:, 13], u_slope_sqrt=out[:, 14], t_max=out[:, 15],
    )  # fmt: skip

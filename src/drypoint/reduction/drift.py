"""Thermal drift: the rate of depth during a hold at low force (ISO 14577-1, ASTM E2546)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.reduction.options import DriftOptions
from drypoint.uncertainty.noise import robust_slope

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FROM_HOLD, DECLARED, NONE, NO_HOLD = 0, 1, 2, 3
#: How the drift was found, by code.
HOW = {FROM_HOLD: "drift hold", DECLARED: "declared", NONE: "none", NO_HOLD: "no drift hold"}


@dataclass(frozen=True)
class Drift:
    """Drift rate (m/s) of each test with its standard uncertainty, shape (n_tests,)."""

    rate: Floats
    u_rate: Floats
    how: Ints


@njit(cache=True)
def _slopes(
    time: Floats, depth: Floats, start: Ints, stop: Ints, low: float, high: float
) -> tuple[Floats, Floats]:
    n = len(start)
    rate = np.full(n, np.nan)
    u = np.full(n, np.nan)
    for i in range(n):
        length = stop[i] - start[i]
        if length < 8:
            continue
        a = start[i] + int(low * length)
        b = start[i] + int(high * length)
        t = time[a:b]
        if b - a < 5 or not np.isfinite(t[0]):
            continue
        slope, _, us = robust_slope(t - t[0], depth[a:b])
        rate[i] = slope
        u[i] = us
    return rate, u


def find_drift(
    time: Floats,
    depth: Floats,
    hold_start: Ints,
    hold_stop: Ints,
    options: DriftOptions,
    windows: NDArray[np.float64] | None = None,
) -> Drift:
    """Drift rate of every test from its drift hold.

    Parameters
    ----------
    time, depth : array, shape (n_samples,)
        s and m.
    hold_start, hold_stop : array, shape (n_tests,)
        Drift hold of each test; equal where there is none.
    options : DriftOptions
    windows : array, shape (n_tests, 2), optional
        A window of its own (shares of the hold) for each test; NaN takes the option's.

    Returns
    -------
    Drift
        Without a drift hold (or without time) the rate is 0, ``u_rate`` the declared one, and
        ``how`` says so.
    """
    n = len(hold_start)
    if options.method == "none":
        return Drift(np.zeros(n), np.full(n, options.u_rate), np.full(n, NONE))
    if options.method == "declared":
        return Drift(np.full(n, options.rate), np.full(n, options.u_rate), np.full(n, DECLARED))
    rate, u = _slopes(time, depth, hold_start, hold_stop, *options.window)
    if windows is not None:
        for i in np.flatnonzero(np.isfinite(windows).all(axis=1)):
            one = slice(int(i), int(i) + 1)
            rate[one], u[one] = _slopes(
                time, depth, hold_start[one], hold_stop[one], *(float(w) for w in windows[i])
            )
    missing = ~np.isfinite(rate)
    rate[missing] = 0.0
    u = np.where(missing, options.u_rate, np.hypot(u, options.u_rate))
    return Drift(rate, u, np.where(missing, NO_HOLD, FROM_HOLD))

"""Thermal drift: the rate of depth during a hold at low force (ISO 14577-1, ASTM E2546)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.options import DriftOptions
from drypoint.uncertainty.noise import robust_slopes

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


def _slopes(
    time: Floats, depth: Floats, start: Ints, stop: Ints, low: float, high: float
) -> tuple[Floats, Floats]:
    """Slope of each hold's window and its uncertainty; NaN where it is too short or has no time."""
    n = len(start)
    rate, u = np.full(n, np.nan), np.full(n, np.nan)
    length = stop - start
    a = start + (low * length).astype(np.int64)
    b = start + (high * length).astype(np.int64)
    good = np.flatnonzero((length >= 8) & (b - a >= 5))
    good = good[np.isfinite(time[a[good]])]
    if len(good):
        offsets = np.concatenate([[0], np.cumsum(b[good] - a[good])]).astype(np.int64)
        # Index of each sample of all windows: window behind window.
        at = np.arange(offsets[-1]) + np.repeat(a[good] - offsets[:-1], b[good] - a[good])
        t = time[at] - np.repeat(time[a[good]], b[good] - a[good])
        rate[good], _, u[good] = robust_slopes(t, depth[at], offsets)
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

"""Thermal drift: the rate of depth during a hold at low force (ISO 14577-1, ASTM E2546)."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.options import DriftOptions
from drypoint.uncertainty.noise import fit_covariances, robust_slopes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Samples of a hold that a parabola needs, and how many standard deviations of its curvature make
#: a change of the rate (our own choice: one steady hold in 370 is taken for a changing one).
_LEAST, _SEEN = 20, 3.0
#: Seconds within which a drift usually changes by its own size (our own choice); where the hold is
#: too short or noisy to tell, so much is left open.
_DECAY = 100.0

FROM_HOLD, DECLARED, NONE, NO_HOLD = 0, 1, 2, 3
#: How the drift was found, by code.
HOW = {FROM_HOLD: "drift hold", DECLARED: "declared", NONE: "none", NO_HOLD: "no drift hold"}


@dataclass(frozen=True)
class Drift:
    """Drift rate (m/s) of each test with its standard uncertainty, shape (n_tests,).

    ``changes`` marks tests whose hold shows that the rate is not steady; what this leaves open is
    in ``u_rate``. Empty where it was not asked for.
    """

    rate: Floats
    u_rate: Floats
    how: Ints
    changes: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, bool))


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
    contact: Ints | None = None,
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
    contact : array, shape (n_tests,), optional
        First contact, from which the test lasts; needed where ``options.curvature`` is set.

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
    how = np.where(missing, NO_HOLD, FROM_HOLD)
    if not options.curvature or contact is None:
        return Drift(rate, u, how)
    change, u_change = _changes(time, depth, hold_start, hold_stop, options.window)
    seen = ~missing & (np.abs(change) > _SEEN * u_change)
    with np.errstate(invalid="ignore"):
        begin = time[np.clip(contact, 0, max(len(time) - 1, 0))]
        at = 0.5 * (begin + time[np.minimum(hold_start, len(time) - 1)])
        middle = 0.5 * (
            time[np.minimum(hold_start, len(time) - 1)] + time[np.maximum(hold_stop - 1, 0)]
        )
        # Beforehand: a rate that decays, or grows, within a hundred seconds.
        known, told = (np.abs(rate) / _DECAY) ** 2, u_change**2
        weight = np.where(told > 0, known / (known + told), 1.0)
        size = np.sqrt((weight * change) ** 2 + weight * told)
        size = np.where(seen, np.abs(change), np.where(np.isfinite(size), size, np.sqrt(known)))
        apart = np.where(missing, 0.0, size * np.abs(middle - at))
    return Drift(rate, np.hypot(u, np.nan_to_num(apart)), how, seen)


def _changes(
    time: Floats, depth: Floats, start: Ints, stop: Ints, window: tuple[float, float]
) -> tuple[Floats, Floats]:
    """How fast the rate itself changes in each hold (m/s^2), by a parabola, and its standard
    uncertainty; NaN where the hold is too short."""
    n = len(start)
    value, u = np.full(n, np.nan), np.full(n, np.nan)
    length = stop - start
    a, b = start + (window[0] * length).astype(np.int64), start + (window[1] * length).astype(int)
    good = np.flatnonzero(b - a >= _LEAST)
    good = good[np.isfinite(time[a[good]])] if len(good) else good
    if not len(good):
        return value, u
    counts = (b - a)[good]
    offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    at = np.arange(offsets[-1]) + np.repeat(a[good] - offsets[:-1], counts)
    first, last = time[a[good]], time[b[good] - 1]
    half = np.maximum(0.5 * (last - first), 1e-12)
    x = (time[at] - np.repeat(0.5 * (first + last), counts)) / np.repeat(half, counts)
    columns = np.stack([np.ones_like(x), x, x * x], axis=1)
    starts = offsets[:-1]
    normal = np.add.reduceat(columns[:, :, None] * columns[:, None, :], starts, axis=0)
    right = np.add.reduceat(columns * depth[at][:, None], starts, axis=0)
    found = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
    rest = depth[at] - np.sum(columns * np.repeat(found, counts, axis=0), axis=1)
    cov = fit_covariances(columns, rest, offsets)
    value[good] = 2.0 * found[:, 2] / half**2
    u[good] = 2.0 * np.sqrt(np.maximum(cov[:, 2, 2], 0.0)) / half**2
    return value, u

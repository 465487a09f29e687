"""What each unloading starts from, and the works and creep around it: numbers read off a curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.records.segments import Kind, Segments
from drypoint.reduction.correct import Corrected
from drypoint.uncertainty.noise import line_fits, line_slopes

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
    where this cycle re-loads), ``t_slope_sqrt`` the same of time. ``creep_rate`` (m/s) is the rate
    of depth at the end of the hold. ``moment_total`` and ``moment_back`` are the integrals of force
    over time (N s) that go with the two works: a drift rate r changes these by -r and +r times
    the integrals.
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
    moment_total: Floats
    moment_back: Floats
    t_slope_sqrt: Floats


@njit(cache=True, nogil=True)
def _loading_samples(
    force: Floats, begin: Ints, end: Ints, low: Floats, high: Floats
) -> tuple[Ints, Ints]:
    """Indices of the samples of each loading with force between low and high, and offsets."""
    n = len(begin)
    offsets = np.zeros(n + 1, dtype=np.int64)
    room = 0
    for c in range(n):
        room += max(end[c] - begin[c], 0)
    index = np.empty(room, dtype=np.int64)
    pos = 0
    for c in range(n):
        for i in range(begin[c], end[c]):
            if low[c] <= force[i] <= high[c]:
                index[pos] = i
                pos += 1
        offsets[c + 1] = pos
    return index[:pos], offsets


@njit(cache=True, nogil=True)
def _area_under(y: Floats, x: Floats) -> float:
    """Integral of y over x by trapezoids."""
    w = 0.0
    for i in range(len(y) - 1):
        w += 0.5 * (y[i] + y[i + 1]) * (x[i + 1] - x[i])
    return w


@njit(cache=True, nogil=True)
def _read(
    force: Floats,
    depth: Floats,
    time: Floats,
    test_start: Ints,
    hold_start: Ints,
    start: Ints,
    end: Ints,
    tail: Ints,
    f_top: Floats,
    h_top: Floats,
) -> Floats:
    n = len(start)
    out = np.full((n, 20), np.nan)
    for c in range(n):
        s = start[c]
        a = hold_start[c]
        fm = f_top[c]
        hm = h_top[c]
        if tail[c] > 0:
            out[c, 4] = np.mean(force[a : a + 3])
            out[c, 5] = np.mean(depth[a : a + 3])
            out[c, 6] = time[s] - time[a]
        out[c, 0] = fm
        out[c, 1] = hm
        # Work up to the start of unloading, and work given back after it (trapezoids).
        first = min(test_start[c], s)
        last = s
        while last < end[c] - 1 and not force[last + 1] < 0.0:
            last += 1
        # Both works turn at the depth as read, not at one noisy sample.
        turn = fm * (hm - depth[s])
        out[c, 8] = _area_under(force[first : s + 1], depth[first : s + 1]) + turn
        out[c, 9] = turn - _area_under(force[s : last + 1], depth[s : last + 1])
        out[c, 17] = _area_under(force[first : s + 1], time[first : s + 1])
        out[c, 18] = _area_under(force[s : last + 1], time[s : last + 1])
        out[c, 10] = depth[last]
        out[c, 11] = force[last]
        out[c, 12] = time[last]
        out[c, 15] = time[s]
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
    hold_start: Ints = np.where(held, segments.start[before], start)
    load_row = np.where(held, rows - 2, rows - 1)
    good = (load_row >= 0) & (segments.kind[np.maximum(load_row, 0)] == Kind.LOADING)
    load_start: Ints = np.where(good, segments.start[np.maximum(load_row, 0)], hold_start)
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
    # The end of each hold, a tenth of it: where depth and force at the start of unloading are read.
    length = start - hold_start
    least = np.clip(length // 2, 3, 10)
    tail: Ints = np.where(length >= 5, np.clip(length // 10, least, 200), 0)
    ends = _ends_of_holds(corrected, start, tail, length, test)
    # Each reading by itself, without gaps: kernels take one row as they take many.
    out: Floats = _read(
        corrected.force, corrected.depth, corrected.time, zero.contact[test], hold_start, start,
        end, tail, ends["F"], ends["h"],
    ).T.copy()  # fmt: skip
    slope = _sqrt_slopes(
        corrected, load_start, np.where(length >= 5, hold_start, start), seen, ends["F"], hms_window
    )
    return Cycles(
        test=test, cycle=cycle, start=start, stop=stop,
        F_max=out[0], h_max=out[1], u_F_max=ends["u_F"], u_h_max=ends["u_h"],
        has_hold=length >= 5, hold_start=hold_start,
        F_1=out[4], h_1=out[5], t_hold=out[6], creep_rate=ends["rate"],
        u_creep_rate=ends["u_rate"],
        W_total=out[8], W_back=out[9], h_last=out[10], F_last=out[11],
        t_last=out[12], slope_sqrt=slope[0], u_slope_sqrt=slope[1], t_max=out[15],
        moment_total=out[17], moment_back=out[18], t_slope_sqrt=slope[2],
    )  # fmt: skip


def _ends_of_holds(
    corrected: Corrected, start: Ints, tail: Ints, length: Ints, test: Ints
) -> dict[str, Floats]:
    """Force and depth at each start of unloading, with creep rate and uncertainties.

    From the last ``tail`` samples of the hold: a straight line through the depth, read at its last
    sample; the mean force, or, where the force surely relaxes, its line likewise. The rate of
    creep is that of the last third of the hold. Without a hold: the one sample.
    """
    zero = corrected.zero
    sf, sh = zero.noise_force[test], zero.noise_depth[test]
    nan = np.full(len(start), np.nan)
    out = {
        "F": corrected.force[start], "h": corrected.depth[start], "u_F": sf.copy(),
        "u_h": sh.copy(), "rate": nan.copy(), "u_rate": nan.copy(),
    }  # fmt: skip
    held = np.flatnonzero(tail > 0)
    if not len(held):
        return out
    k, s = tail[held], start[held]
    x, at, offsets = _last_samples(s, k)
    here = np.zeros(len(held))
    beside_F, beside_h = corrected.quiet_force.of(test[held]), corrected.quiet_depth.of(test[held])
    h, _, u_h, _ = line_fits(x, corrected.depth[at], offsets, here, beside_h)
    f, slope, u_f, u_slope = line_fits(x, corrected.force[at], offsets, here, beside_F)
    mean = np.add.reduceat(corrected.force[at], offsets[:-1]) / k
    root = np.sqrt(k)
    out["F"][held] = np.where(np.abs(slope) > 3.0 * u_slope, f, mean)
    out["h"][held] = h
    out["u_F"][held] = np.fmax(u_f, sf[held] / root)
    out["u_h"][held] = np.fmax(u_h, sh[held] / root)
    k = np.maximum(k, length[held] // 3)
    x, at, offsets = _last_samples(s, k)
    _, slope, _, u_slope = line_fits(x, corrected.depth[at], offsets, here)
    span = corrected.time[s] - corrected.time[s - k + 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        per_s = np.where(span > 0, (k - 1) / span, np.nan)
    out["rate"][held] = slope * per_s
    out["u_rate"][held] = np.where(np.isfinite(u_slope), u_slope, np.inf) * per_s
    return out


def _last_samples(last: Ints, count: Ints) -> tuple[Floats, Ints, Ints]:
    """The ``count`` samples that end at each ``last``: counted from it, as indices, and offsets."""
    offsets = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    x = np.arange(offsets[-1]) - np.repeat(offsets[1:] - 1, count)
    return x.astype(float), x + np.repeat(last, count), offsets


def _sqrt_slopes(
    corrected: Corrected,
    begin: Ints,
    end: Ints,
    seen: Floats,
    f_max: Floats,
    window: tuple[float, float],
) -> tuple[Floats, Floats, Floats]:
    """Slope of h against sqrt(F) of each loading that was not loaded before, its uncertainty, and
    the slope of time against sqrt(F); NaN where there are fewer than six samples."""
    n = len(begin)
    out = tuple(np.full(n, np.nan) for _ in range(3))
    low, high = window[0] * f_max, window[1] * f_max
    index, offsets = _loading_samples(corrected.force, begin, end, low, high)
    count = np.diff(offsets)
    good = np.flatnonzero((seen <= low) & (count >= 6))
    if not len(good):
        return out[0], out[1], out[2]
    k = count[good]
    own = np.concatenate([[0], np.cumsum(k)]).astype(np.int64)
    at = index[np.arange(own[-1]) + np.repeat(offsets[good] - own[:-1], k)]
    x, ref = np.sqrt(corrected.force[at]), np.sqrt(f_max[good])
    _, out[0][good], _, out[1][good] = line_fits(x, corrected.depth[at], own, ref)
    t = corrected.time[at]
    out[2][good] = line_slopes(x, np.where(np.isfinite(t), t, 0.0), own)
    out[2][good] = np.where(np.isfinite(t[own[:-1]]), out[2][good], np.nan)
    return out[0], out[1], out[2]

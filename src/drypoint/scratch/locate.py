"""Where exactly: the likelihood of every place near a candidate, channels together.

For a series the places are compared by the likelihood of one line with normal noise before, going
over within some bins into another with noise of its own; for bursts and jumps by that of two
Poisson rates. The logarithms are added up and tempered (times a number below 1): noise has a
colour, changes no ideal shape, and channels share causes. What tempering makes the intervals cover
what they say was found on simulated tracks (``benchmarks/bench_scratch.py``).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.scratch.contrasts import SCALES, deviates, orthonormal
from drypoint.scratch.search import Searcher, Split
from drypoint.scratch.series import Evidence

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Bins to each side of a candidate that may be its true place, and that are fitted.
REACH, WINDOW = 24, 40
#: Bins, from the place, over which its probability is spread evenly.
BLUR = (-1.25, 1.75)
#: Bins over which a change may take place.
LENGTHS = np.array([0.0, 3.0, 6.0, 12.0])


@njit(cache=True, nogil=True, error_model="numpy")
def _rest(rows: Floats, r: Floats) -> None:
    """Take from r what the rows explain; they are overwritten."""
    orthonormal(rows)
    for a in range(rows.shape[0]):
        dot = 0.0
        for i in range(len(r)):
            dot += rows[a, i] * r[i]
        for i in range(len(r)):
            r[i] -= dot * rows[a, i]


@njit(cache=True, nogil=True, error_model="numpy")
def two_lines(
    y: Floats, first: int, last: int, places: Ints, lengths: Floats, least: float, temper: float
) -> Floats:
    """Log-likelihood (times ``temper``) of y[first:last] as one line up to each place, going over
    into another line within each of ``lengths`` (bins, all alike before); normal noise of its own
    before and after, variances not below ``least``. -inf near the ends."""
    out = np.full(len(places), -np.inf)
    n = last - first
    A = np.empty((4, n))
    gains = np.empty(len(lengths))
    for q in range(len(places)):
        c = places[q] - first
        if c < 5 or n - c < 5:
            continue
        for k in range(len(lengths)):
            for i in range(n):
                u = (i + 0.5 - c) / n
                new = 0.0
                if i >= c:
                    new = min(1.0, (i + 0.5 - c) / max(lengths[k], 0.5))
                A[0, i] = 1.0 - new
                A[1, i] = u * (1.0 - new)
                A[2, i] = new
                A[3, i] = u * new
            r = y[first:last].copy()
            _rest(A, r)
            a = 0.0
            b = 0.0
            for i in range(c):
                a += r[i] * r[i]
            for i in range(c, n):
                b += r[i] * r[i]
            a = max(a / (c - 2), least)
            b = max(b / (n - c - 2), least)
            gains[k] = -0.5 * temper * (c * np.log(a) + (n - c) * np.log(b))
        top = gains.max()
        out[q] = top + np.log(np.sum(np.exp(gains - top)))
    return out


def _rates(counts: Floats, first: int, last: int, places: Ints) -> Floats:
    """Log-likelihood of two rates, for the size of bursts that gains most."""
    best: Floats = np.zeros(len(places))
    for row in counts[:, first:last]:
        total = np.concatenate([[0.0], np.cumsum(row)])
        whole, n = total[-1], last - first
        if whole == 0:
            continue
        c = np.clip(places - first, 1, n - 1)
        left, right = total[c], whole - total[c]
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = np.where(left > 0, left * np.log(left / c), 0.0)
            gain += np.where(right > 0, right * np.log(right / (n - c)), 0.0)
        gain -= whole * np.log(whole / n)
        if gain.max() > best.max():
            best = gain
    return best


def likelihood(
    evidence: Evidence, searcher: Searcher, split: Split, temper: float
) -> tuple[Floats, Floats]:
    """Places (bins, as numbers) near a split and the tempered log-likelihood of each, largest 0.

    Only what speaks for the split is asked.
    """
    low, high = split.low, split.high
    at = split.at
    places = np.arange(max(low + 2, at - REACH), min(high - 1, at + REACH + 1))
    first, last = max(low, at - WINDOW), min(high, at + WINDOW)
    total = np.zeros(len(places))
    count = len(evidence.series)
    for i, one in enumerate(evidence.series):
        if split.parts[i] <= 0:
            continue
        _, s = deviates(searcher.contrasts[i], SCALES, low, high)
        near = s[:2, 0, max(low, at - 12) : at + 12]
        known = near[np.isfinite(near)]
        if len(known) == 0:
            continue
        noise = float(np.median(known))
        total += two_lines(one.values, first, last, places, LENGTHS, (0.5 * noise) ** 2, temper)
    start = 0 if low == searcher.first else low
    far_low, far_high = max(start, at - 96), min(high, at + 96)
    for i, bursts in enumerate(evidence.bursts):
        if split.parts[count + i] > 0:
            total += temper * _rates(bursts.counts, far_low, far_high, places)
    known = np.isfinite(total)
    if not known.any():
        return np.array([float(at)]), np.zeros(1)
    return places[known].astype(float), total[known] - total[known].max()


def interval(places: Floats, loglik: Floats, level: float) -> tuple[float, float, float]:
    """Median and equal-tailed interval of the place, in bins, even within half a bin."""
    p = np.exp(loglik)
    p /= p.sum()
    # A change within a bin shows as a place on its one edge or its other, the first burst of many
    # always on the lower; and no change has just the shape that is fitted.
    steps = round((BLUR[1] - BLUR[0]) / 0.25)
    edges = np.arange(places[0] + BLUR[0], places[-1] + BLUR[1] + 0.01, 0.25)
    weight = np.zeros(len(edges) - 1)
    at = np.rint(4 * (places - places[0])).astype(int)
    for i in range(steps):
        weight[at + i] += p / steps
    cdf = np.concatenate([[0.0], np.cumsum(weight)])
    tail = 0.5 * (1 - level)
    middle, low, high = np.interp([0.5, tail, 1 - tail], cdf, edges)
    return float(middle), float(low), float(high)

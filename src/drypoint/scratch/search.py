"""Places where several channels together say that something changed.

The gain of a place is the sum over series of what a change there gains in log-likelihood, less the
price of having looked at many scales. The best place splits the track, both parts are searched
again with their own noise, and after each split the others must still earn their place: inside a
stretch that is restless altogether, one more jump is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.scratch.contrasts import SCALES, all_contrasts, deviates, rate_gains
from drypoint.scratch.series import Evidence

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Price of the search over scales and places, and the most that one series can say.
PRICE, MOST = 3.5, 40.0
BURST_PRICE = 4.0
#: Windows of burst rates, in bins; the last is the whole track.
WINDOWS = np.array([12, 24, 48, 96, 10_000], dtype=np.int64)
#: Bins beside a change that no other may use: a change may take a little length.
GUARD = 4
_NEAR = 2  # bins by which channels may differ about the place
_ROUNDS = 16


@dataclass(frozen=True)
class Split:
    """A place between bins ``at - 1`` and ``at``, its gain, and what each row of evidence gives:
    the series in order, then the bursts. ``low`` and ``high`` bound the bins that tell."""

    at: int
    gain: float
    parts: Floats
    low: int
    high: int


@njit(cache=True, nogil=True)
def best_of(z: Floats, price: float, most: float, near: int) -> Floats:
    """Largest z^2/2 over scales, shapes and near places, less the price; (bins + 1,)."""
    n = z.shape[2]
    own = np.zeros(n)
    for j in range(z.shape[0]):
        for k in range(2):
            for c in range(n):
                own[c] = max(own[c], 0.5 * z[j, k, c] * z[j, k, c])
    out = np.zeros(n)
    for c in range(n):
        for d in range(max(0, c - near), min(n, c + near + 1)):
            # The place itself counts a little more, so that the peak stays the peak.
            out[c] = max(out[c], own[d] * (1.0 - 0.02 * abs(d - c)))
        out[c] = min(max(out[c] - price, 0.0), most)
    return out


class Searcher:
    """The evidence of one track, ready to be asked about segments of it."""

    def __init__(self, evidence: Evidence, first: int) -> None:
        self.contrasts = [all_contrasts(s.values, SCALES) for s in evidence.series]
        self.counts = [b.counts for b in evidence.bursts]
        sizes = [len(s.values) for s in evidence.series] + [b.shape[1] for b in self.counts]
        self.bins = sizes[0] if sizes else 0
        self.first = min(first, self.bins)
        self._known: dict[tuple[int, int], Floats] = {}

    def gains(self, low: int, high: int) -> Floats:
        """Gain of each row of evidence at each place of bins low to high, (rows, bins + 1)."""
        if (low, high) not in self._known:
            self._known[low, high] = self._gains(low, high)
        return self._known[low, high]

    def _gains(self, low: int, high: int) -> Floats:
        rows = []
        for T in self.contrasts:
            z, _ = deviates(T, SCALES, low, high)
            rows.append(best_of(z, PRICE, MOST, _NEAR))
        # First touch bends levels, but makes no bursts: these are counted from the start.
        start = 0 if low == self.first else low
        for counts in self.counts:
            g = rate_gains(counts, WINDOWS, start, high)
            rows.append(np.clip(g - BURST_PRICE, 0.0, MOST))
        return np.array(rows)

    def best(self, low: int, high: int, banned: set[int]) -> Split | None:
        """The best place strictly within bins low to high; None where nothing speaks."""
        a, b = low + GUARD, high - GUARD
        if b - a < 4 * GUARD:
            return None
        parts = self.gains(low if low == self.first else a, high if high == self.bins else b)
        total = parts.sum(axis=0)
        total[: a + 1] = 0.0
        total[b:] = 0.0
        for c in banned:
            total[max(0, c - GUARD) : c + GUARD + 1] = 0.0
        at = int(np.argmax(total))
        if not total[at] > 0.0:
            return None
        return Split(at, float(total[at]), parts[:, at], low, high)

    def again(self, at: int, low: int, high: int) -> Split:
        """A place that is known, asked again between its neighbours."""
        a = low if low == self.first else low + GUARD
        b = high if high == self.bins else high - GUARD
        parts = self.gains(a, b)
        near = parts[:, max(0, at - _NEAR) : at + _NEAR + 1]
        total = near.sum(axis=0)
        best = int(np.argmax(total))
        place = max(0, at - _NEAR) + best
        return Split(place, float(total[best]), near[:, best], low, high)


def search(
    evidence: Evidence, first: int, least: float, most: int = 8, searcher: Searcher | None = None
) -> tuple[Split, ...]:
    """All places with a gain of at least ``least``, in order along the track; at most ``most``.

    Parameters
    ----------
    evidence : Evidence
    first : int
        Bins before are not looked at (lead, first touch).
    searcher : Searcher, optional
        Of this evidence, if there is one already.
    """
    s = searcher or Searcher(evidence, first)
    if s.bins - s.first < 8 * GUARD or not (s.contrasts or s.counts):
        return ()
    kept: list[int] = []
    banned: set[int] = set()
    fresh: dict[tuple[int, int], Split | None] = {}
    for _ in range(_ROUNDS):
        edges = [s.first, *kept, s.bins]
        options = []
        for low, high in pairwise(edges):
            if (low, high) not in fresh:
                fresh[low, high] = s.best(low, high, banned)
            options.append(fresh[low, high])
        good = [o for o in options if o is not None and o.gain >= least]
        if not good or len(kept) >= most:
            break
        new = max(good, key=lambda o: o.gain)
        kept = sorted([*kept, new.at])
        kept = _pruned(s, kept, least, banned, fresh)
    edges = [s.first, *kept, s.bins]
    return tuple(s.again(c, edges[i], edges[i + 2]) for i, c in enumerate(kept))


def _pruned(
    s: Searcher, kept: list[int], least: float, banned: set[int],
    fresh: dict[tuple[int, int], Split | None],
) -> list[int]:  # fmt: skip
    """Take out, weakest first, what its neighbours have made needless."""
    while len(kept) > 1:
        edges = [s.first, *kept, s.bins]
        asked = [s.again(c, edges[i], edges[i + 2]) for i, c in enumerate(kept)]
        weakest = int(np.argmin([a.gain for a in asked]))
        if asked[weakest].gain >= least:
            return kept
        banned.add(kept[weakest])
        fresh.clear()
        kept = kept[:weakest] + kept[weakest + 1 :]
    return kept

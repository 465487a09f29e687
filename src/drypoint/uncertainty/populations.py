"""Two populations in one series of values: are they better described as two groups than as one?

The values in order are cut in two at every place that leaves at least three values, and a tenth of
all, on each side. With SS the sum of squares about the mean and SS_k the same about the means of
the two groups, the statistic is the classification likelihood ratio

    T = (n / 2) ln(SS / min_k SS_k).

It is taken for the values and for their logarithms, and the smaller counts: neither a normal nor a
lognormal series is then two populations. The limit is that which 1.8 % of normal series exceed
(simulated; for n from 6 to 2,000, ``benchmarks/bench_populations.py``). A trend, or values that are
spread evenly, exceed it as well. The rule is our own.

With 20 values in two equal groups whose means lie 4 standard deviations of a group apart, no test
finds more than 74 % at 2 % false alarms, not even the likelihood ratio with mean and spread of both
groups known (Neyman and Pearson, Phil. Trans. R. Soc. A 231 (1933) 289); this one finds 63 %, and
94 % with 40 values.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Fewest values of a series, and of a group; least share of a group.
FEWEST, GROUP, SHARE = 6, 3, 0.1
#: Most values that are looked at one by one; more are thinned evenly in their order.
MOST = 2000
#: Share of ln(SS / SS_k) that the best cut of a normal distribution gives: -ln(1 - 2/pi) / 2.
_NORMAL = 0.5068
#: n -> what the limit exceeds ``_NORMAL`` n by (simulated, 60,000 normal series up to n = 100).
_TABLE = (
    (6, 5.01), (8, 5.72), (10, 5.94), (12, 6.11), (15, 6.37), (20, 6.76), (25, 7.16), (30, 7.54),
    (40, 8.28), (50, 8.87), (70, 10.14), (100, 11.47), (150, 13.75), (200, 15.22), (300, 17.92),
    (500, 22.54), (1000, 30.74), (2000, 43.32),
)  # fmt: skip


@dataclass(frozen=True)
class TwoPopulations:
    """Two groups of a series: the value between them, their sizes, means and common spread.

    ``statistic`` is T, ``limit`` what 1.8 % of normal series exceed. Unit of the values.
    """

    between: float
    n: tuple[int, int]
    means: tuple[float, float]
    spread: float
    statistic: float
    limit: float

    @property
    def apart(self) -> float:
        """Distance of the means in standard deviations of a group."""
        return (self.means[1] - self.means[0]) / self.spread if self.spread > 0 else np.inf


def limit_of(n: int) -> float:
    """What T must exceed for a series of ``n`` values."""
    at, more = (np.array(c, dtype=float) for c in zip(*_TABLE, strict=True))
    return float(_NORMAL * n + np.interp(np.log(n), np.log(at), more))


def two_populations(values: Floats) -> TwoPopulations | None:
    """Two groups, where a series is better described by them than by one population.

    Parameters
    ----------
    values : array, shape (n,)
        Values of one specimen, quantity and level of force; values that are not finite are left
        out.

    Returns
    -------
    TwoPopulations or None
        ``None`` where one population describes them, or there are fewer than six.

    Examples
    --------
    >>> import numpy as np
    >>> low = 3.2 + 0.01 * np.arange(10)
    >>> two_populations(np.concatenate([low, low + 1.8])).n
    (10, 10)
    """
    x = np.sort(values[np.isfinite(values)])
    if len(x) > MOST:
        x = x[np.linspace(0, len(x) - 1, MOST).round().astype(np.int64)]
    n = len(x)
    if n < FEWEST or not x[-1] > x[0]:
        return None
    T, k = _best_cut(x)
    if x[0] > 0:
        T = min(T, _best_cut(np.log(x))[0])
    limit = limit_of(n)
    if not limit < T:
        return None
    low, high = x[:k], x[k:]
    between = 0.5 * float(low[-1] + high[0])
    every = values[np.isfinite(values)]
    sizes = int(np.sum(every < between)), int(np.sum(every >= between))
    inside = np.sum((low - low.mean()) ** 2) + np.sum((high - high.mean()) ** 2)
    spread = float(np.sqrt(inside / (n - 2)))
    return TwoPopulations(between, sizes, (float(low.mean()), float(high.mean())), spread, T, limit)


def _best_cut(x: Floats) -> tuple[float, int]:
    """T of ordered values, and how many lie below the cut."""
    n = len(x)
    y = x - x.mean()
    k = np.arange(1, n)
    s1, s2 = np.cumsum(y)[:-1], np.cumsum(y * y)
    total, low = float(s2[-1]), s2[:-1]
    inside = low - s1**2 / k + (total - low) - s1**2 / (n - k)
    least = max(GROUP, int(np.ceil(SHARE * n)))
    inside = np.where((k >= least) & (n - k >= least), inside, np.inf)
    at = int(np.argmin(inside))
    smallest = max(float(inside[at]), 1e-24 * total)
    return 0.5 * n * float(np.log(total / smallest)), at + 1

"""Control charts: constants, individuals with runs rules, exponentially weighted averages.

Formulas and rules as in [nist-handbook2012] chapter 6.3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, ndtr, ndtri

Floats = NDArray[np.float64]


def c4(n: int) -> float:
    """E(s)/sigma of n normal readings: sqrt(2/(n-1)) Gamma(n/2)/Gamma((n-1)/2)."""
    return float(np.sqrt(2 / (n - 1)) * np.exp(gammaln(n / 2) - gammaln((n - 1) / 2)))


def d2(n: int) -> float:
    """E(range)/sigma of n normal readings: integral of 1 - (1 - Phi)^n - Phi^n."""
    from scipy.integrate import quad  # seldom needed, slow to load

    value, _ = quad(lambda x: 1 - ndtr(-x) ** n - ndtr(x) ** n, -12, 12, limit=200)
    return float(value)


def d3(n: int) -> float:
    """Standard deviation of the range of n normal readings, over sigma.

    E(R^2) = 2 times the double integral, over x < y, of 1 - Phi(y)^n - (1 - Phi(x))^n
    + (Phi(y) - Phi(x))^n.
    """
    node, weight = np.polynomial.legendre.leggauss(160)
    x = 9 * node
    half = (9 - x) / 2  # for each x, y runs from x to 9
    y = x[:, None] + half[:, None] * (1 + node[None, :])
    low, high = ndtr(x)[:, None], ndtr(y)
    joint = 1 - high**n - (1 - low) ** n + (high - low) ** n
    square = 2 * float(9 * weight @ (half * (joint @ weight)))
    return float(np.sqrt(square - d2(n) ** 2))


def chart_constants(n: int) -> dict[str, float]:
    """A2, A3, B3, B4, D3, D4, E2, c4, d2, d3 for subgroups of ``n`` >= 2."""
    c, d, e = c4(n), d2(n), d3(n)
    wide = 3 * float(np.sqrt(1 - c * c)) / c
    return {
        "c4": c, "d2": d, "d3": e, "A2": 3 / (d * n**0.5), "A3": 3 / (c * n**0.5),
        "B3": max(0.0, 1 - wide), "B4": 1 + wide, "D3": max(0.0, 1 - 3 * e / d),
        "D4": 1 + 3 * e / d, "E2": 3 / d,
    }  # fmt: skip


@dataclass(frozen=True)
class Signal:
    """A rule that was broken at point ``at`` (index), in words."""

    at: int
    rule: str


@dataclass(frozen=True)
class Chart:
    """A chart: ``centre``, ``sigma``, limits per point, the plotted values, broken rules."""

    value: Floats
    centre: float
    sigma: float
    lower: Floats
    upper: Floats
    signals: tuple[Signal, ...]


#: Name, points looked at, how many of them, beyond how many sigma on one side.
RUNS = (
    ("a point beyond 3 sigma", 1, 1, 3.0),
    ("two of three beyond 2 sigma on one side", 3, 2, 2.0),
    ("four of five beyond 1 sigma on one side", 5, 4, 1.0),
    ("eight in a row on one side", 8, 8, 0.0),
)


def moving_range_sigma(x: Floats) -> float:
    """sigma from the mean moving range of neighbours, MR / d2(2)."""
    return float(np.abs(np.diff(x)).mean() / (2 / np.sqrt(np.pi)))


def individuals(x: ArrayLike, base: int | None = None, sigma: float | None = None) -> Chart:
    """Shewhart chart of single values with runs rules.

    Centre and sigma (mean moving range) come from the first ``base`` points, all by default;
    ``sigma`` may be given.
    """
    v = np.asarray(x, dtype=np.float64)
    first = v[: base or len(v)]
    centre = float(first.mean())
    s = moving_range_sigma(first) if sigma is None else sigma
    z = (v - centre) / s if s > 0 else np.where(v == centre, 0.0, np.copysign(np.inf, v - centre))
    signals = []
    for i in range(len(v)):
        for name, width, least, beyond in RUNS:
            window = z[max(0, i - width + 1) : i + 1]
            for side in (1, -1):
                out = side * window > beyond
                if len(window) == width and out.sum() >= least and out[-1]:
                    signals.append(Signal(i, name))
        last = np.diff(v[max(0, i - 5) : i + 1])
        if len(last) == 5 and (np.all(last > 0) or np.all(last < 0)):
            signals.append(Signal(i, "six in a row rising or falling"))
    wide = np.full(len(v), 3 * s)
    return Chart(v, centre, s, centre - wide, centre + wide, tuple(signals))


def ewma(
    x: ArrayLike,
    weight: float = 0.2,
    width: float = 3.0,
    base: int | None = None,
    centre: float | None = None,
    sigma: float | None = None,
) -> Chart:
    """Exponentially weighted average z_i = w x_i + (1 - w) z_(i-1), z_0 the centre.

    Limits: centre +- width sigma sqrt(w/(2 - w) (1 - (1 - w)^(2 i))).
    """
    v = np.asarray(x, dtype=np.float64)
    first = v[: base or len(v)]
    mid = float(first.mean()) if centre is None else centre
    s = moving_range_sigma(first) if sigma is None else sigma
    z = np.empty(len(v))
    last = mid
    for i, one in enumerate(v):
        last = weight * one + (1 - weight) * last
        z[i] = last
    grown = 1 - (1 - weight) ** (2 * np.arange(1, len(v) + 1))
    half = width * s * np.sqrt(weight / (2 - weight) * grown)
    signals = tuple(
        Signal(int(i), "weighted average outside its limits")
        for i in np.flatnonzero(np.abs(z - mid) > half)
    )
    return Chart(z, mid, s, mid - half, mid + half, signals)


@dataclass(frozen=True)
class Change:
    """A change of level: the first point after it, its size, and how likely by chance.

    ``lowest`` and ``highest`` bound the first point after the change at 95 % (profile likelihood).
    """

    first_after: int
    size: float
    p: float
    lowest: int
    highest: int


def change_point(x: ArrayLike, *, permutations: int = 2000, seed: int = 0) -> Change | None:
    """The likeliest single change of the mean of normal readings, sigma unknown [hinkley1970].

    Two sums of squares about two means, least over the place of the change; ``p`` is the share of
    random orders (``seed``) with as large a gain. ``None`` with fewer than five points.
    """
    v = np.asarray(x, dtype=np.float64)
    n = len(v)
    if n < 5 or np.ptp(v) == 0:
        return None
    rng = np.random.default_rng(seed)
    gain = _gains(v[None])[0]
    k = int(np.argmax(gain))
    shuffled = rng.permuted(np.repeat(v[None], permutations, axis=0), axis=1)
    # Relative, as everything here: areas in m² leave gains of 1e-27.
    alike = _gains(shuffled).max(axis=1) >= gain[k] * (1 - 1e-9)
    p = (1 + int(np.sum(alike))) / (1 + permutations)
    total = float(((v - v.mean()) ** 2).sum())
    left = np.maximum(total - gain, 1e-12 * total)
    near = np.flatnonzero(n * np.log(left / left[k]) <= ndtri(0.975) ** 2)
    first = k + 1
    return Change(
        first, float(v[first:].mean() - v[:first].mean()), p, int(near[0]) + 1, int(near[-1]) + 1
    )


def _gains(v: Floats) -> Floats:
    """Fall of the sum of squares when the mean changes after each point, rows apart."""
    n = v.shape[1]
    k = np.arange(1, n)
    s = np.cumsum(v - v.mean(axis=1, keepdims=True), axis=1)[:, :-1]
    return np.asarray(s * s * n / (k * (n - k)))

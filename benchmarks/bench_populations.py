"""How often two groups are found in a series, and how often in a series that has none.

    python benchmarks/bench_populations.py [--quick] [--limits]

Series are drawn from worlds that the rule does not assume: normal, lognormal (15 and 40 %), gamma,
Student's t with 3 degrees of freedom, a normal series with one stray value, autoregressive, spread
evenly, and a linear trend; and from two groups, equal or not, 4 standard deviations of a group
apart. ``--limits`` simulates the limits of :mod:`drypoint.uncertainty.populations` again.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from drypoint.uncertainty.populations import _NORMAL, _best_cut, two_populations

Floats = NDArray[np.float64]
World = Callable[[np.random.Generator, int], Floats]


def _autoregressive(rng: np.random.Generator, n: int) -> Floats:
    x = rng.standard_normal(n)
    for i in range(1, n):
        x[i] += 0.5 * x[i - 1]
    return 10.0 + 0.3 * x


def _stray(rng: np.random.Generator, n: int) -> Floats:
    x = 10.0 + 0.3 * rng.standard_normal(n)
    x[0] += 3.0
    return x


def _groups(share: float, apart: float = 4.0) -> World:
    def draw(rng: np.random.Generator, n: int) -> Floats:
        return 10.0 + 0.3 * (rng.standard_normal(n) + apart * (np.arange(n) < share * n))

    return draw


NONE: dict[str, World] = {
    "normal": lambda rng, n: 10.0 + 0.5 * rng.standard_normal(n),
    "lognormal, 15 %": lambda rng, n: 10.0 * np.exp(0.15 * rng.standard_normal(n)),
    "lognormal, 40 %": lambda rng, n: 10.0 * np.exp(0.40 * rng.standard_normal(n)),
    "gamma, shape 6": lambda rng, n: rng.gamma(6.0, 1.0, n),
    "Student t, 3": lambda rng, n: 10.0 + 0.2 * rng.standard_t(3, n),
    "one stray value": _stray,
    "autoregressive 0.5": _autoregressive,
    "spread evenly": lambda rng, n: 10.0 + rng.random(n),
    "linear trend, 6 sd": lambda rng, n: (
        10.0 + 0.3 * (rng.standard_normal(n) + np.linspace(0.0, 6.0, n))
    ),
}
TWO: dict[str, World] = {
    "two groups, 50 / 50": _groups(0.5),
    "two groups, 70 / 30": _groups(0.7),
    "two groups, 90 / 10": _groups(0.9),
    "two groups 6 apart, 50 / 50": _groups(0.5, 6.0),
}
SIZES = (8, 12, 20, 40, 100, 300)


def rate(world: World, n: int, series: int, seed: int = 1) -> float:
    """Share of series in which two populations are found."""
    rng = np.random.default_rng(seed)
    return sum(two_populations(world(rng, n)) is not None for _ in range(series)) / series


def limits(series: int) -> None:
    """Print what the 98.2 % quantile of normal series exceeds ``_NORMAL`` n by."""
    rng = np.random.default_rng(0)
    for n in (6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 70, 100, 150, 200, 300, 500, 1000, 2000):
        T = []
        for _ in range(series if n <= 100 else series // 10):
            x = np.sort(10.0 + 0.5 * rng.standard_normal(n))
            T.append(min(_best_cut(x)[0], _best_cut(np.log(x))[0]))
        print(n, round(float(np.quantile(T, 0.982)) - _NORMAL * n, 2))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--limits", action="store_true")
    given = parser.parse_args()
    if given.limits:
        limits(2000 if given.quick else 60_000)
        return
    series = 500 if given.quick else 20_000
    print(f"{'world':<30}" + "".join(f"{f'n = {n}':>10}" for n in SIZES))
    for name, world in (NONE | TWO).items():
        shares = (f"{100 * rate(world, n, series):>8.1f} %" for n in SIZES)
        print(f"{name:<30}" + "".join(shares), flush=True)


if __name__ == "__main__":
    main()

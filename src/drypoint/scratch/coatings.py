"""Coatings against each other by their critical loads, and how many tracks a comparison needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import stdtr

from drypoint.scratch.problems import ScratchError
from drypoint.scratch.replicates import FEWEST, Family, Loads, best, deviate, drop, ends, profile
from drypoint.uncertainty.planning import tests_needed

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class CoatingComparison:
    """Coating ``a`` against ``b``.

    ``estimate`` is the ratio of the median loads (weibull) or their difference in N (normal), with
    the interval of the profile likelihood at ``level``; ``p`` belongs to the likelihood-ratio test
    of no difference, each coating with its own spread. ``p_ranks`` is that of the log-rank test by
    permutation, which assumes no distribution. ``sentence`` says it in words.
    """

    a: str
    b: str
    family: Family
    estimate: float
    low: float
    high: float
    level: float
    p: float
    p_ranks: float
    sentence: str


def compare_coatings(
    a: Loads, b: Loads, *, family: Family = "weibull", level: float = 0.95, seed: int = 0,
    permutations: int = 4000,
) -> CoatingComparison:  # fmt: skip
    """Difference of two coatings.

    The test statistic's drop of log-likelihood is turned into p by Student's t as in
    :mod:`.replicates`, with the failures of both coatings less one.

    Raises
    ------
    ScratchError
        With fewer than three failures in one.
    """
    for one in (a, b):
        if one.failures < FEWEST:
            raise ScratchError(
                f"{one.name} has {one.failures} failures; a comparison needs {FEWEST}.",
                remedy="Scratch further, or to a higher load.",
            )
    half = deviate(0.5, family)
    mu_a, s_a, top_a = best(a, family)
    mu_b, s_b, top_b = best(b, family)
    y_a, y_b = mu_a + half * np.exp(s_a), mu_b + half * np.exp(s_b)
    of_a, of_b = profile(a, family, 0.5, s_a), profile(b, family, 0.5, s_b)
    step = float(np.hypot(np.exp(s_a) / np.sqrt(a.failures), np.exp(s_b) / np.sqrt(b.failures)))

    def joint(difference: float) -> float:
        # y_b free, y_a = y_b + difference: the best lies between what each coating wants.
        first, second = y_b, y_a - difference
        low, high = min(first, second) - 1e-9 * step, max(first, second) + 1e-9 * step
        found = minimize_scalar(lambda m: -of_a(m + difference) - of_b(m), bounds=(low, high),
                                method="bounded", options={"xatol": 1e-6 * step})  # fmt: skip
        return -float(found.fun)

    gap = float(y_a - y_b)
    failures = a.failures + b.failures - 1
    top = top_a + top_b
    low, high = ends(joint, gap, step, top - drop(failures, level), most=12)
    fall = max(top - joint(0.0), 0.0)
    t = float(np.sqrt((failures - 1) * np.expm1(2 * fall / failures)))
    p = float(2 * stdtr(failures - 1, -t))
    if family == "weibull":
        gap, low, high = (float(np.exp(v)) for v in (gap, low, high))
    ranks = _log_rank(a, b, seed, permutations)
    return CoatingComparison(
        a.name, b.name, family, gap, low, high, level, p, ranks,
        _sentence(a.name, b.name, family, gap, low, high, level, p),
    )  # fmt: skip


def _sentence(
    a: str, b: str, family: Family, gap: float, low: float, high: float, level: float, p: float
) -> str:
    if family == "weibull":
        what = f"The median critical load of {a} is {gap:.3g} times that of {b}"
        span = f"{low:.3g} to {high:.3g}"
    else:
        what = f"The mean critical load of {a} less that of {b} is {gap:.3g} N"
        span = f"{low:.3g} N to {high:.3g} N"
    verdict = "the coatings differ" if p < 1 - level else "no difference is shown"
    return f"{what} ({100 * level:g} % interval {span}; p = {p:.2g}): {verdict}."


def _log_rank(a: Loads, b: Loads, seed: int, permutations: int) -> float:
    """Two-sided p of the log-rank statistic over random relabellings [meeker1998]."""
    load = np.concatenate([a.load, b.load])
    failed = ~np.concatenate([a.censored, b.censored])
    order = np.argsort(load, kind="stable")
    load, failed = load[order], failed[order]
    label = np.concatenate([np.ones(len(a.load)), np.zeros(len(b.load))])[order]
    times = np.unique(load[failed])
    at_risk = (load[None, :] >= times[:, None]).astype(float)
    deaths = ((load[None, :] == times[:, None]) & failed[None, :]).astype(float)
    weight = deaths.sum(axis=0) - (deaths.sum(axis=1) / at_risk.sum(axis=1)) @ at_risk

    seen = abs(float(weight @ label))
    rng = np.random.default_rng(seed)
    drawn = np.abs(rng.permuted(np.tile(label, (permutations, 1)), axis=1) @ weight)
    return float((1 + np.sum(drawn >= seen - 1e-12)) / (permutations + 1))


def tracks_needed(
    spread_a: float, spread_b: float, difference: float, *, level: float = 0.95,
    power: float = 0.8, share_failing: float = 1.0, start: tuple[int, int] = (0, 0),
) -> float:  # fmt: skip
    """Further tracks on each coating until a difference is shown with the power asked for.

    Parameters
    ----------
    spread_a, spread_b : float
        Standard deviation of the critical load over tracks, N.
    difference : float
        The difference that shall be shown, N.
    share_failing : float
        Share of tracks that fail before the largest load; the others tell little, so the number
        is divided by it.

    Returns
    -------
    float
        A whole number; ``inf`` where none would do.

    Raises
    ------
    ScratchError
    """
    if not 0 < share_failing <= 1:
        raise ScratchError("The share of tracks that fail lies above 0 and up to 1.")
    more = tests_needed(spread_a**2, spread_b**2, difference, level=level, power=power, start=start)
    return float(np.ceil(more / share_failing)) if np.isfinite(more) else more

"""Two populations in a series: found where they are, not where there is one.

The bound on what any test can find is that of Neyman and Pearson, Phil. Trans. R. Soc. A 231
(1933) 289, computed here for known groups.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from drypoint.uncertainty.populations import limit_of, two_populations


def _share(series: int, draw: object, n: int) -> float:
    rng = np.random.default_rng(7)
    return sum(two_populations(draw(rng, n)) is not None for _ in range(series)) / series  # type: ignore[operator]


@pytest.mark.parametrize("n", [8, 20, 60])
def test_false_alarms(n: int) -> None:
    """At most 2 % of normal and 5 % of lognormal (15 %) series, and no stray value or tail."""
    worlds = {
        "normal": (lambda r, n: 10 + 0.5 * r.standard_normal(n), 0.02),
        "lognormal": (lambda r, n: 10 * np.exp(0.15 * r.standard_normal(n)), 0.05),
        "tails": (lambda r, n: 10 + 0.2 * r.standard_t(3, n), 0.02),
    }
    for draw, most in worlds.values():
        share = _share(2000, draw, n)
        assert share <= most + 2 * np.sqrt(most * (1 - most) / 2000)


@pytest.mark.parametrize(
    ("n", "apart", "least"), [(20, 4.0, 0.58), (20, 5.0, 0.90), (40, 4.0, 0.9)]
)
def test_two_equal_groups_are_found(n: int, apart: float, least: float) -> None:
    def draw(rng: np.random.Generator, n: int) -> np.ndarray:
        return 10 + 0.3 * (rng.standard_normal(n) + apart * (np.arange(n) < n // 2))

    assert _share(600, draw, n) >= least


def test_no_test_finds_more_than_three_quarters_of_20_values_4_apart() -> None:
    """Mean and spread of both groups known; 2 % false alarms for a normal of equal variance."""
    rng = np.random.default_rng(3)

    def ratio(x: np.ndarray) -> np.ndarray:
        two = 0.5 * stats.norm.pdf(x - 2) + 0.5 * stats.norm.pdf(x + 2)
        return np.sum(np.log(two) - stats.norm.logpdf(x, scale=np.sqrt(5.0)), axis=1)

    limit = np.quantile(ratio(np.sqrt(5.0) * rng.standard_normal((40_000, 20))), 0.98)
    groups = rng.standard_normal((20_000, 20)) + np.where(np.arange(20) < 10, 2.0, -2.0)
    assert 0.70 < np.mean(ratio(groups) > limit) < 0.78


def test_one_stray_value_is_no_population() -> None:
    x = 10 + 0.3 * np.random.default_rng(1).standard_normal(20)
    x[3] = 20.0
    assert two_populations(x) is None


def test_few_equal_or_missing_values() -> None:
    assert two_populations(np.full(20, 3.0)) is None
    assert two_populations(np.array([1.0, 1.1, 5.0, 5.1])) is None
    assert two_populations(np.full(20, np.nan)) is None
    found = two_populations(np.array([1.0] * 8 + [5.0] * 8 + [np.nan]))
    assert found is not None and found.n == (8, 8) and found.means == (1.0, 5.0)


@given(st.integers(0, 10_000), st.floats(1e-12, 1e12))
def test_the_answer_depends_on_neither_order_nor_unit(seed: int, unit: float) -> None:
    rng = np.random.default_rng(seed)
    x = 10 + rng.standard_normal(24) + 4.5 * (np.arange(24) < 10)
    a, b = two_populations(x), two_populations(unit * rng.permutation(x))
    assert (a is None) == (b is None)
    if a is not None and b is not None:
        assert a.n == b.n and a.means[0] * unit == pytest.approx(b.means[0], rel=1e-9)


def test_the_limit_grows_with_the_number() -> None:
    limits = [limit_of(n) for n in range(6, 2000)]
    assert all(b > a for a, b in pairwise(limits))

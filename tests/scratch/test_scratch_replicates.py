"""Distributions of critical loads against SciPy, published fits and exact cases."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from drypoint.scratch.coatings import compare_coatings, tracks_needed
from drypoint.scratch.problems import ScratchError
from drypoint.scratch.replicates import Loads, best, drop, profile, replicates
from drypoint.scratch.shares import fitted_share, seen_share

# Lieblein and Zelen (1956), millions of revolutions of ball bearings; Weibull fit as quoted in
# many texts: shape 2.102, scale 81.88. From memory.
BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64,
    68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip
# Shock absorbers, km to failure, of O'Connor as in Meeker and Escobar (1998), table C.2; their fit
# of the Weibull distribution: eta 27719, beta 3.16. From memory.
ABSORBERS = [
    6700, -6950, -7820, -8790, 9120, -9660, -9820, -11310, -11690, -11850, -11880, -12140, 12200,
    -12870, 13150, -13330, -13470, -14040, 14300, 17520, -17540, -17890, -18450, -18960, -18980,
    -19410, 20100, -20100, -20150, -20320, 20900, 22700, -23490, 26510, -27410, 27490, -27890,
    -28100,
]  # fmt: skip


def loads(values: list[float] | np.ndarray, name: str = "") -> Loads:
    """Negative values are censored."""
    v = np.asarray(values, dtype=float)
    return Loads(name, np.abs(v), v < 0)


def test_bearings() -> None:
    fit = replicates(loads(BEARINGS)).fit("weibull")
    assert fit is not None
    assert fit.shape.value == pytest.approx(2.102, abs=1e-3)
    assert fit.scale.value == pytest.approx(81.88, abs=0.01)


def test_shock_absorbers_with_censoring() -> None:
    fit = replicates(loads(ABSORBERS)).fit("weibull")
    assert fit is not None
    assert fit.shape.value == pytest.approx(3.16, abs=5e-3)
    assert fit.scale.value == pytest.approx(27719, rel=1e-3)


@pytest.mark.parametrize("values", [BEARINGS, ABSORBERS], ids=["whole", "censored"])
def test_against_scipy(values: list[float]) -> None:
    v = loads(values)
    data = stats.CensoredData(uncensored=v.load[~v.censored], right=v.load[v.censored])
    found = replicates(v)
    weibull, normal = found.fit("weibull"), found.fit("normal")
    assert weibull is not None and normal is not None
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert weibull.shape.value == pytest.approx(shape, rel=1e-3)
    assert weibull.scale.value == pytest.approx(scale, rel=1e-3)
    mean, sd = stats.norm.fit(data)
    assert normal.scale.value == pytest.approx(mean, rel=1e-3)
    assert normal.shape.value == pytest.approx(sd, rel=2e-3)
    # The likelihood of the loads themselves, comparable between families.
    rest = stats.weibull_min.logsf(v.load[v.censored], shape, 0, scale).sum()
    total = stats.weibull_min.logpdf(v.load[~v.censored], shape, 0, scale).sum() + rest
    assert weibull.loglik == pytest.approx(total, abs=1e-4)


def test_interval_of_a_normal_mean_is_students() -> None:
    v = np.array([18.2, 20.1, 19.4, 22.0, 21.3, 17.9, 20.6])
    fit = replicates(loads(v)).fit("normal")
    assert fit is not None
    half = stats.t.ppf(0.975, 6) * v.std(ddof=1) / np.sqrt(7)
    assert (fit.scale.low, fit.scale.high) == pytest.approx(
        (v.mean() - half, v.mean() + half), rel=1e-6
    )
    assert drop(100_000, 0.95) == pytest.approx(stats.chi2.ppf(0.95, 1) / 2, rel=1e-3)


def test_interval_of_the_median_covers_with_censoring() -> None:
    rng = np.random.default_rng(1)
    hits, n = 0, 60
    for _ in range(n):
        L = 20 * rng.weibull(5.0, 8)
        v = Loads("", np.minimum(L, 22.0), L > 22.0)
        if v.failures < 3:
            n -= 1
            continue
        _, log_sigma, top = best(v, "weibull")
        true = float(np.log(20 * np.log(2) ** 0.2))
        hits += profile(v, "weibull", 0.5, log_sigma)(true) >= top - drop(v.failures, 0.95)
    assert stats.binom.cdf(hits, n, 0.95) > 1e-3  # too few would be a fault; more is careful
    assert hits / n > 0.9


def test_scale_of_loads_goes_through() -> None:
    one, two = replicates(loads(ABSORBERS)), replicates(loads(1e-3 * np.array(ABSORBERS)))
    for a, b in zip(one.fits, two.fits, strict=True):
        assert b.median.value == pytest.approx(1e-3 * a.median.value, rel=1e-5)
        assert b.tenth.low == pytest.approx(1e-3 * a.tenth.low, rel=1e-4)
    assert one.better == two.better


def test_too_few_failures_are_said() -> None:
    none = replicates(loads([-30.0] * 5))
    # Exact: with five of five surviving, 1 - 0.05^(1/5).
    assert none.at_most == pytest.approx(1 - 0.05**0.2) and "No track failed" in none.remarks[1]
    few = replicates(loads([20.0, 21.0, -30.0]))
    assert not few.fits and "three or more" in few.remarks[-1]
    with pytest.raises(ScratchError, match="above zero"):
        loads([0.0, 1.0])


def test_coatings() -> None:
    rng = np.random.default_rng(2)
    a = loads(18 * rng.weibull(8.0, 10), "A")
    b = loads(25 * rng.weibull(8.0, 10), "B")
    found = compare_coatings(a, b)
    assert found.low < 18 / 25 < found.high and found.high < 1
    assert found.p < 0.01 and found.p_ranks < 0.01 and "differ" in found.sentence
    back = compare_coatings(b, a)
    assert back.estimate == pytest.approx(1 / found.estimate, rel=1e-6)
    assert back.low == pytest.approx(1 / found.high, rel=1e-4)
    assert back.p == pytest.approx(found.p, rel=1e-3)
    same = compare_coatings(a, a, family="normal")
    assert same.estimate == pytest.approx(0, abs=1e-6) and same.p == pytest.approx(1.0)


def test_difference_of_normal_means_is_near_welchs() -> None:
    rng = np.random.default_rng(5)
    x, y = 20 + rng.standard_normal(12), 21.2 + 1.5 * rng.standard_normal(12)
    found = compare_coatings(loads(x, "A"), loads(y, "B"), family="normal")
    welch = stats.ttest_ind(x, y, equal_var=False)
    interval = welch.confidence_interval(0.95)
    assert found.estimate == pytest.approx(x.mean() - y.mean(), rel=1e-6)
    assert found.p == pytest.approx(welch.pvalue, rel=0.4)
    width = interval.high - interval.low
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), abs=0.05 * width)


def test_log_rank_against_scipy() -> None:
    rng = np.random.default_rng(7)
    x, y = 20 * rng.weibull(6, 15), 22 * rng.weibull(6, 15)
    a = Loads("A", np.minimum(x, 22), x > 22)
    b = Loads("B", np.minimum(y, 22), y > 22)
    data = [stats.CensoredData(uncensored=v.load[~v.censored], right=v.load[v.censored])
            for v in (a, b)]  # fmt: skip
    expected = stats.logrank(*data).pvalue
    assert compare_coatings(a, b).p_ranks == pytest.approx(expected, abs=0.03)


def test_tracks_needed() -> None:
    # Two-sample t test, 5 %, power 80 %, difference of one standard deviation: 17 on each
    # (any table of sample sizes; from memory).
    assert tracks_needed(1.0, 1.0, 1.0) == 17
    assert tracks_needed(1.0, 1.0, 1.0, share_failing=0.5) == 34
    with pytest.raises(ScratchError, match="share"):
        tracks_needed(1.0, 1.0, 1.0, share_failing=0.0)


def test_shares_against_scipy() -> None:
    """The product-limit estimate of SciPy, and its distributions."""
    some = loads(ABSORBERS)
    load, share = seen_share(some)
    given = stats.CensoredData.right_censored(some.load, some.censored)
    reference = stats.ecdf(given).cdf
    np.testing.assert_allclose(share, reference.evaluate(load), rtol=1e-12)
    found = replicates(some)
    at = np.linspace(2e3, 6e4, 50)
    weibull, normal = found.fit("weibull"), found.fit("normal")
    assert weibull is not None and normal is not None
    np.testing.assert_allclose(
        fitted_share(weibull, at),
        stats.weibull_min(weibull.shape.value, scale=weibull.scale.value).cdf(at),
        rtol=1e-10,
    )
    np.testing.assert_allclose(
        fitted_share(normal, at), stats.norm(normal.mu, normal.sigma).cdf(at), rtol=1e-10
    )
    assert fitted_share(weibull, np.array([weibull.median.value]))[0] == pytest.approx(0.5)


def test_share_of_none_that_failed_is_empty() -> None:
    load, share = seen_share(loads([-1.0, -2.0]))
    assert len(load) == len(share) == 0

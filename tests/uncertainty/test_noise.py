"""The fit's covariance under coloured noise."""

from __future__ import annotations

import numpy as np
import plain_colour as plain
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import fft, signal

from drypoint.errors import UncertaintyError
from drypoint.uncertainty import hac
from drypoint.uncertainty.noise import Quiet, fit_covariance, fit_covariances, robust_slope


def ar1(rng: np.random.Generator, shape: tuple[int, ...], rho: float) -> np.ndarray:
    e = rng.standard_normal(shape)
    e[..., 0] /= np.sqrt(1 - rho**2)
    return signal.lfilter([1], [1, -rho], e, axis=-1)


def polynomial(n: int) -> np.ndarray:
    t = np.linspace(-1, 1, n)
    return np.stack([np.ones(n), t, t**2], axis=1)


def leftover(jac: np.ndarray, y: np.ndarray) -> np.ndarray:
    return y - jac @ np.linalg.lstsq(jac, y, rcond=None)[0]


def test_cosines_are_the_transform() -> None:
    x = np.random.default_rng(0).normal(size=(37, 2))
    ours = plain.transform(37) @ x
    np.testing.assert_allclose(ours, fft.dct(x, axis=0, norm="ortho"), atol=1e-12)


@pytest.mark.parametrize(
    ("n", "p", "m"),
    [(100, 3, 403), (20, 2, 0), (21, 2, 403), (301, 2, 700), (121, 1, 403), (4, 3, 0), (30, 2, 15)],
)
def test_kernels_against_plain_arrays(n: int, p: int, m: int) -> None:
    """The same in plain array operations; and each fit alone is the same to the last bit."""
    rng = np.random.default_rng(n)
    count = 12
    jac = rng.standard_normal((count, n, p)).cumsum(axis=1)
    e = rng.standard_normal((count, n))
    e[::2] = e[::2].cumsum(axis=1)
    signal_ = rng.standard_normal((count, m)).cumsum(axis=1)
    offsets, at = np.arange(count + 1) * n, np.arange(count + 1) * m
    quiet = Quiet(signal_.ravel(), at[:-1], at[1:])
    made = fit_covariances(jac.reshape(-1, p), e.ravel(), offsets, quiet)
    expected = plain.covariance_of(jac, e, plain.quiet_blocks(signal_, n) if m else None)
    size = np.sqrt(np.einsum("fii->fi", expected))
    np.testing.assert_allclose(
        made / size[:, :, None] / size[:, None, :],
        expected / size[:, :, None] / size[:, None, :],
        atol=1e-9,
    )
    for i in range(count):
        one = fit_covariances(jac[i], e[i], offsets[:2], Quiet(signal_[i], at[:1], at[1:2]))
        np.testing.assert_array_equal(one[0], made[i])


def test_against_dense_matrices() -> None:
    """The same average by full covariance matrices and textbook restricted likelihood (C)."""
    n, p = 40, 3
    rng = np.random.default_rng(5)
    jac = polynomial(n)
    e = leftover(jac, ar1(rng, (n,), 0.6))
    t = fft.dct(np.eye(n), axis=0, norm="ortho")
    d = plain.drift_of(e[None])[0]
    q, r = np.linalg.qr(jac)
    s = 2 * np.sin(np.pi * np.maximum(np.arange(n), 0.5) / (2 * n))
    models = [(np.ones(n), 30.0)]
    for f0 in np.geomspace(3 / n, 1, 6):
        models += [(c + 1 / (1 + (s / f0) ** 2), 1.0) for c in (0.001, 0.03, 0.3)]
    logs, covs = [], []
    for spectrum, weight in models:
        c = np.diag(d) @ t.T @ np.diag(spectrum) @ t @ np.diag(d)
        inv = np.linalg.inv(c)
        xtx = q.T @ inv @ q
        res = e - q @ np.linalg.solve(xtx, q.T @ inv @ e)
        rss = res @ inv @ res
        dets = np.linalg.slogdet(c)[1] + np.linalg.slogdet(xtx)[1]
        logs.append(-0.5 * (dets + (n - p) * np.log(rss)) + np.log(weight))
        covs.append(q.T @ c @ q * rss / (n - p - 2))
    w = np.exp(np.array(logs) - max(logs))
    meat = np.einsum("i,ijk->jk", w / w.sum(), np.array(covs))
    ri = np.linalg.inv(r)
    np.testing.assert_allclose(fit_covariance(jac, e), ri @ meat @ ri.T, rtol=1e-8)


@given(st.integers(0, 500), st.floats(1e-9, 1e9), st.integers(20, 400))
def test_units_and_order_of_parameters(seed: int, scale: float, n: int) -> None:
    rng = np.random.default_rng(seed)
    jac = polynomial(n)
    e = leftover(jac, ar1(rng, (n,), 0.7))
    cov = fit_covariance(jac, e)
    units = np.array([1.0, scale, 1 / scale])
    np.testing.assert_allclose(
        fit_covariance(jac * units, e * scale) * np.outer(units, units) / scale**2, cov, rtol=1e-6
    )
    turned = fit_covariance(np.ascontiguousarray(jac[:, ::-1]), e)
    np.testing.assert_allclose(turned[::-1, ::-1], cov, rtol=1e-6, atol=1e-9 * np.max(cov))
    assert np.linalg.eigvalsh(cov).min() > 0


@pytest.mark.parametrize(
    ("rho", "low", "high"), [(0.0, 0.94, 1.0), (0.5, 0.94, 1.0), (0.9, 0.88, 0.98)]
)
def test_intervals_cover(rho: float, low: float, high: float) -> None:
    """600 seeds: bounds are what the study found, with three binomial deviations (0.027)."""
    n, reps = 120, 600
    jac = polynomial(n)
    noise = ar1(np.random.default_rng(17), (reps, n), rho)
    err = np.linalg.lstsq(jac, noise.T, rcond=None)[0]
    hit = [
        np.abs(err[:, i]) < 1.96 * np.sqrt(np.diag(fit_covariance(jac, leftover(jac, noise[i]))))
        for i in range(reps)
    ]
    rate = np.mean(hit, axis=0)
    assert np.all(rate >= low - 0.005) and np.all(rate <= high)


def test_white_noise_tends_to_the_textbook() -> None:
    n = 2000
    jac = polynomial(n)
    rng = np.random.default_rng(3)
    ratio = []
    for _ in range(40):
        e = leftover(jac, rng.standard_normal(n))
        cov = fit_covariance(jac, e)
        ratio.append(np.diag(cov) / np.diag(np.linalg.inv(jac.T @ jac) * (e @ e) / (n - 3)))
    assert np.all(np.abs(np.median(ratio, axis=0) - 1) < 0.5)


def test_bad_input_gives_nan_or_zero() -> None:
    jac = polynomial(30)
    assert np.isnan(fit_covariance(jac[:3].copy(), np.ones(3))).all()
    assert np.isnan(fit_covariance(jac, np.full(30, np.nan))).all()
    assert np.isnan(fit_covariance(np.ones((30, 2)), np.ones(30))).all()
    assert (fit_covariance(jac, np.zeros(30)) == 0).all()
    assert np.isnan(robust_slope(np.zeros(5), np.ones(5))[0])
    assert np.isnan(robust_slope(np.arange(2.0), np.ones(2))[0])
    slope, intercept, u = robust_slope(np.arange(9.0), 2 + 3 * np.arange(9.0))
    assert (slope, intercept) == pytest.approx((3, 2)) and u == pytest.approx(0, abs=1e-12)


def test_robust_slope_shrugs_off_jumps_and_covers() -> None:
    rng = np.random.default_rng(8)
    n, reps = 150, 500
    t = np.linspace(0, 60, n)
    noise = ar1(rng, (reps, n), 0.6)
    noise[:, 70:74] += 40.0
    got = np.array([robust_slope(t, 5 + 0.02 * t + e) for e in noise])
    rate = np.mean(np.abs(got[:, 0] - 0.02) < 1.96 * got[:, 2])
    assert rate > 0.92
    shifted = robust_slope(t, 1e3 * (5 + 0.02 * t + noise[0]) + 7)
    assert shifted[0] == pytest.approx(1e3 * got[0, 0]) and shifted[2] == pytest.approx(
        1e3 * got[0, 2]
    )


def test_longrun_factor_of_known_processes() -> None:
    rng = np.random.default_rng(2)
    assert hac.longrun_factor(rng.standard_normal(20_000)) == pytest.approx(1, abs=0.15)
    assert hac.longrun_factor(ar1(rng, (20_000,), 0.5)) == pytest.approx(3, rel=0.15)  # (1+r)/(1-r)
    both = np.concatenate([rng.standard_normal(200), ar1(rng, (300,), 0.8)])
    many = hac.longrun_factors(both, np.array([0, 200, 500]))
    assert many == pytest.approx([hac.longrun_factor(both[:200]), hac.longrun_factor(both[200:])])
    assert hac.longrun_factor(np.zeros(50)) == 1.0


def test_sandwich_with_no_lags_is_whites() -> None:
    rng = np.random.default_rng(1)
    jac = polynomial(500)
    e = leftover(jac, rng.standard_normal(500))
    inv = np.linalg.inv(jac.T @ jac)
    white = inv @ (jac.T * e**2) @ jac @ inv * 500 / 497
    got = hac.sandwich_cov(jac, e, kernel="bartlett", bandwidth=1.0)
    np.testing.assert_allclose(got, white, rtol=0.01)  # t with 750 degrees of freedom inside
    for kw in ({"kernel": "qs"}, {"kernel": "qs", "prewhiten": True}, {"kernel": "bartlett"}):
        np.testing.assert_allclose(
            np.diag(hac.sandwich_cov(jac, e, **kw)), np.diag(white), rtol=0.4
        )
    with pytest.raises(UncertaintyError):
        hac.sandwich_cov(jac[:4], e[:4])

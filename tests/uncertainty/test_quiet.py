"""A quiet stretch beside a fit tells the colour of its noise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from drypoint.uncertainty import colour
from drypoint.uncertainty.noise import Quiet, fit_covariance, fit_covariances, line_fits

REPS, N, M = 400, 20, 300


@pytest.fixture(scope="module")
def slow() -> tuple[np.ndarray, np.ndarray]:
    """Noise with a correlation length of 40 samples, part white: (fits, 20) and (fits, 300)."""
    rng = np.random.default_rng(4)

    def noise(n: int) -> np.ndarray:
        e = rng.standard_normal((REPS, n))
        x = np.empty((REPS, n))
        x[:, 0] = e[:, 0] / np.sqrt(1 - 0.975**2)
        for i in range(1, n):
            x[:, i] = 0.975 * x[:, i - 1] + e[:, i]
        return x + 3 * rng.standard_normal((REPS, n))

    return noise(N), noise(M) + np.linspace(0, 70, M) + 1e6


def test_a_short_fit_knows_slow_noise_by_it(slow: tuple[np.ndarray, np.ndarray]) -> None:
    """Coverage of a line's value at its end; three binomial deviations are 0.033 at 95 %."""
    here, beside = slow
    x, offsets = np.tile(np.arange(N) - 19.0, REPS), np.arange(REPS + 1) * N
    quiet = Quiet(beside.ravel(), np.arange(REPS) * M, np.arange(1, REPS + 1) * M)
    at = np.zeros(REPS)
    held = []
    for given in (None, quiet):
        value, _, u, _ = line_fits(x, here.ravel(), offsets, at, given)
        held.append(np.mean(np.abs(value) < 1.96 * u))
    assert held[0] < 0.87 < 0.90 < held[1] < 0.985


def test_scale_and_drift_of_the_stretch_do_not_matter(
    slow: tuple[np.ndarray, np.ndarray],
) -> None:
    here, beside = slow
    jac, e = np.ones((N, 1)), here[0] - here[0].mean()
    first, stop, offsets = np.array([0]), np.array([M]), np.array([0, N])
    t = np.linspace(-1, 1, M)
    one = fit_covariances(jac, e, offsets, Quiet(beside[0], first, stop))
    other = 1e-9 * (beside[0] - 1e6 + 30 * t - 50 * t**2)
    two = fit_covariances(jac, e, offsets, Quiet(other, first, stop))
    np.testing.assert_allclose(two, one, rtol=1e-6)
    little = fit_covariances(jac, e, offsets, Quiet(beside[0], first, np.array([15])))
    np.testing.assert_array_equal(little[0], fit_covariance(jac, e))
    still = fit_covariances(jac, e, offsets, Quiet(np.ones(M), first, stop))
    assert np.isfinite(still).all()


def test_variance_of_the_mean_is_exact() -> None:
    """k = 0 against the sum over all lags."""
    n, m = 20, 256
    fit, other, _ = colour._spectra_beside(n, m)
    assert fit.shape == (55, n) and other.shape == (55, m)
    lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    for i, f0 in enumerate(np.geomspace(3 / m, 1, 9)):
        rho = optimize.brentq(lambda r, f0=f0: (1 - r) / np.sqrt(r) - f0, 1e-9, 1.0)
        exact = np.sum(rho**lag) / n * (1 - rho) / (1 + rho)
        assert fit[1 + 6 * i, 0] - 0.001 == pytest.approx(exact, rel=1e-6)

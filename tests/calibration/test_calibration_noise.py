"""Noise and drift study: Allan deviation against published values and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.calibration import (
    CalibrationError,
    Stretch,
    allan_deviation,
    noise_study,
    quiet_stretches,
)
from drypoint.records.segments import find_segments
from drypoint.simulation import Law, Noise, Truth, simulate_batch, single
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry


def test_allan_deviation_of_the_published_1000_points() -> None:
    """NIST SP 1065 test data (its own generator): overlapping, m = 1, 10, 100 (S, second-hand)."""
    n = [1234567890]
    for _ in range(999):
        n.append(16807 * n[-1] % 2147483647)
    x = np.array(n) / 2147483647
    assert allan_deviation(x, [1, 10, 100]) == pytest.approx(
        [2.922319e-01, 9.159953e-02, 3.241343e-02], rel=1e-6
    )


def test_allan_deviation_of_the_published_nine_points() -> None:
    """Nine fractional frequencies of the same book: 91.22945 and 85.95287 (S, second-hand)."""
    x = [892, 809, 823, 798, 671, 644, 883, 903, 677]
    assert allan_deviation(x, [1, 2]) == pytest.approx([91.22945, 85.95287], rel=1e-6)


def test_closed_forms() -> None:
    """Drift D: D tau/sqrt(2), exactly. White noise: sigma/sqrt(m). Random walk: ~ sqrt(m/3)."""
    m = np.array([1, 4, 16])
    assert allan_deviation(0.3 * np.arange(200), m) == pytest.approx(0.3 * m / np.sqrt(2))
    z = np.random.default_rng(0).standard_normal(200_000)
    assert allan_deviation(z, m) == pytest.approx(1 / np.sqrt(m), rel=0.02)
    walk = allan_deviation(np.cumsum(z), np.array([32]))
    assert walk == pytest.approx(np.sqrt((2 * 32**2 + 1) / (6 * 32)), rel=0.05)
    assert np.isnan(allan_deviation(z[:10], [6]))[0]


def test_noise_of_simulated_records_comes_back() -> None:
    truth = Truth(
        tip=blunted_tip(Geometry("modified Berkovich", radius=80e-9)), E=Law.constant(72e9),
        H=Law.constant(9.2e9), nu=0.17, noise=Noise(force_white=0.3e-6, depth_white=0.15e-9),
        drift_rate=0.03e-9,
    )  # fmt: skip
    batch = simulate_batch([truth] * 6, single(5e-3, gap=200e-9), seed=3)
    study = noise_study(quiet_stretches(batch, find_segments(batch)))
    assert study.noise_force == pytest.approx(0.3e-6, rel=0.05)
    assert study.noise_depth == pytest.approx(0.15e-9, rel=0.05)
    assert np.median(study.drift_rate) == pytest.approx(0.03e-9, rel=0.05)
    assert study.allan_depth[0] == pytest.approx(0.15e-9, rel=0.05)
    # White noise q/sqrt(m) against drift D tau/sqrt(2): least where they cross, about
    # (q^2 dt / D^2)^(1/3) = 1.1 s.
    best = (0.15e-9**2 * 0.05 / 0.03e-9**2) ** (1 / 3)
    assert 0.5 * best < study.best_tau < 2 * best
    assert len(study.sentences) == 4


def test_nothing_quiet_is_refused() -> None:
    with pytest.raises(CalibrationError, match="No hold and no approach"):
        noise_study([])


def test_an_approach_alone_gives_the_force_only() -> None:
    z = np.random.default_rng(0).standard_normal(400)
    study = noise_study([Stretch(0.05, 1e-7 * z, np.linspace(0, 1e-7, 400), in_contact=False)])
    assert study.noise_force == pytest.approx(1e-7, rel=0.1)
    assert np.isnan(study.noise_depth) and np.isnan(study.best_tau)

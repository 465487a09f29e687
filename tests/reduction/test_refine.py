"""Noise in depth does not bend the fit of an unloading curve."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.reduction.refine import refine
from drypoint.reduction.unloading import Unloading, fit_power_law, fit_unloading

SPAN = 20e-9


def noisy(share: float, reps: int, n: int = 150) -> tuple[Unloading, np.ndarray]:
    """Fits of power laws whose depths carry white noise, ``share`` of their own spread."""
    force = np.tile(np.linspace(1.0, 0.2, n), reps)
    depth = (force ** (1 / 1.4) - 1) * SPAN
    sd = share * float(np.std(depth[:n]))
    depth = depth + sd * np.random.default_rng(2).standard_normal(n * reps)
    start, one = np.arange(reps) * n, np.ones(reps)
    time = np.full(n * reps, np.nan)
    fits = fit_unloading(force, depth, time, start, start + n, one, 0 * one, (0.2, 0.98))
    return fits, fits.S * SPAN / 1.4 - 1


def test_the_slope_has_no_bias() -> None:
    """Least squares in force alone finds it too low by var(noise)/var(depth) or more: over 1 %."""
    fits, error = noisy(0.1, 400)
    assert (fits.status == 0).all()
    assert abs(np.mean(error)) < 3 * np.std(error) / np.sqrt(400) + 0.001
    p = np.stack([fits.A, fits.L, fits.m], axis=1)
    relative = fits.cov / p[:, :, None] / p[:, None, :]
    sign = np.array([1.0, -1.0, 1.0])
    u = np.sqrt(np.einsum("i,nij,j->n", sign, relative, sign))
    assert 0.92 < np.mean(np.abs(error) < 1.96 * u) < 0.99


def test_without_noise_nothing_moves() -> None:
    _, error = noisy(0.0, 3)
    assert np.max(np.abs(error)) < 1e-9


@pytest.mark.parametrize("held", [False, True])
def test_small_noise_leaves_least_squares(held: bool) -> None:
    """To first order in the noise it is the least-squares fit in force."""
    y = np.linspace(0.98, 0.2, 80)
    wave = np.sin(np.arange(80) * 1.7)
    free = np.array([1.0, 1.0, 0.0 if held else 1.0])
    moved = []
    for size in (1e-4, 1e-5):
        x = y ** (1 / 1.3) - 1 + size * wave
        first = np.array([1.0, 1.3, 1.0 if held else 1.3])
        p, _, _, status = fit_power_law(x, y, first, free)
        assert status == 0
        moved.append(np.max(np.abs(refine(x, y, p, free)[0] - p)))
    if not held:  # a straight line is no power law, and its misfit is no small noise
        assert moved[1] < 0.02 * moved[0]


def test_where_it_does_not_settle_it_gives_the_start_back() -> None:
    start = np.array([1.0, 1.0, 1.4])
    p, _, _, settled = refine(np.zeros(10), np.full(10, 0.5), start, np.ones(3))
    assert not settled
    np.testing.assert_array_equal(p, start)


def test_parameters_that_cannot_be_told_apart_leave_the_start_as_it_is() -> None:
    """A fault of one record must not stop a batch: no division by zero, the start comes back."""
    start = np.array([1.0, 1.0, 1.4])
    p, _, res, _ = refine(np.zeros(8), np.ones(8), start, np.ones(3))
    assert p.tolist() == start.tolist()
    assert res.tolist() == [0.0] * 8

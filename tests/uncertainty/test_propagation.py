"""Jacobians, budgets and Monte Carlo: what must hold whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.errors import UncertaintyError
from drypoint.uncertainty import montecarlo as mc
from drypoint.uncertainty import propagation as pr
from drypoint.uncertainty.budget import budget
from drypoint.uncertainty.joint import Joint, join, single


def some_joint(seed: int, k: int = 4) -> Joint:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(k, k))
    names = tuple(f"tip.{i}" if i < 2 else f"frame.{i}" for i in range(k))
    return Joint(names, rng.normal(size=k), root @ root.T, dof=rng.uniform(3, 60, k))


@given(st.integers(0, 10_000), st.floats(1e-12, 1e12))
def test_budget_shares_and_scaling(seed: int, scale: float) -> None:
    joint = some_joint(seed)
    jac = np.random.default_rng(seed + 1).normal(size=4)
    b = budget(1.0, jac, joint, {"fit": 0.3, "zero": 0.1}, random_dof={"fit": 7})
    assert sum(r.share for r in b.rows) == pytest.approx(1)
    assert sum(b.groups().values()) == pytest.approx(1)
    assert b.u**2 == pytest.approx(jac @ joint.cov @ jac + 0.1)
    assert set(b.groups()) == {"tip", "frame", "fit", "zero"}
    s = budget(scale, jac * scale, joint, {"fit": 0.3 * scale, "zero": 0.1 * scale})
    assert s.u == pytest.approx(b.u * scale)
    assert [r.share for r in s.rows] == pytest.approx([r.share for r in b.rows])


def test_share_may_be_negative_and_cancelling_is_complete() -> None:
    joint = Joint(("tip.a", "tip.b"), np.zeros(2), np.array([[1.0, 1.0], [1.0, 1.0]]))
    b = budget(0.0, np.array([2.0, -1.0]), joint, {})
    assert [r.share for r in b.rows] == pytest.approx([2.0, -1.0])
    assert [r.contribution for r in b.rows] == [2.0, -1.0]
    assert budget(0.0, np.array([1.0, -1.0]), joint, {}).u == 0.0


def test_blocks_and_welch_satterthwaite() -> None:
    joint = join([single("a", 0, 1, dof=5), some_joint(3), single("z", 0, 1)])
    assert [len(b) for b in pr.linked_blocks(joint.cov)] == [1, 4, 1]
    assert pr.welch_satterthwaite(np.array([1.0, 1.0]), np.array([4.0, 4.0])) == pytest.approx(8)
    assert pr.welch_satterthwaite(np.array([1.0, 0.0]), np.array([np.inf, 2.0])) == np.inf
    assert pr.coverage_factor(np.inf) == pytest.approx(1.959964, abs=1e-6)
    assert pr.coverage_factor(16.7, 0.99, truncate=True) == pytest.approx(2.92, abs=5e-3)  # GUM G.2


@given(st.integers(0, 1000))
def test_two_jacobians_agree(seed: int) -> None:
    x = np.random.default_rng(seed).uniform(0.5, 2.0, 3)

    def f(z: np.ndarray) -> np.ndarray:
        return np.array([z[0] ** 1.5 / z[1], np.exp(z[2] - z[0]), z.sum()])

    jac = pr.complex_step(f, x)
    np.testing.assert_allclose(pr.central_difference(f, x), jac, rtol=1e-8, atol=1e-9)


def test_functions_that_cannot_be_differentiated_are_refused() -> None:
    with pytest.raises(UncertaintyError, match="real numbers"):
        pr.complex_step(lambda z: np.abs(z), np.array([1.0]))
    with pytest.raises(UncertaintyError, match="depends on the step"):
        pr.central_difference(lambda z: np.sign(z - 1.0) + z, np.array([1.0]))
    with pytest.raises(UncertaintyError):
        pr.propagate(np.ones((1, 3)), np.eye(2))


def linear(s: np.ndarray, r: np.ndarray) -> np.ndarray:
    return (s @ np.array([1.0, -2.0, 0.5, 1.0]))[:, None] + 3.0 * r[:, :, 0]


@given(st.integers(0, 5))
def test_monte_carlo_against_linear(seed: int) -> None:
    joint = some_joint(seed)
    noise = mc.gaussian(np.zeros(1), np.array([[0.25]]), 3)
    got = mc.monte_carlo(linear, joint, noise, n=20_000, seed=seed)
    jac = np.array([1.0, -2.0, 0.5, 1.0])
    u_sys = np.sqrt(jac @ joint.cov @ jac)
    assert got.u.shape == (3,)
    np.testing.assert_allclose(got.u_systematic, u_sys, rtol=0.03)
    np.testing.assert_allclose(got.u_random, 1.5, rtol=0.03)
    np.testing.assert_allclose(got.u, np.hypot(u_sys, 1.5), rtol=0.03)
    # drawn once a trial: the systematic part does not shrink in the mean over tests
    assert got.draws.mean(axis=1).std() == pytest.approx(
        np.hypot(u_sys, 1.5 / np.sqrt(3)), rel=0.03
    )


def test_monte_carlo_is_the_same_for_every_chunk_and_validates() -> None:
    joint = some_joint(1)

    def run(chunk: int) -> mc.MonteCarlo:
        return mc.monte_carlo(
            lambda s, r: s[:, 0], joint, n=10_500, seed=9, chunk=chunk, tolerance_digits=None
        )

    np.testing.assert_array_equal(run(1000).draws, run(50_000).draws)
    got = mc.monte_carlo(lambda s, r: s[:, 0], joint, n=10_000, seed=4, tolerance_digits=1)
    assert got.tolerance_met is True and got.n >= 20_000
    assert mc.validate(joint.mean[0], joint.sd[0], got, digits=1).agrees
    assert not mc.validate(joint.mean[0], 1.5 * joint.sd[0], got, digits=1).agrees
    short = mc.monte_carlo(
        lambda s, r: s[:, 0], joint, n=10_000, seed=4, tolerance_digits=4, n_max=20_000
    )
    assert short.tolerance_met is False


def test_numerical_tolerance_of_the_supplement() -> None:
    """JCGM 101, 7.9.2: u = 0.00035 g gives 0.000 005 g; u = 2 K with one digit 0.5 K (M-hi)."""
    assert mc.numerical_tolerance(0.00035) == pytest.approx(0.000005)
    assert mc.numerical_tolerance(2.0, 1) == pytest.approx(0.5)


def test_shortest_interval_of_a_skew_distribution() -> None:
    draws = np.random.default_rng(0).exponential(size=100_000)
    np.testing.assert_allclose(mc.shortest_interval(draws, 0.95), [0, -np.log(0.05)], atol=0.05)
    np.testing.assert_allclose(
        mc.symmetric_interval(draws, 0.95), -np.log([0.975, 0.025]), atol=0.08
    )

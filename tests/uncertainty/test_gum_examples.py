"""The worked examples of the GUM and its Supplement 1, and the GTC library (PyPI, 1.5.1).

Marks as in the project's list of check values: M from memory, S seen in print or in a
repository, C computed here.
"""

from __future__ import annotations

import GTC
import numpy as np
import pytest

from drypoint.uncertainty import propagation as pr
from drypoint.uncertainty.budget import budget
from drypoint.uncertainty.joint import Joint, join, single
from drypoint.uncertainty.montecarlo import monte_carlo, validate


def h1() -> Joint:
    """GUM H.1, end gauge; nm and degrees Celsius. JCGM 100:2008 H.1 (M-hi)."""
    return join(
        [
            single("l_s", 50_000_623.0, 25.0, dof=18),
            single("d", 215.0, 5.8, dof=24),
            single("d1", 0.0, 3.9, dof=5),
            single("d2", 0.0, 6.7, dof=8),
            single("alpha_s", 11.5e-6, 1.2e-6),
            single("theta", -0.1, 0.41),
            single("dalpha", 0.0, 0.58e-6, dof=50),
            single("dtheta", 0.0, 0.029, dof=2),
        ]
    )


def end_gauge(x: np.ndarray) -> np.ndarray:
    l_s, d, d1, d2, alpha_s, theta, dalpha, dtheta = x
    return np.array([l_s + d + d1 + d2 - l_s * (dalpha * theta + alpha_s * dtheta)])


def test_gum_h1() -> None:
    joint = h1()
    jac = pr.complex_step(end_gauge, joint.mean)[0]
    b = budget(float(end_gauge(joint.mean)[0]), jac, joint, {}, level=0.99, unit="nm")
    assert b.value == pytest.approx(50_000_838)  # JCGM 100 H.1 (M-hi)
    assert round(b.u) == 32  # (M-hi)
    assert int(b.dof) == 16  # (M-hi)
    assert pr.expanded(32.0, b.dof, 0.99, truncate=True) == pytest.approx(93, abs=0.6)  # (M-hi)
    assert sum(r.share for r in b.rows) == pytest.approx(1)
    # GTC's own Welch-Satterthwaite on the same inputs (C)
    x = [GTC.ureal(m, s, nu) for m, s, nu in zip(joint.mean, joint.sd, joint.dof, strict=True)]
    y = x[0] + x[1] + x[2] + x[3] - x[0] * (x[6] * x[5] + x[4] * x[7])
    assert b.u == pytest.approx(GTC.uncertainty(y), rel=1e-10)
    assert b.dof == pytest.approx(GTC.dof(y), rel=1e-9)


H2_MEAN = np.array([4.999, 19.661e-3, 1.04446])
H2_SD = np.array([0.0032, 9.5e-6, 0.00075])
H2_R = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])


def impedance(x: np.ndarray) -> np.ndarray:
    v, i, phi = x
    return np.array([v / i * np.cos(phi), v / i * np.sin(phi), v / i])


def test_gum_h2_against_gum_and_gtc() -> None:
    """Inputs: github.com/MSLNZ/GTC docs/API/GUM_H2.rst (S)."""
    cov = H2_R * np.outer(H2_SD, H2_SD)
    out = pr.propagate(pr.complex_step(impedance, H2_MEAN), cov)
    u = np.sqrt(np.diag(out))
    r = out / np.outer(u, u)
    np.testing.assert_allclose(impedance(H2_MEAN), [127.732, 219.847, 254.260], atol=6e-4)  # M-hi
    np.testing.assert_allclose(u, [0.071, 0.295, 0.236], atol=1.1e-3)  # GUM, inputs rounded (M-hi)
    np.testing.assert_allclose(u, [0.06998, 0.29572, 0.23660], atol=6e-6)  # GTC 1.5.1 (M+C)
    np.testing.assert_allclose([r[0, 1], r[0, 2], r[1, 2]], [-0.591, -0.491, 0.993], atol=6e-4)
    v, i, phi = GTC.multiple_ureal(list(H2_MEAN), list(H2_SD), 4)
    for a, b, k in ((v, i, (0, 1)), (v, phi, (0, 2)), (i, phi, (1, 2))):
        GTC.set_correlation(H2_R[k], a, b)
    ours = [v / i * GTC.cos(phi), v / i * GTC.sin(phi), v / i]
    np.testing.assert_allclose(u, [GTC.uncertainty(z) for z in ours], rtol=1e-12)
    assert r[0, 1] == pytest.approx(GTC.get_correlation(ours[0], ours[1]), rel=1e-9)
    # one block with four degrees of freedom stays at four, as in GTC
    joint = Joint(("V", "I", "phi"), H2_MEAN, cov, dof=np.full(3, 4.0))
    b = budget(0.0, pr.complex_step(impedance, H2_MEAN)[2], joint, {})
    assert b.dof == pytest.approx(4.0) and GTC.dof(ours[2]) == pytest.approx(4.0)


def hardness(x: np.ndarray) -> np.ndarray:
    c0, c1, compliance, f_scale, h, force, stiffness = x
    f = force * f_scale
    true_stiffness = 1 / (1 / stiffness - compliance)
    h_c = h - compliance * f - 0.75 * f / true_stiffness
    return np.array([f / (c0 * h_c**2 + c1 * h_c)])


def test_indentation_model_against_gtc() -> None:
    """H = F/A(h_c) with a correlated area function: complex step, differences and GTC agree (C)."""
    mean = np.array([24.5, 1.2e-6, 3.0e-7, 1.0, 5.2e-7, 1.0e-2, 1.1e5])
    sd = np.array([0.3, 2.0e-7, 2.0e-8, 1e-3, 3e-10, 2e-6, 3e2])
    cov = np.diag(sd**2)
    cov[0, 1] = cov[1, 0] = -0.85 * sd[0] * sd[1]
    cov[0, 2] = cov[2, 0] = 0.4 * sd[0] * sd[2]
    jac = pr.complex_step(hardness, mean)
    u = float(np.sqrt(pr.propagate(jac, cov)[0, 0]))
    np.testing.assert_allclose(pr.central_difference(hardness, mean), jac, rtol=1e-8)
    x = [GTC.ureal(m, s, independent=False) for m, s in zip(mean, sd, strict=True)]
    GTC.set_correlation(-0.85, x[0], x[1])
    GTC.set_correlation(0.4, x[0], x[2])
    f = x[5] * x[3]
    h_c = x[4] - x[2] * f - 0.75 * f * (1 / x[6] - x[2])
    y = f / (x[0] * h_c**2 + x[1] * h_c)
    assert float(hardness(mean)[0]) == pytest.approx(y.x, rel=1e-12)
    assert u == pytest.approx(GTC.uncertainty(y), rel=1e-10)
    joint = Joint(tuple("abcdefg"), mean, cov)
    b = budget(y.x, jac[0], joint, {})
    for row, inp in zip(b.rows, x, strict=True):
        assert abs(row.contribution) == pytest.approx(abs(GTC.component(y, inp)), rel=1e-9)
    mc = monte_carlo(lambda s, r: hardness(s.T)[0], joint, n=100_000, seed=3)
    assert mc.u == pytest.approx(u, rel=0.02)


def curvilinear(rng: np.random.Generator, n: int, a: float, b: float, d: float) -> np.ndarray:
    """JCGM 101, 6.4.3.4: rectangular with ends known to within d."""
    low = (a - d) + 2 * d * rng.random(n)
    return low + (a + b - 2 * low) * rng.random(n)


def gauge_block(rng: np.random.Generator, n: int) -> np.ndarray:
    """Inputs of JCGM 101, 9.5, nm and degrees Celsius (M-hi)."""
    return np.stack(
        [
            623 + 25 * rng.standard_t(18, n),
            215 + 6 * rng.standard_t(24, n),
            4 * rng.standard_t(5, n),
            7 * rng.standard_t(8, n),
            rng.uniform(9.5e-6, 13.5e-6, n),
            rng.normal(-0.1, 0.2, n),
            0.5 * np.sin(rng.uniform(0, 2 * np.pi, n)),
            curvilinear(rng, n, -1.0e-6, 1.0e-6, 0.1e-6),
            curvilinear(rng, n, -0.050, 0.050, 0.025),
        ],
        axis=1,
    )


def deviation(s: np.ndarray, _: np.ndarray) -> np.ndarray:
    l_s, d, d1, d2, alpha, theta0, cyclic, dalpha, dtheta = s.T
    length = 50_000_000 + l_s
    return l_s + d + d1 + d2 - length * (dalpha * (theta0 + cyclic) + alpha * dtheta)


def test_gum_s1_gauge_block() -> None:
    """Mean 838 nm, u 36 nm, 99 % [745, 932] nm: JCGM 101 9.5, MDPI Metrology 2 (2022) 1:3 (S)."""
    mc = monte_carlo(deviation, gauge_block, n=400_000, seed=1, level=0.99, split=False)
    assert mc.mean == pytest.approx(838, abs=0.3)
    assert mc.u == pytest.approx(36, abs=0.5)
    np.testing.assert_allclose(mc.shortest, [745, 932], atol=2.0)
    assert np.diff(mc.shortest) <= np.diff(mc.symmetric)
    # linear propagation with its 16 degrees of freedom stands the comparison, with k = 2.58 not
    assert validate(838.0, 32.0, mc, dof=16).agrees
    assert not validate(838.0, 32.0, mc).agrees

"""The fitter against certified values and against an independent least-squares routine."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import curve_fit

from drypoint.reduction.unloading import fit_power_law, fit_unloading

Floats = NDArray[np.float64]
DATA = Path(__file__).parent / "data"
FREE = np.ones(3)


@dataclass(frozen=True)
class Certified:
    """Start values (two sets), certified values and standard deviations, RSS, and the data."""

    starts: tuple[Floats, Floats]
    value: Floats
    sd: Floats
    rss: float
    x: Floats
    y: Floats


def certified(name: str) -> Certified:
    """A NIST StRD file (S: certified by NIST; see data/README.md)."""
    lines = (DATA / f"{name}.dat").read_text().splitlines()
    rows = [[float(w) for w in x.split("=")[1].split()] for x in lines if x.startswith("  b")]
    table = np.array(rows)
    rss = next(float(x.split(":")[1]) for x in lines if x.startswith("Residual Sum of Squares"))
    first = next(i for i, x in enumerate(lines) if x.split()[:2] == ["Data:", "y"])
    data = np.array([[float(w) for w in x.split()] for x in lines[first + 1 :] if x.split()])
    return Certified(
        (table[:, 0], table[:, 1]), table[:, 2], table[:, 3], rss, data[:, 1], data[:, 0]
    )


def white_sd(jac: Floats, rss: float, chain: Floats) -> Floats:
    """Standard deviations of the transformed parameters under white noise."""
    n, k = jac.shape
    cov = np.linalg.inv(jac.T @ jac) * rss / (n - k)
    return np.sqrt(np.diag(chain @ cov @ chain.T))


def test_the_reader_finds_what_the_table_prints() -> None:
    """Numbers as the pages of NIST StRD print them (S); they guard the reading of the files."""
    bennett, wood = certified("Bennett5"), certified("DanWood")
    assert len(bennett.x) == 154
    assert bennett.value.tolist() == [-2.5235058043e3, 4.6736564644e1, 9.3218483193e-1]
    assert bennett.rss == 5.2404744073e-4
    assert wood.value.tolist() == [7.6886226176e-1, 3.8604055871]
    assert wood.x.tolist() == [1.309, 1.471, 1.490, 1.565, 1.611, 1.680]


@pytest.mark.parametrize("start", [0, 1])
def test_bennett5(start: int) -> None:
    """NIST StRD Bennett5 (S), y = b1 (b2 + x)^(-1/b3): the unloading law with m = -1/b3."""
    c = certified("Bennett5")
    b1, b2, b3 = c.starts[start]
    ref = float(c.x.mean())
    first = np.array([b1 * (b2 + ref) ** (-1 / b3), b2 + ref, -1 / b3])
    p, jac, rss, status = fit_power_law(c.x - ref, c.y, first, FREE)
    A, L, m = p
    assert status == 0
    found = np.array([A * L**-m, L - ref, -1 / m])
    np.testing.assert_allclose(found, c.value, rtol=5e-7)
    assert rss == pytest.approx(c.rss, rel=1e-9)
    chain = np.array(
        [
            [L**-m, -m * A * L ** (-m - 1), -A * L**-m * np.log(L)],
            [0.0, 1.0, 0.0],
            [0.0, 0.0, 1 / m**2],
        ]
    )
    np.testing.assert_allclose(white_sd(jac, rss, chain), c.sd, rtol=1e-6)


@pytest.mark.parametrize("start", [0, 1])
def test_danwood(start: int) -> None:
    """NIST StRD DanWood (S), y = b1 x^b2: the unloading law with L held at the reference x = 1."""
    c = certified("DanWood")
    b1, b2 = c.starts[start]
    free = np.array([1.0, 0.0, 1.0])
    p, jac, rss, status = fit_power_law(c.x - 1.0, c.y, np.array([b1, 1.0, b2]), free)
    assert status == 0
    assert p[1] == 1.0
    np.testing.assert_allclose(p[[0, 2]], c.value, rtol=1e-8)
    assert rss == pytest.approx(c.rss, rel=1e-9)
    sd = white_sd(np.ascontiguousarray(jac[:, [0, 2]]), rss, np.eye(2))
    np.testing.assert_allclose(sd, c.sd, rtol=1e-7)


def unloading_records(n: int, rng: np.random.Generator) -> list[tuple[Floats, Floats, Floats]]:
    """Unloading curves F = F_max ((h - h_f)/(h_max - h_f))^m with noise: (depth, force, truth)."""
    out = []
    for _ in range(n):
        m = rng.uniform(1.15, 1.9)
        h_max = rng.uniform(50e-9, 3e-6)
        F_max = rng.uniform(0.2e-3, 0.5)
        h_f = h_max * rng.uniform(0.2, 0.95)
        F = F_max * np.linspace(1.0, 0.05, int(rng.integers(40, 400)))
        h = h_f + (h_max - h_f) * (F / F_max) ** (1 / m)
        F = F + 1e-3 * F_max * rng.standard_normal(len(F))
        out.append((h, F, np.array([F_max, h_max - h_f, m])))
    return out


def test_a_batch_of_fits_agrees_with_scipy() -> None:
    """200 records against scipy.optimize.curve_fit (another program; C): S to 1e-6, and m."""
    records = unloading_records(200, np.random.default_rng(20250))
    lengths = [len(h) for h, _, _ in records]
    start = np.cumsum([0, *lengths[:-1]]).astype(np.int64)
    stop = start + np.array(lengths)
    force = np.concatenate([F for _, F, _ in records])
    depth = np.concatenate([h for h, _, _ in records])
    f_max = np.array([t[0] for _, _, t in records])
    h_ref = np.array([h[0] for h, _, _ in records])
    fits = fit_unloading(
        force, depth, np.full(len(force), np.nan), start, stop, f_max, h_ref, (0.1, 1.1)
    )
    assert not fits.status.any()
    for i, (h, F, truth) in enumerate(records):
        # The part before the first sample below the window's foot, as documented.
        n = int(np.argmax(truth[0] * 0.1 > F)) or len(F)
        x, y = (h[:n] - h[0]) / truth[1], F[:n] / truth[0]
        assert fits.samples[i] == n

        def model(x: Floats, a: float, length: float, m: float) -> Floats:
            return a * np.maximum(1 + x / length, 1e-12) ** m

        p, _ = curve_fit(
            model, x, y, p0=[1, 1.01, truth[2]], xtol=1e-14, ftol=1e-14, gtol=1e-14, maxfev=9999
        )
        S = p[2] * p[0] / p[1] * truth[0] / truth[1]
        assert fits.S[i] == pytest.approx(S, rel=1e-6)
        assert fits.m[i] == pytest.approx(p[2], rel=1e-5)


def test_the_exponent_held_at_one_is_a_straight_line() -> None:
    """The linear method against numpy.polyfit (another program; C)."""
    h, F, truth = unloading_records(1, np.random.default_rng(3))[0]
    whole = np.array([0]), np.array([len(F)])
    fits = fit_unloading(
        F, h, np.full(len(F), np.nan), *whole, truth[:1], h[:1], (0.7, 1.0), linear=True
    )
    first = int(np.argmax(truth[0] >= F))
    n = int(np.argmax(0.7 * truth[0] > F))
    slope, at = np.polyfit(h[first:n] - h[0], F[first:n], 1)
    assert fits.S[0] == pytest.approx(slope, rel=1e-9)
    assert fits.A[0] == pytest.approx(at, rel=1e-9)
    assert fits.m[0] == 1.0
    assert fits.cov[0, 2].tolist() == [0.0, 0.0, 0.0]


def test_too_few_samples_and_a_curve_that_goes_the_wrong_way_give_no_fit() -> None:
    h = np.linspace(1e-7, 2e-7, 50)  # deeper while the force falls
    F = np.linspace(1e-3, 0.1e-3, 50)
    no_time = np.full(50, np.nan)
    top, ref = np.array([1e-3]), np.array([1e-7])
    one, all_of_it = np.array([0]), np.array([50])
    wrong = fit_unloading(F, h, no_time, one, all_of_it, top, ref, (0.2, 0.98))
    assert wrong.status[0] == 2
    few = fit_unloading(F, h[::-1].copy(), no_time, one, np.array([5]), top, ref, (0.2, 0.98))
    assert few.status[0] == 1
    assert few.samples[0] < 6

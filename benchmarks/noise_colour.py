"""Which covariance of an unloading fit covers 95 % when the noise has a colour?

    python benchmarks/noise_colour.py [--reps 40] [--seed 0]

``y = A (1 + x/L)^m`` (A = 1, L = 0.6, m = 1.5) from 0.98 A to 0.2 A is fitted by least squares in
y to n samples. The noise is AR(1), plus a 1/f part of given strength (its lowest frequency one
cycle in two records), in y or in x. The fitter knows nothing of it. For each method: how often
``1.96 u`` holds the truth, for A, L and m, and the root mean square of u over the true standard
deviation of m. A standard error of one cell is 1.1 % with 400 repetitions, 3.4 % with 40.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize, signal

from drypoint.uncertainty.hac import burg, sandwich_cov
from drypoint.uncertainty.noise import fit_covariance, robust_slope

Floats = NDArray[np.float64]
Method = Callable[[Floats, Floats], Floats]
TRUTH = np.array([1.0, 0.6, 1.5])


def model(p: Floats, x: Floats) -> Floats:
    """The power law from its top."""
    return p[0] * (1 + x / p[1]) ** p[2]


def jacobian(p: Floats, x: Floats) -> Floats:
    """Its derivatives with respect to A, L and m."""
    u = 1 + x / p[1]
    f = u ** p[2]
    return np.stack([f, -p[0] * p[2] * f / u * x / p[1] ** 2, p[0] * f * np.log(u)], axis=1)


def ar1(rng: np.random.Generator, n: int, rho: float) -> Floats:
    """First-order noise of unit variance."""
    e = rng.standard_normal(n)
    e[0] /= np.sqrt(1 - rho**2)
    return signal.lfilter([np.sqrt(1 - rho**2)], [1, -rho], e)


def pink(rng: np.random.Generator, n: int) -> Floats:
    """1/f noise from one cycle in 2 n samples up, unit variance over those 2 n."""
    f = np.fft.rfftfreq(2 * n)[1:]
    a = (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)) / np.sqrt(f)
    z = np.fft.irfft(np.concatenate([[0], a]), 2 * n) * 2 * n
    return z[:n] / np.sqrt(4 * np.sum(1 / f) - 2 / f[-1])


def inner(jac: Floats, c_q: Callable[[Floats], Floats]) -> Floats:
    """``R^-1 Q' C Q R^-T``."""
    q, r = np.linalg.qr(jac)
    ri = np.linalg.inv(r)
    return ri @ (q.T @ c_q(q)) @ ri.T


def white(jac: Floats, e: Floats) -> Floats:
    """The textbook: independent samples."""
    n, p = jac.shape
    return inner(jac, lambda q: q) * (e @ e) / (n - p)


def first_order(jac: Floats, e: Floats) -> Floats:
    """AR(1), its rho from the lag-one correlation with the pull of the fit taken out exactly."""
    n = e.size
    q, _ = np.linalg.qr(jac)
    lag = q[:-1].T @ q[1:]

    def coloured(rho: float) -> Floats:
        forward = signal.lfilter([1], [1, -rho], q, axis=0)
        return forward + signal.lfilter([1], [1, -rho], q[::-1], axis=0)[::-1] - q

    def expected(rho: float) -> tuple[float, float]:
        cq = coloured(rho)
        b = q.T @ cq
        pulled = np.sum(cq[:-1] * q[1:]) + np.sum(q[:-1] * cq[1:]) - np.sum(lag * b)
        free = n - np.trace(b)
        return ((n - 1) * rho - pulled) / free, free

    seen = (e[:-1] @ e[1:]) / (e @ e)
    rho = 0.0
    if expected(0.0)[0] < seen:
        top = expected(0.995)[0]
        rho = optimize.brentq(lambda r: expected(r)[0] - seen, 0, 0.995) if top > seen else 0.995
    return inner(jac, lambda _: coloured(rho)) * (e @ e) / expected(rho)[1]


def any_order(jac: Floats, e: Floats) -> Floats:
    """AR(p) by Burg, order by AICc, uncorrected for the fit but for n/(n - p)."""
    n, p = jac.shape
    a, s2, _ = burg(e, min(8, n // 6))
    h = signal.lfilter([1], np.r_[1, -a], np.r_[1, np.zeros(4 * n)])
    g = signal.correlate(h, h, method="fft")[h.size - 1 : h.size - 1 + n] * s2 * n / (n - p)
    return inner(jac, lambda q: linalg.matmul_toeplitz(g, q))


METHODS: dict[str, Method] = {
    "white": white,
    "AR(1)": first_order,
    "AR(p)": any_order,
    "Bartlett": lambda j, e: sandwich_cov(j, e, kernel="bartlett"),
    "QS": lambda j, e: sandwich_cov(j, e),
    "QS prewhitened": lambda j, e: sandwich_cov(j, e, prewhiten=True),
    "default": fit_covariance,
}


def fits(
    rng: np.random.Generator, n: int, rho: float, slow: float, where: str, reps: int
) -> Iterator[tuple[Floats, Floats, Floats]]:
    """Error of the parameters, Jacobian and residuals of each repetition."""
    y0 = np.linspace(0.98, 0.2, n)
    x0 = TRUTH[1] * (y0 ** (1 / TRUTH[2]) - 1)
    for _ in range(reps):
        noise = 1e-3 * (ar1(rng, n, rho) + slow * pink(rng, n))
        x = x0 + noise * TRUTH[1] / TRUTH[2] if where == "x" else x0
        y = y0 + noise if where == "y" else y0
        p = TRUTH.copy()
        for _ in range(6):
            p = p + np.linalg.lstsq(jacobian(p, x), y - model(p, x), rcond=None)[0]
        yield p - TRUTH, jacobian(p, x), y - model(p, x)


def study(reps: int, seed: int) -> None:
    """Print the table, one row for each noise, and the mean over all."""
    rng = np.random.default_rng(seed)
    print("n    noise  1/f  rho  | " + " | ".join(f"{m:^18}" for m in METHODS))
    rates: dict[str, list[Floats]] = {m: [] for m in METHODS}
    for n in (60, 150, 400):
        for where in ("y", "x"):
            for slow in (0.0, 0.5, 1.0):
                for rho in (0.0, 0.5, 0.9):
                    runs = list(fits(rng, n, rho, slow, where, reps))
                    err = np.array([r[0] for r in runs])
                    cells = []
                    for name, method in METHODS.items():
                        u2 = np.array([np.diag(method(j, e)) for _, j, e in runs])
                        rate = 100 * np.mean(err**2 < 1.96**2 * u2, axis=0)
                        rates[name].append(rate)
                        size = np.sqrt(u2[:, 2].mean()) / err[:, 2].std()
                        cells.append(" ".join(f"{v:3.0f}" for v in rate) + f" ({size:4.2f})")
                    row = " | ".join(f"{c:^18}" for c in cells)
                    print(f"{n:<4} {where:^5} {slow:4.1f} {rho:4.1f}  | {row}", flush=True)
    for name, rate in rates.items():
        r = np.array(rate)
        off = np.sqrt(np.mean((r - 95) ** 2))
        print(f"{name:15s} mean {r.mean():5.1f} %, rms from 95: {off:4.1f}, least {r.min():3.0f} %")


def drift(reps: int, seed: int) -> None:
    """Coverage of the robust slope."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 1, 150)
    for rho in (0.0, 0.5, 0.9):
        got = np.array([robust_slope(t, ar1(rng, 150, rho)) for _ in range(5 * reps)])
        rate = 100 * np.mean(np.abs(got[:, 0]) < 1.96 * got[:, 2])
        print(f"robust slope, n = 150, rho = {rho}: {rate:.1f} %")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--reps", type=int, default=40)
    parser.add_argument("--seed", type=int, default=0)
    arguments = parser.parse_args()
    study(arguments.reps, arguments.seed)
    drift(arguments.reps, arguments.seed)

"""One law of first contact fitted to all tests of a specimen, the zero of each test free.

The shared numbers are found from sums over the tests, added in the order of the tests, so that
they do not depend on how the records were divided. What remains uncertain of them moves all zeros
of the specimen together; the noise of each test moves its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.contact_models import At, Law
from drypoint.reduction.first_contact import LEAST, Windows
from drypoint.uncertainty.noise import Quiet, fit_covariances

Floats = NDArray[np.float64]

_ROUNDS = 40
#: A step is no step any more when it is this small a part of the uncertainty.
_SETTLED = 1e-4
#: Smooth shapes along the window in which a wrong law shows.
_SHAPES = 2


@dataclass(frozen=True)
class Shared:
    """The shared numbers of a law, found: ``value`` (p,), ``cov`` (p, p); ``evidence`` is the
    logarithm of how well the tests and what was known speak for this law."""

    value: Floats
    cov: Floats
    evidence: float = 0.0


@dataclass(frozen=True)
class Zeros:
    """Zeros of tests under one law, shape (n_tests,) unless said.

    ``depth`` (m); ``u_own`` (m) from the noise of the test alone; ``by_shared`` (n, p) its
    derivatives with respect to the shared numbers; ``misfit`` (n, 2) smooth rests along the window
    in standard deviations, ``rest`` (n,) their size at contact, m. NaN where there is no fit.
    """

    depth: Floats
    u_own: Floats
    by_shared: Floats
    misfit: Floats
    rest: Floats


def _weights(at: At, w: Windows, own: Floats) -> Floats:
    """1 over the variance of each reading of depth at given force."""
    t = w.test
    slope = at.by_force + np.sum(at.columns_by_force * own[t], axis=1)
    return 1.0 / (w.u_depth[t] ** 2 + (slope * w.u_force[t]) ** 2 + 1e-30)


def _sums(v: Floats, w: Windows) -> Floats:
    """Sums over the samples of each test; none has no samples."""
    return np.asarray(np.add.reduceat(v, w.offsets[:-1], axis=0))


def _own(at: At, w: Windows, weights: Floats) -> tuple[Floats, Floats]:
    """The numbers of each test, (n, q), and the inverse of their normal matrices, (n, q, q)."""
    wc = weights[:, None] * at.columns
    normal = _sums(wc[:, :, None] * at.columns[:, None, :], w)
    right = _sums(wc * (w.depth - at.depth)[:, None], w)
    q = normal.shape[1]
    safe = normal + 1e-12 * np.einsum("tii->t", normal)[:, None, None] * np.eye(q) / q
    inverse = np.linalg.inv(safe)
    return np.einsum("tij,tj->ti", inverse, right), inverse


@dataclass(frozen=True)
class _Step:
    at: At
    own: Floats
    inverse: Floats
    weights: Floats
    rest: Floats
    jac: Floats
    clean: Floats
    by_shared: Floats


def _linearised(law: Law, w: Windows, shared: Floats, own: Floats | None) -> _Step:
    """Rests, and derivatives with the numbers of each test taken out (``clean``)."""
    at = law.at(w.force, shared)
    t = w.test
    if own is None:
        own, _ = _own(at, w, np.ones(len(w.force)))
    for _ in range(2):
        weights = _weights(at, w, own)
        own, inverse = _own(at, w, weights)
    rest = w.depth - at.depth - np.sum(at.columns * own[t], axis=1)
    jac = at.by_shared + np.einsum("nq,nqp->np", own[t], at.columns_by_shared)
    wc = weights[:, None] * at.columns
    moved = np.einsum("tij,tjp->tip", inverse, _sums(wc[:, :, None] * jac[:, None, :], w))
    clean = jac - np.einsum("nq,nqp->np", at.columns, moved[t])
    return _Step(at, own, inverse, weights, rest, jac, clean, -moved[:, 0, :])


def _enough(w: Windows) -> NDArray[np.int64]:
    return np.flatnonzero(np.diff(w.offsets) >= LEAST)


def fit_shared(
    law: Law, windows: Windows, count: Floats | None = None, starts: Sequence[Floats] = ()
) -> Shared:
    """The shared numbers of a law from the tests of one specimen.

    Parameters
    ----------
    law : Law
    windows : Windows
        Tests with too few samples are left out.
    count : array, shape (n_tests,), optional
        How much of its samples each test counts for, where the noise is slow (0 to 1).
    starts : sequence of array, shape (p,), optional
        Numbers to begin from besides those known beforehand; the best is taken.

    Returns
    -------
    Shared
        What was known beforehand where no test has enough samples.
    """
    prior = np.linalg.inv(law.cov)
    good = _enough(windows)
    first = np.clip(law.mean, law.low, law.high)
    if not len(good):
        return Shared(first, law.cov)
    w = windows.take(good)
    counted = (np.ones(len(w)) if count is None else count[good])[w.test]

    def cost(s: _Step, x: Floats) -> float:
        # The variances of the readings depend on the law's slope, and belong to the likelihood.
        d = x - law.mean
        c = float(np.sum(counted * (s.weights * s.rest**2 - np.log(s.weights))) + d @ prior @ d)
        return c if np.isfinite(c) else np.inf

    tried = [np.clip(x, law.low, law.high) for x in (first, *starts)]
    steps = [_linearised(law, w, x, None) for x in tried]
    costs = [cost(s, x) for s, x in zip(steps, tried, strict=True)]
    k = int(np.argmin(costs))
    value, now, best = tried[k], steps[k], costs[k]
    damping = 0.0
    normal = prior
    for _ in range(_ROUNDS):
        heavy = (counted * now.weights)[:, None] * now.clean
        normal = np.sum(_sums(heavy[:, :, None] * now.clean[:, None, :], w), axis=0) + prior
        if not np.isfinite(normal).all():
            return Shared(first, law.cov, -np.inf)
        right = np.sum(_sums(heavy * now.rest[:, None], w), axis=0) - prior @ (value - law.mean)
        damped = normal + damping * np.diag(np.diag(normal))
        new = np.clip(value + np.linalg.solve(damped, right), law.low, law.high)
        moved = float(np.max(np.abs(new - value) * np.sqrt(np.diag(normal))))
        step = _linearised(law, w, new, now.own)
        c = cost(step, new)
        if moved < _SETTLED:
            break
        if c > best:
            damping = max(4.0 * damping, 1e-3)
            if damping > 1e6:
                break
            continue
        value, now, best, damping = new, step, c, damping / 4.0
    evidence = -0.5 * (best + float(np.linalg.slogdet(normal)[1]))
    return Shared(value, np.linalg.inv(normal), evidence)


def _shapes(w: Windows) -> Floats:
    """Smooth shapes along each window, (n, 2): Legendre's polynomials of degree 2 and 3 in the
    square root of the way from first to last depth; both are 1 in size at contact."""
    t = w.test
    low, high = w.depth[w.offsets[:-1]], np.maximum.reduceat(w.depth, w.offsets[:-1])
    span = np.maximum(high - low, 1e-30)
    u = 2.0 * np.sqrt(np.clip((w.depth - low[t]) / span[t], 0.0, 1.0)) - 1.0
    return np.stack([0.5 * (3 * u**2 - 1), 0.5 * (5 * u**3 - 3 * u)], axis=1)


def zeros_of(law: Law, windows: Windows, shared: Shared, quiet: Quiet | None) -> Zeros:
    """The zero of every test, the shared numbers given.

    Parameters
    ----------
    quiet : Quiet, optional
        For each test a hold that shows the colour of its noise in depth.

    Returns
    -------
    Zeros
    """
    n, p = len(windows), len(shared.value)
    out = Zeros(
        np.full(n, np.nan), np.full(n, np.nan), np.zeros((n, p)), np.full((n, _SHAPES), np.nan),
        np.full(n, np.nan),
    )  # fmt: skip
    good = _enough(windows)
    if not len(good):
        return out
    w = windows.take(good)
    s = _linearised(law, w, shared.value, None)
    root = np.sqrt(s.weights)
    q = s.at.columns.shape[1]
    beside = quiet.of(good) if quiet is not None else None
    white = np.sqrt(np.maximum(s.inverse[:, 0, 0], 0.0))
    jac = root[:, None] * s.at.columns
    cov = fit_covariances(jac, root * s.rest, w.offsets, beside)
    own = np.fmax(np.sqrt(np.maximum(cov[:, 0, 0], 0.0)), white)
    per_force = _per_force(law, w, shared.value, s)
    out.depth[good] = s.own[:, 0]
    out.u_own[good] = np.hypot(own, per_force * w.u_base)
    out.by_shared[good] = s.by_shared
    enough = np.diff(w.offsets) > q + _SHAPES + 2
    if np.any(enough):
        m = w.take(np.flatnonzero(enough))
        _misfit(s, w, enough, m, beside, out, good[enough])
    return out


def _per_force(law: Law, w: Windows, value: Floats, s: _Step) -> Floats:
    """How far each zero moves with the force before contact, m/N."""
    t = w.test
    slope = s.at.by_force + np.sum(s.at.columns_by_force * s.own[t], axis=1)
    wc = s.weights[:, None] * s.at.columns
    return -np.einsum("tj,tj->t", s.inverse[:, 0, :], _sums(wc * slope[:, None], w))


def _misfit(
    s: _Step, w: Windows, enough: NDArray[np.bool_], m: Windows, quiet: Quiet | None, out: Zeros,
    where: NDArray[np.int64],
) -> None:  # fmt: skip
    """Smooth rests of tests with enough samples: their size, and over their uncertainty."""
    kept = enough[w.test]
    shapes = _shapes(m)
    root = np.sqrt(s.weights[kept])
    columns = np.concatenate([s.at.columns[kept], shapes], axis=1)
    q = s.at.columns.shape[1]
    wc = (root**2)[:, None] * columns
    normal = _sums(wc[:, :, None] * columns[:, None, :], m)
    right = _sums(wc * s.rest[kept][:, None], m)
    size = np.einsum("tii->t", normal)[:, None, None] * np.eye(columns.shape[1])
    found = np.linalg.solve(normal + 1e-13 * size, right[:, :, None])[:, :, 0]
    left = root * (s.rest[kept] - np.sum(columns * found[m.test], axis=1))
    beside = quiet.of(np.flatnonzero(enough)) if quiet is not None else None
    cov = fit_covariances(root[:, None] * columns, left, m.offsets, beside)[:, q:, q:]
    bad = ~np.isfinite(cov).all(axis=(1, 2))
    cov[bad] = np.eye(_SHAPES)
    low = np.linalg.cholesky(cov + 1e-30 * np.eye(_SHAPES))
    scaled = np.linalg.solve(low, found[:, q:, None])[:, :, 0]
    scaled[bad] = np.nan
    out.misfit[where] = scaled
    out.rest[where] = np.abs(found[:, q]) + np.abs(found[:, q + 1])


__all__ = ["Shared", "Zeros", "fit_shared", "zeros_of"]

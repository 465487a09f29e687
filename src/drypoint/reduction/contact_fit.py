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
_SETTLED = 1e-3
#: Smooth shapes along the window in which a wrong law shows.
_SHAPES = 2
#: Stretches of a window over which what is loose in a law is the same.
_CELLS = 8


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
    derivatives with respect to the shared numbers; ``loose`` (n,) what the looseness of the law
    leaves open (m), alike in all tests of a specimen. ``shape`` (n, 2) are the smooth rests along
    the window, m at contact, ``shape_cov`` (n, 2, 2) their covariance from noise, and
    ``shape_loose`` (n, 2, k) what the looseness and the shared numbers make of them. NaN where
    there is no fit.
    """

    depth: Floats
    u_own: Floats
    by_shared: Floats
    loose: Floats
    shape: Floats
    shape_cov: Floats
    shape_loose: Floats

    def misfit(self) -> Floats:
        """Chi-squared (2) of the smooth rests of each test, shape (n,); NaN where there is none."""
        cov = self.shape_cov + self.shape_loose @ np.swapaxes(self.shape_loose, 1, 2)
        return _chi(self.shape, cov)

    def misfit_together(self) -> tuple[float, float]:
        """The same for the mean of all tests, and the size of that mean at contact, m."""
        seen = np.isfinite(self.shape).all(axis=1)
        n = int(np.sum(seen))
        if not n:
            return 0.0, 0.0
        mean = self.shape[seen].mean(axis=0)
        loose = self.shape_loose[seen].mean(axis=0)
        cov = self.shape_cov[seen].sum(axis=0) / n**2 + loose @ loose.T
        return float(_chi(mean[None], cov[None])[0]), float(np.sum(np.abs(mean)))


def _chi(values: Floats, cov: Floats) -> Floats:
    out = np.full(len(values), np.nan)
    good = np.isfinite(values).all(axis=1) & np.isfinite(cov).all(axis=(1, 2))
    if np.any(good):
        size = np.einsum("tii->t", cov[good])[:, None, None] * np.eye(values.shape[1])
        solved = np.linalg.solve(cov[good] + 1e-12 * size + 1e-60, values[good][:, :, None])
        out[good] = np.einsum("ti,ti->t", values[good], solved[:, :, 0])
    return out


def _weights(at: At, w: Windows, own: Floats, loose: float, tests: int) -> Floats:
    """1 over the variance of each reading of depth at given force.

    A law that is loose by a share of the depth is so for all readings near a depth alike: they do
    not average it away, and neither do ``tests`` fitted together.
    """
    t = w.test
    slope = at.by_force + np.sum(at.columns_by_force * own[t], axis=1)
    alike = np.maximum(np.diff(w.offsets)[t] / _CELLS, 1.0) * tests
    return 1.0 / (
        w.u_depth[t] ** 2 + (slope * w.u_force[t]) ** 2 + alike * (loose * at.depth) ** 2 + 1e-30
    )


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


def _linearised(
    law: Law,
    w: Windows,
    shared: Floats,
    own: Floats | None,
    tests: int = 1,
    weights: Floats | None = None,
) -> _Step:
    """Rests, and derivatives with the numbers of each test taken out (``clean``); under given
    ``weights``, else under those of the law itself."""
    at = law.at(w.force, shared)
    t = w.test
    if weights is not None:
        own, inverse = _own(at, w, weights)
    else:
        if own is None:
            own, _ = _own(at, w, np.ones(len(w.force)))
        for _ in range(2):
            weights = _weights(at, w, own, law.loose, tests)
            own, inverse = _own(at, w, weights)
    assert weights is not None
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
    steps = [_linearised(law, w, x, None, len(w)) for x in tried]
    costs = [cost(s, x) for s, x in zip(steps, tried, strict=True)]
    k = int(np.argmin(costs))
    value, now = tried[k], steps[k]
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
        # Both under the same weights: what a law says of its readings' variances is no ground
        # for a step.
        step = _linearised(law, w, new, None, len(w), now.weights)
        if not cost(step, new) <= cost(now, value):
            damping = max(4.0 * damping, 1e-3)
            if moved < _SETTLED or damping > 1e8:
                break
            continue
        value, damping = new, damping / 4.0
        now = _linearised(law, w, new, step.own, len(w))
        if moved < _SETTLED:
            break
    best = cost(now, value)
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
        np.full(n, np.nan), np.full(n, np.nan), np.zeros((n, p)), np.zeros(n),
        np.full((n, _SHAPES), np.nan), np.zeros((n, _SHAPES, _SHAPES)),
        np.zeros((n, _SHAPES, _CELLS + p)),
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
    out.loose[good] = _loose(law, w, s)
    enough = np.diff(w.offsets) > q + _SHAPES + 2
    if np.any(enough):
        m = w.take(np.flatnonzero(enough))
        _rests(law, shared, s, w, enough, m, beside, out, good[enough])
    return out


def _cells(w: Windows) -> NDArray[np.int64]:
    """Which stretch of its window each sample is in, counted over all tests."""
    first = w.offsets[:-1][w.test]
    inside = (np.arange(len(w.force)) - first) * _CELLS // np.diff(w.offsets)[w.test]
    return np.asarray(w.test * _CELLS + inside, dtype=np.int64)


def _by_cell(v: Floats, w: Windows) -> Floats:
    """Sums over the stretches of each window, (n, cells)."""
    sums = np.bincount(_cells(w), v, minlength=len(w) * _CELLS)
    return np.asarray(sums.reshape(len(w), _CELLS), dtype=np.float64)


def _loose(law: Law, w: Windows, s: _Step) -> Floats:
    """Standard deviation of each zero from what is loose in the law, cell by cell of its window."""
    if law.loose == 0.0:
        return np.zeros(len(w))
    weight = s.weights * np.einsum("nq,nq->n", s.inverse[w.test, 0, :], s.at.columns)
    moved = _by_cell(weight * law.loose * s.at.depth, w)
    return np.asarray(np.sqrt(np.sum(moved**2, axis=1)))


def _per_force(law: Law, w: Windows, value: Floats, s: _Step) -> Floats:
    """How far each zero moves with the force before contact, m/N."""
    t = w.test
    slope = s.at.by_force + np.sum(s.at.columns_by_force * s.own[t], axis=1)
    wc = s.weights[:, None] * s.at.columns
    return -np.einsum("tj,tj->t", s.inverse[:, 0, :], _sums(wc * slope[:, None], w))


def _root(cov: Floats) -> Floats:
    """A matrix whose product with its transpose is a covariance."""
    value, vector = np.linalg.eigh(cov)
    return np.asarray(vector * np.sqrt(np.clip(value, 0.0, None)))


def _rests(
    law: Law, shared: Shared, s: _Step, w: Windows, enough: NDArray[np.bool_], m: Windows,
    quiet: Quiet | None, out: Zeros, where: NDArray[np.int64],
) -> None:  # fmt: skip
    """Smooth rests of tests with enough samples, and where they may come from."""
    kept = enough[w.test]
    shapes = _shapes(m)
    root = np.sqrt(s.weights[kept])
    columns = np.concatenate([s.at.columns[kept], shapes], axis=1)
    q = s.at.columns.shape[1]
    wc = (root**2)[:, None] * columns
    normal = _sums(wc[:, :, None] * columns[:, None, :], m)
    size = np.einsum("tii->t", normal)[:, None, None] * np.eye(columns.shape[1])
    inverse = np.linalg.inv(normal + 1e-13 * size)
    found = np.einsum("tij,tj->ti", inverse, _sums(wc * s.rest[kept][:, None], m))
    left = root * (s.rest[kept] - np.sum(columns * found[m.test], axis=1))
    beside = quiet.of(np.flatnonzero(enough)) if quiet is not None else None
    cov = fit_covariances(root[:, None] * columns, left, m.offsets, beside)[:, q:, q:]
    out.shape[where] = found[:, q:]
    out.shape_cov[where] = cov
    root_cov = _root(shared.cov)
    for j in range(_SHAPES):
        answer = np.sum(wc * inverse[m.test, q + j, :], axis=1)
        out.shape_loose[where, j, :_CELLS] = _by_cell(answer * law.loose * s.at.depth[kept], m)
        moved = _sums(answer[:, None] * s.jac[kept], m)
        out.shape_loose[where, j, _CELLS:] = np.sum(moved[:, :, None] * root_cov, axis=1)


__all__ = ["Shared", "Zeros", "fit_shared", "zeros_of"]

"""Weights of a calibration: known errors of each row, extra scatter, what rows of a test share.

The covariance of the residuals is V = sum_s J_s U_s J_s' + tau_r^2 D D + tau_t^2 (D 1_t)(D 1_t)'
+ tau_H^2: a row's own errors and those its test shares (zero, drift), then scatter that the
records do not explain: tau_r from row to row and tau_t from test to test, both on r1 in units of
the contact compliance, tau_H on r2. V is a block for each test. The scatter is found by
restricted likelihood [patterson1971].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from drypoint.calibration.model import Problem, Seen, by_local
from drypoint.calibration.rows import OWN

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LARGEST, _SMALLEST = 0.5, 1e-5


@dataclass(frozen=True)
class Scatter:
    """Relative scatter that the records do not explain: by row, by test, of the hardness."""

    row: float = 0.0
    test: float = 0.0
    hardness: float = 0.0


def close(a: Scatter, b: Scatter) -> bool:
    """Whether two scatters differ by less than a tenth, or are both nearly nothing."""
    pairs = ((a.row, b.row), (a.test, b.test), (a.hardness, b.hardness))
    return all(abs(x - y) <= 0.1 * max(x, y) + 1e-4 for x, y in pairs)


@dataclass(frozen=True)
class Blocks:
    """Residuals by test: ``index`` (G, w) into the residuals, -1 where a test has fewer."""

    index: Ints
    many: bool

    @classmethod
    def of(cls, p: Problem) -> Blocks:
        """One block for each test, residuals of both kinds together."""
        group = np.r_[p.tests.test, p.tests.test[p.r2_rows]]
        _, group = np.unique(group, return_inverse=True)
        order = np.argsort(group, kind="stable")
        count = np.bincount(group)
        first = np.cumsum(np.r_[0, count[:-1]])
        index = np.full((len(count), int(count.max())), -1, dtype=np.int64)
        index[group[order], np.arange(len(order)) - first[group[order]]] = order
        return cls(index, len(np.unique(p.tests.test)) < len(p.tests))

    def gather(self, a: Floats) -> Floats:
        """Rows of ``a`` (N, k) by block, zeros where there is none: (G, w, k)."""
        return np.where((self.index >= 0)[..., None], a[self.index], 0.0)


@dataclass(frozen=True)
class Parts:
    """V without scatter (G, w, w), and what each kind of scatter adds for tau = 1."""

    blocks: Blocks
    known: Floats
    row: Floats
    test: Floats
    hardness: Floats


def parts_at(p: Problem, blocks: Blocks, x: Floats, seen: Seen) -> Parts:
    """The pieces of V at scaled unknowns ``x``."""
    t, n = p.tests, len(p.tests)
    one, two = by_local(p, x)
    J = np.concatenate([one, two])
    row_of = np.r_[np.arange(n), p.r2_rows]
    h, c = OWN.index("h_max"), OWN.index("C_t")
    zero = -J[:, h] * t.u_zero[row_of]
    drift = (-J[:, h] * t.t_max[row_of] + J[:, c] * t.per_rate[row_of]) * t.u_drift[row_of]
    bJ = blocks.gather(J)
    rows = np.where(blocks.index >= 0, row_of[blocks.index], -1 - np.arange(blocks.index.shape[1]))
    same = rows[:, :, None] == rows[:, None, :]
    cov = t.cov[np.maximum(rows, 0)]
    known = np.einsum("gia,giab,gjb->gij", bJ, cov, bJ) * same
    for shared in (zero, drift):
        b = blocks.gather(shared[:, None])
        known += b @ np.swapaxes(b, 1, 2)
    size = np.r_[np.abs(seen.predicted), np.zeros(len(p.r2_rows))]
    first = blocks.gather(size[:, None])
    # A numerical floor: records without noise still leave rounding behind.
    floor = blocks.gather(
        np.r_[1e-9 * np.abs(seen.predicted), np.full(len(p.r2_rows), 1e-9)][:, None]
    )
    eye = np.eye(blocks.index.shape[1])
    jitter = 1e-12 * np.diagonal(known, axis1=1, axis2=2)[:, :, None]
    known += eye * (floor**2 + jitter) + eye * (blocks.index < 0)[:, :, None]
    second = blocks.gather(np.r_[np.zeros(n), np.ones(len(p.r2_rows))][:, None])
    return Parts(blocks, known, eye * first**2, first @ np.swapaxes(first, 1, 2), eye * second**2)


@dataclass(frozen=True)
class Whitening:
    """Cholesky factors of V by block; ``log_det`` of V."""

    blocks: Blocks
    factor: Floats
    log_det: float

    def __call__(self, a: Floats) -> Floats:
        """L^-1 a for ``a`` (N, k) or (N,); rows by block, with zero rows where blocks are short."""
        two = a if a.ndim == 2 else a[:, None]
        out = np.linalg.solve(self.factor, self.blocks.gather(two)).reshape(-1, two.shape[1])
        return np.asarray(out if a.ndim == 2 else out[:, 0], dtype=np.float64)


def whitening(parts: Parts, s: Scatter) -> Whitening:
    """Whitening of the residuals for a scatter."""
    V = parts.known + s.row**2 * parts.row + s.test**2 * parts.test + s.hardness**2 * parts.hardness
    L = np.asarray(np.linalg.cholesky(V), dtype=np.float64)
    return Whitening(parts.blocks, L, 2 * float(np.log(np.diagonal(L, axis1=1, axis2=2)).sum()))


def minus_two_log_likelihood(parts: Parts, s: Scatter, r: Floats, jac: Floats | None) -> float:
    """-2 ln L of the residuals; restricted (profiled over the fit) where ``jac`` is given."""
    w = whitening(parts, s)
    if jac is None:
        rw = w(r)
        return float(w.log_det + rw @ rw + r.size * np.log(2 * np.pi))
    both = w(np.column_stack([jac, r]))
    size = np.sqrt(np.einsum("ij,ij->j", both, both))
    size = np.where(size > 0, size, 1.0)
    # Cholesky of the normal equations, the residual last: its last pivot squared is the rest's
    # sum of squares, the others give the determinant. Columns of equal length keep it safe.
    gram = (both / size).T @ (both / size)
    gram[np.diag_indices_from(gram)] += 1e-13
    pivots = np.log(np.diag(np.linalg.cholesky(gram)) * size)
    return float(w.log_det + 2 * pivots[:-1].sum() + np.exp(2 * pivots[-1]))


def find_scatter(
    parts: Parts, r: Floats, jac: Floats, start: Scatter, has_r2: bool, *, first: bool
) -> Scatter:
    """Scatter of largest restricted likelihood, one kind after the other.

    The first time over all sizes, later about what it was: the fit calls this several times.
    """
    kinds = ["row", *(["test"] if parts.blocks.many else []), *(["hardness"] if has_r2 else [])]
    s = start
    for kind in kinds:
        s = replace(s, **{kind: _best(parts, r, jac, s, kind, first)})
    return s


def _best(parts: Parts, r: Floats, jac: Floats, s: Scatter, kind: str, first: bool) -> float:
    value = _profile(parts, r, jac, s, kind)
    low, high = np.log(_SMALLEST), np.log(_LARGEST)
    now: float = getattr(s, kind)
    if not first and now > 0:
        low, high = max(low, np.log(now) - 1.5), min(high, np.log(now) + 1.5)
    best = minimize_scalar(
        value, bounds=(low, high), method="bounded", options={"xatol": 0.2 if first else 0.05}
    )
    none = value(-np.inf)
    return 0.0 if none <= best.fun + 1e-9 else float(np.exp(best.x))


def _profile(
    parts: Parts, r: Floats, jac: Floats, s: Scatter, kind: str
) -> Callable[[float], float]:
    def value(log_tau: float) -> float:
        tau = {kind: float(np.exp(log_tau))}
        return minus_two_log_likelihood(parts, replace(s, **tau), r, jac)

    return value

"""The weighted fit: Gauss-Newton in the scaled unknowns, weights and scatter renewed on the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.least import solve
from drypoint.calibration.model import Problem, Seen, at, by_inputs, stacked
from drypoint.calibration.problems import CalibrationError
from drypoint.calibration.weights import (
    Blocks,
    Scatter,
    Whitening,
    close,
    find_scatter,
    minus_two_log_likelihood,
    parts_at,
    whitening,
)

Floats = NDArray[np.float64]

_ROUNDS, _SCATTER_ROUNDS, _CLOSE = 40, 5, 1e-5


@dataclass(frozen=True)
class Fitted:
    """A fit. ``x`` scaled unknowns, ``cov`` their statistical covariance, ``by_given`` d x/d given.

    ``jac`` and ``residual`` are whitened; ``held`` says how many inequalities hold the solution;
    ``log_likelihood2`` is -2 ln L; ``n`` counts residuals.
    """

    problem: Problem
    x: Floats
    seen: Seen
    cov: Floats
    by_given: Floats
    jac: Floats
    residual: Floats
    scatter: Scatter
    held: int
    log_likelihood2: float
    n: int
    rounds: int
    whiten: Whitening

    @property
    def dof(self) -> int:
        """Residuals less unknowns."""
        return self.n - len(self.x)

    @property
    def aicc(self) -> float:
        """Akaike's criterion for small samples [hurvich1989]; infinite with too few rows.

        -2 ln L + 2 k + 2 k (k + 1)/(n - k - 1), k counting the scatter as one more unknown.
        """
        k = len(self.x) + 1
        left = self.n - k - 1
        return float(self.log_likelihood2 + 2 * k + 2 * k * (k + 1) / left) if left > 0 else np.inf


def fit(
    p: Problem,
    x0: Floats,
    inequalities: tuple[Floats, Floats],
    scatter: Scatter | None = None,
) -> Fitted:
    """Solve the problem from ``x0``; a given ``scatter`` is kept, else it is found.

    Raises
    ------
    CalibrationError
        When no step leads on.
    """
    G, g = inequalities
    blocks = Blocks.of(p)
    x, s = x0.copy(), scatter or Scatter(row=3e-3, hardness=1e-2 if len(p.r2_rows) else 0.0)
    held: NDArray[np.bool_] = np.zeros(len(g), dtype=bool)
    seen, moving = at(p, x), True
    _sane(seen)
    for k in range(_ROUNDS):
        parts = parts_at(p, blocks, x, seen)
        jac, by_given = by_inputs(p, x)
        r = stacked(seen)
        if scatter is None and moving and k < _SCATTER_ROUNDS:
            before, s = s, find_scatter(parts, r, jac, s, len(p.r2_rows) > 0, first=k == 0)
            moving = k < 2 or not close(before, s)
        white = whitening(parts, s)
        Jw, rw = white(jac), white(r)
        step, held = solve(Jw, -rw, G, g - G @ x)
        if not np.all(np.isfinite(step)):
            break
        x_new, seen_new = _advance(p, white, x, step, float(rw @ rw))
        move = float(np.linalg.norm(Jw @ (x_new - x)))
        x, seen = x_new, seen_new
        if move < _CLOSE * max(1.0, np.sqrt(len(rw))) and (scatter is not None or k >= 3):
            break
    else:
        raise CalibrationError(
            "The joint fit of frame and tip did not settle.",
            remedy="Look for a test that does not belong; add depths; or take a simpler form of "
            "the area function.",
        )
    parts = parts_at(p, blocks, x, seen)
    jac, by_given = by_inputs(p, x)
    white = whitening(parts, s)
    Jw, rw, Sw = white(jac), white(stacked(seen)), white(by_given)
    free = _free_directions(G, held, len(x))
    u, sv, vt = np.linalg.svd(Jw @ free, full_matrices=False)
    sv = np.maximum(sv, 1e-12 * float(sv.max(initial=0.0)) + 1e-300)
    root = free @ (vt.T / sv)
    return Fitted(
        problem=p, x=x, seen=seen, cov=root @ root.T, by_given=-root @ (u.T @ Sw), jac=Jw,
        residual=rw, scatter=s, held=int(held.sum()),
        log_likelihood2=minus_two_log_likelihood(parts, s, stacked(seen), None),
        n=len(p.tests) + len(p.r2_rows), rounds=k + 1, whiten=white,
    )  # fmt: skip


def _free_directions(G: Floats, held: NDArray[np.bool_], k: int) -> Floats:
    """Basis of the directions that no active inequality holds."""
    if not np.any(held):
        return np.eye(k)
    _, sv, vt = np.linalg.svd(G[held])
    rank = int(np.sum(sv > 1e-9 * sv.max()))
    return np.asarray(vt[rank:].T) if rank < k else np.zeros((k, 1))


def _advance(
    p: Problem, white: Whitening, x: Floats, step: Floats, start: float
) -> tuple[Floats, Seen]:
    """The longest of the steps 1, 1/2, 1/4 ... that does not raise the sum of squares."""
    share = 1.0
    for _ in range(25):
        new = x + share * step
        with np.errstate(all="ignore"):
            seen = at(p, new)
        r = stacked(seen)
        if np.all(np.isfinite(r)) and float(seen.h_c.min()) > 0:
            rw = white(r)
            if float(rw @ rw) <= start * (1 + 1e-9) + 1e-12:
                return new, seen
        share /= 2
    return x, at(p, x)


def _sane(seen: Seen) -> None:
    if not (np.all(np.isfinite(stacked(seen))) and np.all(seen.h_c > 0)):
        raise CalibrationError(
            "The contact depths of the reference tests do not come out above zero.",
            remedy="Check the units of depth and force, the zero points and the compliance stated.",
        )

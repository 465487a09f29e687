"""Propagation of distributions by Monte Carlo (GUM Supplement 1, JCGM 101, [gum-s1-2008])."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import UncertaintyError
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.propagation import coverage_factor

Floats = NDArray[np.float64]
Sampler = Callable[[np.random.Generator, int], Floats]
Model = Callable[[Floats, Floats], Floats]

_DRAW = 1000  # trials to one random stream; fixes the numbers whatever the chunk


@dataclass(frozen=True)
class MonteCarlo:
    """Result for each output; arrays have the shape of one trial's output.

    ``shortest`` and ``symmetric`` are intervals of probability ``level`` with a leading axis of
    two (low, high); ``symmetric`` means probabilistically symmetric (JCGM 101, 5.3.2, 5.3.3).
    ``u_random`` and ``u_systematic`` come from the same draws with the other kind held at its
    centre; where the model is not linear, their squares need not add up to ``u`` squared.
    ``tolerance_met`` is None when none was asked for.
    """

    n: int
    level: float
    mean: Floats
    u: Floats
    u_random: Floats
    u_systematic: Floats
    shortest: Floats
    symmetric: Floats
    tolerance_met: bool | None
    draws: Floats


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """``delta = 10^l / 2`` with ``u = c 10^l``, c of ``digits`` figures (JCGM 101, 7.9.2)."""
    if not (np.isfinite(u) and u > 0):
        raise UncertaintyError("A tolerance needs a positive standard uncertainty.")
    power = int(f"{u:.{digits - 1}e}".split("e")[1]) - digits + 1
    return float(0.5 * 10.0**power)


def symmetric_interval(draws: Floats, level: float) -> Floats:
    """Probabilistically symmetric interval along the first axis, shape (2, ...)."""
    a = (1 - level) / 2
    out: Floats = np.quantile(draws, [a, 1 - a], axis=0)
    return out


def shortest_interval(draws: Floats, level: float) -> Floats:
    """Shortest interval along the first axis (JCGM 101, 5.3.4 and 7.7.4), shape (2, ...)."""
    s = np.sort(draws, axis=0)
    n = s.shape[0]
    q = min(max(int(np.floor(level * n + 0.5)), 1), n - 1)
    width = s[q:] - s[: n - q]
    i = np.expand_dims(np.argmin(width, axis=0), 0)
    low = np.take_along_axis(s, i, axis=0)[0]
    return np.stack([low, low + np.take_along_axis(width, i, axis=0)[0]])


def gaussian(mean: Floats, cov: Floats, tests: int) -> Sampler:
    """Sampler of random inputs: independent for each test, shape (trials, tests, r).

    ``cov`` has shape (r, r), the same for all tests, or (tests, r, r).
    """
    mean, cov = np.asarray(mean, dtype=float), np.asarray(cov, dtype=float)
    each = np.broadcast_to(cov, (tests, *cov.shape[-2:]))
    w, v = np.linalg.eigh(each)
    if np.any(w < -1e-7 * np.max(np.abs(w), axis=-1, keepdims=True)):
        raise UncertaintyError("The covariance of the random inputs is not positive semi-definite.")
    root = v * np.sqrt(np.clip(w, 0.0, None))[..., None, :]

    def draw(rng: np.random.Generator, n: int) -> Floats:
        z = rng.standard_normal((n, tests, cov.shape[-1]))
        out: Floats = mean + np.einsum("trs,nts->ntr", root, z)
        return out

    return draw


def monte_carlo(
    model: Model,
    systematic: Joint | Sampler,
    random: Sampler | None = None,
    *,
    n: int = 100_000,
    seed: int,
    level: float = 0.95,
    chunk: int = 10_000,
    split: bool = True,
    tolerance_digits: int | None = None,
    n_max: int = 10_000_000,
) -> MonteCarlo:
    """Draw, evaluate, summarise. Systematic inputs are drawn once a trial, for all tests.

    Parameters
    ----------
    model : callable
        ``model(s, r)`` with ``s`` of shape (trials, k) and ``r`` of shape (trials, tests, q),
        q = 0 when ``random`` is None; returns (trials,) or (trials, ...).
    systematic : Joint or sampler
        A joint normal distribution, or ``sampler(rng, trials) -> (trials, k)``.
    random : sampler, optional
        ``sampler(rng, trials) -> (trials, tests, q)``; see :func:`gaussian`.
    n : int
        Trials; with ``tolerance_digits``, the trials of one round.
    seed : int
        The same seed gives the same numbers, whatever ``chunk`` is.
    split : bool
        Find the random and systematic parts too (two more evaluations; else NaN).
    tolerance_digits : int, optional
        Go on in rounds until mean, u and both ends of the symmetric interval are steady, within
        twice their standard deviation over the rounds, to ``delta`` of that many digits of u
        (JCGM 101, 7.9.4); at most ``n_max`` trials.
    """
    if n < 2 or chunk < 1 or not 0 < level < 1:
        raise UncertaintyError("Monte Carlo needs two trials or more and a level within (0, 1).")
    draw_s: Sampler = systematic.draw if isinstance(systematic, Joint) else systematic
    source = _Source(model, draw_s, random, seed, chunk, split)
    if isinstance(systematic, Joint):
        source.centre_s = systematic.mean
    if tolerance_digits is not None:
        n = max(n, 10_000, int(np.ceil(100 / (1 - level))))
    rounds = [source.round(n)]
    met: bool | None = None
    while tolerance_digits is not None:
        if len(rounds) >= 2 and _steady([r[0] for r in rounds], level, tolerance_digits):
            met = True
            break
        if (len(rounds) + 1) * n > n_max:
            met = False
            break
        rounds.append(source.round(n))
    full, sys_only, rand_only = (np.concatenate([r[i] for r in rounds]) for i in range(3))
    if not np.all(np.isfinite(full)):
        raise UncertaintyError(
            "The model is not finite for some draws.",
            remedy="The inputs' uncertainty reaches outside the model's range; narrow it.",
        )
    missing = np.full(full.shape[1:], np.nan)
    return MonteCarlo(
        full.shape[0],
        level,
        full.mean(axis=0),
        full.std(axis=0, ddof=1),
        rand_only.std(axis=0, ddof=1) if split else missing,
        sys_only.std(axis=0, ddof=1) if split else missing,
        shortest_interval(full, level),
        symmetric_interval(full, level),
        met,
        full,
    )


class _Source:
    """Draws in numbered streams, so that the chunk size changes nothing."""

    def __init__(
        self,
        model: Model,
        draw_s: Sampler,
        draw_r: Sampler | None,
        seed: int,
        chunk: int,
        split: bool,
    ) -> None:
        self.model, self.draw_s, self.draw_r, self.split = model, draw_s, draw_r, split
        self.chunk = max(1, chunk // _DRAW)
        self.seed, self.stream = seed, 0
        s, r = self._draw(0, 4 * _DRAW)
        self.centre_s, self.centre_r = s.mean(axis=0), r.mean(axis=0)

    def _draw(self, stream: int, n: int) -> tuple[Floats, Floats]:
        rng_s, rng_r = (
            np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=(stream, kind)))
            for kind in (0, 1)
        )
        s = np.asarray(self.draw_s(rng_s, n), dtype=float)
        r = np.zeros((n, 1, 0)) if self.draw_r is None else np.asarray(self.draw_r(rng_r, n))
        return s, r

    def round(self, n: int) -> tuple[Floats, Floats, Floats]:
        """``n`` trials: all drawn; systematic only; random only."""
        sizes = [_DRAW] * (n // _DRAW) + ([n % _DRAW] if n % _DRAW else [])
        parts: tuple[list[Floats], list[Floats], list[Floats]] = ([], [], [])
        for i in range(0, len(sizes), self.chunk):
            drawn = [
                self._draw(self.stream + 1 + j, m) for j, m in enumerate(sizes[i : i + self.chunk])
            ]
            self.stream += len(drawn)
            s, r = (np.concatenate([d[k] for d in drawn]) for k in (0, 1))
            parts[0].append(np.asarray(self.model(s, r), dtype=float))
            if self.split:
                still_r = np.broadcast_to(self.centre_r, r.shape)
                still_s = np.broadcast_to(self.centre_s, s.shape)
                parts[1].append(np.asarray(self.model(s, still_r), dtype=float))
                parts[2].append(np.asarray(self.model(still_s, r), dtype=float))
        full = np.concatenate(parts[0])
        if not self.split:
            return full, full[:0], full[:0]
        return full, np.concatenate(parts[1]), np.concatenate(parts[2])


def _steady(rounds: list[Floats], level: float, digits: int) -> bool:
    h = len(rounds)
    rows = np.stack(
        [np.stack([r.mean(0), r.std(0, ddof=1), *symmetric_interval(r, level)]) for r in rounds]
    )
    spread = 2 * rows.std(axis=0, ddof=1) / np.sqrt(h)
    u = np.atleast_1d(np.concatenate(rounds).std(axis=0, ddof=1)).ravel()
    delta = np.array([numerical_tolerance(x, digits) if x > 0 else np.inf for x in u])
    return bool(np.all(spread.reshape(4, -1) <= delta))


@dataclass(frozen=True)
class Validation:
    """Linear against Monte Carlo (JCGM 101, 8.1): both ends within ``delta``, or not."""

    delta: float
    d_low: float
    d_high: float

    @property
    def agrees(self) -> bool:
        """True when the linear interval may stand."""
        return max(self.d_low, self.d_high) <= self.delta


def validate(
    value: float, u: float, mc: MonteCarlo, *, dof: float = np.inf, digits: int = 2
) -> Validation:
    """Compare ``value -+ k u`` with the symmetric Monte Carlo interval of one output."""
    half = coverage_factor(dof, mc.level) * u
    low, high = (float(x) for x in np.reshape(mc.symmetric, 2))
    return Validation(
        numerical_tolerance(u, digits), abs(value - half - low), abs(value + half - high)
    )

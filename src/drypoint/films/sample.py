"""The same inference by Markov-chain Monte Carlo, on request: for few tests and odd intervals.

Needs the extra ``mcmc`` (emcee [foremanmackey2013]). Sought numbers and the known numbers of the
layers are sampled with their priors; the shared inputs of the bench are marginalised as a
covariance of the data. Unlike :func:`drypoint.films.infer` this lets the tests improve on what was
given about the layers. Where values of one test go together, the likelihood of all values as if
each stood alone is flattened by as much as the fit finds its own scatter too small
(the adjustment of magnitude of [ribatet2012]).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.films.emulator import Emulator
from drypoint.films.forward import Forward, forward
from drypoint.films.given import U_MODEL, FilmTests, Structure
from drypoint.films.modulus import infer
from drypoint.films.posed import REACH
from drypoint.films.problems import FilmError

Floats = NDArray[np.float64]

#: Autocorrelation times that a chain must hold, and steps below which that time cannot be told.
ENOUGH, LEAST = 50.0, 400


@dataclass(frozen=True)
class Samples:
    """Draws from the posterior.

    Parameters
    ----------
    names : tuple of str
    draws : array, shape (draws, m)
        In SI.
    acceptance : float
        Mean fraction of accepted steps; 0.2 to 0.5 is healthy.
    steps_per_time : float
        Steps over the longest autocorrelation time; below :data:`ENOUGH` the tails are rough.
    """

    names: tuple[str, ...]
    draws: Floats
    acceptance: float
    steps_per_time: float

    @property
    def settled(self) -> bool:
        """Whether the chain is long enough for its interval to be believed."""
        return self.steps_per_time >= ENOUGH

    def interval(self, name: str, level: float = 0.95) -> tuple[float, float, float]:
        """Median and the probabilistically symmetric interval."""
        x = self.draws[:, self.names.index(name)]
        low, mid, high = np.quantile(x, [(1 - level) / 2, 0.5, (1 + level) / 2])
        return float(mid), float(low), float(high)


def sample(
    tests: FilmTests,
    structure: Structure,
    model: str = "exact",
    *,
    u_model: float = U_MODEL,
    steps: int = 1500,
    walkers: int = 24,
    seed: int = 1,
) -> Samples:
    """Draw from the posterior; the first third of the chain is left out.

    The chain goes on, up to eight times its length, until it holds :data:`ENOUGH` autocorrelation
    times; where it does not even then, the result is not ``settled``.

    Parameters
    ----------
    tests, structure, model, u_model
        As for :func:`drypoint.films.infer`.
    steps, walkers, seed : int
        Same numbers, same draws.

    Raises
    ------
    FilmError
        When emcee is not installed.
    """
    try:
        import emcee
    except ImportError:
        raise FilmError(
            "Sampling needs the library emcee, which is not installed.",
            remedy="Install the extra: pip install 'drypoint[mcmc]'.",
        ) from None
    target = _Posterior(
        tests.with_model_error(u_model, _thickness(tests, structure, model, u_model)),
        structure,
        model,
    )
    size = len(target.where)
    walkers = max(walkers, 2 * size + 2)
    rng = np.random.default_rng(seed)
    start = target.start() + 0.01 * np.minimum(target.width, 1.0) * rng.standard_normal(
        (walkers, size)
    )
    sampler: Any = emcee.EnsembleSampler(walkers, size, target)
    # emcee draws from the old generator of NumPy; its state is ours, so the draws repeat.
    state = np.random.RandomState(seed).get_state()
    at: Any = emcee.State(start, random_state=state)
    made = 0
    for more in (1, 1, 2, 4):
        at = sampler.run_mcmc(at, steps * more)
        made += steps * more
        time = float(np.max(sampler.get_autocorr_time(tol=0)))
        if made >= ENOUGH * time and made >= LEAST:
            break
    if made < LEAST:  # too short for its own autocorrelation time to be known
        time = np.inf
    chain = sampler.get_chain(discard=made // 3, flat=True)
    draws = np.where(target.relative, np.exp(np.where(target.relative, chain, 0.0)), chain)
    return Samples(target.names, draws, float(np.mean(sampler.acceptance_fraction)), made / time)


def _thickness(tests: FilmTests, structure: Structure, model: str, u_model: float) -> float:
    """Thickness of the uppermost layer as stated, or as found where it is sought."""
    layer = structure.layers[0]
    if not layer.t.sought:
        return layer.t.value
    found = infer(tests, structure, model, u_model=u_model)
    return float(found.best[found.names.index(f"{layer.name}.t")])


class _Posterior:
    """Log posterior of all numbers that are not exact; logarithms of moduli and thicknesses."""

    def __init__(self, tests: FilmTests, structure: Structure, model: str) -> None:
        pairs = list(structure.entries())
        self.values = np.array([e.value for _, e in pairs])
        self.where = np.array([i for i, (_, e) in enumerate(pairs) if e.sought or e.u > 0])
        self.names = tuple(pairs[i][0] for i in self.where)
        self.relative = np.array([not n.endswith(".nu") for n in self.names])
        entries = [pairs[i][1] for i in self.where]
        u = np.array(
            [e.u / e.value if r else e.u for e, r in zip(entries, self.relative, strict=True)]
        )
        self.mean = self._fold(self.values[self.where])
        self.precision = np.where(np.isfinite(u), 1 / np.where(np.isfinite(u), u, 1.0) ** 2, 0.0)
        self.width = np.where(np.isfinite(u), u, 0.1)
        self.direct = forward(structure, model, tests.depth)
        self.run: Forward = self.direct
        self.log_a, self.y = np.log(tests.radius), np.log(tests.E_star)
        self.found = infer(tests, structure, model, u_model=0.0)
        s = np.hypot(tests.u_random / tests.E_star, self.found.scatter)
        s = s * self._flatter(tests, structure, model)
        step = 1e-4
        bend = (self._at(self.start(), step) - self._at(self.start(), -step)) / (2 * step)
        J = (
            tests.jac_E / tests.E_star[:, None]
            - bend[:, None] * tests.jac_radius / (tests.radius[:, None])
        )
        if model == "exact" and len(structure.layers) == 1:
            self._quicken(structure)
        self.root = np.linalg.cholesky(np.diag(s * s) + J @ tests.inputs.cov @ J.T)

    def _flatter(self, tests: FilmTests, structure: Structure, model: str) -> float:
        """How much wider the fit's own scatter is where values of one test go together."""
        if tests.group is None:
            return 1.0
        alone = infer(replace(tests, group=None), structure, model, u_model=0.0)
        return max(1.0, float(np.max(self.found.u_random / alone.u_random)))

    def _quicken(self, structure: Structure) -> None:
        """Put a polynomial in place of the exact model near the fit; further out it stays exact."""
        values = self._values(self.start())
        at = dict(zip(self.found.names, self.found.u / self.found.best, strict=True))
        known = {n: e.u / e.value for n, e in structure.entries() if not e.sought}
        wide = {n: min(max(0.3, 8 * float(u)), 3.0) for n, u in {**known, **at}.items()}
        names = structure.names
        ratio = np.log(values[0] / values[3])
        by_ratio = wide[names[0]] + wide[names[3]]
        x, by_x = self.log_a - np.log(values[2]), wide[names[2]]
        quick = Emulator(
            (float(ratio - by_ratio), float(ratio + by_ratio)),
            (float(x.min() - by_x), float(x.max() + by_x)),
            (float(values[1]), float(values[4])),
            structure.layers[0].slips,
        )

        def run(v: Floats, log_a: Floats) -> Floats:
            return quick(v, log_a) if quick.covers(v, log_a) else self.direct(v, log_a)

        self.run = run

    def _fold(self, v: Floats) -> Floats:
        return np.where(self.relative, np.log(np.where(self.relative, v, 1.0)), v)

    def start(self) -> Floats:
        """The minimum of the fit, known numbers at their values."""
        out = self.values.copy()[self.where]
        for name, best in zip(self.found.names, self.found.best, strict=True):
            out[self.names.index(name)] = best
        return self._fold(out)

    def _values(self, p: Floats) -> Floats:
        values = self.values.copy()
        values[self.where] = np.where(self.relative, np.exp(np.where(self.relative, p, 0.0)), p)
        return values

    def _at(self, p: Floats, shift: float = 0.0) -> Floats:
        return self.run(self._values(p), self.log_a + shift)

    def __call__(self, p: Floats) -> float:
        far = np.abs(p - self.mean) > np.log(REACH)
        ratio = ~self.relative & ((p > 0.4999) | (p < -0.4))
        if np.any(far & self.relative) or np.any(ratio):
            return -np.inf
        z = np.linalg.solve(self.root, self.y - self._at(p))
        value = -0.5 * float(z @ z + np.sum(self.precision * (p - self.mean) ** 2))
        return value if np.isfinite(value) else -np.inf

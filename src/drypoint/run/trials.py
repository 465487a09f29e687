"""Monte Carlo (GUM Supplement 1) of a specimen's mean, and the check of the linear propagation.

Each trial draws the systematic inputs once and evaluates the whole property algebra for all tests
with them, so that what is shared does not average out and what cancels does cancel. The random
part of the mean is drawn from the scaled t distribution of its spread (JCGM 101, 6.4.9).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.derive import Context, derive
from drypoint.reduction.reduce import Reduced
from drypoint.run.result import Group, StudyResult
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.uncertainty.montecarlo import MonteCarlo, Validation, monte_carlo, validate
from drypoint.uncertainty.series import SeriesResult
from drypoint.version import __version__

Floats = NDArray[np.float64]
SYMBOLS = ("H_IT", "E_IT")


@dataclass(frozen=True)
class Trials:
    """Monte Carlo of one mean beside the linear result."""

    specimen: str
    symbol: str
    mc: MonteCarlo
    linear: Validation


def mean_by_trials(
    result: StudyResult,
    specimen: str,
    symbol: str,
    trials: int,
    seed: int | None = None,
    cache: Cache | None = None,
) -> Trials:
    """Propagate the distributions of all inputs to the mean of a specimen.

    Parameters
    ----------
    trials : int
        Number of draws.
    seed : int, optional
        The study's by default.
    cache : Cache, optional
        Where draws from the same inputs are kept.
    """
    s = result.series[specimen][symbol]
    parts = [_pick(g, result, specimen, symbol) for g in result.groups]
    chosen = [(g, rows) for g, rows in zip(result.groups, parts, strict=True) if len(rows)]
    if len({id(g.bench) for g, _ in chosen}) > 1 and len(chosen) > 1:
        chosen = chosen[:1] if len(chosen[0][1]) == s.n else chosen
    seed = result.provenance.seed if seed is None else seed
    linear = (s.mean, s.u, s.u_type_a, s.dof_type_a, s.dof, s.level)
    key = cache_key(
        "trials", __version__, specimen, symbol, repr((trials, seed)),
        repr([float(v) for v in linear]), *(f"{g.key} {rows.tolist()}" for g, rows in chosen),
    )  # fmt: skip
    entry = cache.get(key) if cache is not None else None
    found = kept(entry.meta, entry.arrays) if entry is not None else None
    if isinstance(found, Trials):
        return found
    mc, check = mean_of_rows([(g.reduced, rows) for g, rows in chosen], symbol, s, trials, seed)
    made = Trials(specimen, symbol, mc, check)
    if cache is not None and all(g.key for g, _ in chosen):
        tree, arrays = encode(made)
        cache.put(key, arrays, tree)
    return made


def mean_of_rows(
    parts: Sequence[tuple[Reduced, NDArray[np.int64]]],
    symbol: str,
    linear: SeriesResult,
    trials: int,
    seed: int,
) -> tuple[MonteCarlo, Validation]:
    """The same for chosen rows of reductions that share their inputs.

    Parameters
    ----------
    parts : sequence of (Reduced, rows of its cycles)
    linear : SeriesResult
        The linear result for the same rows; its Type A part is drawn too.

    Returns
    -------
    MonteCarlo, Validation
        Draws of the mean; ``linear`` beside them.
    """
    joint = parts[0][0].tests.inputs
    total = sum(len(rows) for _, rows in parts)
    t_dof = linear.dof_type_a

    def random(rng: np.random.Generator, n: int) -> Floats:
        size = (n, 1, 1)
        draws = rng.standard_t(t_dof, size) if np.isfinite(t_dof) else rng.normal(size=size)
        return np.asarray(draws * linear.u_type_a)

    def model(theta: Floats, r: Floats) -> Floats:
        add = np.zeros(theta.shape[0])
        for reduced, rows in parts:
            local, ctx = _rows(reduced, rows)
            named = {n: theta[:, [i]] for i, n in enumerate(joint.names)}
            add += derive(local, named, ctx)[symbol].sum(axis=1)
        return add / total + r[:, 0, 0]

    mc = monte_carlo(
        model,
        joint,
        random,
        n=trials,
        seed=seed,
        level=linear.level,
        chunk=max(200, min(5000, 2_000_000 // max(total, 1))),
    )
    return mc, validate(linear.mean, linear.u, mc, dof=linear.dof)


def all_trials(result: StudyResult, trials: int, cache: Cache | None = None) -> tuple[Trials, ...]:
    """Monte Carlo of hardness and modulus of every specimen."""
    return tuple(
        mean_by_trials(result, specimen, symbol, trials, cache=cache)
        for specimen in result.specimens
        for symbol in SYMBOLS
        if symbol in result.series.get(specimen, {})
    )


def _pick(g: Group, result: StudyResult, specimen: str, symbol: str) -> NDArray[np.int64]:
    """Rows of a group's cycles that stand behind a specimen's mean."""
    used = []
    excluded = {
        (t, e)
        for t, e in zip(result.tests_table["test"], result.tests_table["excluded"], strict=True)
    }
    for row in g.reduced.tests_rows:
        i = int(g.reduced.readings.test[row])
        info = g.batch.tests[i]
        if i in g.superseded or info.specimen != specimen or (info.name, True) in excluded:
            continue
        k = int(np.flatnonzero(g.reduced.tests.test == i)[0])
        if np.isfinite(g.reduced.tests[symbol].value[k]):
            used.append(int(row))
    return np.array(used, dtype=np.int64)


def _rows(reduced: Reduced, rows: NDArray[np.int64]) -> tuple[Mapping[str, Any], Context]:
    local = {k: v[rows] for k, v in reduced.locals.values.items()}
    ctx = reduced.context
    per_row = {
        f.name: getattr(ctx, f.name)[rows]
        for f in fields(ctx)
        if isinstance(getattr(ctx, f.name), np.ndarray)
    }
    return local, replace(ctx, **per_row)

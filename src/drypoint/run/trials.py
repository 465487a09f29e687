"""Monte Carlo (GUM Supplement 1) of a specimen's mean, and the check of the linear propagation.

Each trial draws the systematic inputs once and evaluates the whole property algebra for all tests
with them, so that what is shared does not average out and what cancels does cancel. The random
part of the mean is drawn from the scaled t distribution of its spread (JCGM 101, 6.4.9).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.derive import Context, derive
from drypoint.run.result import Group, StudyResult
from drypoint.uncertainty.montecarlo import MonteCarlo, Validation, monte_carlo, validate

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
    result: StudyResult, specimen: str, symbol: str, trials: int, seed: int | None = None
) -> Trials:
    """Propagate the distributions of all inputs to the mean of a specimen.

    Parameters
    ----------
    trials : int
        Number of draws.
    seed : int, optional
        The study's by default.
    """
    s = result.series[specimen][symbol]
    parts = [_pick(g, result, specimen, symbol) for g in result.groups]
    chosen = [(g, rows) for g, rows in zip(result.groups, parts, strict=True) if len(rows)]
    if len({id(g.bench) for g, _ in chosen}) > 1 and len(chosen) > 1:
        chosen = chosen[:1] if len(chosen[0][1]) == s.n else chosen
    g0 = chosen[0][0]
    joint = g0.reduced.tests.inputs
    total = sum(len(rows) for _, rows in chosen)
    t_dof = s.dof_type_a

    def random(rng: np.random.Generator, n: int) -> Floats:
        draws = rng.standard_t(t_dof, (n, 1, 1)) if np.isfinite(t_dof) else rng.normal(size=(n, 1, 1))
        return np.asarray(draws * s.u_type_a)

    def model(theta: Floats, r: Floats) -> Floats:
        add = np.zeros(theta.shape[0])
        for g, rows in chosen:
            local, ctx = _rows(g, rows)
            named = {n: theta[:, [i]] for i, n in enumerate(joint.names)}
            add += derive(local, named, ctx)[symbol].sum(axis=1)
        return add / total + r[:, 0, 0]

    mc = monte_carlo(
        model,
        joint,
        random,
        n=trials,
        seed=result.provenance.seed if seed is None else seed,
        level=s.level,
        chunk=max(200, min(5000, 2_000_000 // max(total, 1))),
    )
    return Trials(specimen, symbol, mc, validate(s.mean, s.u, mc, dof=s.dof))


def all_trials(result: StudyResult, trials: int) -> tuple[Trials, ...]:
    """Monte Carlo of hardness and modulus of every specimen."""
    return tuple(
        mean_by_trials(result, specimen, symbol, trials)
        for specimen in result.specimens
        for symbol in SYMBOLS
        if symbol in result.series.get(specimen, {})
    )


def _pick(g: Group, result: StudyResult, specimen: str, symbol: str) -> NDArray[np.int64]:
    """Rows of a group's cycles that stand behind a specimen's mean."""
    used = []
    excluded = {
        (t, e)
        for t, e in zip(
            result.tests_table["test"], result.tests_table["excluded"], strict=True
        )
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


def _rows(g: Group, rows: NDArray[np.int64]) -> tuple[Mapping[str, Any], Context]:
    from dataclasses import fields, replace

    local = {k: v[rows] for k, v in g.reduced.locals.values.items()}
    ctx = g.reduced.context
    per_row = {
        f.name: getattr(ctx, f.name)[rows]
        for f in fields(ctx)
        if isinstance(getattr(ctx, f.name), np.ndarray)
    }
    return local, replace(ctx, **per_row)

"""Fitted curves of every model over the range of the tests, with the exact one's band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.films.compare import Comparison
from drypoint.films.forward import Forward, forward
from drypoint.films.given import FilmTests, Structure
from drypoint.films.hardness import FORMS, FilmHardness, HardnessTests
from drypoint.films.least import STEP
from drypoint.films.modulus import FilmResult
from drypoint.uncertainty.propagation import coverage_factor

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FilmCurves:
    """Curves for a figure; moduli and hardnesses in Pa.

    Parameters
    ----------
    x : array, shape (n,)
        Contact radius over the stated thickness of the uppermost layer.
    exact, low, high : array, shape (n,)
        Plane-strain modulus by the exact solution and its band at the level asked for.
    models : dict
        Model key -> the same by an approximation, in its own fit.
    substrate : float
        Plane-strain modulus of the substrate.
    beta : array, shape (k,)
        Contact depth over thickness, for ``hardness``: words for a model -> its curve.
    """

    x: Floats
    exact: Floats
    low: Floats
    high: Floats
    models: dict[str, Floats]
    substrate: float
    beta: Floats
    hardness: dict[str, Floats]


def film_curves(
    tests: FilmTests,
    structure: Structure,
    comparison: Comparison,
    hard: HardnessTests | None = None,
    models: Sequence[FilmHardness] = (),
    substrate_hardness: float = np.nan,
    *,
    level: float = 0.95,
    points: int = 80,
) -> FilmCurves:
    """Curves of what was found.

    Parameters
    ----------
    tests, structure, comparison
        What :func:`~drypoint.films.compare.compare` was given, and what it gave.
    hard, models, substrate_hardness
        Tests and models of film hardness, where there are any; Pa.
    level : float
        Of the band.
    points : int
    """
    t = structure.layers[0].t.value
    a = np.geomspace(0.9 * tests.radius.min(), 1.1 * tests.radius.max(), points)
    order = np.argsort(tests.radius)
    depth = None
    if tests.depth is not None:
        depth = np.interp(a, tests.radius[order], tests.depth[order])
    curves = {}
    for key, result in comparison.results.items():
        run = forward(structure, key, depth)
        with np.errstate(invalid="ignore", divide="ignore"):
            curves[key] = np.exp(run(_values(structure, result), np.log(a)))
    exact = comparison.results["exact"]
    wide = coverage_factor(exact.dof, level) * _spread(structure, exact, np.log(a))
    s = structure.substrate
    beta, by_model = np.empty(0), {}
    if hard is not None:
        beta = np.geomspace(hard.beta.min(), hard.beta.max(), points)
        by_model = {
            m.model: FORMS[m.model](beta, m.H, substrate_hardness, m.constant) for m in models
        }
    top = curves.pop("exact")
    return FilmCurves(
        a / t, top, top * np.exp(-wide), top * np.exp(wide), curves,
        s.E.value / (1 - s.nu.value**2), beta, by_model,
    )  # fmt: skip


def _values(structure: Structure, result: FilmResult) -> Floats:
    """All numbers of the structure, the sought ones as found."""
    values = np.array([e.value for _, e in structure.entries()])
    for name, best in zip(result.names, result.best, strict=True):
        values[structure.names.index(name)] = best
    return values


def _spread(structure: Structure, r: FilmResult, log_a: Floats) -> Floats:
    """Standard uncertainty of ln E* along the fitted curve.

    The sought numbers move with what was given (``sensitivity``), and what was given about the
    layers moves the curve itself too: where the tests lie, most of that cancels.
    """
    run, values = forward(structure, "exact", None), _values(structure, r)
    J = np.stack([_slope(run, structure, values, n, log_a) for n in r.names], axis=1)
    K = np.zeros((len(log_a), len(r.inputs.names)))
    for name, entry in structure.entries():
        given = entry.shared if entry.shared in r.inputs.names else name
        if not entry.sought and given in r.inputs.names:
            K[:, r.inputs.index(given)] += _slope(run, structure, values, name, log_a)
    V = r.inputs.cov
    total = r.correlation * np.outer(r.u, r.u)
    random = total - r.sensitivity @ V @ r.sensitivity.T
    whole = J @ r.sensitivity + K
    var = np.einsum("ij,jk,ik->i", J, random, J) + np.einsum("ij,jk,ik->i", whole, V, whole)
    return np.sqrt(np.maximum(var, 0.0))


def _slope(run: Forward, structure: Structure, values: Floats, name: str, log_a: Floats) -> Floats:
    """Derivative of ln E* with respect to one number."""
    i = structure.names.index(name)
    step = STEP * (1.0 if name.endswith(".nu") else values[i])
    up, down = values.copy(), values.copy()
    up[i], down[i] = up[i] + step, down[i] - step
    if name.endswith(".nu"):
        up[i] = min(up[i], 0.5)
    return (run(up, log_a) - run(down, log_a)) / (up[i] - down[i])

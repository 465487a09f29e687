"""The same tests through every film model, and the spread between models as its own line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drypoint.contact.film_models import MODELS
from drypoint.films.extrapolate import Extrapolated, extrapolate
from drypoint.films.given import U_MODEL, FilmTests, Structure
from drypoint.films.modulus import FilmResult, infer
from drypoint.films.problems import FilmError


@dataclass(frozen=True)
class Comparison:
    """Film modulus by every model that applies.

    Parameters
    ----------
    results : dict
        Model key -> result; "exact" first.
    skipped : dict
        Model key -> why it could not be used.
    within : tuple of str
        Keys of the models whose own domain holds all the tests, and which describe them.
    spread : (float, float)
        Lowest and highest value of the first sought number (SI) by these models; NaN where fewer
        than two are left.
    u_model : float
        Half of that spread over sqrt(3), Pa: the choice of model as a rectangular distribution
        [gum2008]. Not part of any result's uncertainty.
    extrapolated : Extrapolated or None
        The straight line to zero contact radius, where it is the modulus of the only film that is
        sought; the reason is in ``skipped`` where it could not be drawn.
    """

    results: dict[str, FilmResult]
    skipped: dict[str, str]
    within: tuple[str, ...]
    spread: tuple[float, float]
    u_model: float
    extrapolated: Extrapolated | None


def compare(tests: FilmTests, structure: Structure, *, u_model: float = U_MODEL) -> Comparison:
    """The sought numbers by all models.

    A model that needs the tip within the film gets the tests for which that is so.
    """
    results: dict[str, FilmResult] = {}
    skipped: dict[str, str] = {}
    for key, model in MODELS.items():
        some = _within_film(tests, structure) if model.needs_depth else tests
        try:
            if some is None:
                raise FilmError("No test stays within the film.")
            results[key] = infer(some, structure, key, u_model=u_model)
        except FilmError as problem:
            skipped[key] = problem.what
    line = None
    if structure.layers[0].E.sought:
        try:
            line = extrapolate(
                tests.with_model_error(u_model, structure.layers[0].t.value), structure
            )
        except FilmError as problem:
            skipped["extrapolation"] = problem.what
    good = [k for k, r in results.items() if r.identified[0] and r.fits and not _outside(r)]
    values = [float(results[k].value[0]) for k in good]
    low, high = (min(values), max(values)) if len(values) > 1 else (np.nan, np.nan)
    return Comparison(
        results, skipped, tuple(good), (low, high), (high - low) / (2 * np.sqrt(3.0)), line
    )


def _outside(result: FilmResult) -> bool:
    """Whether a remark is about the model's domain (it then starts with the model's title)."""
    return any(r.startswith(MODELS[result.model].title) for r in result.remarks)


def _within_film(tests: FilmTests, structure: Structure) -> FilmTests | None:
    if tests.depth is None:
        return tests
    keep = tests.depth < 0.95 * structure.layers[0].t.value
    if not np.any(keep):
        return None
    return tests.some(keep)

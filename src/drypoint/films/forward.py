"""From the numbers of a structure to ln E_eff* at each contact radius, by any model."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.film_models import MODELS, Model, Pair
from drypoint.contact.layered import Stack, effective_modulus
from drypoint.films.given import Structure
from drypoint.films.problems import ONE_FILM, FilmError

Floats = NDArray[np.float64]

#: From all numbers of the structure (order of Structure.entries) and ln a to ln E_eff*.
Forward = Callable[[Floats, Floats], Floats]


def exact_log(stack: Stack, log_a: Floats) -> Floats:
    """ln E_eff* of a stack; many radii by Chebyshev interpolation in ln a, good to 1e-5.

    E_eff* bends on the scale of a factor e in a: six nodes and three more for each such factor.
    """
    lo, hi = float(log_a.min()), float(log_a.max())
    nodes = int(np.ceil(6 + 3 * (hi - lo)))
    at_once, where = np.unique(log_a, return_inverse=True)
    if len(at_once) <= nodes:
        return np.asarray(np.log(effective_modulus(stack, np.exp(at_once)))[where])
    x = np.cos((np.arange(nodes) + 0.5) * np.pi / nodes)
    at = (lo + hi) / 2 + (hi - lo) / 2 * x
    series = np.polynomial.chebyshev.chebfit(
        x, np.log(effective_modulus(stack, np.exp(at))), nodes - 1
    )
    return np.asarray(np.polynomial.chebyshev.chebval((2 * log_a - lo - hi) / (hi - lo), series))


def pair_of(structure: Structure, values: Floats) -> Pair:
    """The film and substrate of a structure with one layer."""
    E_f, nu_f, t, E_s, nu_s = (float(v) for v in values)
    return Pair(E_f, nu_f, t, E_s, nu_s)


def model_of(key: str) -> Model:
    """A model by its key."""
    if key not in MODELS:
        raise FilmError(f"“{key}” is no film model.", remedy="Use one of: " + ", ".join(MODELS))
    return MODELS[key]


def forward(structure: Structure, key: str, depth: Floats | None) -> Forward:
    """The function that a model stands for.

    Raises
    ------
    FilmError
        When an approximation is asked for more than one bonded film, or lacks the depths it needs.
    """
    model = model_of(key)
    if key == "exact":
        return lambda values, log_a: exact_log(structure.stack(values), log_a)
    if len(structure.layers) != 1 or structure.layers[0].slips:
        raise FilmError(f"{model.title} {ONE_FILM}", remedy="Use the exact model.")
    if model.needs_depth and depth is None:
        raise FilmError(f"{model.title} needs the contact depths.", remedy="Give h_c of each test.")

    def run(values: Floats, log_a: Floats) -> Floats:
        found = model.effective(pair_of(structure, values), np.exp(log_a), depth)
        return np.log(np.asarray(found, dtype=float))

    return run

"""From a reduction to the tests of a film analysis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.films.given import Entry, FilmTests
from drypoint.films.hardness import HardnessTests
from drypoint.films.problems import FilmError
from drypoint.reduction.result import Reduction

Floats = NDArray[np.float64]

#: What a quantity is called in a sentence.
WORDS = {
    "A_p": "a contact area", "E_IT_star": "a modulus", "h_c": "a contact depth",
    "H_IT": "a hardness",
}  # fmt: skip


def _rows(
    reduction: Reduction, rows: NDArray[np.int64] | None, symbols: tuple[str, ...]
) -> NDArray[np.int64]:
    chosen = np.arange(len(reduction)) if rows is None else np.asarray(rows, dtype=np.int64)
    good = np.ones(len(chosen), dtype=bool)
    for symbol in symbols:
        good &= np.isfinite(reduction[symbol].value[chosen])
        good &= np.isfinite(reduction[symbol].u_random[chosen])
    if not np.any(good):
        raise FilmError(
            f"No test has {' and '.join(WORDS[s] for s in symbols)}.",
            remedy="See the flags of the tests for why.",
        )
    return chosen[good]


def film_tests(reduction: Reduction, rows: NDArray[np.int64] | None = None) -> FilmTests:
    """Contact radius and plane-strain modulus of the rows that have them, sensitivities included.

    E_star is E_IT/(1 - nu^2) of the table, in which the Poisson's ratio assumed for the specimen
    cancels.
    """
    at = _rows(reduction, rows, ("A_p", "E_IT_star", "h_c"))
    A, E = reduction["A_p"], reduction["E_IT_star"]
    radius = np.sqrt(A.value[at] / np.pi)
    return FilmTests(
        radius,
        E.value[at],
        E.u_random[at],
        reduction["h_c"].value[at],
        reduction.inputs,
        E.sensitivity[at],
        A.sensitivity[at] * (radius / (2 * A.value[at]))[:, None],
        np.asarray(reduction.test[at], dtype=np.int64),
    )


def hardness_tests(
    reduction: Reduction,
    thickness: Entry,
    rows: NDArray[np.int64] | None = None,
    residual_stress: Entry | None = None,
) -> HardnessTests:
    """Hardness of the rows that have one, against contact depth over film thickness."""
    at = _rows(reduction, rows, ("H_IT", "h_c"))
    H = reduction["H_IT"]
    return HardnessTests(
        reduction["h_c"].value[at] / thickness.value,
        H.value[at],
        H.u_random[at],
        reduction.inputs,
        H.sensitivity[at],
        residual_stress,
        np.asarray(reduction.test[at], dtype=np.int64),
    )

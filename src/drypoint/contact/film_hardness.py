"""Hardness of film and substrate together, by author. Pa; beta = h/t is relative depth.

Formulas from memory. None of them is a solution of mechanics: each is a form with constants that
a fit or finite elements gave. Everything broadcasts and accepts complex numbers.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]


def korsunsky(beta: ArrayLike, H_f: ArrayLike, H_s: ArrayLike, k: ArrayLike) -> Array:
    """H = H_s + (H_f - H_s)/(1 + k beta^2) [korsunsky1998].

    From the work of indenting a film that cracks or flows with the substrate. k >= 0 is fitted: a
    few units for thick ductile films, tens to hundreds for hard films on soft ground.
    """
    b = np.asarray(beta)
    s = np.asarray(H_s)
    return np.asarray(s + (np.asarray(H_f) - s) / (1 + np.asarray(k) * b * b))


def bhattacharya_nix_soft(
    beta: ArrayLike, H_f: ArrayLike, H_s: ArrayLike, yield_ratio: ArrayLike, E_ratio: ArrayLike
) -> Array:
    """Soft film on a hard substrate [bhattacharya1988].

    H = H_s + (H_f - H_s) exp(-(Y_f/Y_s)/(E_f/E_s) beta^2), from finite elements with a cone of
    68 degrees, depths up to a few t, perfectly bonded.
    """
    b, s = np.asarray(beta), np.asarray(H_s)
    fall = np.asarray(yield_ratio) / np.asarray(E_ratio) * b * b
    return np.asarray(s + (np.asarray(H_f) - s) * np.exp(-fall))


def bhattacharya_nix_hard(
    beta: ArrayLike, H_f: ArrayLike, H_s: ArrayLike, yield_ratio: ArrayLike, E_ratio: ArrayLike
) -> Array:
    """Hard film on a soft substrate [bhattacharya1988].

    H = H_s + (H_f - H_s) exp(-(H_f/H_s)/((Y_f/Y_s) sqrt(E_f/E_s)) beta).
    """
    b, s, f = np.asarray(beta), np.asarray(H_s), np.asarray(H_f)
    fall = f / s / (np.asarray(yield_ratio) * np.sqrt(np.asarray(E_ratio))) * b
    return np.asarray(s + (f - s) * np.exp(-fall))

"""Share of tracks that have failed up to a load: as seen, and as a fitted distribution says."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from drypoint.scratch.replicates import Fitted, Loads

Floats = NDArray[np.float64]


def seen_share(loads: Loads) -> tuple[Floats, Floats]:
    """The product-limit estimate [kaplan1958]: it jumps at each failure by the share of those that
    were still whole; a track without the failure counts up to its largest load.

    Returns
    -------
    load : array, shape (k,)
        Loads of the failures, N, each once, rising.
    share : array, shape (k,)
        Share failed from that load on.
    """
    at = np.unique(loads.load[~loads.censored])
    whole = np.array([np.sum(loads.load >= x) for x in at], dtype=float)
    fails = np.array([np.sum((loads.load == x) & ~loads.censored) for x in at], dtype=float)
    return at, 1 - np.cumprod(1 - fails / whole) if len(at) else np.zeros(0)


def fitted_share(fit: Fitted, load: Floats) -> Floats:
    """Share failed up to a load (N) by a fitted distribution; ``load`` of any shape, above zero."""
    load = np.asarray(load, dtype=float)
    if fit.family == "weibull":
        return np.asarray(-np.expm1(-np.exp((np.log(load) - fit.mu) / fit.sigma)))
    return np.asarray(ndtr((load - fit.mu) / fit.sigma))

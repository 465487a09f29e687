"""How many tests decide a comparison."""

from __future__ import annotations

import numpy as np
from scipy.special import nctdtr, ndtr, stdtr, stdtrit

from drypoint.errors import UncertaintyError


def power_of(
    difference: float,
    u: float,
    dof: float,
    *,
    margin: float | None = None,
    level: float = 0.95,
) -> float:
    """Probability of a decision when the true difference is ``difference``.

    Two-sided t test, noncentral t with ``difference/u``; with a margin, the larger of that and
    of the power of two one-sided tests (shifted t). Above 1000 degrees of freedom, normal.
    """
    dof = min(dof, 1e6)
    t = float(stdtrit(dof, 0.5 + level / 2))
    shift = abs(difference) / u if u > 0 else np.inf
    if not np.isfinite(shift):
        return 1.0
    if dof > 1000 or shift > 30:
        different = float(ndtr(shift - t) + ndtr(-t - shift))
    else:
        different = float(1.0 - nctdtr(dof, shift, t) + nctdtr(dof, shift, -t))
    if margin is None:
        return different
    t1 = float(stdtrit(dof, level))
    up = stdtr(dof, (margin - abs(difference)) / u - t1)
    down = stdtr(dof, (margin + abs(difference)) / u - t1)
    return max(different, float(max(0.0, up + down - 1.0)))


def tests_needed(
    variance_a: float,
    variance_b: float,
    difference: float,
    *,
    u_systematic: float = 0.0,
    margin: float | None = None,
    level: float = 0.95,
    power: float = 0.8,
    start: tuple[int, int] = (0, 0),
    most: int = 100_000,
) -> float:
    """Further tests on each of two specimens until a decision has the power asked for.

    Parameters
    ----------
    variance_a, variance_b : float
        Variance of one test (or of one position's mean, where positions carry the spread; the
        answer then counts positions).
    difference : float
        The difference that should be decided, often the one seen.
    u_systematic : float
        What does not cancel; no number of tests shrinks it.
    margin : float, optional
        A decision for equivalence counts too.
    start : (int, int)
        Tests already there; (0, 0) for a new plan.

    Returns
    -------
    float
        A whole number; ``inf`` where not even ``most`` would do.
    """
    if variance_a < 0 or variance_b < 0 or u_systematic < 0:
        raise UncertaintyError("A variance is negative.")
    if not 0 < power < 1 or not 0 < level < 1:
        raise UncertaintyError("Power and level lie between 0 and 1.")

    def enough(more: int) -> bool:
        na, nb = (max(n + more, 2) for n in start)
        va, vb = variance_a / na, variance_b / nb
        total = va + vb + u_systematic**2
        down = va**2 / (na - 1) + vb**2 / (nb - 1)
        dof = total**2 / down if down > 0 else np.inf
        return power_of(difference, float(np.sqrt(total)), dof, margin=margin, level=level) >= power

    if not enough(most):
        return np.inf
    low, high = -1, 1
    while not enough(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return float(high)

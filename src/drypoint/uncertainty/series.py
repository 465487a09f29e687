"""A series of tests: mean, spread, expanded uncertainty, and what is the specimen's own.

The spread of the values already holds each test's random part, so that part is not added again:
``u^2 = s^2/n + Jbar Cov Jbar'`` (GUM 4.2.3 and 5.2.2, [gum2008]); systematic inputs do not
shrink with n.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from drypoint.errors import UncertaintyError
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.nested import labels, mean_variance
from drypoint.uncertainty.propagation import block_components, welch_satterthwaite
from drypoint.uncertainty.robust import STRAY, huber, median, strays
from drypoint.uncertainty.tails import Sum, dof_of_factor

Floats = NDArray[np.float64]
Method = Literal["mean", "huber", "median"]


@dataclass(frozen=True)
class SeriesResult:
    """What a series comes to, in the unit of the values.

    Parameters
    ----------
    n, missing : int
        Tests used; tests without a finite value or uncertainty.
    mean : float
        By ``method``.
    s : float
        Standard deviation of the values; NaN when n = 1.
    u_type_a, dof_type_a : float
        Uncertainty of the mean from the spread (n = 1: from the test itself).
    u_systematic : float
    u, dof, k, expanded, level : float
        Combined; degrees of freedom whose Student t gives ``k``; coverage factor, from the
        sum of the two parts' t distributions (:class:`drypoint.uncertainty.tails.Sum`: with few
        tests Welch-Satterthwaite covers too little); ``k u``; coverage probability.
    u_random : float
        Root mean square of the tests' own random parts.
    own : float
        ``sqrt(s^2 - u_random^2)``, 0 where negative: the specimen's own variation, test to test.
    own_interval : (float, float)
        At ``level``, from chi-square for ``s``, ``u_random`` taken as known.
    own_resolved : bool
        False where the interval starts at 0.
    carrier : {"test", "position", "day"}
        What ``u_type_a`` counts as independent.
    components : mapping
        Standard deviations by level ("day", "position", "test").
    sensitivity : array, shape (k,)
        Of the mean, for :mod:`drypoint.uncertainty.compare` and the budget.
    strays : tuple of int
        Indices (into the values given) that stand far from the rest; none is dropped.
    notes : tuple of str
    """

    n: int
    missing: int
    method: Method
    mean: float
    s: float
    u_type_a: float
    dof_type_a: float
    u_systematic: float
    u: float
    dof: float
    k: float
    expanded: float
    level: float
    u_random: float
    own: float
    own_interval: tuple[float, float]
    own_resolved: bool
    carrier: str
    components: Mapping[str, float]
    sensitivity: Floats
    strays: tuple[int, ...] = ()
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class _Location:
    mean: float
    variance: float
    dof: float
    weight: Floats
    components: Mapping[str, float]
    notes: tuple[str, ...]
    carrier: str = "test"


def _locate(
    x: Floats,
    u_random: Floats,
    weights: Floats | None,
    position: NDArray[np.int64] | None,
    day: NDArray[np.int64] | None,
    method: Method,
) -> _Location:
    n = x.size
    equal = np.full(n, 1.0 / n)
    if n == 1:
        note = "One test only: its own random part stands for the spread between tests."
        return _Location(float(x[0]), float(u_random[0]) ** 2, np.inf, equal, {}, (note,))
    if method == "huber":
        m, u, w = huber(x)
        note = f"Huber's estimate, k = 1.345, efficiency 95 %; {np.sum(w > 0)} of {n} inside."
        return _Location(m, u * u, n - 1.0, w, {}, (note,))
    if method == "median":
        m, u, w = median(x)
        return _Location(m, u * u, n - 1.0, w, {}, ("Median, efficiency 64 %.",))
    if weights is not None:
        w = weights / weights.sum()
        m = float(w @ x)
        dof = max(1.0, 1.0 / float(np.sum(w**2)) - 1.0)
        variance = (dof + 1) / dof * float(np.sum(w**2 * (x - m) ** 2))
        return _Location(m, variance, dof, w, {}, ())
    v = mean_variance(x, position, day)
    said = () if v.level == "test" else (f"The {v.level}s differ more than tests within one do.",)
    return _Location(float(x.mean()), v.variance, v.dof, equal, v.components, said, v.level)


def _own(s: float, n: int, u_random: float, level: float) -> tuple[float, tuple[float, float]]:
    """Own variation and its interval; ``(n-1) s^2/(own^2 + u_r^2)`` is chi-square, n - 1."""
    if n < 2:
        return np.nan, (np.nan, np.nan)
    q = special.chdtri(n - 1, np.array([0.5 - level / 2, 0.5 + level / 2]))
    low, high = (n - 1) * s * s / q - u_random**2
    point = s * s - u_random**2
    low, point, high = (float(np.sqrt(max(v, 0.0))) for v in (low, point, high))
    return point, (low, high)


def series(
    values: Floats,
    u_random: Floats,
    sens: Floats,
    joint: Joint,
    *,
    group: object = None,
    day: object = None,
    weights: Floats | None = None,
    method: Method = "mean",
    level: float = 0.95,
) -> SeriesResult:
    """Summarise one property of the tests on one specimen.

    Parameters
    ----------
    values, u_random : array, shape (n,)
        Values that are not finite are left out and counted.
    sens : array, shape (n, k)
        Derivative with respect to each input of ``joint``.
    group, day : labels, shape (n,), optional
        Position on the specimen, day of measuring. Tests of one label may hang together
        (:func:`drypoint.uncertainty.nested.mean_variance`).
    weights : array, shape (n,), optional
        Equal unless given; not together with ``group``, ``day`` or a robust method.
    method : {"mean", "huber", "median"}
        Robust ones: efficiency 95 % and 64 %; not together with ``group`` or ``day``.

    Raises
    ------
    UncertaintyError
        When shapes differ, nothing is left, or options exclude each other.
    """
    x, ur = np.asarray(values, dtype=float), np.asarray(u_random, dtype=float)
    j = np.asarray(sens, dtype=float)
    if x.ndim != 1 or ur.shape != x.shape or j.shape != (x.size, len(joint.names)):
        raise UncertaintyError("Values, random parts and sensitivities differ in shape.")
    if method not in ("mean", "huber", "median"):
        raise UncertaintyError(f"No such method: {method}.", remedy="mean, huber or median.")
    clustered = group is not None or day is not None
    if (clustered and (weights is not None or method != "mean")) or (
        weights is not None and method != "mean"
    ):
        raise UncertaintyError("Weights, robust methods and positions or days exclude each other.")
    good = np.isfinite(x) & np.isfinite(ur) & np.all(np.isfinite(j), axis=1)
    index = np.flatnonzero(good)
    n = index.size
    if n == 0:
        raise UncertaintyError("No test of the series has a value with its uncertainty.")
    if np.any(ur[good] < 0):
        raise UncertaintyError("A random part is negative.")
    w = None if weights is None else np.asarray(weights, dtype=float)
    if w is not None and (w.shape != x.shape or np.any(w[good] < 0) or not w[good].sum() > 0):
        raise UncertaintyError("Weights must be one for each test, not negative, not all zero.")
    position, days = labels(group), labels(day)  # type: ignore[arg-type]
    for label in (position, days):
        if label is not None and label.shape != x.shape:
            raise UncertaintyError("Labels and values differ in number.")
    x, ur, j = x[good], ur[good], j[good]
    where = _locate(
        x,
        ur,
        None if w is None else w[good],
        None if position is None else labels(position[good]),
        None if days is None else labels(days[good]),
        method,
    )
    notes = list(where.notes)
    s = float(np.std(x, ddof=1)) if n > 1 else np.nan
    rms = float(np.sqrt(np.mean(ur**2)))
    own, interval = _own(s, n, rms, level)
    if n == 2:
        notes.append("Two tests only: the spread has one degree of freedom.")
    if n > 1 and rms > s:
        notes.append(
            "The values spread less than the tests' own random parts would have them: those are "
            "overstated, or it is chance."
        )
    if n > 1 and interval[0] == 0.0:
        notes.append("The specimen's own variation is not resolved from the tests' random parts.")
    odd = tuple(int(i) for i in index[strays(x)])
    if odd:
        notes.append(
            f"{len(odd)} of {n} values stand more than {STRAY} robust standard deviations from "
            "the median; they are kept."
        )
    jbar = where.weight @ j
    block_v, block_nu = block_components(jbar, joint.cov, joint.dof)
    u_sys = float(np.sqrt(max(float(jbar @ joint.cov @ jbar), 0.0)))
    u = float(np.hypot(np.sqrt(where.variance), u_sys))
    dof_sys = welch_satterthwaite(block_v, block_nu)
    k = Sum(float(np.sqrt(where.variance)), where.dof, u_sys, dof_sys).factor(level)
    dof = dof_of_factor(k, level)
    return SeriesResult(
        n=n,
        missing=int(good.size - n),
        method=method,
        mean=where.mean,
        s=s,
        u_type_a=float(np.sqrt(where.variance)),
        dof_type_a=where.dof,
        u_systematic=u_sys,
        u=u,
        dof=dof,
        k=k,
        expanded=k * u,
        level=level,
        u_random=rms,
        own=own,
        own_interval=interval,
        own_resolved=bool(interval[0] > 0.0),
        carrier=where.carrier,
        components=where.components,
        sensitivity=jbar,
        strays=odd,
        notes=tuple(notes),
    )

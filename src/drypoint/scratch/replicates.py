"""Critical loads over replicate tracks: distribution, intervals, censoring.

A track without the failure up to its largest load L says that its critical load is above L: it is
right-censored there. Both families are of location and scale in y (the load for the normal, its
logarithm for the Weibull distribution [weibull1951]):

    ln likelihood = sum over failures [ln f(z) - ln sigma] + sum over censored ln S(z),
    z = (y - mu)/sigma

maximised as in [meeker1998]. Intervals are those of the profile likelihood, with the drop

    r ln(1 + t^2/(r - 1)) / 2,      t Student's factor for r - 1 degrees of freedom

r being the number of failures: for the mean of normal loads without censoring that is the usual t
interval, and it goes to chi^2/2 for many tracks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize
from scipy.special import log_ndtr, ndtri, stdtrit

from drypoint.scratch.problems import ScratchError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Family = Literal["weibull", "normal"]
FAMILIES: tuple[Family, ...] = ("weibull", "normal")
FEWEST = 3  # failures for a distribution


@dataclass(frozen=True)
class Loads:
    """Critical loads of one coating, N: ``load`` where it failed, or the largest load where it
    did not (``censored``)."""

    name: str
    load: Floats
    censored: Bools

    def __post_init__(self) -> None:
        load = np.asarray(self.load, dtype=float)
        censored = np.asarray(self.censored, dtype=bool)
        if load.ndim != 1 or load.shape != censored.shape or not len(load):
            raise ScratchError(
                f"Loads and marks of {self.name or 'the replicates'} differ in number, or are none."
            )
        if not np.all(np.isfinite(load) & (load > 0)):
            raise ScratchError("A critical load is not a number above zero.")
        object.__setattr__(self, "load", load)
        object.__setattr__(self, "censored", censored)

    @property
    def failures(self) -> int:
        """Tracks that failed."""
        return int(np.sum(~self.censored))


@dataclass(frozen=True)
class Bounded:
    """A value with its interval; an end that the data do not bound is infinite or zero."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Fitted:
    """One family fitted to one coating.

    ``mu`` and ``sigma`` are location and scale of y. Weibull: ``scale`` exp(mu) in N (63.2 % have
    failed) and ``shape`` 1/sigma; normal: mean and standard deviation in N. ``median`` and
    ``tenth`` (the load at which one in ten has failed), N. ``aic`` is Akaike's criterion.
    """

    family: Family
    mu: float
    sigma: float
    loglik: float
    aic: float
    level: float
    scale: Bounded
    shape: Bounded
    median: Bounded
    tenth: Bounded


@dataclass(frozen=True)
class Replicates:
    """``fits`` by family (empty with too few failures), the better one by Akaike's criterion, and
    what is to be said. ``at_most`` bounds the share that fails below the largest load tried, where
    nothing failed."""

    loads: Loads
    fits: tuple[Fitted, ...]
    better: Family | None
    at_most: float | None
    level: float
    remarks: tuple[str, ...]

    def fit(self, family: Family) -> Fitted | None:
        """The fit of one family."""
        return next((f for f in self.fits if f.family == family), None)


def _log_density(z: Floats, family: Family) -> Floats:
    if family == "weibull":
        return np.asarray(z - np.exp(z))
    return np.asarray(-0.5 * z * z - 0.5 * np.log(2 * np.pi))


def _log_survival(z: Floats, family: Family) -> Floats:
    return np.asarray(-np.exp(z) if family == "weibull" else log_ndtr(-z))


def deviate(p: float, family: Family) -> float:
    """Standard deviate of a share p: ln(-ln(1 - p)), or the normal one."""
    return float(np.log(-np.log1p(-p)) if family == "weibull" else ndtri(p))


def _y(loads: Loads, family: Family) -> Floats:
    return np.log(loads.load) if family == "weibull" else loads.load


def logliks(loads: Loads, family: Family, mu: Floats, log_sigma: Floats) -> Floats:
    """Log-likelihood of the loads themselves (that of the logarithms less sum of ln L), for each
    pair of mu and ln sigma."""
    y = _y(loads, family)
    failed = ~loads.censored
    with np.errstate(over="ignore"):
        z = (y - mu[:, None]) / np.exp(log_sigma)[:, None]
    z = np.clip(z, -1e6, 500.0 if family == "weibull" else 1e6)
    out = _log_density(z[:, failed], family).sum(axis=1) - failed.sum() * log_sigma
    out = out + _log_survival(z[:, ~failed], family).sum(axis=1)
    if family == "weibull":
        out = out - y[failed].sum()
    return np.asarray(out)


def highest(of: Callable[[Floats], Floats], low: float, high: float) -> float:
    """Largest value of a function on an interval, by a grid that closes in on it four times (the
    profile may have a second, lower top) and a parabola through the last three points."""
    for _ in range(5):
        x = np.asarray(np.linspace(low, high, 25), dtype=np.float64)
        v = of(x)
        i = int(np.argmax(v))
        low, high = float(x[max(i - 1, 0)]), float(x[min(i + 1, 24)])
    if not 0 < i < 24:
        return float(v[i])
    left, middle, right = (float(q) for q in v[i - 1 : i + 2])
    bend = left - 2 * middle + right
    return middle - (right - left) ** 2 / (8 * bend) if bend < 0 else middle


def best(loads: Loads, family: Family) -> tuple[float, float, float]:
    """mu, ln sigma and the largest log-likelihood."""
    y = _y(loads, family)
    centre = float(np.median(y))
    spread = float(np.std(y)) or 0.05 * (abs(centre) or 1.0)

    def loss(v: Floats) -> float:
        mu, log_sigma = centre + spread * v[:1], np.log(spread) + v[1:]
        return -float(logliks(loads, family, mu, log_sigma)[0])

    start = np.array([0.3 * float(loads.censored.mean()), 0.0])
    found = minimize(loss, start, method="Nelder-Mead",
                     options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000})  # fmt: skip
    return (
        centre + spread * float(found.x[0]),
        float(np.log(spread) + found.x[1]),
        -float(found.fun),
    )


def drop(failures: int, level: float) -> float:
    """By how much the profile log-likelihood may fall within the interval."""
    r = max(failures, 2)
    t = float(stdtrit(r - 1, 0.5 + level / 2))
    return 0.5 * r * float(np.log1p(t * t / (r - 1)))


def profile(loads: Loads, family: Family, p: float, log_sigma: float) -> Callable[[float], float]:
    """Largest log-likelihood given y_p = mu + z_p sigma, as a function of y_p."""
    z = deviate(p, family)

    def of(y_p: float) -> float:
        return highest(
            lambda s: logliks(loads, family, y_p - z * np.exp(s), s), log_sigma - 3, log_sigma + 4
        )

    return of


def _sigma_profile(
    loads: Loads, family: Family, mu: float, sigma: float
) -> Callable[[float], float]:
    """Largest log-likelihood given ln sigma."""

    def of(s: float) -> float:
        width = max(float(np.exp(s)), sigma) * 4
        return highest(
            lambda m: logliks(loads, family, m, np.full(len(m), s)), mu - width, mu + width
        )

    return of


def ends(
    of: Callable[[float], float], centre: float, step: float, least: float, most: int = 40
) -> tuple[float, float]:
    """Where a profile falls below ``least`` on both sides of its top; infinite where never."""
    out = []
    for sign in (-1.0, 1.0):
        inner, outer, found = centre, centre + sign * step, False
        for _ in range(most):
            if of(outer) < least:
                found = True
                break
            inner, outer = outer, centre + 1.6 * (outer - centre)
        out.append(
            float(brentq(lambda v: of(v) - least, inner, outer, xtol=1e-9 * step))
            if found else sign * np.inf
        )  # fmt: skip
    return out[0], out[1]


def _fit(loads: Loads, family: Family, level: float) -> Fitted:
    mu, log_sigma, top = best(loads, family)
    sigma = float(np.exp(log_sigma))
    least = top - drop(loads.failures, level)
    step = sigma / float(np.sqrt(loads.failures))

    def load(y: float) -> float:
        return float(np.exp(y)) if family == "weibull" else float(y)

    def at(p: float) -> Bounded:
        y_p = mu + deviate(p, family) * sigma
        low, high = ends(profile(loads, family, p, log_sigma), y_p, step, least)
        return Bounded(load(y_p), load(low), load(high))

    low, high = ends(_sigma_profile(loads, family, mu, sigma), log_sigma, 0.2, least)
    wide = Bounded(sigma, float(np.exp(low)), float(np.exp(high)))
    if family == "weibull":
        shape = Bounded(1 / wide.value, 0.0 if np.isinf(wide.high) else 1 / wide.high,
                        np.inf if wide.low == 0 else 1 / wide.low)  # fmt: skip
        scale = at(-float(np.expm1(-1.0)))
    else:
        shape, scale = wide, at(0.5)
    return Fitted(family, mu, sigma, top, 4 - 2 * top, level, scale, shape, at(0.5), at(0.1))


def replicates(loads: Loads, *, level: float = 0.95) -> Replicates:
    """Distribution of a critical load over tracks of one coating.

    With fewer than three failures no distribution is fitted; what can be said without one is.
    """
    n, failures = len(loads.load), loads.failures
    remarks = []
    if failures < n:
        remarks.append(
            f"{n - failures} of {n} tracks did not fail up to their largest load; they count as "
            "censored there."
        )
    if failures == 0:
        share = float(1 - (1 - level) ** (1 / n))
        least = float(loads.load.min())
        remarks.append(
            f"No track failed: with {100 * level:g} % confidence at most {100 * share:.0f} % of "
            f"tracks fail below {least:.4g} N."
        )
        return Replicates(loads, (), None, share, level, tuple(remarks))
    if failures < FEWEST or np.ptp(loads.load[~loads.censored]) == 0:
        remarks.append(
            f"{failures} failures, of too few different loads, fit no distribution; three or more "
            "do."
        )
        return Replicates(loads, (), None, None, level, tuple(remarks))
    fits = tuple(_fit(loads, family, level) for family in FAMILIES)
    better = min(fits, key=lambda f: f.aic)
    gap = max(f.aic for f in fits) - better.aic
    if gap < 2:
        remarks.append("The two distributions fit about equally well (Akaike's criterion).")
    return Replicates(loads, fits, better.family, None, level, tuple(remarks))

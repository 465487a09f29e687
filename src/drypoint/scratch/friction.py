"""Friction along a track: apparent coefficient against load, its ploughing part and the rest.

    mu = F_l / F_n,      mu = mu_p + mu_rest

mu_p from the tip's shape (:mod:`.ploughing`); the rest is called adhesive where the two are taken
to add up [bowden1950]. The robust slope is that of F_l = F_0 + mu F_n, Huber's line, whose offset
takes up adhesion and a wrong lateral zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import DrypointError
from drypoint.scratch.bins import bins
from drypoint.scratch.level import Levelled
from drypoint.scratch.ploughing import ASSUMPTION, ploughing
from drypoint.scratch.track import Known
from drypoint.uncertainty.noise import robust_slope

Floats = NDArray[np.float64]

ADDITIVE = "Ploughing and adhesion add up; what is not ploughing is called the rest"
_NEAR = 4  # bins to each side that tell how much a bin scatters


@dataclass(frozen=True)
class FrictionOptions:
    """How friction is taken.

    Parameters
    ----------
    bins : int
        Stretches along the track.
    low, high : float, optional
        Loads (N) between which the slope is fitted; by default a twentieth of the largest load,
        and the largest.
    contact : {"load", "residual"}
        Which depth the contact reaches to: that under load (an upper bound of ploughing, elastic
        recovery left out) or the residual one (a lower bound).
    """

    bins: int = 100
    low: float | None = None
    high: float | None = None
    contact: Literal["load", "residual"] = "load"


@dataclass(frozen=True)
class Slope:
    """Robust slope ``mu`` and ``offset`` (N) between two loads (N). ``us_mu`` is the shared part
    of the uncertainty of mu, ``mu.u`` the whole."""

    mu: Known
    us_mu: float
    offset: Known
    low: float
    high: float


@dataclass(frozen=True)
class Friction:
    """Arrays of shape (bins,): position (m), load (N), coefficients. NaN where not known.

    ``ur_`` differs from bin to bin, ``us_`` is shared; ``u_plough`` is shared.
    """

    x: Floats
    load: Floats
    mu: Floats
    ur_mu: Floats
    us_mu: Floats
    plough: Floats
    u_plough: Floats
    slope: Slope | None
    assumptions: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def u_mu(self) -> Floats:
        """Combined standard uncertainty of the apparent coefficient."""
        return np.hypot(self.ur_mu, self.us_mu)

    @property
    def rest(self) -> Floats:
        """Apparent coefficient less ploughing."""
        return self.mu - self.plough

    @property
    def u_rest(self) -> Floats:
        """Combined standard uncertainty of :attr:`rest`."""
        return np.hypot(self.u_mu, self.u_plough)


def friction(levelled: Levelled, options: FrictionOptions | None = None) -> Friction:
    """Friction of a levelled track. Saturated and lifted samples are left out."""
    options = options or FrictionOptions()
    good = levelled.usable & ~levelled.saturated
    top = float(np.nanmax(levelled.x))
    grid = bins(np.where(good, levelled.x, np.nan), 0.0, top, min(options.bins, len(good) // 8))
    load, _, _ = grid.means(levelled.F_n)
    lateral, scale, number = grid.means(levelled.F_l)
    inputs = levelled.inputs
    sure = load > 5 * inputs.normal_zero.u + 1e-3 * _largest(load)
    N = np.where(sure, load, np.nan)
    mu = lateral / N
    white = scale / np.sqrt(np.maximum(number, 1)) / N
    ur = np.fmax(white, _scatter(mu))
    us = np.sqrt(
        (mu * _relative(inputs.lateral_scale)) ** 2
        + (mu * _relative(inputs.normal_scale)) ** 2
        + (inputs.lateral_scale.value * levelled.lateral_zero.u / N) ** 2
        + (mu * inputs.normal_zero.u / N) ** 2
        + inputs.crosstalk.u**2
        + _tilt(levelled) ** 2
    )
    remarks: list[str] = []
    plough, u_plough, assumptions = _ploughing(levelled, options, grid.means, remarks)
    slope = _slope(load, lateral, us, options, levelled)
    if slope is None and np.isfinite(mu).any():
        remarks.append("The load does not vary enough for a slope of lateral force against it.")
    return Friction(
        grid.centre, load, mu, ur, us, plough, u_plough, slope, assumptions, tuple(remarks)
    )


def _relative(known: Known) -> float:
    return known.u / abs(known.value)


def _tilt(levelled: Levelled) -> float:
    """A slope of the specimen puts part of the normal force into the lateral one; whether the
    slope found is the specimen's or the stage's is not known: rectangular, half-width |slope|."""
    if levelled.line is None:
        return 0.0
    return abs(levelled.line.slope.value) / float(np.sqrt(3))


def _scatter(mu: Floats) -> Floats:
    """Standard deviation of a bin, from how neighbours differ (slow changes fall out)."""
    n = len(mu)
    out = np.full(n, np.nan)
    step = np.diff(mu)
    for i in range(n):
        near = step[max(0, i - _NEAR) : i + _NEAR]
        near = near[np.isfinite(near)]
        if len(near) >= 3:
            out[i] = float(np.sqrt(np.mean(near**2) / 2))
    return out


def _ploughing(
    levelled: Levelled, options: FrictionOptions, means: object, remarks: list[str]
) -> tuple[Floats, Floats, tuple[str, ...]]:
    mean = means  # the bins' own function
    assert callable(mean)
    h = levelled.h_load if options.contact == "load" else levelled.h_residual
    depth = mean(h)[0]
    unknown = np.full(len(depth), np.nan)
    if levelled.tip is None:
        remarks.append("The tip is not known: friction is not split.")
        return unknown, unknown, ()
    if not np.isfinite(depth).any():
        remarks.append("There is no depth: friction is not split.")
        return unknown, unknown, ()
    us_h = levelled.us_h_load if options.contact == "load" else levelled.us_h_residual
    try:
        value, u = ploughing(levelled.tip, depth, mean(us_h)[0])
    except DrypointError as error:
        remarks.append(str(error))
        return unknown, unknown, ()
    which = "the depth under load" if options.contact == "load" else "the residual depth"
    said = [ASSUMPTION, f"Contact reaches to {which}", ADDITIVE]
    if levelled.tip.geometry.sides:
        said.append(
            "The pyramid counts as the cone with its area function; face or edge forward is not "
            "told apart"
        )
    return value, u, tuple(said)


def _largest(load: Floats) -> float:
    """Largest known load; NaN where none is, for example with the lateral force at its limit."""
    known = load[np.isfinite(load)]
    return float(known.max()) if len(known) else float("nan")


def _slope(
    load: Floats, lateral: Floats, us_mu: Floats, options: FrictionOptions, levelled: Levelled
) -> Slope | None:
    top = _largest(load)
    low = 0.05 * top if options.low is None else options.low
    high = top if options.high is None else options.high
    used = (load >= low) & (load <= high) & np.isfinite(lateral)
    if used.sum() < 8 or np.ptp(load[used]) < 0.1 * top:
        return None
    N, L = load[used], lateral[used]
    middle = float(np.mean(N))
    mu, at_middle, u = robust_slope(N - middle, L)
    if not (np.isfinite(mu) and np.isfinite(u)):
        return None
    inputs = levelled.inputs
    shared = float(
        np.sqrt(
            (mu * _relative(inputs.lateral_scale)) ** 2
            + (mu * _relative(inputs.normal_scale)) ** 2
            + inputs.crosstalk.u**2
            + _tilt(levelled) ** 2
        )
    )
    u_offset = u * float(np.hypot(np.std(N), middle))
    u_offset = float(np.hypot(u_offset, inputs.lateral_scale.value * levelled.lateral_zero.u))
    return Slope(
        Known(mu, float(np.hypot(u, shared))), shared, Known(at_middle - mu * middle, u_offset),
        low, high,
    )  # fmt: skip

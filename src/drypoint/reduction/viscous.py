"""Creep at the start of unloading: what it adds to the slope there.

A viscous specimen goes on sinking in while it is unloaded, so that the curve comes back too steeply
and S_u, its slope, is too large. At the change from hold to unloading the rates of all viscous
parts are what they were, only the elastic part answers to the change of the force's rate:

    1/S = 1/S_u + h'_h / |F'_u|                                                     [feng2002]

with h'_h the rate of depth at the end of a hold at constant force (more depth is more) and F'_u the
rate of force at the start of unloading. h'_h is the slope, at its end, of a parabola through the
last half of the hold: a law of creep over the whole hold, such as the t^(1/3) of [feng2002], is
quieter, and wrong by half where creep dies away otherwise. Drift is a part of both h'_h and the
slope as recorded, so that an error of its rate falls out of S.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.derive import LOCAL
from drypoint.reduction.local import Locals
from drypoint.reduction.result import Quantity
from drypoint.uncertainty.noise import fit_covariances

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: The rate of force is that from F_max down to this share of it: the start of unloading.
DOWN_TO = 0.8
#: Fewest samples of a hold whose course can be fitted.
FEWEST = 12
#: A force that changes by more than this share in the hold is not constant.
CONSTANT = 0.02


@dataclass(frozen=True)
class Viscous:
    """One row per unloading, shape (n,): the compliance h'_h / |F'_u| (m/N) with its standard
    uncertainty (without drift's), and 1 / |F'_u| (s/N). NaN without time or without a hold at
    constant force."""

    compliance: Floats
    u: Floats
    per_rate: Floats


@njit(cache=True)
def _start_rates(
    force: Floats, time: Floats, start: Ints, stop: Ints, f_max: Floats, share: float
) -> Floats:
    """Slope of force against time (N/s) from the start of each unloading down to ``share``."""
    out = np.full(len(start), np.nan)
    for c in range(len(start)):
        n = 0
        t0 = time[start[c]]
        st = sf = stt = stf = 0.0
        for i in range(start[c], stop[c]):
            if force[i] < share * f_max[c] and n >= 3:
                break
            t = time[i] - t0
            f = force[i] - f_max[c]
            st += t
            sf += f
            stt += t * t
            stf += t * f
            n += 1
        det = n * stt - st * st
        if n >= 3 and det > 0.0:
            out[c] = (n * stf - st * sf) / det
    return out


def _end_rates(corrected: Corrected, readings: Cycles, rows: Ints) -> tuple[Floats, Floats]:
    """Rate of depth at the end of the hold of each row (m/s) and its standard uncertainty.

    With v = t/T from -1 at the middle of the hold to 0: h = a + b v + c v^2, rate b/T.
    """
    stop = readings.start[rows] + 1
    first = (readings.hold_start[rows] + stop) // 2
    count = stop - first
    offsets = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    at = np.arange(offsets[-1]) + np.repeat(first - offsets[:-1], count)
    T = corrected.time[stop - 1] - corrected.time[first]
    T = np.where(T > 0, T, np.nan)
    v = (corrected.time[at] - np.repeat(corrected.time[stop - 1], count)) / np.repeat(T, count)
    jac = np.stack([np.ones_like(v), v, v * v], axis=1)
    h = corrected.depth[at] - np.repeat(corrected.depth[stop - 1], count)
    products = jac[:, :, None] * np.concatenate([jac, h[:, None]], axis=1)[:, None, :]
    normal = np.add.reduceat(products, offsets[:-1], axis=0)
    # Repeated times leave nothing to fit; evenly spaced ones give N^3 / 2160.
    sound = np.linalg.det(normal[:, :, :3]) > 1e-8 * count.astype(np.float64) ** 3
    left = np.where(sound[:, None, None], normal[:, :, :3], np.eye(3))
    fit = np.where(sound[:, None], np.linalg.solve(left, normal[:, :, 3:])[:, :, 0], np.nan)
    resid = h - np.einsum("ij,ij->i", jac, np.repeat(fit, count, axis=0))
    test = readings.test[rows]
    quiet = corrected.quiet_depth.of(test)
    cov = fit_covariances(jac, resid, offsets, quiet)
    return fit[:, 1] / T, np.sqrt(np.maximum(cov[:, 1, 1], 0.0)) / T


def find_viscous(corrected: Corrected, readings: Cycles) -> Viscous:
    """The compliance that creep seems to take away, for every unloading."""
    force_rate = _start_rates(
        corrected.force, corrected.time, readings.start, readings.stop, readings.F_max, DOWN_TO
    )
    nan = np.full(len(readings.test), np.nan)
    out = Viscous(nan.copy(), nan.copy(), nan.copy())
    with np.errstate(invalid="ignore"):
        steady = np.abs(readings.F_1 / readings.F_max - 1.0) <= CONSTANT
        rows = np.flatnonzero(
            steady & (force_rate < 0.0) & (readings.t_hold > 0.0)
            & (readings.start - readings.hold_start >= FEWEST)
        )  # fmt: skip
    if len(rows):
        rate, u = _end_rates(corrected, readings, rows)
        known = np.isfinite(rate) & np.isfinite(u)
        rows = rows[known]
        out.per_rate[rows] = -1.0 / force_rate[rows]
        out.compliance[rows] = rate[known] * out.per_rate[rows]
        out.u[rows] = u[known] * out.per_rate[rows]
    return out


def with_viscous(local: Locals, viscous: Viscous) -> Locals:
    """The local inputs with 1/S corrected where the compliance of creep is known."""
    known = np.isfinite(viscous.compliance)
    C_t = local.values["C_t"] + np.where(known, viscous.compliance, 0.0)
    reading = local.parts["reading"].copy()
    j = LOCAL.index("C_t")
    reading[:, j, j] += np.where(known, viscous.u, 0.0) ** 2
    return replace(
        local,
        values={**local.values, "C_t": C_t},
        parts={**local.parts, "reading": reading},
    )


def share_of(viscous: Viscous, C_u: Floats, u_C: Floats, inputs: int) -> Quantity:
    """Share by which creep makes S too large, in percent of S: 100 S_u h'_h / |F'_u|.

    ``C_u`` and ``u_C`` are 1/S as fitted and its standard uncertainty, shape (n,); ``inputs`` is
    the number of systematic inputs (scales fall out of a ratio, the rest is second order).
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        share = 100.0 * viscous.compliance / C_u
        u = np.abs(100.0 / C_u) * np.hypot(viscous.u, viscous.compliance * u_C / C_u)
    return Quantity("viscous_share", "", share, u, np.zeros((len(share), inputs)), {"reading": u})

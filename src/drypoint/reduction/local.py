"""Local inputs of each unloading, with their covariance split by source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.derive import LOCAL
from drypoint.reduction.unloading import Unloading

Floats = NDArray[np.float64]
_AT = {name: i for i, name in enumerate(LOCAL)}


@dataclass(frozen=True)
class Locals:
    """Values by name, shape (n,), and covariance by source, shape (n, k, k) in the order LOCAL.

    Sources: ``fit``, ``reading``, ``zero``, ``drift``, ``measured area``. ``h_p_read`` marks the
    rows whose residual depth was read from the record rather than taken from the fit.
    """

    values: Mapping[str, Floats]
    parts: Mapping[str, Floats]
    h_p_read: NDArray[np.bool_]


def local_inputs(
    corrected: Corrected,
    readings: Cycles,
    fits: Unloading,
    area: Floats,
    depth_at_F_max: str,
) -> Locals:
    """Gather the local inputs of every row.

    Parameters
    ----------
    area : array, shape (n, 2)
        Area measured on the impression and its standard uncertainty (m^2), NaN where none.
    depth_at_F_max : str
        ``"record"``: h_max as read, S on the fitted curve at that depth. ``"fit"``: h_max and S
        on the fitted curve at F_max.

    Returns
    -------
    Locals
    """
    n, k = len(readings.test), len(LOCAL)
    A, L, m = fits.A, fits.L, fits.m
    F = readings.F_max
    fit = np.zeros((n, k, k))
    with np.errstate(all="ignore"):
        if depth_at_F_max == "fit":
            r = (F / A) ** (1.0 / m)
            h_max = fits.h_ref + L * (r - 1.0)
            C_t = L * r / (m * F)
            lg = np.log(F / A)
            jac_h = np.stack([-L * r / (m * A), r - 1.0, -L * r * lg / m**2], axis=1)
            jac_c = np.stack([-C_t / (m * A), C_t / L, -C_t / m - C_t * lg / m**2], axis=1)
        else:
            h_max = readings.h_max
            C_t = L / (m * A)
            jac_h = np.zeros((n, 3))
            jac_c = np.stack([-C_t / A, C_t / L, -C_t / m], axis=1)
        h_f = fits.h_ref - L
        read = (readings.F_last < 0.02 * F) & np.isfinite(h_f)
        low = np.clip(readings.F_last, 0.0, None)
        h_p = np.where(read, readings.h_last - L * (low / A) ** (1.0 / m), h_f)
        rest = A * L / (m + 1.0) * (np.clip(readings.F_last, 0.0, None) / A) ** ((m + 1.0) / m)
        W_elast = readings.W_back + rest
    jac_p = np.where(read[:, None], 0.0, np.array([0.0, -1.0, 0.0]))
    jac_m = np.tile([0.0, 0.0, 1.0], (n, 1))
    to_local = np.zeros((n, k, 3))
    to_local[:, _AT["h_max"]] = jac_h
    to_local[:, _AT["C_t"]] = jac_c
    to_local[:, _AT["h_p"]] = jac_p
    to_local[:, _AT["m"]] = jac_m
    cov = np.where(np.isfinite(fits.cov), fits.cov, 0.0)
    safe = np.where(np.isfinite(to_local), to_local, 0.0)
    fit = np.einsum("nia,nab,njb->nij", safe, cov, safe)
    slope = _AT["slope_sqrt"]
    fit[:, slope, slope] = np.nan_to_num(readings.u_slope_sqrt) ** 2

    reading = np.zeros((n, k, k))
    t = readings.test
    sf, sh = corrected.zero.noise_force[t], corrected.zero.noise_depth[t]
    reading[:, _AT["F_max"], _AT["F_max"]] = readings.u_F_max**2
    if depth_at_F_max == "record":
        # A wrong h_max also moves the point at which S is taken: dC_t/dh = -(m - 1)/m / A.
        with np.errstate(all="ignore"):
            dc = np.nan_to_num(-(m - 1.0) / (m * A))
        i, j = _AT["h_max"], _AT["C_t"]
        reading[:, i, i] = readings.u_h_max**2
        reading[:, i, j] = reading[:, j, i] = dc * readings.u_h_max**2
        reading[:, j, j] = dc**2 * readings.u_h_max**2
    reading[:, _AT["h_p"], _AT["h_p"]] = np.where(read, sh**2, 0.0)
    reading[:, _AT["h_1"], _AT["h_1"]] = sh**2 / 3.0
    reading[:, _AT["F_1"], _AT["F_1"]] = sf**2 / 3.0
    # Work is a sum over many readings: its noise is that of the two ends (trapezoids telescope)
    # and an average over what lies between.
    between = sh**2 / np.maximum(readings.stop - readings.start, 1)
    turn = F**2 * (readings.u_h_max**2 + between)
    reading[:, _AT["W_total"], _AT["W_total"]] = turn
    reading[:, _AT["W_elast"], _AT["W_elast"]] = turn + (readings.F_last * sh) ** 2

    zero = np.zeros((n, k, k))
    zero[:, _AT["zero"], _AT["zero"]] = corrected.zero.u_depth[t] ** 2
    drift = np.zeros((n, k, k))
    drift[:, _AT["drift"], _AT["drift"]] = corrected.drift.u_rate[t] ** 2
    measured = np.zeros((n, k, k))
    measured[:, _AT["A_seen"], _AT["A_seen"]] = np.nan_to_num(area[:, 1]) ** 2
    values = {
        "F_max": F, "h_max": h_max, "C_t": C_t, "m": m, "h_p": h_p,
        "zero": np.zeros(n), "drift": np.zeros(n),
        "A_seen": np.where(np.isfinite(area[:, 0]), area[:, 0], 1.0),
        "slope_sqrt": readings.slope_sqrt, "h_1": readings.h_1, "W_total": readings.W_total,
        "W_elast": W_elast, "F_1": readings.F_1,
    }  # fmt: skip
    parts = {
        "fit": fit, "reading": reading, "zero": _finite(zero), "drift": drift,
        "measured area": measured,
    }  # fmt: skip
    return Locals(values, parts, read)


def _finite(cov: Floats) -> Floats:
    return np.where(np.isfinite(cov), cov, 0.0)

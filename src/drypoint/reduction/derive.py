"""The property algebra: what follows from a fitted unloading and the systematic inputs.

One pure function, :func:`derive`, holds all formulas. It accepts complex numbers, so that its
derivatives with respect to every input come from the complex step, exact to rounding
(Squire and Trapp 1998). Local inputs belong to one row; systematic inputs (``theta``) are shared.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.contact import unloading as un
from drypoint.contact.vickers import vickers_estimate
from drypoint.reduction.options import AnalysisOptions
from drypoint.reduction.rule import SCALE
from drypoint.tips import area as areas
from drypoint.tips.radius import end_radius
from drypoint.tips.tip import Tip

Array = NDArray[Any]

#: Local inputs of a row, in the order of their covariance. ``zero`` (m) and ``drift`` (m/s) are
#: errors of the corrections, 0 at their best values; ``C_t`` = 1/S, ``A_seen`` is the area that
#: was measured on the impression; ``slope_sqrt`` is dh/d(sqrt F) of loading.
LOCAL = (
    "F_max", "h_max", "C_t", "m", "h_p",
    "zero", "drift", "A_seen", "slope_sqrt", "h_1", "W_total", "W_elast", "F_1",
)  # fmt: skip

#: Symbol -> SI unit of every property that :func:`derive` returns.
UNITS: dict[str, str] = {
    "F_max": "N", "h_max": "m", "h_c": "m", "h_r": "m", "h_p": "m", "S": "N/m", "m": "",
    "epsilon": "", "A_p": "m^2", "E_r": "Pa", "E_IT": "Pa", "E_IT_star": "Pa", "H_IT": "Pa",
    "HM": "Pa", "HM_s": "Pa", "HV_conv": "", "C_IT": "", "R_IT": "", "W_total": "J",
    "W_elast": "J", "eta_IT": "", "F_over_S2": "1/Pa",
}  # fmt: skip


@dataclass(frozen=True)
class Context:
    """What the algebra needs besides numbers that carry uncertainty.

    ``nu_names`` gives for each row the input that holds its specimen's Poisson's ratio; ``t_max``,
    ``t_p`` (s after first contact), ``force_rate`` (N/s) weigh the drift; ``moment_total`` and
    ``moment_back`` (N s) weigh it in the works, ``t_slope_sqrt`` (s N^(-1/2)) in HM_s;
    ``m_per_C`` and ``C_per_C`` say how the unloading fit answers to a compliance; ``seen`` marks
    rows with a measured area; ``creep_per_rate`` (s/N) is 1 over the rate of unloading where the
    creep at its start was taken out of S, else 0; ``zero_per_exponent`` (m) is how far each zero
    moves with the exponent of the contact law; ``zero_laws`` are the inputs of the specimens' own
    laws, ``zero_law_of_row`` which one is a row's, ``zero_per_law`` (m) how far its zero moves with
    it, and ``zero_per_radius`` (m/m) with the tip's radius, which was ``zero_radius`` (m).
    """

    tip: Tip
    analysis: AnalysisOptions
    C_f: float
    force_scale: float
    depth_scale: float
    nu_names: tuple[str, ...]
    nu_of_row: NDArray[np.int64]
    t_max: NDArray[np.float64]
    t_p: NDArray[np.float64]
    t_1: NDArray[np.float64]
    force_rate: NDArray[np.float64]
    moment_total: NDArray[np.float64]
    moment_back: NDArray[np.float64]
    t_slope_sqrt: NDArray[np.float64]
    m_per_C: NDArray[np.float64]
    C_per_C: NDArray[np.float64]
    creep_per_rate: NDArray[np.float64]
    seen: NDArray[np.bool_]
    half_angle: float
    zero_exponent: float
    zero_per_exponent: NDArray[np.float64]
    zero_laws: tuple[str, ...] = ()
    zero_law_of_row: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    zero_per_law: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    zero_per_radius: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    zero_radius: float = 0.0

    def zero_moved(self, theta: Mapping[str, Any]) -> Array:
        """How far the zeros move with the inputs that they share, m."""
        moved: Any = self.zero_per_exponent * (theta["zero.exponent"] - self.zero_exponent)
        for j, name in enumerate(self.zero_laws):
            moved = (
                moved + np.where(self.zero_law_of_row == j, self.zero_per_law, 0.0) * theta[name]
            )
        if self.zero_laws and np.any(self.zero_per_radius != 0.0):
            R = end_radius(self.tip, theta)
            assert R is not None
            moved = moved + self.zero_per_radius * (R - self.zero_radius)
        return np.asarray(moved)


def derive(local: Mapping[str, Array], theta: Mapping[str, Any], ctx: Context) -> dict[str, Array]:
    """Every property of every row.

    Parameters
    ----------
    local : mapping
        Arrays of shape (n,) (or (trials, n)) for the names in :data:`LOCAL`, SI, as found with the
        nominal scales and compliance of ``ctx``.
    theta : mapping
        Systematic inputs by name; scalars, or arrays that broadcast against the rows.
    ctx : Context

    Returns
    -------
    dict
        Symbols of :data:`UNITS` -> arrays, SI (C_IT, R_IT, eta_IT in percent).
    """
    a = ctx.analysis
    f = theta["force_scale"] / ctx.force_scale
    d = theta["depth_scale"] / ctx.depth_scale
    c_new, c_old = theta["frame.C_f"], ctx.C_f
    zero, drift = local["zero"] + ctx.zero_moved(theta), local["drift"]

    # Scales and compliance act on the whole record: h' = d (h + C_f F) - C_f' f F.
    def moved(h: Array, force: Array, t: Array) -> Array:
        return d * (h + c_old * force) - c_new * f * force - zero - drift * t

    F = f * local["F_max"]
    h_max = moved(local["h_max"], local["F_max"], ctx.t_max)
    with np.errstate(divide="ignore", invalid="ignore"):
        per_rate = np.where(np.isfinite(ctx.force_rate), 1.0 / ctx.force_rate, 0.0)
    # To an unloading at a constant rate a drift is one more compliance. The fit answers to it with
    # another slope and another exponent. Where creep is taken out, drift goes with it.
    more = c_new * f / d - c_old - drift * per_rate / d
    C_t = d / f * (local["C_t"] + ctx.C_per_C * more) - drift * ctx.creep_per_rate / f
    S = 1.0 / C_t
    m = local["m"] + ctx.m_per_C * more
    # An exponent below 1 has no epsilon; it is flagged, and taken as the flat punch's.
    eps = (
        un.epsilon(np.where(m.real < 1, 1.0, m))
        if a.epsilon is None
        else theta["epsilon"] + 0.0 * m
    )
    h_p = d * local["h_p"] - zero - drift * ctx.t_p

    h_c = h_max - eps * F * C_t
    h_r = h_max - F * C_t
    A_fun = areas.area(ctx.tip, theta, h_c) * theta.get(SCALE, 1.0)
    A_fun = np.where(A_fun.real > 0, A_fun, np.nan)  # a series outside its range
    A_p = np.where(ctx.seen, local["A_seen"] + 0.0 * h_c, A_fun)
    nu = 0.0 * h_c
    for j, name in enumerate(ctx.nu_names):
        nu = np.where(ctx.nu_of_row == j, theta[name] + 0.0 * h_c, nu)
    beta: Any = theta["beta"]
    if a.radial_correction:
        beta = beta * un.radial_factor(nu, ctx.half_angle)
    E_r = un.reduced_modulus(S, A_p, beta)
    E_IT = un.indentation_modulus(E_r, nu, theta["tip.E_i"], theta["tip.nu_i"])
    H = F / A_p
    A_s = areas.surface_area(ctx.tip, theta, h_max) * theta.get(SCALE, 1.0)

    root = np.sqrt(f)
    middle = 0.5 * (np.sqrt(a.hms_window[0]) + np.sqrt(a.hms_window[1]))
    slope = (d * local["slope_sqrt"] - drift * ctx.t_slope_sqrt) / root + 2.0 * (
        d * c_old / f - c_new
    ) * middle * np.sqrt(F)
    h_1 = moved(local["h_1"], local["F_1"], ctx.t_1)
    W_t = f * d * local["W_total"] + (d * c_old / f - c_new) * F * F / 2.0
    W_t = W_t - drift * f * ctx.moment_total
    W_e = f * d * local["W_elast"] + (d * c_old / f - c_new) * F * F / 2.0
    W_e = W_e + drift * f * ctx.moment_back
    return {
        "F_max": F + 0.0 * h_c,
        "h_max": h_max,
        "h_c": h_c,
        "h_r": h_r,
        "h_p": h_p,
        "S": S,
        "m": m + 0.0 * h_c,
        "epsilon": eps + 0.0 * h_c,
        "A_p": A_p,
        "E_r": E_r,
        "E_IT": E_IT,
        "E_IT_star": E_IT / (1.0 - nu * nu),
        "H_IT": H,
        "HM": F / A_s,
        "HM_s": h_max * h_max / (slope * slope * A_s),
        "HV_conv": vickers_estimate(H),
        "C_IT": 100.0 * (h_max - h_1) / h_1,
        "R_IT": 100.0 * (f * local["F_1"] - F) / (f * local["F_1"]) + 0.0 * h_c,
        "W_total": W_t,
        "W_elast": W_e,
        "eta_IT": 100.0 * W_e / W_t,
        "F_over_S2": F / (S * S),
    }


def jacobians(
    local: Mapping[str, Array], theta: Mapping[str, float], ctx: Context
) -> tuple[dict[str, Array], dict[str, Array], dict[str, Array]]:
    """Values of :func:`derive` with derivatives by the complex step.

    Returns
    -------
    values : dict
        Symbol -> (n,).
    by_local : dict
        Symbol -> (n, len(LOCAL)).
    by_theta : dict
        Symbol -> (n, k) in the order of ``theta``.
    """
    n = len(local["F_max"])
    values = derive(local, theta, ctx)
    by_local: dict[str, Array] = {s: np.zeros((n, len(LOCAL))) for s in values}
    by_theta: dict[str, Array] = {s: np.zeros((n, len(theta))) for s in values}
    with np.errstate(all="ignore"):
        for j, name in enumerate(LOCAL):
            size = _step(local[name])
            shifted = {k: np.asarray(v, dtype=complex) for k, v in local.items()}
            shifted[name] = shifted[name] + 1j * size
            out = derive(shifted, theta, ctx)
            for s, v in out.items():
                by_local[s][:, j] = np.imag(v) / size
        for j, (name, value) in enumerate(theta.items()):
            size = _step(np.asarray(value))
            # Kept complex throughout, so that every formula takes the complex branch.
            moved = {k: complex(v) for k, v in theta.items()}
            moved[name] += 1j * float(size)
            out = derive({k: np.asarray(v, dtype=complex) for k, v in local.items()}, moved, ctx)
            for s, v in out.items():
                by_theta[s][:, j] = np.imag(v) / float(size)
    return values, by_local, by_theta


def _step(value: Array) -> Array:
    """Complex steps far below rounding of each value itself (1e-30 of its size)."""
    size = np.abs(np.where(np.isfinite(value), value, 0.0))
    return np.asarray(1e-30 * np.where(size > 0, size, 1.0))

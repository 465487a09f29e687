"""Hardness and modulus along loading, from the stiffness that a small oscillation shows.

For each window of depth the means of force, depth and in-phase stiffness become one row. What
belongs to the oscillation stands here; all that follows from force, depth and contact compliance is
the same algebra as for an unloading (:func:`drypoint.reduction.derive.derive`), with the same
inputs and their one joint distribution.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.oscillation import (
    compliance_at_the_peak,
    contact_damping,
    stiffness_in_frame,
)
from drypoint.records.batch import Batch
from drypoint.records.segments import Segments
from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.derive import Context, derive
from drypoint.reduction.dynamic_limits import withhold
from drypoint.reduction.dynamic_windows import Windows, find_windows, signals_of
from drypoint.reduction.options import Options
from drypoint.reduction.result import Quantity, Reduction
from drypoint.reduction.unloading import Unloading
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint

Array = NDArray[Any]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Symbol -> SI unit of what each window gives. ``F`` and ``h`` as quoted (top or middle of the
#: swing), ``D_c`` damping of the contact, ``loss_factor`` w D_c / S.
UNITS: dict[str, str] = {
    "F": "N", "h": "m", "h_c": "m", "S": "N/m", "A_p": "m^2", "E_r": "Pa", "E_IT": "Pa",
    "H_IT": "Pa", "F_over_S2": "1/Pa", "D_c": "N s/m", "loss_factor": "",
}  # fmt: skip

#: Local inputs of a window. ``zero`` (m) and ``drift`` (m/s) are errors, 0 at their best values.
LOCAL = ("F", "h", "in_phase", "out_of_phase", "m", "zero", "drift")
#: Exponent where none is needed (epsilon fixed, means quoted): it moves nothing.
PARABOLOID = 1.5
#: Source within the test -> the local inputs that it moves.
SOURCES = {
    "reading": ("F", "h", "in_phase", "out_of_phase"),
    "exponent": ("m",),
    "zero": ("zero",),
    "drift": ("drift",),
}


@dataclass(frozen=True)
class Dynamic:
    """What records with an oscillation gave: ``rows`` has one row a window, shape (n,).

    ``number`` counts the windows of one loading from 1; ``samples`` were used, ``first`` and
    ``last`` bound them in the batch; ``frequency`` in Hz; ``swing`` is the swing of the contact
    force as a share of the force.
    """

    rows: Reduction
    number: Ints
    samples: Ints
    first: Ints
    last: Ints
    frequency: Floats
    swing: Floats


@dataclass(frozen=True)
class _Swinging:
    """What the algebra needs besides numbers that carry uncertainty."""

    static: Context
    swing: Floats
    frequency: Floats
    by_amplitude: NDArray[np.bool_]


def reduce_dynamic(
    batch: Batch,
    bench: Bench,
    options: Options,
    corrected: Corrected,
    segments: Segments,
    readings: Cycles,
    fits: Unloading,
    ctx: Context,
    inputs: Joint,
    rows: Ints,
) -> Dynamic | None:
    """Windows along loading of every test that oscillates; ``None`` where no test does.

    Parameters
    ----------
    ctx : Context
        Of the rows of ``readings``.
    rows : array of int
        Rows of ``readings`` whose loadings are wanted.

    Returns
    -------
    Dynamic or None
        Rows in the order of tests, cycles and depth. Exponents (for epsilon and the chord of the
        swing) are those of the unloading that follows.
    """
    scales = corrected.force_scale, corrected.depth_scale
    signals = signals_of(batch, options.dynamic, scales, bench.frame.support_spring is not None)
    if signals is None:
        return None
    windows = find_windows(batch, signals, corrected, segments, readings, rows, options.dynamic)
    of = windows.row
    test = readings.test[of]
    needs_m = options.analysis.epsilon is None or options.dynamic.quoted_at == "peak"
    m = fits.m[of] if needs_m else np.full(len(of), PARABOLOID)
    local = {
        "F": windows.F, "h": windows.h, "in_phase": _with_frame(windows, corrected, options),
        "out_of_phase": windows.out_of_phase, "m": m,
        "zero": np.zeros(len(of)), "drift": np.zeros(len(of)),
    }  # fmt: skip
    u = {
        "F": windows.u_F, "h": windows.u_h, "in_phase": _u_with_frame(windows, local),
        "out_of_phase": windows.u_out_of_phase, "m": np.sqrt(fits.cov[of, 2, 2]) * needs_m,
        "zero": corrected.zero.u_depth[test], "drift": corrected.drift.u_rate[test],
    }  # fmt: skip
    known = np.isfinite(windows.swing) & (options.dynamic.quoted_at == "peak")
    swinging = _Swinging(
        _context(ctx, windows, corrected, batch, test),
        np.where(known, windows.swing, 0.0),
        np.where(windows.frequency > 0, windows.frequency, 1.0),
        windows.by_amplitude,
    )
    theta = inputs.as_dict()
    values, by_local, by_theta = _jacobians(local, theta, swinging)
    if "frame.D_i" not in theta:
        for s in ("D_c", "loss_factor"):
            values[s] = np.full(len(of), np.nan)
    quantities = {s: _quantity(s, values, by_local, by_theta, u) for s in UNITS}
    found = Reduction(test, readings.cycle[of], quantities, inputs, ((),) * len(of))
    share = _swing_share(windows, local, theta)
    return Dynamic(
        withhold(found, share, m, windows, corrected.zero, bench, options),
        windows.number, windows.samples, windows.first, windows.last,
        np.where(windows.frequency > 0, windows.frequency, np.nan), share,
    )  # fmt: skip


def properties(
    local: Mapping[str, Array], theta: Mapping[str, Any], c: _Swinging
) -> dict[str, Array]:
    """Every property of every window: :data:`UNITS` -> arrays, SI."""
    f = theta["force_scale"] / c.static.force_scale
    d = theta["depth_scale"] / c.static.depth_scale
    w = 2 * np.pi * c.frequency
    springs = np.where(c.by_amplitude, 1.0, 0.0)
    K = stiffness_in_frame(
        f / d * local["in_phase"], c.frequency,
        springs * theta.get("frame.K_s", 0.0), springs * theta.get("frame.mass", 0.0),
    )  # fmt: skip
    F = f * local["F"]
    F_swing = K * d * c.swing
    C_mean = 1.0 / K - theta["frame.C_f"]
    C_t = compliance_at_the_peak(C_mean, F + F_swing, F_swing, local["m"])
    C_t = np.where(c.swing > 0, C_t, C_mean)
    top = local["F"] + F_swing / f
    # As the instrument would have written the top of the swing, less the nominal compliance.
    h_top = local["h"] + c.swing - c.static.C_f * F_swing / f
    nothing = 0.0 * top
    out = derive(
        {
            "F_max": top, "h_max": h_top, "C_t": C_t * f / d, "m": local["m"] + nothing,
            "h_p": nothing, "zero": local["zero"], "drift": local["drift"],
            "A_seen": 1.0 + nothing, "slope_sqrt": 1.0 + nothing, "h_1": h_top,
            "W_total": 1.0 + nothing, "W_elast": nothing, "F_1": top,
        },
        theta, c.static,
    )  # fmt: skip
    D_c = contact_damping(f / d * local["out_of_phase"], c.frequency, theta.get("frame.D_i", 0.0))
    names = {"F": "F_max", "h": "h_max"}
    kept = {s: out[names.get(s, s)] for s in UNITS if s not in ("D_c", "loss_factor")}
    return {**kept, "D_c": D_c, "loss_factor": w * D_c / out["S"]}


def _jacobians(
    local: Mapping[str, Floats], theta: Mapping[str, float], c: _Swinging
) -> tuple[dict[str, Array], dict[str, Array], dict[str, Array]]:
    """Values of :func:`properties` and derivatives by the complex step [squire1998]."""
    n = len(local["F"])
    by_local: dict[str, Array] = {s: np.zeros((n, len(LOCAL))) for s in UNITS}
    by_theta: dict[str, Array] = {s: np.zeros((n, len(theta))) for s in UNITS}
    step = 1e-30
    with np.errstate(all="ignore"):
        values = {s: np.real(v) for s, v in properties(local, theta, c).items()}
        whole = {k: np.asarray(v, dtype=complex) for k, v in local.items()}
        for j, name in enumerate(LOCAL):
            known = np.isfinite(local[name]) & (local[name] != 0.0)
            size = step * np.where(known, np.abs(local[name]), 1.0)
            moved = {**whole, name: whole[name] + 1j * size}
            for s, v in properties(moved, theta, c).items():
                by_local[s][:, j] = np.imag(v) / size
        for j, (name, value) in enumerate(theta.items()):
            one = step * (abs(value) or 1.0)
            shifted: dict[str, Any] = {k: complex(v) for k, v in theta.items()}
            shifted[name] += 1j * one
            for s, v in properties(whole, shifted, c).items():
                by_theta[s][:, j] = np.imag(v) / one
    return values, by_local, by_theta


def _quantity(
    s: str,
    values: Mapping[str, Array],
    by_local: Mapping[str, Array],
    by_theta: Mapping[str, Array],
    u: Mapping[str, Floats],
) -> Quantity:
    parts = {}
    for source, names in SOURCES.items():
        var = np.zeros(len(values[s]))
        for name in names:
            slope = by_local[s][:, LOCAL.index(name)]
            # An input that this symbol does not feel may be unknown.
            var += np.where(slope != 0.0, slope * u[name], 0.0) ** 2
        parts[source] = np.sqrt(var)
    total = np.sqrt(sum((p**2 for p in parts.values()), np.zeros(len(values[s]))))
    total = np.where(np.isfinite(values[s]), total, np.nan)
    return Quantity(s, UNITS[s], values[s], total, by_theta[s], parts)


def _context(
    ctx: Context, windows: Windows, corrected: Corrected, batch: Batch, test: Ints
) -> Context:
    """The context of the cycles, for windows: no fit answers to the compliance here."""
    of, n = windows.row, len(windows.row)
    since = windows.time - batch.time[corrected.zero.contact[test]]
    zeros = np.zeros(n)
    return replace(
        ctx,
        nu_of_row=ctx.nu_of_row[of],
        t_max=np.where(np.isfinite(since), since, 0.0), t_p=zeros, t_1=zeros,
        force_rate=np.full(n, np.inf), moment_total=zeros, moment_back=zeros,
        t_slope_sqrt=zeros, m_per_C=ctx.m_per_C[of], C_per_C=zeros, creep_per_rate=zeros,
        seen=np.zeros(n, dtype=bool), zero_per_exponent=ctx.zero_per_exponent[of],
        zero_law_of_row=ctx.zero_law_of_row[of],
        zero_per_law=ctx.zero_per_law[of],
        zero_per_radius=ctx.zero_per_radius[of],
    )  # fmt: skip


def _with_frame(windows: Windows, corrected: Corrected, options: Options) -> Floats:
    """Stiffness of contact and frame in series, where the column holds that of the contact."""
    if options.dynamic.stiffness == "with frame":
        return windows.in_phase
    with np.errstate(divide="ignore", invalid="ignore"):
        K = 1.0 / (1.0 / windows.in_phase + corrected.C_f)
    return np.where(windows.by_amplitude, windows.in_phase, K)


def _u_with_frame(windows: Windows, local: Mapping[str, Floats]) -> Floats:
    """The noise of the column, moved through :func:`_with_frame`: dK/dS = (K/S)^2."""
    with np.errstate(divide="ignore", invalid="ignore"):
        out: Floats = windows.u_in_phase * (local["in_phase"] / windows.in_phase) ** 2
    return out


def _swing_share(
    windows: Windows, local: Mapping[str, Floats], theta: Mapping[str, float]
) -> Floats:
    """Swing of the contact force (from peak to mean) as a share of the force."""
    springs = np.where(windows.by_amplitude, 1.0, 0.0)
    K = stiffness_in_frame(
        local["in_phase"], np.where(windows.frequency > 0, windows.frequency, 1.0),
        springs * theta.get("frame.K_s", 0.0), springs * theta.get("frame.mass", 0.0),
    )  # fmt: skip
    with np.errstate(divide="ignore", invalid="ignore"):
        share: Floats = np.abs(K * windows.swing / windows.F)
    return share

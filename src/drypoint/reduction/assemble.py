"""Properties with their uncertainties and flags, from what the steps of a reduction gave."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction import flags as flags_
from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.derive import UNITS, Context
from drypoint.reduction.events import Events
from drypoint.reduction.local import Locals
from drypoint.reduction.options import Options
from drypoint.reduction.result import Quantity, Reduction
from drypoint.reduction.unloading import Unloading
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]


def assemble(
    bench: Bench,
    options: Options,
    corrected: Corrected,
    readings: Cycles,
    fits: Unloading,
    events: Events,
    local: Locals,
    ctx: Context,
    inputs: Joint,
    values: Mapping[str, Floats],
    by_local: Mapping[str, Floats],
    by_theta: Mapping[str, Floats],
    viscous_share: Quantity,
) -> Reduction:
    """Every property of every row: random parts by source, what does not exist left empty."""
    quantities = {}
    sources = {}
    for name, cov in local.parts.items():
        # Most sources touch few of the inputs.
        which = np.flatnonzero(np.any(np.einsum("ijj->ij", cov) != 0.0, axis=0))
        sources[name] = which, np.ascontiguousarray(cov[:, which[:, None], which])
    # A symbol that does not exist for a row (no hold, no loading fit) is NaN there, and only
    # there: a missing local input must not spoil the others.
    j_local = np.stack([by_local[s] for s in UNITS], axis=1)
    j_local[~np.isfinite(j_local)] = 0.0
    shares = {}
    for name, (which, cov) in sources.items():
        some = np.ascontiguousarray(j_local[:, :, which])
        var = np.sum((some @ cov) * some, axis=2).T
        shares[name] = np.sqrt(np.clip(var, 0.0, None))
    for k, (s, unit) in enumerate(UNITS.items()):
        parts = {name: share[k] for name, share in shares.items()}
        total = np.zeros(len(readings.test))
        for part in parts.values():
            total += part**2
        u = np.where(np.isfinite(values[s]), np.sqrt(total), np.nan)
        quantities[s] = Quantity(s, unit, values[s], u, by_theta[s], parts)
    quantities["viscous_share"] = viscous_share
    hold = readings.has_hold
    with np.errstate(invalid="ignore", divide="ignore"):
        relaxed = np.abs(readings.F_1 / readings.F_max - 1.0) > 0.02
        still = np.abs(readings.h_max / readings.h_1 - 1.0) < 0.005
    depth_control = hold & relaxed & still
    _blank(quantities, "C_IT", ~hold | depth_control)
    _blank(quantities, "R_IT", ~depth_control)
    bad = fits.status != 0
    for s in quantities:
        if s not in ("F_max", "h_max", "W_total"):
            _blank(quantities, s, bad)
    h = quantities["H_IT"]
    u_sys = np.sqrt(np.einsum("ij,jk,ik->i", h.sensitivity, inputs.cov, h.sensitivity))
    u_H = np.hypot(h.u_random, u_sys)
    seen = {**values, "viscous_share": viscous_share.value}
    found = flags_.find_flags(
        corrected, readings, fits, events, seen, u_H, bench.tip, ctx.seen, options
    )
    withheld = np.array(
        [any(f.code in ("still elastic", "hardness uncertain") for f in row) for row in found],
        dtype=bool,
    )
    for s in ("H_IT", "HV_conv"):
        _blank(quantities, s, withheld)
    return Reduction(readings.test, readings.cycle, quantities, inputs, found)


def _blank(quantities: dict[str, Quantity], symbol: str, where: NDArray[np.bool_]) -> None:
    q = quantities[symbol]
    quantities[symbol] = Quantity(
        q.symbol,
        q.unit,
        np.where(where, np.nan, q.value),
        np.where(where, np.nan, q.u_random),
        q.sensitivity,
        q.random_parts,
    )

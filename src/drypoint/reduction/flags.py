"""Flags: plain sentences on rows that a careful reader would look at twice. Nothing is dropped."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction import drift as drift_
from drypoint.reduction import zero as zero_
from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.events import Events, Jumps
from drypoint.reduction.first_contact import ENOUGH
from drypoint.reduction.grounds import GROUNDS, raise_flag
from drypoint.reduction.options import Options
from drypoint.reduction.result import Flag
from drypoint.reduction.unloading import STATUS, Unloading
from drypoint.tips import area as areas
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]

_BEYOND_NOISE = 1.5  # times the residual that noise leaves is a poor fit

__all__ = ["GROUNDS", "find_flags", "still_elastic"]


def find_flags(
    corrected: Corrected,
    cycles: Cycles,
    fits: Unloading,
    events: Events,
    values: Mapping[str, Floats],
    u_H: Floats,
    tip: Tip,
    seen: NDArray[np.bool_],
    options: Options,
) -> tuple[tuple[Flag, ...], ...]:
    """Flags of every cycle row.

    Parameters
    ----------
    values : mapping
        Properties by symbol, SI, as derived (before anything is withheld).
    u_H : array, shape (n,)
        Combined standard uncertainty of H_IT.

    Returns
    -------
    tuple of tuples of Flag
        One tuple per row, in a fixed order.
    """
    limits = options.flags
    outside = np.asarray(areas.check_range(tip, values["h_c"]))
    out = []
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = values["h_p"] / values["h_max"]
        unload_rate = fits.force_rate / values["S"]
        sure = np.abs(cycles.creep_rate) - 2.0 * cycles.u_creep_rate
        creep_share = np.where(sure > 0, np.abs(cycles.creep_rate), 0.0) / unload_rate
    elastic = still_elastic(values, options)
    for i in range(len(cycles.test)):
        t = int(cycles.test[i])
        row = _of_corrections(corrected, t, options)
        row += _of_events(events, t)
        row += _of_noise(corrected, t, float(cycles.h_max[i]), float(cycles.F_max[i]), options)
        if seen[i]:
            row.append(raise_flag("measured area", "The area was measured on the impression."))
        if fits.status[i] != 0:
            row.append(raise_flag("fit failed", f"No stiffness: {STATUS[int(fits.status[i])]}."))
            out.append(tuple(row))
            continue
        noise = np.hypot(
            corrected.zero.noise_force[t], values["S"][i] * corrected.zero.noise_depth[t]
        )
        row += _of_fit(
            float(fits.rms[i]), float(noise / cycles.F_max[i]), float(fits.m[i]), options
        )
        if ratio[i] > limits.pile_up and not seen[i]:
            row.append(
                raise_flag(
                    "pile-up likely",
                    f"h_p/h_max = {ratio[i]:.3f} is above {limits.pile_up}; the contact area may "
                    "be underestimated. Measure the impression.",
                )
            )
        if outside[i] and not seen[i]:
            row.append(
                raise_flag(
                    "tip range",
                    f"h_c = {values['h_c'][i] * 1e9:.1f} nm lies outside the range of the area "
                    f"function ({tip.area.h_min * 1e9:.1f} to {tip.area.h_max * 1e9:.1f} nm).",
                )
            )
        if creep_share[i] > limits.creep_rate_share:
            row.append(
                raise_flag(
                    "creep at unloading",
                    f"Creep at the end of the hold is {100 * creep_share[i]:.0f} % of the elastic "
                    "rate of unloading; "
                    + (
                        "S was corrected for it, but the exponent was not."
                        if options.analysis.viscous_correction
                        else "S may be too high. Hold longer or unload faster."
                    ),
                )
            )
        if options.analysis.viscous_correction and not np.isfinite(values["viscous_share"][i]):
            row.append(
                raise_flag(
                    "viscosity unknown",
                    "No hold at constant force comes before this unloading; S is not corrected "
                    "for creep.",
                )
            )
        row += _of_hardness(values, u_H, bool(elastic[i]), i, options)
        out.append(tuple(row))
    return tuple(out)


def _of_corrections(corrected: Corrected, t: int, options: Options) -> list[Flag]:
    """What the drift and the zero of test ``t`` deserve."""
    row: list[Flag] = []
    how, rate = int(corrected.drift.how[t]), float(corrected.drift.rate[t])
    limit = options.flags.drift_rate
    if how == drift_.NO_HOLD and options.drift.method == "drift hold":
        row.append(raise_flag("no drift hold", "The record has no drift hold; drift is not known."))
    if abs(rate) > limit:
        row.append(
            raise_flag(
                "drift",
                f"The drift of {rate * 1e9:.3f} nm/s is above the limit of "
                f"{limit * 1e9:.3g} nm/s; it was corrected.",
            )
        )
    if len(corrected.drift.changes) and corrected.drift.changes[t]:
        row.append(
            raise_flag(
                "unsteady drift",
                f"The drift changes during its hold; at the time of the test it may differ by "
                f"{corrected.drift.u_rate[t] * 1e9:.3f} nm/s, which is in the uncertainty.",
            )
        )
    row += _of_law(corrected, t, options)
    if int(corrected.zero.how[t]) == zero_.THRESHOLD and options.zero.method != "threshold":
        row.append(
            raise_flag(
                "zero by threshold",
                f"Only {int(corrected.zero.samples[t])} samples lie near first contact; the zero "
                "is the first one above the noise.",
            )
        )
    return row


def _of_law(corrected: Corrected, t: int, options: Options) -> list[Flag]:
    """What the law of first contact of test ``t`` deserves."""
    own = corrected.zero.by_law
    if own is None:
        return []
    row: list[Flag] = []
    if own.misfit[t]:
        law = "of a blunted tip" if own.blunted[t] else "of a power between 3/2 and 2"
        row.append(
            raise_flag(
                "first contact misfit",
                f"First contact does not follow the law {law}: something else (a layer, "
                "roughness, a particle, another shape of the tip) acts there. The zero's "
                "uncertainty is wider for it.",
            )
        )
    if own.few[t] and int(corrected.zero.how[t]) == zero_.FITTED:
        row.append(
            raise_flag(
                "few samples at contact",
                f"Only {int(corrected.zero.samples[t])} samples lie near first contact (limit "
                f"{ENOUGH}); sample faster or load more slowly there.",
            )
        )
    return row


def _of_events(events: Events, t: int) -> list[Flag]:
    """What happened suddenly in test ``t``."""
    row: list[Flag] = []
    if events.lost[t]:
        row.append(
            raise_flag(
                "contact lost",
                f"Contact was made at {events.lost_depth[t] * 1e9:.1f} nm, reached "
                f"{events.lost_force[t] * 1e3:.3g} mN and was lost again before the loading; the "
                "zero may be wrong. Look at it.",
            )
        )
    if events.pop_in.count[t]:
        row.append(raise_flag("pop-in", _jump(events.pop_in, t, "on loading")))
    if events.pop_out.count[t]:
        row.append(raise_flag("pop-out", _jump(events.pop_out, t, "on unloading")))
    if events.step_back.count[t]:
        row.append(raise_flag("step back", _jump(events.step_back, t, "back under rising force")))
    return row


def _jump(jumps: Jumps, t: int, when: str) -> str:
    """The first jump in words, and how many more there are."""
    by_force = np.isfinite(jumps.size[t])
    what = f"The depth jumps by {jumps.size[t] * 1e9:.1f} nm"
    if not by_force:
        what = f"The force drops by {jumps.drop[t] * 1e3:.3g} mN"
    more = int(jumps.count[t]) - 1
    return f"{what} {when} at {jumps.force[t] * 1e3:.3g} mN and {jumps.depth[t] * 1e9:.1f} nm" + (
        f", and {more} more time{'s' if more > 1 else ''} later." if more else "."
    )


def _of_noise(
    corrected: Corrected, t: int, h_max: float, F_max: float, options: Options
) -> list[Flag]:
    """Whether single readings of test ``t`` are lost in noise."""
    zero, limit = corrected.zero, options.flags.noise_share
    row: list[Flag] = []
    for noise, whole, words, unit in (
        (float(zero.noise_depth[t]) * 1e9, h_max * 1e9, "depth", "nm"),
        (float(zero.noise_force[t]) * 1e3, F_max * 1e3, "force", "mN"),
    ):
        if not row and noise > limit * whole:
            row.append(
                raise_flag(
                    "noise",
                    f"The noise of the {words}, {noise:.3g} {unit}, is {100 * noise / whole:.1f} % "
                    f"of the largest {words} (limit {100 * limit:.3g} %).",
                )
            )
    return row


def _of_fit(rms: float, noise: float, m: float, options: Options) -> list[Flag]:
    """What residual and exponent of the unloading fit deserve. ``noise`` is the residual that the
    noise of force and depth leaves by itself, as a share of F_max like ``rms``."""
    row: list[Flag] = []
    limits = options.flags
    if rms > max(limits.fit_residual, _BEYOND_NOISE * noise):
        row.append(
            raise_flag(
                "poor fit",
                f"The unloading fit leaves {100 * rms:.2g} % of F_max (limit "
                f"{100 * limits.fit_residual:.2g} %).",
            )
        )
    lo, hi = limits.exponent
    if options.analysis.unloading == "power law" and not lo <= m <= hi:
        row.append(raise_flag("odd exponent", f"The exponent m = {m:.3f} is outside {lo} to {hi}."))
    return row


def _of_hardness(
    values: Mapping[str, Floats], u_H: Floats, elastic: bool, i: int, options: Options
) -> list[Flag]:
    """Why the hardness of row ``i`` is withheld, if it is."""
    H, limit = abs(values["H_IT"][i]), options.analysis.u_hardness_limit
    if elastic:
        return [
            raise_flag(
                "still elastic",
                f"Hardness withheld: {values['eta_IT'][i]:.1f} % of the work came back, the "
                "contact is still elastic.",
            )
        ]
    if u_H[i] > limit * H:
        return [
            raise_flag(
                "hardness uncertain",
                f"Hardness withheld: its standard uncertainty is {100 * u_H[i] / H:.0f} % (limit "
                f"{100 * limit:.0f} %).",
            )
        ]
    return []


def still_elastic(values: Mapping[str, Floats], options: Options) -> NDArray[np.bool_]:
    """Rows whose elastic share of the work is above the recipe's limit."""
    with np.errstate(invalid="ignore"):
        mask: NDArray[np.bool_] = values["eta_IT"] > 100.0 * options.analysis.elastic_work_limit
    return mask

"""Flags: plain sentences on rows that a careful reader would look at twice. Nothing is dropped."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction import drift as drift_
from drypoint.reduction import zero as zero_
from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.options import Options
from drypoint.reduction.result import Flag
from drypoint.reduction.unloading import STATUS, Unloading
from drypoint.tips import area as areas
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]

#: Flag code -> grounds, for the docs and the report.
GROUNDS: dict[str, str] = {
    "no drift hold": "ISO 14577-1 asks for drift to be measured or shown to be small",
    "drift": "common practice of the trade: a drift above 0.05 nm/s is mended only in part",
    "zero by threshold": "too few samples near contact for the extrapolated fit",
    "fit failed": "no stiffness without a fit",
    "poor fit": "residual above the limit set in the recipe",
    "odd exponent": "Oliver and Pharr 1992 found 1.25 to 1.51; 1 is a flat punch, 2 a cone",
    "pile-up likely": "Bolshakov and Pharr 1998: h_p/h_max above 0.7 with little hardening",
    "tip range": "the area function was not determined at this contact depth",
    "still elastic": "mean pressure of an elastic contact is no hardness",
    "hardness uncertain": "relative uncertainty above the limit set in the recipe",
    "creep at unloading": "the start of unloading holds creep as well as elastic recovery",
    "viscosity unknown": "Feng and Ngan 2002: the rate of creep at the end of a hold is needed",
    "measured area": "area of the impression as measured replaces the area function",
}


def _flag(code: str, sentence: str) -> Flag:
    return Flag(code, sentence, GROUNDS[code])


def find_flags(
    corrected: Corrected,
    cycles: Cycles,
    fits: Unloading,
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
        row = _of_corrections(corrected, int(cycles.test[i]), options)
        if seen[i]:
            row.append(_flag("measured area", "The area was measured on the impression."))
        if fits.status[i] != 0:
            row.append(_flag("fit failed", f"No stiffness: {STATUS[int(fits.status[i])]}."))
            out.append(tuple(row))
            continue
        row += _of_fit(float(fits.rms[i]), float(fits.m[i]), options)
        if ratio[i] > limits.pile_up and not seen[i]:
            row.append(
                _flag(
                    "pile-up likely",
                    f"h_p/h_max = {ratio[i]:.3f} is above {limits.pile_up}; the contact area may "
                    "be underestimated. Measure the impression.",
                )
            )
        if outside[i] and not seen[i]:
            row.append(
                _flag(
                    "tip range",
                    f"h_c = {values['h_c'][i] * 1e9:.1f} nm lies outside the range of the area "
                    f"function ({tip.area.h_min * 1e9:.1f} to {tip.area.h_max * 1e9:.1f} nm).",
                )
            )
        if creep_share[i] > limits.creep_rate_share:
            row.append(
                _flag(
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
                _flag(
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
        row.append(_flag("no drift hold", "The record has no drift hold; drift is not known."))
    if abs(rate) > limit:
        row.append(
            _flag(
                "drift",
                f"The drift of {rate * 1e9:.3f} nm/s is above the limit of "
                f"{limit * 1e9:.3g} nm/s; it was corrected.",
            )
        )
    if int(corrected.zero.how[t]) == zero_.THRESHOLD and options.zero.method != "threshold":
        row.append(
            _flag(
                "zero by threshold",
                f"Only {int(corrected.zero.samples[t])} samples lie near first contact; the zero "
                "is the first one above the noise.",
            )
        )
    return row


def _of_fit(rms: float, m: float, options: Options) -> list[Flag]:
    """What residual and exponent of the unloading fit deserve."""
    row: list[Flag] = []
    limits = options.flags
    if rms > limits.fit_residual:
        row.append(
            _flag(
                "poor fit",
                f"The unloading fit leaves {100 * rms:.2g} % of F_max (limit "
                f"{100 * limits.fit_residual:.2g} %).",
            )
        )
    lo, hi = limits.exponent
    if options.analysis.unloading == "power law" and not lo <= m <= hi:
        row.append(_flag("odd exponent", f"The exponent m = {m:.3f} is outside {lo} to {hi}."))
    return row


def _of_hardness(
    values: Mapping[str, Floats], u_H: Floats, elastic: bool, i: int, options: Options
) -> list[Flag]:
    """Why the hardness of row ``i`` is withheld, if it is."""
    H, limit = abs(values["H_IT"][i]), options.analysis.u_hardness_limit
    if elastic:
        return [
            _flag(
                "still elastic",
                f"Hardness withheld: {values['eta_IT'][i]:.1f} % of the work came back, the "
                "contact is still elastic.",
            )
        ]
    if u_H[i] > limit * H:
        return [
            _flag(
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

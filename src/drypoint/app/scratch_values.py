"""Scratch tracks as plain values for a page: numbers as people read them."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from drypoint.app.blocks import blocks_values
from drypoint.app.rows import DASH
from drypoint.report.tracks import over_tracks
from drypoint.report.words import level_text
from drypoint.run.critical_loads import ScratchResult, Verdict
from drypoint.run.scratching import TrackResult
from drypoint.run.track_tables import scratch_tables
from drypoint.scratch import Replicates, fitted_share, seen_share
from drypoint.uncertainty.rounding import NOT_KNOWN, round_pair

_MINUS = "\u2212"
#: Numbers of a track: column of the table of tracks, its uncertainty, shared part, meaning, unit.
NUMBERS = (
    ("mu_slope", "u_mu_slope", "us_mu_slope", "slope of lateral against normal force", ""),
    ("offset_mN", "u_offset_mN", "", "lateral force of that line at zero load", "mN"),
    ("mu_last", "u_mu_last", "", "friction coefficient at the largest load", ""),
    ("h_last_nm", "u_h_last_nm", "", "depth under load there", "nm"),
    ("h_residual_last_nm", "u_h_residual_last_nm", "", "residual depth there", "nm"),
    ("HS_P_GPa", "u_HS_P_GPa", "", "scratch hardness", "GPa"),
    ("wear_volume_um3", "u_wear_volume_um3", "", "volume worn after the last repeat", "µm³"),
    ("wear_rate_um3_per_mN_mm", "u_wear_rate_um3_per_mN_mm", "", "volume a load and way",
     "µm³/(mN mm)"),
)  # fmt: skip


def pair(value: float | None, u: float | None) -> list[str]:
    """Value and uncertainty as text."""
    if value is None or not np.isfinite(value):
        return [DASH, ""]
    left, right = round_pair(value, float("nan") if u is None else u)
    return [left.replace("-", _MINUS), "" if right in ("0", NOT_KNOWN) else right]


def interval(value: float, low: float, high: float) -> list[str]:
    """A value and the ends of its interval, all to the second figure of its half width."""
    ends = [v for v in (low, high) if np.isfinite(v)]
    half = (max(ends) - min(ends)) / 2 if len(ends) == 2 else 0.05 * abs(value)
    out = []
    for v in (value, low, high):
        out.append(round_pair(v, half)[0] if np.isfinite(v) else "")
    return out


def track_values(scratch: ScratchResult, t: TrackResult) -> dict[str, Any]:
    """A track in the list."""
    known = scratch.decided[t.name]
    numbers = range(1, len(t.candidates) + 1)
    return {
        "track": t.name,
        "specimen": t.specimen,
        "passes": list(t.passes),
        "passes_from": t.by,
        "held": t.constant,
        "last_mN": t.last_load * 1e3,
        "length_um": t.length * 1e6,
        "tip": t.tip,
        "out": t.name in scratch.excluded,
        "why": scratch.excluded.get(t.name),
        "open": sum(scratch.verdict(t.name, n) == "open" for n in numbers),
        "found": len(t.candidates),
        "loads": {
            e: ("> " if v.how == "absent" else "") + f"{v.load * 1e3:.3g}"
            for e, v in known.events.items()
        },
        "pictures": sum(p.track == t.name for p in scratch.pictures),
        "wrong": len(t.problems),
    }


def candidate_values(scratch: ScratchResult, t: TrackResult) -> list[dict[str, Any]]:
    """Candidates with interval, channels, confidence and what was decided."""
    known = scratch.decided[t.name]
    by_number = {v.number: v for v in known.events.values() if v.number is not None}
    out = []
    for n, c in enumerate(t.candidates, start=1):
        verdict = by_number.get(n)
        out.append(
            {
                "number": n,
                "load": c.load * 1e3,
                "low": c.low * 1e3,
                "high": c.high * 1e3,
                "x": c.x * 1e6,
                "x_low": c.x_low * 1e6,
                "x_high": c.x_high * 1e6,
                "text": interval(c.load * 1e3, c.low * 1e3, c.high * 1e3),
                "level": level_text(c.level),
                "shared": pair(c.us_load * 1e3, 0.0)[0],
                "confidence": f"{100 * c.confidence:.0f} %",
                "voices": [f"{v.channel} ({v.respect})" for v in c.voices],
                "event": verdict.event if verdict is not None else "",
                "decision": scratch.verdict(t.name, n),
                "rejected": n in known.rejected,
            }
        )
    return out


def verdict_values(t: TrackResult, v: Verdict) -> dict[str, Any]:
    """What was decided of a critical load."""
    absent = v.how == "absent"
    return {
        "event": v.event,
        "how": v.how,
        "number": v.number,
        "load": v.load * 1e3,
        "text": interval(v.load * 1e3, v.low * 1e3, float("nan") if absent else v.high * 1e3),
        "why": v.decision.why,
        "who": v.decision.who,
        "when": v.decision.when,
    }


def number_values(scratch: ScratchResult, t: TrackResult) -> list[dict[str, Any]]:
    """Numbers of a track with their uncertainties; those that are not known are left out."""
    table = scratch_tables(scratch)["tracks"]
    row = table.row(by_predicate=pl.col("track") == t.name, named=True)
    out = []
    for name, u, shared, meaning, unit in NUMBERS:
        if row[name] is None:
            continue
        text = pair(row[name], row[u])
        part = pair(row[shared], row[shared])[1] if shared and row[shared] else ""
        out.append({"name": name, "meaning": meaning, "unit": unit, "text": text, "shared": part})
    return out


def replicate_values(scratch: ScratchResult) -> dict[str, Any]:
    """What follows over the tracks: shares that failed, and the report's tables and sentences."""
    return {
        "shares": [_share(s, e, r) for (s, e), r in scratch.replicates.items()],
        "blocks": blocks_values(over_tracks(scratch)),
        "notes": list(scratch.notes),
    }


def _share(specimen: str, event: str, r: Replicates) -> dict[str, Any]:
    """Share of the tracks that failed up to a load (mN, %): as seen, and as fitted."""
    load, share = seen_share(r.loads)
    fit = r.fit(r.better) if r.better is not None else None
    curve: list[list[float]] = []
    if fit is not None:
        at = np.linspace(0.6 * r.loads.load.min(), 1.1 * r.loads.load.max(), 120)
        curve = [(at * 1e3).tolist(), (100 * fitted_share(fit, at)).tolist()]
    return {
        "specimen": specimen,
        "event": event,
        "tracks": len(r.loads.load),
        "family": r.better or "",
        "seen": [(load * 1e3).tolist(), (100 * share).tolist()],
        "stopped": (r.loads.load[r.loads.censored] * 1e3).tolist(),
        "curve": curve,
    }

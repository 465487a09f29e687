"""Scratch tracks as tables in laboratory units."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np
import polars as pl

from drypoint.run.critical_loads import ScratchResult
from drypoint.run.scratching import TrackResult
from drypoint.scratch.replicates import Bounded

NAN = float("nan")

#: Columns of ``tracks``: a row a track. Name -> meaning.
TRACK_COLUMNS: dict[str, str] = {
    "track": "name of the track, unique in the study",
    "specimen": "specimen, as in the study file",
    "excluded": "true where a decision leaves it out of the replicates",
    "passes": "its passes in order",
    "passes_from": "how they were told apart",
    "length_um": "length of the scratch",
    "F_first_mN": "smallest normal force over a stretch",
    "F_last_mN": "largest normal force over a stretch",
    "load": "held or rising",
    "mu_slope": "slope of lateral against normal force, robust",
    "u_mu_slope": "its standard uncertainty, shared part included",
    "us_mu_slope": "its shared part",
    "offset_mN": "lateral force of that line at zero load",
    "u_offset_mN": "its standard uncertainty",
    "mu_last": "apparent coefficient of friction at the largest load (median of the last tenth)",
    "u_mu_last": "its standard uncertainty",
    "mu_plough_last": "part of it that ploughing gives, from the tip's shape and the depth",
    "h_last_nm": "depth under load there",
    "u_h_last_nm": "its standard uncertainty",
    "h_residual_last_nm": "residual depth there",
    "u_h_residual_last_nm": "its standard uncertainty",
    "HS_P_GPa": "scratch hardness, where a width is given",
    "u_HS_P_GPa": "its standard uncertainty",
    "wear_volume_um3": "volume worn after the last of the repeats",
    "u_wear_volume_um3": "its standard uncertainty",
    "wear_rate_um3_per_mN_mm": "volume a load and way, where four repeats or more tell it",
    "u_wear_rate_um3_per_mN_mm": "its standard uncertainty",
    "candidates": "number of candidates for critical loads",
    "lateral_zero_from": "how the zero of lateral force was found",
    "tip": "tip, as in the study file; empty where none is known",
    "problems": "what is wrong with the track, in sentences",
    "remarks": "what else is to be known",
    "excluded_because": "reason, who and when, where excluded",
    "date": "as the file or the study file says",
    "operator": "as the file or the study file says",
    "source": "raw files, separated by “; ”",
    "source_sha256": "their SHA-256, likewise",
}
#: Columns of ``track_candidates``: a row a candidate.
CANDIDATE_COLUMNS: dict[str, str] = {
    "track": "name of the track",
    "specimen": "specimen",
    "candidate": "number of the candidate on its track, from 1",
    "load_mN": "load at which something began",
    "low_mN": "lower end of its interval",
    "high_mN": "upper end",
    "level": "coverage of the interval",
    "us_load_mN": "standard uncertainty that all loads of the bench share",
    "x_um": "distance along the track",
    "x_low_um": "lower end of its interval",
    "x_high_um": "upper end",
    "confidence": "of such candidates on simulated tracks, the share that are events",
    "channels": "channels that speak for it, strongest first",
    "decision": "open, rejected, or as what it was confirmed or moved",
    "why": "reason of the decision",
    "who": "who decided",
    "when": "when",
}
#: Columns of ``critical_loads``: a row for every critical load that was decided on.
LOAD_COLUMNS: dict[str, str] = {
    "track": "name of the track",
    "specimen": "specimen",
    "excluded": "true where a decision leaves the track out",
    "event": "name of the critical load",
    "seen": "what was seen there, as the study says",
    "how": "confirmed, moved, set by hand, or absent up to the largest load",
    "load_mN": "critical load; where absent: the largest load",
    "low_mN": "lower end of its interval",
    "high_mN": "upper end; empty where absent",
    "candidate": "number of the candidate, where there is one",
    "why": "reason",
    "who": "who decided",
    "when": "when",
}
#: Columns of ``critical_load_replicates``: a row for every specimen, event and family.
REPLICATE_COLUMNS: dict[str, str] = {
    "specimen": "specimen",
    "event": "name of the critical load",
    "tracks": "tracks on which it was decided",
    "absent": "of these, without the event up to their largest load (censored)",
    "family": "weibull or normal; empty where too few failed",
    "better": "true for the family that fits better (Akaike's criterion)",
    "median_mN": "median",
    "median_low_mN": "lower end of its interval",
    "median_high_mN": "upper end",
    "tenth_mN": "load below which one in ten fails",
    "tenth_low_mN": "lower end of its interval",
    "tenth_high_mN": "upper end",
    "scale_mN": "Weibull: 63.2 % fail below it; normal: mean",
    "shape": "Weibull: modulus; normal: standard deviation in mN",
    "shape_low": "lower end of its interval",
    "shape_high": "upper end",
    "level": "coverage of the intervals",
    "remarks": "what is to be known",
}
#: Columns of ``track_profiles``: a row a stretch of a track. ``NAME`` and ``NAME_peak`` follow for
#: every further channel, in its own unit.
PROFILE_COLUMNS: dict[str, str] = {
    "track": "name of the track",
    "specimen": "specimen",
    "x_um": "distance along the scratch, middle of the stretch",
    "F_n_mN": "normal force",
    "mu": "apparent coefficient of friction",
    "u_mu": "its standard uncertainty",
    "us_mu": "the part that all stretches share",
    "mu_plough": "part that ploughing gives",
    "u_mu_plough": "its standard uncertainty",
    "h_load_nm": "depth under load, from the surface",
    "u_h_load_nm": "its standard uncertainty",
    "h_residual_nm": "residual depth",
    "u_h_residual_nm": "its standard uncertainty",
    "topography_nm": "surface before the scratch, its straight line taken off, as a depth",
}
#: Columns of ``track_wear``: a row a repeat.
WEAR_COLUMNS: dict[str, str] = {
    "track": "name of the track",
    "specimen": "specimen",
    "pass": "number of the scratch pass, from 1",
    "h_residual_nm": "residual depth",
    "u_h_residual_nm": "its standard uncertainty",
    "volume_um3": "volume of the groove",
    "u_volume_um3": "its standard uncertainty",
    "work_mN_mm": "load times way slid, all passes so far",
    "from_scan": "true where a light scan gave the depth",
}
SCRATCH_TABLES = {
    "tracks": TRACK_COLUMNS,
    "track_candidates": CANDIDATE_COLUMNS,
    "critical_loads": LOAD_COLUMNS,
    "critical_load_replicates": REPLICATE_COLUMNS,
    "track_profiles": PROFILE_COLUMNS,
    "track_wear": WEAR_COLUMNS,
}


def scratch_tables(result: ScratchResult) -> dict[str, pl.DataFrame]:
    """All tables of the tracks, by the names of their files; only those that have rows."""
    seen = result.events
    makers = {
        "tracks": lambda: (_track_row(result, t) for t in result.tracks),
        "track_candidates": lambda: _candidate_rows(result),
        "critical_loads": lambda: _load_rows(result, seen),
        "critical_load_replicates": lambda: _replicate_rows(result),
        "track_wear": lambda: (r for t in result.tracks for r in _wear_rows(t)),
    }
    out = {}
    for stem, make in makers.items():
        rows = list(make())
        if rows:
            table = pl.DataFrame(rows, infer_schema_length=None)
            out[stem] = table.fill_nan(None)
            assert out[stem].columns == list(SCRATCH_TABLES[stem])
    if result.tracks:
        parts = [_profile(t) for t in result.tracks]
        out["track_profiles"] = pl.concat(parts, how="diagonal").fill_nan(None)
    return out


def _last(t: TrackResult, values: Any) -> float:
    """Median over the last tenth of the stretches that know it."""
    good = values[-max(len(values) // 10, 1) :]
    good = good[np.isfinite(good)]
    return float(np.median(good)) if len(good) else NAN


def _track_row(result: ScratchResult, t: TrackResult) -> dict[str, Any]:
    p, f, s = t.profile, t.friction, t.friction.slope
    hard = result.hardness.get(t.name)
    worn = t.wear
    rate = worn.rate if worn is not None else None
    per = 1e18 / 1e3 / 1e3  # m^3/(N m) to um^3/(mN mm)
    return {
        "track": t.name,
        "specimen": t.specimen,
        "excluded": t.name in result.excluded,
        "passes": ", ".join(t.passes),
        "passes_from": t.by,
        "length_um": t.length * 1e6,
        "F_first_mN": t.first_load * 1e3,
        "F_last_mN": t.last_load * 1e3,
        "load": "held" if t.constant else "rising",
        "mu_slope": NAN if s is None else s.mu.value,
        "u_mu_slope": NAN if s is None else s.mu.u,
        "us_mu_slope": NAN if s is None else s.us_mu,
        "offset_mN": NAN if s is None else s.offset.value * 1e3,
        "u_offset_mN": NAN if s is None else s.offset.u * 1e3,
        "mu_last": _last(t, f.mu),
        "u_mu_last": _last(t, f.u_mu),
        "mu_plough_last": _last(t, f.plough),
        "h_last_nm": _last(t, p.h_load) * 1e9,
        "u_h_last_nm": _last(t, p.u_h_load) * 1e9,
        "h_residual_last_nm": _last(t, p.h_residual) * 1e9,
        "u_h_residual_last_nm": _last(t, p.u_h_residual) * 1e9,
        "HS_P_GPa": NAN if hard is None else hard.value / 1e9,
        "u_HS_P_GPa": NAN if hard is None else hard.u / 1e9,
        "wear_volume_um3": NAN if worn is None else float(worn.volume[-1]) * 1e18,
        "u_wear_volume_um3": NAN if worn is None else float(worn.u_volume[-1]) * 1e18,
        "wear_rate_um3_per_mN_mm": NAN if rate is None else rate.value * per,
        "u_wear_rate_um3_per_mN_mm": NAN if rate is None else rate.u * per,
        "candidates": len(t.candidates),
        "lateral_zero_from": t.lateral_from,
        "tip": t.tip,
        "problems": " ".join(q.sentence for q in t.problems),
        "remarks": " ".join(t.remarks),
        "excluded_because": result.excluded.get(t.name),
        "date": t.declared.get("date"),
        "operator": t.declared.get("operator"),
        "source": "; ".join(t.files),
        "source_sha256": "; ".join(t.sha256),
    }


def _candidate_rows(result: ScratchResult) -> Iterator[dict[str, Any]]:
    for t in result.tracks:
        known = result.decided[t.name]
        for n, c in enumerate(t.candidates, start=1):
            d = next((v.decision for v in known.events.values() if v.number == n), None)
            d = d or known.rejected.get(n)
            yield {
                "track": t.name,
                "specimen": t.specimen,
                "candidate": n,
                "load_mN": c.load * 1e3,
                "low_mN": c.low * 1e3,
                "high_mN": c.high * 1e3,
                "level": c.level,
                "us_load_mN": c.us_load * 1e3,
                "x_um": c.x * 1e6,
                "x_low_um": c.x_low * 1e6,
                "x_high_um": c.x_high * 1e6,
                "confidence": c.confidence,
                "channels": ", ".join(c.channels),
                "decision": result.verdict(t.name, n),
                "why": d.why if d else None,
                "who": d.who if d else None,
                "when": d.when if d else None,
            }


def _load_rows(result: ScratchResult, seen: dict[str, str]) -> Iterator[dict[str, Any]]:
    for t in result.tracks:
        for event, v in result.decided[t.name].events.items():
            yield {
                "track": t.name,
                "specimen": t.specimen,
                "excluded": t.name in result.excluded,
                "event": event,
                "seen": seen.get(event),
                "how": v.how,
                "load_mN": v.load * 1e3,
                "low_mN": v.low * 1e3,
                "high_mN": v.high * 1e3 if np.isfinite(v.high) else NAN,
                "candidate": v.number,
                "why": v.decision.why,
                "who": v.decision.who,
                "when": v.decision.when,
            }


def _ends(name: str, b: Bounded, factor: float) -> dict[str, float]:
    def finite(v: float) -> float:
        return v * factor if np.isfinite(v) else NAN

    unit = "_mN" if factor != 1.0 else ""
    return {
        f"{name}{unit}": finite(b.value),
        f"{name}_low{unit}": finite(b.low),
        f"{name}_high{unit}": finite(b.high),
    }


def _replicate_rows(result: ScratchResult) -> Iterator[dict[str, Any]]:
    for (specimen, event), r in result.replicates.items():
        head = {
            "specimen": specimen,
            "event": event,
            "tracks": len(r.loads.load),
            "absent": len(r.loads.load) - r.loads.failures,
        }
        if not r.fits:
            rest = dict.fromkeys(list(REPLICATE_COLUMNS)[4:])
            rest |= {"level": r.level, "remarks": " ".join(r.remarks)}
            yield {**head, **rest}
        for f in r.fits:
            shape = f.shape if f.family == "weibull" else Bounded(
                f.shape.value * 1e3, f.shape.low * 1e3, f.shape.high * 1e3
            )  # fmt: skip
            yield {
                **head,
                "family": f.family,
                "better": f.family == r.better,
                **_ends("median", f.median, 1e3),
                **_ends("tenth", f.tenth, 1e3),
                "scale_mN": f.scale.value * 1e3,
                **_ends("shape", shape, 1.0),
                "level": r.level,
                "remarks": " ".join(r.remarks),
            }


def _wear_rows(t: TrackResult) -> Iterator[dict[str, Any]]:
    w = t.wear
    for k in range(len(w.depth) if w is not None else 0):
        assert w is not None
        yield {
            "track": t.name,
            "specimen": t.specimen,
            "pass": k + 1,
            "h_residual_nm": float(w.depth[k]) * 1e9,
            "u_h_residual_nm": float(w.u_depth[k]) * 1e9,
            "volume_um3": float(w.volume[k]) * 1e18,
            "u_volume_um3": float(w.u_volume[k]) * 1e18,
            "work_mN_mm": float(w.work[k]) * 1e6,
            "from_scan": bool(w.from_scan[k]),
        }


def _profile(t: TrackResult) -> pl.DataFrame:
    p, f = t.profile, t.friction
    n = len(p.x)
    table = {
        "track": [t.name] * n,
        "specimen": [t.specimen] * n,
        "x_um": p.x * 1e6,
        "F_n_mN": p.load * 1e3,
        "mu": f.mu,
        "u_mu": f.u_mu,
        "us_mu": f.us_mu,
        "mu_plough": f.plough,
        "u_mu_plough": f.u_plough,
        "h_load_nm": p.h_load * 1e9,
        "u_h_load_nm": p.u_h_load * 1e9,
        "h_residual_nm": p.h_residual * 1e9,
        "u_h_residual_nm": p.u_h_residual * 1e9,
        "topography_nm": p.topography * 1e9,
    }
    assert list(table) == list(PROFILE_COLUMNS)
    for name in p.extra:
        plain = "_".join(name.split())
        table[plain] = p.extra[name]
        table[f"{plain}_peak"] = p.peak[name]
    return pl.DataFrame(table)


def scratch_summary(result: ScratchResult) -> dict[str, Any]:
    """The tracks as plain values for ``summary.json``."""

    def number(v: float | None) -> float | None:
        return v if v is not None and np.isfinite(v) else None

    rows = list(_replicate_rows(result))
    return {
        "tracks": len(result.tracks),
        "excluded": dict(result.excluded),
        "events": dict(result.events),
        "replicates": [
            {k: number(v) if isinstance(v, float) else v for k, v in r.items()} for r in rows
        ],
        "comparisons": [
            {
                "event": e,
                **{k: number(v) if isinstance(v, float) else v for k, v in asdict(c).items()},
            }
            for e, c in result.comparisons
        ],
        "further_tracks": [
            {"event": e, "a": a, "b": b, "on_each": number(n)} for e, a, b, n in result.needed
        ],
        "adhesion_estimates": [
            {"specimen": s, "event": e, **(asdict(v) if not isinstance(v, str) else {"none": v})}
            for s, e, v in result.adhesion
        ],
    }

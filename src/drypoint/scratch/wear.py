"""Wear of a line that the tip passes again and again at constant load.

    V_k = int A_t(h_k(x)) dx,      k_w = dV / d(F_n s)

A_t is the tip's upright section at the residual depth after pass k, s the way slid; k_w is the
specific wear rate (m^3/(N m)), the slope of volume against work of load and way [archard1953].
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.level import Levelled, LevelOptions, level
from drypoint.scratch.ploughing import front_section
from drypoint.scratch.problems import ScratchError
from drypoint.scratch.series import filled
from drypoint.scratch.track import Inputs, Known, Pass, Track
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]

CONSTANT = 0.1  # relative spread of the load up to which it counts as constant


@dataclass(frozen=True)
class Wear:
    """Arrays of shape (passes,): residual depth (m), volume (m^3), load times way slid (N m).

    ``u_volume`` is the standard uncertainty of each volume, ``rate`` in m^3/(N m). ``from_scan``
    tells which depths a light scan gave; the others are depths under load less the elastic part.
    """

    depth: Floats
    u_depth: Floats
    volume: Floats
    u_volume: Floats
    work: Floats
    rate: Known | None
    from_scan: NDArray[np.bool_]
    remarks: tuple[str, ...]


def wear(track: Track, inputs: Inputs | None = None, options: LevelOptions | None = None) -> Wear:
    """Volume and rate over the scratch passes of a track.

    The residual depth after a pass is that of the scan that follows it, if there is one; else the
    depth under load less the elastic part seen at the last pass with a scan.

    Raises
    ------
    ScratchError
        Without tip, depth, at least one scan after, or constant load.
    """
    inputs = inputs or Inputs()
    tip = track.tip
    if tip is None:
        raise ScratchError("Wear volume needs the tip's shape.", remedy="Name the tip.")
    rounds = _rounds(track)
    if not rounds:
        raise ScratchError(f"Track “{track.name}” has no scratch pass.")
    remarks: list[str] = []
    levelled = [
        level(replace(track, passes=_passes(track, s, a)), inputs, options) for s, a in rounds
    ]
    for r in levelled:
        inner = r.F_n[(r.x > 0.1 * np.nanmax(r.x)) & (r.x < 0.9 * np.nanmax(r.x))]
        if np.nanstd(inner) > CONSTANT * abs(float(np.nanmedian(inner))):
            raise ScratchError(
                "The load varies along a pass: wear is for repeats at constant load.",
                remedy="Use critical loads for a ramp.",
            )
    under = np.array([_middle(r.h_load, r.x) for r in levelled])
    scanned = np.array([np.isfinite(r.h_residual).any() for r in levelled])
    left = np.array([_middle(r.h_residual, r.x) for r in levelled])
    if not scanned.any():
        raise ScratchError(
            "No scan followed any of the passes: the elastic part of the depth is not known.",
            remedy="Scan the line after the last pass.",
        )
    elastic = float((under - left)[scanned][-1])
    if not scanned.all():
        remarks.append(
            "Passes without a scan after them: residual depth is that under load less the elastic "
            "part at the last scan."
        )
    depth = np.where(scanned, left, under - elastic)
    u_depth = np.array([_u_middle(r.ur_h_residual if s else r.ur_h_load,
                                  r.us_h_residual if s else r.us_h_load)
                        for r, s in zip(levelled, scanned, strict=True)])  # fmt: skip
    grooves = [_groove(r, None if s else elastic) for r, s in zip(levelled, scanned, strict=True)]
    volume, steep = np.array([_volume(tip, h, w) for h, w in grooves]).T
    u_volume = np.hypot(steep * u_depth, volume * inputs.position_scale.u)
    work = np.cumsum([_work(r) for r in levelled])
    return Wear(
        depth, u_depth, volume, u_volume, work, _rate(work, volume, inputs), scanned,
        tuple(remarks),
    )  # fmt: skip


def _rounds(track: Track) -> list[tuple[Pass, Pass | None]]:
    """Each scratch pass with the scan that follows it before the next."""
    out: list[tuple[Pass, Pass | None]] = []
    for p in track.passes:
        if p.kind == "scratch":
            out.append((p, None))
        elif p.kind == "after" and out and out[-1][1] is None:
            out[-1] = (out[-1][0], p)
    return out


def _passes(track: Track, scratch: Pass, after: Pass | None) -> tuple[Pass, ...]:
    first = () if track.before is None else (track.before,)
    return (*first, scratch) if after is None else (*first, scratch, after)


def _middle(h: Floats, x: Floats) -> float:
    """Median depth away from the ends of the track."""
    inner = (x > 0.1 * np.nanmax(x)) & (x < 0.9 * np.nanmax(x)) & np.isfinite(h)
    return float(np.median(h[inner])) if inner.any() else np.nan


def _groove(r: Levelled, elastic: float | None) -> tuple[Floats, float]:
    """Residual depth of each bin along the whole way, and the width of a bin.

    Without a scan: the depth under load less the elastic part, which goes with the load.
    """
    deep = r.bins.means(r.h_residual if elastic is None else r.h_load)[0]
    if elastic is not None:
        load = r.bins.means(r.F_n)[0]
        deep = deep - elastic * np.clip(load / np.nanmedian(load), 0.0, 1.0)
    return filled(deep), float(r.bins.width)


def _volume(tip: Tip, deep: Floats, width: float) -> tuple[float, float]:
    """Volume of a groove (m^3), and its slope against a depth that is off everywhere. Above the
    surface it counts as negative, so that noise adds nothing."""
    section, slope = _section(tip, np.abs(deep))
    return float(np.sum(np.sign(deep) * section) * width), float(np.sum(slope) * width)


def _work(r: Levelled) -> float:
    """Load times way of one pass (N m)."""
    return float(np.sum(filled(r.bins.means(r.F_n)[0])) * r.bins.width)


def _u_middle(ur: Floats, us: Floats) -> float:
    """The shared part stays whole; of the noise some tens of readings are independent."""
    return float(np.hypot(np.nanmedian(ur) / 5.0, np.nanmedian(us)))


def _section(tip: Tip, depth: Floats) -> tuple[Floats, Floats]:
    """Upright section of the groove (m^2) and its slope against depth; 0 where there is none."""
    deep = np.maximum(depth, 1e-12)
    step = 1e-4 * deep
    value = np.real(front_section(tip, deep))
    rise = np.real(front_section(tip, deep + step) - front_section(tip, deep - step)) / (2 * step)
    return np.where(depth > 0, value, 0.0), np.asarray(rise)


def _rate(work: Floats, volume: Floats, inputs: Inputs) -> Known | None:
    """Slope of volume against work after the first pass, which forms the groove."""
    if len(work) < 4:
        return None
    x, y = work[1:], volume[1:]
    dx = x - x.mean()
    slope = float(dx @ y / (dx @ dx))
    rest = y - y.mean() - slope * dx
    u = float(np.sqrt(rest @ rest / max(len(x) - 2, 1) / (dx @ dx)))
    scale = inputs.normal_scale
    return Known(slope, float(np.hypot(u, slope * scale.u / scale.value)))

"""Scratch hardness from the width of the track, HS_P = 8 F_n / (pi w^2) [astm-g171-2003].

The standard's own constant for gram-force, micrometre and gigapascal, 24.98, is 0.03 % above what
the units give (8 * 9.80665/pi = 24.972); here the units are exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.problems import ScratchError
from drypoint.scratch.track import Known
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]

#: Stylus of the standard: apex angle in degrees, tip radius in m.
APEX_DEG, RADIUS = 120.0, 200e-6


@dataclass(frozen=True)
class ScratchHardness:
    """``value`` in Pa with standard uncertainty: ``u_random`` (spread of widths) and
    ``u_systematic`` (scales). ``shares`` of the variance by name; ``remarks`` in words."""

    value: float
    u: float
    u_random: float
    u_systematic: float
    width: Known
    load: Known
    shares: tuple[tuple[str, float], ...]
    remarks: tuple[str, ...]


def scratch_hardness(
    load: Known,
    width: Known | Floats,
    *,
    u_width_scale: float = 0.0,
    u_edge: float = 0.0,
    tip: Tip | None = None,
) -> ScratchHardness:
    """Scratch hardness of a track at constant load.

    Parameters
    ----------
    load : Known
        Normal force, N.
    width : Known or array
        Width of the residual track, m: one value with its uncertainty, or several readings
        whose spread tells theirs.
    u_width_scale : float
        Relative standard uncertainty of the picture's scale.
    u_edge : float
        Standard uncertainty of where both edges are seen, shared by all readings, m.
    tip : Tip, optional
        Compared with the stylus of the standard.

    Raises
    ------
    ScratchError
    """
    if isinstance(width, Known):
        w, u_own = width.value, width.u
    else:
        readings = np.asarray(width, dtype=float)
        readings = readings[np.isfinite(readings)]
        if len(readings) < 2:
            raise ScratchError(
                "The spread of widths needs two readings or more.",
                remedy="Give one width with its uncertainty, or read it at several places.",
            )
        w = float(np.mean(readings))
        u_own = float(np.std(readings, ddof=1) / np.sqrt(len(readings)))
    if not (w > 0 and load.value > 0):
        raise ScratchError(
            f"A width of {w:.4g} m under {load.value:.4g} N gives no hardness.",
            remedy="Both are above zero.",
        )
    value = 8 * load.value / (np.pi * w**2)
    parts = {
        "load": load.u / load.value,
        "width readings": 2 * u_own / w,
        "width scale": 2 * u_width_scale,
        "edges": 2 * u_edge / w,
    }
    variance = sum(p * p for p in parts.values())
    u_random = value * parts["width readings"]
    u = value * float(np.sqrt(variance))
    shares = tuple((k, p * p / variance if variance > 0 else 0.0) for k, p in parts.items())
    return ScratchHardness(
        float(value), u, u_random, float(np.sqrt(max(u * u - u_random**2, 0.0))),
        Known(w, float(np.sqrt(u_own**2 + (w * u_width_scale) ** 2 + u_edge**2))), load, shares,
        _remarks(tip),
    )  # fmt: skip


def _remarks(tip: Tip | None) -> tuple[str, ...]:
    if tip is None:
        return ("The stylus is not known; the standard asks for a 120 degree cone of 200 µm.",)
    g = tip.geometry
    angle = 2 * float(np.degrees(g.angle)) if g.angle is not None else np.nan
    radius = g.radius if g.radius is not None else np.nan
    if g.shape == "sphero-cone" and abs(angle - APEX_DEG) <= 5 and abs(radius - RADIUS) <= 10e-6:
        return ()
    return (
        f"The tip ({g.shape}) is not the stylus of the standard, a 120 degree cone with a 200 µm "
        "end: the value compares only with tracks of the same tip.",
    )

"""Zero of the lateral force, and cross-talk of the normal force into it.

The sensor reads F_read = F_l + zero + c F_n. The zero is what was declared; else the reading off
the surface; else the middle between two light scans in opposite directions, whose friction is
opposed; else the reading of the light scan less the friction expected there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.bins import bins
from drypoint.scratch.examine import Place, direction_of
from drypoint.scratch.problems import ScratchError
from drypoint.scratch.track import Inputs, Known, Pass, Track
from drypoint.uncertainty.noise import robust_slope

Floats = NDArray[np.float64]

#: Friction coefficient expected of a light scan: middle and half-width of a rectangular
#: distribution, 0 to 0.4 (our own choice; diamond on most dry surfaces lies within).
LIGHT_FRICTION = 0.2
FEWEST_OFF = 20  # samples off the surface that tell the zero


def _middle(F: Floats) -> Known:
    good = F[np.isfinite(F)]
    scale = 1.4826 * float(np.median(np.abs(good - np.median(good))))
    # Slow noise: a scan is worth some tens of independent readings, not thousands.
    return Known(float(np.median(good)), scale * float(np.sqrt(np.pi / 2 / min(len(good), 25))))


def _off_surface(p: Pass) -> Floats | None:
    """Lateral force where nothing is touched: at the start of the pass, while the normal force is
    within its noise of zero and does not rise (a ramp from zero slides from its first sample)."""
    assert p.F_l is not None
    top = float(np.nanmax(p.F_n))
    step = np.diff(p.F_n[: max(len(p) // 10, 32)])
    noise = 1.4826 * float(np.nanmedian(np.abs(step))) / float(np.sqrt(2))
    touching = ~(np.abs(p.F_n) <= max(4 * noise, 1e-4 * top))
    first = int(np.argmax(touching)) if touching.any() else len(p)
    if first < FEWEST_OFF:
        return None
    early, late = np.array_split(p.F_n[:first], 2)
    rise = float(np.median(late)) - float(np.median(early))
    slack = max(4 * noise * float(np.sqrt(np.pi / first)), 1e-5 * top)
    return None if rise > slack else p.F_l[:first]


def lateral_zero(track: Track, inputs: Inputs, where: Place) -> tuple[Known, str]:
    """Reading of lateral force without lateral load, N, and how it was found.

    Returns
    -------
    zero : Known
    how : str
        "declared", "off the surface", "opposed scans", "light scan" or "assumed".
    """
    if inputs.lateral_zero is not None:
        return inputs.lateral_zero, "declared"
    able = [p for p in track.passes if p.F_l is not None and np.isfinite(p.F_l).any()]
    for p in able:
        off = _off_surface(p)
        if off is not None:
            return _middle(off), "off the surface"
    talk = inputs.crosstalk
    light = [p for p in able if p.kind != "scratch"]
    parts = []
    for p in light:
        assert p.F_l is not None
        F_n = float(np.nanmedian(p.F_n)) - inputs.normal_zero.value
        shown = _middle(p.F_l - talk.value * F_n)
        parts.append((direction_of(where.of(p.x)), F_n, shown))
    onward = [q for q in parts if q[0] > 0]
    against = [q for q in parts if q[0] < 0]
    if onward and against:
        a, b = onward[0], against[0]
        # F = zero + mu N and zero - mu N': weights that cancel mu.
        total = a[1] + b[1]
        w = b[1] / total if total > 0 else 0.5
        value = w * a[2].value + (1 - w) * b[2].value
        u = float(np.hypot(np.hypot(w * a[2].u, (1 - w) * b[2].u), a[1] * talk.u))
        return Known(value, u), "opposed scans"
    if parts:
        sign, F_n, shown = parts[0]
        value = shown.value - sign * LIGHT_FRICTION * F_n
        u = float(np.hypot(shown.u, LIGHT_FRICTION * F_n / np.sqrt(3)))
        return Known(value, u), "light scan"
    scratch = track.scratch
    top = 0.0 if scratch is None else float(np.nanmax(scratch.F_n))
    return Known(0.0, 0.01 * top / float(np.sqrt(3))), "assumed"


@dataclass(frozen=True)
class CrossTalk:
    """``crosstalk`` c and ``zero`` (N) of F_read = zero + c F_n in a run without sliding."""

    crosstalk: Known
    zero: Known


def find_crosstalk(F_n: Floats, F_l: Floats) -> CrossTalk:
    """Cross-talk from a run in which the tip is pressed and does not move along the surface.

    Huber's straight line through lateral against normal force, in bins of normal force.

    Raises
    ------
    ScratchError
        When the normal force does not vary.
    """
    F_n, F_l = np.asarray(F_n, dtype=float), np.asarray(F_l, dtype=float)
    good = np.isfinite(F_n) & np.isfinite(F_l)
    if good.sum() < 24 or not np.ptp(F_n[good]) > 0:
        raise ScratchError(
            "Cross-talk needs a run in which the normal force varies.",
            remedy="Press the tip without moving it sideways, over the range of forces used.",
        )
    x, y = F_n[good], F_l[good]
    grid = bins(x, float(x.min()), float(x.max()), int(np.clip(len(x) // 8, 8, 200)))
    mean, _, count = grid.means(y)
    held = count > 0
    slope, zero, u = robust_slope(grid.centre[held], mean[held])
    spread, middle = float(np.std(grid.centre[held])), float(np.mean(grid.centre[held]))
    return CrossTalk(Known(slope, u), Known(zero, u * float(np.hypot(spread, middle))))

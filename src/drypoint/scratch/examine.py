"""What is wrong with a track, in words; and where its passes lie along the scratch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.scratch.bins import Bins
from drypoint.scratch.problems import Problem, ScratchError
from drypoint.scratch.track import Inputs, Pass, Track
from drypoint.uncertainty.noise import robust_slope

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

COVERED = 0.98  # share of the scratch that a pass must cover to count as whole
BACK = 0.02  # share of the way that may be made backwards
LIFT = 0.2  # below this share of the force expected, the tip is off
RUN = 8  # samples in a row at one value that make a limit


@dataclass(frozen=True)
class Place:
    """Where x = 0 lies and which way the scratch goes: +1 or -1."""

    start: float
    direction: int
    scale: float

    def of(self, x: Floats) -> Floats:
        """Positions along the scratch from its start, m."""
        return self.direction * self.scale * (x - self.start)


def direction_of(x: Floats) -> int:
    """+1 where positions rise along the pass, -1 where they fall."""
    good = x[np.isfinite(x)]
    third = max(1, len(good) // 3)
    return 1 if np.mean(good[-third:]) >= np.mean(good[:third]) else -1


def place(scratch: Pass, inputs: Inputs) -> Place:
    """Origin and direction of the scratch.

    Raises
    ------
    ScratchError
        When the positions are not numbers or do not move.
    """
    x = scratch.x[np.isfinite(scratch.x)]
    if len(x) < 16 or not np.ptp(x) > 0:
        raise ScratchError(
            "The positions of the scratch pass do not move.",
            remedy="Give the distance along the track; from time and speed if need be.",
        )
    sign = direction_of(scratch.x)
    return Place(float(np.min(x) if sign > 0 else np.max(x)), sign, inputs.position_scale.value)


@njit(cache=True, nogil=True)
def _backwards(x: Floats) -> tuple[float, float]:
    """Way made against the direction, and all of it forwards."""
    back = 0.0
    on = 0.0
    last = np.nan
    for i in range(len(x)):
        if not np.isfinite(x[i]):
            continue
        d = x[i] - last
        if d < 0.0:
            back -= d
        elif d > 0.0:
            on += d
        last = x[i]
    return back, on


def _um(x: float) -> str:
    return f"{x * 1e6:.4g} µm"


def examine(track: Track, where: Place) -> list[Problem]:
    """Missing, short, reversed and spoiled passes of a track that has a scratch pass."""
    out = []
    scratch = track.scratch
    assert scratch is not None
    if track.before is None:
        sentence = "There is no pass before the scratch: topography stays in the depths."
        out.append(Problem("no before", sentence))
    if track.after is None:
        sentence = "There is no pass after the scratch: no residual depth and no recovery."
        out.append(Problem("no after", sentence))
    if scratch.h is None:
        out.append(Problem("no depth", "Depth was not recorded in the scratch pass.", "scratch"))
    if scratch.F_l is None:
        sentence = "Lateral force was not recorded in the scratch pass: there is no friction."
        out.append(Problem("no lateral force", sentence, "scratch"))
    length = float(np.nanmax(where.of(scratch.x)))
    for p in track.passes:
        out += _pass_problems(p, where, length, p is scratch)
    return out


def _pass_problems(p: Pass, where: Place, length: float, itself: bool) -> list[Problem]:
    out = []
    x = where.of(p.x)
    spoiled = int(np.sum(~np.isfinite(p.x) | ~np.isfinite(p.F_n)))
    if spoiled:
        sentence = f"{spoiled} of {len(p)} samples of the {p.kind} pass are not numbers; left out."
        out.append(Problem("not a number", sentence, p.kind))
    sign = direction_of(x)
    back, on = _backwards(sign * x)
    if back > BACK * on:
        sentence = (
            f"The {p.kind} pass goes back by {_um(back)} in all; its samples are put in order "
            "of position."
        )
        out.append(Problem("went back", sentence, p.kind))
    if itself:
        return out
    if sign < 0:
        sentence = f"The {p.kind} pass runs against the scratch; it was turned round."
        out.append(Problem("direction", sentence, p.kind))
    low, high = max(float(np.nanmin(x)), 0.0), min(float(np.nanmax(x)), length)
    if high <= low:
        sentence = f"The {p.kind} pass shares no stretch with the scratch and tells nothing."
        out.append(Problem("off track", sentence, p.kind))
    elif high - low < COVERED * length:
        sentence = (
            f"The {p.kind} pass covers {_um(low)} to {_um(high)} of the scratch's {_um(length)}; "
            "elsewhere what needs it is not given."
        )
        out.append(Problem("length", sentence, p.kind, low, high))
    return out


@njit(cache=True, nogil=True)
def _held(y: Floats, value: float, slack: float, least: int) -> Bools:
    """Runs of at least ``least`` samples within ``slack`` of a value."""
    out = np.zeros(len(y), dtype=np.bool_)
    start = 0
    for i in range(len(y) + 1):
        if i < len(y) and abs(y[i] - value) <= slack:
            continue
        if i - start >= least:
            out[start:i] = True
        start = i + 1
    return out


def saturated_at(scratch: Pass, inputs: Inputs) -> Bools:
    """Samples whose lateral force stands at its limit: the one given, or the largest value where
    at least eight samples in a row are the very same while the signal moves elsewhere."""
    n = len(scratch)
    if scratch.F_l is None or not np.isfinite(scratch.F_l).any():
        return np.zeros(n, dtype=bool)
    F = scratch.F_l
    if inputs.lateral_limit is not None:
        return np.asarray(np.abs(F) >= 0.9995 * inputs.lateral_limit)
    if not np.nanmax(F) > np.nanmin(F):
        return np.zeros(n, dtype=bool)
    slack = 1e-9 * float(np.nanmax(np.abs(F)))
    high, low = float(np.nanmax(F)), float(np.nanmin(F))
    return _held(F, high, slack, RUN) | _held(F, low, slack, RUN)


def lifted_at(F_n: Floats, grid: Bins) -> Bools:
    """Samples at which the normal force falls below a fifth of what the ramp promises there.

    The ramp is Huber's straight line through the bins; stretches where it promises less than a
    twentieth of its largest force are not judged.
    """
    mean, _, _ = grid.means(F_n)
    good = np.isfinite(mean)
    if good.sum() < 8:
        return np.zeros(len(F_n), dtype=bool)
    slope, at_zero, _ = robust_slope(grid.centre[good], mean[good])
    promised = at_zero + slope * grid.centre
    judged = grid.spread(np.where(promised > 0.05 * np.nanmax(promised), promised, np.nan))
    low = F_n < LIFT * judged
    # A single reading is noise: three neighbours must agree.
    both = np.zeros(len(low), dtype=bool)
    if len(low) >= 3:
        three = low[:-2] & low[1:-1] & low[2:]
        both[:-2] |= three
        both[1:-1] |= three
        both[2:] |= three
    return both


def stretches(x: Floats, mark: Bools) -> tuple[float, float, float]:
    """First and last position of what is marked, and its share."""
    at = x[mark & np.isfinite(x)]
    return float(np.min(at)), float(np.max(at)), float(np.mean(mark))


def said(x: Floats, lifted: Bools, saturated: Bools) -> list[Problem]:
    """Lifted tip and saturated lateral force as problems."""
    out = []
    if lifted.any():
        a, b, share = stretches(x, lifted)
        sentence = (
            f"The tip was off the surface between {_um(a)} and {_um(b)} "
            f"({100 * share:.2g} % of the samples); these are left out."
        )
        out.append(Problem("lifted", sentence, "scratch", a, b))
    if saturated.any():
        a, b, share = stretches(x, saturated)
        sentence = (
            f"Lateral force stands at its limit between {_um(a)} and {_um(b)} "
            f"({100 * share:.2g} % of the samples); friction is not given there."
        )
        out.append(Problem("saturated", sentence, "scratch", a, b))
    return out

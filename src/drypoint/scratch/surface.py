"""The surface under a track: slope, offset, topography; and depths measured from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.bins import Bins, across, bins
from drypoint.scratch.examine import Place
from drypoint.scratch.problems import Problem
from drypoint.scratch.track import Inputs, Known, Pass, Track
from drypoint.uncertainty.noise import robust_slope

Floats = NDArray[np.float64]

#: A lead is at least this share of the scratch.
LEAST_LEAD = 0.02


@dataclass(frozen=True)
class Line:
    """Straight line of the surface: ``offset`` (m) at ``middle`` (m), ``slope`` (m/m)."""

    slope: Known
    offset: Known
    middle: float

    def at(self, x: Floats) -> Floats:
        """Height of the line, as a depth, m."""
        return self.offset.value + self.slope.value * (x - self.middle)

    def u_at(self, x: Floats) -> Floats:
        """Its standard uncertainty, m."""
        return np.hypot(self.offset.u, self.slope.u * (x - self.middle))


@dataclass(frozen=True)
class Depths:
    """Value, sample-by-sample and shared standard uncertainty, each (n,), m; and the surface."""

    load: tuple[Floats, Floats, Floats]
    residual: tuple[Floats, Floats, Floats]
    topography: Floats
    line: Line | None


@dataclass(frozen=True)
class _Surface:
    """Height of the surface for every sample of the scratch (as a depth, m)."""

    height: Floats
    noise: Floats
    shared: Floats
    topography: Floats
    line: Line | None


def line_through(x: Floats, y: Floats) -> Line | None:
    """Huber's straight line; its noise may have a colour. None with too few values."""
    good = np.isfinite(y)
    if good.sum() < 8:
        return None
    middle = float(np.mean(x[good]))
    slope, offset, u = robust_slope(x[good] - middle, y[good])
    if not np.isfinite(slope):
        return None
    u = u if np.isfinite(u) else 0.0
    return Line(Known(slope, u), Known(offset, u * float(np.std(x[good]))), middle)


@dataclass(frozen=True)
class Base:
    """What all passes are measured from: inputs, place, and the tilt, which is taken off first so
    that bins are level within."""

    inputs: Inputs
    where: Place
    tilt: Line | None = None

    def depth(self, p: Pass) -> Floats:
        """Depth of a pass in true units, less what the frame gives and less the tilt, m."""
        assert p.h is not None
        F = self.inputs.normal_scale.value * (p.F_n - self.inputs.normal_zero.value)
        h = self.inputs.depth_scale.value * p.h - self.inputs.compliance.value * F
        return h if self.tilt is None else h - self.tilt.at(self.where.of(p.x))

    def gridded(self, p: Pass, grid: Bins) -> tuple[Floats, Floats]:
        """A pass's depth in the bins of the scratch, and the noise of a bin's mean: white, or what
        the second differences of neighbouring bins say, whichever is larger."""
        count = len(grid.centre)
        low = float(grid.centre[0]) - grid.width / 2
        own = bins(self.where.of(p.x), low, low + count * grid.width, count)
        mean, scale, number = own.means(self.depth(p))
        bend = mean[2:] - 2 * mean[1:-1] + mean[:-2]
        bend = np.abs(bend[np.isfinite(bend)])
        least = 1.4826 * float(np.median(bend)) / float(np.sqrt(6)) if len(bend) else 0.0
        return mean, np.maximum(scale / np.sqrt(np.maximum(number, 1)), least)


def lead_of(scratch: Pass, before: Pass | None, where: Place) -> float:
    """Length at the start over which the scratch is as light as the scan before, m; 0 without."""
    x = where.of(scratch.x)
    top = float(np.nanmax(scratch.F_n))
    light = 0.01 * top
    if before is not None:
        noise = float(np.nanstd(before.F_n))
        light = max(1.2 * float(np.nanmedian(before.F_n)) + 3 * noise, light)
    if light > 0.2 * top:
        return 0.0
    heavy = scratch.F_n > light
    run = heavy[:-2] & heavy[1:-1] & heavy[2:]
    first = int(np.argmax(run)) if run.any() else 0
    length = float(x[first - 1]) if first > 0 else 0.0
    return length if length >= LEAST_LEAD * float(np.nanmax(x)) else 0.0


def _touches(p: Pass | None, where: Place, length: float) -> bool:
    if p is None or p.h is None:
        return False
    x = where.of(p.x)
    return bool(np.nanmin(x) < length and np.nanmax(x) > 0)


def _surface(
    track: Track, base: Base, x: Floats, grid: Bins, lead: float, u_tilt: float,
    problems: list[Problem],
) -> _Surface:  # fmt: skip
    before, inputs, where = track.before, base.inputs, base.where
    centre, none = grid.centre, np.zeros(len(x))
    if _touches(before, where, float(np.nanmax(x))):
        assert before is not None
        mean, noise = base.gridded(before, grid)
        line = line_through(centre, mean)
        height = across(x, centre, mean)
        rough = np.abs(np.gradient(np.interp(centre, centre, _filled(centre, mean)), centre))
        shared = inputs.u_position * grid.spread(rough)
        topography = height - line.at(x) if line is not None else height
        return _Surface(height, grid.spread(noise), shared, topography, line)
    line = _margins(track, base, float(np.nanmax(x)), lead)
    if line is not None:
        return _Surface(line.at(x), none, line.u_at(x), none * np.nan, line)
    sentence = (
        "Nothing tells the tilt of the surface; depth is counted from the scratch's first samples, "
        f"with {np.degrees(u_tilt):.2g} degrees of tilt as standard uncertainty."
    )
    problems.append(Problem("tilt", sentence, "scratch"))
    scratch = track.scratch
    assert scratch is not None and scratch.h is not None
    first = float(np.nanmedian(base.depth(scratch)[: max(4, len(x) // 400)]))
    return _Surface(none + first, none, u_tilt * x, none * np.nan, None)


def _filled(x: Floats, y: Floats) -> Floats:
    good = np.isfinite(y)
    return np.interp(x, x[good], y[good]) if good.any() else np.zeros_like(x)


def _margins(track: Track, base: Base, length: float, lead: float) -> Line | None:
    """The line through untouched surface on both sides of the scratch, seen by the scan after."""
    after = track.after
    if after is None or after.h is None:
        return None
    xa = base.where.of(after.x)
    h = base.depth(after)
    left, right = xa < lead, xa > length * 1.005
    if left.sum() < 16 or right.sum() < 16:
        return None
    x, y = [], []
    for side in (left, right):
        own = bins(xa[side], float(xa[side].min()), float(xa[side].max()), 8)
        x.append(own.centre)
        y.append(own.means(h[side])[0])
    return line_through(np.concatenate(x), np.concatenate(y))


def depths(
    track: Track, inputs: Inputs, where: Place, grid: Bins, lead: float,
    *, by_lead: bool, u_tilt: float, problems: list[Problem],
) -> Depths:  # fmt: skip
    """Depth under load and residual depth from the surface; what is missing becomes a problem."""
    scratch, after = track.scratch, track.after
    assert scratch is not None
    x = where.of(scratch.x)
    unknown: Floats = np.full(len(x), np.nan)
    gone: tuple[Floats, Floats, Floats] = (unknown, unknown, unknown)
    if scratch.h is None:
        return Depths(gone, gone, unknown, None)
    base = Base(inputs, where)
    if _touches(track.before, where, float(np.nanmax(x))):
        assert track.before is not None
        base = Base(inputs, where, line_through(grid.centre, base.gridded(track.before, grid)[0]))
    ground = _surface(track, base, x, grid, lead, u_tilt, problems)
    h = base.depth(scratch)
    noise = grid.spread(grid.means(h)[1])
    start = lead if by_lead else 0.0
    load = _from_surface(h, noise, ground, x, inputs, scratch.F_n, start)
    residual = gone
    if _touches(after, where, float(np.nanmax(x))):
        assert after is not None
        mean, u_mean = base.gridded(after, grid)
        light = np.full(len(x), float(np.nanmedian(after.F_n)))
        seen = across(x, grid.centre, mean)
        residual = _from_surface(seen, grid.spread(u_mean), ground, x, inputs, light, start)
    elif after is not None and after.h is None:
        problems.append(Problem("no depth", "Depth was not recorded in the after pass.", "after"))
    return Depths(load, residual, ground.topography, _together(base.tilt, ground.line))


def _together(tilt: Line | None, rest: Line | None) -> Line | None:
    """The surface's line: what was taken off first, and what was left; the uncertainty is that of
    the second."""
    if tilt is None or rest is None:
        return rest
    slope = Known(tilt.slope.value + rest.slope.value, rest.slope.u)
    offset = float(tilt.at(np.array([rest.middle]))[0]) + rest.offset.value
    return Line(slope, Known(offset, rest.offset.u), rest.middle)


def _from_surface(
    h: Floats, noise: Floats, ground: _Surface, x: Floats, inputs: Inputs, F_n: Floats, lead: float
) -> tuple[Floats, Floats, Floats]:
    """Depth from the surface, its own and its shared uncertainty."""
    out = h - ground.height
    zero = inputs.u_depth_zero
    least = 0.0
    if lead > 0.0:
        on_lead = out[(x < lead) & np.isfinite(out)]
        if len(on_lead) >= 8:
            out = out - float(np.median(on_lead))
            scale = 1.4826 * float(np.median(np.abs(on_lead - np.median(on_lead))))
            zero = scale * float(np.sqrt(np.pi / 2 / min(len(on_lead), 10)))
            # On the lead the depth is zero: what it shows instead is noise of both passes.
            least = scale
    s = inputs.depth_scale
    shared = np.sqrt(
        (out * s.u / s.value) ** 2 + (F_n * inputs.compliance.u) ** 2 + zero**2 + ground.shared**2
    )
    return out, np.maximum(np.hypot(noise, ground.noise), least), shared

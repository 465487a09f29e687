"""Levelling: what the scan before the scratch tells is taken off the depths.

With s_h the depth scale, C_f the frame's compliance and h_b, h_s, h_a the depths read before,
during and after the scratch,

    true depth under load  h(x)   = s_h h_s(x) - C_f F_n - z(x) - d_s
    residual depth         h_r(x) = s_h h_a(x) - C_f F_a - z(x) - d_a
    surface                z(x)   = s_h h_b(x) - C_f F_b, in bins

The straight line of z gives slope and offset, the rest is topography. d is the difference of the
passes' zeros, taken on the lead: the stretch at the start where the scratch is still as lightly
loaded as the scan before. A tilt or an offset common to all passes cancels. Lateral force:

    F_l = s_l (F_read - zero) - c F_n,      c the cross-talk
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.bins import Bins, bins
from drypoint.scratch.examine import examine, lifted_at, place, said, saturated_at
from drypoint.scratch.lateral import lateral_zero
from drypoint.scratch.problems import Problem, ScratchError
from drypoint.scratch.surface import Line, depths, lead_of
from drypoint.scratch.track import Declared, Inputs, Known, Pass, Track
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Bins along the scratch, and the fewest samples that a bin shall hold.
BINS, SAMPLES = 400, 8


@dataclass(frozen=True)
class LevelOptions:
    """How the depths are freed of the surface.

    Parameters
    ----------
    zero : {"lead", "shared"}
        "lead": each pass's zero from the lead where there is one; "shared": the passes share one.
    bins : int
        Bins of the surface along the scratch.
    u_tilt : float
        Standard uncertainty of the tilt (rad) where nothing tells it; our own choice, about half
        a degree as a rectangular half-width.
    """

    zero: Literal["lead", "shared"] = "lead"
    bins: int = BINS
    u_tilt: float = 0.005


@dataclass(frozen=True)
class Levelled:
    """A track freed of surface, zeros and cross-talk. Arrays of shape (n,), one a scratch sample.

    Depths in m, forces in N, ``x`` in m from the scratch's start along its direction. ``ur_`` is
    the standard uncertainty that differs from sample to sample, ``us_`` the one that is shared.
    NaN where something is not known. ``line`` is the surface's straight line (None where nothing
    told it), ``lateral_from`` says how the lateral zero was found, ``lifted`` and ``saturated``
    mark samples whose values mean nothing. ``extra`` holds further channels of the scratch pass
    as recorded, ``bins`` the stretches that all later steps work on.
    """

    name: str
    x: Floats
    t: Floats | None
    F_n: Floats
    F_l: Floats
    h_load: Floats
    h_residual: Floats
    topography: Floats
    ur_h_load: Floats
    us_h_load: Floats
    ur_h_residual: Floats
    us_h_residual: Floats
    ur_F_l: Floats
    us_F_l: Floats
    line: Line | None
    lateral_zero: Known
    lateral_from: str
    lead: float
    lifted: Bools
    saturated: Bools
    extra: Mapping[str, Floats]
    bins: Bins
    problems: tuple[Problem, ...]
    inputs: Inputs
    tip: Tip | None
    declared: Declared

    @property
    def u_h_load(self) -> Floats:
        """Combined standard uncertainty of the depth under load, m."""
        return np.hypot(self.ur_h_load, self.us_h_load)

    @property
    def u_h_residual(self) -> Floats:
        """Combined standard uncertainty of the residual depth, m."""
        return np.hypot(self.ur_h_residual, self.us_h_residual)

    @property
    def u_F_l(self) -> Floats:
        """Combined standard uncertainty of the lateral force, N."""
        return np.hypot(self.ur_F_l, self.us_F_l)

    @property
    def usable(self) -> Bools:
        """Samples whose normal force means something."""
        return np.isfinite(self.F_n) & np.isfinite(self.x) & ~self.lifted

    @property
    def recovery(self) -> Floats:
        """Share of the depth under load that came back, 1 - h_r/h; NaN near zero depth."""
        deep = self.h_load > 3 * self.u_h_load
        return np.where(deep, 1 - self.h_residual / np.where(deep, self.h_load, 1.0), np.nan)

    @property
    def u_recovery(self) -> Floats:
        """Standard uncertainty of :attr:`recovery`; the two depths taken as independent."""
        h = np.where(np.isfinite(self.recovery), self.h_load, np.nan)
        return np.hypot(self.u_h_residual / h, self.h_residual * self.u_h_load / h**2)


def level(
    track: Track, inputs: Inputs | None = None, options: LevelOptions | None = None
) -> Levelled:
    """Depths, forces and surface of a track.

    A missing pass or channel leaves NaN and a problem in words; only a track without a scratch
    pass, or one that does not move, is refused.

    Raises
    ------
    ScratchError
    """
    inputs, options = inputs or Inputs(), options or LevelOptions()
    scratch = track.scratch
    if scratch is None:
        raise ScratchError(
            f"Track “{track.name}” has no scratch pass.", remedy="Say which pass is the scratch."
        )
    where = place(scratch, inputs)
    x = where.of(scratch.x)
    problems = examine(track, where)
    grid = bins(x, 0.0, float(np.nanmax(x)), int(np.clip(len(x) // SAMPLES, 8, options.bins)))
    lead = lead_of(scratch, track.before, where)
    found = depths(
        track, inputs, where, grid, lead,
        by_lead=options.zero == "lead", u_tilt=options.u_tilt, problems=problems,
    )  # fmt: skip
    F_n = inputs.normal_scale.value * (scratch.F_n - inputs.normal_zero.value)
    lifted, saturated = lifted_at(F_n, grid), saturated_at(scratch, inputs)
    problems += said(x, lifted, saturated)
    zero, how = lateral_zero(track, inputs, where)
    F_l, ur_l, us_l = _lateral(scratch, inputs, zero, F_n, grid)
    if scratch.F_l is not None and how == "assumed":
        sentence = (
            "Nothing tells the zero of lateral force; it is taken as read, with "
            f"{zero.u:.2g} N as standard uncertainty."
        )
        problems.append(Problem("lateral zero", sentence, "scratch"))
    return Levelled(
        name=track.name, x=x, t=scratch.t, F_n=F_n, F_l=F_l,
        h_load=found.load[0], h_residual=found.residual[0], topography=found.topography,
        ur_h_load=found.load[1], us_h_load=found.load[2],
        ur_h_residual=found.residual[1], us_h_residual=found.residual[2],
        ur_F_l=ur_l, us_F_l=us_l, line=found.line, lateral_zero=zero, lateral_from=how,
        lead=lead, lifted=lifted, saturated=saturated, extra=dict(scratch.extra), bins=grid,
        problems=tuple(problems), inputs=inputs, tip=track.tip, declared=track.declared,
    )  # fmt: skip


def _lateral(
    scratch: Pass, inputs: Inputs, zero: Known, F_n: Floats, grid: Bins
) -> tuple[Floats, Floats, Floats]:
    """Lateral force, its noise and its shared uncertainty; NaN where it was not recorded."""
    if scratch.F_l is None:
        unknown = np.full(len(scratch), np.nan)
        return unknown, unknown, unknown
    scale, talk = inputs.lateral_scale, inputs.crosstalk
    F_l = scale.value * (scratch.F_l - zero.value) - talk.value * F_n
    noise = grid.means(F_l)[1]
    shared = np.sqrt(
        (F_l * scale.u / scale.value) ** 2 + (scale.value * zero.u) ** 2 + (F_n * talk.u) ** 2
    )
    return F_l, grid.spread(noise), shared

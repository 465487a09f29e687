"""A scratch track as it was recorded: passes over one line, the tip, what is known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.problems import ScratchError
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]
Kind = Literal["before", "scratch", "after"]

#: A light scan of the surface, the scratch itself, a light scan of what it left.
KINDS: tuple[Kind, ...] = ("before", "scratch", "after")
FEWEST = 16  # samples in a pass


@dataclass(frozen=True)
class Known:
    """A number from outside with its standard uncertainty, SI."""

    value: float
    u: float = 0.0

    def __post_init__(self) -> None:
        if not (np.isfinite(self.value) and 0 <= self.u < np.inf):
            raise ScratchError(
                f"{self.value:.4g} with standard uncertainty {self.u:.4g} is no statement.",
                remedy="Give a finite value and a finite uncertainty from zero up.",
            )


def _checked(name: str, values: Floats | None, n: int, where: str) -> Floats | None:
    if values is None:
        return None
    out = np.asarray(values, dtype=float)
    if out.shape != (n,):
        raise ScratchError(
            f"{name} of the {where} pass has shape {out.shape}, its position ({n},).",
            remedy="Give one value a sample.",
        )
    return out


@dataclass(frozen=True)
class Pass:
    """One run of the tip along the track. Arrays of shape (n,), in the order of time.

    Parameters
    ----------
    kind : {"before", "scratch", "after"}
    x : array
        Position along the track, m; the same zero for all passes of a track.
    F_n : array
        Normal force, N, positive into the surface.
    F_l : array, optional
        Lateral force as read, N, positive against the motion of the scratch pass.
    h : array, optional
        Depth as read, m, positive into the surface.
    t : array, optional
        Time, s.
    extra : mapping
        Further channels by name, for example "acoustic emission", in their own unit.

    A sample that was not read is NaN; a channel that was not recorded is None.
    """

    kind: Kind
    x: Floats
    F_n: Floats
    F_l: Floats | None = None
    h: Floats | None = None
    t: Floats | None = None
    extra: Mapping[str, Floats] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ScratchError(
                f"“{self.kind}” is no kind of pass.", remedy="Use one of: " + ", ".join(KINDS) + "."
            )
        x = np.asarray(self.x, dtype=float)
        if x.ndim != 1 or len(x) < FEWEST:
            raise ScratchError(
                f"A pass needs {FEWEST} samples or more; the {self.kind} pass has {x.size}."
            )
        object.__setattr__(self, "x", x)
        for name in ("F_n", "F_l", "h", "t"):
            values = _checked(name, getattr(self, name), len(x), self.kind)
            object.__setattr__(self, name, values)
        extra = {k: _checked(k, v, len(x), self.kind) for k, v in self.extra.items()}
        object.__setattr__(self, "extra", extra)

    def __len__(self) -> int:
        return len(self.x)


@dataclass(frozen=True)
class Declared:
    """What the operator states about a track; None where nothing was stated.

    ``width`` is that of the scratch as measured on a picture or profile (m), ``first_force`` and
    ``last_force`` those of the ramp (N), ``repeats`` the number of scratch passes meant.
    """

    width: Known | None = None
    first_force: float | None = None
    last_force: float | None = None
    repeats: int | None = None


@dataclass(frozen=True)
class Inputs:
    """What is uncertain about the readings, shared by all tracks of a bench. SI.

    Scales multiply what was written. ``lateral_zero`` (N) is the reading of lateral force without
    contact; None lets it be found from the track. ``crosstalk`` is the part of the normal force
    that shows as lateral force: F_read = F_l + zero + crosstalk F_n. ``lateral_limit`` (N) is where
    the lateral sensor ends; None lets saturation be recognised from the signal. ``compliance``
    (m/N) is what the frame gives in depth under normal force. ``u_depth_zero`` (m) is how well the
    depth zeros of two passes agree, ``u_position`` (m) their positions.
    """

    normal_scale: Known = Known(1.0)
    lateral_scale: Known = Known(1.0)
    depth_scale: Known = Known(1.0)
    position_scale: Known = Known(1.0)
    normal_zero: Known = Known(0.0)
    lateral_zero: Known | None = None
    crosstalk: Known = Known(0.0)
    compliance: Known = Known(0.0)
    lateral_limit: float | None = None
    u_depth_zero: float = 0.0
    u_position: float = 0.0


@dataclass(frozen=True)
class Track:
    """A line over the surface: its passes in the order in which they were made.

    Several scratch passes are repeats over the same line (wear); the first is the scratch.
    """

    name: str
    passes: tuple[Pass, ...]
    tip: Tip | None = None
    declared: Declared = Declared()

    def __post_init__(self) -> None:
        if not self.passes:
            raise ScratchError(f"Track “{self.name}” has no pass.")
        object.__setattr__(self, "passes", tuple(self.passes))

    def of(self, kind: Kind) -> tuple[Pass, ...]:
        """Passes of one kind, in order."""
        return tuple(p for p in self.passes if p.kind == kind)

    @property
    def before(self) -> Pass | None:
        """The last scan before the scratch; None without."""
        return (self.of("before") or (None,))[-1]

    @property
    def scratch(self) -> Pass | None:
        """The first scratch pass; None without."""
        return (self.of("scratch") or (None,))[0]

    @property
    def after(self) -> Pass | None:
        """The first scan after the scratch; None without."""
        return (self.of("after") or (None,))[0]

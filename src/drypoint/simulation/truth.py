"""What is true of one invented test: specimen, tip, frame, disturbances; and what follows.

Everything here is SI. A :class:`Truth` is a plain value; change it with ``dataclasses.replace``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.unloading import combined_modulus, radial_factor
from drypoint.errors import DrypointError, Where
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]


class SimulationError(DrypointError):
    """An invented record is impossible as asked."""


@dataclass(frozen=True)
class Law:
    """A property against contact depth: deep + (surface - deep) exp(-h_c / length).

    A constant is a law with ``surface == deep``; see :meth:`constant`. ``length`` in metres.
    """

    surface: float
    deep: float
    length: float = float("inf")

    def __post_init__(self) -> None:
        if not (self.surface > 0 and self.deep > 0 and self.length > 0):
            raise SimulationError(
                f"A property of an invented specimen is not positive: {self}.",
                remedy="Give positive values.",
            )

    @classmethod
    def constant(cls, value: float) -> Law:
        """The same value at every depth."""
        return cls(value, value)

    def at(self, h_c: Floats | float) -> Floats:
        """Value at contact depth ``h_c`` (m)."""
        out: Floats = self.deep + (self.surface - self.deep) * np.exp(
            -np.asarray(h_c, dtype=np.float64) / self.length
        )
        return out


class ByDepth(Protocol):
    """Anything that gives a property at each contact depth."""

    def at(self, h_c: Floats | float) -> Floats:
        """Value at contact depth ``h_c`` (m)."""
        ...


@dataclass(frozen=True)
class Creep:
    """Creep in a hold: h_p share ``rate`` times ln(1 + t / ``tau``), ``tau`` in seconds.

    The same number governs the relaxation of force at constant depth.
    """

    rate: float = 0.0
    tau: float = 1.0

    def log(self, t: Floats | float) -> Floats:
        """ln(1 + t / tau), the course of creep."""
        return np.log1p(np.asarray(t, dtype=np.float64) / self.tau)


@dataclass(frozen=True)
class Noise:
    """Noise as standard deviations: white, and coloured (AR(1)) with correlation time (s)."""

    force_white: float = 0.0
    force_coloured: float = 0.0
    depth_white: float = 0.0
    depth_coloured: float = 0.0
    memory: float = 1.0


@dataclass(frozen=True)
class Oscillation:
    """A small oscillation on top of a test, and the instrument's own dynamics.

    Parameters
    ----------
    frequency : float
        Hz.
    amplitude : float
        Of the depth as recorded (frame included), half of peak to peak, m; held at every force.
    support_spring, moving_mass, damping : float
        Of the instrument: N/m, kg, N s/m.
    loss_factor : float
        Of the contact: w D_c / S.
    force_noise, depth_noise, phase_noise : float
        White noise of a recorded amplitude (N, m) and phase (rad), standard deviations.
    """

    frequency: float = 75.0
    amplitude: float = 1e-9
    support_spring: float = 100.0
    moving_mass: float = 1e-4
    damping: float = 2.0
    loss_factor: float = 0.0
    force_noise: float = 0.0
    depth_noise: float = 0.0
    phase_noise: float = 0.0


#: Faults that can be put into a record.
FAULTS = (
    "no contact",
    "saturated force",
    "not a number",
    "missing unloading",
    "truncated",
)


@dataclass(frozen=True)
class Truth:
    """One invented test.

    Parameters
    ----------
    tip : Tip
        The tip as it truly is.
    E, H : Law, or anything else with ``at``
        Young's modulus and hardness of the specimen against contact depth, Pa.
    nu : float
        Poisson's ratio of the specimen.
    m : float
        Exponent of the unloading curve where the contact is fully plastic.
    beta : float
        Factor in S = 2 beta / sqrt(pi) E_r sqrt(A_p).
    blend : float
        Half width w of the passage from elastic to plastic contact (see
        :mod:`drypoint.simulation.envelope`).
    creep : Creep
    compliance : float
        Frame compliance, m/N.
    drift_rate, drift_walk : float
        Thermal drift: constant rate (m/s) and random walk (m/sqrt(s)).
    zero_offset, force_offset : float
        Raw depth (m) and raw force (N) at the moment of contact.
    noise : Noise
    pop_in_force : float or None
        The contact stays elastic up to this force (N), then jumps in depth.
    oscillation : Oscillation or None
        Force and depth of loading are then those of the top of each swing; the record holds the
        means, as an instrument that filters writes them.
    fault : str or None
        One of :data:`FAULTS`.
    fault_level : float
        Share of the largest force at which the fault sets in.
    """

    tip: Tip
    E: ByDepth
    H: ByDepth
    nu: float
    name: str = "test"
    specimen: str = "invented"
    m: float = 1.4
    beta: float = 1.0
    blend: float = 0.6
    creep: Creep = field(default_factory=Creep)
    compliance: float = 0.0
    drift_rate: float = 0.0
    drift_walk: float = 0.0
    zero_offset: float = 0.0
    force_offset: float = 0.0
    noise: Noise = field(default_factory=Noise)
    pop_in_force: float | None = None
    oscillation: Oscillation | None = None
    fault: str | None = None
    fault_level: float = 0.7
    position_m: tuple[float, float] | None = None
    declared: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        where = Where(test=self.name)
        if not -1.0 < self.nu <= 0.5:
            raise SimulationError("Poisson's ratio lies between -1 and 0.5.", where=where)
        if not 1.0 < self.m <= 2.0:
            raise SimulationError("The unloading exponent lies above 1 and up to 2.", where=where)
        if not 0.0 < self.blend < 1.0:
            raise SimulationError("The blend lies between 0 and 1.", where=where)
        if self.creep.rate < 0 or self.creep.tau <= 0:
            raise SimulationError("Creep needs a rate >= 0 and a time > 0.", where=where)
        if self.fault is not None and self.fault not in FAULTS:
            raise SimulationError(
                f"“{self.fault}” is no fault that can be invented.",
                where=where,
                remedy="Use one of: " + ", ".join(FAULTS) + ".",
            )

    def with_radial_factor(self) -> Truth:
        """The same test with the radial displacement of its surface [hay1999] in ``beta``.

        An analysis with beta = 1 and the radial correction then finds the truth.
        """
        psi = self.tip.geometry.equivalent_half_angle
        return replace(self, beta=float(radial_factor(self.nu, psi)))

    def reduced_modulus(self, h_c: Floats | float) -> Floats:
        """E_r at contact depth, from E(h_c) and the tip's own constants, Pa."""
        return combined_modulus(self.E.at(h_c), self.nu, self.tip.E_i, self.tip.nu_i)


@dataclass(frozen=True)
class Expected:
    """What a perfect reduction finds for one unloading. SI; symbols of ISO 14577-1.

    Values hold at the end of the hold, where the unloading starts. ``W_total`` and what needs it
    are NaN after the first cycle. ``C_IT`` (force control) and ``R_IT`` (depth control) are
    ratios, not percent, NaN under the other control.
    """

    cycle: int
    F_max: float
    h_max: float
    h_c: float
    h_p: float
    h_r: float
    A_p: float
    S: float
    m: float
    epsilon: float
    H_IT: float
    HM: float
    E_r: float
    E_IT: float
    W_elast: float
    W_total: float
    eta_IT: float
    C_IT: float
    R_IT: float
    plastic_share: float

    def as_dict(self) -> dict[str, float]:
        """Values by symbol."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

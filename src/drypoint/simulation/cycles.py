"""Test cycles as a list of legs: what the instrument was told to do."""

from __future__ import annotations

from dataclasses import dataclass

from drypoint.records.segments import Kind
from drypoint.simulation.truth import SimulationError


@dataclass(frozen=True)
class Leg:
    """One leg of a cycle.

    Parameters
    ----------
    kind : Kind
        Loading, hold, unloading or drift hold.
    duration : float
        Seconds; rounded to whole samples.
    end : float
        Loading: force (N) or depth (m) at the end. Unloading: share of the last peak's force at
        the end. Not used for holds.
    shape : float
        The controlled signal runs with (t / duration)^shape from start to end. 1 is a ramp; 2 from
        zero force gives a nearly constant depth rate, hence enough samples of the first contact.
    """

    kind: Kind
    duration: float
    end: float = 0.0
    shape: float = 1.0


@dataclass(frozen=True)
class Cycle:
    """A test cycle: approach at ``approach_speed`` (m/s) from ``gap`` above the surface (m), then
    the legs. ``control`` is ``"force"`` or ``"depth"``; ``rate`` is in samples a second.

    A gap of zero gives a record that starts at contact.
    """

    legs: tuple[Leg, ...]
    control: str = "force"
    gap: float = 150e-9
    approach_speed: float = 10e-9
    rate: float = 20.0

    def __post_init__(self) -> None:
        if self.control not in ("force", "depth"):
            raise SimulationError("A test is controlled by “force” or by “depth”.")
        if not (self.rate > 0 and self.gap >= 0 and self.approach_speed > 0):
            raise SimulationError("Sampling rate and approach speed are positive, the gap not < 0.")
        if not self.legs or self.legs[0].kind is not Kind.LOADING:
            raise SimulationError("A cycle starts with a loading leg.")
        before = Kind.APPROACH
        peak = 0.0
        for leg in self.legs:
            if leg.duration < 0 or leg.shape <= 0:
                raise SimulationError("A leg has a duration >= 0 and a shape > 0.")
            if leg.kind is Kind.HOLD and before is not Kind.LOADING:
                raise SimulationError("A hold follows a loading leg.")
            if leg.kind is Kind.DRIFT_HOLD and before is not Kind.UNLOADING:
                raise SimulationError("A drift hold follows an unloading leg.")
            if leg.kind is Kind.UNLOADING and not 0 <= leg.end < 1:
                raise SimulationError("An unloading ends at a share of the peak from 0 up to 1.")
            if leg.kind is Kind.LOADING:
                if not leg.end > 0 or leg.end < peak * (1 - 1e-12):
                    raise SimulationError("A loading leg reaches at least the peak before it.")
                peak = leg.end
            before = leg.kind

    @property
    def peak(self) -> float:
        """Largest force (N) or depth (m) that the cycle asks for."""
        return max(leg.end for leg in self.legs if leg.kind is Kind.LOADING)


def _end(
    drift_hold: float, drift_level: float, unload: float, first_end: float = 1.0
) -> tuple[Leg, ...]:
    """Last unloading, with a drift hold on the way where its time is not zero.

    ``unload`` is the time from ``first_end`` (share of the peak) to zero.
    """
    if drift_hold <= 0:
        return (Leg(Kind.UNLOADING, unload, 0.0),)
    share = (first_end - drift_level) / first_end
    return (
        Leg(Kind.UNLOADING, unload * share, drift_level),
        Leg(Kind.DRIFT_HOLD, drift_hold),
        Leg(Kind.UNLOADING, unload * (1 - share), 0.0),
    )


def single(
    F_max: float,
    *,
    load: float = 30.0,
    hold: float = 10.0,
    unload: float = 15.0,
    drift_hold: float = 60.0,
    drift_level: float = 0.1,
    shape: float = 1.0,
    rate: float = 20.0,
    gap: float = 150e-9,
) -> Cycle:
    """One loading, hold and unloading to ``F_max`` (N), with a drift hold. Times in seconds."""
    legs = (Leg(Kind.LOADING, load, F_max, shape), Leg(Kind.HOLD, hold))
    return Cycle(legs + _end(drift_hold, drift_level, unload), gap=gap, rate=rate)


def stepped(
    F_max: float,
    *,
    steps: int = 10,
    F_first: float | None = None,
    down_to: float = 0.2,
    load: float = 5.0,
    hold: float = 3.0,
    unload: float = 5.0,
    drift_hold: float = 60.0,
    drift_level: float = 0.1,
    shape: float = 2.0,
    rate: float = 20.0,
    gap: float = 150e-9,
) -> Cycle:
    """Loading in steps of equal square root of force (about equal depth), each with a hold and a
    partial unloading to ``down_to`` of its force. ``shape`` holds for the first step only."""
    first = F_max / steps**2 if F_first is None else F_first
    legs: list[Leg] = []
    for i in range(steps):
        share = i / max(steps - 1, 1)
        top = (first**0.5 + (F_max**0.5 - first**0.5) * share) ** 2 if steps > 1 else F_max
        legs += [Leg(Kind.LOADING, load, top, shape if i == 0 else 1.0), Leg(Kind.HOLD, hold)]
        if i < steps - 1:
            legs.append(Leg(Kind.UNLOADING, unload, down_to))
    return Cycle((*legs, *_end(drift_hold, drift_level, unload)), gap=gap, rate=rate)


def cyclic(
    F_max: float,
    *,
    cycles: int = 5,
    down_to: float = 0.1,
    load: float = 10.0,
    hold: float = 3.0,
    unload: float = 10.0,
    drift_hold: float = 60.0,
    drift_level: float = 0.1,
    shape: float = 2.0,
    rate: float = 20.0,
    gap: float = 150e-9,
) -> Cycle:
    """The same force several times, with unloading to ``down_to`` between."""
    legs: list[Leg] = []
    for i in range(cycles):
        legs += [Leg(Kind.LOADING, load, F_max, shape if i == 0 else 1.0), Leg(Kind.HOLD, hold)]
        if i < cycles - 1:
            legs.append(Leg(Kind.UNLOADING, unload, down_to))
    return Cycle((*legs, *_end(drift_hold, drift_level, unload)), gap=gap, rate=rate)


def to_depth(
    h_max: float,
    *,
    load: float = 30.0,
    hold: float = 10.0,
    unload: float = 15.0,
    drift_hold: float = 60.0,
    drift_level: float = 0.1,
    rate: float = 20.0,
    gap: float = 150e-9,
) -> Cycle:
    """Depth control to ``h_max`` (m), hold at constant depth (the force relaxes), unloading."""
    legs = (Leg(Kind.LOADING, load, h_max), Leg(Kind.HOLD, hold))
    return Cycle(legs + _end(drift_hold, drift_level, unload), "depth", gap=gap, rate=rate)

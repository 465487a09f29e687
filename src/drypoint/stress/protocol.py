"""What the instrument does: legs of loading, hold and unloading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drypoint.errors import StressError


@dataclass(frozen=True)
class Leg:
    """One leg: up to a force (N) or a depth (m), or a hold (neither).

    ``seconds`` is how long it takes. Nothing here depends on time; a hold only adds it to the
    record. An unloading leg goes to a force; to zero means until the tip is clear.
    """

    force: float | None = None
    depth: float | None = None
    seconds: float = 10.0

    def __post_init__(self) -> None:
        for value, what in ((self.force, "force"), (self.depth, "depth")):
            if value is not None and not (np.isfinite(value) and value >= 0):
                raise StressError(
                    f"A leg goes to a {what} of {value:.4g}.", remedy="Give zero or more, in SI."
                )
        if self.force is not None and self.depth is not None:
            raise StressError(
                "A leg has a force and a depth to go to.", remedy="Give one of the two."
            )
        if not (np.isfinite(self.seconds) and self.seconds > 0):
            raise StressError(
                f"A leg takes {self.seconds:.4g} s.", remedy="Give a duration above zero."
            )

    @property
    def hold(self) -> bool:
        """True for a hold."""
        return self.force is None and self.depth is None


@dataclass(frozen=True)
class Protocol:
    """Legs one after the other."""

    legs: tuple[Leg, ...]

    def __post_init__(self) -> None:
        goals = [leg for leg in self.legs if not leg.hold]
        if not goals or not (goals[0].force or goals[0].depth) or self.legs[0].hold:
            raise StressError(
                "The protocol does not start with a loading.",
                remedy="Start with a leg to a force or a depth above zero.",
            )

    @property
    def depth(self) -> float:
        """Greatest depth asked for, m; zero where only forces are."""
        return max(leg.depth or 0.0 for leg in self.legs)

    @property
    def force(self) -> float:
        """Greatest force asked for, N; zero where only depths are."""
        return max(leg.force or 0.0 for leg in self.legs)

    @property
    def peaks(self) -> tuple[float, ...]:
        """Force (N) or depth (m) at the end of each loading; one entry per load cycle.

        A loading that follows another without an unloading between them continues it. A leg to a
        force after a leg to a depth is an unloading, since only unloadings go from a depth to a
        force.
        """
        out: list[float] = []
        last, rising = Leg(force=0.0), False
        for leg in self.legs:
            if leg.hold:
                continue
            up = leg.depth is not None or (
                leg.force is not None and last.force is not None and leg.force > last.force
            )
            if up:
                goal = float(leg.depth if leg.depth is not None else leg.force or 0.0)
                out = [*(out[:-1] if rising else out), goal]
            # A leg to the same force changes nothing.
            rising = up or (rising and leg.force == last.force)
            last = leg
        return tuple(out)

    @staticmethod
    def to_depth(depth: float, unload: bool = True, hold: float = 0.0) -> Protocol:
        """Loading to a depth (m), a hold (s), unloading until the tip is clear."""
        return _once(Leg(depth=depth), unload, hold)

    @staticmethod
    def to_force(force: float, unload: bool = True, hold: float = 0.0) -> Protocol:
        """Loading to a force (N), a hold (s), unloading until the tip is clear."""
        return _once(Leg(force=force), unload, hold)

    @staticmethod
    def cycles(forces: Sequence[float], back: float = 0.1) -> Protocol:
        """Rising cycles: to each force, back to a share of it; clear after the last."""
        legs: list[Leg] = []
        for F in forces:
            legs += [Leg(force=F), Leg(force=back * F)]
        return Protocol((*legs[:-1], Leg(force=0.0)))


def _once(up: Leg, unload: bool, hold: float) -> Protocol:
    legs = [up]
    if hold > 0:
        legs.append(Leg(seconds=hold))
    if unload:
        legs.append(Leg(force=0.0))
    return Protocol(tuple(legs))

"""A whole problem in one value: what is pressed, with what, how, and how finely."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drypoint.errors import StressError
from drypoint.stress.doubts import LOAD, Doubt, moved_profile, moved_stack
from drypoint.stress.march import Watch
from drypoint.stress.plan import Estimate
from drypoint.stress.profile import Profile
from drypoint.stress.protocol import Protocol
from drypoint.stress.solution import Solution
from drypoint.stress.solve import estimate, solve
from drypoint.stress.stack import Stack


@dataclass(frozen=True)
class Problem:
    """Stack, tip, protocol, friction and fineness of the mesh; ``name`` is for people.

    ``doubts`` say how well the numbers are known; they are taken as independent.
    """

    stack: Stack
    profile: Profile
    protocol: Protocol
    friction: float = 0.0
    mesh: str = "quick"
    name: str = ""
    doubts: tuple[Doubt, ...] = ()

    def moved(self, doubt: Doubt, share: float) -> Problem:
        """The problem with one number moved by ``share`` of its uncertainty.

        Raises
        ------
        StressError
            Where the number cannot have that value.
        """
        protocol = self.protocol
        if doubt.what in LOAD:
            legs = (
                leg if leg.force is None else replace(leg, force=leg.force * (1 + share * doubt.u))
                for leg in protocol.legs
            )
            protocol = Protocol(tuple(legs))
        return replace(
            self,
            stack=moved_stack(self.stack, doubt, share),
            profile=moved_profile(self.profile, doubt, share),
            protocol=protocol,
        )

    def estimate(self) -> Estimate:
        """Time and memory that the run will take; refuses what cannot be solved.

        Raises
        ------
        StressError
            As :func:`drypoint.stress.solve.solve` does.
        """
        return estimate(self.stack, self.profile, self.protocol, mesh=self.mesh)

    def solve(self, watch: Watch | None = None) -> Solution:
        """Solve it, with errors and fields.

        Raises
        ------
        StressError
            Where tip, stack and protocol do not fit each other.
        """
        return solve(
            self.stack, self.profile, self.protocol, mesh=self.mesh, friction=self.friction,
            watch=watch,
        )  # fmt: skip


#: Mean pressure over yield stress under a cone of 70.3 degrees on a solid that does not harden,
#: against E/(1 - nu^2) over yield stress. Computed by this program (12 elements over the contact,
#: 60 steps, nu = 0.3; nu from 0.17 to 0.45 changes it by less than 2 %):
#: ``python benchmarks/bench_stress.py --hardness`` makes it anew.
_E_OVER_Y = (5.0, 8.0, 12.0, 20.0, 35.0, 60.0, 100.0, 200.0, 400.0, 800.0, 2000.0)
_H_OVER_Y = (1.007, 1.430, 1.765, 2.090, 2.355, 2.562, 2.628, 2.637, 2.632, 2.619, 2.606)
#: Hardness over plane-strain modulus above which nothing is left to tell how it yields.
STIFFEST = 0.17


def yield_from_hardness(H: float, E: float, nu: float) -> float:
    """Yield stress (Pa) of a solid that does not harden and has a hardness under a sharp tip.

    H (Pa) is force over the true projected contact area under a pyramid with a Berkovich tip's
    area. For E/Y above 60 it is near H/2.62, the old rule of thumb for metals; harder solids are
    elastic in good part, down to H/1.4. A solid that hardens has a lower first yield.

    Raises
    ------
    StressError
        Where the hardness is above 0.17 E/(1 - nu^2): so hard a solid hardly yields at all.
    """
    E_star = E / (1 - min(nu, 0.5) ** 2)
    if not (np.isfinite(H) and 0 < H <= STIFFEST * E_star):
        raise StressError(
            f"A hardness of {H:.4g} Pa does not go with a Young's modulus of {E:.4g} Pa: a solid "
            "that only bends back has hardly more.",
            remedy=f"Give less than {STIFFEST * E_star:.4g} Pa, or leave it out for an elastic "
            "solid.",
        )
    x, y = np.log(_E_OVER_Y), np.array(_H_OVER_Y)
    share = np.log(y) - x  # ln(H/E*), falling
    ratio = np.interp(np.log(H / E_star), share[::-1], x[::-1])
    if H / E_star < np.exp(share[-1]):
        return H / _H_OVER_Y[-1]
    return float(E_star / np.exp(ratio))

"""The whole of a run: a coarse one to learn the contact's size, then the mesh made for it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import StressError
from drypoint.stress import plan
from drypoint.stress.march import March, Watch
from drypoint.stress.plan import EFFORTS, Effort
from drypoint.stress.profile import Profile
from drypoint.stress.protocol import Protocol
from drypoint.stress.solution import Solution, errors_of, solution_of
from drypoint.stress.stack import Stack, rows_of
from drypoint.stress.system import System
from drypoint.stress.touch import FLAT
from drypoint.threads import one_in_algebra

Floats = NDArray[np.float64]

#: Stiffness of the contact: Young's modulus of the stiffest solid over this share of an element;
#: at most so many times the uppermost solid's.
OVERLAP, STIFFER = 1 / 50, 20.0
_TRIES = 4


@one_in_algebra()
def solve(
    stack: Stack,
    profile: Profile,
    protocol: Protocol,
    *,
    mesh: str | Effort = "quick",
    small_strain: bool = False,
    friction: float = 0.0,
    errors: bool = True,
    fields: bool = True,
    watch: Watch | None = None,
) -> Solution:
    """Press a tip into a stack and take it out again.

    Parameters
    ----------
    stack, profile, protocol
        What is pressed, with what, and how.
    mesh : "quick", "fine" or :class:`~drypoint.stress.plan.Effort`
    small_strain : bool
        Linear geometry: equilibrium, strain and contact on the undeformed surface. For checks.
    friction : float
        Coulomb's coefficient between tip and specimen, 0 to 1.
    errors : bool
        Estimate the errors of mesh and steps with two coarser runs (about 40 % more time).
    fields : bool
        Keep stress and plastic strain at every step.
    watch : callable, optional
        Called with the share done and words; an exception it raises ends the run.

    Returns
    -------
    Solution
        Also where the run stopped early: ``solution.stopped`` says why.

    Raises
    ------
    StressError
        Where tip, stack and protocol do not fit each other.
    """
    effort = _effort(mesh)
    tell = _rising(watch or (lambda share, words: None))
    h = plan.depth_guess(stack, profile, protocol)
    plan.check(stack, profile, h)
    if not 0 <= friction <= 1:
        raise StressError(
            f"A coefficient of friction of {friction:.4g} is not between 0 and 1.",
            remedy="Diamond on metal: 0.05 to 0.2; 0 for none.",
        )
    job = _Job(stack, profile, protocol, small_strain, friction)
    coarse, a, h = job.pilot(effort.halved(True, True), h, _part(tell, 0.0, 0.12))
    if protocol.force > 0:
        plan.check(stack, profile, h)
    half = None
    if errors and not coarse.words:
        up = _loading(protocol)
        half = job.march(effort.halved(True, False), a, h, up, False, _part(tell, 0.12, 0.3))
    net = plan.make_mesh(stack, a, effort, profile.kind == FLAT)
    cost = plan.estimate(net, effort, protocol, fields)
    tell(0.3, cost.words())
    main = job.march(effort, a, h, protocol, fields, _part(tell, 0.3, 1.0))
    found = errors_of(main, half, coarse) if half is not None else None
    return solution_of(main, stack, profile, protocol, small_strain, effort, found, cost)


def estimate(
    stack: Stack, profile: Profile, protocol: Protocol, *, mesh: str | Effort = "quick"
) -> plan.Estimate:
    """Memory and time that a run with errors will take, without running it.

    Raises
    ------
    StressError
        As :func:`solve` does.
    """
    effort = _effort(mesh)
    h = plan.depth_guess(stack, profile, protocol)
    plan.check(stack, profile, h)
    a = plan.radius_guess(stack, profile, h)
    net = plan.make_mesh(stack, a, effort, profile.kind == FLAT)
    times = plan.WITH_ERRORS * (plan.ELASTIC_TIP if np.isfinite(profile.E_star_tip) else 1.0)
    return plan.estimate(net, effort, protocol, True, times)


def _effort(mesh: str | Effort) -> Effort:
    if isinstance(mesh, Effort):
        return mesh
    if mesh not in EFFORTS:
        raise StressError(
            f"“{mesh}” is no fineness of mesh that Drypoint knows.",
            remedy="Use one of: " + ", ".join(EFFORTS) + "; or give an Effort.",
        )
    return EFFORTS[mesh]


def _rising(tell: Watch) -> Watch:
    """A watch whose share never falls back, when a coarse run has to be repeated."""
    most = 0.0

    def rising(share: float, words: str) -> None:
        nonlocal most
        most = max(most, share)
        tell(most, words)

    return rising


def _part(tell: Watch, start: float, end: float) -> Watch:
    return lambda share, words: tell(start + (end - start) * share, words)


def _loading(protocol: Protocol) -> Protocol:
    """The protocol up to its greatest depth or force: loadings only."""
    best = max(
        (leg for leg in protocol.legs if not leg.hold),
        key=lambda leg: ((leg.depth or 0.0), (leg.force or 0.0)),
    )
    return Protocol((best,))


class _Job:
    """One problem, solved on meshes of several finenesses."""

    def __init__(
        self, stack: Stack, profile: Profile, protocol: Protocol, small: bool, friction: float
    ) -> None:
        self.stack, self.profile, self.protocol = stack, profile, protocol
        self.small, self.friction = small, friction

    def march(
        self,
        effort: Effort,
        a: float,
        h: float,
        protocol: Protocol,
        keep: bool,
        watch: Callable[[float, str], None],
    ) -> March:
        """Solve on a mesh made for the contact radius ``a`` at the depth ``h``."""
        stack, profile = self.stack, self.profile
        net = plan.make_mesh(stack, a, effort, profile.kind == FLAT)
        rows, table = rows_of(stack.materials)
        stiffness = min(rows[:, 5].max(), STIFFER * rows[0, 5]) / (OVERLAP * net.edge)
        system = System(
            net, rows, table, profile.kernel, stack.start(not self.small), not self.small,
            stiffness, stack.substrate.nu_used, self.friction,
        )  # fmt: skip
        scale = np.pi * a * a * plan.hardness_guess(stack, profile, h)
        walk = March(
            system,
            profile.E_star_tip,
            effort.steps,
            effort.back_steps,
            h,
            1e-3 * scale,
            watch,
            keep,
        )
        walk.run(protocol)
        return walk

    def pilot(self, effort: Effort, h: float, watch: Watch) -> tuple[March, float, float]:
        """A coarse run that tells contact radius and depth; repeated where its mesh did not fit."""
        up = _loading(self.protocol)
        a = plan.radius_guess(self.stack, self.profile, h)
        for _ in range(_TRIES):
            walk = self.march(effort, a, h, up, False, watch)
            if not walk.rows:
                break
            found = max(row.surface.radius for row in walk.rows)
            h = max(row.depth for row in walk.rows)
            if self.profile.kind == FLAT:
                return walk, a, h
            fits = 0.7 * a < found < 1.12 * a
            a = found
            if fits and not walk.words:
                break
        return walk, a, h

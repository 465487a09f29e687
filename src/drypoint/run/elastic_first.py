"""The elastic answer, before the finite elements: exact for layers that do not yield, in a second.

Force, contact and stresses come from the layered half-space. Above its first yield a solid is
softer than this says.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from drypoint.contact import layered, layered_stress, profiles
from drypoint.contact.layered_stack import Layer, Medium, Stack
from drypoint.errors import StressError
from drypoint.recipe import canonical_hash
from drypoint.store.cache import cache_key
from drypoint.stress import Doubt, Material, Problem
from drypoint.stress.fields import von_mises
from drypoint.stress.touch import CONE, FLAT, PARABOLOID, SPHERE
from drypoint.version import __version__

Floats = NDArray[np.float64]

#: Smallest contact that is looked at for first yield, over the largest; steps between them.
_SMALLEST, _STEPS = 1e-5, 16
#: Depths over the contact radius between which a solid is looked at, and how many points.
_SHALLOW, _DEEP, _POINTS = 0.06, 3.0, 14
_RADII = np.array([0.0, 0.3, 0.6, 0.85, 1.0, 1.15])
#: Shares of a standard uncertainty by which a number is moved to see what follows; the smaller
#: ones where the whole is no possible value.
_SHARES = (1.0, 0.1, 0.01)
#: Tolerance of the logarithm of the contact radius, and relative difference from the goal up to
#: which the goal counts as reached.
_TOLERANCE, _MET = 1e-9, 1e-6
#: Relative uncertainty that such a tolerance can resolve.
_RESOLVED = 100 * _TOLERANCE
#: Step in the logarithm of the contact radius for the growth of stress with it.
_GROWTH = 0.02


@dataclass(frozen=True)
class Part:
    """What one doubt adds to the standard uncertainty of a number, in that number's unit, signed:
    the change that goes with the input's being larger by its own uncertainty."""

    doubt: Doubt
    u: float


def together(parts: tuple[Part, ...]) -> float:
    """Standard uncertainty of independent parts."""
    return float(np.sqrt(sum(p.u**2 for p in parts)))


@dataclass(frozen=True)
class ElasticYield:
    """Where a solid would first yield: force (N), depth (m) and radius (m) of the place.

    ``always`` is true for a tip so sharp that any force is enough; NaN where nothing yields.
    """

    name: str
    force: float
    depth: float
    radius: float
    always: bool = False
    parts: tuple[Part, ...] = ()

    @property
    def u_force(self) -> float:
        """Standard uncertainty of the force, N; NaN where there is no force."""
        return together(self.parts) if self.force > 0 else np.nan


@dataclass(frozen=True)
class ElasticAnswer:
    """The contact if nothing yielded, SI, at the largest force or depth of the protocol.

    ``E_eff`` is the plane-strain modulus of the half-space with the same stiffness, the tip's
    part taken out. Standard uncertainties from what the problem doubts: ``u_force`` (N),
    ``u_depth`` and ``u_radius`` (m).
    """

    force: float
    depth: float
    radius: float
    E_eff: float
    first_yield: tuple[ElasticYield, ...]
    u_force: float = 0.0
    u_depth: float = 0.0
    u_radius: float = 0.0


def problem_key(problem: Problem) -> str:
    """Stands for what is solved, in this version of Drypoint; how well it is known is not in it."""
    return cache_key("stress", __version__, canonical_hash(replace(problem, doubts=())))


def names_of(problem: Problem) -> tuple[str, ...]:
    """Names of the solids from the surface downwards."""
    count = len(problem.stack.layers)
    return tuple(
        m.name or ("substrate" if k == count else f"layer {k + 1}")
        for k, m in enumerate(problem.stack.materials)
    )


def elastic_stack(problem: Problem) -> Stack:
    """The layers as the exact solution of the layered half-space takes them."""
    return Stack(
        tuple(Layer(x.material.E, x.material.nu_used, x.thickness) for x in problem.stack.layers),
        Medium(problem.stack.substrate.E, problem.stack.substrate.nu_used),
    )


def elastic_profile(problem: Problem) -> profiles.Profile:
    """The tip as the exact solution takes it."""
    p = problem.profile
    a, t, _, _ = p.numbers
    if p.kind == SPHERE:
        return profiles.sphere(a)
    if p.kind == PARABOLOID:
        return profiles.paraboloid(a)
    if p.kind == CONE:
        angle = float(np.arctan(t))
        return profiles.blunted_cone(angle, a) if a > 0 else profiles.cone(angle)
    if p.kind == FLAT:
        return profiles.Profile("flat punch", np.zeros_like, np.zeros_like, reach=a)
    return profiles.from_slope(p.curve[1:, 0], np.maximum.accumulate(p.curve[1:, 2]))


@dataclass(frozen=True)
class _Contact:
    stack: Stack
    profile: profiles.Profile
    E_tip: float

    def at(self, a: float) -> tuple[float, float, float, float]:
        """Force, depth, modulus of the specimen, share by which the tip's give lowers stresses."""
        c = layered.contact(self.stack, self.profile, a)
        E = float(c.E_eff[0])
        share = 1 / (1 + E / self.E_tip)
        return float(c.force[0]) * share, float(c.depth[0]), E, share


def elastic_answer(problem: Problem) -> ElasticAnswer:
    """The elastic contact of a problem, and the forces at which each solid would first yield.

    A tip with elastic constants gives way as on a half-space of the modulus E_eff. A residual
    stress is added to the stresses of the contact. Uncertainties by central differences in every
    number of which the problem says how well it is known.
    """
    names = names_of(problem)
    if problem.profile.kind == FLAT:
        answer = _punch(problem, elastic_stack(problem), names)
        ends = [_both(problem, d, _punch_at) for d in problem.doubts]
    else:
        contact = _contact(problem)
        a = _radius(contact, problem.protocol.force, problem.protocol.depth, problem)
        F, h, _ = _at_goal(problem, contact, a)
        E = contact.at(a)[2]
        found = tuple(_first(problem, contact, k, name, a) for k, name in enumerate(names))
        answer = ElasticAnswer(F, h, a, E, found)
        ends = [_both(problem, d, _goal_at) for d in problem.doubts]
    u = np.sqrt(np.sum(np.square(ends), axis=0)) if ends else np.zeros(3)
    # Below the tolerance of the solver a difference is not an uncertainty.
    u[u < _RESOLVED * np.array([answer.force, answer.depth, answer.radius])] = 0.0
    return replace(answer, u_force=float(u[0]), u_depth=float(u[1]), u_radius=float(u[2]))


def _contact(problem: Problem) -> _Contact:
    return _Contact(elastic_stack(problem), elastic_profile(problem), problem.profile.E_star_tip)


def _goal_at(problem: Problem) -> Floats:
    """Force, depth and contact radius at the goal."""
    contact = _contact(problem)
    a = _radius(contact, problem.protocol.force, problem.protocol.depth, problem)
    return np.array(_at_goal(problem, contact, a))


def _at_goal(problem: Problem, contact: _Contact, a: float) -> tuple[float, float, float]:
    """Force, depth and contact radius, the controlled one exactly as the protocol states it.

    The radius is found to the tolerance of the solver, and the force at that radius differs from
    the given one by as much. The given force is exact, apart from the uncertainty of the load.
    """
    F, h, _, _ = contact.at(a)
    goal = problem.protocol
    if goal.force > 0:
        return (goal.force if np.isclose(F, goal.force, rtol=_MET, atol=0) else F), h, a
    return F, (goal.depth if np.isclose(h, goal.depth, rtol=_MET, atol=0) else h), a


def _punch_at(problem: Problem) -> Floats:
    found = _punch(problem, elastic_stack(problem), names_of(problem))
    return np.array([found.force, found.depth, found.radius])


def _both(problem: Problem, doubt: Doubt, at: Callable[[Problem], Floats]) -> Floats:
    """Change of some numbers with an input that is larger by its uncertainty, from both sides.

    Raises
    ------
    StressError
        Where the input cannot be moved at all.
    """
    for share in _SHARES:
        try:
            up, down = problem.moved(doubt, share), problem.moved(doubt, -share)
        except StressError:
            if share == _SHARES[-1]:
                raise
            continue
        return (at(up) - at(down)) / (2 * share)
    raise AssertionError


def _parts(problem: Problem, contact: _Contact, k: int, a: float) -> tuple[Part, ...]:
    """What every doubt adds to the force of first yield in solid ``k``, at the contact radius a.

    The stress at that radius moves with the input; the radius that brings it back to the yield
    stress follows from how the stress grows with the radius; the force is that of the new radius.
    """
    low, high = (_ratio(problem, contact, k, a * np.exp(x))[0] for x in (-_GROWTH, _GROWTH))
    growth = float(np.log(high / low)) / (2 * _GROWTH)

    def force(other: Problem) -> Floats:
        there = _contact(other)
        new = a * _ratio(other, there, k, a)[0] ** (-1 / growth)
        return np.array([there.at(new)[0]])

    return tuple(Part(d, float(_both(problem, d, force)[0])) for d in problem.doubts)


def _punch(problem: Problem, stack: Stack, names: tuple[str, ...]) -> ElasticAnswer:
    """Flat punch: stiffness only; its edge yields at any force."""
    a = problem.profile.numbers[0]
    E = float(layered.effective_modulus(stack, a)[0])
    S = 2 * a / (1 / E + 1 / problem.profile.E_star_tip)
    F = problem.protocol.force or S * problem.protocol.depth
    first = np.isfinite(problem.stack.materials[0].first_yield)
    yields = [
        ElasticYield(n, 0.0 if first and k == 0 else np.nan, 0.0, a, always=first and k == 0)
        for k, n in enumerate(names)
    ]
    return ElasticAnswer(F, F / S, a, E, tuple(yields))


def _radius(contact: _Contact, force: float, depth: float, problem: Problem) -> float:
    """Contact radius at the goal, found in its logarithm."""
    goal, part = (force, 0) if force > 0 else (depth, 1)

    def miss(x: float) -> float:
        return float(np.log(contact.at(float(np.exp(x)))[part] / goal))

    known = problem.profile.radius(min(problem.profile.h_limit, 1e-4))
    high = float(np.log(min(known, 0.999 * contact.profile.reach)))
    low = high - 18.0
    if miss(high) < 0:
        return float(np.exp(high))
    return float(np.exp(brentq(miss, low, high, xtol=_TOLERANCE)))


def _places(problem: Problem, k: int, a: float) -> Floats:
    """Depths inside solid ``k`` at which it is looked at."""
    ends = np.concatenate([[0.0], problem.stack.interfaces, [np.inf]])
    top, bottom = float(ends[k]), float(ends[k + 1])
    low = max(top * (1 + 1e-9), _SHALLOW * a)
    high = min(bottom * (1 - 1e-9), max(top, 0.0) + _DEEP * a)
    count = _POINTS if high > low else 1
    return np.asarray(np.geomspace(low, max(high, low), count), dtype=np.float64)


def _ratio(problem: Problem, contact: _Contact, k: int, a: float) -> tuple[float, float, float]:
    """Largest von Mises stress over yield stress in solid ``k``, and its place (z, r)."""
    m: Material = problem.stack.materials[k]
    z, r = _places(problem, k, a), _RADII * a
    if z[0] > 30 * a:
        return 0.0, 0.0, 0.0
    f = layered_stress.field(contact.stack, contact.profile, a, r, z)
    _, _, _, share = contact.at(a)
    s = problem.stack.stresses[k]
    whole = np.stack(
        [f.sigma_r * share + s, f.tau_rz * share, f.sigma_z * share, f.sigma_theta * share + s],
        axis=-1,
    )
    ratio = von_mises(whole) / m.first_yield
    i, j = np.unravel_index(int(np.argmax(ratio)), ratio.shape)
    return float(ratio[i, j]), float(z[i]), float(r[j])


def _first(problem: Problem, contact: _Contact, k: int, name: str, a_max: float) -> ElasticYield:
    if not np.isfinite(problem.stack.materials[k].first_yield):
        return ElasticYield(name, np.nan, np.nan, np.nan)
    if k == 0 and problem.profile.kind == CONE and problem.profile.numbers[0] == 0:
        return ElasticYield(name, 0.0, 0.0, 0.0, always=True)
    radii = a_max * np.geomspace(1.0, _SMALLEST, _STEPS)
    above = None
    for a in radii:
        ratio, z, r = _ratio(problem, contact, k, float(a))
        if ratio < 1:
            break
        above = float(a), z, r
    else:
        return ElasticYield(name, 0.0, 0.0, 0.0, always=True)
    if above is None:
        return ElasticYield(name, np.nan, np.nan, np.nan)

    def miss(x: float) -> float:
        return float(np.log(_ratio(problem, contact, k, float(np.exp(x)))[0]))

    x = brentq(miss, np.log(float(a)), np.log(above[0]), xtol=2e-3)
    at = float(np.exp(x))
    _, z, r = _ratio(problem, contact, k, at)
    return ElasticYield(name, contact.at(at)[0], z, r, parts=_parts(problem, contact, k, at))

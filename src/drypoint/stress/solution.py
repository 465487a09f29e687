"""What a run gives: the record, the contact, the fields, the errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import StressError
from drypoint.stress.march import March
from drypoint.stress.mesh import Mesh
from drypoint.stress.plan import Effort, Estimate
from drypoint.stress.profile import Profile
from drypoint.stress.protocol import Protocol
from drypoint.stress.stack import Stack
from drypoint.stress.surface import Surface

Floats = NDArray[np.float64]

#: What an axisymmetric model cannot show; stands with every result.
NOTES = (
    "The tip is a body of revolution with the real tip's area: stresses at the edges of a pyramid, "
    "and cracks and pile-up at its corners or sides, are not in this model.",
    "An elastic tip gives way as a half-space does, which is what the reduced modulus means.",
    "The solid has no time: a hold, a rate or creep changes nothing.",
)


@dataclass(frozen=True)
class Errors:
    """Estimates of what is wrong with the force at a given depth, as shares of it.

    ``steps``: error of the steps' size, first order, from one mesh with all and with half the
    steps; positive where the force is too high. ``mesh``: the same of the elements' size.
    ``overlap``: depth lost in the contact's stiffness. ``balance``: energy put in that is neither
    stored nor dissipated. ``ripple``: scatter of the force (standard deviation) as the contact edge
    jumps from node to node, about a smooth curve.
    """

    steps: float
    mesh: float
    overlap: float
    balance: float
    ripple: float

    def words(self) -> str:
        """One line."""
        return (
            f"steps {self.steps:+.2%}, mesh {self.mesh:+.2%}, overlap {self.overlap:+.2%}, "
            f"energy {self.balance:+.2%}, ripple {self.ripple:.2%}"
        )


@dataclass(frozen=True)
class FirstYield:
    """Force (N) at which a solid first yields. ``resolved`` is False where it already had in the
    first step: then the force is an upper bound; NaN where it did not yield."""

    name: str
    force: float
    resolved: bool


@dataclass(frozen=True)
class Solution:
    """A run. Arrays have one entry a step, (n,): ``time`` (s), ``force`` (N), ``depth`` (m, as the
    instrument sees it), ``tip_depth`` (m, of the rigid tip), ``contact_radius`` (m), ``leg``;
    ``work`` put in, ``stored`` (elastic, outside of the mesh included) and ``dissipated`` (plastic
    and friction) since the start (J).

    ``displacement`` (n, nodes, 2); ``sigma`` (n, elements, 4, 4): Cauchy stress at the Gauss points
    as rr, rz, zz, hoop (Pa); ``plastic_strain`` (n, elements, 4); both empty where fields were not
    kept.
    ``surfaces`` holds the surface at every step. ``stopped`` says why the run ended early.
    """

    stack: Stack
    profile: Profile
    protocol: Protocol
    small_strain: bool
    effort: Effort
    mesh: Mesh
    time: Floats
    force: Floats
    depth: Floats
    tip_depth: Floats
    contact_radius: Floats
    leg: NDArray[np.int64]
    work: Floats
    stored: Floats
    dissipated: Floats
    surfaces: tuple[Surface, ...]
    displacement: Floats
    sigma: NDArray[np.float32]
    plastic_strain: NDArray[np.float32]
    first_yield: tuple[FirstYield, ...]
    errors: Errors | None
    estimate: Estimate
    iterations: int
    cuts: int
    stopped: str
    notes: tuple[str, ...] = NOTES

    @property
    def peak(self) -> int:
        """The step of greatest force."""
        return int(np.argmax(self.force))

    @property
    def area(self) -> Floats:
        """True projected contact area at every step, m^2."""
        return np.pi * self.contact_radius**2

    @property
    def balance(self) -> float:
        """Work neither stored nor dissipated at the end, over the most put in."""
        lost = self.work[-1] - self.stored[-1] - self.dissipated[-1]
        return float(lost / self.work.max())

    @property
    def hardness(self) -> float:
        """True hardness at the peak, F/(pi a^2), Pa; force and radius freed from their ripple."""
        up = self.leg == self.leg[self.peak]
        h = self.depth[up]
        F, _ = smooth_end(h, self.force[up])
        a, _ = smooth_end(h, self.contact_radius[up])
        return F / (np.pi * a * a)

    @property
    def pile_up(self) -> float:
        """Height of the surface above its first level at the peak, m; negative: it sinks in.

        Taken at the contact edge: pi a^2 seen from the tip's own shape, less the depth.
        """
        a = float(self.contact_radius[self.peak])
        return float(self.profile.height(a)[0] - self.tip_depth[self.peak])

    @property
    def curvature(self) -> float:
        """C of F = C h^2, fitted by least squares to the upper half of the first loading, Pa."""
        up = self.leg == 0
        h, F = self.depth[up], self.force[up]
        upper = h > 0.5 * h.max()
        return float(np.sum(F[upper] * h[upper] ** 2) / np.sum(h[upper] ** 4))

    @property
    def plastic_work_ratio(self) -> float:
        """Work not given back over work put in, loading to a peak and unloading once."""
        h, F = np.append(0.0, self.depth), np.append(0.0, self.force)
        top = self.peak + 2
        total = float(np.trapezoid(F[:top], h[:top]))
        return float(np.trapezoid(F, h)) / total

    @property
    def impression(self) -> Surface:
        """The surface after the tip is clear.

        Raises
        ------
        StressError
            Where the protocol does not end clear of the specimen.
        """
        if self.force[-1] != 0:
            raise StressError(
                "The tip is not clear of the specimen at the end.",
                remedy="End the protocol with a leg to zero force.",
            )
        return self.surfaces[-1]


#: Share of the peak's depth from which on a loading is smoothed, and how few points are not.
_SMOOTHED, _FEWEST = 0.6, 6


def smooth_end(h: Floats, y: Floats) -> tuple[float, float]:
    """Last value of a loading's ``y`` over depth ``h``, freed from ripple, and the ripple's share.

    A parabola in logarithms through the last two fifths; the value itself where that has too few
    points.
    """
    use = (h > _SMOOTHED * h.max()) & (y > 0)
    if np.sum(use) < _FEWEST:
        return float(y[-1]), 0.0
    x, log_y = np.log(h[use] / h.max()), np.log(y[use])
    fit = np.polyfit(x, log_y, 2)
    return float(np.exp(np.polyval(fit, x[-1]))), float(np.std(log_y - np.polyval(fit, x)))


def _first_yield(walk: March, stack: Stack) -> tuple[FirstYield, ...]:
    ratios = np.array([row.ratios for row in walk.rows])
    force = np.array([row.force for row in walk.rows])
    out = []
    for k, m in enumerate(stack.materials):
        over = np.flatnonzero(ratios[:, k] > 1)
        name = m.name or ("substrate" if k == len(stack.layers) else f"layer {k + 1}")
        if len(over) == 0:
            out.append(FirstYield(name, np.nan, True))
            continue
        i = int(over[0])
        if i == 0 or force[i - 1] <= 0:
            out.append(FirstYield(name, float(force[i]), False))
            continue
        x, y = np.log(ratios[i - 1 : i + 1, k]), np.log(force[i - 1 : i + 1])
        out.append(FirstYield(name, float(np.exp(np.interp(0.0, x, y))), True))
    return tuple(out)


def _balance(walk: March) -> float:
    last = walk.rows[-1]
    put_in = max(row.work for row in walk.rows)
    return (last.work - last.stored - last.plastic_work) / put_in


def _loading(walk: March) -> tuple[Floats, Floats]:
    rows = [row for row in walk.rows if row.leg == walk.rows[0].leg]
    return np.array([r.depth for r in rows]), np.array([r.force for r in rows])


def _ratio(fine: March, coarse: March) -> float:
    """Mean of the force on one run over that on another, upper half of the loading."""
    (h, F), (h_c, F_c) = _loading(fine), _loading(coarse)
    top = min(h.max(), h_c.max())
    at = np.linspace(0.5 * top, top, 50)
    shape = 1.5  # interpolate F/h^1.5, nearly straight
    force = np.interp(at, h, F / h**shape)
    return float(np.mean(force / np.interp(at, h_c, F_c / h_c**shape)))


def errors_of(main: March, half: March, coarse: March) -> Errors:
    """Errors from a run, one with half the mesh, and one with half mesh and half steps.

    Both errors are taken as first order, so that what halving the fineness changes is what remains.
    """
    if not (main.rows and half.rows and coarse.rows):
        return Errors(np.nan, np.nan, np.nan, np.nan, np.nan)
    peak = max(main.rows, key=lambda row: row.force)
    overlap = 2 * float(np.max(-np.minimum(peak.surface.gap, 0))) / 3 / peak.tip_depth
    return Errors(
        steps=1 / _ratio(half, coarse) - 1 if coarse.steps != half.steps else np.nan,
        mesh=1 / _ratio(main, half) - 1,
        overlap=overlap,
        balance=_balance(main),
        ripple=smooth_end(*_loading(main))[1],
    )


def solution_of(
    walk: March,
    stack: Stack,
    profile: Profile,
    protocol: Protocol,
    small_strain: bool,
    effort: Effort,
    errors: Errors | None,
    cost: Estimate,
) -> Solution:
    """Gather a walk into a solution."""
    rows = walk.rows
    if not rows:
        raise StressError(
            f"Not one step could be solved: {walk.words}.",
            remedy="Check stack and tip for sizes or moduli that are far apart.",
        )
    return Solution(
        stack=stack,
        profile=profile,
        protocol=protocol,
        small_strain=small_strain,
        effort=effort,
        mesh=walk.system.mesh,
        time=np.array([r.time for r in rows]),
        force=np.array([r.force for r in rows]),
        depth=np.array([r.depth for r in rows]),
        tip_depth=np.array([r.tip_depth for r in rows]),
        contact_radius=np.array([r.surface.radius for r in rows]),
        leg=np.array([r.leg for r in rows]),
        work=np.array([r.work for r in rows]),
        stored=np.array([r.stored for r in rows]),
        dissipated=np.array([r.plastic_work for r in rows]),
        surfaces=tuple(r.surface for r in rows),
        displacement=np.array([r.place.U.reshape(-1, 2) for r in rows]),
        sigma=np.array([r.sigma for r in rows]),
        plastic_strain=np.array([r.strain for r in rows]),
        first_yield=_first_yield(walk, stack),
        errors=errors,
        estimate=cost,
        iterations=walk.iterations,
        cuts=walk.cuts,
        stopped=walk.words,
    )

"""Zero by a law of first contact that the tests of a specimen share.

A blunted tip whose radius is known has the tabulated law of :mod:`drypoint.contact.blunted`; all
others the power law with an exponent between sphere and cone. What remains uncertain of a law is an
input of its specimen, so that differences between specimens feel it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drypoint.contact import blunted
from drypoint.reduction.contact_fit import Shared, Zeros, fit_shared, zeros_of
from drypoint.reduction.contact_models import BluntedLaw, Law, PowerLaw
from drypoint.reduction.first_contact import LEAST, Windows, join_windows
from drypoint.reduction.options import ZeroOptions
from drypoint.tips.radius import U_SHAPE, end_radius, is_read_off
from drypoint.tips.tip import Tip
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.noise import Quiet

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BLUNTED, POWER = "blunted tip", "power"
#: Tests of a specimen from which its law is found: more say nothing new of it.
MOST = 24
#: How far the blunted law is followed (m), and in radii of the tip.
_REACH, _RADII = 60e-9, 1.0
#: Least and most radius (m) that the table is used for.
_R_RANGE = (5e-9, 1e-3)
#: Half angles (rad) that count as that of the table.
_ANGLE = np.radians(1.5)
#: Relative uncertainty of the contact modulus read off the unloading beyond its own: the elastic
#: rule with beta = 1 (Oliver and Pharr 2004 give 1.02 to 1.08).
_U_MODULUS = 0.08
#: Y/E* beforehand: hardness over about 2.6 (Tabor 1951, and less on stiff elastic solids), within
#: a factor of two; hardening exponents of engineering solids, 0.2 +- 0.2.
_TABOR, _U_LN_Y, _N, _U_N = 2.6, 0.7, 0.2, 0.2
_EXPONENTS = np.linspace(*blunted.N_RANGE, 6)
_STARTS = np.log(np.geomspace(blunted.Y_RANGE[0], blunted.Y_RANGE[1], 9))[1:-1]
#: What is shared is no normal distribution, only taken as one: its standard deviation is so much
#: wider (our own choice, from computed records; benchmarks/bench_zero.py).
_WIDER = 1.3
#: chi-squared with two degrees of freedom that one record, and all of a specimen, pass in 1 %.
_MISFIT = 9.21


@dataclass(frozen=True)
class Seeds:
    """What the law of a specimen is found from, shape (n_tests,): contact ``modulus`` E_r (Pa)
    with its relative uncertainty, hardness (Pa), NaN where there is none; its Poisson's ratio and
    uncertainty; and the first contacts. ``wide`` are the windows of the blunted law, ``near`` those
    of the power law."""

    specimen: tuple[str, ...]
    modulus: Floats
    u_modulus: Floats
    hardness: Floats
    nu: Floats
    u_nu: Floats
    wide: Windows
    near: Windows

    def take(self, tests: Ints) -> Seeds:
        """Those of some tests."""
        return Seeds(
            tuple(self.specimen[int(t)] for t in tests), self.modulus[tests],
            self.u_modulus[tests], self.hardness[tests], self.nu[tests], self.u_nu[tests],
            self.wide.take(tests), self.near.take(tests),
        )  # fmt: skip


def join_seeds(parts: Sequence[Seeds]) -> Seeds:
    """Seeds of several batches, in their order."""

    def whole(name: str) -> Floats:
        return np.concatenate([getattr(p, name) for p in parts])

    return Seeds(
        tuple(s for p in parts for s in p.specimen), whole("modulus"), whole("u_modulus"),
        whole("hardness"), whole("nu"), whole("u_nu"), join_windows([p.wide for p in parts]),
        join_windows([p.near for p in parts]),
    )  # fmt: skip


@dataclass(frozen=True)
class ContactLaw:
    """The law of first contact of one specimen under one tip, found.

    ``kind`` is ``"blunted tip"`` or ``"power"``. Several hardening exponents may do: each is a
    component with its weight, its prior (``prior``, ``u_prior``) and its shared numbers (``value``
    (K, p), ``cov`` (K, p, p)). ``gradient`` (K, p) and ``moved`` (K,) are those of the mean zero of
    the tests that it was found from, ``u_mean`` (m) the uncertainty of that mean zero from all that
    is shared; ``by_radius`` (K, p) says how the numbers follow the tip's radius. ``misfit`` is
    chi-squared (2) of the smooth rest of all tests together, ``rest`` (m) its size at contact.
    ``tests`` counts the tests, ``scale`` (N) belongs to the power law.
    """

    kind: str
    prior: Floats
    u_prior: Floats
    weight: Floats
    value: Floats
    cov: Floats
    gradient: Floats
    moved: Floats
    by_radius: Floats
    u_mean: float
    misfit: float
    rest: float
    tests: int
    scale: float = 1.0

    def component(self, k: int) -> tuple[Law, Shared]:
        """A law and its shared numbers."""
        shared = Shared(self.value[k], self.cov[k])
        if self.kind == POWER:
            return PowerLaw((float(self.prior[k, 0]), float(self.prior[k, 1])), self.scale), shared
        five, u = (tuple(float(v) for v in a[k]) for a in (self.prior, self.u_prior))
        return BluntedLaw(five, u), shared  # type: ignore[arg-type]


@dataclass(frozen=True)
class LawZeros:
    """Zeros by law, shape (n_tests,): ``depth`` (m), ``u_own`` from each test alone, ``per_law``
    (m) for one standard deviation of the specimen's law, ``per_radius`` (m/m) with the radius of
    the tip, ``misfit`` whether the record does not follow the law, ``samples``."""

    depth: Floats
    u_own: Floats
    per_law: Floats
    per_radius: Floats
    misfit: NDArray[np.bool_]
    samples: Ints
    blunted: NDArray[np.bool_]


def table_serves(tip: Tip, inputs: Joint, options: ZeroOptions) -> bool:
    """Whether the tip has a radius, and the angle of the table."""
    if options.law == POWER:
        return False
    R = end_radius(tip, inputs.as_dict())
    if R is None or not _R_RANGE[0] < float(R) < _R_RANGE[1]:
        return False
    psi = tip.geometry.equivalent_half_angle
    return bool(tip.geometry.shape == "sphere" or abs(psi - blunted.HALF_ANGLE) < _ANGLE)


def reach_of(tip: Tip, inputs: Joint, options: ZeroOptions) -> tuple[float, float]:
    """How far past first contact the windows go, m: of the blunted law, and of the power law."""
    near = options.depth_window
    if not table_serves(tip, inputs, options):
        return near, near
    R = end_radius(tip, inputs.as_dict())
    assert R is not None
    # The table of a sphero-cone serves a sphere as long as the cone is not reached.
    most = 0.04 if tip.geometry.shape == "sphere" else _RADII
    return float(min(_REACH, most * float(R))), near


def find_laws(seeds: Seeds, tip: Tip, inputs: Joint, options: ZeroOptions) -> dict[str, ContactLaw]:
    """The law of each specimen, from its first :data:`MOST` tests with enough samples.

    Parameters
    ----------
    seeds : Seeds
        All tests of the specimens with this tip and frame, in their order.
    tip : Tip
    inputs : Joint
        Holds what is uncertain of the tip.
    options : ZeroOptions
    """
    laws = {}
    names = np.array(seeds.specimen)
    for specimen in dict.fromkeys(seeds.specimen):
        own = np.flatnonzero(names == specimen)
        laws[specimen] = _law(seeds, own, tip, inputs, options)
    return laws


def _law(seeds: Seeds, own: Ints, tip: Tip, inputs: Joint, options: ZeroOptions) -> ContactLaw:
    wide, near = (np.diff(w.offsets)[own] for w in (seeds.wide, seeds.near))
    known = np.isfinite(seeds.modulus[own]) & np.isfinite(seeds.hardness[own])
    if table_serves(tip, inputs, options):
        good = own[known & (wide >= LEAST)][:MOST]
        if len(good):
            found = _blunted(seeds.take(good), tip, inputs)
            if found is not None:
                return _or_power(found, seeds.near.take(good), options)
    good = own[near >= LEAST][:MOST]
    return _power(seeds.near.take(good), options)


def _or_power(found: ContactLaw, near: Windows, options: ZeroOptions) -> ContactLaw:
    """The law of a blunted tip, or, where the tests do not follow it but do follow a power close to
    contact, that power; the misfit of the former stays said."""
    if found.misfit <= _MISFIT:
        return found
    power = _power(near, options)
    if power.tests == 0 or power.misfit > _MISFIT:
        return found
    return replace(power, misfit=found.misfit)


def radius_of(tip: Tip, inputs: Joint) -> tuple[float, float, float]:
    """Radius of the tip's end (m), its relative uncertainty from the tip's inputs, and in all."""
    theta = inputs.as_dict()
    R = end_radius(tip, theta)
    assert R is not None
    slopes = np.zeros(len(inputs.names))
    for j, name in enumerate(inputs.names):
        if name.startswith("tip."):
            size = 1e-30 * max(abs(theta[name]), 1e-30)
            up = end_radius(tip, {**theta, name: theta[name] + 1j * size})
            slopes[j] = 0.0 if up is None else float(np.imag(up)) / size
    u = float(np.sqrt(max(float(slopes @ inputs.cov @ slopes), 0.0))) / float(R)
    # A stated radius without uncertainty is not exact: no tip's end is known to better than 2 %.
    more = U_SHAPE if is_read_off(tip) else 0.02
    return float(R), u, float(np.hypot(u, more))


def _blunted(seeds: Seeds, tip: Tip, inputs: Joint) -> ContactLaw | None:
    R, u_tip, u_R = radius_of(tip, inputs)
    E = float(np.median(seeds.modulus))
    u_E = float(np.hypot(np.median(seeds.u_modulus), _U_MODULUS))
    y = float(np.clip(np.median(seeds.hardness) / E / _TABOR, *blunted.Y_RANGE))
    nu = float(np.clip(seeds.nu[0], *blunted.NU_RANGE))
    laws, found = [], []
    for n in _EXPONENTS:
        law = BluntedLaw(
            (float(np.log(R)), float(np.log(E)), float(np.log(y)), float(n), nu),
            (u_R, u_E, _U_LN_Y, 1e-3, float(max(seeds.u_nu[0], 0.01))),
        )
        starts = []
        for v in _STARTS:
            start = law.mean.copy()
            start[2] = v
            starts.append(start)
        laws.append(law)
        found.append(fit_shared(law, seeds.wide, None, starts))
    weight = np.array([f.evidence for f in found]) - 0.5 * ((_EXPONENTS - _N) / _U_N) ** 2
    if not np.isfinite(weight.max()):
        return None
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    kept = np.flatnonzero(weight > 1e-3)
    weight = weight[kept] / weight[kept].sum()
    laws, found = [laws[k] for k in kept], [found[k] for k in kept]
    return _gathered(
        BLUNTED, np.array([law.prior for law in laws]), np.array([law.u_prior for law in laws]),
        weight, laws, found, seeds.wide, (u_R, u_tip), 1.0,
    )  # fmt: skip


def _power(windows: Windows, options: ZeroOptions) -> ContactLaw:
    scale = float(np.max(windows.force, initial=0.0)) or 1.0
    law = PowerLaw(options.exponent_range, scale)
    found = fit_shared(law, windows)
    ends = np.array([options.exponent_range])
    whole = _gathered(
        POWER, ends, np.zeros((1, 2)), np.ones(1), [law], [found], windows, (1.0, 0.0), scale
    )
    # A law that is none shows when the window shrinks.
    half = _nearer(windows)
    enough = np.flatnonzero(np.diff(half.offsets) >= LEAST)
    if not len(enough):
        return whole
    inner = fit_shared(law, half)
    z = [zeros_of(law, w, s, None).depth[enough] for w, s in ((windows, found), (half, inner))]
    moved = float(np.mean(z[1] - z[0]))
    return replace(whole, u_mean=float(np.hypot(whole.u_mean, moved)))


def _nearer(w: Windows) -> Windows:
    """The first half of each window, by depth."""
    t = w.test
    if not len(w.force):
        return w
    low = np.full(len(w), np.inf)
    high = np.full(len(w), -np.inf)
    np.minimum.at(low, t, w.depth)
    np.maximum.at(high, t, w.depth)
    keep = w.depth <= 0.5 * (low + high)[t]
    counts = np.bincount(t[keep], minlength=len(w))
    offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    return Windows(w.force[keep], w.depth[keep], offsets, w.u_force, w.u_depth, w.u_base)


def _gathered(
    kind: str,
    prior: Floats,
    u_prior: Floats,
    weight: Floats,
    laws: Sequence[Law],
    found: Sequence[Shared],
    windows: Windows,
    u_radius: tuple[float, float],
    scale: float,
) -> ContactLaw:
    """A law with what its mean zero depends on."""
    value = np.array([f.value for f in found])
    cov = np.array([f.cov for f in found])
    by_radius = np.zeros_like(value)
    if kind == BLUNTED:
        u_R, u_tip = u_radius
        by_radius = cov[:, :, 0] / u_R**2
        # What comes from the tip's own inputs is carried by them.
        cov = cov - u_tip**2 * by_radius[:, :, None] * by_radius[:, None, :]
    good = np.flatnonzero(np.diff(windows.offsets) >= LEAST)
    K, p = value.shape
    gradient, moved = np.zeros((K, p)), np.zeros(K)
    chi = rest = 0.0
    if len(good):
        w = windows.take(good)
        shared = [Shared(v, c) for v, c in zip(value, cov, strict=True)]
        zeros = [zeros_of(a, w, s, None) for a, s in zip(laws, shared, strict=True)]
        gradient = np.array([z.by_shared.mean(axis=0) for z in zeros])
        moved = np.array([z.depth.mean() for z in zeros])
        moved = moved - weight @ moved
        for k, z in enumerate(zeros):
            one, size = z.misfit_together()
            chi, rest = chi + float(weight[k]) * one, rest + float(weight[k]) * size
    var = np.einsum("kp,kpq,kq->k", gradient, cov, gradient) + moved**2
    return ContactLaw(
        kind, prior, u_prior, weight, value, cov, gradient, moved, by_radius,
        float(np.sqrt(max(weight @ var, 0.0))), chi, rest, len(good), scale,
    )  # fmt: skip


def zeros_by_law(law: ContactLaw, windows: Windows, quiet: Quiet | None) -> LawZeros:
    """Zeros of tests of one specimen, its law given.

    Tests with fewer than :data:`~drypoint.reduction.first_contact.LEAST` samples get NaN.
    """
    parts: list[Zeros] = []
    for k in range(len(law.weight)):
        model, shared = law.component(k)
        parts.append(zeros_of(model, windows, shared, quiet))
    w = law.weight
    depth = np.array([z.depth for z in parts])
    mean = _mixed(w, depth)
    away = depth - mean
    by = np.array([z.by_shared for z in parts])
    gC = np.sum(by[:, :, :, None] * law.cov[:, None, :, :], axis=2)
    var = _mixed(w, np.sum(gC * by, axis=2) + away**2)
    with_mean = _mixed(w, np.sum(gC * law.gradient[:, None, :], axis=2) + law.moved[:, None] * away)
    own = np.sqrt(_mixed(w, np.square([z.u_own for z in parts])))
    shared_sd = law.u_mean
    fitted = float(np.sqrt(max(
        w @ (np.einsum("kp,kpq,kq->k", law.gradient, law.cov, law.gradient) + law.moved**2), 0.0
    )))  # fmt: skip
    per_law = _WIDER * with_mean / fitted if fitted > 0 else np.zeros(len(mean))
    left = np.sqrt(np.clip(_WIDER**2 * var - per_law**2, 0.0, None))
    # What the shrinking window shows, and what is loose in the law, moves all zeros alike.
    loose = np.sqrt(_mixed(w, np.square([z.loose for z in parts])))
    per_law = np.hypot(per_law, np.hypot(loose, np.sqrt(max(shared_sd**2 - fitted**2, 0.0))))
    chi = _mixed(w, np.array([z.misfit() for z in parts]))
    rest = _mixed(w, np.array([np.sum(np.abs(z.shape), axis=1) for z in parts]))
    all_off = law.misfit > _MISFIT
    one_off = np.nan_to_num(chi) > _MISFIT
    own = np.hypot(np.hypot(own, left), np.where(one_off, rest, 0.0))
    if all_off:
        per_law = np.hypot(per_law, law.rest)
    R = float(np.exp(law.prior[0, 0])) if law.kind == BLUNTED else 1.0
    per_radius = _mixed(w, np.sum(by * law.by_radius[:, None, :], axis=2)) / R
    return LawZeros(
        mean, own, per_law, per_radius, one_off | all_off, np.diff(windows.offsets),
        np.full(len(mean), law.kind == BLUNTED),
    )  # fmt: skip


def _mixed(weight: Floats, values: Floats) -> Floats:
    """Weighted sums over the components, (K, n) -> (n,), in one order whatever n: a product of
    matrices rounds differently with their size."""
    return np.asarray(np.add.reduce(weight[:, None] * values, axis=0))


def by_law(options: ZeroOptions) -> bool:
    """Whether zeros are found by a law that the tests of a specimen share."""
    return options.method == "first contact" and options.law != POWER


__all__ = [
    "BLUNTED", "MOST", "POWER", "ContactLaw", "LawZeros", "Seeds", "by_law", "find_laws",
    "join_seeds", "radius_of", "reach_of", "table_serves", "zeros_by_law",
]  # fmt: skip

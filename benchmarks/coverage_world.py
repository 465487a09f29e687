"""Many benches, specimens and records with known truth, made fast: for ``bench_coverage.py``.

A bench is drawn from exactly the joint distribution that is stated to the program: tip, scale of
its area function with beta, frame compliance, scales, E_i, nu_i, Poisson's ratios, exponent of the
first contact. On it two specimens are tested, ten times each, every test with noise, drift and
zero of its own. Formulas are those of ``drypoint.simulation.envelope``, vectorised over the tests.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from drypoint.contact.unloading import (
    combined_modulus,
    contact_stiffness,
    epsilon,
)
from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo
from drypoint.reduction.inputs import systematic_inputs
from drypoint.reduction.options import AnalysisOptions, Options, ZeroOptions
from drypoint.tips.area import area, area_slope
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]

SPECIMENS = ("a", "b")
TESTS = 10  # of each specimen
RATE = 20.0  # samples a second
LOAD, HOLD, UNLOAD, DRIFT_HOLD = 20.0, 10.0, 15.0, 40.0  # s
DRIFT_LEVEL, GAP, SPEED, JOIN = 0.1, 60e-9, 10e-9, 25e-9
PASSAGE = 0.6  # half width of the passage from elastic to plastic contact
MEMORIES = (0.1, 0.5, 2.0)  # correlation times of the coloured noise, s


@dataclass(frozen=True)
class Stated:
    """What the program is told; ``joint`` is the distribution that truths are drawn from."""

    bench: Bench
    options: Options
    poisson: Mapping[str, tuple[float, float]]
    joint: Joint


def stated(grade: float) -> Stated:
    """A bench whose every stated standard uncertainty is ``grade`` times a usual one."""
    g = grade
    names = ("tip.radius", "tip.angle")
    angle = np.radians(65.27)
    cov = np.diag([4e-9 * g, np.radians(0.03) * g]) ** 2
    tip = blunted_tip(
        Geometry("modified Berkovich", angle=angle, radius=80e-9),
        Joint(names, np.array([80e-9, angle]), cov),
        name="B1",
        found_with=(
            ("beta", "1.05"), ("epsilon", "exponent"), ("radial_correction", "False"),
            ("E_r_GPa", "69.6"), ("u_E_r_GPa", str(0.7 * g)),
        ),
        u_E_i=10e9 * g,
        u_nu_i=0.005 * g,
    )  # fmt: skip
    frame = Frame(
        compliance=0.25e-6,
        u_compliance=0.015e-6 * g,
        u_force_scale=0.002 * g,
        u_depth_scale=0.002 * g,
    )
    options = Options(
        zero=ZeroOptions(u_exponent=0.1 * g),
        analysis=AnalysisOptions(beta=1.05, u_beta=0.02 * g),
    )
    poisson = dict.fromkeys(SPECIMENS, (0.25, 0.02 * g))
    bench = Bench(tip, frame)
    return Stated(bench, options, poisson, systematic_inputs(bench, options, poisson))


def times() -> tuple[Floats, dict[str, slice]]:
    """Time base (s) and where each leg lies."""
    legs = {
        "approach": GAP / SPEED,
        "load": LOAD,
        "hold": HOLD,
        "unload": UNLOAD * (1 - DRIFT_LEVEL),
        "drift": DRIFT_HOLD,
        "end": UNLOAD * DRIFT_LEVEL,
    }
    at, where = 0, {}
    for name, seconds in legs.items():
        n = round(seconds * RATE)
        where[name] = slice(at, at + n)
        at += n
    return np.arange(at) / RATE, where


@dataclass(frozen=True)
class Specimen:
    """True values of each test of one specimen, shape (TESTS,); ``mean`` those of the specimen."""

    force: Floats
    depth: Floats
    truth: Mapping[str, Floats]
    mean: Mapping[str, float]


def _part(x: Floats) -> Floats:
    """Mean pressure over hardness for elastic pressure over hardness ``x``."""
    w = PASSAGE
    share = np.clip((x - 1 + w) / (2 * w), 0.0, 1.0)
    return np.where(share < 1, np.minimum(x, 1 + w) - w * share * share, 1.0)


def specimen(
    rng: np.random.Generator,
    bench: Bench,
    theta: Mapping[str, float],
    name: str,
    material: Mapping[str, float],
    kind: str,
) -> Specimen:
    """Force and depth of one specimen's tests, shape (TESTS, samples), and what is true.

    ``kind``: "power law"; "two laws" (unloading is a sum of two power laws); "passage" (the first
    contact goes from elastic to plastic instead of following a power of depth).
    """
    n = TESTS
    H = material["H"] * (1 + material["own"] * rng.standard_normal(n))
    E = material["E"] * (1 + 0.5 * material["own"] * rng.standard_normal(n))
    nu, beta = theta[f"nu.{name}"], theta["beta"]
    F_max = material["F_max"]
    exponents: tuple[float, ...] = (material["m"],)
    shares: tuple[float, ...] = (1.0,)
    if kind == "two laws":
        exponents, shares = (material["m1"], material["m2"]), (material["w"], 1 - material["w"])
    m = float(np.dot(exponents, shares))

    def A_of(h: Floats) -> Floats:
        return np.asarray(area(bench.tip, theta, h)) * theta["tip.scale"]

    def state(H: Floats, E: Floats, F: float) -> dict[str, Floats]:
        h_c = np.sqrt(F / H / 24.5)
        for _ in range(20):
            slope = np.asarray(area_slope(bench.tip, theta, h_c)) * theta["tip.scale"]
            step = (F / H - A_of(h_c)) / slope
            h_c = np.maximum(h_c + step, 0.2 * h_c)
            if np.max(np.abs(step / h_c)) < 1e-13:
                break
        A = A_of(h_c)
        E_r = combined_modulus(E, nu, theta["tip.E_i"], theta["tip.nu_i"])
        S = contact_stiffness(E_r, A, beta)
        h = h_c + epsilon(m) * F / S
        return {
            "F_max": np.full_like(h, F), "h_max": h, "h_c": h_c, "S": S, "m": np.full_like(h, m),
            "H_IT": H, "E_IT": E, "E_r": E_r, "A_p": A,
        }  # fmt: skip

    truth = state(H, E, F_max)
    centre = state(np.array([material["H"]]), np.array([material["E"]]), F_max)
    mean = {k: float(v[0]) for k, v in centre.items()}

    t, legs = times()
    force = np.zeros((n, len(t)))
    depth = np.zeros((n, len(t)))
    k = legs["approach"].stop
    depth[:, :k] = -SPEED / RATE * np.arange(k, 0, -1)
    k = legs["load"].stop - legs["load"].start
    force[:, legs["load"]] = F_max * (np.arange(1, k + 1) / k) ** 2
    top = truth["h_max"]
    creep = material["creep"] * np.log1p(HOLD)
    h_p_top = top - m * F_max / truth["S"]
    k = legs["hold"].stop - legs["hold"].start
    share = np.log1p(np.arange(1, k + 1) / RATE) / np.log1p(HOLD)
    force[:, legs["hold"]] = F_max
    depth[:, legs["hold"]] = (top - creep * h_p_top)[:, None] + (creep * h_p_top)[:, None] * share
    k = legs["unload"].stop - legs["unload"].start
    down = 1 - (1 - DRIFT_LEVEL) * np.arange(1, k + 1) / k
    force[:, legs["unload"]] = F_max * down
    force[:, legs["drift"]] = F_max * DRIFT_LEVEL
    k = legs["end"].stop - legs["end"].start
    force[:, legs["end"]] = F_max * DRIFT_LEVEL * (1 - np.arange(1, k + 1) / k)

    back = slice(legs["unload"].start, legs["end"].stop)
    u = np.linspace(0, 1, 4001)
    f = np.sum([s * u**e for s, e in zip(shares, exponents, strict=True)], axis=0)
    fraction = force[0, back] / F_max
    part = fraction ** (1 / m) if kind != "two laws" else np.interp(fraction, f, u)
    depth[:, back] = h_p_top[:, None] + (m * F_max / truth["S"])[:, None] * part
    h_c = np.geomspace(1e-11, 1.05 * np.max(truth["h_c"]), 600)
    A = A_of(h_c)
    for i in range(n):
        p = np.full_like(h_c, H[i])
        if kind == "passage":
            el = 8 / (3 * np.pi) * beta * truth["E_r"][i] * h_c / np.sqrt(A / np.pi)
            p = H[i] * _part(el / H[i])
        F = p * A
        S = contact_stiffness(truth["E_r"][i], A, beta)
        h = h_c + epsilon(m) * F / S
        h = h - creep * np.maximum(h - m * F / S, 0.0)
        root = np.sqrt(F)
        now = force[i, legs["load"]]
        loaded = np.interp(np.sqrt(now), root, h)
        if kind != "passage":
            F_join = np.interp(JOIN, h, F)
            law = JOIN * (now / F_join) ** (1 / theta["zero.exponent"])
            loaded = np.where(now < F_join, law, loaded)
        depth[i, legs["load"]] = loaded
    return Specimen(force, depth, truth, mean)


def material(rng: np.random.Generator) -> dict[str, dict[str, float]]:
    """Two alike specimens, drawn over a wide range of materials and forces."""
    E = float(np.exp(rng.uniform(np.log(60e9), np.log(400e9))))
    H = E * float(np.exp(rng.uniform(np.log(1 / 80), np.log(1 / 9))))
    base = {
        "E": E, "H": H, "m": float(rng.uniform(1.2, 1.5)),
        "F_max": float(np.exp(rng.uniform(np.log(2e-3), np.log(30e-3)))),
        "own": float(rng.choice([0.0, 0.005, 0.02])), "creep": float(rng.uniform(0, 0.006)),
        "m1": float(rng.uniform(1.1, 1.3)), "m2": float(rng.uniform(1.5, 2.0)),
        "w": float(rng.uniform(0.3, 0.7)),
    }  # fmt: skip
    other = {**base, "E": E * rng.uniform(0.9, 1.1), "H": H * rng.uniform(0.9, 1.1)}
    return dict(zip(SPECIMENS, (base, other), strict=True))


def disturb(
    rng: np.random.Generator, force: Floats, depth: Floats, theta: Mapping[str, float]
) -> tuple[Floats, Floats, Floats, Floats]:
    """What the instrument writes: scales, compliance, zero, drift, noise of unknown colour.

    Returns raw force, raw depth, and by test the corrected depth at contact (m) and the drift
    rate (m/s).
    """
    n, k = force.shape
    offset = rng.uniform(-5e-6, 5e-6, (n, 1))
    zero = rng.uniform(150e-9, 900e-9, (n, 1))
    raw_F = force / theta["force_scale"] + offset
    raw_h = (depth + theta["frame.C_f"] * force) / theta["depth_scale"] + zero
    rate = 0.02e-9 * rng.standard_normal((n, 1))
    walk = float(np.exp(rng.uniform(np.log(0.001e-9), np.log(0.01e-9))))
    steps = walk / np.sqrt(RATE) * rng.standard_normal((n, k))
    drift = rate * np.arange(k) / RATE + np.cumsum(steps, axis=1)
    drift -= drift[:, [round(GAP / SPEED * RATE)]]
    raw_h += drift
    for raw, low, high in ((raw_F, 0.1e-6, 0.6e-6), (raw_h, 0.05e-9, 0.3e-9)):
        sd = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        raw += sd * rng.standard_normal((n, k))
        phi = float(np.exp(-1 / RATE / rng.choice(MEMORIES)))
        e = rng.standard_normal((n, k))
        e[:, 1:] *= np.sqrt(1 - phi * phi)
        raw += sd * rng.uniform(0.2, 1.0) * lfilter([1], [1, -phi], e, axis=1)
    at = theta["depth_scale"] * zero - theta["frame.C_f"] * theta["force_scale"] * offset
    return raw_F, raw_h, at[:, 0], rate[:, 0]


@dataclass(frozen=True)
class World:
    """One drawn bench with the records of both specimens."""

    force: Floats
    depth: Floats
    truth: Mapping[str, Floats]
    mean: Mapping[str, Floats]


def world(what: Stated, seed: int, kind: str, tag: int = 0) -> World:
    """Draw a bench and test both specimens on it. ``mean`` has one value a specimen."""
    rng = np.random.default_rng(np.random.SeedSequence((seed, tag)))
    theta = dict(zip(what.joint.names, what.joint.draw(rng, 1)[0], strict=True))
    materials = material(rng)
    made = [specimen(rng, what.bench, theta, s, materials[s], kind) for s in SPECIMENS]
    raw = [disturb(rng, m.force, m.depth, theta) for m in made]
    truth = {k: np.concatenate([m.truth[k] for m in made]) for k in made[0].truth}
    truth["zero"], truth["drift"] = (np.concatenate([r[i] for r in raw]) for i in (2, 3))
    return World(
        np.concatenate([r[0] for r in raw]),
        np.concatenate([r[1] for r in raw]),
        truth,
        {k: np.array([m.mean[k] for m in made]) for k in made[0].mean},
    )


def batch_of(worlds: list[World]) -> Batch:
    """All records of several worlds as one batch, in order."""
    t, _ = times()
    n = sum(len(w.force) for w in worlds)
    nothing = Source("invented", "0" * 64)
    names = [SPECIMENS[(i // TESTS) % 2] for i in range(n)]
    return Batch(
        tests=tuple(TestInfo(f"T{i}", s, nothing) for i, s in enumerate(names)),
        offsets=np.arange(n + 1, dtype=np.int64) * len(t),
        time=np.tile(t, n),
        force=np.concatenate([w.force.ravel() for w in worlds]),
        depth=np.concatenate([w.depth.ravel() for w in worlds]),
        segment=np.full(n * len(t), UNDECLARED, dtype=np.int16),
    )

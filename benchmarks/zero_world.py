"""Worlds for the zero point that no law of the program made: computed records, nothing measured.

``solids``: loading and unloading curves by finite elements on another mesh than the program's table
(benchmarks/make_blunted_solids.py). ``power``: a pure power of 1.5 to 2. ``layer``: a blunted tip
on a solid whose first nanometres are softer or stiffer than the rest. Bench, noise and what is
systematic are drawn anew for each specimen; what the bench states is the truth plus an error of the
stated size.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo

Floats = NDArray[np.float64]
DATA = Path(__file__).with_name("data") / "blunted_solids.npz"


@dataclass(frozen=True)
class Curve:
    """One specimen under one tip, SI: loading and unloading (h, F), contact modulus, nu, name."""

    load: tuple[Floats, Floats]
    back: tuple[Floats, Floats]
    E_r: float
    nu: float
    name: str


@dataclass(frozen=True)
class Conditions:
    """A bench on one day: R (m) of the tip, rate (Hz), seconds of loading, gap before contact (m),
    residual spring (N/m), white noise of force (N) and depth (m), share and memory (s) of coloured
    noise, drift (m/s) that stays and that decays in ``decay`` (s), C_f (m/N)."""

    R: float
    rate: float
    loading: float
    gap: float
    approach: float
    spring: float
    noise_F: float
    noise_h: float
    coloured: float
    memory: float
    drift: float
    decaying: float
    decay: float
    hold: float
    C_f: float
    u_R: float
    u_C: float


def conditions(rng: np.random.Generator) -> Conditions:
    """Drawn anew: most of what a bench may be."""
    return Conditions(
        R=float(np.exp(rng.uniform(np.log(50e-9), np.log(200e-9)))),
        rate=float(rng.choice([10.0, 20.0, 50.0, 100.0, 200.0])),
        loading=float(rng.uniform(8.0, 30.0)),
        gap=float(rng.uniform(200e-9, 800e-9)),
        approach=float(rng.uniform(10e-9, 60e-9)),
        spring=float(rng.uniform(0.0, 50.0)),
        noise_F=float(np.exp(rng.uniform(np.log(0.02e-6), np.log(0.5e-6)))),
        noise_h=float(np.exp(rng.uniform(np.log(0.05e-9), np.log(0.3e-9)))),
        coloured=float(rng.choice([0.0, 0.5, 1.0])),
        memory=float(np.exp(rng.uniform(np.log(0.1), np.log(2.0)))),
        drift=float(rng.normal(0.0, 0.03e-9)),
        decaying=float(rng.choice([0.0, 0.0, 0.0, 0.1e-9])),
        decay=100.0,
        hold=float(rng.uniform(20.0, 60.0)),
        C_f=float(rng.uniform(0.2e-6, 1.5e-6)),
        u_R=0.10,
        u_C=0.02e-6,
    )


def curve_of(i: int, R: float, rng: np.random.Generator, data: dict[str, NDArray]) -> Curve:
    """Finite-element solid ``i`` with a tip of radius R and a modulus of its own."""
    nu = float(data["numbers"][i, 0])
    E_r = float(rng.uniform(50e9, 400e9)) / (1.0 - nu**2)
    load, back = data["load"][i].astype(float), data["back"][i].astype(float)
    h0, f0 = np.concatenate([[0.0], load[:, 0]]), np.concatenate([[0.0], load[:, 1]])
    return Curve(
        (h0 * R, f0 * E_r * R * R), (back[:, 0] * R, back[:, 1] * E_r * R * R), E_r, nu,
        str(data["names"][i]),
    )  # fmt: skip


def power_curve(exponent: float, R: float, rng: np.random.Generator) -> Curve:
    """Loading a pure power, unloading a power of 1.35 whose stiffness fits a cone's area."""
    E_r, h = float(rng.uniform(60e9, 300e9)), float(rng.uniform(1.0, 2.0)) * R
    x = np.linspace(0.0, h, 2000)
    F_max = float(rng.uniform(0.25, 0.6)) * E_r * h**1.5 * R**0.5
    F = F_max * (x / h) ** exponent
    m = 1.35
    A = np.pi * np.tan(np.radians(70.3)) ** 2 * (0.85 * h + 0.062 * R) ** 2
    S = 2.0 * E_r * np.sqrt(A / np.pi)
    L = m * F_max / S
    f = np.linspace(F_max, 0.05 * F_max, 100)
    return Curve(
        (x, F), (h - L + L * (f / F_max) ** (1 / m), f), E_r, 0.25, f"power {exponent:.2f}"
    )


def law_curve(R: float, rng: np.random.Generator) -> Curve:
    """Loading by the program's own law, a solid anywhere in its table: only for the rate of flags
    on records that follow the law."""
    from drypoint.contact import blunted

    E_r, y = float(rng.uniform(50e9, 400e9)), float(np.exp(rng.uniform(np.log(6e-4), np.log(0.1))))
    n, nu = float(rng.uniform(0.0, 0.45)), float(rng.uniform(0.15, 0.42))
    x = np.concatenate([[0.0], np.geomspace(0.002, 1.45, 1500)])
    f = blunted.phi(x, np.log(y), n, nu).value
    h, F = x * R, f * E_r * R * R
    m = 1.35
    A = np.pi * np.tan(np.radians(70.3)) ** 2 * (0.85 * h[-1] + 0.062 * R) ** 2
    S = 2.0 * E_r * np.sqrt(A / np.pi)
    L = m * F[-1] / S
    g = np.linspace(F[-1], 0.05 * F[-1], 100)
    back = h[-1] - L + L * (g / F[-1]) ** (1 / m)
    return Curve((h, F), (back, g), E_r, nu, "law")


def with_layer(c: Curve, thickness: float, softer: float) -> Curve:
    """The curve with a layer at the surface that yields ``softer`` times more for ``thickness``."""
    h, F = c.load
    at = np.interp(thickness, h, F)
    more = softer * thickness * (1.0 - np.exp(-F / max(at, 1e-12)))
    shift = float(more[-1])
    return Curve((h + more, F), (c.back[0] + shift, c.back[1]), c.E_r, c.nu, c.name + " layer")


@dataclass(frozen=True)
class Made:
    """Records of one specimen: (force, depth, time) of each, and the true zeros (m)."""

    records: list[tuple[Floats, Floats, Floats]]
    zero: Floats


def _ar(rng: np.random.Generator, n: int, phi: float) -> Floats:
    from scipy.signal import lfilter

    e = rng.standard_normal(n) * np.sqrt(1 - phi * phi)
    e[0] = rng.standard_normal()
    return np.asarray(lfilter([1.0], [1.0, -phi], e))


def records(
    c: Curve, k: Conditions, tests: int, rng: np.random.Generator, *, clean: bool = False
) -> Made:
    """Records of a specimen; ``clean`` without noise, drift, spring or offsets."""
    out, zeros = [], []
    x, F = c.load
    top, F_max = float(x[-1]), float(F[-1])
    for _ in range(tests):
        z0, f0 = float(rng.uniform(-200e-9, 900e-9)), float(rng.uniform(-20e-6, 20e-6))
        dt = 1.0 / k.rate
        slow = max(k.approach, 50 * k.noise_h)
        a = np.arange(-k.gap, 0.0, slow * dt)
        # At a constant rate of depth; the unloading at a constant rate of force.
        up = np.arange(0.0, top, top / k.loading * dt)
        f_up = np.interp(up, x, F)
        still = np.full(int(5.0 * k.rate), top)
        f_still = np.full(len(still), F_max)
        f_down = np.arange(F_max, 0.1 * F_max, -0.9 * F_max / 10.0 * dt)
        down = np.interp(f_down, c.back[1][::-1], c.back[0][::-1])
        n_hold = int(k.hold * k.rate)
        h = np.concatenate([a, up, still, down, np.full(n_hold, down[-1])])
        f = np.concatenate([0 * a, f_up, f_still, f_down, np.full(n_hold, f_down[-1])])
        t = np.arange(len(h)) * dt
        since = t - t[len(a)]
        if clean:
            out.append((f, h + k.C_f * f, t))
            zeros.append(0.0)
            continue
        drift = k.drift * since - k.decaying * k.decay * (np.exp(-since / k.decay) - 1.0)
        phi = float(np.exp(-dt / k.memory))
        n_h = rng.standard_normal(len(h)) + k.coloured * _ar(rng, len(h), phi)
        n_f = rng.standard_normal(len(h)) + k.coloured * _ar(rng, len(h), phi)
        depth = h + k.C_f * f + z0 + drift + k.noise_h * n_h
        force = f + f0 + k.spring * (h + k.gap) + k.noise_F * n_f
        out.append((force, depth, t))
        # The record's depth at contact: what the frame yields under the offset is in it.
        zeros.append(z0)
    return Made(out, np.array(zeros))


def batch(parts: list[tuple[str, list[tuple[Floats, Floats, Floats]]]]) -> Batch:
    """Specimens with their records as one batch."""
    rows = [(name, r) for name, records_ in parts for r in records_]
    return Batch(
        tests=tuple(
            TestInfo(f"T{i:03d}", name, Source(f"T{i:03d}", "0" * 64))
            for i, (name, _) in enumerate(rows)
        ),
        offsets=np.cumsum([0] + [len(r[0]) for _, r in rows]).astype(np.int64),
        time=np.concatenate([r[2] for _, r in rows]),
        force=np.concatenate([r[0] for _, r in rows]),
        depth=np.concatenate([r[1] for _, r in rows]),
        segment=np.full(sum(len(r[0]) for _, r in rows), UNDECLARED, dtype=np.int16),
    )

"""Another world for ``bench_segments.py``: computed records of one loading with a hold, in noise
of many kinds, written without sight of the method.

Force and depth follow a plain power law, so that ten thousand records take seconds. A partial
unloading may be put into the hold or into the loading.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]
Generator = np.random.Generator


def white(rng: Generator, n: int, _: float) -> Floats:
    """Independent normal readings."""
    return rng.standard_normal(n)


def ar1(memory: float) -> Callable[[Generator, int, float], Floats]:
    """First-order noise whose correlation falls to 1/e in ``memory`` seconds."""

    def make(rng: Generator, n: int, dt: float) -> Floats:
        rho = float(np.exp(-dt / memory))
        e = rng.standard_normal(n)
        e[0] /= np.sqrt(1 - rho**2)
        return signal.lfilter([np.sqrt(1 - rho**2)], [1, -rho], e)

    return make


def pink(rng: Generator, n: int, _: float) -> Floats:
    """1/f noise from one cycle per two records up."""
    f = np.fft.rfftfreq(2 * n)[1:]
    a = (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)) / np.sqrt(f)
    z = np.fft.irfft(np.concatenate([[0], a]), 2 * n) * 2 * n
    return z[:n] / np.sqrt(4 * np.sum(1 / f) - 2 / f[-1])


def mixed(rng: Generator, n: int, dt: float) -> Floats:
    """Half the variance white, half with a memory of 0.3 s."""
    return (white(rng, n, dt) + ar1(0.3)(rng, n, dt)) / np.sqrt(2)


def heavy(rng: Generator, n: int, _: float) -> Floats:
    """Student's t with 4 degrees of freedom."""
    return rng.standard_t(4, n) / np.sqrt(2)


def rounded(rng: Generator, n: int, _: float) -> Floats:
    """White noise written in steps of one standard deviation."""
    return np.round(rng.standard_normal(n))


def wandering(rng: Generator, n: int, dt: float) -> Floats:
    """White noise on a random walk of the zero that reaches one standard deviation in 60 s."""
    return rng.standard_normal(n) + np.cumsum(rng.standard_normal(n)) * np.sqrt(dt / 60)


def sloping(rng: Generator, n: int, dt: float) -> Floats:
    """White noise on a steady drift of the zero of one standard deviation in 60 s, either way."""
    return rng.standard_normal(n) + rng.choice([-1.0, 1.0]) * np.arange(n) * dt / 60


def humming(rng: Generator, n: int, dt: float) -> Floats:
    """White noise with as much of a sine of 50 Hz, as it comes out of the sampling."""
    t = np.arange(n) * dt
    return (
        rng.standard_normal(n) + np.sqrt(2) * np.sin(2 * np.pi * (50.03 * t + rng.random()))
    ) / np.sqrt(2)


#: Noise by name; each is of unit standard deviation (of its quick part, where there is drift).
NOISES: dict[str, Callable[[Generator, int, float], Floats]] = {
    "white": white,
    "memory 0.1 s": ar1(0.1),
    "memory 0.3 s": ar1(0.3),
    "memory 1 s": ar1(1.0),
    "white and 0.3 s": mixed,
    "1/f": pink,
    "heavy tails": heavy,
    "last digit": rounded,
    "white, zero walks": wandering,
    "white, zero drifts": sloping,
    "white and hum": humming,
}


@dataclass(frozen=True)
class Plan:
    """One test: force (N) at the top, samples per second, seconds of the hold, power of the ramp,
    and the standard deviation of the noise as a share of the force."""

    top: float
    rate: float
    hold: float
    shape: float
    share: float


TOPS = (0.1e-3, 1e-3, 10e-3, 500e-3)
RATES = (5.0, 20.0, 100.0)
HOLDS = (2.0, 10.0, 60.0)
SHARES = (0.0005, 0.001, 0.003, 0.01)


def plan(rng: Generator) -> Plan:
    """A test drawn at random from the lists above."""
    top, rate, hold, share = (float(rng.choice(v)) for v in (TOPS, RATES, HOLDS, SHARES))
    return Plan(top, rate, hold, float(rng.choice([1.0, 1.5, 2.0])), share)


@dataclass(frozen=True)
class Dip:
    """A partial unloading: where (``"hold"`` or ``"loading"``), how deep (in standard deviations
    of the noise), seconds of each ramp and of the stay at its foot."""

    where: str
    deep: float
    ramp: float
    stay: float


def ramp(a: float, b: float, seconds: float, rate: float, shape: float = 1.0) -> Floats:
    """Force from a (left out) to b."""
    n = max(1, round(seconds * rate))
    return a + (b - a) * (np.arange(1, n + 1) / n) ** shape


def path(p: Plan, dip: Dip | None) -> tuple[Floats, tuple[int, int], tuple[int, int]]:
    """Force without noise as a share of its top, the samples of the hold, and those of the dip."""
    rate, span = p.rate, (0, 0)
    parts: list[Floats] = [np.zeros(round(8 * rate))]

    def into(level: float) -> tuple[int, int]:
        assert dip is not None
        low = level - dip.deep * p.share
        a = sum(map(len, parts))
        parts.append(ramp(level, low, dip.ramp, rate))
        parts.append(np.full(round(dip.stay * rate), low))
        parts.append(ramp(low, level, dip.ramp, rate))
        return a, sum(map(len, parts))

    if dip is not None and dip.where == "loading":
        up = ramp(0.0, 1.0, 20.0, rate, p.shape)
        k = int(np.searchsorted(up, 0.6))
        parts.append(up[:k])
        span = into(float(up[k - 1]))
        parts.append(up[k:])
    else:
        parts.append(ramp(0.0, 1.0, 20.0, rate, p.shape))
    start = sum(map(len, parts))
    if dip is not None and dip.where == "hold":
        parts.append(np.ones(round(p.hold * rate / 2)))
        span = into(1.0)
        parts.append(np.ones(round(p.hold * rate / 2)))
    else:
        parts.append(np.ones(round(p.hold * rate)))
    stop = sum(map(len, parts))
    parts.append(ramp(1.0, 0.1, 10.0, rate))
    parts.append(np.full(round(20 * rate), 0.1))
    parts.append(ramp(0.1, 0.0, 2.0, rate))
    return np.concatenate(parts), (start, stop), span


def depth_of(force: Floats, hold: tuple[int, int], rate: float) -> Floats:
    """Depth of a test of 200 nm: a square root on loading, creep in the hold, 15 % recovery."""
    top = int(hold[1])
    most = np.maximum.accumulate(force)
    back = 0.15 * (np.sqrt(most) - (force / np.maximum(most, 1e-9)) ** 0.7 * np.sqrt(most))
    h = 200e-9 * (np.sqrt(most) - np.where(most > 0, back, 0.0))
    since = np.clip(np.arange(len(force)) - hold[0], 0, top - hold[0]) / rate
    h += 200e-9 * 0.004 * np.log1p(since)
    gap = int(np.argmax(force > 0))
    h[:gap] = np.linspace(-100e-9, 0, gap)
    return h


def record(
    p: Plan, noise: str, rng: Generator, dip: Dip | None = None
) -> tuple[Floats, Floats, tuple[int, int], tuple[int, int]]:
    """Force (N), depth (m), and the samples of hold and dip."""
    f, hold, span = path(p, dip)
    h = depth_of(f, hold, p.rate)
    make = NOISES[noise]
    f = p.top * (f + p.share * make(rng, len(f), 1 / p.rate))
    h = h + 200e-9 * 0.5 * p.share * make(rng, len(h), 1 / p.rate)
    return f, h, hold, span

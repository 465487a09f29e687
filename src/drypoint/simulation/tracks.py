"""Invented scratch tracks with known truth: three passes, events, and what disturbs a bench.

Built from what happens under a tip, not from what a detector looks for. A crack lets the lateral
force drop and climb again, chips leave holes of the coating's thickness with whole patches between
them, a coating that is worn through gives way to a substrate of other friction and hardness over
some length. Around them: white and slow noise, slow wander, stick-slip that grows with load,
glitches, a rough and tilted surface, an acoustic background with bursts of its own. No position is
on a grid of samples or bins.

Signal-to-noise ratio of an event: its size in each signal it shows in, over the standard deviation
of all noise in that signal (white, slow and stick-slip together, one sample). Size: the drop of
lateral force at a crack, the change of lateral force at chips and where the coating is worn
through, the depth of a chip; an acoustic burst is three times as high.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from drypoint.scratch.track import Declared, Pass, Track
from drypoint.simulation.truth import SimulationError
from drypoint.tips.build import ideal_tip
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]
Rng = np.random.Generator

AE = "acoustic emission"
#: cracks: bursts in lateral force and acoustic emission. chips: patches without coating, in
#: friction and depth, with a burst each. worn through: friction and depth go over to those of the
#: substrate. friction: a change of friction alone. acoustic: bursts that only the sensor hears.
EVENTS = ("cracks", "chips", "worn through", "friction", "acoustic")


@dataclass(frozen=True)
class TrackEvent:
    """Something that begins at ``load`` (N): a key of :data:`EVENTS`. ``ratio`` is its
    signal-to-noise ratio; a negative one makes friction and lateral force fall."""

    kind: str
    load: float
    ratio: float

    def __post_init__(self) -> None:
        if self.kind not in EVENTS:
            raise SimulationError(
                f"“{self.kind}” is no event of a track.", remedy="Use one of: " + ", ".join(EVENTS)
            )


@dataclass(frozen=True)
class Disturbance:
    """What disturbs a bench. Forces relative to the largest lateral force, depths in m.

    ``*_white``/``*_slow`` are standard deviations, slow noise has the correlation length
    ``memory`` (share of the track). ``wander`` is a slow change of friction (relative),
    ``stick_slip`` the amplitude of the sawtooth at full load, ``period`` its length (share of the
    track). ``glitches`` and ``clicks`` are single strays in force, and acoustic bursts of no
    meaning, expected number a track.
    """

    force_white: float = 0.01
    force_slow: float = 0.006
    depth_white: float = 4e-9
    depth_slow: float = 3e-9
    memory: float = 0.004
    wander: float = 0.02
    stick_slip: float = 0.01
    period: float = 0.006
    glitches: float = 2.0
    clicks: float = 4.0


@dataclass(frozen=True)
class TrackTruth:
    """Everything about an invented track. SI; the load rises from ``first`` to ``last`` over
    ``length`` after a ``lead`` under light load (share of the length)."""

    name: str = "track"
    length: float = 500e-6
    samples: int = 20_000
    first: float = 0.002
    last: float = 0.5
    lead: float = 0.05
    friction: float = 0.12
    ploughing: float = 0.08
    depth: float = 1.5e-6
    recovery: float = 0.55
    coating: float = 0.4e-6
    tilt: float = 2e-3
    roughness: float = 15e-9
    lateral_zero: float = 1e-3
    speed: float = 10e-6
    acoustic: bool = True
    passes: tuple[str, ...] = ("before", "scratch", "after")
    events: tuple[TrackEvent, ...] = ()
    disturbance: Disturbance = Disturbance()
    tip: Tip = field(
        default_factory=lambda: ideal_tip(
            "sphero-cone", name="invented stylus", angle=float(np.radians(60)), radius=50e-6
        )
    )


@dataclass(frozen=True)
class TrackRecord:
    """The track as a bench would write it, and where each event truly began: ``loads`` (N) and
    ``places`` (m), in the order of the truth's events."""

    truth: TrackTruth
    track: Track
    loads: tuple[float, ...]
    places: tuple[float, ...]


def _slow(rng: Rng, n: int, memory: float) -> Floats:
    """Noise of unit variance with a correlation length (in samples)."""
    a = float(np.exp(-1 / max(memory, 1e-9)))
    z = rng.standard_normal(n)
    z[1:] *= np.sqrt(1 - a * a)
    return np.asarray(lfilter([1.0], [1.0, -a], z))


def _wander(rng: Rng, u: Floats) -> Floats:
    """A smooth random change of about unit size over the track: a few slow waves."""
    out = np.zeros_like(u)
    for k in range(1, 6):
        a, b = rng.standard_normal(2) / k
        out += a * np.sin(np.pi * k * u) + b * np.cos(np.pi * k * u)
    return out / 1.2


def _stick_slip(rng: Rng, u: Floats, period: float) -> Floats:
    """Sawtooth between -1/2 and 1/2 whose teeth vary in length by a fifth."""
    teeth = period * np.clip(1 + 0.2 * rng.standard_normal(int(2.5 / period) + 8), 0.3, 2.0)
    ends = np.cumsum(teeth) - teeth[0] * rng.random()
    i = np.searchsorted(ends, u)
    return 0.5 - (ends[i] - u) / teeth[i]


def _sum_of_decays(u: Floats, at: Floats, size: Floats, length: float) -> Floats:
    """Each event rises at once and dies away exponentially over ``length``."""
    out = np.zeros_like(u)
    for a, s in zip(at, size, strict=True):
        i, j = np.searchsorted(u, [a, a + 12 * length])
        out[i:j] += s * np.exp(-(u[i:j] - a) / length)
    return out


def _gradual(u: Floats, at: float, length: float) -> Floats:
    """0 up to ``at``, then towards 1 over a length."""
    return np.asarray(-np.expm1(-np.maximum(u - at, 0.0) / length))


def _arrivals(rng: Rng, start: float, every: float, shrink: float, until: float = 1.0) -> Floats:
    """Places from ``start`` until the coating is gone, in gaps that shrink as damage grows."""
    at, out = start, []
    while at < until:
        out.append(at)
        gap = every * float(rng.gamma(2.0, 0.5)) / (1 + shrink * (at - start))
        at += max(gap, 1e-4)
    return np.array(out)


@dataclass
class _Shown:
    """What the events add along the scratch pass."""

    lateral: Floats
    depth: Floats
    holes: Floats
    acoustic: Floats


def _add(event: TrackEvent, at: float, u: Floats, sigma: _Sigma, rng: Rng, out: _Shown,
         truth: TrackTruth, until: float) -> None:  # fmt: skip
    size, up = abs(event.ratio), 1.0 if event.ratio > 0 else -1.0
    if event.kind == "cracks":
        places = _arrivals(rng, at, 0.012, 4.0, until)
        drops = sigma.force * size * rng.gamma(4.0, 0.25, len(places))
        out.lateral -= _sum_of_decays(u, places, drops, 0.0015)
        _ring(out, u, places, sigma, size, rng)
    elif event.kind == "chips":
        places = _arrivals(rng, at, 0.02, 3.0, until)
        gone = np.zeros_like(u)
        for p in places:
            gone[(u >= p) & (u < p + rng.gamma(3.0, 0.0025))] = 1.0
        deep = min(sigma.depth * size, truth.coating)
        edge = np.convolve(gone, np.ones(9) / 9, "same")
        out.depth += deep * edge
        out.holes += deep * edge
        out.lateral += up * sigma.force * size * edge
        _ring(out, u, places, sigma, size, rng)
    elif event.kind == "worn through":
        over = _gradual(u, at, float(rng.uniform(0.001, 0.004)))
        past = np.maximum(u - at, 0.0)
        out.lateral += up * sigma.force * size * over
        out.depth += sigma.depth * size * (0.5 * over + 8 * past)
        out.holes += sigma.depth * size * (0.5 * over + 5 * past)
    elif event.kind == "friction":
        over = _gradual(u, at, float(rng.uniform(0.0005, 0.003)))
        out.lateral += up * sigma.force * size * over
    else:
        _ring(out, u, _arrivals(rng, at, 0.01, 2.0), sigma, size, rng)


def _ring(out: _Shown, u: Floats, places: Floats, sigma: _Sigma, size: float, rng: Rng) -> None:
    """Acoustic bursts; one in five is not heard, but the first is."""
    heard = rng.random(len(places)) < 0.8
    heard[:1] = True
    heights = sigma.acoustic * 3 * size * rng.gamma(3.0, 1 / 3, len(places))
    out.acoustic += _sum_of_decays(u, places[heard], heights[heard], 0.0006)


@dataclass(frozen=True)
class _Sigma:
    """Standard deviation of all noise in each signal: N, m, and the sensor's unit."""

    force: float
    depth: float
    acoustic: float


def simulate_track(truth: TrackTruth, seed: int | tuple[int, ...] = 0) -> TrackRecord:
    """One track; the same to the bit for the same truth and seed.

    ``x`` runs along the track, depth is positive into the surface. The first burst of an event
    stands where it begins, and so does a change that takes some length.

    Raises
    ------
    SimulationError
        When an event lies off the ramp.
    """
    rng = np.random.default_rng(seed)
    n, d = truth.samples, truth.disturbance
    u = np.sort((np.arange(n) + 0.2 * rng.standard_normal(n)) / (n - 1))
    ramp = np.clip((u - truth.lead) / (1 - truth.lead), 0.0, 1.0)
    F = truth.first + (truth.last - truth.first) * ramp
    share = F / truth.last
    top = truth.last * (truth.friction + truth.ploughing)
    saw = d.stick_slip * share * _stick_slip(rng, u, d.period)
    sigma = _Sigma(
        top * float(np.sqrt(d.force_white**2 + d.force_slow**2 + (d.stick_slip / 6) ** 2)),
        float(np.hypot(d.depth_white, d.depth_slow)), 1.0,
    )  # fmt: skip
    places = [_place_of(e.load, truth) for e in truth.events]
    shown = _Shown(*(np.zeros(n) for _ in range(4)))
    gone = [p for e, p in zip(truth.events, places, strict=True) if e.kind == "worn through"]
    for event, at in zip(truth.events, places, strict=True):
        _add(event, at, u, sigma, rng, shown, truth, min([p for p in gone if p > at] or [1.0]))
    mu = truth.friction + truth.ploughing * np.sqrt(share)
    lateral = F * mu * (1 + d.wander * _wander(rng, u)) + top * saw + shown.lateral
    lateral = lateral + top * d.force_white * rng.standard_normal(n)
    lateral += top * d.force_slow * _slow(rng, n, d.memory * n)
    hits = rng.integers(0, n, rng.poisson(d.glitches))
    lateral[hits] += 8 * sigma.force * rng.standard_normal(len(hits))
    depth = truth.depth * share**0.7 * (1 + 0.5 * d.wander * _wander(rng, u)) + shown.depth
    left = truth.depth * (1 - truth.recovery) * share**0.7 + shown.holes
    ground = _ground(rng, truth)
    extra = {AE: _acoustic(rng, u, share, d, sigma, shown)} if truth.acoustic else {}
    passes = []
    for kind in truth.passes:
        light = np.full(n, truth.first)
        if kind == "scratch":
            force, side, deep = F, lateral, depth
        else:
            force, deep = light, left if kind == "after" else np.zeros(n)
            side = light * truth.friction + top * d.force_white * rng.standard_normal(n)
        noise = d.depth_white * rng.standard_normal(n)
        noise += d.depth_slow * _slow(rng, n, d.memory * n)
        passes.append(
            Pass(
                kind=kind,  # type: ignore[arg-type]
                x=u * truth.length,
                F_n=force + 2e-4 * truth.last * rng.standard_normal(n),
                F_l=side + truth.lateral_zero,
                h=deep + ground(u) + noise,
                t=u * truth.length / truth.speed,
                extra=extra if kind == "scratch" else {},
            )
        )
    declared = Declared(first_force=truth.first, last_force=truth.last)
    return TrackRecord(
        truth,
        Track(truth.name, tuple(passes), truth.tip, declared),
        tuple(e.load for e in truth.events),
        tuple(p * truth.length for p in places),
    )


def _place_of(load: float, truth: TrackTruth) -> float:
    ramp = (load - truth.first) / (truth.last - truth.first)
    if not 0 < ramp < 1:
        raise SimulationError(
            f"An event at {load:.4g} N lies off the ramp from {truth.first:.4g} N to "
            f"{truth.last:.4g} N.",
            remedy="Put events between the first and the last force.",
        )
    return truth.lead + (1 - truth.lead) * ramp


def _ground(rng: Rng, truth: TrackTruth) -> Callable[[Floats], Floats]:
    waves = [(rng.standard_normal(2) * truth.roughness / np.sqrt(12), k) for k in range(2, 14)]

    def height(u: Floats) -> Floats:
        out = truth.tilt * truth.length * u + 0.3e-6
        for (a, b), k in waves:
            out = out + a * np.sin(2 * np.pi * k * u) + b * np.cos(2 * np.pi * k * u)
        return np.asarray(out)

    return height


def _acoustic(
    rng: Rng, u: Floats, share: Floats, d: Disturbance, sigma: _Sigma, shown: _Shown
) -> Floats:
    """Envelope of the sensor: a skewed background that grows with load, clicks, and the events."""
    background = sigma.acoustic * rng.gamma(4.0, 0.5, len(u)) * (1 + 0.5 * share)
    at = np.sort(rng.random(rng.poisson(d.clicks)))
    clicks = _sum_of_decays(u, at, 10 * sigma.acoustic * rng.gamma(2.0, 0.5, len(at)), 0.0006)
    return np.asarray(background + clicks + shown.acoustic)

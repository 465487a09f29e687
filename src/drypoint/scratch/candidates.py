"""Candidates for critical loads: where several channels together say that something began.

A candidate is a load with an interval, the channels that speak for it and a confidence. What it
is (a crack, an edge that spalls, the coating worn through) no signal tells; a person who looks at
the track says so [iso20502-2005] [astm-c1624-2005].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.confidence import LEAST_GAIN, SURE, TEMPER, confidence
from drypoint.scratch.level import Levelled
from drypoint.scratch.locate import interval, likelihood
from drypoint.scratch.search import Searcher, Split, search
from drypoint.scratch.series import Evidence, evidence, filled

Floats = NDArray[np.float64]

STEP_NEAR = 8  # bins about a candidate in which a step of the load explains it


@dataclass(frozen=True)
class CandidateOptions:
    """What to look for.

    Parameters
    ----------
    least : float
        Confidence from which on a candidate is listed.
    level : float
        Coverage of the interval.
    first : float
        Share of the largest load below which nothing is looked for: first touch bends all signals.
    most : int
        Candidates a track at most.
    load_step : float
        Share of the largest load: where the load itself steps by more, a change is no candidate.
    voices : tuple of str
        Further channels that take part besides lateral force and depths, by their names. Others
        (a temperature, a stage's own readings) say nothing of the coating and take no part.
    """

    least: float = 0.25
    level: float = 0.95
    first: float = 0.05
    most: int = 8
    load_step: float = 0.02
    voices: tuple[str, ...] = ("acoustic emission",)


@dataclass(frozen=True)
class Voice:
    """One channel in one respect ("level", "spread", "bursts", "jumps") and what it gains in
    log-likelihood."""

    channel: str
    respect: str
    gain: float


@dataclass(frozen=True)
class Candidate:
    """A load (N) at which something began.

    ``low`` and ``high`` bound the load at ``level``, ``us_load`` is the standard uncertainty that
    all loads of the bench share. ``x`` (m along the track) with ``x_low`` and ``x_high``.
    ``voices`` strongest first, ``channels`` their channels, each once. ``confidence``: see
    :mod:`.confidence`. ``score`` is the gain in log-likelihood that all voices add up to.
    """

    load: float
    low: float
    high: float
    level: float
    us_load: float
    x: float
    x_low: float
    x_high: float
    channels: tuple[str, ...]
    voices: tuple[Voice, ...]
    confidence: float
    score: float


def candidates(
    levelled: Levelled, options: CandidateOptions | None = None
) -> tuple[Candidate, ...]:
    """Candidates of a track in order of position; none where no channel tells anything."""
    options = options or CandidateOptions()
    seen = evidence(levelled, options.voices)
    force = filled(levelled.bins.means(levelled.F_n)[0])
    heavy = force >= options.first * np.nanmax(force)
    first = int(np.argmax(heavy)) if heavy.any() else len(force)
    searcher = Searcher(seen, first)
    splits = search(seen, first, LEAST_GAIN, options.most, searcher)
    out = []
    before = 0
    for split in splits:
        if _load_steps(force, split.at, options.load_step):
            continue
        one = _candidate(levelled, seen, searcher, split, before, force, options)
        before += one.confidence >= SURE
        if one.confidence >= options.least:
            out.append(one)
    return tuple(out)


def _load_steps(force: Floats, at: int, share: float) -> bool:
    """Whether the load jumps near a place, against its own usual progress."""
    near = force[max(at - STEP_NEAR, 0) : at + STEP_NEAR + 1]
    rise = near[2:] - near[:-2] - 2 * float(np.median(np.diff(force)))
    return bool(len(rise) and np.max(np.abs(rise)) > share * np.max(np.abs(force)))


def _candidate(
    levelled: Levelled, seen: Evidence, searcher: Searcher, split: Split, before: int,
    force: Floats, options: CandidateOptions,
) -> Candidate:  # fmt: skip
    names = [(s.channel, s.respect) for s in seen.series]
    names += [(b.channel, b.respect) for b in seen.bursts]
    voices = sorted(
        (Voice(c, r, float(g)) for (c, r), g in zip(names, split.parts, strict=True) if g > 0),
        key=lambda v: -v.gain,
    )
    channels = tuple(dict.fromkeys(v.channel for v in voices))
    places, loglik = likelihood(seen, searcher, split, TEMPER)
    grid = levelled.bins
    at = np.array(interval(places, loglik, options.level)) * grid.width
    x, x_low, x_high = (float(v) for v in np.clip(at, 0.0, grid.centre[-1] + grid.width / 2))
    load, low, high = (float(v) for v in np.interp([x, x_low, x_high], grid.centre, force))
    scale, zero = levelled.inputs.normal_scale, levelled.inputs.normal_zero
    return Candidate(
        load=load, low=min(low, load), high=max(high, load), level=options.level,
        us_load=float(np.hypot(load * scale.u / scale.value, scale.value * zero.u)),
        x=x, x_low=x_low, x_high=x_high, channels=channels, voices=tuple(voices),
        confidence=confidence(split.gain, len(channels), before), score=split.gain,
    )  # fmt: skip

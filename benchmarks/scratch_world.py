"""Random benches and tracks for ``bench_scratch.py``: what they hold is stated here and printed.

A track has no event, or one to three, at random loads at least 12 % of the ramp apart, of kinds
that follow each other: first sounds or a change of friction, then cracks, then chips, then the
coating worn through. The first has the stated signal-to-noise ratio, each next one half as much
again. Noise, its memory, wander, stick-slip, ploughing and recovery vary from track to track.
"""

from __future__ import annotations

import numpy as np

from drypoint.simulation.tracks import Disturbance, TrackEvent, TrackTruth

#: Signal-to-noise ratio of the first event: low, middle, high.
LEVELS = (5.0, 15.0, 30.0)
#: Kinds by stage; a track takes some of the stages in this order.
STAGES = (("acoustic", "friction"), ("cracks",), ("chips",), ("worn through",))
SPREAD = 0.3  # of the logarithm of each noise


def some_truth(
    rng: np.random.Generator, ratio: float, count: int | None = None, samples: int = 20_000
) -> TrackTruth:
    """A random track; ``count`` events, or one to three."""
    number = int(rng.integers(1, 4)) if count is None else count
    loads = np.sort(rng.uniform(0.12, 0.9, number))
    while number > 1 and np.min(np.diff(loads)) < 0.12:
        loads = np.sort(rng.uniform(0.12, 0.9, number))
    stages = sorted(rng.choice(len(STAGES), number, replace=False))
    sign = float(rng.choice([-1.0, 1.0]))
    last = 0.5
    events = tuple(
        TrackEvent(str(rng.choice(STAGES[s])), last * float(at), sign * ratio * 1.5**i)
        for i, (s, at) in enumerate(zip(stages, loads, strict=True))
    )
    noise = np.array([0.01, 0.006, 4e-9, 3e-9]) * np.exp(SPREAD * rng.standard_normal(4))
    disturbance = Disturbance(
        *(float(v) for v in noise),
        memory=float(rng.uniform(0.001, 0.008)),
        wander=float(rng.uniform(0.005, 0.03)),
        stick_slip=float(rng.uniform(0.0, 0.03)),
        period=float(rng.uniform(0.003, 0.01)),
    )
    return TrackTruth(
        samples=samples,
        last=last,
        events=events,
        disturbance=disturbance,
        recovery=float(rng.uniform(0.3, 0.8)),
        ploughing=float(rng.uniform(0.02, 0.12)),
    )

"""How sure a candidate is: calibrated on simulated tracks, not a formula of its own.

A confidence of 0.9 means: of such candidates on simulated tracks nine in ten lie at an event, that
is within 5 % of the track of a true beginning that no other candidate is nearer to. It is a
logistic function of the gain of the candidate, of how many channels speak for it and of how many
candidates of 0.5 or more come before it on the track (after a first failure signals stay
restless). The numbers
come from ``benchmarks/bench_scratch.py --fit``, whose tracks are described in
docs/explanation/scratch.md; whether they hold is printed by the same benchmark on other tracks.
"""

from __future__ import annotations

import numpy as np

#: Constant, ln(gain), channels beyond the first, sure candidates before (3 at most).
WEIGHTS = (-7.372, 3.292, -0.236, -1.437)
#: Factor on the log-likelihood of places (:mod:`.locate`).
TEMPER = 0.15
#: Gain below which no candidate is followed up.
LEAST_GAIN = 9.8
#: Confidence from which on a candidate counts as one that comes before.
SURE = 0.5


def confidence(gain: float, channels: int, before: int) -> float:
    """Share of such candidates that are events on simulated tracks."""
    features = (1.0, float(np.log(max(gain, 1e-9))), channels - 1.0, float(min(before, 3)))
    score = float(np.dot(WEIGHTS, features))
    return float(1 / (1 + np.exp(-score)))

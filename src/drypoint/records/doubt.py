"""Numbers that could be read but are hard to believe: told in notes, never mended.

A unit that is wrong by a factor of 1,000 leaves no trace in a file but its size. Nothing is
refused here, because a flat punch, a large sphere or a gel may be meant. For solids of 0.15 to
20 GPa a factor of 1,000 in force or depth falls outside what is believed; a factor of 10, or
longer times than meant, mostly do not and go unseen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import Batch

#: Mean pressure (Pa) under a Berkovich pyramid, F / (24.5 h²), that solids have: our own choice,
#: wide of the hardness of any solid from common practice.
PRESSURE = (2e7, 1.5e11)
#: Seconds that a test usually lasts: common practice.
DURATION = (0.2, 36_000.0)
_AREA = 24.5


def doubts(batch: Batch) -> tuple[str, ...]:
    """One sentence for each thing that is hard to believe, with the tests that it is about."""
    from drypoint.records.kernels import depths_in_contact, first_breaks

    if not len(batch):
        return ()
    lengths = np.diff(batch.offsets)
    which = np.flatnonzero(lengths > 0)
    starts = batch.offsets[:-1][which]
    force = np.maximum.reduceat(batch.force, starts)
    depth = depths_in_contact(batch.force, batch.depth, batch.offsets)[which]
    lasted = np.maximum.reduceat(batch.time, starts) - np.minimum.reduceat(batch.time, starts)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
        pressure = np.where(depth > 0, force / (_AREA * depth**2), np.nan)
    lateral = batch.channels.get("lateral_force")
    if lateral is not None:
        pressure = np.where(np.isfinite(np.fmax.reduceat(lateral, starts)), np.nan, pressure)
    low, high = PRESSURE
    short, long = DURATION
    found = (
        (
            pressure > high,
            "a pointed tip would mean a hardness of {:.3g} GPa, above any solid; if no flat or "
            "very round tip is meant, look at the units of force and depth.",
            pressure / 1e9,
        ),
        (
            pressure < low,
            "a pointed tip would mean a hardness of {:.3g} MPa, as soft as a gel; if none is "
            "meant, look at the units of force and depth.",
            pressure / 1e6,
        ),
        (lasted > long, "the test lasts {:.3g} h; look at the unit of time.", lasted / 3600),
        (lasted < short, "the test lasts {:.3g} ms; look at the unit of time.", lasted * 1e3),
    )
    told = tuple(
        _who(batch, which[at], len(which)) + words.format(float(values[np.flatnonzero(at)[0]]))
        for at, words, values in found
        if at.any()
    )
    broken = first_breaks(batch.force, batch.depth, batch.offsets)[which]
    at = broken >= 0
    if not at.any():
        return told
    k = int(which[np.flatnonzero(at)[0]])
    line = (batch.tests[k].source.first_line or 1) + int(broken[at][0])
    return (
        *told,
        _who(batch, which[at], len(which)) + "force or depth leaps within a sample and leaves the "
        f"other where it is (near line {line}): a stray value, or another unit from there on.",
    )


def _who(batch: Batch, tests: NDArray[np.int64], n: int) -> str:
    first = batch.tests[int(tests[0])].name
    if len(tests) == 1:
        return f"Test {first}: "
    many = "All" if len(tests) == n else f"{len(tests)} of {n}"
    return f"{many} tests (the first is {first}): "

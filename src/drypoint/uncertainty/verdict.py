"""The plain sentence of a comparison."""

from __future__ import annotations

import numpy as np

from drypoint.uncertainty.rounding import round_pair


def sentence(
    a: str,
    b: str,
    *,
    ratio: bool,
    verdict: str,
    estimate: float,
    interval: tuple[float, float],
    level: float,
    margin: float | None,
    more: float | None,
    carrier: str,
    power: float,
    unit: str,
) -> str:
    """Verdict, numbers rounded to the half-width's two figures, and what would decide."""
    tail = f" {unit}" if unit and not ratio else ""
    half = (interval[1] - interval[0]) / 2
    shown = round_pair(estimate, half)[0]
    low, high = (round_pair(v, half)[0] for v in interval)
    what = f"{a} / {b}" if ratio else f"{a} - {b}"
    numbers = f"{what} = {shown}{tail}, {level:.0%} interval [{low}, {high}]{tail}"
    if verdict == "different":
        return f"Different: {numbers}."
    if verdict == "equivalent" and margin is not None:
        limit = f"a factor {1 + margin:g}" if ratio else f"\u00b1{margin:g}{tail}"
        return f"Equivalent within {limit}: {numbers}."
    if more is None or not np.isfinite(more):
        return f"Not decided: {numbers}; no number of further tests alone would decide."
    units = carrier if more == 1 else f"{carrier}s"
    return (
        f"Not decided: {numbers}; {more:.0f} more {units} each would decide with power "
        f"{power:.0%}, if the difference is as seen."
    )

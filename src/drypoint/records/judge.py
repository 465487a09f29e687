"""Faults of one test that only its numbers show: a clock that runs backwards, lost samples."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.records.parse import Fault

Floats = NDArray[np.float64]

#: A gap is looked at when it is this many times the median step, ...
GAP_STEPS = 100.0
#: ... and this many times the next longest step (regular pauses are no lost samples), ...
GAP_ALONE = 10.0
#: ... and it loses samples when force or depth moved across it by this share of their range.
GAP_MOVED = 0.02


def gaps(time: Floats) -> NDArray[np.int64]:
    """Samples before the steps of time that are longer than :data:`GAP_STEPS` median steps."""
    step = np.diff(time)
    if len(step) < 3 or not np.isfinite(step).all():
        return np.empty(0, dtype=np.int64)
    middle = float(np.median(step))
    return np.flatnonzero(step > GAP_STEPS * middle) if middle > 0 else np.empty(0, np.int64)


def judge(time: Floats, force: Floats, depth: Floats, lines: NDArray[np.int64]) -> Fault | None:
    """First fault of a test, or ``None``. Times are in seconds."""
    if len(time) == 0:
        return Fault(
            int(lines[0]) if len(lines) else 1,
            None,
            "The test has no samples.",
            "Export it again.",
        )
    step = np.diff(time)
    if len(step) == 0 or np.isnan(step).any():
        return None
    if step.min() < 0:
        i = int(np.argmax(step < 0))
        return Fault(
            int(lines[i + 1]),
            None,
            f"The time runs backwards, from {time[i]:.9g} s to {time[i + 1]:.9g} s.",
            'If several tests stand in this file, declare split = "blank lines" or '
            '"column"; else correct the line in a copy of the file.',
        )
    if step.max() == 0:
        return Fault(
            int(lines[0]),
            None,
            "The time never changes.",
            "Declare another column as time, or sampling_Hz with this one ignored.",
        )
    if step.max() <= GAP_STEPS * step.min():
        return None
    i = int(np.argmax(step))
    others = np.delete(step, i)
    middle = float(np.median(step))
    if not (step[i] > GAP_STEPS * middle and len(others) and step[i] > GAP_ALONE * others.max()):
        return None
    moved = [abs(a[i + 1] - a[i]) > GAP_MOVED * np.ptp(a) for a in (force, depth)]
    if not any(moved):
        return None
    return Fault(
        int(lines[i + 1]),
        None,
        f"{step[i]:.4g} s are missing before this line (the usual step is {middle:.4g} s), and "
        f"{'force' if moved[0] else 'depth'} moved meanwhile: samples were lost.",
        "Look at the record around this line; if the time is wrong there, correct it in a copy.",
    )

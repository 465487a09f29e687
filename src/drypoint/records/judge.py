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


def _backwards(time: Floats, step: Floats, lines: NDArray[np.int64]) -> Fault:
    """A time that falls: in every row, or from some rows to the next."""
    falls = np.flatnonzero(step < 0)
    i = int(falls[0])
    if step.max() <= 0:
        return Fault(
            int(lines[i + 1]),
            None,
            f"The time falls in every row, from {time[0]:.9g} s in line {int(lines[0])} to "
            f"{time[-1]:.9g} s in line {int(lines[-1])}: the rows are in reversed order.",
            "Sort the rows by time in a copy of the file. If this column is not the time, declare "
            "another one.",
        )
    more = ""
    if len(falls) > 1:
        shown = ", ".join(str(int(lines[k + 1])) for k in falls[1:6])
        rest = f" and {len(falls) - 6} more" if len(falls) > 6 else ""
        more = f" It does so again in line{'s' if len(falls) > 2 else ''} {shown}{rest}."
    return Fault(
        int(lines[i + 1]),
        None,
        f"The time runs backwards, from {time[i]:.9g} s to {time[i + 1]:.9g} s.{more}",
        'If there are several tests in this file, declare split = "blank lines" or '
        '"column"; else correct the line in a copy of the file.',
    )


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
        return _backwards(time, step, lines)
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

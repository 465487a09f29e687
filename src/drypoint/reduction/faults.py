"""Tests that gave no result: why, and what to do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import Batch
from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.unloading import STATUS, Unloading


@dataclass(frozen=True)
class Fault:
    """A test that gave no result: its index in the batch, why, and what to do."""

    test: int
    reason: str
    remedy: str


def find_faults(
    batch: Batch,
    corrected: Corrected,
    readings: Cycles,
    fits: Unloading,
    tests_rows: NDArray[np.int64],
) -> tuple[Fault, ...]:
    """Faults of a batch; ``tests_rows`` are the rows of the largest force of each test."""
    out = []
    row_of = {int(readings.test[r]): int(r) for r in tests_rows}
    for i in range(len(batch)):
        if int(corrected.zero.how[i]) == -1:
            out.append(
                Fault(
                    i,
                    "No contact: the force never rises above its noise.",
                    "Look at the record; repeat the test if the tip did not touch.",
                )
            )
        elif i not in row_of:
            out.append(
                Fault(
                    i,
                    "No unloading was found after the loading.",
                    "If there is one, name the segments in the decisions file.",
                )
            )
        elif fits.status[row_of[i]] != 0:
            out.append(
                Fault(
                    i,
                    f"The unloading could not be fitted: {STATUS[int(fits.status[row_of[i]])]}.",
                    "Choose another window for this test, or exclude it.",
                )
            )
        elif not readings.F_max[row_of[i]] > 10 * corrected.zero.noise_force[i]:
            out.append(
                Fault(
                    i,
                    "The largest force is hardly above the noise.",
                    "Use a larger force or a quieter range.",
                )
            )
    return tuple(out)

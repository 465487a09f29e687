"""Which rows of a study's tables belong to a specimen, and which of them count."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.run.result import StudyResult


def rows_of(result: StudyResult, specimen: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Rows of ``tests`` of a specimen, and which of them are excluded."""
    mine = (result.tests_table["specimen"] == specimen).to_numpy()
    rows = np.flatnonzero(mine)
    return rows, result.tests_table["excluded"].to_numpy()[rows]


def cycle_rows(result: StudyResult, specimen: str) -> NDArray[np.int64]:
    """Rows of ``cycles`` of a specimen that are not excluded."""
    mine = (result.cycles_table["specimen"] == specimen).to_numpy()
    return np.flatnonzero(mine & ~result.cycles_table["excluded"].to_numpy())


def name_of(result: StudyResult, row: int) -> str:
    """Name of the test of a row of ``tests``."""
    return result.batch.tests[int(result.tests.test[row])].name

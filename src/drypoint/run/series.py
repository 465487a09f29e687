"""Means and spreads of every property of every specimen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from drypoint.recipe import Study
from drypoint.records.batch import Batch
from drypoint.reduction.result import Reduction
from drypoint.run.columns import COLUMNS
from drypoint.uncertainty.series import SeriesResult, series


def rows_of(batch: Batch, r: Reduction, specimen: str) -> NDArray[np.int64]:
    """Rows of a reduction that belong to a specimen."""
    hit = [batch.tests[int(t)].specimen == specimen for t in r.test]
    return np.flatnonzero(np.array(hit, dtype=bool))


def days_of(
    batch: Batch, r: Reduction, rows: Sequence[int] | NDArray[np.int64]
) -> list[str] | None:
    """Day of each row, from what the record declares; None when not all say it, or all say one."""
    days = [batch.tests[int(r.test[i])].declared.get("date", "")[:10] for i in rows]
    return days if all(days) and len(set(days)) > 1 else None


def series_by_specimen(
    study: Study, batch: Batch, r: Reduction, level: float
) -> Mapping[str, Mapping[str, SeriesResult]]:
    """Series of each specimen and symbol; a symbol without a single value is left out.

    Parameters
    ----------
    r : Reduction
        One row a test, exclusions already taken out.
    level : float
        Level of confidence of the expanded uncertainty.
    """
    out: dict[str, dict[str, SeriesResult]] = {}
    for specimen in study.file.specimens:
        rows = rows_of(batch, r, specimen)
        if not len(rows):
            continue
        day = days_of(batch, r, rows)
        found = {}
        for symbol in COLUMNS:
            q = r[symbol]
            if not np.any(np.isfinite(q.value[rows])):
                continue
            found[symbol] = series(
                q.value[rows], q.u_random[rows], q.sensitivity[rows], r.inputs,
                day=day if study.file.series.method == "mean" else None,
                method=study.file.series.method, level=level,
            )  # fmt: skip
        out[specimen] = found
    return out

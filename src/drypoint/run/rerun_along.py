"""What a change moves along loading: windows of records with an oscillation, by bins of depth.

Windows are compared one with the same one (test, cycle, number) that has a value in both runs, in
the bins of the first, each window at the contact depth that the first run found. Otherwise a
change that moves the depths would fill the bins anew, and the mean move without any value moving.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.run.columns import factor_of
from drypoint.run.gathering import IN_BINS
from drypoint.run.result import StudyResult
from drypoint.run.series import days_of, rows_of
from drypoint.uncertainty.bins import Bin, binned

Rows = NDArray[np.int64]


@dataclass(frozen=True)
class Moved:
    """One reported value before and after, in its column's unit.

    ``by`` has, for each change alone, how far it moved the value; ``together`` is what remains:
    the effect of the changes on one another. ``depth`` has the edges (m) of the bin of contact
    depth for values along loading.
    """

    specimen: str
    symbol: str
    before: float
    after: float
    u_before: float
    u_after: float
    by: Mapping[str, float]
    together: float
    depth: tuple[float, float] | None = None


def _windows(result: StudyResult) -> dict[tuple[str, int, int], int]:
    """Row of each window that counts."""
    if result.dynamic is None:
        return {}
    table = result.dynamic.table
    keys = zip(table["test"], table["cycle"], table["window"], strict=True)
    return {k: i for i, (k, out) in enumerate(zip(keys, table["excluded"], strict=True)) if not out}


def _compared(
    before: StudyResult, after: StudyResult, specimen: str, symbol: str, level: float
) -> list[tuple[Bin, Bin]]:
    """Bins before and after, from windows that have a value in both."""
    assert before.dynamic is not None and after.dynamic is not None
    a, b = before.dynamic.rows, after.dynamic.rows
    first, second = _windows(before), _windows(after)
    own = set(rows_of(before.batch, a, specimen).tolist())
    pairs = np.array(
        [(i, second[k]) for k, i in first.items() if k in second and i in own], dtype=np.int64
    ).reshape(-1, 2)
    both = np.isfinite(a[symbol].value[pairs[:, 0]]) & np.isfinite(b[symbol].value[pairs[:, 1]])
    pairs = pairs[both]
    if not len(pairs):
        return []
    at = before.dynamic.bins[specimen][symbol]
    edges = np.array([at[0].low, *(one.high for one in at)])
    h_c = a["h_c"].value[pairs[:, 0]]

    def bins(result: StudyResult, rows: Rows) -> tuple[Bin, ...]:
        assert result.dynamic is not None
        r = result.dynamic.rows
        return binned(
            h_c, r[symbol].value[rows], r[symbol].u_random[rows], r[symbol].sensitivity[rows],
            r.inputs, edges, test=r.test[rows], day=days_of(result.batch, r, rows), level=level,
        )  # fmt: skip

    both_bins = zip(bins(before, pairs[:, 0]), bins(after, pairs[:, 1]), strict=True)
    return [(x, y) for x, y in both_bins if x.result is not None and y.result is not None]


def moved_along(
    before: StudyResult, after: StudyResult, alone: Mapping[str, StudyResult | None]
) -> list[Moved]:
    """Hardness and modulus in each bin of depth before and after; nothing without windows."""
    if before.dynamic is None or after.dynamic is None:
        return []
    level = before.study.file.output.level_of_confidence
    out = []
    for specimen in before.dynamic.bins:
        for symbol in IN_BINS:
            f = factor_of(symbol)
            single = {
                key: {} if one is None or one.dynamic is None else {
                    y.low: (y.result.mean - x.result.mean) / f
                    for x, y in _compared(before, one, specimen, symbol, level)
                    if x.result is not None and y.result is not None
                }
                for key, one in alone.items()
            }  # fmt: skip
            for x, y in _compared(before, after, specimen, symbol, level):
                if x.result is None or y.result is None:
                    continue
                p, q = x.result, y.result
                by = {key: values.get(x.low, 0.0) for key, values in single.items()}
                rest = (q.mean - p.mean) / f - sum(by.values())
                out.append(
                    Moved(
                        specimen, symbol, p.mean / f, q.mean / f, p.u / f, q.u / f, by, rest,
                        (x.low, x.high),
                    )
                )  # fmt: skip
    return out

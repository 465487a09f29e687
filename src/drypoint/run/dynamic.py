"""Windows along loading of all groups: one table, and bins of depth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from drypoint.recipe import Effective, Study
from drypoint.records.batch import Batch
from drypoint.reduction.dynamic import Dynamic
from drypoint.reduction.dynamic_limits import REMARKS
from drypoint.reduction.reduce import take_rows
from drypoint.reduction.result import Reduction
from drypoint.run.columns import DYNAMIC
from drypoint.run.gathering import dynamic_bins
from drypoint.run.merge import Part, merge
from drypoint.run.result import Group
from drypoint.run.tables import properties_frame
from drypoint.uncertainty.bins import Bin


@dataclass(frozen=True)
class DynamicResult:
    """Records with an oscillation: ``rows`` (SI, ``test`` indexes the whole batch) and ``table``
    (lab units) have one row a window; ``bins`` leave out what is excluded."""

    rows: Reduction
    excluded: NDArray[np.bool_]
    table: pl.DataFrame
    bins: Mapping[str, Mapping[str, tuple[Bin, ...]]]


def gather_dynamic(
    study: Study,
    batch: Batch,
    groups: Sequence[Group],
    tips: Sequence[str],
    state: Effective,
    level: float,
) -> DynamicResult | None:
    """Windows of all groups, or ``None`` where no record oscillates.

    Parameters
    ----------
    batch : Batch
        All tests.
    tips : sequence of str
        Tip of each test of the batch.
    state : Effective
        What the decisions exclude.
    """
    kept = [(g, d) for g in groups if (d := _standing(g)) is not None]
    if not kept:
        return None
    parts = [Part(d.rows, g.where, g.tip, g.frame, g.batch.tests[0].specimen) for g, d in kept]
    rows = merge(parts)
    test = np.concatenate([p.where[p.reduction.test] for p in parts])
    order = np.lexsort((np.concatenate([p.reduction.cycle for p in parts]), test))

    def column(name: str) -> NDArray[np.float64]:
        return np.asarray(np.concatenate([getattr(d, name) for _, d in kept])[order])

    why = [_why(state, batch.tests[int(t)].name, int(c))
           for t, c in zip(rows.test, rows.cycle, strict=True)]  # fmt: skip
    out = np.array([w is not None for w in why], dtype=bool)
    infos = [batch.tests[int(t)] for t in rows.test]
    table = pl.DataFrame(
        {
            "test": pl.Series([i.name for i in infos], dtype=pl.String),
            "specimen": pl.Series([i.specimen for i in infos], dtype=pl.String),
            "cycle": pl.Series(rows.cycle.astype(np.int64)),
            "window": pl.Series(column("number").astype(np.int64)),
            "excluded": pl.Series(out, dtype=pl.Boolean),
            **properties_frame(rows, DYNAMIC),
            "samples": pl.Series(column("samples").astype(np.int64)),
            "frequency_Hz": pl.Series(column("frequency")).fill_nan(None),
            "swing_percent": pl.Series(100.0 * column("swing")).fill_nan(None),
            "tip": pl.Series([tips[int(t)] for t in rows.test], dtype=pl.String),
            "flags": pl.Series(
                ["; ".join(f.code for f in row) for row in rows.flags], dtype=pl.String
            ),
            "withheld_because": pl.Series(
                [" ".join(f.sentence for f in row if f.code not in REMARKS) or None
                 for row in rows.flags],
                dtype=pl.String,
            ),
            "excluded_because": pl.Series(why, dtype=pl.String),
        }
    )  # fmt: skip
    bins = dynamic_bins(study, batch, take_rows(rows, np.flatnonzero(~out)), level)
    return DynamicResult(rows, out, table, bins)


def _standing(g: Group) -> Dynamic | None:
    """The windows of a group's tests that no later group replaces."""
    d = g.reduced.dynamic
    if d is None or not len(d.rows):
        return None
    keep = np.flatnonzero(~np.isin(d.rows.test, list(g.superseded)))
    if not len(keep):
        return None
    return replace(
        d, rows=take_rows(d.rows, keep), number=d.number[keep], samples=d.samples[keep],
        first=d.first[keep], last=d.last[keep], frequency=d.frequency[keep], swing=d.swing[keep],
    )  # fmt: skip


def _why(state: Effective, test: str, cycle: int) -> str | None:
    e = state.exclusion(test, cycle)
    return None if e is None else f"{e.why} ({e.who}, {e.when})"

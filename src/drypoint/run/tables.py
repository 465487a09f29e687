"""Result tables: one row a test, one row a cycle, in lab units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import polars as pl

from drypoint.records.batch import Batch
from drypoint.reduction import drift as drift_
from drypoint.reduction import zero as zero_
from drypoint.reduction.result import Reduction
from drypoint.run.columns import COLUMNS, column, factor_of


def properties_frame(r: Reduction, symbols: Iterable[str] = COLUMNS) -> dict[str, pl.Series]:
    """Columns of properties with their uncertainties."""
    out: dict[str, pl.Series] = {}
    for symbol in symbols:
        f = factor_of(symbol)
        q = r[symbol]
        u_sys = np.where(np.isfinite(q.value), r.u_systematic(symbol), np.nan)
        for prefix, values in (
            ("", q.value),
            ("u_", np.hypot(q.u_random, u_sys)),
            ("ur_", q.u_random),
            ("us_", u_sys),
        ):
            name = column(symbol, prefix)
            out[name] = pl.Series(name, values / f).fill_nan(None)
    return out


def results_frame(
    r: Reduction,
    batch: Batch,
    *,
    zero: Mapping[str, np.ndarray],
    events: Mapping[str, np.ndarray],
    tips: Sequence[str],
    excluded: Sequence[str | None],
    with_cycles: bool,
) -> pl.DataFrame:
    """A table of results.

    Parameters
    ----------
    r : Reduction
        Rows; ``test`` indexes ``batch``.
    batch : Batch
    zero : mapping
        Per test of the batch: ``depth``, ``u_depth``, ``how``, ``drift``, ``u_drift``,
        ``drift_how``, SI.
    events : mapping
        Column -> its value for each test of the batch, in the column's unit.
    tips : sequence of str
        Tip of each test of the batch.
    excluded : sequence of str or None
        For each row the reason why it is left out, or None where it counts.
    with_cycles : bool
        Whether the number of the cycle is a column.

    Returns
    -------
    polars.DataFrame
    """
    infos = [batch.tests[int(i)] for i in r.test]
    t = r.test
    um = 1e-6
    x = [np.nan if i.position_m is None else i.position_m[0] / um for i in infos]
    y = [np.nan if i.position_m is None else i.position_m[1] / um for i in infos]
    head: dict[str, pl.Series] = {
        "test": pl.Series([i.name for i in infos], dtype=pl.String),
        "specimen": pl.Series([i.specimen for i in infos], dtype=pl.String),
    }
    if with_cycles:
        head["cycle"] = pl.Series(r.cycle.astype(np.int64))
    head["excluded"] = pl.Series([e is not None for e in excluded], dtype=pl.Boolean)
    head["x_um"] = pl.Series(x, dtype=pl.Float64).fill_nan(None)
    head["y_um"] = pl.Series(y, dtype=pl.Float64).fill_nan(None)
    viscous = r["viscous_share"]
    tail: dict[str, pl.Series] = {
        "viscous_share_percent": pl.Series(viscous.value).fill_nan(None),
        "u_viscous_share_percent": pl.Series(viscous.u_random).fill_nan(None),
        "zero_nm": pl.Series(zero["depth"][t] * 1e9),
        "u_zero_nm": pl.Series(zero["u_depth"][t] * 1e9),
        "zero_from": pl.Series([zero_.HOW[int(zero["how"][i])] for i in t], dtype=pl.String),
        "drift_nm_per_s": pl.Series(zero["drift"][t] * 1e9),
        "u_drift_nm_per_s": pl.Series(zero["u_drift"][t] * 1e9),
        "drift_from": pl.Series(
            [drift_.HOW[int(zero["drift_how"][i])] for i in t], dtype=pl.String
        ),
        **{name: pl.Series(values[t]).fill_nan(None) for name, values in events.items()},
        "tip": pl.Series([tips[int(i)] for i in t], dtype=pl.String),
        "flags": pl.Series(["; ".join(f.code for f in row) for row in r.flags], dtype=pl.String),
        "excluded_because": pl.Series(list(excluded), dtype=pl.String),
        "date": pl.Series([i.declared.get("date") for i in infos], dtype=pl.String),
        "temperature": pl.Series([i.declared.get("temperature") for i in infos], dtype=pl.String),
        "humidity": pl.Series([i.declared.get("humidity") for i in infos], dtype=pl.String),
        "operator": pl.Series([i.declared.get("operator") for i in infos], dtype=pl.String),
        "source": pl.Series([i.source.path for i in infos], dtype=pl.String),
        "source_sha256": pl.Series([i.source.sha256 for i in infos], dtype=pl.String),
    }
    return pl.DataFrame({**head, **properties_frame(r), **tail})

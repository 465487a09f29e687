"""Depth bins and comparisons of a study, as its recipe asks for them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from drypoint.recipe import Study
from drypoint.records.batch import Batch
from drypoint.reduction.result import Reduction
from drypoint.run.columns import COLUMNS, column, factor_of
from drypoint.run.series import days_of, rows_of
from drypoint.uncertainty.bins import Bin, binned
from drypoint.uncertainty.compare import Comparison, Sample, compare_all
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]
IN_BINS = ("H_IT", "E_IT")
#: Fewest cycles a test for bins to be made without being asked for.
STEPPED = 3
#: Ratio of the edges of depth bins along loading.
DEEPER = 1.1


def bin_edges(r: Reduction, rows: NDArray[np.int64], declared_nm: tuple[float, ...]) -> Floats:
    """Edges (m): declared, or half-way between the mean depths of successive cycles."""
    if declared_nm:
        return np.array(declared_nm) * 1e-9
    h, cycle = r["h_c"].value[rows], r.cycle[rows]
    if not len(rows) or np.median(np.bincount(r.test[rows])[np.unique(r.test[rows])]) < STEPPED:
        return np.empty(0)
    means = np.array([np.nanmean(h[cycle == c]) for c in np.unique(cycle)])
    means = np.sort(means[np.isfinite(means)])
    if len(means) < 2:
        return np.empty(0)
    middle = 0.5 * (means[1:] + means[:-1])
    low = max(means[0] - (middle[0] - means[0]), 0.0)
    high = means[-1] + (means[-1] - middle[-1])
    # The outer edges hold every depth of the first and last step.
    low, high = min(low, float(np.nanmin(h))), max(high, float(np.nanmax(h)))
    edges: Floats = np.concatenate([[low], middle, [high]])
    return edges


def depth_bins(
    study: Study, batch: Batch, cycles: Reduction, level: float
) -> Mapping[str, Mapping[str, tuple[Bin, ...]]]:
    """Specimen -> symbol -> bins of contact depth; specimens without bins are left out."""
    out: dict[str, dict[str, tuple[Bin, ...]]] = {}
    for specimen in study.file.specimens:
        rows = rows_of(batch, cycles, specimen)
        edges = bin_edges(cycles, rows, study.file.series.depth_bins_nm)
        if len(edges) < 2:
            continue
        out[specimen] = {
            s: binned(
                cycles["h_c"].value[rows], cycles[s].value[rows], cycles[s].u_random[rows],
                cycles[s].sensitivity[rows], cycles.inputs, edges,
                test=cycles.test[rows], day=days_of(batch, cycles, rows), level=level,
            )
            for s in IN_BINS
        }  # fmt: skip
    return out


def dynamic_bins(
    study: Study, batch: Batch, r: Reduction, level: float
) -> Mapping[str, Mapping[str, tuple[Bin, ...]]]:
    """The same along the loading of records with an oscillation.

    Edges: declared, or each a tenth deeper than the one before (twice the least window at its
    default), from the shallowest contact depth that has a value.
    """
    out: dict[str, dict[str, tuple[Bin, ...]]] = {}
    for specimen in study.file.specimens:
        rows = rows_of(batch, r, specimen)
        h_c = r["h_c"].value[rows]
        h = h_c[np.isfinite(h_c) & (h_c > 0)]
        edges = np.array(study.file.series.depth_bins_nm) * 1e-9
        if not len(h):
            continue
        if len(edges) < 2:
            count = max(int(np.ceil(np.log(h.max() / h.min()) / np.log(DEEPER))), 1)
            edges = np.geomspace(h.min() * (1 - 1e-9), h.max() * (1 + 1e-9), count + 1)
        out[specimen] = {
            s: binned(
                h_c, r[s].value[rows], r[s].u_random[rows], r[s].sensitivity[rows], r.inputs,
                edges, test=r.test[rows], day=days_of(batch, r, rows), level=level,
            )
            for s in IN_BINS
        }  # fmt: skip
    return out


def bins_frame(bins: Mapping[str, Mapping[str, tuple[Bin, ...]]]) -> pl.DataFrame:
    """Depth bins as a table: a row a specimen and bin, mean, spread and expanded uncertainty."""
    rows = []
    for specimen, by_symbol in bins.items():
        for i, first in enumerate(next(iter(by_symbol.values()))):
            row: dict[str, object] = {
                "specimen": specimen,
                "h_c_from_nm": first.low * 1e9,
                "h_c_to_nm": first.high * 1e9,
            }
            for symbol, all_bins in by_symbol.items():
                b, f = all_bins[i], factor_of(symbol)
                r = b.result
                values = (None,) * 6 if r is None else (
                    b.depth * 1e9, r.n, r.mean / f, r.u / f, r.expanded / f, r.s / f,
                )  # fmt: skip
                names = (
                    f"h_c_nm_{symbol}", f"n_{symbol}", column(symbol), column(symbol, "u_"),
                    column(symbol, "U_"), column(symbol, "s_"),
                )  # fmt: skip
                row.update(zip(names, values, strict=True))
            rows.append(row)
    return pl.DataFrame(rows, infer_schema_length=None, nan_to_null=True)


def comparisons(
    study: Study, batch: Batch, tests: Reduction, level: float
) -> tuple[tuple[str, Comparison], ...]:
    """(symbol, comparison) for every pair that the recipe asks for; estimates in lab units.

    Positions of one site (``site`` in the header) hang together; days likewise.
    """
    out: list[tuple[str, Comparison]] = []
    for asked in study.file.comparisons:
        symbol = asked.quantity
        f = factor_of(symbol)
        q = tests[symbol]
        samples = []
        for name in asked.specimens:
            rows = rows_of(batch, tests, name)
            rows = rows[np.isfinite(q.value[rows])]
            sites = [batch.tests[int(tests.test[i])].declared.get("site", "") for i in rows]
            samples.append(
                Sample(
                    name, q.value[rows] / f, q.u_random[rows] / f, q.sensitivity[rows] / f,
                    position=sites if len(rows) and all(sites) else None,
                    day=days_of(batch, tests, rows),
                )
            )  # fmt: skip
        if any(len(s.values) == 0 for s in samples):
            continue
        found = compare_all(
            samples, tests.inputs, kind=asked.kind, adjust=asked.adjust, margin=asked.margin,
            level=level, power=asked.power,
            unit=COLUMNS[symbol][0] if asked.kind == "difference" else "",
        )  # fmt: skip
        out += [(symbol, c) for c in found]
    return tuple(out)


def unused(joint: Joint) -> tuple[str, ...]:
    """Inputs without any uncertainty: the budget leaves them out, the report names them."""
    return tuple(n for n, u in zip(joint.names, joint.sd, strict=True) if u == 0.0)

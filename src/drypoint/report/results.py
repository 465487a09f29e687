"""Results by specimen and by test, with figures."""

from __future__ import annotations

import numpy as np

from drypoint import figures
from drypoint.figures.corrections import options_of
from drypoint.figures.labels import plural
from drypoint.figures.places import is_map
from drypoint.figures.rows import name_of, rows_of
from drypoint.report.along_loading import along_loading
from drypoint.report.model import Block, Column, Drawing, Heading, Paragraph, Section, Table
from drypoint.report.words import (
    DASH,
    between,
    dof_text,
    head,
    level_text,
    own_text,
    pair,
    plain,
    plus_minus,
)
from drypoint.run.columns import MEANING, factor_of, unit_text
from drypoint.run.result import StudyResult
from drypoint.uncertainty.rounding import NOT_KNOWN, round_pair
from drypoint.uncertainty.series import SeriesResult

#: Quantities of the table of means, in this order.
MEANS = ("H_IT", "E_IT", "E_r", "E_IT_star", "HM", "HM_s", "HV_conv", "h_c", "h_max", "h_p", "S",
         "A_p", "m", "C_IT", "R_IT", "eta_IT", "W_total", "W_elast")  # fmt: skip
#: Those that depend on the force, so that a mean over different forces says nothing.
BY_FORCE = ("h_c", "h_max", "h_p", "S", "A_p", "W_total", "W_elast")
#: Most rows of the table of tests; the files of results hold all.
MOST_ROWS = 400


def results(result: StudyResult) -> Section:
    """Means, single tests and figures of every specimen."""
    blocks: list[Block] = [_key(result)]
    for specimen in result.specimens:
        blocks += _specimen(result, specimen)
    return Section("results", "Results", tuple(blocks))


def _key(result: StudyResult) -> Paragraph:
    level = level_text(result.study.file.output.level_of_confidence)
    method = result.study.file.series.method
    how = {"mean": "arithmetic mean", "huber": "Huber's estimate", "median": "median"}[method]
    return Paragraph(
        f"Means ({how}) are given with their expanded uncertainty U = k u for a level of "
        f"confidence of {level}. u_r is the part of the standard uncertainty from the scatter "
        "between tests, u_s the part from what all tests share (tip, frame, scales, Poisson's "
        "ratio), s the standard deviation of the tests."
    )


def _specimen(result: StudyResult, specimen: str) -> list[Block]:
    blocks: list[Block] = [
        Heading(f"Specimen {specimen}"),
        _means(result, specimen),
        *_series_notes(result, specimen),
    ]
    if specimen in result.bins:
        blocks.append(_bins(result, specimen))
    blocks.append(Drawing((figures.curves(result, specimen),)))
    blocks.append(Drawing((figures.per_test(result, specimen),)))
    if _worth_depth(result, specimen):
        blocks.append(Drawing((figures.by_depth(result, specimen),)))
    blocks += along_loading(result, specimen)
    if is_map(result, specimen):
        blocks.append(Drawing((figures.position_map(result, specimen),)))
        blocks.append(Drawing((figures.distribution(result, specimen),)))
    test = typical_test(result, specimen)
    if test:
        blocks.append(Drawing((figures.steps(result, test),)))
        pair_ = [figures.first_contact(result, test)]
        held = any(kind == "drift hold" for kind, *_ in result.curve(test).segments)
        if held and options_of(result, test).drift.method == "drift hold":
            pair_.append(figures.drift_hold(result, test))
        blocks.append(Drawing(tuple(pair_)))
    blocks.append(_tests(result, specimen))
    return blocks


def typical_test(result: StudyResult, specimen: str) -> str:
    """The test that is shown step by step: the middle one by hardness among those that count."""
    rows, gone = rows_of(result, specimen)
    rows = rows[~gone] if (~gone).any() else rows
    if not len(rows):
        return ""
    h = result.tests["H_IT"].value[rows]
    order = np.argsort(np.where(np.isfinite(h), h, np.inf), kind="stable")
    known = int(np.isfinite(h).sum()) or len(rows)
    return name_of(result, int(rows[order[(known - 1) // 2]]))


def _worth_depth(result: StudyResult, specimen: str) -> bool:
    if specimen in result.bins:
        return True
    rows, _ = rows_of(result, specimen)
    h = result.tests["h_c"].value[rows]
    h = h[np.isfinite(h)]
    return len(h) > 1 and float(h.max()) > 1.3 * float(h.min())


def _means(result: StudyResult, specimen: str) -> Table:
    known = result.series.get(specimen, {})
    kept = rows_of(result, specimen)
    force = result.tests["F_max"].value[kept[0][~kept[1]]]
    mixed = len(force) > 0 and float(np.nanmax(force)) > 1.1 * float(np.nanmin(force))
    rows = tuple(
        mean_row(symbol, known[symbol])
        for symbol in MEANS
        if symbol in known and not (mixed and symbol in BY_FORCE)
    )
    return Table(
        f"{specimen}: means over the tests that count.",
        (
            Column("Quantity"),
            Column("Meaning", wide=True),
            Column("n", "number"),
            Column("Mean ± U", "number"),
            Column("k", "number"),
            Column("ν_eff", "number"),
            Column("u_r", "number"),
            Column("u_s", "number"),
            Column("s", "number"),
            Column("Own variation"),
        ),
        rows,
        "Depths, areas, stiffness and works are left out: the tests have different forces."
        if mixed
        else "",
    )


def mean_row(symbol: str, s: SeriesResult) -> tuple[str, ...]:
    """A row of the table of means."""
    f = factor_of(symbol)
    return (
        head(symbol),
        MEANING[symbol].partition(",")[0],
        str(s.n),
        plus_minus(symbol, s.mean, s.expanded),
        f"{s.k:.2f}" if np.isfinite(s.k) else DASH,
        dof_text(s.dof),
        *(
            _two(v / f if abs(v) > 1e-9 * abs(s.mean) or np.isnan(v) else 0.0)
            for v in (s.u_type_a, s.u_systematic, s.s)
        ),
        own_text(symbol, s),
    )


def _two(u: float) -> str:
    """An uncertainty to two significant figures."""
    text = round_pair(0.0, u)[1] if np.isfinite(u) else NOT_KNOWN
    return DASH if text == NOT_KNOWN else text


def _series_notes(result: StudyResult, specimen: str) -> list[Block]:
    out = []
    for symbol in ("H_IT", "E_IT"):
        s = result.series.get(specimen, {}).get(symbol)
        if s is None:
            continue
        words = list(s.notes)
        words += [p.words for p in result.populations.get(specimen, ()) if p.symbol == symbol]
        if s.missing:
            words.append(f"{plural(s.missing, 'test')} without a value (withheld; see flags).")
        if len(s.components) > 1:
            parts = ", ".join(f"{k} {_two(v / factor_of(symbol))}" for k, v in s.components.items())
            words.append(f"Standard deviations by level in {unit_text(symbol)}: {parts}.")
        if words:
            out.append(Paragraph(f"{symbol}: " + " ".join(words)))
    return list(out)


def _bins(result: StudyResult, specimen: str) -> Table:
    by_symbol = result.bins[specimen]
    symbols = tuple(by_symbol)
    rows = []
    for i, first in enumerate(by_symbol[symbols[0]]):
        cells = [f"{between([first.low * 1e9])} to {between([first.high * 1e9])}"]
        depth = [b[i].depth * 1e9 for b in by_symbol.values()]
        cells.append(between(depth[:1]))
        for symbol in symbols:
            s = by_symbol[symbol][i].result
            if s is None:
                cells += ["0", DASH, DASH]
                continue
            cells += [str(s.n), plus_minus(symbol, s.mean, s.expanded), f"{s.k:.2f}"]
        rows.append(tuple(cells))
    columns = [Column("Depth h_c / nm"), Column("Mean h_c / nm", "number")]
    for symbol in symbols:
        columns += [Column("n", "number"), Column(f"{head(symbol)}, mean ± U", "number"),
                    Column("k", "number")]  # fmt: skip
    return Table(f"{specimen}: means in bins of contact depth.", tuple(columns), tuple(rows))


def _tests(result: StudyResult, specimen: str) -> Table:
    rows, gone = rows_of(result, specimen)
    shown = rows[:MOST_ROWS]
    note = "* excluded by decision, not in the means. – withheld or not found; see the flags."
    if len(shown) < len(rows):
        note += f" The first {len(shown)} of {len(rows)} tests; all are in the table of tests."
    return Table(
        f"{specimen}: results test by test, each with its standard uncertainty (combined u; "
        "random part u_r).",
        (
            Column("Test"),
            Column("F_max / mN", "number"),
            Column("h_c ± u / nm", "number"),
            Column("S ± u / (mN/nm)", "number"),
            Column("m", "number"),
            Column("H_IT ± u / GPa", "number"),
            Column("u_r", "number"),
            Column("E_IT ± u / GPa", "number"),
            Column("u_r", "number"),
            Column("C_IT / %", "number"),
            Column("eta_IT / %", "number"),
            Column("Flags"),
        ),
        tuple(test_row(result, int(r), bool(g)) for r, g in zip(shown, gone, strict=False)),
        note,
    )


def test_row(result: StudyResult, row: int, gone: bool) -> tuple[str, ...]:
    """A row of the table of tests."""
    t = result.tests

    def pm(symbol: str) -> str:
        q = t[symbol]
        return plus_minus(symbol, q.value[row], float(t.u(symbol)[row]))

    def bare(symbol: str) -> str:
        return pair(symbol, t[symbol].value[row], float(t.u(symbol)[row]))[0]

    def random(symbol: str) -> str:
        if not np.isfinite(t[symbol].value[row]):
            return DASH
        return _two(float(t[symbol].u_random[row]) / factor_of(symbol))

    return (
        name_of(result, row) + (" *" if gone else ""),
        plain(float(t["F_max"].value[row]) / factor_of("F_max"), 4),
        pm("h_c"),
        pm("S"),
        bare("m"),
        pm("H_IT"),
        random("H_IT"),
        pm("E_IT"),
        random("E_IT"),
        bare("C_IT"),
        bare("eta_IT"),
        str(len(t.flags[row])) if t.flags[row] else "",
    )


test_row.__test__ = False  # type: ignore[attr-defined]

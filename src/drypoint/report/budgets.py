"""The uncertainty budget of the means."""

from __future__ import annotations

import numpy as np

from drypoint import figures
from drypoint.figures.labels import input_words, number, plural
from drypoint.figures.rows import rows_of
from drypoint.figures.shares import shown_rows
from drypoint.report.cautions import LEFT_OUT
from drypoint.report.inputs import input_in_units
from drypoint.report.model import Block, Column, Drawing, Heading, Items, Paragraph, Section, Table
from drypoint.report.words import DASH, dof_text, head, own_text, plain, typeset, with_unit
from drypoint.run.budgets import series_budget
from drypoint.run.columns import factor_of, unit_text
from drypoint.run.gathering import unused
from drypoint.run.result import StudyResult
from drypoint.uncertainty.rounding import round_pair

SYMBOLS = ("H_IT", "E_IT")


def budgets(result: StudyResult) -> Section:
    """Budgets of hardness and modulus of every specimen."""
    blocks: list[Block] = [
        Paragraph(
            "Each input's contribution is its standard uncertainty times the sensitivity of the "
            "mean to it. Shares are shares of the variance and add up to 100 %; where inputs are "
            "correlated, a share holds its part of the covariance and may be negative. "
            "Systematic inputs are shared by all tests: more tests do not make them smaller."
        )
    ]
    for specimen in result.specimens:
        known = [s for s in SYMBOLS if s in result.series.get(specimen, {})]
        if not known:
            continue
        blocks.append(Heading(f"Specimen {specimen}"))
        blocks += [_table(result, specimen, s) for s in known]
        blocks.append(Drawing((figures.budget_bars(result, specimen, known),)))
        blocks.append(_scatter(result, specimen, known))
    blocks += _trials(result)
    exact = unused(result.tests.inputs)
    blocks += [Heading("What the budget leaves out"), Items(LEFT_OUT)]
    if exact:
        blocks.append(
            Paragraph(
                "Inputs without a stated uncertainty, taken as exact: "
                + ", ".join(input_words(n) for n in exact)
                + "."
            )
        )
    return Section("budget", "Uncertainty budget", tuple(blocks))


def _table(result: StudyResult, specimen: str, symbol: str) -> Table:
    b, s = series_budget(result, specimen, symbol), result.series[specimen][symbol]
    f = factor_of(symbol)
    rows = []
    for r in shown_rows(b):
        value, unit = input_in_units(r.name, r.value)
        u, _ = input_in_units(r.name, r.u)
        left, right = (DASH, DASH) if r.kind == "random" else round_pair(value, u)
        rows.append(
            (
                input_words(r.name),
                r.kind,
                typeset(left),
                right,
                "" if unit == "1" else unit,
                plain(r.contribution / f, 2),
                typeset(f"{100 * r.share:.1f}"),
                dof_text(r.dof),
            )
        )
    small = [r for r in b.rows if r not in shown_rows(b) and r.u > 0]
    note = (
        f"Together u = {number(b.u / f, 2)} {unit_text(symbol)}: random "
        f"{number(b.u_random / f, 2)}, systematic {number(b.u_systematic / f, 2)}. "
        f"U = {number(s.expanded / f, 2)} with k = {s.k:.2f} ({dof_text(s.dof)} effective degrees "
        "of freedom)."
    )
    if small:
        note += f" {plural(len(small), 'input')} with shares below 0.1 % not shown."
    return Table(
        f"{specimen}: budget of the mean {head(symbol)}, {with_unit(symbol, s.mean, s.expanded)}.",
        (
            Column("Input"),
            Column("Kind"),
            Column("Value", "number"),
            Column("u", "number"),
            Column("Unit"),
            Column(f"Contribution / {unit_text(symbol)}", "number"),
            Column("Share / %", "number"),
            Column("ν", "number"),
        ),
        tuple(rows),
        note,
    )


def _scatter(result: StudyResult, specimen: str, symbols: list[str]) -> Table:
    """What is inside the scatter between tests: root mean squares of the tests' own parts."""
    rows_, gone = rows_of(result, specimen)
    keep = rows_[~gone]
    parts = list(result.tests[symbols[0]].random_parts)
    rows = []
    for part in parts:
        cells = []
        for symbol in symbols:
            v = result.tests[symbol].random_parts[part][keep]
            v = v[np.isfinite(result.tests[symbol].value[keep])]
            rms = float(np.sqrt(np.mean(v**2))) / factor_of(symbol) if len(v) else np.nan
            cells.append(number(rms, 2) if rms else "0")
        if any(c != "0" for c in cells):
            rows.append((input_words(part), *cells))
    series = [result.series[specimen][s] for s in symbols]
    rows.append(("specimen's own variation", *(
        own_text(y, s) for s, y in zip(series, symbols, strict=True))))  # fmt: skip
    rows.append(("standard deviation seen, s", *(
        number(s.s / factor_of(y), 2) if np.isfinite(s.s) else DASH
        for s, y in zip(series, symbols, strict=True))))  # fmt: skip
    return Table(
        f"{specimen}: what is inside the scatter of single tests (standard deviations).",
        (Column("Part"), *(Column(head(s), "number") for s in symbols)),
        tuple(rows),
        "Own variation: what the tests' own parts leave unexplained.",
    )


def _trials(result: StudyResult) -> list[Block]:
    if not result.trials:
        return []
    rows = []
    for t in result.trials:
        f = factor_of(t.symbol)
        mean, u = (float(np.ravel(v)[0]) / f for v in (t.mc.mean, t.mc.u))
        low, high = (float(np.ravel(v)[0]) / f for v in t.mc.symmetric)
        left, right = round_pair(mean, u)
        ends = [round_pair(v, u)[0] for v in (low, high)]
        rows.append(
            (
                t.specimen,
                head(t.symbol),
                typeset(left),
                right,
                f"{typeset(ends[0])} to {typeset(ends[1])}",
                str(t.mc.n),
                "yes" if t.linear.agrees else "no",
            )
        )
    return [
        Heading("Monte Carlo propagation"),
        Table(
            "Means by Monte Carlo (GUM Supplement 1), the shared inputs drawn once for all tests.",
            (
                Column("Specimen"),
                Column("Quantity"),
                Column("Mean", "number"),
                Column("u", "number"),
                Column("Symmetric interval", "number"),
                Column("Trials", "number"),
                Column("Linear agrees"),
            ),
            tuple(rows),
            "Linear agrees: both ends of the interval are those of the linear propagation to half "
            "a unit of the second figure of u. With few trials the ends scatter by more than that "
            "themselves.",
        ),
    ]

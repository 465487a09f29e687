"""Comparisons that the recipe asks for."""

from __future__ import annotations

import numpy as np

from drypoint.report.model import Block, Column, Items, Paragraph, Section, Table
from drypoint.report.words import DASH, level_text, typeset
from drypoint.run.columns import unit_text
from drypoint.run.result import StudyResult
from drypoint.uncertainty.compare import Comparison
from drypoint.uncertainty.rounding import round_pair


def compared(result: StudyResult) -> Section | None:
    """Differences and ratios with their intervals; ``None`` where nothing is compared."""
    if not result.comparisons:
        return None
    rows = tuple(_row(symbol, c) for symbol, c in result.comparisons)
    levels = sorted({c.level for _, c in result.comparisons})
    adjusted = sorted({c.adjusted for _, c in result.comparisons if c.adjusted})
    blocks: list[Block] = [
        Paragraph(
            "What is systematic to both specimens cancels in a difference. A p value is the "
            "probability of such a difference, or a larger one, by chance alone."
        ),
        Table(
            "Comparisons with intervals for a level of confidence of "
            f"{', '.join(level_text(v) for v in levels)}.",
            (
                Column("Compared", wide=True),
                Column("Quantity"),
                Column("Kind"),
                Column("Estimate", "number"),
                Column("Interval", "number"),
                Column("u, random", "number"),
                Column("u, systematic", "number"),
                Column("p", "number"),
                Column("Verdict"),
                Column("More tests each", "number"),
            ),
            rows,
            ("Allowed for several comparisons: " + "; ".join(adjusted) + ". " if adjusted else "")
            + "The u of a ratio are those of its logarithm.",
        ),
        Items(tuple(f"{symbol}: {c.sentence}" for symbol, c in result.comparisons)),
    ]
    return Section("comparison", "Comparison", tuple(blocks))


def _row(symbol: str, c: Comparison) -> tuple[str, ...]:
    half = 0.5 * (c.interval[1] - c.interval[0])
    estimate, low, high = (typeset(round_pair(v, half)[0]) for v in (c.estimate, *c.interval))
    if c.more_tests is None:
        more = DASH
    elif np.isinf(c.more_tests):
        more = "no number decides"
    else:
        more = f"{int(np.ceil(c.more_tests))}"
    unit = unit_text(symbol)
    ratio = c.kind == "ratio"
    return (
        f"{c.a} {'/' if ratio else '−'} {c.b}",
        symbol + (f" / {unit}" if unit and not ratio else ""),
        c.kind,
        estimate,
        f"{low} to {high}",
        round_pair(0.0, c.u_type_a)[1],
        round_pair(0.0, c.u_systematic)[1],
        "< 0.001" if c.p < 0.001 else f"{c.p:.2g}",
        c.verdict,
        more,
    )

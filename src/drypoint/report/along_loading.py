"""What a report says of records with an oscillation."""

from __future__ import annotations

import numpy as np

from drypoint import figures
from drypoint.figures.dynamic import dynamic_rows
from drypoint.figures.labels import number
from drypoint.recipe.convert import choices_for
from drypoint.reduction.dynamic_limits import REMARKS
from drypoint.report.model import Block, Column, Drawing, Heading, Paragraph, Table
from drypoint.report.words import DASH, between, head, plus_minus
from drypoint.run.columns import factor_of
from drypoint.run.dynamic import DynamicResult
from drypoint.run.result import StudyResult

SYMBOLS = ("H_IT", "E_IT")
#: Most bins of depth in the table, the others are left to the files.
MOST_BINS = 12


def along_loading(result: StudyResult, specimen: str) -> list[Block]:
    """Hardness and modulus along loading of one specimen: figure, means, what is withheld."""
    d, rows = result.dynamic, dynamic_rows(result, specimen)
    if d is None or not len(rows):
        return []
    blocks: list[Block] = [
        Heading(f"{specimen} along loading"),
        Paragraph(_how(result, specimen, d, rows)),
        Drawing((figures.along_loading(result, specimen),)),
    ]
    if any(b.result is not None for b in d.bins.get(specimen, {}).get("H_IT", ())):
        blocks.append(_means(d, specimen))
    blocks.append(_codes(d, specimen, rows))
    return blocks


def _how(result: StudyResult, specimen: str, d: DynamicResult, rows: np.ndarray) -> str:
    asked = choices_for(result.study.file, result.study.specimen(specimen)).dynamic
    where = "the top" if asked.quoted_at == "peak" else "the middle"
    stands = np.isfinite(d.rows["E_IT"].value[rows])
    h_c = d.rows["h_c"].value[rows][stands] * 1e9
    tests = np.unique(d.rows.test[rows])
    first = [
        float(h_c[d.rows.test[rows][stands] == t].min())
        for t in tests
        if (d.rows.test[rows][stands] == t).any()
    ]
    reach = (
        f"Values stand from contact depths of {between(first)} nm on"
        if first
        else "No window has a value"
    )
    return (
        f"The force was made to swing in {len(tests)} "
        f"{'test' if len(tests) == 1 else 'tests'}. Samples of loading are gathered into windows "
        f"of depth; force, depth and stiffness are those of {where} of the swing. {reach}; "
        f"{int((~stands).sum())} of {len(rows)} windows are withheld."
    )


def _means(d: DynamicResult, specimen: str) -> Table:
    """Means in bins of depth, evenly picked where there are many."""
    bins = d.bins[specimen]
    known = [i for i, b in enumerate(bins["E_IT"]) if b.result is not None]
    pick = np.unique(np.linspace(0, len(known) - 1, min(len(known), MOST_BINS)).round().astype(int))
    rows = []
    for i in (known[int(p)] for p in pick):
        cells = [number(bins["E_IT"][i].depth * 1e9)]
        for s in SYMBOLS:
            r = bins[s][i].result
            if r is None:
                cells += ["0", DASH]
            elif np.isfinite(r.expanded):
                cells += [str(r.n), plus_minus(s, r.mean, r.expanded)]
            else:
                cells += [str(r.n), number(r.mean / factor_of(s))]
        rows.append(tuple(cells))
    columns = [Column("Mean h_c / nm", "number")]
    for s in SYMBOLS:
        columns += [Column("n", "number"), Column(f"{head(s)}, mean ± U", "number")]
    more = len(known) - len(rows)
    return Table(
        f"{specimen}: means in bins of contact depth along loading.", tuple(columns), tuple(rows),
        f"{more} further bins stand in the files of results." if more else "",
    )  # fmt: skip


def _codes(d: DynamicResult, specimen: str, rows: np.ndarray) -> Table:
    """How often each flag is raised, with its first sentence."""
    first: dict[str, str] = {}
    grounds: dict[str, str] = {}
    count: dict[str, int] = {}
    for r in rows:
        for f in d.rows.flags[int(r)]:
            first.setdefault(f.code, f.sentence)
            grounds[f.code] = f.grounds
            count[f.code] = count.get(f.code, 0) + 1
    lines = tuple(
        (c, "remark" if c in REMARKS else "withheld", str(count[c]), first[c], grounds[c])
        for c in sorted(count, key=lambda c: (c in REMARKS, -count[c], c))
    )
    return Table(
        f"{specimen}: windows along loading that carry a flag.",
        (Column("Flag"), Column("Values"), Column("Windows", "number"),
         Column("First of them", wide=True), Column("Grounds", wide=True)),
        lines or ((DASH, DASH, "0", "No window carries a flag.", DASH),),
    )  # fmt: skip

"""Records, choices and provenance of a calibration."""

from __future__ import annotations

import numpy as np

from drypoint.figures.labels import number, plural, span
from drypoint.report.bench import found_words
from drypoint.report.calibration_words import calibration_of, keys_of
from drypoint.report.cautions import CAUTIONS
from drypoint.report.method import choice_table
from drypoint.report.model import (
    Block,
    Column,
    Facts,
    Heading,
    Items,
    Paragraph,
    Section,
    Table,
)
from drypoint.report.record import program, sources
from drypoint.report.words import declared_span
from drypoint.run.bench_result import BenchResult

_BENCH_CAUTIONS = (
    "The diamond is fragile: a knock or a lateral move in contact chips it. After either, this "
    "calibration no longer holds; check the tip on a block first.",
    "The calibration holds for this tip in this frame, under this rule of analysis, and over the "
    "range of contact depths that is stated.",
    "For results that others must rely on, have the bench calibrated by an accredited laboratory; "
    "this report is not an accredited certificate.",
)


def records(result: BenchResult) -> Section:
    """Records used, excluded by decision, and set aside."""
    blocks: list[Block] = [
        _used(result),
        Heading("Set aside"),
        *_aside(result),
        Heading("Excluded by decision"),
    ]
    if result.excluded:
        blocks.append(
            Table("Excluded tests, each with its reason, by whom and when.",
                  (Column("Test"), Column("Reason", wide=True)), result.excluded)
        )  # fmt: skip
    else:
        blocks.append(Paragraph("No test is excluded."))
    return Section("records", "Records", tuple(blocks))


def _used(result: BenchResult) -> Table:
    c = calibration_of(result)
    rows = []
    for j, m in enumerate(c.tests.materials):
        mine = c.tests.material == j
        if not mine.any():
            continue
        tests = np.unique(c.tests.test[mine])
        infos = [result.batch.tests[int(t)] for t in tests]
        rows.append((
            m.name, "reference", str(len(tests)), str(int(mine.sum())),
            span(np.round(c.tests.F[mine] * 1e3, 2)), span(c.rows.h_c[mine] * 1e9),
            declared_span(t.declared.get("date") for t in infos),
            declared_span(t.declared.get("temperature") for t in infos),
        ))  # fmt: skip
    for b in {b.specimen: b for b in result.blocks}.values():
        r = b.reduced.tests
        rows.append((
            b.specimen, "block", str(len(r.test)), str(len(r.test)),
            span(np.round(r["F_max"].value * 1e3, 2)), span(r["h_c"].value * 1e9),
            declared_span(t.declared.get("date") for t in b.batch.tests),
            declared_span(t.declared.get("temperature") for t in b.batch.tests),
        ))  # fmt: skip
    return Table(
        "Tests that were used.",
        (Column("Specimen or material"), Column("As"), Column("Tests", "number"),
         Column("Unloadings", "number"), Column("F_max / mN"), Column("h_c / nm"),
         Column("Date"), Column("Temperature")),
        tuple(rows),
    )  # fmt: skip


def _aside(result: BenchResult) -> list[Block]:
    rows = []
    for s in result.set_aside:
        place = s.file + (f", line {s.line}" if s.line is not None else "")
        rows.append((s.test or "whole file", place, s.stage, s.reason, s.remedy))
    groups = [(result.batch, result.calibrated.reduced)]
    groups += [(b.batch, b.reduced) for b in {b.specimen: b for b in result.blocks}.values()]
    for batch, reduced in groups:
        for f in reduced.faults:
            t = batch.tests[f.test]
            rows.append((t.name, t.source.path, "reduced", f.reason, f.remedy))
    if not rows:
        return [Paragraph("Every record could be used.")]
    return [
        Table(
            f"{plural(len(rows), 'record')} that gave no result, with the reason and what to do.",
            (Column("Test"), Column("File", "code"), Column("Found when"),
             Column("Reason", wide=True), Column("Remedy", wide=True)),
            tuple(rows),
        )
    ]  # fmt: skip


def choices(result: BenchResult) -> Section:
    """The rule of the reduction, and the choices of the calibration itself."""
    keys, c = keys_of(result), calibration_of(result)
    facts = [
        ("Rule", found_words(c.tip.area.found_with)),
        ("Form of the area function", keys.form),
        ("Number of terms", f"{keys.terms}, stated" if keys.terms is not None
         else f"chosen by {keys.select}, at most {keys.most_terms}"),
        ("Frame and tip told apart by", ", ".join(keys.identified_by) or "a second material"),
        ("Unloadings", "all of a test" if keys.cycles else "that from the largest force only"),
    ]  # fmt: skip
    if keys.h_range_nm is not None:
        low, high = keys.h_range_nm
        facts.append(("Hardness constant over", f"{number(low)} to {number(high)} nm"))
    if keys.F_range_mN is not None:
        low, high = keys.F_range_mN
        facts.append(("F/S² constant over", f"{number(low)} to {number(high)} mN"))
    names = [*(r.specimen for r in keys.references), *(b.specimen for b in keys.blocks)]
    return Section(
        "choices",
        "Choices of the reduction and of the calibration",
        (
            Facts(tuple(facts)),
            choice_table(result.study, tuple(dict.fromkeys(names)), dynamic=False),
        ),
    )


def sources_of(result: BenchResult) -> Section:
    """All that is needed to derive the calibration again."""
    blocks = program(result.provenance)
    if result.notes:
        blocks += [Heading("Notes of the run"), Items(tuple(result.notes))]
    blocks += sources(result.provenance, result.study)
    return Section("record", "Recipe and provenance", tuple(blocks))


def bench_cautions() -> Section:
    """Safety, and what the report is not."""
    return Section("cautions", "Cautions", (Items((*_BENCH_CAUTIONS, *CAUTIONS)),))

"""What a careful reader looks at twice: flags, tests set aside, tests excluded."""

from __future__ import annotations

from collections import defaultdict

from drypoint.figures.labels import listed, plural
from drypoint.figures.rows import name_of
from drypoint.recipe import effective
from drypoint.report.alike import alike
from drypoint.report.model import Block, Column, Heading, Items, Paragraph, Section, Table
from drypoint.report.words import head, plus_minus, typeset, without_places
from drypoint.run.columns import factor_of
from drypoint.run.result import StudyResult
from drypoint.uncertainty.rounding import round_pair
from drypoint.uncertainty.series import SeriesResult

#: Most tests that a line of the table of flags names; the tables of results hold all.
MOST_NAMES = 12


def remarks(result: StudyResult) -> Section:
    """Flags, what was set aside and why, what was excluded by whom, and what that changes."""
    return Section(
        "remarks",
        "Flags, tests set aside and exclusions",
        (*_flags(result), *_cycle_flags(result), *_aside(result), *_excluded(result)),
    )


def _flags(result: StudyResult) -> list[Block]:
    grounds: dict[str, str] = {}
    found: dict[tuple[str, str], list[tuple[str, str]]] = defaultdict(list)
    specimens = [t.specimen or "" for t in result.batch.tests]
    of = [specimens[t] for t in result.tests.test.tolist()]
    for r, flags in enumerate(result.tests.flags):
        for flag in flags:
            grounds.setdefault(flag.code, flag.grounds)
            found[flag.code, of[r]].append((name_of(result, r), flag.sentence))
    blocks: list[Block] = [Heading("Flags")]
    if not found:
        return [*blocks, Paragraph("No test carries a flag.")]
    rows = [
        (code, specimen, _who([hits[k][0] for k in members], of.count(specimen)), sentence)
        for (code, specimen), hits in sorted(found.items(), key=lambda item: item[0][0])
        for sentence, members in alike([sentence for _, sentence in hits])
    ]
    blocks += [
        Table(
            "Flags of the tests. A flagged test still counts unless it is excluded.",
            (
                Column("Flag"),
                Column("Specimen"),
                Column("Tests", wide=True),
                Column("What was seen", wide=True),
            ),
            tuple(rows),
            "A number that differs from test to test is given as its smallest to its largest "
            "value; the sentence of each test stands in the table of tests.",
        ),
        Paragraph("Grounds of these flags:"),
        Items(tuple(f"{code}: {without_places(words)}." for code, words in grounds.items())),
    ]
    return blocks


def _who(names: list[str], of: int) -> str:
    """Which tests: by name, or all of a specimen's where there are several."""
    n = len(names)
    if n == of and n > MOST_NAMES:
        return f"all {n}"
    return listed(names, MOST_NAMES) + (f" ({n} of {of})" if n > MOST_NAMES else "")


def _cycle_flags(result: StudyResult) -> list[Block]:
    """Flags of unloadings other than the one that stands for the test, counted."""
    standing = set(zip(result.tests.test.tolist(), result.tests.cycle.tolist(), strict=True))
    tests: dict[str, set[str]] = defaultdict(set)
    count: dict[str, int] = defaultdict(int)
    for t, c, found in zip(
        result.cycles.test.tolist(), result.cycles.cycle.tolist(), result.cycles.flags, strict=True
    ):
        if (t, c) in standing:
            continue
        for flag in found:
            count[flag.code] += 1
            tests[flag.code].add(result.batch.tests[t].name)
    if not count:
        return []
    return [
        Table(
            "Flags of further unloadings of stepped or repeated loading, counted.",
            (Column("Flag"), Column("Unloadings", "number"), Column("Tests", wide=True)),
            tuple((code, str(n), listed(sorted(tests[code]))) for code, n in sorted(count.items())),
            "Single sentences stand in the table of cycles.",
        )
    ]


def _aside(result: StudyResult) -> list[Block]:
    blocks: list[Block] = [Heading("Set aside")]
    if not result.set_aside:
        return [*blocks, Paragraph("Every record could be used.")]
    rows = []
    for s in result.set_aside:
        place = s.file + (f", line {s.line}" if s.line is not None else "")
        rows.append((s.test or "whole file", place, s.stage, s.reason, s.remedy))
    blocks.append(
        Table(
            f"{plural(len(rows), 'record')} that gave no result, with the reason and what to do.",
            (
                Column("Test"),
                Column("File", "code"),
                Column("Found when"),
                Column("Reason", wide=True),
                Column("Remedy", wide=True),
            ),
            tuple(rows),
        )
    )
    return blocks


def _excluded(result: StudyResult) -> list[Block]:
    blocks: list[Block] = [Heading("Excluded by decision")]
    found = effective(result.decisions).excluded
    if not found:
        return [*blocks, Paragraph("No test is excluded.")]
    rows = tuple(
        (test, "all" if cycle is None else str(cycle), e.why, e.who, e.when)
        for (test, cycle), e in found.items()
    )
    return [
        *blocks,
        Table(
            "Excluded tests, each with its reason.",
            (
                Column("Test"),
                Column("Cycle"),
                Column("Reason", wide=True),
                Column("By"),
                Column("When (UTC)"),
            ),
            rows,
        ),
        _with_all(result),
    ]


def _with_all(result: StudyResult) -> Table:
    rows = []
    for specimen in result.specimens:
        for symbol in ("H_IT", "E_IT"):
            a = result.series.get(specimen, {}).get(symbol)
            b = result.series_all.get(specimen, {}).get(symbol)
            if b is None or (a is not None and a.n == b.n):
                continue
            rows.append((specimen, head(symbol), *_cells(symbol, a), *_cells(symbol, b),
                         _change(symbol, a, b)))  # fmt: skip
    return Table(
        "Means with the exclusions (as reported) and with the excluded tests taken back.",
        (
            Column("Specimen"),
            Column("Quantity"),
            Column("n", "number"),
            Column("Reported, mean ± U", "number"),
            Column("n", "number"),
            Column("All tests, mean ± U", "number"),
            Column("Change", "number"),
        ),
        tuple(rows),
        "Specimens without an excluded test are left out." if rows else "No mean is touched.",
    )


def _cells(symbol: str, s: SeriesResult | None) -> tuple[str, str]:
    return ("0", "–") if s is None else (str(s.n), plus_minus(symbol, s.mean, s.expanded))


def _change(symbol: str, a: SeriesResult | None, b: SeriesResult) -> str:
    if a is None:
        return "–"
    f = factor_of(symbol)
    return typeset(round_pair((b.mean - a.mean) / f, a.expanded / f)[0])

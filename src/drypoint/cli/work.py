"""What the commands ``run``, ``report``, ``exclude`` and ``include`` do."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from math import isclose
from pathlib import Path
from typing import Literal

from pydantic import ValidationError

from drypoint.cli.show import set_aside_lines, table
from drypoint.errors import DecisionError, StressError, Where
from drypoint.recipe import Decision, append, load_study
from drypoint.recipe.decisions import unknown_test
from drypoint.records.cells import CsvText
from drypoint.run import Step, StudyResult, Watch, run_study
from drypoint.run.columns import factor_of, unit_text
from drypoint.store import atomic_write
from drypoint.uncertainty.rounding import round_pair
from drypoint.visible import visible

ANSWER = ("H_IT", "E_IT")


@contextmanager
def watching(quiet: bool) -> Iterator[Watch]:
    """A progress line on standard error; none when quiet or when it is no terminal."""
    if quiet or not sys.stderr.isatty() or os.environ.get("CI"):
        yield Watch()
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    console = Console(file=getattr(sys.stderr, "stream", sys.stderr))
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("starting", total=None)

        def observe(step: Step) -> None:
            words = visible(f"{step.stage} {step.words}".strip())
            bar.update(task, description=words, completed=step.done, total=step.total)

        yield Watch(observe)


def answer_lines(result: StudyResult) -> list[str]:
    """Hardness and modulus of each specimen, with expanded uncertainty."""
    rows = []
    for specimen in result.specimens:
        series = result.series.get(specimen, {})
        row = [specimen, str(max((s.n for s in series.values()), default=0))]
        for symbol in ANSWER:
            s = series.get(symbol)
            if s is None:
                row.append("withheld")
                continue
            f = factor_of(symbol)
            value, u = round_pair(s.mean / f, s.expanded / f)
            row.append(f"{value} ± {u} {unit_text(symbol)} (k = {s.k:.2f})")
        rows.append(row)
    lines = table(["specimen", "tests", *ANSWER], rows).splitlines()
    lines += [f"{s}: {p.words}" for s, found in result.populations.items() for p in found]
    if not result.films:
        return lines
    from drypoint.run.film_answers import TOGETHER, film_answers

    level = result.study.file.output.level_of_confidence
    for found in result.films:
        lines.append(f"{found.specimen}: above are {TOGETHER}. The film itself:")
        lines += [f"  {s} = {said} ({why})" for s, said, why in film_answers(found, level)]
    return lines


def run_command(study: Path, out: Path | None, fresh: bool, quiet: bool) -> int:
    """Run a study; print the answer and what was set aside; return the exit code."""
    with watching(quiet) as watch:
        result = run_study(study, out=out, watch=watch, use_cache=not fresh)
    if result.study.file.study.invented:
        print("The data of this study are invented.")
    if result.study.file.records:
        print("\n".join(answer_lines(result)))
        print("± is the expanded uncertainty of the mean, about 95 % confidence.")
        flagged = sum(1 for f in result.tests.flags if f)
        excluded = int(result.tests_table["excluded"].sum())
        print(f"{len(result.tests)} tests reduced, {flagged} with flags, {excluded} excluded.")
    if result.scratch is not None:
        from drypoint.cli.tracks import scratch_lines

        print("\n".join(scratch_lines(result.scratch)))
    if result.stress and not result.study.file.records:
        from drypoint.report.stress_words import found_words

        for one in result.stress:
            print(f"Stress run {one.name}:")
            print("\n".join(f"  {line}" for line in found_words(one)))
    for note in (*result.notes, *result.cache_notes):
        print(f"Note: {note}")
    if result.set_aside:
        print(f"{len(result.set_aside)} set aside:")
        print("\n".join(set_aside_lines(result.set_aside)))
    if not quiet:
        print(f"Results: {out or result.study.results}")
    return 3 if result.set_aside else 0


def report_command(study: Path, out: Path | None, html: bool, pdf: bool, figures: bool) -> int:
    """Write report and figures from a run of the study (nothing is computed twice)."""
    from drypoint.report import write_report

    with watching(False) as watch:
        result = run_study(study, watch=watch, write=False)
        folder = write_report(result, out, html=html, pdf=pdf, figures=figures, watch=watch)
    print(f"Report: {folder}")
    return 0


def rerun_command(
    study: Path, texts: list[str], recipe: Path | None, out: Path | None,
    csv_text: CsvText | None = None,
) -> int:  # fmt: skip
    """Print what changes would do to every reported value."""
    from drypoint.run.rerun import changes_between, parse_change, rerun

    base = load_study(study)
    if not base.file.records and not base.file.tracks:
        raise StressError(
            "This study has no tests to compare.",
            where=Where(str(base.path)),
            remedy="Other numbers for a stress run are options: drypoint stress STUDY NAME "
            "--force-mN 10.",
        )
    changes = [c for t in texts for c in parse_change(t, base)]
    if recipe is not None:
        changes += changes_between(base, load_study(recipe))
    with watching(False) as watch:
        found = rerun(base, changes, watch=watch)
    for words in found.editions():
        print(words)
    rows = []
    for m in found.moved:
        # Rounding of the last bit is no move.
        if isclose(m.before, m.after) and isclose(m.u_before, m.u_after):
            continue
        (a, ua), (b, ub) = round_pair(m.before, m.u_before), round_pair(m.after, m.u_after)
        step = f"{100 * (m.after / m.before - 1):+.2f} %" if m.before else "n/a"
        parts = "; ".join(f"{k}: {v:+.3g}" for k, v in m.by.items())
        if len(m.by) > 1:
            parts += f"; together: {m.together:+.3g}"
        unit = unit_text(m.symbol)
        what = m.symbol
        if m.depth is not None:
            what += f" at {1e9 * m.depth[0]:.0f} to {1e9 * m.depth[1]:.0f} nm"
        rows.append([m.specimen, what, unit, f"{a} ± {ua}", f"{b} ± {ub}", step, parts])
    if rows:
        head = ["specimen", "property", "unit", "before", "after", "moved", "by"]
        print(table(head, rows))
        print("± is the standard uncertainty.")
    else:
        print("No reported value moves.")
    if out is not None:
        from drypoint.store.tables import csv_bytes, marked

        out.parent.mkdir(parents=True, exist_ok=True)
        moved = found.table()
        rows_out = marked(moved) if base.invented else moved
        atomic_write(out, csv_bytes(rows_out, text=csv_text or base.file.output.csv_text))
        print(f"Written: {out}")
    return 0


def decide_command(
    study: Path,
    what: Literal["exclude", "include"],
    test: str,
    why: str,
    who: str,
    cycle: int | None,
) -> int:
    """Append one entry to the decisions file beside a study."""
    loaded = load_study(study)
    try:
        decision = Decision(who=who, what=what, test=test, cycle=cycle, why=why)
    except ValidationError as error:
        raise DecisionError(
            "; ".join(
                f"--{e['loc'][0] if e['loc'] else 'decision'}: "
                + e["msg"].removeprefix("Value error, ")
                for e in error.errors()
            )
            + "."
        ) from None
    result = run_study(loaded, write=False)
    tracks = result.scratch.tracks if result.scratch is not None else ()
    known = [t.name for t in result.batch.tests] + [t.name for t in tracks]
    if test not in known:
        raise unknown_test(test, known, loaded.path)
    entry = append(loaded.decisions, decision)
    print(f"Decision {entry.id} written to {loaded.decisions}.")
    print(f"Next: drypoint run {study}")
    return 0

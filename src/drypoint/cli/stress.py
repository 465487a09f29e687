"""What the command ``stress`` does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drypoint.cli.show import table
from drypoint.cli.stress_options import Options, keys_of
from drypoint.cli.work import watching
from drypoint.errors import StressError, Where

if TYPE_CHECKING:
    from drypoint.recipe import Study
    from drypoint.recipe.stress_changes import Override
    from drypoint.records.cells import CsvText
    from drypoint.report.model import Table
    from drypoint.run.elastic_first import ElasticAnswer
    from drypoint.run.stressing import StressResult
    from drypoint.stress import Problem


#: The shape of the tip if no option says another.
DEFAULT_TIP = "modified Berkovich"


@dataclass(frozen=True)
class WrittenFrom:
    """What results were made from: tables for ``stress.toml``, entries for ``summary.json``."""

    tables: dict[str, Any]
    summary: dict[str, Any]


def study_command(
    path: Path, names: list[str], given: Options, vtu: str | None, out: Path | None, fresh: bool,
    quiet: bool, csv_text: CsvText | None = None,
) -> int:  # fmt: skip
    """Solve the stress runs of a study, all or some by name; write them where asked.

    Options replace keys of every run that is solved. What they replaced is printed and written.
    """
    from drypoint.recipe import load_study
    from drypoint.run.stressing import run_stress

    study = load_study(path)
    wanted = names or list(study.file.stress)
    if not wanted:
        raise StressError(
            "This study asks for no stress run.",
            where=Where(str(path)),
            remedy="Add a table [stress.NAME], or give a tip, a load and solids as options.",
        )
    runs = [_with_options(study, name, given) for name in dict.fromkeys(wanted)]
    results = []
    for name, (changed, said) in zip(dict.fromkeys(wanted), runs, strict=True):
        for line in override_lines(said):
            print(f"{name}: {line}")
        with watching(quiet) as watch:
            results.append(
                run_stress(changed, name, use_cache=not fresh, watch=watch, first=_say_first)
            )
        _say(results[-1])
    if study.file.study.invented:
        print("The data of this study are invented.")
    if out is not None:
        which = {r.name: vtu or study.file.stress[r.name].vtu for r in results}
        text = csv_text or study.file.output.csv_text
        _write(results, out, which, _origin_of(study, runs, results), text)
    return 3 if any(r.run.stopped for r in results) else 0


def _with_options(study: Study, name: str, given: Options) -> tuple[Study, tuple[Override, ...]]:
    from drypoint.recipe.locate import dotted
    from drypoint.recipe.stress_changes import measured_tip, overridden
    from drypoint.recipe.to_stress import StressKeyError, stress_problem

    keys = study.file.stress.get(name)
    own = None
    if keys is not None and keys.shape is not None:
        own = keys.shape.model_dump(mode="json", exclude_unset=True)
    tip = None if given.tip_from is None else measured_tip(given.tip_from, study)
    changed = overridden(study, name, keys_of(given, own) if keys is not None else {}, tip)
    try:
        stress_problem(changed[0], name)  # a fault of the second run is reported before any solving
    except StressKeyError as error:
        first = error.faults[0]
        where = Where(str(study.path), key=dotted(("stress", name, *first.path)))
        raise StressError(first.what, where=where, remedy=first.allowed) from error
    return changed


def override_lines(said: Sequence[Override]) -> list[str]:
    """A sentence for each key that an option replaced."""
    from drypoint.recipe.toml_text import value_text

    out = []
    for one in said:
        was = "the study leaves it out" if one.study is None else f"study: {value_text(one.study)}"
        used = "removed" if one.used is None else value_text(one.used)
        out.append(f"{one.key} overridden by an option: {used} ({was}).")
    return out


def options_command(
    given: Options, vtu: str, out: Path | None, fresh: bool, quiet: bool,
    csv_text: CsvText | None = None,
) -> int:  # fmt: skip
    """Solve what the options state, through a cache in the folder of the results."""
    from drypoint.recipe.ruling import section_faults
    from drypoint.recipe.stress_changes import checked, measured_tip
    from drypoint.recipe.stressing import StressKeys
    from drypoint.recipe.to_stress import problem_of, with_load_doubt
    from drypoint.recipe.to_tip import tip_of
    from drypoint.run.stressing import run_problem
    from drypoint.store import Cache

    body = {"substrate": {}, **keys_of(given, {"shape": DEFAULT_TIP})}
    bench = None
    if given.tip_from is None:
        body.setdefault("shape", {"shape": DEFAULT_TIP})
    else:
        measured = measured_tip(given.tip_from)
        body |= measured.keys
        bench = measured.bench
    keys = checked(StressKeys, body)
    if bench is not None:
        exchanged = bench.exchanged.bench
        problem = problem_of("stress", keys, exchanged.tip)
        problem = with_load_doubt(problem, exchanged.frame.u_force_scale)
    else:
        assert keys.shape is not None
        for fault in section_faults(("shape",), keys.shape):
            raise StressError(f"{fault.path[-1]}: {fault.what}", remedy=fault.allowed)
        problem = problem_of("stress", keys, tip_of(keys.shape.shape, keys.shape))
    cache = Cache.beside(out) if out is not None and not fresh else None
    with watching(quiet) as watch:
        result = run_problem(problem, cache=cache, watch=watch, first=_say_first)
    _say(result)
    if out is not None:
        made: dict[str, Any] = {
            "stress": {"NAME": keys.model_dump(mode="python", exclude_unset=True)}
        }
        if bench is not None:
            made["benches"] = {bench.name: {"file": bench.file}}
        _write([result], out, {result.name: vtu}, WrittenFrom(made, {}), csv_text or "safe")
    return 3 if result.run.stopped else 0


def _origin_of(
    study: Study,
    runs: Sequence[tuple[Study, tuple[Override, ...]]],
    results: Sequence[StressResult],
) -> WrittenFrom:
    """The tables of the runs as they were solved, and what options replaced in them."""
    tables: dict[str, Any] = {}
    benches: dict[str, Any] = {}
    summary: dict[str, Any] = {}
    for (changed, said), one in zip(runs, results, strict=True):
        tables[one.name] = changed.file.stress[one.name].model_dump(
            mode="python", exclude_unset=True
        )
        new = set(changed.benches) - set(study.benches)
        benches |= {n: {"file": changed.benches[n].file} for n in new}
        files = {n: changed.benches[n].sha256 for n in new}
        summary[one.name] = [
            {"key": o.key, "study": o.study, "used": o.used}
            | (
                {"calibration_sha256": files[o.used]}
                if o.key == "bench" and o.used in files
                else {}
            )
            for o in said
        ]
    made: dict[str, Any] = {"stress": tables}
    if benches:
        made["benches"] = benches
    return WrittenFrom(
        made,
        {
            "study": {"file": study.path.name, "recipe_sha256": study.recipe_hash},
            "overridden": summary,
        },
    )


def _say_first(problem: Problem, answer: ElasticAnswer) -> None:
    """What is known before the finite elements start."""
    from drypoint.report.stress_words import elastic_words, problem_words
    from drypoint.run.elastic_first import names_of

    if problem.name:
        print(f"{problem.name}: ", end="")
    print(problem_words(problem, names_of(problem)))
    print(" ".join(elastic_words(problem, answer)))
    print(f"Finite elements: {problem.estimate().words()}.", flush=True)


def _say(result: StressResult) -> None:
    from drypoint.report.stress_words import (
        CANNOT,
        error_words,
        found_words,
        seen_table,
        solids_table,
        uncertain_table,
    )

    print()
    if result.run.stopped:
        print(f"The run ended early: {result.run.stopped}. What follows holds up to there.")
    for line in found_words(result):
        print(f"  {line}")
    for one in (seen_table(result), solids_table(result), uncertain_table(result)):
        if one is not None:
            print("\n" + _text(one))
    print(f"\n{error_words(result)}")
    print(f"Not in the model: {CANNOT[0]}\n")


def _text(one: Table) -> str:
    return f"{one.caption}\n" + table(
        [c.head for c in one.columns], [list(row) for row in one.rows]
    )


def _write(
    results: list[StressResult], out: Path, vtu: dict[str, str], made_from: WrittenFrom,
    csv_text: CsvText,
) -> None:  # fmt: skip
    """Tables, figures and fields as one whole set; an earlier one stays until all is there."""
    from drypoint.recipe import canonical_hash, dumps
    from drypoint.report import stress_pictures
    from drypoint.run.stress_tables import (
        stress_summary,
        stress_tables,
        write_record,
        write_vtu,
    )
    from drypoint.store import Origin, atomic_write, new_results, write_json, write_table
    from drypoint.version import __version__

    invented = any(r.invented for r in results)
    key = canonical_hash([r.key for r in results])
    origin = Origin({}, key, "", __version__, 0, invented=invented)
    with new_results(out, origin) as place:
        for stem, frame in stress_tables(results).items():
            write_table(frame, place / stem, csv_text=csv_text, invented=invented)
        for one in results:
            write_record(one, place)
            write_vtu(one, place, vtu[one.name])
            for picture in stress_pictures(one):
                atomic_write(place / f"{picture.name}.png", picture.png())
        atomic_write(place / "stress.toml", dumps(made_from.tables).encode("utf-8"))
        told = {"invented": invented, "stress": [stress_summary(r) for r in results]}
        write_json({**told, **made_from.summary}, place / "summary.json")
    print(f"Results: {out}")

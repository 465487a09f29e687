"""Join the table of positions and specimens to the records, by the names of the tests."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drypoint.errors import RecipeError, Where
from drypoint.recipe import Study
from drypoint.recipe.benches import bench_clashes
from drypoint.recipe.checks_specimens import rule_clashes
from drypoint.recipe.convert import choices_for
from drypoint.records.batch import Batch, TestInfo
from drypoint.records.layout import SetAside
from drypoint.records.tests_table import Row, read_tests_table

_SHOWN = 5


@dataclass(frozen=True)
class Reading:
    """Records of one ``[[records]]`` table. ``key`` stands for how they were read: with it and the
    source of a test its record is known."""

    table: int
    specimen: str
    batch: Batch
    key: str


def join_table(
    study: Study, parts: Sequence[Reading], set_aside: Sequence[SetAside]
) -> tuple[tuple[Reading, ...], tuple[str, ...], dict[str, str]]:
    """Readings with what the table says, one for each specimen; notes; SHA-256 of the table.

    Specimens, places and words of the table replace those of the files and of ``[[records]]``.

    Raises
    ------
    RecipeError
        The table is wrong, or names a specimen that the study does not have.
    """
    table = study.file.tests_table
    if table is None:
        return tuple(parts), (), {}
    shown = table.file.replace("\\", "/")
    path = study.folder / shown
    rows, sha256 = read_tests_table(path, shown)
    for row in rows.values():
        if row.specimen is not None and row.specimen not in study.file.specimens:
            near = difflib.get_close_matches(row.specimen, study.file.specimens, 1)
            raise RecipeError(
                f"“{row.specimen}” is not a specimen of this study.",
                where=Where(shown, line=row.line, test=row.test),
                remedy=(f"Did you mean “{near[0]}”? " if near else "")
                + f"Add a table [specimens.{row.specimen}] to {study.path.name}, or correct it.",
            )
    out: list[Reading] = []
    for part in parts:
        out += _split(study, part, rows, shown)
    names = [t.name for p in parts for t in p.batch.tests]
    return tuple(out), _notes(rows, names, set_aside, shown), {shown: sha256}


def _split(study: Study, part: Reading, rows: Mapping[str, Row], shown: str) -> list[Reading]:
    infos = [_joined(t, rows.get(t.name)) for t in part.batch.tests]
    by_specimen: dict[str, list[int]] = {}
    for i, info in enumerate(infos):
        by_specimen.setdefault(info.specimen, []).append(i)
    batch = replace(part.batch, tests=tuple(infos))
    out = []
    for specimen, which in by_specimen.items():
        if specimen != part.specimen:
            _refuse_other_rule(study, part, specimen, infos[which[0]].name, shown, rows)
        mine = batch if len(which) == len(batch) else batch.take(np.array(which))
        out.append(replace(part, specimen=specimen, batch=mine))
    return out


def _joined(info: TestInfo, row: Row | None) -> TestInfo:
    if row is None:
        return info
    specimen = row.specimen or info.specimen
    return replace(
        info,
        specimen=specimen,
        position_m=row.position_m or info.position_m,
        declared={**info.declared, **row.declared},
    )


def _refuse_other_rule(
    study: Study, part: Reading, specimen: str, test: str, shown: str, rows: Mapping[str, Row]
) -> None:
    """The tip of these records must have been found under the rule of this specimen too."""
    analysis = choices_for(study.file, study.specimen(specimen)).analysis
    bench = study.loaded_bench_of(part.table)
    if bench is not None:
        clashes = bench_clashes(bench, analysis)
    else:
        tip = study.file.tips[study.bench_of(part.table).tip.name]
        rule = tip.area.found_with if tip.area is not None else None
        clashes = rule_clashes(rule, analysis) if rule is not None else []
    for key, then, now in clashes:
        raise RecipeError(
            f"The tip was found with {key} = {then}, and specimen “{specimen}” is analysed with "
            f"{now}.",
            where=Where(shown, line=rows[test].line if test in rows else None, test=test),
            remedy="Use the same rule for this specimen, or calibrate the tip again.",
        )


def _notes(
    rows: Mapping[str, Row], names: Sequence[str], aside: Sequence[SetAside], shown: str
) -> tuple[str, ...]:
    """Rows without a test and tests without a row."""
    have = set(names)
    lost = {s.test for s in aside if s.test}
    notes = []
    unknown = [r for r in rows.values() if r.test not in have and r.test not in lost]
    for row in unknown[:_SHOWN]:
        near = difflib.get_close_matches(row.test, have, 1)
        hint = f" Did you mean “{near[0]}”?" if near else ""
        notes.append(f"{shown}, line {row.line}: there is no test “{row.test}”.{hint}")
    if len(unknown) > _SHOWN:
        notes.append(f"{shown}: {len(unknown) - _SHOWN} more rows name no test of this study.")
    bare = [n for n in names if n not in rows]
    if bare:
        count = "1 test has" if len(bare) == 1 else f"{len(bare)} tests have"
        first = f"“{bare[0]}”" if len(bare) == 1 else f"the first is “{bare[0]}”"
        notes.append(f"{shown}: {count} no row ({first}).")
    return tuple(notes)

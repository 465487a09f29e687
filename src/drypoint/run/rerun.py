"""A study under other choices: every reported value before and after, and why it moved."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from drypoint import paths
from drypoint.errors import PathError, RecipeError, Where
from drypoint.parsing import toml_document
from drypoint.recipe import Study, dumps, load_study, read_study
from drypoint.recipe.editions import what_changes
from drypoint.recipe.toml_text import value_text
from drypoint.run.columns import COLUMNS, column, factor_of
from drypoint.run.progress import Watch
from drypoint.run.rerun_along import Moved, moved_along
from drypoint.run.result import StudyResult
from drypoint.run.study_run import run_study


@dataclass(frozen=True)
class Change:
    """One change of the recipe: a dotted key and its new value (``None`` takes the key away)."""

    key: str
    value: Any


@dataclass(frozen=True)
class Rerun:
    """Both runs and what moved."""

    before: StudyResult
    after: StudyResult
    changes: tuple[Change, ...]
    moved: tuple[Moved, ...]

    def editions(self) -> list[str]:
        """What another edition of the rules changes and why, a line for each default; empty where
        both runs keep to the same edition."""
        a, b = self.before.study.file.rules, self.after.study.file.rules
        if a == b:
            return []
        lines = [f"Rules: edition {a} before, edition {b} after."]
        for name, value, why in what_changes(a, b):
            lines.append(f"  {name} = {value_text(value)}: {why}")
        return lines

    def table(self) -> pl.DataFrame:
        """A row for each specimen and property; a column ``by_KEY`` for each change.

        Along loading a row for each bin of contact depth; the bins are null elsewhere.
        """
        rows = []
        bins = any(m.depth is not None for m in self.moved)
        for m in self.moved:
            row: dict[str, Any] = {
                "specimen": m.specimen,
                "property": column(m.symbol),
                **(_edges(m) if bins else {}),
                "before": m.before,
                "u_before": m.u_before,
                "after": m.after,
                "u_after": m.u_after,
                "moved": m.after - m.before,
                "moved_percent": 100.0 * (m.after / m.before - 1.0) if m.before else None,
            }
            row.update({f"by_{k}": v for k, v in m.by.items()})
            row["by_changes_together"] = m.together
            rows.append(row)
        return pl.DataFrame(rows, infer_schema_length=None, nan_to_null=True)


def _edges(m: Moved) -> dict[str, float | None]:
    low, high = (None, None) if m.depth is None else (1e9 * m.depth[0], 1e9 * m.depth[1])
    return {"h_c_from_nm": low, "h_c_to_nm": high}


def parse_change(text: str, study: Study) -> list[Change]:
    """A change from ``KEY=VALUE`` as typed on a command line.

    ``KEY`` is dotted (``analysis.beta``); ``tip``, ``frame`` stand for the study's only tip and
    frame. ``VALUE`` is TOML (``1.05``, ``"fit"``, ``[0.2, 0.95]``), a bare word, or, for a tip or
    frame, a TOML file with its keys.

    Raises
    ------
    RecipeError
        When it has no ``=``, names no key, or its file cannot be read.
    """
    key, sign, value = text.partition("=")
    key = key.strip()
    if not sign or not key:
        raise RecipeError(
            f"“{text}” is no change.", remedy="Write KEY=VALUE, for example analysis.beta=1.05."
        )
    if key == "tip":
        names = list(study.file.tips)
        if len(names) != 1:
            raise RecipeError(
                "The study has several tips." if names else "The study has no tip of its own.",
                remedy="Write tips.NAME=FILE: " + ", ".join(names)
                if names
                else "Its bench is a calibration: benches.NAME.file names another one.",
            )
        key = f"tips.{names[0]}"
    if value.strip().endswith(".toml"):
        path = Path(value.strip())
        try:
            table = toml_document(paths.read_bytes(path).decode("utf-8"))
        except (OSError, PathError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            raise RecipeError(
                f"The file cannot be read as TOML: {error}.", where=Where(str(path), key=key),
                remedy="Give a file that holds the keys of one tip (or frame).",
            ) from error  # fmt: skip
        return [Change(key, table)]
    try:
        parsed = toml_document(f"v = {value.strip()}")["v"]
    except tomllib.TOMLDecodeError:
        parsed = value.strip()
    return [Change(key, parsed)]


def changes_between(old: Study, new: Study) -> list[Change]:
    """What differs between two recipes, key by key (lists as wholes)."""
    a, b = (toml_document(s.text) for s in (old, new))
    out: list[Change] = []

    def walk(x: Any, y: Any, path: tuple[str, ...]) -> None:
        for k in sorted(x.keys() | y.keys()):
            u, v = x.get(k), y.get(k)
            if isinstance(u, dict) and isinstance(v, dict):
                walk(u, v, (*path, k))
            elif u != v:
                out.append(Change(".".join((*path, k)), v))

    walk(a, b, ())
    return out


def changed_study(study: Study, changes: Sequence[Change]) -> Study:
    """The study under the changed recipe (checked as any recipe); files stay where they are.

    Raises
    ------
    RecipeError
        When the changed recipe is not a valid one.
    """
    tree = deepcopy(toml_document(study.text))
    for c in changes:
        *path, last = c.key.split(".")
        place = tree
        for k in path:
            place = place.setdefault(k, {})
            if not isinstance(place, dict):
                raise RecipeError(
                    "A part of this key is not a table.", where=Where(str(study.path), key=c.key),
                    remedy="Lists are replaced as wholes; give another recipe with --recipe.",
                )  # fmt: skip
        if c.value is None:
            place.pop(last, None)
        else:
            place[last] = c.value
    return read_study(dumps(tree), study.path)


def rerun(
    study: Study | Path | str, changes: Sequence[Change], *, watch: Watch | None = None
) -> Rerun:
    """Run a study as it is and as changed; find what each change alone does. Nothing is written.

    Raises
    ------
    RecipeError
        When there is no change, or the changed recipe is not valid.
    """
    base = study if isinstance(study, Study) else load_study(Path(study))
    if not changes:
        raise RecipeError(
            "Nothing is changed.", where=Where(str(base.path)),
            remedy="Give --with KEY=VALUE or --recipe FILE.",
        )  # fmt: skip
    watch = watch or Watch()
    after_study = changed_study(base, changes)
    watch.at("before", 0, 2 + len(changes))
    before = run_study(base, write=False)
    watch.at("after", 1, 2 + len(changes))
    after = run_study(after_study, write=False)
    alone: dict[str, StudyResult | None] = {}
    if len(changes) > 1:
        for i, c in enumerate(changes):
            watch.at(f"only {c.key}", 2 + i, 2 + len(changes))
            try:
                alone[c.key] = run_study(changed_study(base, [c]), write=False)
            except RecipeError:
                # A key that makes sense only beside another: its effect is in what remains.
                alone[c.key] = None
    else:
        alone[changes[0].key] = after
    moved = _moved(before, after, alone) + moved_along(before, after, alone)
    return Rerun(before, after, tuple(changes), tuple(moved))


def _moved(
    before: StudyResult, after: StudyResult, alone: Mapping[str, StudyResult | None]
) -> list[Moved]:
    out = []
    for specimen in before.specimens:
        for symbol in COLUMNS:
            a = before.series.get(specimen, {}).get(symbol)
            b = after.series.get(specimen, {}).get(symbol)
            if a is None or b is None:
                continue
            f = factor_of(symbol)
            by = {}
            for key, result in alone.items():
                s = result.series.get(specimen, {}).get(symbol) if result is not None else None
                by[key] = 0.0 if s is None else (s.mean - a.mean) / f
            rest = (b.mean - a.mean) / f - sum(by.values())
            out.append(Moved(specimen, symbol, a.mean / f, b.mean / f, a.u / f, b.u / f, by, rest))
    return out

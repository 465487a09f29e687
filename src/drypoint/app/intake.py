"""What is understood of raw files, for a page: columns with role and unit, questions with their
choices, the first lines, the first curves. The files are only read."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from drypoint.app.api import Form
from drypoint.app.places import inside
from drypoint.errors import DrypointError
from drypoint.figures.load_depth import thinned
from drypoint.records import read, starting_recipe_records
from drypoint.records.decode import decode
from drypoint.records.find import not_a_record
from drypoint.records.layout import ROLES, Column, Layout
from drypoint.records.listing import name_fault
from drypoint.records.looking import look_at
from drypoint.records.question import Question
from drypoint.records.saved import with_answers
from drypoint.records.starting import alike, layout_key, with_specimens
from drypoint.records.understanding import Understanding
from drypoint.run.columns import factor_of
from drypoint.store.manifest import NAME as MANIFEST

#: Tests, lines and points of a preview; files of a folder that are looked at.
_TESTS, _LINES, _POINTS, _MOST_FILES = 5, 7, 300, 5000
#: Folders that hold no raw files.
NOT_RAW = ("results", "report")


class ColumnForm(Form):
    """A column as a person declares it."""

    name: str | None = None
    index: int | None = Field(None, ge=1)
    unit: str | None = None
    scale: float = 1.0
    attributes: Literal["apply", "ignore"] | None = None


class LayoutForm(Form):
    """How files are to be read; what is left out is found from the files."""

    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None
    header_line: int | None = Field(None, ge=1)
    first_data_line: int | None = Field(None, ge=1)
    split: Literal["one", "blank lines", "column"] | None = None
    columns: dict[str, ColumnForm] = Field(default_factory=dict)
    sampling_Hz: float | None = Field(None, gt=0)
    comment: str | None = None
    inside: list[str] = Field(default_factory=list)
    track: bool = False

    def layout(self) -> Layout:
        """The same as the readers have it."""
        values = {k: getattr(self, k) for k in type(self).model_fields}
        values["inside"] = tuple(self.inside)
        values["columns"] = {
            role: Column(c.name, c.index, c.unit, c.scale, c.attributes)
            for role, c in self.columns.items()
            if role in ROLES
        }
        return Layout(**values)


class GroupForm(Form):
    """Files that are read in one way; ``answers`` are lines that settle questions. ``specimen`` is
    that of all files, ``specimens`` those of single files; else each is proposed by its name."""

    files: list[str] = Field(min_length=1, max_length=_MOST_FILES)
    layout: LayoutForm = LayoutForm()
    answers: list[str] = Field(default_factory=list)
    specimen: str = Field("", max_length=200)
    specimens: dict[str, Annotated[str, Field(max_length=200)]] = Field(default_factory=dict)


def layout_of(group: GroupForm) -> Layout:
    """The layout of a group, with its answers."""
    return with_answers(group.layout.layout(), list(group.answers))


def raw_files(folder: Path) -> list[Path]:
    """Files below a folder that could be records by their names, sorted."""
    out = []
    for path in sorted(folder.rglob("*")):
        parts = path.relative_to(folder).parts
        if any(p.startswith(".") or p in NOT_RAW for p in parts) or path.is_symlink():
            continue
        if any(name_fault(p) for p in parts):
            continue
        if any(
            (folder / p / MANIFEST).is_file() for p in list(path.relative_to(folder).parents)[:-1]
        ):
            continue  # results, or what was signed
        if path.is_file() and not not_a_record(path):
            out.append(path)
        if len(out) >= _MOST_FILES:
            break
    return out


def looks_of(
    folder: Path, groups: Sequence[GroupForm], leave_out: Sequence[str] = ()
) -> list[list[Understanding]]:
    """Understandings of a folder by groups: as given, or (where none are) by layout.

    Every file has a specimen: as given, as its header says, or by its name. Files that could not
    be read at all are a group of their own, at the end. ``leave_out``: files that are not looked
    at, relative to ``folder``.
    """
    if not groups:
        gone = set(leave_out)
        files = [p for p in raw_files(folder) if p.relative_to(folder).as_posix() not in gone]
        looks = with_specimens(look_at(files, Layout(), folder))
        found, lost = alike(looks, by_specimen=False)
        return [*found, *([lost] if lost else [])]
    out: list[list[Understanding]] = []
    for group in groups:
        paths = [inside(folder, f) for f in group.files]
        looks = look_at(paths, layout_of(group), folder)
        said = {u.path: group.specimens.get(u.path, "") or group.specimen for u in looks}
        out.append([_named(u, said[u.path]) for u in looks])
    # By names of all files together, as where no groups are given.
    flat = iter(with_specimens([u for group in out for u in group]))
    return [[next(flat) for _ in group] for group in out]


def _named(u: Understanding, specimen: str) -> Understanding:
    name = " ".join(specimen.split())
    return replace(u, header={**u.header, "specimen": name}) if name else u


def records_text(folder: Path, groups: Sequence[GroupForm]) -> str:
    """The ``[[records]]`` tables of a study file for groups of files."""
    looks = [u for group in looks_of(folder, groups) for u in group]
    return starting_recipe_records(looks, folder)


def look_values(
    folder: Path, groups: Sequence[GroupForm], leave_out: Sequence[str], preview: bool
) -> list[dict[str, Any]]:
    """Groups of a folder as plain values; see :func:`looks_of`."""
    return [group_values(folder, g, preview=preview) for g in looks_of(folder, groups, leave_out)]


def file_values(folder: Path, files: Sequence[Path], layout: Layout) -> dict[str, Any]:
    """Files that are read in one way, as plain values with a preview."""
    return group_values(folder, look_at(list(files), layout, folder), preview=True)


def group_values(folder: Path, looks: Sequence[Understanding], *, preview: bool) -> dict[str, Any]:
    """A group as plain values, with the first lines and curves where it can be read."""
    first = next((u for u in looks if not u.questions and u.columns), looks[0])
    tests = [t for u in looks for t in u.tests]
    questions: dict[str, Question] = {q.what: q for u in looks for q in u.questions}
    out: dict[str, Any] = {
        "files": list(dict.fromkeys(u.path for u in looks)),
        "shown": first.path,
        "kind": first.kind,
        "saved": first.saved,
        "encoding": first.encoding,
        "compressed": first.compressed,
        "delimiter": first.delimiter,
        "decimal": first.decimal,
        "header_line": first.header_line,
        "unit_line": first.unit_line,
        "first_data_line": first.first_data_line,
        "split": first.split,
        "header": {k: v for k, v in first.header.items() if k != "specimen"},
        "specimen": first.header.get("specimen", ""),
        "specimens": {u.path: u.header.get("specimen", "") for u in looks},
        "like": _like(first),
        "columns": [
            {
                "index": c.index,
                "name": c.name,
                "role": c.role,
                "unit": c.unit or "",
                "why": c.why,
                "numeric": c.numeric,
                "once": [d.name for d in first.columns].count(c.name) == 1,
            }
            for c in first.columns
        ],
        "layout": _layout_values(first.layout),
        "tests": len(tests),
        "first_tests": [
            {
                "name": t.name,
                "samples": t.samples,
                "duration_s": t.duration_s,
                "rate_Hz": t.rate_Hz,
                "force_mN": None if t.max_force_N is None else t.max_force_N / factor_of("F_max"),
                "depth_nm": None if t.max_depth_m is None else t.max_depth_m / factor_of("h_c"),
                "gaps": len(t.gaps),
            }
            for t in tests[:12]
        ],
        "missing": list(first.missing),
        "questions": [
            {"what": q.what, "choices": list(q.choices), "remedy": q.toml, "key": q.key}
            for q in questions.values()
        ],
        "faults": [asdict(f) for u in looks for f in u.faults],
        "notes": list(dict.fromkeys(n for u in looks for n in u.notes)),
        "clear": all(u.clear for u in looks),
        "lines": [],
        "curves": [],
    }
    if preview:
        out["lines"] = _first_lines(folder, first)
        out["curves"] = _first_curves(folder, first) if first.clear else []
    return out


def _like(u: Understanding) -> str:
    """Stands for the way in which the files of a group are laid out."""
    return hashlib.sha256(repr(layout_key(u)).encode("utf-8")).hexdigest()[:16]


def _layout_values(layout: Layout) -> dict[str, Any]:
    values = asdict(layout)
    values["columns"] = {role: asdict(c) for role, c in layout.columns.items()}
    return {k: v for k, v in values.items() if v not in (None, (), {})}


def _first_lines(folder: Path, u: Understanding) -> list[list[Any]]:
    """Lines of a text file around the first numbers: (number, text)."""
    if u.kind != "text" or u.places:
        return []
    try:
        text = decode(inside(folder, u.path), encoding=u.layout.encoding).text
    except DrypointError:
        return []
    begin = max((u.header_line or u.first_data_line or 1) - 1, 0)
    lines = text.split("\n", begin + _LINES)[begin : begin + _LINES]
    return [[begin + k + 1, t[:300]] for k, t in enumerate(lines)]


def _first_curves(folder: Path, u: Understanding) -> list[dict[str, Any]]:
    """Force against depth as recorded (nm, mN) of the first tests of a file."""
    batch = read([inside(folder, u.path)], u.layout).batch
    out = []
    for i in range(min(len(batch), _TESTS)):
        s = batch.span(i)
        pick = thinned(s.stop - s.start, _POINTS)
        depth, force = batch.depth[s][pick], batch.force[s][pick]
        known = np.isfinite(depth) & np.isfinite(force)
        out.append(
            {
                "name": batch.tests[i].name,
                "x": (depth[known] / factor_of("h_c")).tolist(),
                "y": (force[known] / factor_of("F_max")).tolist(),
            }
        )
    return out

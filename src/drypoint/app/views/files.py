"""The raw files of a study: what is understood of them, how that is changed, what was set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pydantic import Field
from starlette.requests import Request

from drypoint.app.api import Endpoint, Form, readings_of, session_of
from drypoint.app.intake import GroupForm, LayoutForm, layout_of, raw_files
from drypoint.app.pages import View
from drypoint.app.session import State
from drypoint.app.study_api import after_write
from drypoint.errors import DrypointError, RecipeError, RecordError, Where
from drypoint.recipe import Study
from drypoint.recipe.blocks import with_layout
from drypoint.records.layout import ROLES, Layout, SetAside


class OneTable(Form):
    """Number of a records table of the study file, from 0."""

    table: int = Field(ge=0)


class Other(Form):
    """Another layout for a records table, to be looked at."""

    table: int = Field(ge=0)
    layout: LayoutForm = LayoutForm()
    answers: list[str] = Field(default_factory=list)


class NewLayout(Other):
    """Another layout for a records table, to be written; the version it was made from."""

    version: str


def context(request: Request, state: State) -> Mapping[str, Any]:
    """Tables of records, and where new files would go."""
    study = state.study
    return {
        "tables": [
            {"i": i, "specimen": r.specimen, "files": list(r.files)}
            for i, r in enumerate(study.file.records)
        ],
        "roles": [r for r in ROLES if r != "ignore"],
        "into": _into(request.app.state.settings.root, study),
    }


def _into(root: Path, study: Study) -> list[dict[str, str]]:
    """Folders for dropped files, relative to the root: those of the patterns of the study."""
    names: dict[str, str] = {}
    for records in study.file.records:
        for pattern in records.files:
            plain = Path(pattern.replace("\\", "/"))
            folder = study.folder / plain.parent
            if "*" in str(plain.parent) or not folder.is_dir():
                continue
            try:
                place = folder.resolve().relative_to(root.resolve()).as_posix()
            except ValueError:
                continue
            names.setdefault(place, f"{plain.parent.as_posix()} ({pattern})")
    return [{"place": p, "words": w} for p, w in names.items() if p != "."]


def table(request: Request, query: OneTable) -> dict[str, Any]:
    """What is understood of the files of one records table."""
    study = session_of(request).state().study
    return _understood(request, study, query.table, _layout(study, query.table))


def table_with(request: Request, body: Other) -> dict[str, Any]:
    """The same with another layout; nothing is written."""
    study = session_of(request).state().study
    _layout(study, body.table)
    group = GroupForm(files=["-"], layout=body.layout, answers=body.answers)
    return _understood(request, study, body.table, layout_of(group))


def _layout(study: Study, i: int) -> Layout:
    if i >= len(study.file.records):
        raise RecipeError(
            f"The study has no records[{i + 1}].",
            where=Where(str(study.path), key="records"),
            remedy="Reload the page.",
        )
    return study.layout(i)


def _understood(request: Request, study: Study, i: int, layout: Layout) -> dict[str, Any]:
    files = [study.folder / f for f in study.record_files(i)]
    odd = study.odd_files(study.file.records[i].files)
    if not files:
        first = odd[0]
        raise RecordError(
            f"None of the files is read. The first: {first.reason}",
            where=Where(first.file),
            remedy=first.remedy,
        )
    values = readings_of(request).read("files", study.folder, files, layout)
    values["faults"] = [*values["faults"], *(asdict(o) for o in odd)]
    return {**values, "specimen": study.file.records[i].specimen, "table": i}


def write_layout(request: Request, body: NewLayout) -> dict[str, Any]:
    """Write another layout into the study file; the rest of its text stays as it is."""
    session = session_of(request)
    study = session.state().study
    _layout(study, body.table)
    layout = layout_of(GroupForm(files=["-"], layout=body.layout, answers=body.answers))
    text = with_layout(study.text, body.table, layout, study.path)
    return after_write(request, session, session.write_recipe(text, body.version))


def set_aside(request: Request) -> dict[str, Any]:
    """What the last run set aside and why, and files in the folders that no table takes."""
    state = session_of(request).state()
    study = state.study
    aside, notes = [], []
    if state.results is not None:
        summary = state.results.json("summary.json")
        aside, notes = summary.get("set_aside", []), summary.get("notes", [])
    taken: set[str] = set()
    for i in range(len(study.file.records)):
        try:
            taken.update(study.record_files(i))
        except DrypointError as error:
            aside = [*aside, asdict(SetAside("", None, error.what, error.remedy, stage="finding"))]
    own = [p.relative_to(study.folder).as_posix() for p in raw_files(study.folder)]
    others = _other_studies(study)
    loose = [f for f in own if f not in taken and not f.startswith(others)]
    return {
        "set_aside": aside,
        "notes": notes,
        "loose": loose[:200],
        "loose_count": len(loose),
        "standing": state.standing,
    }


def _other_studies(study: Study) -> tuple[str, ...]:
    """Folders below that belong to studies of their own (a bench, for example)."""
    out = []
    for path in study.folder.rglob("*.toml"):
        relative = path.relative_to(study.folder)
        if len(relative.parts) > 1 and not relative.parts[0].startswith("."):
            out.append(f"{relative.parent.as_posix()}/")
    return tuple(out)


_F = "/api/studies/{key}/files"
VIEW = View(
    "files",
    "Files",
    context,
    (
        Endpoint("GET", f"{_F}/table", table, "What is understood of files", query=OneTable),
        Endpoint("POST", f"{_F}/look", table_with, "The same, read otherwise", body=Other),
        Endpoint("POST", f"{_F}/layout", write_layout, "Write how files are read",
                 body=NewLayout),
        Endpoint("GET", f"{_F}/set-aside", set_aside, "What was set aside, and why"),
    ),
    of="any",
)  # fmt: skip

"""Reading a study file: text, syntax, version, schema, and what must fit together."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from drypoint import paths
from drypoint.errors import PathError, RecipeError
from drypoint.recipe.benches import (
    LoadedBench,
    certificate_problems,
    load_benches,
    rule_problems,
)
from drypoint.recipe.checks import cross_checks
from drypoint.recipe.checks_calibration import bench_problems, calibration_problems
from drypoint.recipe.editions import with_edition
from drypoint.recipe.equipment import Area
from drypoint.recipe.locate import key_lines
from drypoint.recipe.problems import Problem, StudyError, from_pydantic, raise_all
from drypoint.recipe.reference_notes import reference_notes
from drypoint.recipe.ruling import section_faults
from drypoint.recipe.schema import RENAMED, StudyFile
from drypoint.recipe.study import Study, output_problems
from drypoint.recipe.text import parse, read_text
from drypoint.recipe.to_films import layer_faults
from drypoint.recipe.to_stress import stress_faults
from drypoint.recipe.to_tip import area_problems
from drypoint.recipe.upgrade import renamed, upgrade

Document = dict[str, Any]


def load_study(path: Path | str) -> Study:
    """Read and check a study file.

    Raises
    ------
    RecipeError
        With every fault of the file: its line, its key, what is given and what is allowed.
    """
    path = Path(path)
    return read_study(read_text(path), path)


def read_study(text: str, path: Path | str) -> Study:
    """A study from the text of its file; ``path`` says where it stands, or would stand."""
    path = Path(path)
    document = parse(text, path)
    lines = key_lines(text)
    document, notes, refused = upgrade(document)
    if refused is not None and refused.path == ("drypoint",) and "drypoint" in document:
        raise_all(str(path), lines, [refused])
    document, more, twice = renamed(document)
    for (table, old), new in RENAMED.items():
        if (table, old) in lines:
            lines.setdefault((table, new), lines[(table, old)])
    document, in_files, problems = _with_area_files(document, path)
    problems += twice
    if refused is not None:
        problems.append(refused)
        document = {"drypoint": 1, **document}
    document = with_edition(document)
    body = json.dumps(document, default=str)  # dates of TOML become text
    try:
        study = StudyFile.model_validate_json(body)
    except ValidationError as error:
        problems += from_pydantic(error.errors(), StudyFile)
        study = None
    known = {p.path for p in problems}
    problems += [p for p in cross_checks(json.loads(body)) if p.path not in known]
    benches: dict[str, LoadedBench] = {}
    if study is not None:
        benches, missing, bad = load_benches(study.benches, path.parent)
        in_files += bad
        problems += missing + bench_problems(study) + certificate_problems(study)
        if not problems:
            problems += rule_problems(study, benches) + calibration_problems(study)
    if study is not None and not problems:
        more += reference_notes(study, benches)
    whole = None if study is None else Study(path, text, study, (*notes, *more), benches)
    if whole is not None and not problems:
        problems += output_problems(whole)
    if whole is not None and not problems and not in_files:
        problems += layer_faults(whole)
    if whole is not None and whole.file.stress and not problems and not in_files:
        problems += stress_faults(whole)
    raise_all(str(path), lines, problems, in_files)
    assert whole is not None
    return whole


def _with_area_files(
    document: Document, path: Path
) -> tuple[Document, list[StudyError], list[Problem]]:
    """The document with the area functions that stand in files of their own put in place."""
    faults: list[StudyError] = []
    problems: list[Problem] = []
    out = dict(document)
    for table, key in (("tips", ""), ("stress", "shape")):
        # The tips by name, and the shapes that stress runs describe themselves.
        entries = document.get(table)
        if not isinstance(entries, dict):
            continue
        out[table] = dict(entries)
        for name, entry in entries.items():
            tip = entry.get(key) if key and isinstance(entry, dict) else entry
            area = tip.get("area") if isinstance(tip, dict) else None
            if (
                not isinstance(tip, dict)
                or not isinstance(area, dict)
                or not isinstance(area.get("file"), str)
            ):
                continue
            if len(area) > 1:
                continue  # the checks say what stands beside it
            where = (table, name, *((key,) if key else ()), "area", "file")
            place = path.parent / area["file"].replace("\\", "/")
            try:
                there = paths.is_file(place, area["file"])
            except PathError as error:
                problems.append(Problem(where, error.what, error.remedy))
                continue
            if not there:
                problems.append(
                    Problem(
                        where,
                        f"there is no file “{area['file']}”.",
                        "Paths are relative to the study file.",
                    )
                )
                continue
            try:
                whole = {**tip, "area": _area_file(place)}
                out[table][name] = {**entry, key: whole} if key else whole
            except StudyError as error:
                faults.append(error)
            except RecipeError as error:
                faults.append(StudyError(error.what, where=error.where, remedy=error.remedy))
    return out, faults, problems


def _area_file(path: Path) -> Document:
    text = read_text(path)
    document = parse(text, path)
    problems: list[Problem] = []
    try:
        area = Area.model_validate_json(json.dumps(document, default=str))
        problems = section_faults((), area) or area_problems((), area)
        if area.file is not None:
            problems = [Problem(("file",), "an area file names another file.", "Leave it out.")]
    except ValidationError as error:
        problems = from_pydantic(error.errors(), Area)
    raise_all(str(path), key_lines(text), problems)
    return document

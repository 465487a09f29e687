"""What the schema alone cannot see: names that must exist, and keys that must fit.

Each part is looked at by itself, so that all faults of a file are found in one go.
"""

from __future__ import annotations

from pathlib import PurePosixPath, PureWindowsPath

from drypoint.errors import DrypointError
from drypoint.recipe.checks_scratch import scratch_checks
from drypoint.recipe.checks_specimens import specimen_checks
from drypoint.recipe.equipment import TipKeys
from drypoint.recipe.locate import Path
from drypoint.recipe.parts import Document, table_list, tables, valid, without_faults
from drypoint.recipe.problems import MOST, Problem, show, unknown
from drypoint.recipe.questions import Comparison, SeriesKeys
from drypoint.recipe.ruling import rule_faults, section_faults
from drypoint.recipe.schema import StudyFile
from drypoint.recipe.scratching import Tracks
from drypoint.recipe.sections import MeasuredArea, Output, Records
from drypoint.recipe.to_tip import area_problems, tip_of
from drypoint.records.layout import ROLE_DIMENSION, ROLES
from drypoint.units import factor


def cross_checks(document: Document) -> list[Problem]:
    """Faults between the parts of a study file."""
    found = rule_faults(StudyFile, document)
    specimens, tips = tables(document, "specimens"), tables(document, "tips")
    kinds: tuple[tuple[str, type[Records]], ...] = (("records", Records), ("tracks", Tracks))
    for name, model in kinds:
        for i, table in enumerate(table_list(document, name)):
            few = len(found) < MOST
            found += _record_names(name, i, table, (specimens, tips, document), few)
            records = without_faults(model, table)
            if records is not None:
                found += _columns((name, i), records)
    for name, table in tips.items():
        tip = without_faults(TipKeys, table)
        if tip is not None:
            found += _tip(("tips", name), name, tip)
    found += specimen_checks(document, specimens)
    found += _areas(document)
    found += _questions(document, specimens)
    found += scratch_checks(document, specimens)
    found += _output(document)
    return found


def _record_names(
    name: str, i: int, table: Document, named: tuple[Document, Document, Document], guess: bool
) -> list[Problem]:
    specimens, tips, document = named
    found = []
    frames = tables(document, "frames")
    for key, kind, known, table_name in (
        ("specimen", "a specimen of this study", specimens, "specimens"),
        ("tip", "a tip of this study", tips, "tips"),
        ("frame", "a frame of this study", frames, "frames"),
    ):
        path: Path = (name, i, key)
        given = table.get(key)
        if isinstance(given, str) and given not in known:
            what, allowed = unknown(given, kind, known, guess=guess)
            if not known:
                allowed = f"Add a table [{table_name}.{given or 'NAME'}]."
            found.append(Problem(path, what, allowed))
    return found


def _columns(path: Path, records: Records) -> list[Problem]:
    found: list[Problem] = []
    seen: dict[tuple[str | None, int | None], str] = {}
    for role, column in records.columns.items():
        here = (*path, "columns", role)
        if role not in ROLES:
            found.append(Problem(here, *unknown(role, "a role of a column", ROLES)))
        if (column.name is None) == (column.index is None):
            continue
        other = seen.setdefault((column.name, column.index), role)
        if other != role:
            found.append(
                Problem(
                    here, f"the column is taken by “{other}” already.", "A column has one role."
                )
            )
        if column.unit is not None and role in ROLE_DIMENSION:
            try:
                factor(column.unit, ROLE_DIMENSION[role])
            except DrypointError as error:
                found.append(Problem((*here, "unit"), error.what, error.remedy))
    return found


def _tip(path: Path, name: str, keys: TipKeys) -> list[Problem]:
    area = keys.area
    found = area_problems((*path, "area"), area) if area is not None else []
    if found or section_faults(path, keys) or (area is not None and area.file is not None):
        return found
    try:
        tip_of(name, keys)
    except DrypointError as error:
        return [Problem((*path, "area") if keys.area else path, error.what, error.remedy)]
    return []


def _areas(document: Document) -> list[Problem]:
    found = []
    seen: dict[tuple[str, int | None], int] = {}
    for i, table in enumerate(table_list(document, "measured_areas")):
        area = valid(MeasuredArea, table)
        if area is None:
            continue
        first = seen.setdefault((area.test, area.cycle), i)
        if first != i:
            found.append(
                Problem(
                    ("measured_areas", i, "test"),
                    f"the area of “{area.test}” is given twice (entry {first + 1} too).",
                    "Keep one of them.",
                )
            )
    return found


def _questions(document: Document, specimens: Document) -> list[Problem]:
    found = []
    for i, table in enumerate(table_list(document, "comparisons")):
        asked = without_faults(Comparison, table)
        for k, name in enumerate(asked.specimens if asked is not None else ()):
            path: Path = ("comparisons", i, "specimens", k)
            if name not in specimens:
                found.append(Problem(path, *unknown(name, "a specimen of this study", specimens)))
            elif asked is not None and name in asked.specimens[:k]:
                found.append(Problem(path, f"“{name}” stands there twice.", "Name it once."))
    series = valid(SeriesKeys, document.get("series", {}))
    edges = series.depth_bins_nm if series is not None else ()
    if list(edges) != sorted(set(edges)):
        found.append(
            Problem(
                ("series", "depth_bins_nm"),
                f"{show(list(edges))} is given.",
                "Allowed: edges in rising order.",
            )
        )
    return found


def _output(document: Document) -> list[Problem]:
    output = valid(Output, document.get("output", {}))
    if output is None:
        return []
    for key in ("folder", "report_folder"):
        given = getattr(output, key)
        windows = PureWindowsPath(given)
        if not _parts(given) or ".." in _parts(given) or windows.drive or windows.root:
            return [
                Problem(
                    ("output", key),
                    f"{show(given)} is given.",
                    "Allowed: a folder below that of the study file, such as “results”.",
                )
            ]
    path: Path = ("output", "folder")
    parts = _parts(output.folder)
    for i, table in enumerate(table_list(document, "records")):
        files = table.get("files")
        for pattern in files if isinstance(files, list) else []:
            if isinstance(pattern, str) and _parts(pattern)[: len(parts)] == parts:
                return [
                    Problem(
                        path,
                        f"the folder {show(output.folder)} holds raw files (records {i + 1}).",
                        "Results are written anew as a whole: give them a folder of their own.",
                    )
                ]
    return []


def _parts(path: str) -> tuple[str, ...]:
    plain = path.replace("\\", "/")
    return tuple(part for part in PurePosixPath(plain).parts if part != ".")

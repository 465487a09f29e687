"""Specimens and the choices of the reduction: what must fit together."""

from __future__ import annotations

from typing import Any

from drypoint import materials
from drypoint.recipe.context import packaged
from drypoint.recipe.convert import merged
from drypoint.recipe.equipment import FoundWith, TipKeys
from drypoint.recipe.knobs import Analysis, Choices
from drypoint.recipe.locate import Path
from drypoint.recipe.parts import Document, table_list, tables, valid, without_faults
from drypoint.recipe.problems import Problem, show, unknown
from drypoint.recipe.sections import Specimen


def specimen_checks(document: Document, specimens: Document) -> list[Problem]:
    """Faults of the specimens, and of the study's and their own choices."""
    names = Choices.model_fields
    common = valid(Choices, {k: document[k] for k in names if k in document})
    found: list[Problem] = []
    used = _records_of(document)
    for name, table in specimens.items():
        path: Path = ("specimens", name)
        partly = without_faults(Specimen, table)
        if partly is not None:
            found += _reference(path, partly)
            found += _shared_nu(path, partly, specimens)
        specimen = valid(Specimen, table)
        if common is None or specimen is None:
            continue
        found += _rules(document, name, merged(common, specimen), used.get(name, []))
    return found


def _records_of(document: Document) -> dict[Any, list[tuple[int, Document]]]:
    """The tables of records of each specimen, with their numbers."""
    out: dict[Any, list[tuple[int, Document]]] = {}
    for i, table in enumerate(table_list(document, "records")):
        name = table.get("specimen")
        if isinstance(name, str):
            out.setdefault(name, []).append((i, table))
    return out


def _reference(path: Path, specimen: Specimen) -> list[Problem]:
    if specimen.reference is None or packaged(specimen.reference):
        return []
    what, allowed = unknown(specimen.reference, "a packaged reference material", materials.names())
    return [Problem((*path, "reference"), what, allowed)]


def _shared_nu(path: Path, specimen: Specimen, specimens: Document) -> list[Problem]:
    """``nu_of`` names another specimen that has a Poisson's ratio of its own, and stands alone."""
    other = specimen.nu_of
    if other is None:
        return []
    here: Path = (*path, "nu_of")
    table = specimens.get(other)
    if not isinstance(table, dict) or other == path[-1]:
        rest = {k: v for k, v in specimens.items() if k != path[-1]}
        return [Problem(here, *unknown(other, "another specimen of this study", rest))]
    if "nu_of" in table:
        return [Problem(here, f"“{other}” takes its own from a third.", "Name that one instead.")]
    return []


def _rules(
    document: Document, specimen: str, choices: Choices, records: list[tuple[int, Document]]
) -> list[Problem]:
    """An area function holds only under the beta and epsilon under which it was found."""
    found = []
    tips = tables(document, "tips")
    for i, table in records:
        name = table.get("tip", next(iter(tips), None) if len(tips) == 1 else None)
        keys = valid(TipKeys, tips.get(name)) if isinstance(name, str) else None
        rule = keys.area.found_with if keys is not None and keys.area is not None else None
        if rule is None:
            continue
        for key, then, now in rule_clashes(rule, choices.analysis):
            found.append(
                Problem(
                    ("tips", str(name), "area", "found_with", key),
                    f"the tip was found with {key} = {show(then)}, and specimen "
                    f"“{specimen}” (records {i + 1}) is analysed with {show(now)}.",
                    "Use the same rule in [analysis], calibrate the tip again, or (for another "
                    "beta or radial correction) set analysis.recalibrate_tip = true.",
                )
            )
    return found


def rule_clashes(rule: FoundWith, analysis: Analysis) -> list[tuple[str, Any, Any]]:
    """Keys in which the rule of an area function and an analysis differ: (key, then, now)."""
    keys = ("epsilon", "beta", "radial_correction")
    pairs = [
        (key, getattr(rule, key), getattr(analysis, key))
        for key in (keys[:1] if analysis.recalibrate_tip else keys)
    ]
    return [(key, then, now) for key, then, now in pairs if then is not None and then != now]

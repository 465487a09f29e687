"""Specimens and the choices of the reduction: what must fit together."""

from __future__ import annotations

from typing import Any

from drypoint import materials
from drypoint.errors import DrypointError
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
    found = [] if common is None else _declared((), common)
    indented = {t.get("specimen") for t in table_list(document, "records")}
    scratched = {t.get("specimen") for t in table_list(document, "tracks")}
    for name, table in specimens.items():
        path: Path = ("specimens", name)
        partly = without_faults(Specimen, table)
        if partly is not None:
            found += _poisson(path, partly, table, needed=name in indented or name not in scratched)
            found += _shared_nu(path, partly, specimens)
        specimen = valid(Specimen, table)
        if common is None or specimen is None:
            continue
        choices = merged(common, specimen)
        if specimen.corrections is not None:
            found += _declared(path, choices)
        found += _rules(document, name, choices)
    return found


def _declared(path: Path, choices: Choices) -> list[Problem]:
    """A method “declared” needs its value; a value without that method would do nothing."""
    found = []
    zero, drift = choices.corrections.zero, choices.corrections.drift
    for section, room, key in ((zero, "zero", "depth_nm"), (drift, "drift", "rate_nm_per_s")):
        declared, given = section.method == "declared", key in section.model_fields_set
        here = (*path, "corrections", room, key)
        if declared and not given:
            found.append(
                Problem(here, "the key is missing.", "The method “declared” needs its value.")
            )
        if given and not declared and getattr(section, key) != 0:
            found.append(
                Problem(
                    here,
                    f"it does nothing with the method {show(section.method)}.",
                    "Use method = “declared”, or leave it out.",
                )
            )
    return found


def _poisson(path: Path, specimen: Specimen, table: Document, *, needed: bool) -> list[Problem]:
    found = []
    if specimen.reference is not None:
        try:
            materials.load(specimen.reference)
        except DrypointError:
            what, allowed = unknown(
                specimen.reference, "a packaged reference material", materials.names()
            )
            found.append(Problem((*path, "reference"), what, allowed))
    elif needed and "nu" not in table and specimen.nu_of is None:
        found.append(
            Problem(
                (*path, "nu"),
                "the key is missing.",
                "The modulus needs Poisson's ratio: give nu and u_nu, or name a packaged "
                "reference material.",
            )
        )
    if specimen.u_thickness_nm is not None and "thickness_nm" not in table:
        found.append(
            Problem(
                (*path, "u_thickness_nm"),
                "an uncertainty without a thickness is given.",
                "Give thickness_nm too.",
            )
        )
    if "nu" not in table and specimen.u_nu is not None:
        found.append(
            Problem((*path, "u_nu"), "an uncertainty without nu is given.", "Give nu too.")
        )
    return found


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
    if specimen.nu is not None or specimen.u_nu is not None or specimen.reference is not None:
        return [
            Problem(
                here,
                "nu, u_nu or reference is given beside it.",
                "Leave one of the two ways out.",
            )
        ]
    return []


def _rules(document: Document, specimen: str, choices: Choices) -> list[Problem]:
    """An area function holds only under the beta and epsilon under which it was found."""
    found = []
    tips = tables(document, "tips")
    for i, table in enumerate(table_list(document, "records")):
        if table.get("specimen") != specimen:
            continue
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

"""The study file as a whole, and its JSON Schema for editors."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from drypoint.recipe.base import Section, key, sections
from drypoint.recipe.calibrating import BenchKeys, CalibrationKeys, CertificateKeys
from drypoint.recipe.context import NOTHING_ELSE, TESTED, TIP_LEFT_OPEN
from drypoint.recipe.editions import CURRENT, FIRST
from drypoint.recipe.equipment import FrameKeys, TipKeys
from drypoint.recipe.knobs import Choices, Drift, Zero
from drypoint.recipe.questions import Comparison, SeriesKeys, UncertaintyKeys
from drypoint.recipe.rules import Has, Is, Needed, OneOf, Only
from drypoint.recipe.scratching import ScratchKeys, Tracks
from drypoint.recipe.sections import (
    About,
    MeasuredArea,
    Output,
    Records,
    Specimen,
    TestsTable,
)
from drypoint.recipe.stressing import StressKeys
from drypoint.recipe.toml_text import dumps
from drypoint.records.layout import ROLES

#: Version of the study file that is written.
VERSION = 1

#: (table, former key) -> key. The former one is still read (:mod:`drypoint.recipe.upgrade`).
RENAMED: dict[tuple[str, str], str] = {("output", "excel"): "xlsx"}


class StudyFile(Choices):
    """A study file, version 1."""

    younger: ClassVar = ("rules",)

    drypoint: Literal[1] = key("Version of the study file.")
    rules: Annotated[int, Field(ge=FIRST, le=CURRENT)] = key(
        "Edition of the rules: which defaults and methods hold where this file is silent "
        "(docs/explanation/editions.md). Without it the first edition, as ever.",
        1,
        source="our own: what a file meant when it was written, it means for good",
    )
    study: About = key("What the study is.")
    records: Annotated[tuple[Records, ...], Field(min_length=1)] = key(
        "Raw files of indentation tests; one such table for each way in which files are read.", ()
    )
    tracks: tuple[Tracks, ...] = key("Raw files of scratch tracks, likewise.", ())
    tests_table: TestsTable | None = key(
        "A table of places, specimens and other words of the tests.", None
    )
    specimens: Annotated[dict[str, Specimen], Field(min_length=1)] = key("Specimens by name.", dict)
    tips: dict[str, TipKeys] = key("Tips by name.", dict)
    frame: FrameKeys | None = key("The frame, where there is one.", None)
    frames: dict[str, FrameKeys] = key("Frames by name, where there are several.", dict)
    benches: dict[str, BenchKeys] = key(
        "Benches by name: a tip and a frame from a calibration.", dict
    )
    certificates: tuple[CertificateKeys, ...] = key("Certified values of tips and frames.", ())
    calibration: CalibrationKeys | None = key("The calibration that this study makes.", None)
    measured_areas: tuple[MeasuredArea, ...] = key("Areas measured on impressions.", ())
    series: SeriesKeys = key("How tests are gathered.", SeriesKeys)
    comparisons: tuple[Comparison, ...] = key("Comparisons of specimens.", ())
    uncertainty: UncertaintyKeys = key("How uncertainties are propagated.", UncertaintyKeys)
    stress: dict[str, StressKeys] = key("Stress under the tip, runs by name.", dict)
    scratch: ScratchKeys = key("Scratch tracks.", ScratchKeys)
    output: Output = key("What is written, and where.", Output)

    key_rules: ClassVar = (
        Needed(
            ("records",),
            NOTHING_ELSE,
            "Give [[records]] for indentation tests, [[tracks]] for scratch tracks, or "
            "[stress.NAME] for a stress run without tests.",
        ),
        Needed(("specimens",), TESTED, "Add a table [specimens.NAME]."),
        Needed(
            ("tips",),
            TIP_LEFT_OPEN,
            "Add a table [tips.NAME], or [benches.NAME] with a calibration file.",
            "the study has neither a tip nor a bench.",
        ),
        OneOf(("frame", "frames"), "Give [frame], or [frames] by name."),
        Only(
            ("scratch",),
            Has("tracks"),
            "Name their files under [[tracks]], or leave [scratch] out.",
            "the study has no scratch tracks.",
        ),
    )


def to_toml(study: StudyFile) -> str:
    """A study file as TOML that reads back as the same study. Keys never set are left out."""
    return dumps(study.model_dump(mode="python", exclude_unset=True))


def _conditions(model: type[Section]) -> list[dict[str, Any]]:
    """The rules of a section that a JSON Schema of this section alone can state."""
    found: list[dict[str, Any]] = []
    for rule in model.key_rules:
        if isinstance(rule, OneOf) and rule.needed:
            found.append({"oneOf": [{"required": [k]} for k in rule.keys]})
        if isinstance(rule, Needed) and isinstance(rule.when, Is) and "." not in rule.when.key:
            when = {"properties": {rule.when.key: {"enum": list(rule.when.values)}}}
            given = {**when, "required": [rule.when.key]}
            found.append({"if": given, "then": {"required": list(rule.keys)}})
    return found


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the study file, for editors that check TOML."""
    schema = StudyFile.model_json_schema(mode="validation")
    for _, model in sections(StudyFile):
        conditions = _conditions(model)
        # A specimen's choices may take what they need from those of the study.
        if conditions and model not in (Zero, Drift):
            schema["$defs"][model.__name__]["allOf"] = conditions
    for (table, old), new in RENAMED.items():
        name = str(schema["properties"][table]["$ref"]).rpartition("/")[2]
        keys = schema["$defs"][name]["properties"]
        keys[old] = {**keys[new], "deprecated": True, "description": f"Now called {new}."}
    for table in ("Records", "Tracks"):
        columns = schema["$defs"][table]["properties"]["columns"]
        columns["propertyNames"] = {"enum": list(ROLES)}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "anyOf": [
            {"required": ["records", "specimens"]},
            {"required": ["tracks", "specimens"]},
            {"required": ["stress"]},
        ],
        "title": f"Drypoint study file, version {VERSION}",
    }


def schema_text() -> str:
    """The JSON Schema as text that does not depend on the machine."""
    return json.dumps(json_schema(), indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def write_schema(folder: Path) -> Path:
    """Write the JSON Schema into a folder, and return its path."""
    path = folder / f"drypoint-study-{VERSION}.schema.json"
    path.write_text(schema_text(), encoding="utf-8", newline="\n")
    return path

"""The study file as a whole, and its JSON Schema for editors."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from drypoint.recipe.base import key
from drypoint.recipe.calibrating import BenchKeys, CalibrationKeys, CertificateKeys
from drypoint.recipe.equipment import FrameKeys, TipKeys
from drypoint.recipe.knobs import Choices
from drypoint.recipe.questions import Comparison, SeriesKeys, UncertaintyKeys
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


class StudyFile(Choices):
    """A study file, version 1."""

    drypoint: Literal[1] = key("Version of the study file.")
    study: About = key("What the study is.")
    records: Annotated[tuple[Records, ...], Field(min_length=1)] = key(
        "Raw files of indentation tests; one such table for each way in which files are read.", ()
    )
    tracks: tuple[Tracks, ...] = key("Raw files of scratch tracks, likewise.", ())
    tests_table: TestsTable | None = key(
        "A table of places, specimens and other words of the tests.", None
    )
    specimens: Annotated[dict[str, Specimen], Field(min_length=1)] = key(
        "Specimens by name; needed with records or tracks.", dict
    )
    tips: dict[str, TipKeys] = key("Tips by name; a tip or a bench is needed.", dict)
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


def to_toml(study: StudyFile) -> str:
    """A study file as TOML that reads back as the same study. Keys never set are left out."""
    return dumps(study.model_dump(mode="python", exclude_unset=True))


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the study file, for editors that check TOML."""
    schema = StudyFile.model_json_schema(mode="validation")
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

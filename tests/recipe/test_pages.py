"""What is made from the schema is up to date; versions are upgraded step by step."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from drypoint.recipe import VERSION, json_schema, schema_text
from drypoint.recipe.reference import reference_page
from drypoint.recipe.starting import starting_recipe
from drypoint.recipe.upgrade import upgrade

DOCS = Path(__file__).resolve().parents[2] / "docs" / "reference"
REMEDY = "run: python -m drypoint.recipe"


def test_reference_page_is_up_to_date() -> None:
    """The page in the docs."""
    assert (DOCS / "recipe.md").read_text(encoding="utf-8") == reference_page(), REMEDY


def test_reference_page_does_not_depend_on_the_python() -> None:
    """Python 3.13 strips the indentation of docstrings, older ones keep it."""
    assert [line for line in reference_page().splitlines() if line.startswith(" ")] == []


def test_schema_is_up_to_date() -> None:
    """The JSON Schema in the docs."""
    path = DOCS / "schema" / "drypoint-study-1.schema.json"
    assert path.read_text(encoding="utf-8") == schema_text(), REMEDY


def test_reference_page_has_every_key() -> None:
    """Every key of every table, with its meaning."""
    page = reference_page()
    for name, body in json_schema()["$defs"].items():
        for key, entry in body.get("properties", {}).items():
            shown = f"Formerly `{key}`" if entry.get("deprecated") else f"| `{key}` |"
            assert shown in page, f"{name}.{key}"
            assert entry.get("description") or "$ref" in entry, f"{name}.{key}"


def plain(document: dict[str, Any]) -> Any:
    """A document as JSON has it."""
    return json.loads(json.dumps(document, default=str))


def test_schema_takes_the_sample_and_a_new_study(versions: Path) -> None:
    """By the jsonschema library."""
    validator = jsonschema.Draft202012Validator(json_schema())
    jsonschema.Draft202012Validator.check_schema(json_schema())
    sample = (versions / "v1.toml").read_text(encoding="utf-8")
    for text in (sample, starting_recipe("x")):
        validator.validate(plain(tomllib.loads(text)))


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("study", "nme"), "x"),
        (("analysis", "epsilon"), "m"),
        (("analysis", "window"), [0.1]),
        (("specimens", "film", "nu"), 0.5),
        (("records",), []),
        (("drypoint",), 2),
    ],
)
def test_schema_refuses(versions: Path, where: tuple[str, ...], value: Any) -> None:
    """What the program refuses by its schema, editors refuse too."""
    document = plain(tomllib.loads((versions / "v1.toml").read_text(encoding="utf-8")))
    place = document
    for part in where[:-1]:
        place = place[part]
    place[where[-1]] = value
    validator = jsonschema.Draft202012Validator(json_schema())
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(document)


def test_every_version_has_a_sample(versions: Path) -> None:
    """A sample of every version that was ever written."""
    numbers = [int(p.stem[1:]) for p in sorted(versions.glob("v*.toml"))]
    assert numbers == list(range(1, VERSION + 1))


def test_upgrade_step_by_step() -> None:
    """A file of version 1 goes through each step to the newest."""
    steps = {
        1: lambda d: {**d, "second": True},
        2: lambda d: {k: v for k, v in d.items() if k != "old"},
    }
    document, notes, problem = upgrade({"drypoint": 1, "old": 0}, newest=3, steps=steps)
    assert problem is None
    assert document == {"drypoint": 3, "second": True}
    assert notes == (
        "The study file was upgraded from version 1 to 2.",
        "The study file was upgraded from version 2 to 3.",
    )
    assert upgrade({"drypoint": 3}, newest=3, steps=steps)[:2] == ({"drypoint": 3}, ())
    for given in (0, True, "1", 4):
        assert upgrade({"drypoint": given}, newest=3, steps=steps)[2] is not None

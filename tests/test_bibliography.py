"""Every key cited in the sources and in the material files stands in the one bibliography."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
BIBLIOGRAPHY = ROOT / "docs" / "reference" / "bibliography.toml"
CITED = re.compile(r"(?<![\w\])])\[([a-z][a-z0-9-]*(?:18|19|20)\d\d[a-z]?)\]")
SOURCES = sorted((ROOT / "src" / "drypoint").rglob("*.py"))
MATERIALS = sorted((ROOT / "src" / "drypoint" / "materials" / "data").glob("*.toml"))


@pytest.fixture(scope="module")
def bibliography() -> dict[str, str]:
    entries = tomllib.loads(BIBLIOGRAPHY.read_text(encoding="utf-8"))
    assert all(isinstance(v, str) and len(v) > 20 for v in entries.values())
    return entries


def test_keys_cited_in_sources_exist(bibliography: dict[str, str]) -> None:
    missing = {
        f"{path.relative_to(ROOT).as_posix()}: {key}"
        for path in SOURCES
        for key in CITED.findall(path.read_text(encoding="utf-8"))
        if key not in bibliography
    }
    assert not missing, f"cited but not in {BIBLIOGRAPHY.name}: {sorted(missing)}"


@pytest.mark.parametrize("path", MATERIALS, ids=lambda p: p.name)
def test_keys_cited_in_materials_exist(path: Path, bibliography: dict[str, str]) -> None:
    keys = tomllib.loads(path.read_text(encoding="utf-8"))["keys"]
    assert keys and set(keys) <= set(bibliography)


def test_citations_are_found_at_all() -> None:
    text = (ROOT / "src" / "drypoint" / "contact" / "unloading.py").read_text(encoding="utf-8")
    assert {"oliver1992", "pharr2002", "iso14577-1-2015"} <= set(CITED.findall(text))
    assert not CITED.findall("values[key2015] and table[0]")

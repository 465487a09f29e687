"""House rules that no linter holds: pure rooms, short files, a docstring on what is public."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import drypoint

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "src" / "drypoint"
SOURCES = sorted(PACKAGE.rglob("*.py"))
MAX_LINES = 600

PURE_ROOMS = {"contact", "tips", "uncertainty", "reduction", "calibration"}
PURE_ROOMS |= {"films", "phases", "scratch", "rates", "fracture", "stress"}
FILE_MODULES = frozenset({"glob", "io", "os", "pathlib", "shutil", "tempfile"})
# Calls that touch files, by the library whose name they are reached through.
FILE_CALLS = {
    "polars": re.compile(r"(read|scan)_\w+"),
    "numpy": re.compile(r"load(txt)?|genfromtxt|fromfile|save\w*|memmap"),
}

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def file_access(tree: ast.Module) -> Iterator[str]:
    """Each way in which the module reaches for a file."""
    libraries: dict[str, str] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                top = alias.name.partition(".")[0]
                libraries[alias.asname or top] = top
                if top in FILE_MODULES:
                    yield f"line {node.lineno}: import {alias.name}"
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            top = (node.module or "").partition(".")[0]
            if top in FILE_MODULES:
                yield f"line {node.lineno}: from {node.module} import ..."
            for alias in node.names:
                if top in FILE_CALLS and FILE_CALLS[top].fullmatch(alias.name):
                    yield f"line {node.lineno}: from {node.module} import {alias.name}"
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id == "open":
                yield f"line {node.lineno}: open()"
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            library = libraries.get(node.value.id, "")
            if library in FILE_CALLS and FILE_CALLS[library].fullmatch(node.attr):
                yield f"line {node.lineno}: {library}.{node.attr}"


def undocumented(tree: ast.Module) -> Iterator[str]:
    """Public functions, classes and their public methods that have no docstring."""

    def walk(body: list[ast.stmt], prefix: str) -> Iterator[str]:
        for node in body:
            if not isinstance(node, Definition) or node.name.startswith("_"):
                continue
            if not exempt(node) and ast.get_docstring(node) is None:
                yield f"line {node.lineno}: {prefix}{node.name}"
            if isinstance(node, ast.ClassDef):
                yield from walk(node.body, f"{prefix}{node.name}.")

    def exempt(node: Definition) -> bool:
        # A setter's or an overload's words stand with the getter or the implementation.
        marks = {ast.unparse(mark).rpartition(".")[2] for mark in node.decorator_list}
        return bool(marks & {"overload", "setter", "deleter"})

    yield from walk(tree.body, "")


def pure(path: Path) -> bool:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py") in PURE_ROOMS


@pytest.mark.parametrize("path", list(filter(pure, SOURCES)), ids=name_of)
def test_pure_room_touches_no_file(path: Path) -> None:
    assert list(file_access(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_source_file_is_short_and_documented(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MAX_LINES
    assert list(undocumented(ast.parse(text))) == []


@pytest.mark.parametrize(
    "source",
    [
        "import pathlib",
        "import os.path as p",
        "from pathlib import Path",
        "def f(name):\n    import os",
        "def f(name):\n    with open(name) as file: return file",
        "import polars as pl\npl.read_csv('x')",
        "import polars\nf = polars.scan_parquet",
        "from polars import read_parquet as r",
        "import numpy as np\nnp.loadtxt('x')",
    ],
)
def test_file_access_is_seen(source: str) -> None:
    assert len(list(file_access(ast.parse(source)))) == 1


def test_harmless_code_is_not_file_access() -> None:
    source = "import numpy as np\nimport polars as pl\nnp.sqrt(2)\npl.DataFrame().select('a')"
    assert list(file_access(ast.parse(source))) == []


def test_missing_docstrings_are_seen() -> None:
    source = """
def bare(): ...
def _private(): ...
class Bare:
    def method(self): ...
    def _helper(self): ...
class Worded:
    "Words."
    @property
    def value(self):
        "Words."
    @value.setter
    def value(self, new): ...
"""
    found = [line.partition(": ")[2] for line in undocumented(ast.parse(source))]
    assert found == ["bare", "Bare", "Bare.method"]


def test_one_version_everywhere() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    citation = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    assert drypoint.__version__ == project["version"]
    assert f'version: "{project["version"]}"' in citation

"""What no text of the project contains: brands, numbers of clauses, pointers to files that are not
there. And the licences of what the wheel carries."""

from __future__ import annotations

import hashlib
import re
import subprocess
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
#: Words are compared by the first 16 digits of their SHA-256, so that this file contains none.
#: Kind -> words, and the files in which they may stand.
BRANDS: dict[str, tuple[set[str], str]] = {
    "office products": (
        {"9fbf261b62c1d7c0", "f5d3dd4cbe3bbe12", "2bf7cf76a6c689d7", "750fda7b74e35f21"},
        r"(?!)",
    ),
    # The former name of a key and of an argument, both still accepted.
    "a spreadsheet": (
        {"faba1e00af8e6c89"},
        r"src/drypoint/(recipe/schema|store/tables)\.py|docs/reference/(recipe\.md|schema/.*)"
        r"|tests/(recipe/(test_study\.py|versions/v1\.toml)|store/test_files\.py)|CHANGELOG\.md",
    ),
    # Former names of a reference material, still accepted.
    "glasses": (
        {
            "d78c8544465638cd", "c24384c63653a822", "ee1942b589603f04", "161fcf00d7b6e922",
            "8ccb8fa65506c6da", "7c3cc56409a93bb7",
        },
        r"src/drypoint/materials/data/borosilicate-crown-glass\.toml",
    ),
    "processors": (
        {
            "240389f4b730bad4", "7375c774ba1fddec", "7f93529cc8438b0c", "6db7e65368c888e7",
            "96eebba49dbbf422",
        },
        r"(?!)",
    ),
    "a perfume": ({"de650d61f5bd166a"}, r"(?!)"),
    # Named only where it is installed and run.
    "the other finite-element program": (
        {"dcd175128f24c4d8", "be7b7fb9e63da798"},
        r"Makefile|scripts/.*\.sh|benchmarks/(calculix|bench_stress)\.py|tests/.*_calculix\.py"
        r"|tests/README\.md|tests/test_words\.py",
    ),
    "computing systems": (
        {
            "4dc291ad2a05eb71", "fee6fd0cc1707a18", "0e364c206974b5d9", "2552a9843c49f92b",
            "872d183b85dbc03b",
        },
        r"(?!)",
    ),
}  # fmt: skip
WORD = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]*")
#: A standard's name and, in the same sentence, a place in it; or such a place by itself.
CLAUSE = re.compile(
    r"\b(?:clause|annex|subclause)s?\s+(?:[A-Z]\b|\d)|\bcl\.\s*\d|§"
    r"|\b(?:ISO|ASTM)\s+[A-Z]?\d[\w:-]*,?\s+(?:table\s+[A-Z]|[A-Z]\.\d|\d+\.\d+(?:\.\d+)*\b(?!\s*(?:%|of)))",
    re.IGNORECASE,
)
PAGE = re.compile(r"[\w./-]*\b[\w-]+\.md\b")


def files() -> list[str]:
    """Files of the repository, or of a source archive of it."""
    if not (ROOT / ".git").exists():
        inside = (p.relative_to(ROOT) for p in ROOT.rglob("*") if p.is_file())
        return [p.as_posix() for p in inside if not any(part[0] == "." for part in p.parts)]
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return listed.stdout.splitlines()


@cache
def texts() -> dict[str, str]:
    """Every text of the repository, data tables and pictures left out."""
    found = {}
    for name in files():
        path = ROOT / name
        if (
            path.suffix in (".png", ".svg", ".csv", ".dat", ".woff2", ".xz", ".npz")
            or not path.is_file()
        ):
            continue
        if name.startswith("licenses/") or path.name == "LICENSE":
            continue  # the words of their owners
        found[name] = path.read_text(encoding="utf-8")
    return found


def words(text: str) -> Iterator[str]:
    for word in set(WORD.findall(text)):
        yield word
        yield from word.split("-") if "-" in word else ()


def digest(word: str) -> str:
    return hashlib.sha256(word.lower().encode()).hexdigest()[:16]


@pytest.mark.parametrize("kind", BRANDS)
def test_no_brand_in_any_text(kind: str) -> None:
    hashes, allowed = BRANDS[kind]
    found = {
        f"{name}: {word}"
        for name, text in texts().items()
        if not re.fullmatch(allowed, name)
        for word in words(text)
        if digest(word) in hashes
    }
    assert not found


def test_brands_are_seen() -> None:
    """Against a word that is certainly there: the comparison itself works."""
    assert any(digest(w) == digest("Drypoint") for w in words(texts()["README.md"]))
    assert "a-b" in set(words("a-b")) and "b" in set(words("a-b"))


def test_no_clause_number_in_any_text() -> None:
    """Places in standards are left to who holds the standard. The GUM and its supplements, which
    anybody can read, may be cited by place; the report leaves those out too."""
    own = {"tests/test_words.py", "src/drypoint/report/words.py", "tests/report/test_content.py"}
    found = [
        f"{name}: {match[0]}"
        for name, text in texts().items()
        if name not in own
        for match in CLAUSE.finditer(text)
    ]
    assert not found


@pytest.mark.parametrize(
    "text", ["ISO 14577-1 Annex I", "clause 7.2", "ASTM G171-03, 3.2.1", "ISO 14577-1 A.2", "§ 4"]
)
def test_clause_numbers_are_seen(text: str) -> None:
    assert CLAUSE.search(text)


@pytest.mark.parametrize("text", ["ISO 14577-1: 98 % to 20 %", "ISO 14577-4: up to 1.5 of a/t"])
def test_values_are_no_clause_numbers(text: str) -> None:
    assert not CLAUSE.search(text)


def test_no_text_points_to_a_page_that_is_not_here() -> None:
    """A source is the paper or the standard itself, or a page of this repository."""
    here = {Path(name).name for name in texts()}
    found = {
        f"{name}: {page}"
        for name, text in texts().items()
        if not name.startswith("tests/app/")
        for page in PAGE.findall(text)
        if Path(page).name not in here
    }
    assert not found


def test_the_wheel_states_the_licences_of_all_that_it_carries() -> None:
    """Each part that is fetched for the pages: its licence in the metadata, its text in licenses/
    and the same as in the fetched part."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["license"] == "BSD-3-Clause AND MIT AND OFL-1.1"
    listed = {p.name for g in project["license-files"] for p in ROOT.glob(g)}
    vendor = tomllib.loads((ROOT / "src/drypoint/app/vendor.toml").read_text(encoding="utf-8"))
    stated = set(project["license"].split(" AND "))
    carried = [p for p in vendor["package"] if p["for"] == "pages"]
    assert stated == {"BSD-3-Clause", *(p["license"] for p in carried)}
    assert len(listed) == 1 + len(carried) and "LICENSE" in listed
    about = (ROOT / "licenses" / "README.md").read_text(encoding="utf-8")
    for part in carried:
        folder = Path(part["files"]["LICENSE"]).parent.name
        kept = ROOT / "licenses" / f"{folder}-{part['license']}.txt"
        assert kept.name in listed and kept.name in about
        fetched = ROOT / "src/drypoint/app/static/vendor" / part["files"]["LICENSE"]
        assert kept.read_bytes() == fetched.read_bytes()

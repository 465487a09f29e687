"""Cautions and marks are the same words wherever they stand; people in examples are invented."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

import pytest

from drypoint.calibration import Point, tip_health
from drypoint.notices import CLEANING, DEBRIS, origin

ROOT = Path(__file__).resolve().parents[1]
#: Texts of the program and of its documentation.
TEXTS = [
    *(p for p in (ROOT / "src").rglob("*") if p.suffix in (".py", ".js", ".html", ".typ")
      and "vendor" not in p.parts),
    *(ROOT / "docs").rglob("*.md"),
    ROOT / "README.md",
]  # fmt: skip
#: A tip that is to be cleaned, in one sentence.
ASKED = re.compile(r"\b[Cc]lean(?:ing)? (?:(?:the|a|your) )?tip\b|\btip[^.|]*\. Clean\b")


def test_the_caution_says_what_it_must() -> None:
    for word in ("retract", "lock the stage", "Solvents", "ventilate", "instructions"):
        assert word in CLEANING
    for word in ("chips", "dust", "eye protection"):
        assert word in DEBRIS


@pytest.mark.parametrize("path", TEXTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_who_asks_to_clean_a_tip_gives_the_caution(path: Path) -> None:
    """The words themselves in pages, the declaration in code."""
    if path.name == "notices.py":
        return
    # Strings of code that go on in the next line are one text.
    text = re.sub(r'"\s*\n\s*f?"', "", path.read_text(encoding="utf-8"))
    text = " ".join(text.split())
    if ASKED.search(text):
        assert CLEANING in text or "CLEANING" in text


def test_the_pages_on_scratch_tracks_warn_of_chips() -> None:
    page = (ROOT / "docs" / "how-to" / "scratch-tracks.md").read_text(encoding="utf-8")
    assert DEBRIS in " ".join(page.split())


def test_a_changed_tip() -> None:
    day = date(2025, 1, 6)
    values = [1.0, 1.01, 0.99, 1.0, 1.01, 0.99, 1.0, 1.0, 1.2, 1.21, 1.19, 1.2]
    found = tip_health([Point(day + timedelta(i), v * 1e-12) for i, v in enumerate(values)])
    (changed,) = [f for f in found.findings if f.code == "tip changed"]
    assert CLEANING in str(changed)


def test_people_in_examples_are_invented() -> None:
    """`make demo` and the documentation."""
    named = re.compile(r"""(?:--who[ =]|\bwho=)(?:'([^']+)'|"([^"]+)")""")
    found = 0
    for path in (ROOT / "Makefile", *(ROOT / "docs").rglob("*.md"), *(ROOT / "scripts").iterdir()):
        if path.is_dir():
            continue
        for single, double in named.findall(path.read_text(encoding="utf-8")):
            found += 1
            assert (single or double).endswith("(invented)"), f"{path.name}: {single or double}"
    assert found > 10


def test_words_of_origin() -> None:
    assert origin(invented=False) == ""
    assert origin(invented=True) == "Invented data"
    assert origin(invented=False, computed=True) == "Computed, not measured"
    assert origin(invented=True, computed=True) == "Invented data; computed, not measured"

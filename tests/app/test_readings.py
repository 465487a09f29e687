"""Processes that read raw files for the pages: limits on memory, time and size. Invented data."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from drypoint.app.memory import from_ps, resident
from drypoint.app.readings import Readings
from hostile_folder import record_text

MB = 1_000_000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "a.csv").write_text(record_text(10.0), encoding="utf-8")
    (tmp_path / "mine" / "z.csv").write_text(record_text(12.0, 2), encoding="utf-8")
    rows = "\n".join(f"{k};{k};{k}" for k in range(6_000_000))
    text = "Time (s);Force (mN);Depth (nm)\n" + rows
    (tmp_path / "mine" / "large.csv").write_text(text, encoding="utf-8")
    return tmp_path / "mine"


def faults(readings: Readings, folder: Path) -> tuple[int, list[Any]]:
    groups = readings.read("look", folder, [], [], False)
    return sum(g["tests"] for g in groups), [f for g in groups for f in g["faults"]]


@pytest.fixture
def limits(request: pytest.FixtureRequest, folder: Path) -> Iterator[Readings]:
    made = Readings(
        folder.parent,
        **{**dict(memory=4000 * MB, seconds=60.0, file_bytes=500 * MB), **request.param},
    )
    yield made
    made.close()


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"memory": 300 * MB}, "more than 300 MB of memory"),
        ({"seconds": 1.0}, "longer than 1 s"),
        ({"file_bytes": MB}, "the pages read files of at most 1 MB"),
    ],
    indirect=["limits"],
)
def test_one_file_beyond_a_limit(limits: Readings, folder: Path, words: str) -> None:
    """It alone is refused, with the reason; the others are read, and so is what comes next."""
    tests, found = faults(limits, folder)
    assert tests == 2
    (one,) = found
    assert one["file"] == "large.csv" and words in one["reason"]
    assert "drypoint inspect" in one["remedy"]
    (folder / "large.csv").unlink()
    assert faults(limits, folder) == (2, [])


@pytest.mark.skipif(sys.platform == "win32", reason="ps of POSIX")
def test_memory_is_told_in_the_same_way() -> None:
    here = os.getpid()
    assert resident(here) == pytest.approx(from_ps(here), rel=0.2)
    assert resident(2**22 + 1) == 0

"""The versions of Python that are claimed are those that ``make test-pythons`` runs."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def bash(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", *words], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False
    )


def test_oldest_and_newest_of_the_classifiers_are_run() -> None:
    found = (re.search(r"Python :: 3\.(\d+)$", c) for c in PROJECT["classifiers"])
    minor = sorted(int(m[1]) for m in found if m)
    assert PROJECT["requires-python"] == f">=3.{minor[0]}"
    assert bash("scripts/bootstrap.sh", "pythons").stdout.split() == [
        f"3.{minor[0]}",
        f"3.{minor[-1]}",
    ]


def test_a_version_that_was_asked_for_and_is_absent_is_no_success() -> None:
    done = bash("scripts/test_pythons.sh", "3.99")
    assert done.returncode == 1
    assert "No interpreter: 3.99." in done.stdout
    assert "Before a release, run the suite with 3.99 too." in done.stdout

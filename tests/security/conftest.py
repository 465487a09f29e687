"""A small study that was run and signed, and a copy of it for each attack. Invented data."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from attacked import STUDY, drypoint


@pytest.fixture(scope="session", autouse=True)
def own_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A user's folder that belongs to these tests alone."""
    home = tmp_path_factory.mktemp("home")
    before = {k: os.environ.pop(k, None) for k in ("DRYPOINT_HOME", "DRYPOINT_SECRET")}
    os.environ["DRYPOINT_HOME"] = str(home)
    yield home
    del os.environ["DRYPOINT_HOME"]
    os.environ.update({k: v for k, v in before.items() if v is not None})


@pytest.fixture(scope="session")
def run_once(tmp_path_factory: pytest.TempPathFactory, own_home: Path) -> Path:
    """Study file of a study with three records and its results; not to be changed."""
    root = tmp_path_factory.mktemp("attacked")
    assert drypoint("demo", root / "demo", "--seed", 5).code == 0
    study = root / "study" / "study.toml"
    (study.parent / "raw").mkdir(parents=True)
    study.write_text(STUDY, encoding="utf-8")
    for n in (1, 2, 3):
        name = f"G-0{n}.txt"
        shutil.copyfile(root / "demo" / "raw" / "glass" / name, study.parent / "raw" / name)
    shutil.copyfile(root / "demo" / "raw" / "glass" / "G-04.txt", root / "G-04.txt")
    assert drypoint("run", study).code == 0
    return study


@pytest.fixture(scope="session")
def signed_once(run_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, signed; not to be changed."""
    root = tmp_path_factory.mktemp("signed")
    shutil.copytree(run_once.parent, root / "study")
    study = root / "study" / "study.toml"
    assert drypoint("report", study).code == 0
    said = drypoint("sign", study, "--who", "A. Example (invented)", "--no-ledger")
    assert said.code == 0, said.text
    return study


@pytest.fixture
def study(run_once: Path, tmp_path: Path) -> Path:
    """A copy of the study with results and cache, not signed."""
    shutil.copytree(run_once.parent, tmp_path / "study")
    return tmp_path / "study" / "study.toml"


@pytest.fixture
def signed(signed_once: Path, tmp_path: Path) -> Path:
    """A copy of the signed study."""
    shutil.copytree(signed_once.parent, tmp_path / "signed")
    return tmp_path / "signed" / "study.toml"


@pytest.fixture
def another_record(run_once: Path) -> Path:
    """A record that is no part of the study."""
    return run_once.parents[1] / "G-04.txt"

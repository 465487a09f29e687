"""One demo study, made and run once for all tests of this folder. Its data are invented."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from calibrated_demo import calibrated_demo, declare_tip
from drypoint.run import StudyResult, run_study


@pytest.fixture(scope="session")
def demo_study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Study file of a demo that was run once; not to be changed by a test."""
    study = calibrated_demo(tmp_path_factory.mktemp("demo") / "study", seed=11)
    run_study(study)
    return study


@pytest.fixture(scope="session")
def demo_result(demo_study: Path) -> StudyResult:
    """Its result."""
    return run_study(demo_study, write=False)


@pytest.fixture
def own_demo(demo_study: Path, tmp_path: Path) -> Path:
    """A copy of the demo that a test may change (its cache comes with it)."""
    shutil.copytree(demo_study.parent, tmp_path / "study")
    return tmp_path / "study" / "study.toml"


@pytest.fixture
def declared_demo(own_demo: Path) -> Path:
    """A demo whose study states tip and frame itself."""
    return declare_tip(own_demo)

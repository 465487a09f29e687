"""A way to call the command as a user does, and one demo study for all."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from said import Cli, Said

from drypoint.cli import main


@pytest.fixture
def cli(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Cli:
    """``cli("run", path)``: the command in this process, as its entry point runs it."""

    def call(*words: object) -> Said:
        monkeypatch.setattr(sys, "argv", ["drypoint", *map(str, words)])
        capsys.readouterr()
        code = 0
        try:
            main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return Said(code, said.out, said.err)

    return call


@pytest.fixture
def process() -> Cli:
    """The command in a process of its own."""

    def call(*words: object, **variables: str) -> Said:
        done = subprocess.run(
            [sys.executable, "-c", "from drypoint.cli import main; main()", *map(str, words)],
            capture_output=True,
            env={**os.environ, **variables},
            timeout=300,
            check=False,
        )
        text = [b.decode("utf-8", "replace") for b in (done.stdout, done.stderr)]
        return Said(done.returncode, *text)

    return call


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No layout that somebody saved has a say here."""
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Study file of a small demo, made by the command and run once. Its data are invented."""
    from calibrated_demo import calibrated_demo
    from drypoint.run import run_study

    study = calibrated_demo(tmp_path_factory.mktemp("cli") / "demo", seed=3)
    shutil.rmtree(study.parent / "raw" / "film")
    for path in sorted((study.parent / "raw" / "steel").glob("*.txt"))[1:]:
        path.unlink()
    text = study.read_text(encoding="utf-8")
    head, rest = text.split('[[records]]\nfiles = ["raw/film', 1)
    study.write_text(head + "[[records]]" + rest.split("[[records]]", 1)[1], encoding="utf-8")
    run_study(study)
    return study


@pytest.fixture
def own(demo: Path, tmp_path: Path) -> Path:
    """A copy that a test may change (what was computed comes with it)."""
    shutil.copytree(demo.parent, tmp_path / "demo")
    return tmp_path / "demo" / "study.toml"

"""One demo, calibrated and run once a session, copied for each test that changes it. Invented data.

The browser tests share one server over one copy of it; requests that would leave the machine fail
the test.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_demo import BASE, ORIGIN, PORT, Running, Served
from starlette.testclient import TestClient

from calibrated_demo import calibrated_demo
from drypoint.app import Settings, create_app
from drypoint.app.create import missing_parts
from drypoint.run import run_study


@pytest.fixture(scope="session")
def run_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the demo in ``demo``, run; not to be changed."""
    root = tmp_path_factory.mktemp("workbench")
    study = calibrated_demo(root / "demo", 7)
    text = study.read_text(encoding="utf-8").replace("trials = 20000", "trials = 400")
    study.write_text(text, encoding="utf-8")
    run_study(study)
    run_study(root / "demo" / "scratch" / "scratch.toml")
    return root


@pytest.fixture
def root(run_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the demo's folder that a test may change."""
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("DRYPOINT_LEDGER", str(tmp_path / "ledger.sqlite"))
    place = tmp_path / "studies"
    shutil.copytree(run_demo, place)
    return place


@pytest.fixture
def settings(root: Path) -> Settings:
    return Settings(root, port=PORT)


@pytest.fixture
def client(settings: Settings) -> Iterator[TestClient]:
    """A browser that has come in, without the browser."""
    app = create_app(settings)
    with TestClient(app, base_url=BASE, headers=ORIGIN, raise_server_exceptions=False) as client:
        assert client.get(f"/open?token={settings.token}").status_code == 200
        yield client


@pytest.fixture(scope="session")
def served(run_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo, served; tests that change it leave it as they found it."""
    fault = missing_parts()
    assert fault is None, fault
    place = tmp_path_factory.mktemp("served")
    root = place / "studies"
    shutil.copytree(run_demo, root)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DRYPOINT_LEDGER", str(place / "ledger.sqlite"))
        running = Running(root)
        yield running.served
        running.stop()

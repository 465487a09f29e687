"""Fixtures and settings of all tests: data, the limit on skipped tests, settings of the libraries.

A skipped test is not a passed one. After the run the skips are counted, whatever their reason,
and the run fails when there are more than ``max_skips`` (ini option, or ``--max-skips``). If
neither is given, no test may be skipped for which there is no reason here: the only reason is
that it asks for the fixture ``shared_data`` and the shared data are absent.
"""

from __future__ import annotations

import importlib.util
import inspect
import os
import re
from pathlib import Path
from typing import Any

os.environ.setdefault("MPLBACKEND", "Agg")
os.environ.setdefault(
    "NUMBA_CACHE_DIR", str(Path(__file__).resolve().parents[1] / ".cache" / "numba")
)

#: One secret for all tests, so that what one has kept serves another whose user's folder is its
#: own. The tests of tests/security do without it.
os.environ.setdefault(
    "DRYPOINT_SECRET", str(Path(__file__).resolve().parents[1] / ".cache" / "test-secret")
)

import pytest
from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None, max_examples=50)
settings.register_profile("thorough", deadline=None, max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))

USES_SHARED = "uses_shared_data"
SKIPS = re.compile(r"\b(skip|skipTest)\(")


def shared_folder(config: pytest.Config) -> Path:
    """Folder of the data that may not be redistributed: beside the repository."""
    return config.rootpath.parent / "shared" / "data"


@pytest.fixture(scope="session")
def shared_data(pytestconfig: pytest.Config) -> Path:
    """Folder of the data that may not be redistributed; the test is skipped if it is absent."""
    folder = shared_folder(pytestconfig)
    if not folder.is_dir():
        pytest.skip(f"shared data absent: no folder ../{folder.parent.name}/{folder.name}")
    return folder


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder of the data that are part of the repository; tests/data/README.md has the sources."""
    return Path(__file__).resolve().parent / "data"


def pytest_addoption(parser: pytest.Parser) -> None:
    text = "fail the run when more tests than this are skipped"
    parser.addini("max_skips", text, default="")
    parser.addoption("--max-skips", type=int, default=None, help=text)
    parser.addoption(
        "--depends-on-place",
        action="store_true",
        help="collect everything, run only tests that read data or may be skipped",
    )


def pytest_configure(config: pytest.Config) -> None:
    # One of several processes; a copy of this file elsewhere is alone.
    if hasattr(config, "workerinput") and importlib.util.find_spec("compile_once") is not None:
        import compile_once

        compile_once.install(Path(os.environ["NUMBA_CACHE_DIR"]) / "turns")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    # Part of every report of the test, also from an xdist worker to the controller.
    for item in items:
        if "shared_data" in getattr(item, "fixturenames", ()):
            item.user_properties.append((USES_SHARED, True))
    if config.getoption("--depends-on-place"):
        others = [item for item in items if not depends_on_place(item)]
        config.hook.pytest_deselected(items=others)
        items[:] = [item for item in items if depends_on_place(item)]


def depends_on_place(item: pytest.Item) -> bool:
    """Whether the test reads data, or can be skipped, by a mark or by its own code."""
    if {"shared_data", "open_data"} & set(getattr(item, "fixturenames", ())):
        return True
    if any(mark.name in ("skip", "skipif") for mark in item.iter_markers()):
        return True
    function = getattr(item, "function", None)
    return function is not None and SKIPS.search(inspect.getsource(function)) is not None


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    config = session.config
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    if hasattr(config, "workerinput") or reporter is None:
        return  # only the controller sees all reports
    skipped = {report.nodeid for report in reporter.stats.get("skipped", [])}
    limit, origin = _max_skips(config, reporter)
    if len(skipped) <= limit:
        return
    config.stash[_EXCESS] = f"{len(skipped)} skipped, more than the {limit} allowed ({origin})"
    if session.exitstatus in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    excess = config.stash.get(_EXCESS, None)
    if excess is not None:
        terminalreporter.section("too many skips", red=True)
        for report in terminalreporter.stats.get("skipped", []):
            reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
            terminalreporter.line(f"{report.nodeid}: {reason}")
        terminalreporter.line(excess, red=True)


_EXCESS = pytest.StashKey[str]()


def _max_skips(config: pytest.Config, reporter: Any) -> tuple[int, str]:
    option = config.getoption("--max-skips")
    if option is not None:
        return option, "--max-skips"
    ini = str(config.getini("max_skips")).strip()
    if ini:
        return int(ini), "max_skips in the configuration"
    if shared_folder(config).is_dir():
        return 0, "the shared data are there"
    # Skipped, and allowed to be: a user that runs all the same excuses no other test.
    users = {
        report.nodeid
        for report in reporter.stats.get("skipped", [])
        if (USES_SHARED, True) in map(tuple, getattr(report, "user_properties", ()))
    }
    return len(users), "skipped tests that ask for the shared data, which are absent"

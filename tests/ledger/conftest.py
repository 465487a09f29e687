"""Ledgers to test: in a file, and on a PostgreSQL server that is started here."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from own_postgres import Server, running_server

from drypoint.ledger import Ledger


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """One server for all tests of a process."""
    with running_server() as server:
        yield server


@pytest.fixture
def memory(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory, where there is one: a killed process does not need a disk to be slow."""
    if not os.access("/dev/shm", os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(prefix="drypoint-", dir="/dev/shm") as folder:
        yield Path(folder)


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, memory: Path) -> Iterator[str]:
    """A place without a ledger, on each kind of database."""
    if request.param == "sqlite":
        yield str(memory / "lab" / "ledger.sqlite")
    else:
        yield str(request.getfixturevalue("server").new())


@pytest.fixture
def ledger(where: str) -> Ledger:
    """An empty ledger on each kind of database."""
    return Ledger.open(where)


@pytest.fixture
def in_file(memory: Path) -> Ledger:
    """An empty ledger in a file."""
    return Ledger.open(memory / "ledger.sqlite")


@pytest.fixture
def raw() -> Callable[..., Any]:
    """Run statements behind a ledger's back; the guards of the database are taken away first."""

    def run(ledger: Ledger, *statements: str) -> None:
        from sqlalchemy import create_engine

        path = ledger.place.path
        engine = create_engine(f"sqlite:///{path}" if path else ledger.place.url)
        with engine.begin() as connection:
            for table in ("drypoint_entries", "drypoint_links"):
                if path:
                    connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {table}_no_update")
                    connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {table}_no_delete")
                else:
                    connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {table}_kept ON {table}")
            for statement in statements:
                connection.exec_driver_sql(statement)
        engine.dispose()

    return run

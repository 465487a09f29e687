"""A PostgreSQL server that the tests start and stop themselves."""

from __future__ import annotations

import contextlib
import itertools
import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
import pytest

PASSWORD = "s3cret/of@the:lab?"


@dataclass
class Server:
    """A PostgreSQL server of its own: on a socket without, and on a port with a password.

    It refuses to run as root, so that root starts it as another user.
    """

    folder: Path
    port: int
    programs: Path
    user: dict[str, Any]
    process: subprocess.Popen[bytes] | None = None
    _numbers: Iterator[int] = field(default_factory=itertools.count)

    def call(self, *command: str) -> None:
        done = subprocess.run(
            [self.programs / command[0], *command[1:]],
            capture_output=True, text=True, cwd=self.folder, **self.user,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr

    def begin(self) -> None:
        self.call(
            "initdb", "-D", str(self.folder / "data"), "-U", "lab", "-E", "UTF8", "--no-locale",
            "--no-sync", "--auth-local=trust", "--auth-host=scram-sha-256",
            f"--pwfile={self.folder / 'password'}",
        )  # fmt: skip
        self.start()

    def start(self) -> None:
        settings = {
            "unix_socket_directories": self.folder, "listen_addresses": "127.0.0.1",
            "port": self.port, "fsync": "off", "shared_buffers": "16MB", "max_connections": 30,
        }  # fmt: skip
        options = [word for k, v in settings.items() for word in ("-c", f"{k}={v}")]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [self.programs / "postgres", "-D", self.folder / "data", *options],
                stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=self.folder, **self.user,
            )  # fmt: skip
        ready = f"host={self.folder} port={self.port} user=lab dbname=postgres"
        until = time.monotonic() + 180
        while subprocess.run(
            [self.programs / "pg_isready", "-q", "-d", ready], capture_output=True
        ).returncode:
            assert time.monotonic() < until and self.process.poll() is None, self.log()
            time.sleep(0.05)

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """SIGINT ends it in order, SIGQUIT at once, as when the power fails."""
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(60)
            self.process = None

    def log(self) -> str:
        return (self.folder / "log").read_text(encoding="utf-8", errors="replace")

    def url(self, **query: str) -> str:
        """The URL of the server's database, by its socket."""
        more = "".join(f"&{k}={v}" for k, v in query.items())
        return f"postgresql://lab@/postgres?host={self.folder}&port={self.port}{more}"

    def new(self) -> str:
        """The URL of a new corner of the database (a schema: sooner made than a database)."""
        name = f"lab{next(self._numbers)}"
        self.run(f"CREATE SCHEMA {name}")
        return self.url(options=f"-csearch_path={name}")

    def run(self, statement: str) -> None:
        with psycopg.connect(self.url(), autocommit=True) as connection:
            connection.execute(statement)


def _programs() -> Path:
    """The newest server's programs: Debian keeps them away from the PATH."""
    on_path = shutil.which("initdb")
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    if found or on_path:
        return found[-1].parent if found else Path(str(on_path)).parent
    pytest.fail("These tests start a PostgreSQL server, and there is none: install postgresql.")


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


@contextlib.contextmanager
def running_server() -> Iterator[Server]:
    """A new server, with all of it in a folder that is removed at the end."""
    programs = _programs()
    # Short, because the path of a socket may not be long; and open to the server's user.
    folder = Path(tempfile.mkdtemp(prefix="drypoint-", dir="/tmp"))
    user: dict[str, Any] = {}
    if os.getuid() == 0:
        names = [n for n in ("postgres", "nobody") if _exists(n)]
        who = pwd.getpwnam(names[0])
        user = {"user": who.pw_uid, "group": who.pw_gid, "extra_groups": []}
        os.chown(folder, who.pw_uid, who.pw_gid)
    (folder / "password").write_text(PASSWORD, encoding="utf-8")
    (folder / "password").chmod(0o644)
    server = Server(folder, _free_port(), programs, user)
    try:
        server.begin()
        yield server
    finally:
        server.stop(signal.SIGQUIT)
        shutil.rmtree(folder, ignore_errors=True)


def _exists(user: str) -> bool:
    with contextlib.suppress(KeyError):
        return pwd.getpwnam(user) is not None
    return False

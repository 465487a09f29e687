"""``drypoint serve`` as a process, and requests over plain sockets. Invented data.

Only the command line, HTTP and files are used.
"""

from __future__ import annotations

import os
import re
import select
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2 as httpx

CALL = (sys.executable, "-c", "from drypoint.cli import main; main()", "serve")
PASSWORD = "correct horse battery"


@dataclass
class Workbench:
    """A running workbench and all that it printed."""

    process: subprocess.Popen[str]
    home: Path
    said: str = ""
    port: int = 0
    host: str = "127.0.0.1"
    log: Path = field(default_factory=Path)

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def way_in(self) -> str:
        """The printed opening address."""
        return re.findall(r"The workbench: (\S+)", self.said)[-1]

    @property
    def token(self) -> str:
        return self.way_in.partition("token=")[2]

    @property
    def errors(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace")

    def owner(self, source: str = "") -> httpx.Client:
        """A browser, from this address of the machine, that has not come in yet."""
        transport = httpx.HTTPTransport(local_address=source) if source else None
        return httpx.Client(
            base_url=self.base, headers={"origin": self.base}, transport=transport, timeout=30.0,
            trust_env=False,
        )  # fmt: skip

    def raw(self, data: bytes = b"", source: str = "") -> socket.socket:
        """A connection on which these bytes were sent."""
        line = socket.create_connection(
            ("127.0.0.1", self.port), timeout=60, source_address=(source, 0) if source else None
        )
        line.sendall(data)
        return line

    def says(self, data: bytes, wait_s: float = 15.0) -> bytes:
        """All that is answered to these bytes until the connection ends or is silent."""
        with self.raw() as line:
            line.settimeout(wait_s)
            out = b""
            try:
                line.sendall(data)
                while part := line.recv(65536):
                    out += part
            except (TimeoutError, ConnectionError):
                pass
            return out


@contextmanager
def serving(
    what: Path, home: Path, *options: str, browser: bool = False, **variables: str
) -> Iterator[Workbench]:
    """Start the command and wait until it answers; a traceback fails the test."""
    home.mkdir(parents=True, exist_ok=True)
    log = home / "stderr.txt"
    env = {**os.environ, "DRYPOINT_HOME": str(home), "PYTHONUNBUFFERED": "1", **variables}
    env["DRYPOINT_LEDGER"] = str(home / "ledger.sqlite")
    words = [*CALL, str(what), "--port", "0", *options, *(() if browser else ("--no-browser",))]
    with log.open("w") as errors:
        process = subprocess.Popen(
            words, env=env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=errors,
            text=True, start_new_session=True,
        )  # fmt: skip
    out = Workbench(process, home, log=log)
    try:
        assert process.stdout is not None
        while "Stop it with" not in out.said:
            line = process.stdout.readline()
            assert line, out.said + out.errors
            out.said += line
        out.port = int(re.findall(r"http://[^/]*?:(\d+)/", out.said)[0])
        assert httpx.get(out.base + "/static/app.css", trust_env=False).status_code == 200
        yield out
        assert process.poll() is None, out.errors
        assert "Traceback" not in out.errors, out.errors
    finally:
        process.terminate()
        try:
            process.communicate(timeout=90)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()


def ended(lines: list[socket.socket], within_s: float) -> float:
    """Seconds until the other side has ended all of these connections."""
    begun = time.monotonic()
    left = {line.fileno(): line for line in lines}
    while left and time.monotonic() - begun < within_s:
        readable, _, _ = select.select(list(left), [], [], 0.5)
        for number in readable:
            try:
                if not left[number].recv(65536):
                    del left[number]
            except ConnectionError:
                del left[number]
            except (BlockingIOError, TimeoutError):
                pass
    assert not left, f"{len(left)} of {len(lines)} connections are still open"
    return time.monotonic() - begun


def values(answer: Any) -> Any:
    """JSON of an answer that must have gone well."""
    assert answer.status_code == 200, answer.text
    return answer.json()

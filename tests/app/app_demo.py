"""Names that the tests of the workbench share, and a workbench on a port of this machine."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from drypoint.app import Settings, create_app

KEY = "demo:study"
API = f"/api/studies/{KEY}"
SCRATCH = "demo:scratch:scratch"
PORT = 8017
BASE = f"http://127.0.0.1:{PORT}"
ORIGIN = {"origin": BASE}


@dataclass(frozen=True)
class Served:
    """A workbench on a port of this machine."""

    base: str
    root: Path
    app: Starlette

    @property
    def way_in(self) -> str:
        """A new opening address; each opens once."""
        return f"{self.base}/open?token={self.app.state.tickets.issue()}"


class Running:
    """A server in a thread."""

    def __init__(self, root: Path, port: int = 0, secret: bytes = b"s" * 32) -> None:
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        self.port = listener.getsockname()[1]
        settings = Settings(root, port=self.port, secret=secret)
        self.app = create_app(settings, lambda: self.server.should_exit)
        config = uvicorn.Config(
            self.app, log_level="error", access_log=False, timeout_graceful_shutdown=1
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, args=([listener],), daemon=True)
        self.thread.start()
        while not self.server.started:
            time.sleep(0.02)
        base = f"http://127.0.0.1:{self.port}"
        self.served = Served(base, root, self.app)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(15)


class Command:
    """``drypoint serve`` as a process of its own over ``folder/studies``."""

    def __init__(self, folder: Path, port: int = 0) -> None:
        call = [sys.executable, "-c", "from drypoint.cli import main; main()", "serve",
                str(folder / "studies"), "--no-browser", "--port", str(port)]  # fmt: skip
        home = {"DRYPOINT_HOME": str(folder / "home"), "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            call, env={**os.environ, **home}, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, start_new_session=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        said = ""
        while "The workbench: " not in said:
            line = self.process.stdout.readline()
            assert line, said
            said += line
        self.way_in = said.rpartition("The workbench: ")[2].strip()
        self.base = self.way_in.partition("/open")[0]
        self.port = int(self.base.rpartition(":")[2])

"""``drypoint serve`` as a process of its own, and a client that has come in. HTTP only."""

from __future__ import annotations

import os
import re
import socket
import subprocess
from pathlib import Path
from typing import Any

import httpx2 as httpx
from attacked import COMMAND


class Workbench:
    """A server over a folder."""

    def __init__(self, root: Path, home: Path) -> None:
        self.root = root
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.base = f"http://127.0.0.1:{free.getsockname()[1]}"
        port = self.base.rpartition(":")[2]
        call = [*COMMAND, "serve", str(root), "--no-browser", "--port", port]
        more = {"DRYPOINT_HOME": str(home), "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            call, env={**os.environ, **more}, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            text=True, encoding="utf-8",
        )  # fmt: skip
        self.client = httpx.Client(
            base_url=self.base, headers={"origin": self.base}, timeout=120, follow_redirects=True
        )
        assert self.client.get(self._way_in()).status_code == 200

    def _way_in(self) -> str:
        """The opening address: printed, or in the file whose place is printed."""
        assert self.process.stdout is not None
        said = ""
        while line := self.process.stdout.readline():
            said += line
            if found := re.search(r"http://\S+/open\?token=[\w-]+", said):
                return found[0]
            for name in re.findall(r"(?:file://)?(/\S+\.html)", said):
                if Path(name).is_file():
                    text = Path(name).read_text(encoding="utf-8")
                    if found := re.search(r"http://[^\s\"'<>]+/open\?token=[\w-]+", text):
                        return found[0]
        raise AssertionError(said)

    def upload(self, place: str, raw: bytes) -> Any:
        return self.client.put(f"/api/files/{place}", content=raw)

    def look(self, folder: str) -> Any:
        return self.client.post("/api/look", json={"folder": folder, "preview": True})

    @property
    def alive(self) -> bool:
        """Whether the server itself answers and goes on."""
        return self.process.poll() is None and self.client.get("/api/studies").status_code == 200

    def stop(self) -> None:
        self.client.close()
        self.process.terminate()
        self.process.wait(20)

"""What pip would install somewhere, asked of its one index and without any download."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from lock_places import Place

# Settings of pip that are kept; further places for packages are not asked.
KEPT = ("index-url", "cert", "client-cert", "proxy", "trusted-host", "timeout")


def ask_pip(requirements: Iterable[str], place: Place, platforms: Sequence[str],
            *options: str) -> list[dict[str, Any]]:  # fmt: skip
    """What pip would install (its report, version 1); SystemExit with pip's words."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wanted = folder / "wanted.txt"
        wanted.write_text("\n".join(requirements), encoding="utf-8")
        command = [
            sys.executable, "-m", "pip", "install", "--quiet", "--dry-run", "--ignore-installed",
            "--disable-pip-version-check", "--only-binary=:all:", "--target", str(folder / "none"),
            "--report", str(folder / "report.json"), "--python-version", place.python,
            "--implementation", "cp", *(f"--platform={p}" for p in platforms), *options,
            "--requirement", str(wanted),
        ]  # fmt: skip
        done = subprocess.run(command, env=_environment(), capture_output=True, text=True)
        if done.returncode:
            raise SystemExit(f"{place.system.name}, Python {place.python}: {done.stderr.strip()}")
        report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return list(report["install"])


def _environment() -> dict[str, str]:
    """The environment with one index and nothing else of pip's settings."""
    if not _SETTINGS:
        listed = subprocess.run(
            [sys.executable, "-m", "pip", "config", "list"],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        for line in listed.splitlines():
            key, _, value = line.partition("=")
            key = key.rpartition(".")[2]
            if key in KEPT:
                _SETTINGS["PIP_" + key.upper().replace("-", "_")] = value.strip().strip("'")
        _SETTINGS["PIP_CONFIG_FILE"] = os.devnull
    rest = {k: v for k, v in os.environ.items() if not k.startswith("PIP_")}
    return {**rest, **_SETTINGS}


_SETTINGS: dict[str, str] = {}

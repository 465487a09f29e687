"""Build hook: what is built contains the fetched parts of the pages, or nothing is built.

The parts are not committed. ``scripts/fetch_vendor.py`` fetches those that are missing; in an
unpacked source archive they are there, so that a wheel is built from it without a network.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class VendorHook(BuildHookInterface):  # type: ignore[type-arg]
    """Fetches what the pages need before anything is built."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Stop the build, saying what is missing, if it cannot be fetched."""
        if version == "editable":
            return  # runs from the source folder, where the parts may come later
        script = Path(self.root) / "scripts" / "fetch_vendor.py"
        done = subprocess.run(
            [sys.executable, str(script), "--for", "pages"],
            capture_output=True, text=True, encoding="utf-8", check=False,
            env={**os.environ, "PYTHONUTF8": "1"},
        )  # fmt: skip
        if done.returncode:
            self.app.abort(
                f"Nothing was built: parts of the pages are missing.\n{done.stderr.strip()}\n"
                "An editable install (pip install --editable .) can do without."
            )
        if done.stdout:
            self.app.display_info(done.stdout.strip())

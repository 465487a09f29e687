"""Fetch the front-end parts that vendor.toml names, each checked against its hash.

Needs npm; nothing of a package is run. What is there already is left alone.

    python scripts/fetch_vendor.py                # all
    python scripts/fetch_vendor.py --for pages    # what a built package contains (or: tests)
    python scripts/fetch_vendor.py --check        # only say what is missing (exit code 1)

The build of a wheel or a source archive calls it for the pages (hatch_build.py).
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
LIST = ROOT / "src/drypoint/app/vendor.toml"
PLACES = {
    "pages": ROOT / "src/drypoint/app/static/vendor",
    "tests": ROOT / "tests/app/vendor",
}
STAMP = "VERSION"


def main() -> int:
    parser = argparse.ArgumentParser(description="Fetch the front-end parts of vendor.toml.")
    parser.add_argument("--for", dest="place", choices=PLACES, help="only the parts for these")
    parser.add_argument("--check", action="store_true", help="only say what is missing")
    given = parser.parse_args()
    packages = tomllib.loads(LIST.read_text(encoding="utf-8"))["package"]
    wanted = [p for p in packages if given.place in (None, p["for"])]
    due = [p for p in wanted if not _there(p)]
    if not due:
        return 0
    names = ", ".join(f"{p['name']} {p['version']}" for p in due)
    if given.check:
        print(f"Missing: {names}", file=sys.stderr)
        return 1
    npm = shutil.which("npm")
    if npm is None:
        print(
            f"Missing: {names}. npm fetches them and was not found. Install Node.js with npm and "
            "try again. Only “drypoint serve” needs these parts.",
            file=sys.stderr,
        )
        return 1
    for package in due:
        fault = _fetch(npm, package)
        if fault:
            print(f"{package['name']} {package['version']}: {fault}", file=sys.stderr)
            return 1
        print(f"Fetched: {package['name']} {package['version']} ({package['license']})")
    return 0


def _targets(package: dict[str, Any]) -> dict[str, Path]:
    place = PLACES[package["for"]]
    return {source: place / target for source, target in package["files"].items()}


def _stamp(package: dict[str, Any]) -> Path:
    return next(iter(_targets(package).values())).parent / STAMP


def _text(package: dict[str, Any]) -> str:
    return f"{package['name']} {package['version']}\n{package['integrity']}\n"


def _there(package: dict[str, Any]) -> bool:
    stamp = _stamp(package)
    whole = all(p.is_file() for p in _targets(package).values())
    return whole and stamp.is_file() and stamp.read_text(encoding="utf-8") == _text(package)


def _fetch(npm: str, package: dict[str, Any]) -> str:
    """Fetch one package; returns what is wrong, or nothing."""
    with tempfile.TemporaryDirectory() as folder:
        wanted = f"{package['name']}@{package['version']}"
        done = subprocess.run(
            [npm, "pack", "--silent", "--ignore-scripts", wanted],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        found = list(Path(folder).glob("*.tgz"))
        if done.returncode or len(found) != 1:
            return f"npm could not fetch it. {done.stderr.strip()[-400:]}"
        data = found[0].read_bytes()
        kind, _, expected = package["integrity"].partition("-")
        have = base64.b64encode(hashlib.new(kind, data).digest()).decode()
        if have != expected:
            return "its hash differs from the one in vendor.toml; nothing was taken from it."
        with tarfile.open(found[0]) as tar:
            for source, target in _targets(package).items():
                member = tar.extractfile(f"package/{source}")
                if member is None:
                    return f"it holds no {source}."
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(member.read())
    _stamp(package).write_text(_text(package), encoding="utf-8")
    return ""


if __name__ == "__main__":
    sys.exit(main())

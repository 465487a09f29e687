"""What the attacks start from: a small signed study, made and driven by the command line only.

Its records are invented. Nothing here imports a subpackage: attacks go through command line, HTTP
and files, so that they stay as they are when the layout of the code changes.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

COMMAND = [sys.executable, "-c", "from drypoint.cli import main; main()"]

STUDY = """\
# Invented data.
drypoint = 1

[study]
name = "Attacked (invented)"
invented = true
seed = 7

[[records]]
files = ["raw/*.txt"]
specimen = "glass"
delimiter = ";"
decimal = ","
split = "one"
[records.columns]
time = { name = "Time", unit = "s" }
force = { name = "Force", unit = "mN" }
depth = { name = "Depth", unit = "nm" }

[specimens.glass]
nu = 0.17
u_nu = 0.01

[tips.B1]
shape = "modified Berkovich"
radius_nm = 80.0
u_radius_nm = 4.0
[tips.B1.area]
kind = "blunted"

[frame]
compliance_nm_per_mN = 0.25
u_compliance_nm_per_mN = 0.02

[uncertainty]
monte_carlo_trials = 1000
"""


@dataclass(frozen=True)
class Said:
    """Exit code and words of one command."""

    code: int
    out: str
    err: str

    @property
    def text(self) -> str:
        """All that it printed, on one line."""
        return " ".join((self.out + self.err).split())


def drypoint(*words: object, **variables: str) -> Said:
    """Run the command as its entry point does; whatever it raises but an exit fails the test."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    before, argv = dict(os.environ), sys.argv
    os.environ.update(variables)
    sys.argv = ["drypoint", *map(str, words)]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            from drypoint.cli import main

            main()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    finally:
        sys.argv = argv
        os.environ.clear()
        os.environ.update(before)
    said = Said(code, out.getvalue(), err.getvalue())
    assert "Traceback" not in said.err, said.err
    return said


def process(*words: object, **variables: str) -> Said:
    """Run the command in a process of its own; a traceback fails the test."""
    done = subprocess.run(
        [*COMMAND, *map(str, words)],
        capture_output=True,
        env={**os.environ, **variables},
        timeout=300,
        check=False,
    )
    out, err = (b.decode("utf-8", "replace") for b in (done.stdout, done.stderr))
    assert "Traceback" not in err, err
    return Said(done.returncode, out, err)


def sha256(path: Path) -> str:
    """SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def mend(results: Path, *names: str) -> None:
    """Write the hashes of changed files into the list of the results, as a forger would."""
    path = results / "manifest.json"
    body: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    for name in names:
        body["files"][name] = sha256(results / name)
    text = json.dumps(body, sort_keys=True, ensure_ascii=False, indent=2) + "\n"
    path.write_text(text, encoding="utf-8")

"""A study folder as a hostile hand would leave it, made of files only. Invented data."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import numpy as np

#: Stands in every file outside the folder; must never be seen.
SECRET = "7f1c-secret-word"

STUDY = """\
drypoint = 1

[study]
name = "Hostile folder"
invented = true

[specimens.glass]
nu = 0.2

[tips.B1]
shape = "modified Berkovich"

[[records]]
specimen = "glass"
files = ["raw/**/*.csv"]
"""


def record_text(peak_mN: float, seed: int = 1) -> str:
    """A quadratic loading, a hold and a power-law unloading, as delimited text."""
    rng = np.random.default_rng(seed)
    u, v = np.linspace(0, 1, 60), np.linspace(1, 0.05, 40)
    force = np.concatenate([u**2, np.ones(20), v**1.5]) * peak_mN
    depth = np.concatenate([u, np.full(20, 1.0), 0.8 + 0.2 * v]) * 400.0
    time = np.arange(len(force)) * 0.5
    force, depth = force + rng.normal(0, 1e-4, 120), depth + rng.normal(0, 0.05, 120)
    rows = [f"{t:.2f};{F:.6f};{h:.4f}" for t, F, h in zip(time, force, depth, strict=True)]
    return "Time (s);Force (mN);Depth (nm)\n" + "\n".join(rows) + "\n"


def secret_record() -> str:
    """A record that reads well, under a header that nobody may see."""
    return f"Operator: {SECRET}\n" + record_text(77.0, 9)


def write_study(folder: Path, text: str = STUDY, records: int = 3) -> Path:
    """A study with sound records, in ``folder``."""
    (folder / "raw").mkdir(parents=True)
    for n in range(records):
        path = folder / "raw" / f"good_{n}.csv"
        path.write_text(record_text(10.0 + n, n), encoding="utf-8")
    study = folder / "study.toml"
    study.write_text(text, encoding="utf-8")
    return study


def spoil(raw: Path, outside: Path) -> dict[str, str]:
    """Odd things beside the records: name as it is shown -> words of the reason."""
    (outside / "secret.csv").write_text(secret_record(), encoding="utf-8")
    (outside / "folder").mkdir()
    (outside / "folder" / "deep.csv").write_text(secret_record(), encoding="utf-8")
    (raw / "link.csv").symlink_to(outside / "secret.csv")
    (raw / "device.csv").symlink_to("/dev/zero")
    (raw / "gone.csv").symlink_to(raw / "nothing")
    (raw / "self.csv").symlink_to(raw / "self.csv")
    (raw / "below").mkdir()
    (raw / "below" / "up").symlink_to(raw, target_is_directory=True)
    (raw / "elsewhere").symlink_to(outside / "folder", target_is_directory=True)
    os.mkfifo(raw / "pipe.csv")
    server = socket.socket(socket.AF_UNIX)
    here = Path.cwd()
    os.chdir(raw)  # the path of a socket is short
    server.bind("socket.csv")
    os.chdir(here)
    server.close()
    (raw / "two\nlines.csv").write_text(record_text(12.0, 21), encoding="utf-8")
    latin = os.fsencode(raw) + b"/caf\xe9.csv"
    Path(os.fsdecode(latin)).write_text(record_text(12.0, 22), encoding="utf-8")
    return {
        "raw/link.csv": "leads out of the folder",
        "raw/device.csv": "leads out of the folder",
        "raw/gone.csv": "does not exist",
        "raw/self.csv": "cannot be looked at",
        "raw/below/up": "** does not enter",
        "raw/elsewhere": "** does not enter",
        "raw/pipe.csv": "a pipe, not a file",
        "raw/socket.csv": "a socket, not a file",
        "raw/two\\nlines.csv": "a line break",
        "raw/caf\\udce9.csv": "not valid UTF-8",
    }


def bytes_below(folder: Path) -> bytes:
    """All bytes of all regular files below a folder."""
    return b"".join(
        p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file() and not p.is_symlink()
    )

"""Records and file layouts invented for these tests. No instrument wrote them."""

from __future__ import annotations

import gzip
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Invented:
    """Time (s), force (N) and depth (m) of an invented load, hold and unload."""

    time: Floats
    force: Floats
    depth: Floats


def invented(n: int = 60, *, start: float = 0.0, scale: float = 1.0, seed: int = 1) -> Invented:
    """A quadratic loading, a hold with creep, a power-law unloading, and a little noise."""
    rng = np.random.default_rng(seed)
    a, b = n // 2, n * 2 // 3
    u = np.linspace(0, 1, a)
    v = np.linspace(1, 0.05, n - b)
    force = np.concatenate([u**2, np.ones(b - a), v**1.5]) * 10e-3 * scale
    depth = np.concatenate([u, 1 + 0.02 * np.log1p(np.arange(1, b - a + 1)), 0.8 + 0.24 * v])
    noise = rng.normal(0, 1, (2, n))
    return Invented(
        start + np.arange(n) * 0.05,
        force + noise[0] * 1e-7,
        depth * 400e-9 + noise[1] * 1e-10,
    )


def number(value: float, digits: int, decimal: str = ".") -> str:
    """A number with so many significant digits."""
    return f"{value:.{digits}g}".replace(".", decimal)


def lines_of(
    columns: Sequence[Sequence[str]] | Sequence[Floats],
    *,
    delimiter: str = ";",
    decimal: str = ".",
    digits: int = 9,
) -> list[str]:
    """Rows of columns of numbers or words."""
    texts = [
        [c if isinstance(c, str) else number(float(c), digits, decimal) for c in column]
        for column in columns
    ]
    return [delimiter.join(row) for row in zip(*texts, strict=True)]


def save(
    path: Path,
    lines: Sequence[str],
    *,
    encoding: str = "utf-8",
    newline: str = "\n",
    end: bool = True,
    zipped: bool = False,
) -> Path:
    """Write lines to a file as bytes."""
    raw = (newline.join(lines) + (newline if end else "")).encode(encoding)
    path.write_bytes(gzip.compress(raw, mtime=0) if zipped else raw)
    return path


def plain_file(
    path: Path,
    record: Invented,
    *,
    delimiter: str = ";",
    decimal: str = ".",
    names: Sequence[str] = ("Time (s)", "Load (mN)", "Depth (nm)"),
    scales: Sequence[float] = (1.0, 1e-3, 1e-9),
    head: Sequence[str] = (),
    digits: int = 9,
    **how: object,
) -> Path:
    """One record in one file: header lines, names, numbers."""
    columns = [
        a / s for a, s in zip((record.time, record.force, record.depth), scales, strict=True)
    ]
    rows = lines_of(columns, delimiter=delimiter, decimal=decimal, digits=digits)
    named = [delimiter.join(names)] if names else []
    return save(path, [*head, *named, *rows], **how)  # type: ignore[arg-type]

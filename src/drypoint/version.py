"""The version of Drypoint, the hash of its files as installed, and what it runs on; for provenance
and for the keys of what is kept."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Mapping
from functools import lru_cache
from importlib.metadata import version as version_of
from pathlib import Path

__version__ = "0.1.0.dev0"

#: Libraries that numbers depend on.
LIBRARIES = ("numpy", "scipy", "numba", "polars", "pint", "pydantic")
#: Parts of the pages that others wrote, and compiled files: no number depends on them.
_NOT_OURS = ("vendor", "__pycache__")
_SKIPPED = (".pyc", ".pyo", ".nbi", ".nbc")


@lru_cache(maxsize=1)
def program_sha256() -> str:
    """SHA-256 over names and bytes of all files of the installed package.

    Compiled files and the parts of the pages that are fetched from elsewhere are left out.
    """
    root = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*"), key=lambda p: p.relative_to(root).as_posix()):
        name = path.relative_to(root)
        if path.suffix in _SKIPPED or set(name.parts) & set(_NOT_OURS) or not path.is_file():
            continue
        digest.update(f"{name.as_posix()}\0".encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


@lru_cache(maxsize=1)
def libraries() -> Mapping[str, str]:
    """Versions of Python and of the libraries that numbers depend on."""
    return {**{n: version_of(n) for n in LIBRARIES}, "python": platform.python_version()}


@lru_cache(maxsize=1)
def processor() -> str:
    """The kind of processor: architecture, model as the compiler names it, and a short hash of
    the instruction sets in use. Other processors may round sums in another order."""
    from llvmlite import binding

    features = sorted(name for name, on in binding.get_host_cpu_features().items() if on)
    short = hashlib.sha256(",".join(features).encode("ascii")).hexdigest()[:8]
    return f"{platform.machine()} {binding.get_host_cpu_name()} {short}"


@lru_cache(maxsize=1)
def program_stamp() -> str:
    """Stands for program, libraries and processor: where one of them changes, so does this."""
    parts = [program_sha256(), processor(), *(f"{n} {v}" for n, v in sorted(libraries().items()))]
    return hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()

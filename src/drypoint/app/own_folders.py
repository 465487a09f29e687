"""Folders into which only Drypoint writes: results, reports, what was signed, caches.

A folder is recognised however a path spells it: links are resolved, and names are compared as the
least exact file system would (case, width and composition of letters, invisible characters,
points and blanks at the end).
"""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Iterator
from pathlib import Path

from drypoint import paths
from drypoint.app.intake import NOT_RAW
from drypoint.app.places import is_study
from drypoint.errors import PathError
from drypoint.store.manifest import NAME as MANIFEST

#: Ending of the folder of what was signed.
_SIGNED = ".signed"
#: Study files of a folder that are looked into, and their most bytes.
_MOST_STUDIES, _MOST_BYTES = 200, 4_000_000


def folded(name: str) -> str:
    """A name of a file or folder without what some file system does not tell apart."""
    name = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", name).casefold())
    name = "".join(c for c in name if unicodedata.category(c) not in ("Cf", "Cc", "Mn"))
    return name.rstrip(". ")


def own_folder(path: Path, root: Path) -> Path | None:
    """The folder of Drypoint's own that a file would lie in; ``None`` where there is none.

    Parameters
    ----------
    path : Path
        The file; it need not exist.
    root : Path
        The served folder.
    """
    top = paths.real(root)
    place = paths.real(path.parent)
    above = [f for f in (place, *place.parents) if f.is_relative_to(top)]
    for folder in above:
        name = folded(folder.name)
        named = name in NOT_RAW or name.endswith(_SIGNED) or name.startswith(".")
        if folder != top and named:
            return folder
        if (folder / MANIFEST).is_file():
            return folder
        for own in _outputs(folder):
            if _below(place, own):
                return own
    return None


def _below(place: Path, folder: Path) -> bool:
    mine, own = ([folded(part) for part in p.parts] for p in (place, folder))
    return mine[: len(own)] == own


def _outputs(folder: Path) -> Iterator[Path]:
    """Folders for results and report that the study files of a folder name."""
    studies = (p for p in sorted(folder.glob("*.toml")) if is_study(p))
    for study, _ in zip(studies, range(_MOST_STUDIES), strict=False):
        try:
            text = paths.read_bytes(study, most=_MOST_BYTES).decode("utf-8-sig")
            output = tomllib.loads(text).get("output", {})
        except (OSError, ValueError, RecursionError, PathError):
            continue
        for key in ("folder", "report_folder"):
            name = output.get(key) if isinstance(output, dict) else None
            if isinstance(name, str) and name.strip(". /\\"):
                yield paths.real(folder / name.replace("\\", "/"))

"""Which files of a folder are read: all that could be records by their names."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path, PurePath, PurePosixPath

#: Endings of files that are no records; in a folder or a zip file they are left out and noted.
NO_RECORDS = frozenset(
    {
        *(
            ".bmp",
            ".gif",
            ".ico",
            ".jpeg",
            ".jpg",
            ".mp4",
            ".png",
            ".svg",
            ".tif",
            ".tiff",
            ".webp",
        ),
        *(".doc", ".docx", ".htm", ".html", ".md", ".pdf", ".ppt", ".pptx", ".rst", ".rtf", ".typ"),
        *(".ini", ".json", ".jsonl", ".lnk", ".sqlite", ".toml", ".url", ".xml", ".yaml", ".yml"),
        *(".dll", ".exe", ".ipynb", ".m", ".pkl", ".py", ".pyc", ".sh", ".so"),
    }
)


def not_a_record(path: PurePath) -> bool:
    """Whether a name tells that the file is none: hidden, a lock of an open workbook, a picture."""
    name = path.name
    return (
        name.startswith((".", "~$"))
        or name in ("Thumbs.db", "desktop.ini")
        or path.suffix.lower() in NO_RECORDS
    )


def files_in(folder: Path) -> tuple[list[Path], list[Path]]:
    """Files right in a folder, sorted: those to read, and those left out by their names.

    Folders below it are not entered. Hidden files are not even named.
    """
    files = sorted(p for p in folder.iterdir() if p.is_file() and not p.name.startswith("."))
    return (
        [p for p in files if not not_a_record(p)],
        [p for p in files if not_a_record(p)],
    )


def left_out_note(folder: str, left: Iterable[PurePath]) -> str:
    """What was left out of a folder, as a sentence."""
    names = [p.name for p in left]
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    shown = "" if PurePosixPath(folder) == PurePosixPath(".") else f" of {folder}"
    return f"Left out{shown}, as no record by name: {', '.join(names[:3])}{more}."

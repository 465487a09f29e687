"""Which files of a folder are read: all that could be records by their names."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path, PurePath, PurePosixPath

from drypoint.records.listing import Odd, in_folder

#: Names that Windows reserves for devices, with any ending and in any case.
DEVICES = frozenset(
    {"con", "prn", "aux", "nul", *(f"{d}{i}" for d in ("com", "lpt") for i in range(10))}
)

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


def reserved(name: str) -> str:
    """The device that Windows reserves the name of a file or folder for; empty if it is free."""
    stem = name.split(".")[0].strip().lower()
    return stem.upper() if stem in DEVICES else ""


def reserved_words(name: str) -> str:
    """The sentence about a reserved name; empty if it is free."""
    device = reserved(name)
    return (
        f"“{name[:60]}” is a reserved name: Windows keeps {device}, with any ending, for a device."
        if device
        else ""
    )


def not_a_record(path: PurePath) -> bool:
    """Whether a name tells that the file is none: hidden, a lock of an open workbook, a picture."""
    name = path.name
    return (
        name.startswith((".", "~$"))
        or name in ("Thumbs.db", "desktop.ini")
        or path.suffix.lower() in NO_RECORDS
    )


def files_in(folder: Path) -> tuple[list[Path], list[Path], list[Odd]]:
    """Files right in a folder, sorted: those to read, those left out by their names, and what is
    set aside unopened (links that lead out, pipes, names that cannot be written).

    Folders below it are not entered. Hidden files are not even named.

    Raises
    ------
    OSError
        When the folder cannot be entered.
    """
    found = in_folder(folder)
    files = [folder / name for name in found.files]
    return (
        [p for p in files if not not_a_record(p)],
        [p for p in files if not_a_record(p)],
        [o for o in found.odd if not not_a_record(PurePosixPath(o.name))],
    )


def left_out_note(folder: str, left: Iterable[PurePath]) -> str:
    """What was left out of a folder, as a sentence."""
    names = [p.name for p in left]
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    shown = "" if PurePosixPath(folder) == PurePosixPath(".") else f" of {folder}"
    return f"Left out{shown}, as no record by name: {', '.join(names[:3])}{more}."

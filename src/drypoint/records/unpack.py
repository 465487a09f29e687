"""Zipped folders: their members as bytes, one after the other, in memory and within limits.

Nothing is written to disk; the names of members are words for people and never paths.
"""

from __future__ import annotations

import hashlib
import re
import stat
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from drypoint.errors import RecordError, Where
from drypoint.records.find import not_a_record
from drypoint.records.raw import Limits, kind_of

_SMALL = 1_000_000
_STEP = 1 << 20
_DRIVE = re.compile(r"^[A-Za-z]:")


@dataclass(frozen=True)
class Member:
    """A member of a zip file: its bytes, or why it could not be read."""

    place: str
    raw: bytes = b""
    sha256: str = ""
    fault: RecordError | None = None


def flavour(archive: zipfile.ZipFile) -> str:
    """``workbook``, ``xlsb``, ``word`` or ``zip``: what a file in zip form really is."""
    names = set(archive.namelist())
    if "xl/workbook.bin" in names:
        return "xlsb"
    if "xl/workbook.xml" in names or {"mimetype", "content.xml"} <= names:
        return "workbook"
    return "word" if "word/document.xml" in names else "zip"


def open_zip(source: BinaryIO | Path, shown: str) -> zipfile.ZipFile:
    """The list of what a zip file holds.

    Raises
    ------
    RecordError
        It is damaged.
    """
    try:
        return zipfile.ZipFile(source)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, EOFError) as error:
        raise RecordError(
            "This should be a workbook or a zip archive, but it is damaged or cut short.",
            where=Where(shown),
            remedy="Copy it again from where it was made.",
        ) from error


def place_of(name: str) -> str:
    """A member's name as a harmless label: no drive, no steps up, nothing that is not printable."""
    plain = _DRIVE.sub("", name.replace("\\", "/"))
    parts = [p for p in plain.split("/") if p not in ("", ".", "..")]
    shown = "/" + "/".join(parts)
    return "".join(c if c.isprintable() and c != "!" else "_" for c in shown)[:300]


def members(
    archive: zipfile.ZipFile, shown: str, inside: tuple[str, ...], limits: Limits
) -> Iterator[Member | str]:
    """Members that may be records, in the order of their names; a text is a note.

    Parameters
    ----------
    archive : ZipFile
        The open file.
    shown : str
        Its name in messages.
    inside : tuple of str
        Patterns of the members to read; all where empty.
    limits : Limits
        Most members, most bytes, highest ratio.

    Raises
    ------
    RecordError
        The file as a whole is above a limit.
    """
    chosen, left = [], []
    listed = archive.infolist()
    if len(listed) > limits.zip_members:
        raise _refused(shown, f"It holds {len(listed)} members; {limits.zip_members} are the most.")
    used: dict[str, int] = {}
    for info in sorted(listed, key=lambda i: i.filename):
        place = place_of(info.filename)
        path = PurePosixPath(place)
        if not info.filename or info.is_dir() or "__MACOSX" in path.parts:
            continue
        if stat.S_ISLNK(info.external_attr >> 16) or not_a_record(path):
            left.append(place)
            continue
        if inside and not any(fnmatchcase(place[1:], p.lstrip("/")) for p in inside):
            continue
        n = used[place] = used.get(place, 0) + 1
        chosen.append((info, place if n == 1 else f"{place} ({n})"))
    if left:
        more = f" and {len(left) - 3} more" if len(left) > 3 else ""
        yield f"{shown}: left out, as no record by name: {', '.join(left[:3])}{more}."
    if not chosen:
        what = f"No member fits inside = {list(inside)}." if inside else "It holds no file to read."
        raise RecordError(what, where=Where(shown), remedy="Look into the zip file.")
    room = limits.zip_bytes
    for info, place in chosen:
        try:
            raw = _unpack(archive, info, f"{shown}!{place}", min(room, limits.file_bytes), limits)
        except RecordError as error:
            yield Member(place, fault=error)
            if room < limits.file_bytes and "larger" in error.what:
                return
            continue
        room -= len(raw)
        yield Member(place, raw, hashlib.sha256(raw).hexdigest())


def _unpack(
    archive: zipfile.ZipFile, info: zipfile.ZipInfo, name: str, room: int, limits: Limits
) -> bytes:
    if info.flag_bits & 0x1:
        raise _refused(name, "The member is encrypted.", "Pack it again without a password.")
    most = room
    if info.compress_size * limits.zip_ratio < room:
        most = max(_SMALL, int(info.compress_size * limits.zip_ratio))
    pieces: list[bytes] = []
    size = 0
    try:
        with archive.open(info) as file:
            while piece := file.read(_STEP):
                size += len(piece)
                if size > most:
                    break
                pieces.append(piece)
    except (
        zipfile.BadZipFile, OSError, EOFError, zlib.error, RuntimeError, ValueError, MemoryError,
        NotImplementedError,
    ) as error:  # fmt: skip
        raise _refused(
            name, "The member is damaged, or packed in an unknown way.", "Pack the folder again."
        ) from error
    if size > room:
        raise _refused(
            name, "Unpacked, the member (or all up to it) is larger than the limit of "
            f"{min(limits.file_bytes, limits.zip_bytes) / 1e6:g} MB.",
        )  # fmt: skip
    if size > most:
        raise _refused(
            name, f"The member unpacks to more than {limits.zip_ratio:g} times its packed size, "
            "which no record does.",
        )  # fmt: skip
    return b"".join(pieces)


def nested(raw: bytes) -> bool:
    """Whether a member is a zip file itself (a workbook is opened, a zip in a zip is not)."""
    return kind_of(raw) == "zip"


def _refused(name: str, what: str, remedy: str = "Unpack it and give the files.") -> RecordError:
    return RecordError(what, where=Where(name), remedy=remedy)

"""Parts of a workbook in zip form, each unpacked within limits and parsed before it is opened.

What is opened afterwards is an archive put together here from the parts that were looked at, so
that no other part, and no other reading of the zip form, can come in between.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterable
from pathlib import PurePosixPath

from drypoint.errors import RecordError, Where
from drypoint.records.raw import Limits
from drypoint.records.sheet_ods import check_ods
from drypoint.records.sheet_xlsx import Found, check_sheets, read_book, read_relations
from drypoint.records.sheet_xml import BadXML, Excess
from drypoint.records.unpack import open_zip

_RELATIONS, _BOOK = "xl/_rels/workbook.xml.rels", "xl/workbook.xml"
_STRINGS, _STYLES = "xl/sharedstrings.xml", "xl/styles.xml"
#: Leads to the workbook, always at the place that was looked at.
_ROOT = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n<Relationships xmlns="http://schemas.openxmlformats.org'
    b'/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/'
    b'officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>'
)
#: Unpacked, all parts may be this many bytes, and this many more for each packed byte.
_FREE, _RATIO = 20_000_000, 60


def checked(raw: bytes, shown: str, limits: Limits) -> bytes:
    """The same workbook with the parts that are read, as an archive without compression.

    Raises
    ------
    RecordError
        It is damaged, or above a limit.
    """
    with open_zip(io.BytesIO(raw), shown) as archive:
        parts = _Parts(archive, shown, limits)
        try:
            if parts.named("content.xml"):
                return parts.packed(_ods(parts, limits))
            return parts.packed(_xlsx(parts, limits))
        except BadXML as error:
            raise RecordError(
                f"The workbook is damaged: {error}.",
                where=Where(shown),
                remedy="Open it in a spreadsheet program, save it as .xlsx, and give that file.",
            ) from error
        except Excess as error:
            raise RecordError(str(error), where=Where(shown), remedy=error.remedy) from error


def _ods(parts: _Parts, limits: Limits) -> dict[str, bytes]:
    kept = {}
    for name in ("mimetype", "content.xml", "META-INF/manifest.xml"):
        for info in parts.named(name):
            kept[name] = parts.unpacked(info)
            if name == "content.xml":
                check_ods(kept[name], limits)
    return kept


def _xlsx(parts: _Parts, limits: Limits) -> dict[str, bytes]:
    lower = {n: parts.unpacked(i) for n in (_RELATIONS, _BOOK) for i in parts.named(n)}
    if len(lower) < 2:
        raise BadXML("a part is missing")
    relations = read_relations(lower[_RELATIONS])
    kept = {"_rels/.rels": _ROOT, **lower}

    def keep(names: Iterable[str]) -> list[str]:
        found = [i for name in names for i in parts.named(name)]
        kept.update((i.filename, parts.unpacked(i)) for i in found if i.filename not in kept)
        return [i.filename for i in found]

    def of_kind(name: str, kind: str) -> list[str]:
        named = [t for t, what in relations.values() if what.lower().endswith(kind)]
        return keep([name, *(place for t in named for place in _places(t))])

    strings = dict.fromkeys(of_kind(_STRINGS, "/sharedstrings"))
    for name in of_kind(_STYLES, "/styles"):
        read_relations(kept[name])  # that it is sound XML
    found = [
        Found(sheet, part, kept[part])
        for sheet, relation in read_book(lower[_BOOK], limits.sheets)
        for part in keep(_places(relations.get(relation, ("", ""))[0]))
    ]
    check_sheets(found, [kept[name] for name in strings], limits)
    return kept


def _places(target: str) -> Iterable[str]:
    """Names that a target of the workbook's relations may mean, in lower case."""
    plain = target.replace("\\", "/").lower()
    if not plain:
        return ()
    steps: list[str] = []
    for part in PurePosixPath("xl", plain.lstrip("/")).parts:
        steps = steps[:-1] if part == ".." else [*steps, part]
    return dict.fromkeys([plain.lstrip("/"), f"xl/{plain.lstrip('/')}", "/".join(steps)])


class _Parts:
    """Members of the archive, found by their names without regard to case."""

    def __init__(self, archive: zipfile.ZipFile, shown: str, limits: Limits) -> None:
        self.archive, self.shown, self.limits = archive, shown, limits
        self.size = 0
        self.most = limits.file_bytes
        self.packed_size = sum(i.compress_size for i in archive.infolist())
        self.by_name: dict[str, list[zipfile.ZipInfo]] = {}
        for info in archive.infolist():
            name = info.filename.replace("\\", "/").lstrip("/").lower()
            self.by_name.setdefault(name, []).append(info)

    def named(self, name: str) -> list[zipfile.ZipInfo]:
        """The member of a name; of several the last, which is the one that counts."""
        return self.by_name.get(name.lower(), [])[-1:]

    def unpacked(self, info: zipfile.ZipInfo) -> bytes:
        """A member's bytes, within what is left of the limits."""
        allowed = min(self.most, _FREE + _RATIO * self.packed_size) - self.size
        try:
            with self.archive.open(info) as file:
                data = file.read(max(allowed, 0) + 1)
        except (
            zipfile.BadZipFile, OSError, EOFError, zlib.error, RuntimeError, ValueError,
            NotImplementedError,
        ) as error:  # fmt: skip
            raise BadXML("a part cannot be unpacked") from error
        self.size += len(data)
        if len(data) > allowed:
            if self.size > self.most:
                raise Excess(
                    f"Unpacked, the workbook is larger than the limit of {self.most / 1e6:g} MB.",
                    "Split it, or raise the limit if the size is right.",
                )
            raise Excess(
                f"The workbook unpacks to more than {_RATIO} times its packed size, which no "
                "record does.",
                "Export the table as delimited text and give that file.",
            )
        return data

    def packed(self, kept: dict[str, bytes]) -> bytes:
        """An archive of parts."""
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w", zipfile.ZIP_STORED) as out:
            for name, data in kept.items():
                out.writestr(name, data)
        return held.getvalue()

"""From the bytes on disk to text: hash, gzip, encoding, line ends. Nothing is ever written."""

from __future__ import annotations

import codecs
import gzip
import hashlib
import io
import zlib
from dataclasses import dataclass
from pathlib import Path

from drypoint.errors import RecordError, Where
from drypoint.records.raw import MAX_BYTES, load, too_large

_MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_KINDS: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "a workbook or a zip archive"),
    (b"\xd0\xcf\x11\xe0", "an old workbook or text document (.xls, .doc)"),
    (b"\x89HDF", "an HDF5 file"),
    (b"PAR1", "a Parquet file"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"II*\x00", "a picture"),
    (b"BM", "a picture"),
)
_CONTROL = bytes(i for i in range(32) if i not in (9, 10, 11, 12, 13, 26, 27))
_EXPORT = "Export the record as delimited text and give that file."


@dataclass(frozen=True)
class Decoded:
    """Text of a raw file, with ``\\n`` as its only line end, and what was found on the way."""

    text: str
    encoding: str
    sha256: str
    compressed: bool = False
    note: str | None = None


def decode(
    path: Path, *, encoding: str | None = None, max_bytes: int = MAX_BYTES, shown: str | None = None
) -> Decoded:
    """Read a raw file as text: :func:`decode_bytes` on its bytes."""
    name = shown or path.as_posix()
    return decode_bytes(load(path, name, max_bytes), name, encoding=encoding, max_bytes=max_bytes)


def decode_bytes(
    raw: bytes, name: str, *, encoding: str | None = None, max_bytes: int = MAX_BYTES
) -> Decoded:
    """Text of the bytes of a raw file.

    Parameters
    ----------
    raw : bytes
        The file; gzip is recognised by its first bytes, not by its name.
    name : str
        Name of the file in messages.
    encoding : str, optional
        As declared. Without it: a byte order mark, UTF-8, UTF-16 by its zero bytes, then
        Windows-1252 and Latin-1, which is noted.
    max_bytes : int
        Files that unpack to more are refused.

    Raises
    ------
    RecordError
        The file is empty, too large, binary, cut, or not in the declared encoding.
    """
    sha256 = hashlib.sha256(raw).hexdigest()
    compressed = raw[:2] == b"\x1f\x8b"
    if compressed:
        raw = _gunzip(raw, name, max_bytes)
    if not raw.strip():
        raise RecordError(
            "The file is empty.", where=Where(name), remedy="Export the record again."
        )
    text, used, note = _to_text(raw, encoding, name)
    text = text.removeprefix("\ufeff")
    if "\r" in text:
        text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    text = text.rstrip("\x1a")
    if not text.strip():
        raise RecordError(
            "The file holds blanks only.", where=Where(name), remedy="Export the record again."
        )
    return Decoded(text, used, sha256, compressed, note)


def _gunzip(raw: bytes, name: str, max_bytes: int) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(raw)) as file:
            plain = file.read(max_bytes + 1)
    except (EOFError, OSError, zlib.error) as error:
        raise RecordError(
            "The compressed file is damaged or was cut short.",
            where=Where(name),
            remedy="Copy it again from the instrument, or unpack what is left of it by hand.",
        ) from error
    if len(plain) > max_bytes:
        raise too_large(name, max_bytes)
    return plain


def _to_text(raw: bytes, declared: str | None, name: str) -> tuple[str, str, str | None]:
    """Text, the encoding used, and a note when the encoding is a fallback."""
    if declared is not None:
        return _as_declared(raw, declared, name), declared.lower(), None
    for mark, used in _MARKS:
        if raw.startswith(mark):
            return _as_declared(raw, used, name), used, None
    for magic, kind in _KINDS:
        if raw.startswith(magic) and (b"\x00" in raw or len(magic) > 2):
            raise RecordError(f"This is {kind}, not text.", where=Where(name), remedy=_EXPORT)
    if b"\x00" in raw:
        wide = _utf16_by_zeros(raw)
        if wide is None:
            line = raw.count(b"\n", 0, raw.index(b"\x00")) + 1
            raise RecordError(
                "The file is binary, or it was damaged: it holds zero bytes.",
                where=Where(name, line=line),
                remedy=_EXPORT,
            )
        return _as_declared(raw, wide, name), wide, None
    if len(raw.translate(None, _CONTROL)) < len(raw):
        at = next(i for i, byte in enumerate(raw) if byte in _CONTROL)
        raise RecordError(
            f"The file is binary, or it was damaged: it holds the control byte {raw[at]:#04x}.",
            where=Where(name, line=raw.count(b"\n", 0, at) + 1),
            remedy=_EXPORT,
        )
    try:
        return raw.decode("utf-8"), "utf-8", None
    except UnicodeDecodeError:
        pass
    if sum(byte > 127 for byte in raw[:4096]) > 0.3 * len(raw[:4096]):
        raise RecordError("The file is binary, not text.", where=Where(name), remedy=_EXPORT)
    try:
        text, used = raw.decode("cp1252"), "cp1252"
    except UnicodeDecodeError:
        text, used = raw.decode("latin-1"), "latin-1"
    return text, used, f"Read as {used}, because it is not valid UTF-8; declare encoding if wrong."


def _as_declared(raw: bytes, encoding: str, name: str) -> str:
    try:
        text = raw.decode(encoding)
    except LookupError as error:
        raise RecordError(
            f"“{encoding}” is not an encoding.",
            where=Where(name, key="encoding"),
            remedy='Write one such as "utf-8", "utf-16", "cp1252" or "latin-1".',
        ) from error
    except UnicodeError as error:
        at = getattr(error, "start", 0)
        raise RecordError(
            f"The file is not valid {encoding}.",
            where=Where(name, line=raw.count(b"\n", 0, at) + 1),
            remedy="Declare its true encoding in the recipe, or copy the file again.",
        ) from error
    if "\x00" in text:
        raise RecordError(
            f"The file is binary, damaged, or not {encoding}: it holds zero bytes.",
            where=Where(name, line=text.count("\n", 0, text.index("\x00")) + 1),
            remedy=_EXPORT,
        )
    return text


def _utf16_by_zeros(raw: bytes) -> str | None:
    """UTF-16 without a mark: text in Latin letters has a zero in every second byte."""
    head = raw[: min(len(raw), 4096) // 2 * 2]
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) / 2
    if len(raw) % 2 == 0 and odd > 0.6 * half and even < 0.05 * half:
        return "utf-16-le"
    if len(raw) % 2 == 0 and even > 0.6 * half and odd < 0.05 * half:
        return "utf-16-be"
    return None

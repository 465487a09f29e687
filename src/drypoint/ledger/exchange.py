"""A whole ledger as JSON Lines: for a copy, an archive, and from one database to another.

The first line says what it is: ``{"drypoint_ledger": 1, "ledger": identity, "entries": n,
"head": hash}``. Then one line an entry, with every column as it lies in the database; the body is
a text, so that its hash can be found with any tool. Hash and count show when a file is cut short.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drypoint.errors import LedgerError, Where
from drypoint.ledger.chain import follows
from drypoint.ledger.entry import Head, Stored, canonical
from drypoint.ledger.rules import links_of
from drypoint.parsing import json_value

if TYPE_CHECKING:
    from drypoint.ledger.rows import Rows

#: Version of the form of an export.
FORM = 1
_COLUMNS = {f.name: f.type for f in fields(Stored)}
_AGAIN = "Export the ledger again, or take an older export."


@dataclass(frozen=True)
class Export:
    """An export as read: whole, and its chain holds."""

    path: Path
    identity: str
    entries: tuple[Stored, ...]


def lines(rows: Rows) -> Iterator[str]:
    """The lines of an export, each with its end."""
    last = rows.last()
    yield _line(
        {
            "drypoint_ledger": FORM,
            "ledger": rows.identity(),
            "entries": last.id if last else 0,
            "head": last.hash if last else "",
        }
    )
    for stored in rows.all():
        yield _line(asdict(stored))


def _line(values: dict[str, Any]) -> str:
    return json.dumps(values, ensure_ascii=False, allow_nan=False) + "\n"


def write_export(rows: Rows, path: Path) -> Head:
    """Write an export; the file is there whole or not at all."""
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}.tmp")
    last = rows.last()
    try:
        with temporary.open("x", encoding="utf-8", newline="") as file:
            file.writelines(lines(rows))
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError as error:
        raise LedgerError(
            f"The export cannot be written: {error.strerror or error}.",
            where=Where(str(path)),
            remedy="Check the path, your rights and the room on the disk.",
        ) from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink()
    return Head(rows.identity(), last.id if last else 0, last.hash if last else "")


def is_own(target: Path, ledger: Path) -> bool:
    """Whether a file is that of a ledger, or one that its database keeps beside it."""
    own = [ledger, *(ledger.with_name(ledger.name + end) for end in ("-wal", "-shm", "-journal"))]
    if any(target.resolve() == path.resolve() for path in own):
        return True
    return any(path.exists() and target.exists() and target.samefile(path) for path in own)


def read_export(path: Path) -> Export:
    """Read an export.

    Raises
    ------
    LedgerError
        At the first line that is wrong, with its number; when it is cut short or its chain does
        not hold.
    """
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise LedgerError(
            f"The export cannot be read: {error.strerror or error}.", where=Where(str(path))
        ) from error
    except UnicodeDecodeError as error:
        raise LedgerError("It is no export of a ledger.", where=Where(str(path))) from error
    rows = text.split("\n")
    head = _object(path, 1, rows[0])
    if head.get("drypoint_ledger") != FORM or not isinstance(head.get("ledger"), str):
        found = head.get("drypoint_ledger")
        newer = isinstance(found, int) and found > FORM
        what = f"It has form {found}, of a newer Drypoint." if newer else "It is no export."
        raise LedgerError(what, where=Where(str(path), line=1), remedy=_AGAIN)
    identity = head["ledger"]
    entries: list[Stored] = []
    for n, row in enumerate(rows[1:], start=2):
        if not row and n == len(rows):
            break
        stored = _stored(path, n, row)
        for broken in follows(stored, entries[-1] if entries else None, identity):
            raise LedgerError(str(broken), where=Where(str(path), line=n), remedy=_AGAIN)
        entries.append(stored)
    last = entries[-1].hash if entries else ""
    if head.get("entries") != len(entries) or head.get("head") != last:
        raise LedgerError(
            f"The export is not whole: it holds {len(entries)} of {head.get('entries')} entries.",
            where=Where(str(path)),
            remedy=_AGAIN,
        )
    return Export(path, identity, tuple(entries))


def _object(path: Path, n: int, row: str) -> dict[str, Any]:
    try:
        values = json_value(row)
    except ValueError:
        values = None
    if not isinstance(values, dict):
        raise LedgerError(
            "The line is not a JSON object.", where=Where(str(path), line=n), remedy=_AGAIN
        )
    return values


def _stored(path: Path, n: int, row: str) -> Stored:
    values = _object(path, n, row)
    right = set(values) == set(_COLUMNS) and all(
        isinstance(v, int) and not isinstance(v, bool)
        if name in ("id", "form")
        else v is None or type(v) is int
        if name == "corrects"
        else isinstance(v, str)
        for name, v in values.items()
    )
    if not right:
        raise LedgerError("The line is no entry.", where=Where(str(path), line=n), remedy=_AGAIN)
    stored = Stored(**values)
    try:
        canonical(values).encode("utf-8")
        links_of(stored)
    except UnicodeEncodeError as error:
        raise LedgerError("The line is no text.", where=Where(str(path), line=n)) from error
    except LedgerError as error:
        raise LedgerError(
            error.what, where=Where(str(path), line=n), remedy=error.remedy
        ) from error
    return stored


def take(rows: Rows, export: Export) -> int:
    """Write the entries of an export that are not here yet, inside the transaction."""
    here = list(rows.all())
    if not here:
        rows.take_identity(export.identity)
    elif rows.identity() != export.identity:
        raise LedgerError(
            "The export is of another ledger; two ledgers cannot become one.",
            where=Where(str(export.path)),
            remedy="Import it into a new, empty ledger.",
        )
    known = {s.id: s for s in export.entries}
    for stored in here:
        if known.get(stored.id, stored) != stored:
            raise LedgerError(
                f"Ledger and export part at entry {stored.id}: both were added to.",
                where=Where(str(export.path)),
                remedy="Keep both. Enter by hand, in one of them, what only the other has.",
            )
    new = export.entries[len(here) :]
    for stored in new:
        rows.insert(stored, links_of(stored))
    return len(new)

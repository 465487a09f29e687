"""Put a ledger back from a backup; what was there is moved aside, never removed."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from drypoint.errors import LedgerError
from drypoint.ledger.book import Ledger
from drypoint.ledger.entry import Head
from drypoint.ledger.exchange import is_own, read_export
from drypoint.ledger.place import Place, find_place

_BESIDE = ("", "-wal", "-shm", "-journal")


@dataclass(frozen=True)
class Restored:
    """Where a ledger was restored, its state, and where the earlier one is (``None``: none)."""

    place: Place
    head: Head
    aside: Path | None


def restore_ledger(
    backup: Path | str, where: str | Path | None = None, *, aside: bool = False
) -> Restored:
    """Restore a ledger from a backup.

    Parameters
    ----------
    backup : Path or str
        A backup or an export; its chain is checked whole before anything is changed.
    where : str or Path, optional
        Place of the ledger; else ``DRYPOINT_LEDGER``, else the user's own.
    aside : bool
        Whether a file that is there is moved aside (to ``NAME.before-restore-TIME``).

    Raises
    ------
    LedgerError
        When the backup is damaged, a ledger is there and may not be moved, or what was restored is
        not the backup. The earlier ledger is then where it was.
    """
    backup = Path(backup)
    export = read_export(backup)
    place = find_place(where)
    moved: Path | None = None
    if place.path is not None and place.path.exists():
        if is_own(backup, place.path):
            raise LedgerError("The backup is the ledger itself.", remedy="Name the backup.")
        if not aside:
            raise LedgerError(
                f"There is a ledger at {place} already; nothing was changed.",
                remedy="To move it aside: --aside. To add what is new in an export of the same "
                "ledger: drypoint ledger import.",
            )
        moved = _move_aside(place.path)
    try:
        book = Ledger.open(where)
        if place.path is None and book.head().id:
            raise LedgerError(
                f"The ledger at {place} is not empty; nothing was changed.",
                remedy="Restore into an empty database, or use drypoint ledger import.",
            )
        book.import_from(backup)
        head = book.head()
        last = export.entries[-1] if export.entries else None
        if (head.id, head.hash) != ((last.id, last.hash) if last else (0, "")) or book.verify():
            raise LedgerError(f"What was restored to {place} is not the backup.")
    except BaseException:
        if moved is not None and place.path is not None:
            _move_back(moved, place.path)
        raise
    return Restored(place, head, moved)


def _move_aside(path: Path) -> Path:
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    target = path.with_name(f"{path.name}.before-restore-{stamp}")
    if target.exists():
        raise LedgerError(f"{target} is there already.", remedy="Try again in a second.")
    try:
        for end in _BESIDE:
            file = path.with_name(path.name + end)
            if file.exists():
                file.rename(target.with_name(target.name + end))
    except OSError as error:
        _move_back(target, path)
        raise LedgerError(
            f"The ledger {path} cannot be moved aside: {error.strerror or error}.",
            remedy="Close programs that have it open.",
        ) from error
    return target


def _move_back(moved: Path, path: Path) -> None:
    for end in _BESIDE:
        old = moved.with_name(moved.name + end)
        if old.exists():
            with contextlib.suppress(OSError):
                old.replace(path.with_name(path.name + end))

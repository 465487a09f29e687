"""The ledger: what a laboratory knows of its bench, added to and never changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from drypoint.errors import LedgerError, Where
from drypoint.ledger.body import Body
from drypoint.ledger.chain import Break, breaks
from drypoint.ledger.entry import Draft, Entry, Head, Stored, chained, entry_of, read_entry
from drypoint.ledger.exchange import is_own, read_export, take, write_export
from drypoint.ledger.fields import name_of, time_text, words_of
from drypoint.ledger.kinds import SignatureBody, WithdrawalBody
from drypoint.ledger.naming import check_persons
from drypoint.ledger.place import Place, find_place
from drypoint.ledger.queries import Queries
from drypoint.ledger.rules import check, existing

if TYPE_CHECKING:
    from drypoint.ledger.database import Database
    from drypoint.ledger.rows import Rows

B = TypeVar("B", bound=Body)


def _now() -> datetime:
    return datetime.now(UTC)


class Ledger(Queries):
    """A ledger in a file or on a server; open it with :meth:`open`.

    Nothing is written until a draft is accepted::

        ledger = Ledger.open("lab.sqlite")
        draft = ledger.propose(TipBody(name="B1", shape="modified Berkovich"))
        ledger.accept(draft, who="A. Person", why="new tip")
    """

    def __init__(self, database: Database, clock: Callable[[], datetime] = _now) -> None:
        self._database = database
        self._clock = clock

    @classmethod
    def open(
        cls,
        where: str | Path | None = None,
        *,
        create: bool = True,
        wait_s: float = 30.0,
        clock: Callable[[], datetime] = _now,
    ) -> Ledger:
        """Open a ledger.

        Parameters
        ----------
        where : str or Path, optional
            A file, or a URL such as ``postgresql://user@server/database``. Left out: what the
            environment variable ``DRYPOINT_LEDGER`` says, else the user's own ledger.
        create : bool
            Begin a ledger where there is none.
        wait_s : float
            How long to wait while others write.
        clock : callable
            The present time, with a zone.

        Raises
        ------
        LedgerError
            When it cannot be reached, is no ledger, or is of a newer Drypoint.
        """
        try:
            place = find_place(where)
            from drypoint.ledger.database import Database
        except ModuleNotFoundError as error:
            if (error.name or "").partition(".")[0] != "sqlalchemy":
                raise
            raise LedgerError(
                "The ledger needs SQLAlchemy, which is not installed.",
                remedy='Install it: pip install "drypoint[ledger]".',
            ) from error
        database = Database(place, wait_s)
        database.prepare(create)
        return cls(database, clock)

    def __repr__(self) -> str:
        return f"Ledger({str(self.place)!r})"

    @property
    def place(self) -> Place:
        """Where it lies."""
        return self._database.place

    # ---- writing ---------------------------------------------------------------------------

    def propose(self, body: B) -> Draft[B]:
        """A new entry as a draft, after checking that it fits. Nothing is written."""
        return self._checked(Draft(body))

    def correct(self, number: int, body: B) -> Draft[B]:
        """A draft that takes the place of an entry, or brings a withdrawn one back."""
        return self._checked(Draft(body, number))

    def withdraw(self, number: int) -> Draft[WithdrawalBody]:
        """A draft that says that an entry was made in error."""
        old = self.entry(number)
        return self._checked(Draft(WithdrawalBody(of=old.name), number))

    def sign(
        self, number: int, meaning: str = "approved", remark: str = ""
    ) -> Draft[SignatureBody]:
        """A draft of a signature under an entry as it stands."""
        old = self.entry(number)
        body = SignatureBody(
            entry=number,
            sha256=old.hash,
            subject=f"{old.kind} {old.name}",
            meaning=meaning,
            remark=remark,
        )
        return self._checked(Draft(body))

    def _checked(self, draft: Draft[B]) -> Draft[B]:
        with self._database.reading() as rows:
            check(rows, draft)
        return draft

    def accept(self, draft: Draft[B], who: str, why: str) -> Entry[B]:
        """Write a draft; it is on the disk when this returns.

        Raises
        ------
        LedgerError
            When it does not fit any more (somebody was quicker), or cannot be written.
        """
        return self.accept_all([draft], who, why)[0]

    def accept_all(self, drafts: Sequence[Draft[B]], who: str, why: str) -> tuple[Entry[B], ...]:
        """Write several drafts, all or none; a later one may need an earlier one.

        A draft that was written before, by the same person for the same reason, is not written
        again.

        Raises
        ------
        SignerError
            When a name mixes scripts, or is new and looks like one that is in the ledger.
        """
        for said, text, right in (("who accepts", who, name_of), ("why", why, words_of)):
            try:
                right(text)
            except ValueError as error:
                what = str(error).partition("; allowed: ")[0]
                raise LedgerError(
                    f"It is not clear {said}: {what}.", remedy="Every entry says who and why."
                ) from error
        when = time_text(self._clock())
        with self._database.writing() as rows:
            check_persons(rows, drafts, who)
            return tuple(self._write(rows, draft, when, who, why) for draft in drafts)

    def _write(self, rows: Rows, draft: Draft[B], when: str, who: str, why: str) -> Entry[B]:
        done = rows.by_key(draft.key)
        if done is not None:
            if (done.who, done.why) != (who, why):
                raise LedgerError(
                    f"This draft is in the ledger already: entry {done.id} ({done.who}, "
                    f"{done.when}).",
                    remedy="To say more about it, add a remark or a signature.",
                )
            return entry_of(done, type(draft.body))
        check(rows, draft, who)
        last = rows.last()
        if last is not None and last.hash != last.right_hash():
            raise LedgerError(
                f"The last entry of the ledger, {last.id}, was changed behind its back; nothing "
                "is added to it.",
                remedy="Run drypoint ledger check, and put the ledger back from a copy.",
            )
        stored = chained(draft, last, rows.identity(), when, who, why)
        rows.insert(stored, draft.body.links)
        return entry_of(stored, type(draft.body))

    # ---- reading ---------------------------------------------------------------------------

    def entry(self, number: int) -> Entry[Body]:
        """One entry by its number.

        Raises
        ------
        LedgerError
            When there is none.
        """
        with self._database.reading() as rows:
            return read_entry(existing(rows, number))

    def entries(self, after: int = 0) -> tuple[Entry[Body], ...]:
        """All entries as they were written, in order, behind a number."""
        with self._database.reading() as rows:
            return tuple(read_entry(s) for s in rows.all(after))

    def current(
        self,
        kind: type[B],
        *,
        name: str | None = None,
        tip: str | None = None,
        frame: str | None = None,
        block: str | None = None,
        calibration: str | None = None,
    ) -> tuple[Entry[B], ...]:
        """Entries of one kind that hold now (corrected ones corrected, withdrawn ones left out).

        ``kind`` is a class such as :class:`~drypoint.ledger.kinds.TipBody`, or ``Body`` for all;
        the others choose by name and by what an entry is about (``calibration`` by SHA-256).
        """
        asked = {"tip": tip, "frame": frame, "block": block, "calibration": calibration}
        links = [(role, linked) for role, linked in asked.items() if linked is not None]
        kinds = [kind.kind] if kind.kind else []
        with self._database.reading() as rows:
            return tuple(entry_of(s, kind) for s in rows.current(kinds, name, links))

    def named(self, kind: type[B], name: str) -> Entry[B]:
        """The one entry that holds for a tip, frame or block.

        Raises
        ------
        LedgerError
            When there is none.
        """
        found = self.current(kind, name=name)
        if not found:
            raise LedgerError(f"No {kind.kind} “{name}” is in the ledger.")
        return found[-1]

    def versions(self, number: int) -> tuple[Entry[Body], ...]:
        """An entry with all that stood or stands in its place, the oldest first."""
        with self._database.reading() as rows:
            return tuple(read_entry(s) for s in _line(rows, number))

    def _signed(self, numbers: Iterable[int]) -> tuple[dict[int, Entry[Body]], set[int]]:
        wanted = list(numbers)
        with self._database.reading() as rows:
            entries = {s.id: read_entry(s) for s in rows.numbered(wanted)}
            replaced = {s.corrects for s in rows.in_place_of(wanted) if s.corrects is not None}
            return entries, replaced

    def history(self, name: str) -> tuple[Entry[Body], ...]:
        """All that was ever entered about a thing, by its name (or a hash), in order.

        With corrections, withdrawals, and signatures and remarks on any of it.
        """
        with self._database.reading() as rows:
            found = {s.id: s for s in rows.about(name)}
            new = list(found.values())
            while new:
                ids = [s.id for s in new]
                before = [s.corrects for s in new if s.corrects is not None]
                near = [*rows.in_place_of(ids), *rows.on_entries(ids), *rows.numbered(before)]
                new = list({s.id: s for s in near if s.id not in found}.values())
                found |= {s.id: s for s in new}
            return tuple(read_entry(found[n]) for n in sorted(found))

    def persons(self) -> tuple[str, ...]:
        """Everybody who has written an entry, or whose key is in the ledger."""
        with self._database.reading() as rows:
            return tuple(rows.persons())

    def newest(self) -> Stored | None:
        """The last entry, ``None`` where the ledger is empty."""
        with self._database.reading() as rows:
            return rows.last()

    def head(self) -> Head:
        """The state of the ledger, to be kept elsewhere."""
        with self._database.reading() as rows:
            last = rows.last()
            return Head(rows.identity(), last.id if last else 0, last.hash if last else "")

    def verify(self, head: Head | None = None) -> tuple[Break, ...]:
        """Every place where the chain does not hold; empty where all is well.

        ``head`` is an earlier state that was kept elsewhere.
        """
        with self._database.reading() as rows:
            return tuple(breaks(rows, head))

    # ---- whole ledgers ---------------------------------------------------------------------

    def export_to(self, path: Path | str) -> Head:
        """Write the whole ledger as JSON Lines; an existing file is replaced at the end.

        Raises
        ------
        LedgerError
            When the path is that of the ledger itself, or cannot be written.
        """
        target = Path(path)
        own = self.place.path
        if own is not None and is_own(target, own):
            raise LedgerError(
                f"The export would take the place of the ledger itself, {own}.",
                remedy="Choose another file; nothing was written.",
            )
        with self._database.reading() as rows:
            return write_export(rows, target)

    def back_up_to(self, path: Path | str) -> Head:
        """Write a backup (an export), read it again, and compare it with the ledger.

        Raises
        ------
        LedgerError
            When it cannot be written, or what was written is not the ledger.
        """
        head = self.export_to(path)
        copy = read_export(Path(path))
        last = copy.entries[-1] if copy.entries else None
        if (copy.identity, last.id if last else 0, last.hash if last else "") != (
            head.ledger, head.id, head.hash
        ):  # fmt: skip
            raise LedgerError(
                "The backup is not the ledger.", where=Where(str(path)), remedy="Try again."
            )
        return head

    def import_from(self, path: Path | str) -> int:
        """Take in an export, all or nothing; return how many entries were new.

        This ledger must be empty, or hold the beginning of the same ledger.

        Raises
        ------
        LedgerError
            When the export is damaged, or is of another ledger.
        """
        export = read_export(Path(path))
        with self._database.writing() as rows:
            return take(rows, export)


def _line(rows: Rows, number: int) -> list[Stored]:
    """An entry with those before and behind it in the same place."""
    first = existing(rows, number)
    while first.corrects is not None:
        first = existing(rows, first.corrects)
    line = [first]
    while (later := rows.successor(line[-1].id)) is not None:
        line.append(later)
    return line

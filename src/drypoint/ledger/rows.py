"""Every question that is put to the database, inside one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Select, and_, exists, func, or_, select, update

from drypoint.errors import LedgerError
from drypoint.ledger.body import Link
from drypoint.ledger.entry import Stored
from drypoint.ledger.schema import ENTRIES, FACTS, LINKS, missing_guards
from drypoint.parsing import json_value

_PAGE = 1000
#: How many numbers stand in one question; a database does not take any number of them.
_PART = 500
_later = ENTRIES.alias("later")


class Rows:
    """The rows of a ledger as one transaction sees them."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def identity(self) -> str:
        """The ledger's own identity, made when it was begun."""
        query = select(FACTS.c.value).where(FACTS.c.fact == "identity")
        return str(self._connection.execute(query).scalar_one())

    def take_identity(self, identity: str) -> None:
        """Go on as another ledger; only for one without entries."""
        here = FACTS.c.fact == "identity"
        self._connection.execute(update(FACTS).where(here).values(value=identity))

    def last(self) -> Stored | None:
        """The last entry."""
        found = self._find(select(ENTRIES).order_by(ENTRIES.c.id.desc()).limit(1))
        return found[0] if found else None

    def get(self, number: int) -> Stored | None:
        """An entry by its number."""
        if not 0 < number < 2**63:
            return None
        found = self._find(select(ENTRIES).where(ENTRIES.c.id == number))
        return found[0] if found else None

    def by_key(self, key: str) -> Stored | None:
        """The entry that came from a draft."""
        found = self._find(select(ENTRIES).where(ENTRIES.c.key == key))
        return found[0] if found else None

    def successor(self, number: int) -> Stored | None:
        """The entry that stands in the place of another."""
        found = self._find(select(ENTRIES).where(ENTRIES.c.corrects == number))
        return found[0] if found else None

    def all(self, after: int = 0) -> Iterator[Stored]:
        """Every entry behind a number, in order."""
        while True:
            query = select(ENTRIES).where(ENTRIES.c.id > after).order_by(ENTRIES.c.id).limit(_PAGE)
            found = self._find(query)
            yield from found
            if len(found) < _PAGE:
                return
            after = found[-1].id

    def current(
        self, kinds: Iterable[str] = (), name: str | None = None, links: Sequence[Link] = ()
    ) -> list[Stored]:
        """Entries in whose place no later one stands, without withdrawals, in order."""
        superseded = exists().where(_later.c.corrects == ENTRIES.c.id)
        query = select(ENTRIES).where(~superseded, ENTRIES.c.kind != "withdrawal")
        if wanted := tuple(kinds):
            query = query.where(ENTRIES.c.kind.in_(wanted))
        if name is not None:
            query = query.where(ENTRIES.c.name == name)
        for role, linked in links:
            query = query.where(_has_link(role, linked))
        return self._find(query.order_by(ENTRIES.c.id))

    def known(self, link: Link) -> bool:
        """Whether something has ever entered that a link leads to, and was not withdrawn."""
        role, name = link
        if role == "calibration":
            query = select(ENTRIES).where(ENTRIES.c.kind == role, _has_link(role, name))
            return any(self._holds(row) for row in self._find(query))
        return bool(self.current([role], name))

    def _holds(self, row: Stored) -> bool:
        """Whether what an entry began was not withdrawn in the end."""
        last = row
        while (later := self.successor(last.id)) is not None:
            last = later
        return last.kind != "withdrawal"

    def names(self, kind: str) -> list[str]:
        """All names of one kind that are current."""
        return sorted({row.name for row in self.current([kind])})

    def persons(self) -> list[str]:
        """Who has written entries, and whose keys are entered, each once."""
        query = select(ENTRIES.c.who).distinct().order_by(ENTRIES.c.who)
        wrote = [str(w) for w in self._connection.execute(query).scalars()]
        owners = [json_value(s.body).get("person", "") for s in self.current(["key"])]
        return sorted({*wrote, *owners} - {""})

    def about(self, name: str) -> list[Stored]:
        """Entries with a name, or with a link of that name, in order."""
        linked = exists().where(
            LINKS.c.entry == ENTRIES.c.id,
            LINKS.c.role.in_(("tip", "frame", "block", "calibration", "recipe", "results")),
            LINKS.c.name == name,
        )
        query = select(ENTRIES).where(or_(ENTRIES.c.name == name, linked))
        return self._find(query.order_by(ENTRIES.c.id))

    def numbered(self, numbers: Iterable[int]) -> list[Stored]:
        """Entries by their numbers."""
        return self._in_parts(numbers, lambda part: ENTRIES.c.id.in_(part))

    def in_place_of(self, numbers: Iterable[int]) -> list[Stored]:
        """The entries that stand in the place of others."""
        return self._in_parts(numbers, lambda part: ENTRIES.c.corrects.in_(part))

    def on_entries(self, numbers: Iterable[int]) -> list[Stored]:
        """Signatures and remarks on entries."""

        def linked(part: Sequence[int]) -> Any:
            names = [str(n) for n in part]
            query = select(LINKS.c.entry).where(LINKS.c.role == "entry", LINKS.c.name.in_(names))
            return ENTRIES.c.id.in_(query)

        return self._in_parts(numbers, linked)

    def _in_parts(
        self, numbers: Iterable[int], condition: Callable[[Sequence[int]], Any]
    ) -> list[Stored]:
        wanted = sorted(set(numbers))
        parts = [wanted[i : i + _PART] for i in range(0, len(wanted), _PART)]
        return [row for part in parts for row in self._find(select(ENTRIES).where(condition(part)))]

    def links(self, first: int, last: int) -> dict[int, set[Link]]:
        """The links of the entries from one number to another."""
        query = select(LINKS).where(and_(LINKS.c.entry >= first, LINKS.c.entry <= last))
        out: dict[int, set[Link]] = {}
        for row in self._connection.execute(query):
            out.setdefault(row.entry, set()).add((row.role, row.name))
        return out

    def missing_guards(self) -> list[str]:
        """Triggers and indexes that the database lacks."""
        return missing_guards(self._connection)

    def stray_links(self) -> int:
        """How many links belong to no entry."""
        query = select(func.count()).where(~exists().where(ENTRIES.c.id == LINKS.c.entry))
        return int(self._connection.execute(query.select_from(LINKS)).scalar_one())

    def insert(self, stored: Stored, links: Iterable[Link]) -> None:
        """Write an entry and its links."""
        # Not vars(): the order of columns must not depend on the class.
        values = {c.key: getattr(stored, c.key) for c in ENTRIES.c}
        self._connection.execute(ENTRIES.insert(), values)
        if rows := [{"entry": stored.id, "role": r, "name": n} for r, n in dict.fromkeys(links)]:
            self._connection.execute(LINKS.insert(), rows)

    def _find(self, query: Select[Any]) -> list[Stored]:
        # Rows come in the order of the table, which is that of the fields.
        return [_stored(row) for row in self._connection.execute(query)]


def _stored(row: Sequence[Any]) -> Stored:
    """A row as an entry, after a look at its types: a database file can be changed by hand."""
    made = Stored(*row)
    for name, kind in (("id", int), ("form", int), ("corrects", int)):
        value = getattr(made, name)
        if not (name == "corrects" and value is None) and type(value) is not kind:
            raise _damaged(made, name)
    for name in ("kind", "name", "when", "who", "why", "key", "body", "body_sha256", "previous",
                 "hash"):  # fmt: skip
        if not isinstance(getattr(made, name), str):
            raise _damaged(made, name)
    return made


def _damaged(row: Stored, name: str) -> LedgerError:
    return LedgerError(
        f"Entry {row.id!s:.30} of the ledger is damaged: its “{name}” is not of the right type.",
        remedy="Restore the ledger from a backup: drypoint ledger restore.",
    )


def _has_link(role: str, name: str) -> Any:
    return exists().where(LINKS.c.entry == ENTRIES.c.id, LINKS.c.role == role, LINKS.c.name == name)

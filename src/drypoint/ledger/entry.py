"""An entry, the draft it came from, and the chain of hashes that ties it to the one before."""

from __future__ import annotations

import hashlib
import json
import secrets
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from drypoint.errors import LedgerError
from drypoint.ledger.body import Body
from drypoint.ledger.kinds import KINDS
from drypoint.parsing import json_value

B = TypeVar("B", bound=Body, covariant=True)
C = TypeVar("C", bound=Body)


@dataclass(frozen=True)
class Stored:
    """An entry as it lies in the database. ``body`` is canonical JSON.

    ``key`` is the draft's; ``corrects`` the number of the entry in whose place it stands;
    ``previous`` the hash of the entry before.
    """

    id: int
    kind: str
    form: int
    name: str
    when: str
    who: str
    why: str
    corrects: int | None
    key: str
    body: str
    body_sha256: str
    previous: str
    hash: str

    def right_hash(self) -> str:
        """The hash that it must have: SHA-256 over all else (the body by its own hash)."""
        parts = [
            self.id, self.kind, self.form, self.name, self.when, self.who, self.why,
            self.corrects, self.key, self.body_sha256, self.previous,
        ]  # fmt: skip
        return sha256(canonical(parts))


@dataclass(frozen=True)
class Entry(Generic[B]):
    """An entry with its body as a type."""

    stored: Stored = field(repr=False)
    id: int
    kind: str
    name: str
    when: str
    who: str
    why: str
    corrects: int | None
    body: B

    @property
    def hash(self) -> str:
        """Its place in the chain."""
        return self.stored.hash


@dataclass(frozen=True)
class Draft(Generic[B]):
    """An entry that nobody has accepted yet; it is written nowhere.

    ``key`` makes it known again: the same draft cannot enter twice.
    """

    body: B
    corrects: int | None = None
    key: str = field(default_factory=lambda: secrets.token_hex(16), repr=False)

    @property
    def kind(self) -> str:
        """Kind of the entry."""
        return self.body.kind

    @property
    def name(self) -> str:
        """Name under which it will be found."""
        return self.body.label


@dataclass(frozen=True)
class Head:
    """The state of a ledger: its identity, the number and the hash of its last entry.

    Kept outside the ledger (in a report, on paper) it proves that nothing before was changed.
    """

    ledger: str
    id: int
    hash: str

    def __str__(self) -> str:
        return f"{self.id}:{self.hash}"


def canonical(value: Any) -> str:
    """Canonical JSON: sorted keys, shortest numbers, no blanks."""
    return json.dumps(
        value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    )


def sha256(text: str) -> str:
    """SHA-256 of a text in UTF-8."""
    return hashlib.sha256(text.encode("utf-8", errors="surrogatepass")).hexdigest()


def origin_hash(ledger: str) -> str:
    """What stands as ``previous`` in the first entry of a ledger."""
    return sha256(f"drypoint ledger {ledger}")


def body_text(body: Body) -> str:
    """A body as canonical JSON."""
    return canonical(body.model_dump(mode="json"))


def chained(
    draft: Draft[Body], after: Stored | None, ledger: str, when: str, who: str, why: str
) -> Stored:
    """The row of a draft, behind ``after`` (``None`` where it is the first)."""
    text = body_text(draft.body)
    row: dict[str, Any] = {
        "id": 1 if after is None else after.id + 1,
        "kind": draft.kind,
        "form": draft.body.form,
        "name": draft.name,
        "when": when,
        "who": who,
        "why": why,
        "corrects": draft.corrects,
        "key": draft.key,
        "body": text,
        "body_sha256": sha256(text),
        "previous": origin_hash(ledger) if after is None else after.hash,
    }
    return Stored(**row, hash=Stored(**row, hash="").right_hash())


def entry_of(stored: Stored, kind: type[C]) -> Entry[C]:
    """An entry whose kind is known."""
    entry = read_entry(stored)
    assert isinstance(entry.body, kind)
    return entry  # type: ignore[return-value]


def read_entry(stored: Stored) -> Entry[Body]:
    """A row as an entry.

    Raises
    ------
    LedgerError
        When a newer Drypoint wrote it, or its text was damaged.
    """
    return Entry(
        stored, stored.id, stored.kind, stored.name, stored.when, stored.who, stored.why,
        stored.corrects, _body(stored),
    )  # fmt: skip


#: (kind, form) -> how a body of that form becomes one of the next form. Rows are never rewritten:
#: old forms are brought up whenever they are read.
UPGRADES: dict[tuple[str, int], Any] = {}


def _body(stored: Stored) -> Body:
    kind = KINDS.get(stored.kind)
    if kind is None or stored.form > kind.form:
        raise LedgerError(
            f"Entry {stored.id} ({stored.kind}, form {stored.form}) was written by a newer "
            "Drypoint.",
            remedy="Use that version or a newer one; the ledger is as it was.",
        )
    try:
        values = json_value(stored.body)
    except (ValueError, RecursionError) as error:
        raise _damaged(stored, str(error)[:200]) from error
    if stored.form < 1:
        raise _damaged(stored, f"its form is {stored.form}")
    for form in range(stored.form, kind.form):
        values = UPGRADES[stored.kind, form](values)
    try:
        return kind.model_validate(values)
    except LedgerError as error:
        raise _damaged(stored, error.what) from error


def _damaged(stored: Stored, detail: str) -> LedgerError:
    return LedgerError(
        f"The content of entry {stored.id} ({stored.kind} “{stored.name}”) cannot be read: "
        f"{detail}",
        remedy="Run drypoint ledger check, and put the ledger back from a copy.",
    )

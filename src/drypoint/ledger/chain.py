"""Does the chain hold? Every way in which a ledger was changed behind its back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from drypoint.errors import LedgerError
from drypoint.ledger.entry import Head, Stored, body_text, origin_hash, read_entry, sha256
from drypoint.ledger.kinds import SignatureBody

if TYPE_CHECKING:
    from drypoint.ledger.rows import Rows


@dataclass(frozen=True)
class Break:
    """A place where the chain does not hold: number of the entry, and what is wrong."""

    id: int
    what: str

    def __str__(self) -> str:
        return f"Entry {self.id}: {self.what}"


def follows(stored: Stored, before: Stored | None, identity: str) -> Iterator[Break]:
    """What is wrong with one entry, seen from the one before."""
    due = 1 if before is None else before.id + 1
    if stored.id != due:
        gap = str(due) if stored.id == due + 1 else f"{due} to {stored.id - 1}"
        yield Break(stored.id, f"what came before it is missing (entry {gap}).")
    elif stored.previous != (origin_hash(identity) if before is None else before.hash):
        where = "the beginning of this ledger" if before is None else f"entry {before.id}"
        yield Break(stored.id, f"it does not follow from {where}.")
    if stored.body_sha256 != sha256(stored.body):
        yield Break(stored.id, "its content was changed after it was written.")
    if stored.hash != stored.right_hash():
        yield Break(stored.id, "its kind, name, time, person, reason or hash was changed.")


def breaks(rows: Rows, head: Head | None = None) -> Iterator[Break]:
    """Every break of a ledger, in order.

    ``head`` is what the ledger had at an earlier time, kept elsewhere: only that shows that
    entries at the end were cut off, or that all was written anew.
    """
    identity = rows.identity()
    before: Stored | None = None
    hashes: dict[int, str] = {}
    replaced: set[int] = set()
    links: dict[int, set[tuple[str, str]]] = {}
    upto = 0
    for stored in rows.all():
        yield from follows(stored, before, identity)
        if stored.id > upto:
            upto = stored.id + 999
            links = rows.links(stored.id, upto)
        yield from _inside(stored, hashes, links.get(stored.id, set()))
        if stored.corrects is not None:
            if stored.corrects not in hashes or stored.corrects in replaced:
                yield Break(stored.id, f"it cannot stand in the place of entry {stored.corrects}.")
            replaced.add(stored.corrects)
        hashes[stored.id] = stored.hash
        before = stored
    last = 0 if before is None else before.id
    if stray := rows.stray_links():
        yield Break(last, f"{stray} links belong to no entry.")
    for guard in rows.missing_guards():
        yield Break(
            last,
            f"the database lacks the {guard}, by which it refuses changes or finds entries: "
            "somebody has removed or replaced it.",
        )
    if head is not None:
        yield from _held(head, hashes, identity, last)


def _inside(stored: Stored, hashes: dict[int, str], links: set[tuple[str, str]]) -> Iterator[Break]:
    try:
        entry = read_entry(stored)
    except LedgerError as error:
        yield Break(stored.id, error.what)
        return
    body = entry.body
    current = stored.form == body.form
    if current and (body_text(body) != stored.body or body.label != stored.name):
        yield Break(stored.id, "its content is not as Drypoint writes it.")
    if links != set(body.links):
        yield Break(stored.id, "its links are not those of its content.")
    signed = isinstance(body, SignatureBody) and body.entry is not None
    if signed and hashes.get(body.entry or 0) != body.sha256:  # type: ignore[attr-defined]
        yield Break(stored.id, f"the signed entry {body.entry} is not as it was signed.")  # type: ignore[attr-defined]


def _held(head: Head, hashes: dict[int, str], identity: str, last: int) -> Iterator[Break]:
    if head.ledger and head.ledger != identity:
        yield Break(last, "this is not the ledger that the earlier state is of.")
    elif head.id > last:
        yield Break(last, f"entries {last + 1} to {head.id} were cut off.")
    elif head.id and hashes.get(head.id) != head.hash:
        yield Break(head.id, "it is not the entry that stood here at the earlier state.")

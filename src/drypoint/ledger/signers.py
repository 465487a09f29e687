"""Persons and their keys, as a ledger knows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from drypoint.keys import KeyFile, fingerprint, name_key
from drypoint.ledger.body import Body
from drypoint.ledger.entry import Draft
from drypoint.ledger.kinds import KeyBody, KeyEndBody

if TYPE_CHECKING:
    from drypoint.ledger.book import Ledger


@dataclass(frozen=True)
class KeyRecord:
    """Whose a public key is, and the number of the entry that ended it (``None``: it may sign)."""

    person: str
    entered: int
    ended: int | None = None
    how: str = ""


def key_record(ledger: Ledger, public: str) -> KeyRecord | None:
    """What a ledger says of a public key; the first entry of a key decides whose it is."""
    mine = [e for e in ledger.current(KeyBody, name=fingerprint(public)) if e.body.public == public]
    if not mine:
        return None
    ends = ledger.current(KeyEndBody, name=fingerprint(public))
    end = min(ends, key=lambda e: e.id, default=None)
    how = end.body.how if end is not None else ""
    return KeyRecord(mine[0].body.person, mine[0].id, end.id if end is not None else None, how)


def keys_of_person(ledger: Ledger, who: str) -> tuple[str, ...]:
    """Public keys of a person that may sign."""
    ended = {e.body.fingerprint for e in ledger.current(KeyEndBody)}
    return tuple(
        e.body.public
        for e in ledger.current(KeyBody)
        if name_key(e.body.person) == name_key(who) and e.body.fingerprint not in ended
    )


def enter_key(ledger: Ledger, key: KeyFile, why: str) -> bool:
    """Enter a key, and its end where it has ended; false where nothing was missing."""
    record = key_record(ledger, key.public)
    drafts: list[Draft[Body]] = []
    if record is None:
        body = KeyBody(person=key.who, public=key.public, fingerprint=key.fingerprint)
        drafts.append(Draft(body))
    if key.ended and (record is None or record.ended is None):
        end = KeyEndBody(fingerprint=key.fingerprint, how=key.ended)
        drafts.append(Draft(end))
    if drafts:
        ledger.accept_all(drafts, key.who, why)
    return bool(drafts)

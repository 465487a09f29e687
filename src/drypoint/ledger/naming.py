"""Names of persons in a ledger: checked when an entry is written, noted when it came otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from drypoint.errors import SignerError
from drypoint.keys import check_name, name_key
from drypoint.ledger.body import Body
from drypoint.ledger.entry import Draft

if TYPE_CHECKING:
    from drypoint.ledger.book import Ledger
    from drypoint.ledger.rows import Rows


def check_persons(rows: Rows, drafts: Sequence[Draft[Body]], who: str) -> None:
    """Refuse entries that name a person in mixed scripts, or by a new name that looks like a known
    one. A name that is in the ledger already is no new one.

    Raises
    ------
    SignerError
        Says what is wrong, and with which name.
    """
    known = rows.persons()
    for name in dict.fromkeys([who, *(str(getattr(d.body, "person", who)) for d in drafts)]):
        new = name_key(name) not in {name_key(k) for k in known}
        check_name(name, known if new else ())


def doubtful_names(ledger: Ledger) -> tuple[str, ...]:
    """A sentence for each name in a ledger that would not be written today: what was taken over
    from an export, or written by an earlier version."""
    persons = ledger.persons()
    said = []
    for k, name in enumerate(persons):
        try:
            check_name(name, persons[:k])
        except SignerError as error:
            said.append(error.what)
    return tuple(said)

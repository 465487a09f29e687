"""What a draft must fulfil in this ledger: asked when it is proposed, and when it is written."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Any

from drypoint.errors import LedgerError
from drypoint.ledger.body import Body
from drypoint.ledger.entry import Draft, Stored, read_entry
from drypoint.ledger.kinds import CalibrationBody, SignatureBody, WithdrawalBody

if TYPE_CHECKING:
    from drypoint.ledger.rows import Rows


def check(rows: Rows, draft: Draft[Body], who: str | None = None) -> None:
    """Refuse a draft that does not fit what is in the ledger.

    Raises
    ------
    LedgerError
        With what to do instead.
    """
    first = None if draft.corrects is None else _corrected(rows, draft, draft.corrects, who)
    if isinstance(draft.body, WithdrawalBody):
        if draft.corrects is None:
            raise LedgerError("A withdrawal names no entry.", remedy="Withdraw one by its number.")
        return
    if draft.body.named:
        _named(rows, draft, first)
    if isinstance(draft.body, CalibrationBody):
        _once(rows, draft, draft.body)
    for role, name in draft.body.needs:
        if not rows.known((role, name)):
            raise _missing(rows, draft, role, name)
    number = getattr(draft.body, "entry", None)
    if number is not None:
        _on_entry(rows, draft, number)


def _corrected(rows: Rows, draft: Draft[Body], number: int, who: str | None) -> Stored:
    """The first entry of the line that a draft goes on with."""
    old = existing(rows, number)
    if (later := rows.successor(number)) is not None:
        raise LedgerError(
            f"Entry {number} was already corrected, by entry {later.id} ({later.who}, "
            f"{later.when}).",
            remedy=f"Look at entry {later.id}, and correct that one where it is wrong.",
        )
    withdrawn = old.kind == "withdrawal"
    if withdrawn and isinstance(draft.body, WithdrawalBody):
        raise LedgerError(f"Entry {number} is a withdrawal already.")
    before = old
    while before.corrects is not None and before.kind == "withdrawal":
        before = existing(rows, before.corrects)
    if not isinstance(draft.body, WithdrawalBody) and draft.kind != before.kind:
        raise LedgerError(
            f"Entry {number} is a {before.kind}; a {draft.kind} cannot take its place.",
            remedy="Withdraw it and enter the other anew.",
        )
    if before.kind == SignatureBody.kind:
        if not isinstance(draft.body, WithdrawalBody):
            raise LedgerError(
                "A signature cannot be corrected.", remedy="Withdraw it, and sign again."
            )
        if who is not None and who != before.who:
            raise LedgerError(
                f"{before.who} signed entry {number}; only {before.who} can take that back.",
                remedy="Add a remark instead.",
            )
    return before


def _named(rows: Rows, draft: Draft[Body], old: Stored | None) -> None:
    if old is not None and old.name != draft.name:
        raise LedgerError(
            f"The {old.kind} “{old.name}” cannot become “{draft.name}”: other entries name it.",
            remedy="Withdraw it and enter the other anew.",
        )
    for found in rows.current([draft.kind], draft.name):
        if found.id != draft.corrects:
            raise LedgerError(
                f"There is a {draft.kind} “{draft.name}” already: entry {found.id}.",
                remedy="Correct that entry, or take another name.",
            )


def _once(rows: Rows, draft: Draft[Body], body: CalibrationBody) -> None:
    link = ("calibration", body.sha256)
    for found in rows.current([body.kind], links=[link]):
        if found.id != draft.corrects:
            raise LedgerError(
                f"This calibration is in the ledger already: entry {found.id}.",
                remedy="Nothing is to be done.",
            )


def _missing(rows: Rows, draft: Draft[Body], role: str, name: str) -> LedgerError:
    if role == "calibration":
        return LedgerError(
            f"No calibration with the SHA-256 {name[:12]}… is in the ledger.",
            remedy="Accept the calibration first.",
        )
    near = difflib.get_close_matches(name, rows.names(role), 1, 0.5)
    guess = f"Is “{near[0]}” meant? Otherwise enter" if near else "Enter"
    return LedgerError(
        f"No {role} “{name}” is in the ledger; the {draft.body.title()} names it.",
        remedy=f"{guess} the {role} first.",
    )


def _on_entry(rows: Rows, draft: Draft[Body], number: int) -> None:
    signed = existing(rows, number)
    body: Any = draft.body
    if not isinstance(body, SignatureBody):
        return
    if body.sha256 != signed.hash:
        raise LedgerError(
            f"The signature is not of entry {number} as it stands.",
            remedy="Look at the entry again, and sign that.",
        )
    if (later := rows.successor(number)) is not None:
        raise LedgerError(
            f"Entry {number} holds no more: entry {later.id} stands in its place.",
            remedy=f"Look at entry {later.id}.",
        )


def existing(rows: Rows, number: int) -> Stored:
    """An entry by its number.

    Raises
    ------
    LedgerError
        When there is none.
    """
    found = rows.get(number)
    if found is None:
        last = rows.last()
        have = "it is empty" if last is None else f"its last is {last.id}"
        raise LedgerError(f"The ledger has no entry {number}; {have}.", remedy="Look at the list.")
    return found


def links_of(stored: Stored) -> set[tuple[str, str]]:
    """The links that an entry must have."""
    return set(read_entry(stored).body.links)

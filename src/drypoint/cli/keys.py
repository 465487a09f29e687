"""The commands ``drypoint key ...``: make, list, end and enter signing keys."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from drypoint.keys import KeyFile

keys = typer.Typer(
    help="Signing keys of persons (Ed25519, optional). The private key lies in the user's folder "
    "under a passphrase; the ledger says whose the public key is.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Who = Annotated[str, typer.Option("--who", help="Name of the person.")]
Why = Annotated[str, typer.Option("--why", help="The reason; it is entered in the ledger.")]
PassphraseFile = Annotated[
    Path | None,
    typer.Option(
        "--passphrase-file",
        help="File whose first line is the passphrase. If omitted, it is asked for.",
    ),
]
Where = Annotated[
    str | None,
    typer.Option(
        "--ledger", help="The ledger: a file or URL; else DRYPOINT_LEDGER, else your own."
    ),
]
NoLedger = Annotated[bool, typer.Option("--no-ledger", help="The ledger is not touched.")]


def passphrase(file: Path | None, *, new: bool = False, words: str = "Passphrase") -> str:
    """A passphrase from a file, or asked for without showing it; a new one twice.

    Raises
    ------
    SignerError
        When the file cannot be read.
    """
    from drypoint.errors import SignerError
    from drypoint.errors import Where as Place

    if file is None:
        asked: str = typer.prompt(words, hide_input=True, confirmation_prompt=new, err=True)
        return asked
    try:
        with file.open(encoding="utf-8") as lines:
            return lines.readline(1000).rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise SignerError("The passphrase cannot be read.", where=Place(str(file))) from error


@keys.command()
def new(
    who: Who,
    passphrase_file: PassphraseFile = None,
    ledger: Where = None,
    no_ledger: NoLedger = False,
) -> None:
    """Make a key for a person, and enter its public part in the ledger."""
    from drypoint.keys import new_key

    made = new_key(who, passphrase(passphrase_file, new=True))
    print(f"Key {made.fingerprint} of {made.who}: {made.path}")
    print("Keep a copy of this file in a safe place. The passphrase cannot be recovered.")
    _enter(made, "new key", ledger, no_ledger)


@keys.command("list")
def list_() -> None:
    """List the keys in the user's folder."""
    from drypoint.keys import keys_here

    found = keys_here()
    for k in found:
        state = f"{k.ended} on {k.ended_on[:10]}" if k.ended else "may sign"
        print(f"{k.fingerprint}  {k.who}  made {k.made[:10]}  {state}")
    if not found:
        print("No keys. Make one: drypoint key new --who NAME.")


@keys.command("passphrase")
def passphrase_(
    who: Who,
    passphrase_file: PassphraseFile = None,
    new_passphrase_file: Annotated[
        Path | None,
        typer.Option("--new-passphrase-file", help="File whose first line is the new passphrase."),
    ] = None,
) -> None:
    """Put a private key under another passphrase."""
    from drypoint.keys import change_passphrase, find_key

    key = find_key(who)
    old = passphrase(passphrase_file)
    change_passphrase(key, old, passphrase(new_passphrase_file, new=True, words="New passphrase"))
    print(f"The key {key.fingerprint} has a new passphrase.")


@keys.command()
def lost(
    who: Who, why: Why = "key lost", ledger: Where = None, no_ledger: NoLedger = False
) -> None:
    """Report a key as lost: signatures entered before hold, later ones do not."""
    _end(who, "lost", why, ledger, no_ledger)


@keys.command()
def revoke(
    who: Who, why: Why = "key revoked", ledger: Where = None, no_ledger: NoLedger = False
) -> None:
    """Revoke a key, for example when somebody else may know it: signatures entered before hold,
    later ones do not."""
    _end(who, "revoked", why, ledger, no_ledger)


@keys.command()
def replace(
    who: Who,
    passphrase_file: PassphraseFile = None,
    why: Why = "key replaced",
    ledger: Where = None,
    no_ledger: NoLedger = False,
) -> None:
    """End a person's key and make a new one: signatures entered before hold."""
    from drypoint.keys import new_key

    words = passphrase(passphrase_file, new=True, words="Passphrase of the new key")
    _end(who, "replaced", why, ledger, no_ledger)
    made = new_key(who, words)
    print(f"Key {made.fingerprint} of {made.who}: {made.path}")
    _enter(made, "new key", ledger, no_ledger)


@keys.command()
def enter(who: Who, why: Why = "key entered", ledger: Where = None) -> None:
    """Enter in a ledger the keys of a person, and their ends, as the user's folder has them."""
    from drypoint.keys import keys_here, name_key

    mine = [k for k in keys_here() if name_key(k.who) == name_key(who)]
    for key in mine:
        _enter(key, why, ledger, False)
    if not mine:
        print(f"No key of {who} is here.")
        raise typer.Exit(1)


def _end(who: str, how: str, why: str, ledger: str | None, no_ledger: bool) -> None:
    from drypoint.keys import end_key, find_key

    ended = end_key(find_key(who), how)
    print(f"Key {ended.fingerprint} of {ended.who}: {how}. It signs no more.")
    _enter(ended, why, ledger, no_ledger)


def _enter(key: KeyFile, why: str, ledger: str | None, no_ledger: bool) -> None:
    """Enter a key; what was done before stays done where the ledger cannot be written."""
    if no_ledger:
        return
    from drypoint.errors import LedgerError

    try:
        from drypoint.ledger import Ledger
        from drypoint.ledger.signers import enter_key

        book = Ledger.open(ledger)
        new = enter_key(book, key, why)
    except LedgerError as error:
        print(f"The ledger has no entry of it yet: {error}")
        print(f"When it can be written: drypoint key enter --who “{key.who}”.")
        raise typer.Exit(3) from None
    print(f"Entered in the ledger {book.place}." if new else "The ledger has it already.")

"""What the commands ``sign`` and ``check`` do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from drypoint.cli.work import watching
from drypoint.recipe import Study, load_study
from drypoint.run.checking import PROVED, check_signatures
from drypoint.run.recompute import Recomputed, recompute
from drypoint.run.signing import signatures_file

if TYPE_CHECKING:
    from drypoint.keys import SigningKey


def sign_command(
    path: Path,
    who: str,
    why: str,
    ledger: str | None,
    no_ledger: bool,
    meaning: str = "approval",
    with_key: bool = False,
    passphrase_file: Path | None = None,
) -> int:
    """Sign a study's results; enter the signature into the ledger unless told otherwise."""
    from drypoint.report import sign_study

    study = load_study(path)
    key = _opened(who, passphrase_file) if with_key else None
    book = None
    if not no_ledger:
        from drypoint.ledger import Ledger

        book = Ledger.open(ledger)
    with watching(False) as watch:
        made = sign_study(
            study, who=who, why=why, ledger=book, watch=watch, meaning=meaning, key=key
        )
    if study.file.study.invented:
        print("The data of this study are invented.")
    print(f"Version {made.version} signed by {made.words}.")
    if key is None:
        print("Signed without a key: integrity only.")
    print(f"Seal {made.seal}")
    print(f"Hash of the signature {made.hash}")
    print(f"Signature {made.number} written to {signatures_file(study.path)}.")
    print(f"Report: {study.folder / made.file('report.pdf')}")
    if book is not None:
        print(f"It is in the ledger {book.place}.")
    return 0


def _opened(who: str, passphrase_file: Path | None) -> SigningKey:
    from drypoint.cli.keys import passphrase
    from drypoint.keys import find_key, open_key

    return open_key(find_key(who), passphrase(passphrase_file))


def check_command(path: Path, ledger: str | None, again: bool = False) -> int:
    """Print how each signature stands; 0 when the newest holds and nothing was tampered with.

    With ``again`` everything is also derived afresh from the raw files.
    """
    study = load_study(path)
    book = None
    if ledger is not None:
        from drypoint.ledger import Ledger

        book = Ledger.open(ledger, create=False)
    found = check_signatures(study, ledger=book)
    if not found:
        print("Nobody has signed this study.")
        if again:
            print(_again(study).words)
        return 1
    right = found[-1].holds and not any(c.faults for c in found)
    for c in found:
        s = c.signature
        print(f"{s.number}: version {s.version}, {s.words}")
        print(f"   {c.words}")
        for change in c.changes if c.newest else ():
            print(f"   {change}")
        for note in c.notes:
            print(f"   Note: {note}")
    if book is not None:
        for c in found:
            if not book.signatures(sha256=c.signature.hash):
                right = False
                print(f"Signature {c.signature.number} is not in the ledger {book.place}.")
    if again:
        found_again = _again(study)
        print(found_again.words)
        right = right and found_again.holds
    else:
        print(PROVED)
    return 0 if right else 1


def _again(study: Study) -> Recomputed:
    with watching(False) as watch:
        return recompute(study, watch=watch)

"""What the commands ``sign`` and ``check`` do."""

from __future__ import annotations

from pathlib import Path

from drypoint.cli.work import watching
from drypoint.recipe import load_study
from drypoint.run.signing import check_signatures, signatures_file, when_words


def sign_command(
    path: Path, who: str, why: str, when: str, ledger: str | None, no_ledger: bool
) -> int:
    """Sign a study's results; enter the signature into the ledger unless told otherwise."""
    from drypoint.report import sign_study

    study = load_study(path)
    book = None
    if not no_ledger:
        from drypoint.ledger import Ledger

        book = Ledger.open(ledger)
    with watching(False) as watch:
        made = sign_study(study, who=who, why=why, when=when, ledger=book, watch=watch)
    if study.file.study.invented:
        print("The data of this study are invented.")
    print(f"Version {made.version} signed by {made.words}.")
    print(f"Seal {made.seal}")
    print(f"Hash of the signature {made.hash}")
    print(f"Signature {made.number} written to {signatures_file(study.path)}.")
    print(f"Report: {study.folder / made.file('report.pdf')}")
    if book is not None:
        print(f"It is in the ledger {book.place}.")
    return 0


def check_command(path: Path, ledger: str | None) -> int:
    """Print how each signature stands; 0 when the newest holds and nothing was tampered with."""
    study = load_study(path)
    found = check_signatures(study)
    if not found:
        print("Nobody has signed this study.")
        return 1
    right = found[-1].holds and not any(c.faults for c in found)
    for c in found:
        s = c.signature
        print(f"{s.number}: version {s.version}, {s.who}, {when_words(s.when)}: {s.why}")
        print(f"   {c.words}")
        for change in c.changes if c.newest else ():
            print(f"   {change}")
    if ledger is not None:
        from drypoint.ledger import Ledger

        book = Ledger.open(ledger, create=False)
        for c in found:
            if not book.signatures(sha256=c.signature.hash):
                right = False
                print(f"Signature {c.signature.number} is not in the ledger {book.place}.")
    return 0 if right else 1

"""Whether signatures still hold: everything is read and hashed again, and the answer says what was
compared and what was not. :func:`drypoint.run.recompute.recompute` derives the numbers again."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from drypoint import paths
from drypoint.errors import DrypointError, StoreError
from drypoint.keys import fingerprint, name_key, own_public, verifies
from drypoint.recipe import Study, load_study
from drypoint.run.inputs import input_hashes
from drypoint.run.signing import (
    RECIPE,
    SCHEME,
    Signature,
    read_signatures,
    signed_folder,
    standing_on_disk,
)
from drypoint.store import file_sha256, read_results
from drypoint.store.manifest import NAME, Manifest, read_manifest, same_bytes
from drypoint.version import __version__, libraries, processor, program_sha256

if TYPE_CHECKING:
    from drypoint.ledger import Ledger

_FEW = 5
#: Files that operating systems leave in folders.
_LITTER = re.compile(
    r"(\.DS_Store|\._.*|Thumbs\.db|desktop\.ini|\.directory|~\$.*)$", re.IGNORECASE
)


@dataclass(frozen=True)
class Check:
    """Whether one signature holds.

    ``faults`` are in what was kept or in raw files: something was tampered with or lost.
    ``changes`` are in the study since. ``notes`` change nothing about the signature: another
    program or library than then, files that Drypoint has not written, the layout of the study
    file's text.
    """

    signature: Signature
    faults: tuple[str, ...]
    changes: tuple[str, ...]
    newest: bool
    notes: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """What was signed is whole, and the study still says the same."""
        return not self.faults and not self.changes

    @property
    def words(self) -> str:
        """How it stands, in one sentence."""
        s = self.signature
        if self.faults:
            return f"does not hold: {_listed(list(self.faults))}."
        if self.changes:
            return f"is of version {s.version}, which is whole; the study has changed since."
        return (
            f"holds ({self.proof}): study, decisions, raw files, results and report are as signed."
        )

    @property
    def proof(self) -> str:
        """What the signature proves: ``integrity only`` without a key."""
        key = self.signature.key
        return f"signed with the key {fingerprint(key)}" if key else "integrity only"


#: What a check without recomputing proves, and what it does not.
PROVED = (
    "Compared by SHA-256: study file, manual corrections, raw files (the patterns were searched "
    "again), results and report against what was signed. Not proved without --recompute: that the "
    "results follow from the raw files. A signature without a key does not prove who signed: "
    "whoever can write these files can write all of them anew."
)


def check_signatures(
    study: Study | Path | str, *, ledger: Ledger | None = None
) -> tuple[Check, ...]:
    """Look whether signed results still hold; every file is read and hashed again.

    Of each signature, what was kept with it; of those under the last version also study file,
    manual corrections, raw files, results and report as they are now. A ledger says whose a key
    is, and whether it had ended.

    Raises
    ------
    StoreError
        When the file of the signatures itself was changed.
    """
    if not isinstance(study, Study):
        study = load_study(study)
    signatures = read_signatures(study.path)
    if not signatures:
        return ()
    last = signatures[-1]
    now = [*standing_on_disk(study).changes, *_results(study, last), *_report(study, last)]
    raw_faults, raw_changes = _raw(study, last)
    now += raw_changes
    notes = tuple(_notes(study, last))
    out = []
    for s in signatures:
        faults = kept_faults(study, s)
        faults += raw_faults if s.version == last.version else []
        older = () if s.version == last.version else (f"Version {last.version} was signed since.",)
        changes = older or tuple(dict.fromkeys(now))
        said = (*_scheme(s), *(notes if s is last else ()))
        wrong, more = key_findings(s, ledger)
        out.append(Check(s, (*faults, *wrong), changes, s is last, (*said, *more)))
    return tuple(out)


def key_findings(s: Signature, ledger: Ledger | None) -> tuple[list[str], list[str]]:
    """What a ledger (and the user's own folder) says of the key of a signature: faults, notes."""
    if ledger is None:
        ended = own_public(s.key) if s.key else None
        if ended is None or not ended.ended:
            return [], []
        if s.when > ended.ended_on:
            return [f"its key was {ended.ended} on {ended.ended_on[:10]}, before it was signed"], []
        return [], [
            f"Its key was {ended.ended} on {ended.ended_on[:10]}. That it was signed before is "
            "stated by the signature alone; ask the ledger (--ledger)."
        ]
    from drypoint.ledger.signers import key_record, keys_of_person

    entries = ledger.signatures(sha256=s.hash)
    if not s.key:
        known = keys_of_person(ledger, s.who)
        return [], [f"The ledger knows a key of {s.who}; this signature was made without it."] * (
            bool(known)
        )
    record = key_record(ledger, s.key)
    if record is None:
        return [], [f"The ledger does not know the key {fingerprint(s.key)}: whose it is, is open."]
    faults, notes = [], [f"The ledger gives the key {fingerprint(s.key)} to {record.person}."]
    if name_key(record.person) != name_key(s.who):
        faults.append(f"its key belongs to {record.person}, not to {s.who}")
    number = min((e.signature.id for e in entries), default=None)
    if record.ended is not None and (number is None or number > record.ended):
        faults.append(
            f"its key was {record.how} by entry {record.ended} of the ledger, and nothing shows "
            "that it was signed before"
        )
    return faults, notes


def kept_faults(study: Study, s: Signature) -> list[str]:
    """What is wrong with the files that were kept with a signature, and with its seal."""
    out = []
    for name, sha256 in s.files.items():
        path = study.folder / name
        same = same_bytes(path, sha256)
        if not paths.is_inside(path, study.folder):
            out.append(f"{name} leads out of the folder of the study")
        elif not path.is_file():
            out.append(f"{name} is missing")
        elif same is None:
            out.append(f"{name} cannot be read")
        elif not same:
            out.append(f"{name} was changed after it was signed")
    if s.seal != s.right_seal:
        out.append("its seal is not that of what it says")
    if s.key and not verifies(s.key, s.statement, s.proof):
        out.append(f"it was not signed with the key {fingerprint(s.key)} that it names")
    listed = signed_folder(study.path, s.number) / NAME
    if not listed.is_file() or file_sha256(listed) != s.signed.results:
        out.append("the list of results that was kept is not the one that was signed")
    return out


def _kept_list(study: Study, s: Signature) -> Manifest | None:
    try:
        return read_manifest(signed_folder(study.path, s.number))
    except StoreError:
        return None


def _raw(study: Study, s: Signature) -> tuple[list[str], list[str]]:
    """Raw files that are not as they were signed, and those that are new under the patterns."""
    listed = _kept_list(study, s)
    signed = dict(listed.origin.inputs) if listed is not None else {}
    faults = []
    for name, sha256 in signed.items():
        path = study.folder / name
        same = same_bytes(path, sha256)
        if not path.is_file():
            faults.append(f"the raw file {name} is missing")
        elif same is None:
            faults.append(f"the raw file {name} cannot be read")
        elif not same:
            faults.append(f"the raw file {name} was changed")
    try:
        found = input_hashes(study, signed)
    except DrypointError as error:
        return faults, [f"The raw files cannot be listed: {error.what}"]
    new = [n for n in found if n not in signed]
    gone = [n for n in signed if n not in found and (study.folder / n).is_file()]
    changes = [f"Raw files were added: {_listed(new)}."] if new else []
    if gone:
        changes.append(f"Raw files are no longer named by the study: {_listed(gone)}.")
    return faults, changes


def _results(study: Study, s: Signature) -> list[str]:
    try:
        results = read_results(study.results)
    except StoreError as error:
        return [error.what]
    if wrong := results.faults():
        return [f"The results are not whole: {_listed(wrong)}."]
    if file_sha256(results.folder / NAME) != s.signed.results:
        return ["The results are not those that were signed."]
    return []


def _report(study: Study, s: Signature) -> list[str]:
    """Files of the report's folder that are not those that were signed with."""
    wrong = []
    for name, sha256 in s.report.items():
        path = study.reports / name
        if not path.is_file():
            wrong.append(f"{name} is missing")
        elif file_sha256(path) != sha256:
            wrong.append(f"{name} was changed")
    return [f"The report in {study.reports.name} is not as it was signed: {_listed(wrong)}."] * (
        len(wrong) > 0
    )


def _scheme(s: Signature) -> Iterator[str]:
    if s.scheme < SCHEME:
        yield (
            "Signed under the earlier scheme, which did not compute the results again before "
            "signing: integrity only."
        )


def _notes(study: Study, s: Signature) -> Iterator[str]:
    """What is to be said of the newest signature and changes nothing about it."""
    was = s.signed
    text = signed_folder(study.path, s.number) / RECIPE
    if text.is_file() and text.read_bytes() != study.text.encode("utf-8"):
        yield "The text of the study file is not the one that was signed; see the changes, if any."
    if was.program_sha256:
        if was.program != __version__:
            yield f"Drypoint here is version {__version__}; signed with {was.program}."
        elif was.program_sha256 != program_sha256():
            yield (
                f"The program's files here ({program_sha256()[:12]}) are not those that it was "
                f"signed with ({was.program_sha256[:12]})."
            )
        here = libraries()
        others = [f"{n} {here.get(n, 'absent')} (then {v})" for n, v in was.libraries.items()
                  if here.get(n) != v]  # fmt: skip
        if others:
            yield f"Other libraries than then: {_listed(others)}."
        if was.processor != processor():
            yield f"Another processor than then: {processor()} (then {was.processor})."
    elif was.program != __version__:
        yield f"Drypoint here is version {__version__}; signed with {was.program}."
    foreign = foreign_files(study.results)
    if foreign:
        yield f"Files in {study.results.name} that Drypoint has not written: {_listed(foreign)}."


def foreign_files(folder: Path) -> list[str]:
    """Files in a folder of results that its list does not name; a system's litter is left out."""
    try:
        listed = read_manifest(folder).files
    except StoreError:
        return []
    found = (p.relative_to(folder).as_posix() for p in sorted(folder.rglob("*")) if not p.is_dir())
    return [n for n in found if n != NAME and n not in listed and not _LITTER.match(Path(n).name)]


def _listed(words: list[str]) -> str:
    more = f" and {len(words) - _FEW} more" if len(words) > _FEW else ""
    return ", ".join(words[:_FEW]) + more

"""Sign a study: everything is computed again from the raw files, compared byte for byte with the
results on the disk, and only then signed; the report is made with the signature in it and kept."""

from __future__ import annotations

import re
import shutil
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from drypoint import paths
from drypoint.errors import DrypointError, ReportError, SignerError, StoreError, Where
from drypoint.keys import SigningKey, check_name, keys_here, name_key
from drypoint.locking import lock_file
from drypoint.notices import with_origin
from drypoint.recipe import Study, load_study
from drypoint.recipe.decisions import now
from drypoint.report.files import write_figures
from drypoint.report.html import write_html
from drypoint.report.pdf import write_pdf
from drypoint.report.signed import study_in
from drypoint.run import Watch, run_study
from drypoint.run.recompute import refuse_unequal
from drypoint.run.result import StudyResult
from drypoint.run.signing import (
    DECISIONS,
    RECIPE,
    SCHEME,
    Signature,
    Standing,
    read_signatures,
    signatures_file,
    signed_folder,
    signed_of,
    standing_of,
    standing_on_disk,
)
from drypoint.store import atomic_write, file_sha256
from drypoint.store.atomic import cannot_write, is_left, new_tag
from drypoint.store.chain import BEGINNING, append_link

if TYPE_CHECKING:
    from drypoint.ledger import Ledger

#: What is kept of the results besides the report.
_KEPT = ("manifest.json", "summary.json")
_REPORT = ("report.html", "report.pdf")
_TIME = "%Y-%m-%dT%H:%M:%SZ"
_PARTIAL = re.compile(r"\.\d+\.partial-([0-9a-f]+-\d+-[0-9a-f]+)")
#: What a signature may stand for.
MEANINGS = ("author", "review", "approval")
#: Mark of a time that is not the computer's own.
BY_HAND = "time stated by hand"


def sign_study(
    study: Study | Path | str,
    *,
    who: str,
    why: str,
    when: str = "",
    seen: tuple[str, str] | None = None,
    ledger: Ledger | None = None,
    watch: Watch | None = None,
    meaning: str = "approval",
    key: SigningKey | None = None,
) -> Signature:
    """Sign the results of a study as they are on the disk.

    Everything is computed again from the raw files without any cache. Nothing is signed unless
    every file of the results is, byte for byte, what comes out. Where this person has signed this
    version already and only the ledger's entry is missing, that entry is made.

    Parameters
    ----------
    study : Study, Path or str
    who, why : str
        The name, and the remark that is printed in the report.
    when : str
        Time in UTC, ``2026-01-31T12:00:00Z``, for imports and tests; the signature then says
        “time stated by hand”. If omitted, the computer's time.
    seen : tuple of str, optional
        Hashes of recipe and decisions that whoever signs has looked at; where they are others by
        now, nothing is signed.
    ledger : Ledger, optional
        Gets an entry with the hash of the signature.
    watch : Watch, optional
    meaning : {"author", "review", "approval"}
        What the signature stands for.
    key : SigningKey, optional
        The person's opened key (:func:`drypoint.keys.open_key`); without one the signature proves
        integrity only.

    Returns
    -------
    Signature

    Raises
    ------
    SignerError
        When the name mixes scripts or looks like another known one, or the key is not theirs.
    ReportError
        When a name, remark or time is wrong, or the same person has signed this version.
    StoreError
        When the results are missing, damaged, of an earlier state, or not what the raw files give
        here, or somebody else signed meanwhile. Nothing is signed then. Also when the signature
        was written and its entry in the ledger was not; the message says so.
    """
    who, why = _given(who, why)
    by_hand = _time(when)
    _meant(meaning)
    if not isinstance(study, Study):
        study = load_study(study)
    _clean(study)
    _check_signer(study, who, key, ledger)
    mine = [s for s in standing_on_disk(study).mine if name_key(s.who) == name_key(who)]
    if mine and ledger is not None and _enter(study, mine[-1], ledger):
        return mine[-1]
    watch = watch or Watch()
    result = run_study(study, watch=watch, write=False, use_cache=False)
    p = result.provenance
    if seen is not None and seen != (p.recipe_hash, p.decisions_hash):
        raise StoreError(
            "The study was changed since it was looked at; nothing was signed.",
            where=Where(str(study.path)),
            remedy="Look at it again, and sign that.",
        )
    signed = signed_of(result)
    watch.at("signing", 0, 5, "comparing")
    refuse_unequal(result, watch)
    before = standing_of(result)
    if any(name_key(s.who) == name_key(who) for s in before.mine):
        raise ReportError(
            f"{who} has signed version {before.version} already.",
            where=Where(str(signatures_file(study.path))),
            remedy="One signature of a person under a version is enough.",
        )
    last = before.last
    at = when or now()
    draft = Signature(
        len(before.signatures) + 1, before.version, who, at, why, signed, "", {},
        last.hash if last is not None else BEGINNING, "", SCHEME, {},
        _clock(at, last, by_hand, ledger), meaning, key.public if key is not None else "",
    )  # fmt: skip
    draft = replace(draft, seal=draft.right_seal)
    made = _keep(result, before, draft, watch, key)
    if ledger is not None:
        _enter(study, made, ledger)
    return made


def _given(who: str, why: str) -> tuple[str, str]:
    for key, text in (("who", who), ("why", why)):
        if not text.strip() or not text.isprintable() or len(text) > 1000:
            raise ReportError(
                f"invalid text for a signature: got “{text}”; expected up to 1000 characters on "
                "one line, not empty.",
                where=Where(key=key),
            )
    return who.strip(), why.strip()


def _time(when: str) -> bool:
    """Whether a time is stated by hand.

    Raises
    ------
    ReportError
        When it is not a time.
    """
    if not when:
        return False
    try:
        datetime.strptime(when, _TIME)
    except ValueError:
        raise ReportError(
            f"invalid time: got “{when}”; expected a time in UTC such as 2026-01-31T12:00:00Z.",
            where=Where(key="when"),
        ) from None
    return True


def _meant(meaning: str) -> None:
    if meaning not in MEANINGS:
        raise ReportError(
            f"invalid meaning of a signature: got “{meaning}”; expected {', '.join(MEANINGS)}.",
            where=Where(key="meaning"),
        )


def _check_signer(study: Study, who: str, key: SigningKey | None, ledger: Ledger | None) -> None:
    """Refuse a name that could be taken for another, and a key that is somebody else's."""
    known = {s.who for s in read_signatures(study.path)} | {k.who for k in keys_here()}
    known |= set(ledger.persons()) if ledger is not None else set()
    check_name(who, sorted(known))
    if key is not None and name_key(key.who) != name_key(who):
        raise SignerError(
            f"The key is that of {key.who}; the signature would be of {who}.",
            remedy="Sign under the name of the key, or with your own key.",
        )


def _clock(at: str, last: Signature | None, by_hand: bool, ledger: Ledger | None) -> str:
    """The mark of a time that needs one."""
    if by_hand:
        return BY_HAND
    if last is not None and at < last.when:
        return f"clock behind entry {last.number}"
    newest = ledger.newest() if ledger is not None else None
    if newest is not None and at < newest.when:
        return f"clock behind entry {newest.id} of the ledger"
    return ""


def _enter(study: Study, s: Signature, ledger: Ledger) -> bool:
    """Enter a signature into the ledger; false where it is there already.

    Raises
    ------
    StoreError
        When the ledger cannot take it: the signature is then written all the same.
    """
    from drypoint.ledger import SignatureBody

    try:
        if ledger.signatures(sha256=s.hash):
            return False
        subject = f"study {study.name}, version {s.version}"
        meaning = s.meaning or "approved"
        body = SignatureBody(sha256=s.hash, subject=subject, meaning=meaning, remark=s.why)
        entry = ledger.propose(body)
        ledger.accept(entry, who=s.who, why=with_origin(s.why, study.invented))
    except DrypointError as error:
        raise StoreError(
            f"Signature {s.number} of {s.who} was written, but its entry in the ledger was not: "
            f"{error.what}",
            where=Where(str(signatures_file(study.path))),
            remedy="Sign again with the same name when the ledger can be written: only the missing "
            "entry is then made.",
        ) from error
    return True


def _clean(study: Study) -> None:
    """Remove what a signing that was killed has left beside the study."""
    place = signed_folder(study.path, 1).parent
    for left in sorted(place.glob(".*.partial-*")) if place.is_dir() else ():
        tag = _PARTIAL.fullmatch(left.name)
        if tag and is_left(tag[1], left):
            shutil.rmtree(left, ignore_errors=True)


def _keep(
    result: StudyResult, before: Standing, draft: Signature, watch: Watch, key: SigningKey | None
) -> Signature:
    """Make what is kept as a whole, put it in place, and write the line of the signature."""
    study = result.study
    place = signed_folder(study.path, draft.number)
    paths.inside(study.folder, place.parent.name, what="folder of what is signed")
    partial = place.with_name(f".{place.name}.partial-{new_tag()}")
    kept, shown = partial / "kept", partial / "report"
    standing = Standing(draft.version, (*before.signatures, draft))
    try:
        kept.mkdir(parents=True)
        watch.at("signing", 1, 5, "page")
        write_html(result, kept / "report.html", standing=standing)
        watch.at("signing", 2, 5, "PDF")
        write_pdf(result, kept / "report.pdf", standing=standing)
        atomic_write(kept / RECIPE, study.text.encode("utf-8"))
        if study.decisions.is_file():
            atomic_write(kept / DECISIONS, study.decisions.read_bytes())
        for name in _KEPT:
            atomic_write(kept / name, (study.results / name).read_bytes())
        watch.at("signing", 3, 5, "figures")
        _shown(result, kept, shown)
        watch.at("signing", 4, 5, "hashes")
        files = {
            f"{place.parent.name}/{place.name}/{f.name}": file_sha256(f)
            for f in sorted(kept.iterdir())
        }
        report = {
            f.relative_to(shown).as_posix(): file_sha256(f)
            for f in sorted(shown.rglob("*"))
            if f.is_file()
        }
        made = replace(draft, files=files, report=report)
        if key is not None:
            made = replace(made, proof=key.sign(made.statement))
        body = {k: v for k, v in asdict(made).items() if k not in ("previous", "hash")}
        with lock_file(place.with_name(".lock")):
            if len(read_signatures(study.path)) != len(before.signatures):
                raise StoreError(
                    "Somebody else signed meanwhile; nothing of yours was written.",
                    where=Where(str(signatures_file(study.path))),
                    remedy="Look at it again, and sign that.",
                )
            if place.exists():  # left by a signing that was cut off before its line was written
                shutil.rmtree(place)
            kept.rename(place)
            line = append_link(signatures_file(study.path), body, after=draft.previous)
            _put(shown, study.reports, report)
    except OSError as error:
        raise cannot_write(place, error) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    watch.at("signing", 5, 5)
    return replace(made, previous=line["previous"], hash=line["hash"])


def _shown(result: StudyResult, kept: Path, shown: Path) -> None:
    """The report's folder as it is to be after signing: the files that it has now, made again."""
    reports = result.study.reports
    if study_in(reports / "report.html") not in ("", result.study.path.name):
        return  # the report of another study
    shown.mkdir()
    for name in _REPORT:
        if (reports / name).is_file():
            shutil.copyfile(kept / name, shown / name)
    if (reports / "figures").is_dir():
        made = write_figures(result, shown / "figures")
        for path in made:
            if not (reports / "figures" / path.name).is_file():
                path.unlink()


def _put(shown: Path, reports: Path, names: dict[str, str]) -> None:
    """Put the files of the report in place."""
    for name in names:
        target = reports / name
        target.parent.mkdir(parents=True, exist_ok=True)
        atomic_write(target, (shown / name).read_bytes())

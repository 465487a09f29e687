"""Sign a study: its report is made with the signature in it, kept with hashes, never changed."""

from __future__ import annotations

import shutil
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from drypoint.errors import ReportError, StoreError, Where
from drypoint.locking import lock_file
from drypoint.notices import with_origin
from drypoint.recipe import Study, load_study
from drypoint.recipe.decisions import now
from drypoint.report.html import write_html
from drypoint.report.pdf import write_pdf
from drypoint.run import Watch, run_study
from drypoint.run.result import StudyResult
from drypoint.run.signing import (
    DECISIONS,
    RECIPE,
    Signature,
    Standing,
    read_signatures,
    signatures_file,
    signed_folder,
    signed_of,
    standing_of,
)
from drypoint.store import atomic_write, file_sha256
from drypoint.store.atomic import cannot_write, new_tag
from drypoint.store.chain import BEGINNING, append_link, hash_of

if TYPE_CHECKING:
    from drypoint.ledger import Ledger

#: What is kept of the results besides the report.
_KEPT = ("manifest.json", "summary.json")
_TIME = "%Y-%m-%dT%H:%M:%SZ"


def sign_study(
    study: Study | Path | str,
    *,
    who: str,
    why: str,
    when: str = "",
    seen: tuple[str, str] | None = None,
    ledger: Ledger | None = None,
    watch: Watch | None = None,
) -> Signature:
    """Sign the results of a study as they stand on the disk.

    Parameters
    ----------
    study : Study, Path or str
    who, why : str
        The name, and the remark that stands in the report.
    when : str
        Time in UTC, ``2026-01-31T12:00:00Z``; now where left out.
    seen : tuple of str, optional
        Hashes of recipe and decisions that whoever signs has before him; where they are others by
        now, nothing is signed.
    ledger : Ledger, optional
        Gets an entry with the hash of the signature.
    watch : Watch, optional

    Returns
    -------
    Signature

    Raises
    ------
    ReportError
        When a name, remark or time is wrong, or the same person has signed this version.
    StoreError
        When the results are missing, damaged or of an earlier state, or somebody else signed
        meanwhile. Nothing is signed then.
    """
    who, why, when = _given(who, why, when)
    if not isinstance(study, Study):
        study = load_study(study)
    watch = watch or Watch()
    result = run_study(study, watch=watch, write=False)
    p = result.provenance
    if seen is not None and seen != (p.recipe_hash, p.decisions_hash):
        raise StoreError(
            "The study was changed since it was looked at; nothing was signed.",
            where=Where(str(study.path)),
            remedy="Look at it again, and sign that.",
        )
    signed = signed_of(result)
    before = standing_of(result)
    if any(s.who == who for s in before.mine):
        raise ReportError(
            f"{who} has signed version {before.version} already.",
            where=Where(str(signatures_file(study.path))),
            remedy="One signature of a person under a version is enough.",
        )
    last = before.last
    draft = Signature(
        len(before.signatures) + 1, before.version, who, when, why, signed, "", {},
        last.hash if last is not None else BEGINNING, "",
    )  # fmt: skip
    body = asdict(draft)
    draft = replace(draft, seal=hash_of({k: body[k] for k in body if k not in ("seal", "files")}))
    made = _keep(result, before, draft, watch)
    if ledger is not None:
        from drypoint.ledger import SignatureBody

        subject = f"study {study.name}, version {made.version}"
        entry = ledger.propose(SignatureBody(sha256=made.hash, subject=subject, remark=why))
        ledger.accept(entry, who=who, why=with_origin(why, study.invented))
    return made


def _given(who: str, why: str, when: str) -> tuple[str, str, str]:
    for key, text in (("who", who), ("why", why)):
        if not text.strip() or not text.isprintable() or len(text) > 1000:
            raise ReportError(
                f"“{text}” is no text for a signature.",
                where=Where(key=key),
                remedy="Allowed: up to 1000 characters on one line, not empty.",
            )
    when = when or now()
    try:
        datetime.strptime(when, _TIME)
    except ValueError:
        raise ReportError(
            f"“{when}” is no time.",
            where=Where(key="when"),
            remedy="Allowed: a time in UTC such as 2026-01-31T12:00:00Z.",
        ) from None
    return who.strip(), why.strip(), when


def _keep(result: StudyResult, before: Standing, draft: Signature, watch: Watch) -> Signature:
    """Make what is kept as a whole, put it in place, and write the line of the signature."""
    study = result.study
    place = signed_folder(study.path, draft.number)
    partial = place.with_name(f".{place.name}.partial-{new_tag()}")
    standing = Standing(draft.version, (*before.signatures, draft))
    try:
        partial.mkdir(parents=True)
        watch.at("signing", 0, 3, "page")
        write_html(result, partial / "report.html", standing=standing)
        watch.at("signing", 1, 3, "PDF")
        write_pdf(result, partial / "report.pdf", standing=standing)
        watch.at("signing", 2, 3, "hashes")
        atomic_write(partial / RECIPE, study.text.encode("utf-8"))
        if study.decisions.is_file():
            atomic_write(partial / DECISIONS, study.decisions.read_bytes())
        for name in _KEPT:
            atomic_write(partial / name, (study.results / name).read_bytes())
        files = {
            f"{place.parent.name}/{place.name}/{f.name}": file_sha256(f)
            for f in sorted(partial.iterdir())
        }
        body = {k: v for k, v in asdict(draft).items() if k not in ("previous", "hash")}
        with lock_file(place.with_name(".lock")):
            if len(read_signatures(study.path)) != len(before.signatures):
                raise StoreError(
                    "Somebody else signed meanwhile; nothing of yours was written.",
                    where=Where(str(signatures_file(study.path))),
                    remedy="Look at it again, and sign that.",
                )
            if place.exists():  # left by a signing that was cut off before its line was written
                shutil.rmtree(place)
            partial.rename(place)
            line = append_link(
                signatures_file(study.path), {**body, "files": files}, after=draft.previous
            )
    except OSError as error:
        raise cannot_write(place, error) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    watch.at("signing", 3, 3)
    return replace(draft, files=files, previous=line["previous"], hash=line["hash"])

"""What was signed of a study, and which version of it that is.

Signatures stand in ``STUDY.signatures.jsonl`` beside the study file, one line each, chained by
hashes. What was signed is kept in ``STUDY.signed/NUMBER/``. A version is what was signed: several
people may sign the same one; any change of recipe, decisions, raw files, or of the program that
made the results, makes the next. Whether a signature still holds: :mod:`drypoint.run.checking`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.errors import DrypointError, StoreError, Where
from drypoint.keys import fingerprint
from drypoint.recipe import Study, read_decisions, read_journal, read_study
from drypoint.recipe.hashing import canonical_text
from drypoint.run.rerun import changes_between
from drypoint.run.result import StudyResult
from drypoint.store import file_sha256, read_results
from drypoint.store.chain import hash_of, read_chain
from drypoint.store.manifest import NAME, Manifest, read_manifest

#: Names of what is kept beside the signed report. The recipe is no .toml, so that nobody runs it.
RECIPE, DECISIONS = "recipe.txt", "decisions.jsonl"
#: Number of the present scheme of signatures. Scheme 1 (before) did not compute the results
#: again before signing; its signatures are read, and say "integrity only".
SCHEME = 2
#: What a signature of scheme 1 consists of, for its seal.
_FIRST = ("number", "version", "who", "when", "why", "previous")
_FIRST_SIGNED = ("recipe", "decisions", "inputs", "results", "program")
_FEW = 5


@dataclass(frozen=True)
class Signed:
    """What a signature is under, by SHA-256.

    ``results`` is that of the list of the results; ``program`` is the version of Drypoint and
    ``program_sha256`` the hash of its files; ``text`` is that of the study file's text, ``benches``
    those of the calibration files that it names. The last five are empty in scheme 1.
    """

    recipe: str
    decisions: str
    inputs: str
    results: str
    program: str
    program_sha256: str = ""
    processor: str = ""
    libraries: Mapping[str, str] = field(default_factory=dict)
    text: str = ""
    benches: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Source:
    """All that results follow from: SHA-256 of recipe, decisions and raw files; program."""

    recipe: str
    decisions: str
    inputs: str
    program: str
    program_sha256: str = ""

    def same_program(self, was: Signed) -> bool:
        """Whether the program is the one that was signed; by version alone in scheme 1."""
        known = was.program_sha256 and self.program_sha256
        same = not known or was.program_sha256 == self.program_sha256
        return self.program == was.program and same


@dataclass(frozen=True)
class Signature:
    """A signature: its number, the version that it is under, who, when (UTC), and the remark.

    ``files`` maps what was kept (path beside the study file) to its SHA-256; ``seal`` is the hash
    that the signed report prints; ``hash`` is that of the line. ``report`` maps the files of the
    study's report to their SHA-256. ``clock`` marks a time that is not the computer's own, or a
    clock that was behind the newest entry. ``meaning`` is author, review or approval. ``key`` is
    the public key (base64) that signed :attr:`statement`, and ``proof`` its signature; both are
    empty where no key was used.
    """

    number: int
    version: int
    who: str
    when: str
    why: str
    signed: Signed
    seal: str
    files: Mapping[str, str]
    previous: str
    hash: str
    scheme: int = 1
    report: Mapping[str, str] = field(default_factory=dict)
    clock: str = ""
    meaning: str = ""
    key: str = ""
    proof: str = ""

    @property
    def statement(self) -> bytes:
        """What a key signs: everything but the proof itself and the hash of the line."""
        values = {k: v for k, v in asdict(self).items() if k not in ("proof", "hash")}
        return canonical_text(values).encode("utf-8")

    @property
    def right_seal(self) -> str:
        """The seal that it must have: SHA-256 over all that was known before the report was set."""
        values = asdict(self)
        if self.scheme == 1:
            body = {k: values[k] for k in _FIRST}
            body["signed"] = {k: values["signed"][k] for k in _FIRST_SIGNED}
        else:
            body = {
                k: v for k, v in values.items() if k not in ("seal", "files", "report", "proof")
            }
        return hash_of({**body, "hash": ""})

    @property
    def words(self) -> str:
        """As it stands in the report."""
        key = f"key {fingerprint(self.key)}" if self.key else ""
        more = ", ".join(w for w in (self.meaning, self.clock, key) if w)
        said = f" ({more})" if more else ""
        return f"{self.who}, {when_words(self.when)}{said}: {self.why}"

    def file(self, name: str) -> str:
        """Path (beside the study file) of a file that was kept."""
        return next(p for p in self.files if p.endswith(f"/{name}"))


@dataclass(frozen=True)
class Standing:
    """A study's version as it is now, and its signatures.

    ``version`` is one more than the last signed one where something has changed since (``changes``
    says what). ``mine`` are the signatures under this version.
    """

    version: int
    signatures: tuple[Signature, ...] = ()
    changes: tuple[str, ...] = ()

    @property
    def mine(self) -> tuple[Signature, ...]:
        """Signatures under the version as it is now."""
        return tuple(s for s in self.signatures if s.version == self.version)

    @property
    def last(self) -> Signature | None:
        """The newest signature."""
        return self.signatures[-1] if self.signatures else None


def when_words(when: str) -> str:
    """``2026-01-31 12:00 UTC`` of a time as it is written."""
    return f"{when[:10]} {when[11:16]} UTC"


def signatures_file(study: Path) -> Path:
    """The file of the signatures beside a study file."""
    return study.with_name(study.stem + ".signatures.jsonl")


def signed_folder(study: Path, number: int) -> Path:
    """Where what a signature is under is kept."""
    return study.with_name(study.stem + ".signed") / str(number)


def read_signatures(study: Path) -> tuple[Signature, ...]:
    """The signatures of a study, in order.

    Raises
    ------
    StoreError
        When the file was changed after it was written.
    """
    path = signatures_file(study)
    try:
        return tuple(Signature(**{**v, "signed": Signed(**v["signed"])}) for v in read_chain(path))
    except (TypeError, KeyError) as error:
        raise StoreError(
            "The signatures were written by another version of Drypoint.",
            where=Where(str(path)),
            remedy="Use that version or a newer one; the file is as it was.",
        ) from error


def signed_of(result: StudyResult) -> Signed:
    """What a signature would be under: the result in memory, and the same on the disk, whole.

    Raises
    ------
    StoreError
        When the results on the disk are missing, damaged, or of another state.
    """
    study, p = result.study, result.provenance
    results = read_results(study.results)
    where = Where(str(results.folder))
    o = results.manifest.origin
    theirs = (o.recipe_hash, o.decisions_hash, dict(o.inputs))
    if theirs != (p.recipe_hash, p.decisions_hash, dict(p.inputs)):
        raise StoreError(
            "The results on the disk are from before the last change.",
            where=where,
            remedy=f"Run the study: drypoint run {study.path.name}.",
        )
    if wrong := results.faults():
        raise StoreError(
            f"The results on the disk are not whole: {_listed(wrong)}.",
            where=where,
            remedy=f"Run the study again: drypoint run {study.path.name}.",
        )
    return Signed(
        p.recipe_hash,
        p.decisions_hash,
        p.inputs_hash,
        file_sha256(results.folder / NAME),
        p.version,
        p.program_sha256,
        p.processor,
        dict(p.libraries),
        study.text_sha256,
        {name: bench.sha256 for name, bench in study.benches.items()},
    )


def standing_of(result: StudyResult) -> Standing:
    """Version and signatures of a study whose result is in memory.

    Raises
    ------
    StoreError
        When the signatures were changed after they were written.
    """
    signatures = read_signatures(result.study.path)
    p = result.provenance
    source = Source(p.recipe_hash, p.decisions_hash, p.inputs_hash, p.version, p.program_sha256)
    return _standing(result.study, signatures, source, p.inputs)


def standing_on_disk(study: Study) -> Standing:
    """Version and signatures of a study by its files, as the last run has left them; raw files
    are not looked at.

    Raises
    ------
    StoreError
        When the signatures were changed after they were written.
    """
    signatures = read_signatures(study.path)
    if not signatures:
        return Standing(1)
    last = signatures[-1].signed
    try:
        origin = read_results(study.results).manifest.origin
    except StoreError:
        origin = None
    here = (study.recipe_hash, read_journal(study.decisions).sha256)
    if origin is None or (origin.recipe_hash, origin.decisions_hash) != here:
        source = Source(*here, last.inputs, last.program, last.program_sha256)
        return _standing(study, signatures, source, None)
    from drypoint.recipe.hashing import canonical_hash

    inputs = canonical_hash(dict(origin.inputs))
    program = str(origin.more.get("program_sha256", ""))
    source = Source(*here, inputs, origin.version, program)
    return _standing(study, signatures, source, origin.inputs)


def _standing(
    study: Study,
    signatures: tuple[Signature, ...],
    source: Source,
    inputs: Mapping[str, str] | None,
) -> Standing:
    if not signatures:
        return Standing(1)
    last = signatures[-1]
    words = tuple(_changes(study, last, source, inputs))
    return Standing(last.version + 1 if words else last.version, signatures, words)


def _changes(
    study: Study,
    last: Signature,
    source: Source,
    inputs: Mapping[str, str] | None,
) -> list[str]:
    """What differs from what was signed last, a sentence each."""
    was = last.signed
    kept = signed_folder(study.path, last.number)
    out = []
    if source.recipe != was.recipe and not _same_meaning(study, kept, was):
        out.append(f"The study file says something else{_keys(study, kept)}.")
    if source.decisions != was.decisions:
        try:
            new = read_decisions(study.decisions)[len(read_decisions(kept / DECISIONS)) :]
        except DrypointError:
            new = ()
        words = _listed([f"{d.what} {d.test or ''}".strip() + f" by {d.who}" for d in new])
        out.append("Decisions are new" + (f": {words}." if words else "."))
    if source.inputs != was.inputs:
        out.append(f"Raw files are not the same{_files(kept, inputs)}.")
    if not source.same_program(was):
        now, then = source.program, was.program
        if now == then:
            now, then = (
                f"{now} ({source.program_sha256[:12]})",
                f"{then} ({was.program_sha256[:12]})",
            )
        out.append(f"The results were computed by Drypoint {now}; those signed by {then}.")
    return out


def _same_meaning(study: Study, kept: Path, was: Signed) -> bool:
    """Whether the study file that was kept, read by this program, says what the present one does.

    A new Drypoint may know more keys; its hash of the same file is then another one. Where the
    study uses calibrations, they must be those that were signed (scheme 1 does not name them).
    """
    benches = {name: bench.sha256 for name, bench in study.benches.items()}
    if was.text and benches != dict(was.benches):
        return False
    try:
        text = (kept / RECIPE).read_bytes().decode("utf-8")
        return read_study(text, study.path).recipe_hash == study.recipe_hash
    except (DrypointError, OSError, UnicodeDecodeError):
        return False


def _keys(study: Study, kept: Path) -> str:
    try:
        text = paths.read_bytes(kept / RECIPE).decode("utf-8")
        keys = [c.key for c in changes_between(read_study(text, study.path), study)]
    except (DrypointError, OSError, UnicodeDecodeError):
        keys = []
    return f": {_listed(keys)}" if keys else " (or a calibration that it names does)"


def _files(kept: Path, inputs: Mapping[str, str] | None) -> str:
    before = _manifest(kept)
    if inputs is None or before is None:
        return ""
    old = before.origin.inputs
    names = [n for n in sorted({*old, *inputs}) if old.get(n) != inputs.get(n)]
    return f": {_listed(names)}"


def _manifest(kept: Path) -> Manifest | None:
    try:
        return read_manifest(kept)
    except StoreError:
        return None


def _listed(words: list[str]) -> str:
    more = f" and {len(words) - _FEW} more" if len(words) > _FEW else ""
    return ", ".join(words[:_FEW]) + more


def values_of(s: Signature) -> dict[str, Any]:
    """A signature as plain values."""
    return {**asdict(s), "files": dict(s.files), "words": s.words}

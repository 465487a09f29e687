"""What was signed of a study, and whether it still is what the study says.

Signatures stand in ``STUDY.signatures.jsonl`` beside the study file, one line each, chained by
hashes. What was signed is kept in ``STUDY.signed/NUMBER/``. A version is what was signed: several
people may sign the same one; any change of recipe, decisions, raw files or program makes the next.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.errors import DrypointError, StoreError, Where
from drypoint.recipe import Study, load_study, read_decisions, read_journal, read_study
from drypoint.run.rerun import changes_between
from drypoint.run.result import StudyResult
from drypoint.store import file_sha256, read_results
from drypoint.store.chain import read_chain
from drypoint.store.manifest import NAME, Manifest, read_manifest, same_bytes

#: Names of what is kept beside the signed report. The recipe is no .toml, so that nobody runs it.
RECIPE, DECISIONS = "recipe.txt", "decisions.jsonl"
_FEW = 5


@dataclass(frozen=True)
class Signed:
    """What a signature is under, by SHA-256; ``results`` is that of the list of the results."""

    recipe: str
    decisions: str
    inputs: str
    results: str
    program: str

    @property
    def source(self) -> tuple[str, str, str, str]:
        """All that the results follow from."""
        return self.recipe, self.decisions, self.inputs, self.program


@dataclass(frozen=True)
class Signature:
    """A signature: its number, the version that it is under, who, when (UTC), and the remark.

    ``files`` maps what was kept (path beside the study file) to its SHA-256; ``seal`` is the hash
    that the signed report prints; ``hash`` is that of the line.
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

    @property
    def words(self) -> str:
        """As it stands in the report."""
        return f"{self.who}, {when_words(self.when)}: {self.why}"

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
    theirs = (o.recipe_hash, o.decisions_hash, dict(o.inputs), o.version)
    if theirs != (p.recipe_hash, p.decisions_hash, dict(p.inputs), p.version):
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
    source = (p.recipe_hash, p.decisions_hash, p.inputs_hash, p.version)
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
        return _standing(study, signatures, (*here, last.inputs, last.program), None)
    from drypoint.recipe.hashing import canonical_hash

    inputs = canonical_hash(dict(origin.inputs))
    return _standing(study, signatures, (*here, inputs, origin.version), origin.inputs)


def _standing(
    study: Study,
    signatures: tuple[Signature, ...],
    source: tuple[str, str, str, str],
    inputs: Mapping[str, str] | None,
) -> Standing:
    if not signatures:
        return Standing(1)
    last = signatures[-1]
    if last.signed.source == source:
        return Standing(last.version, signatures)
    words = tuple(_changes(study, last, source, inputs))
    return Standing(last.version + 1, signatures, words)


def _changes(
    study: Study,
    last: Signature,
    source: tuple[str, str, str, str],
    inputs: Mapping[str, str] | None,
) -> list[str]:
    """What differs from what was signed last, a sentence each."""
    was = last.signed
    kept = signed_folder(study.path, last.number)
    out = []
    if source[0] != was.recipe:
        out.append(f"The study file says something else{_keys(study, kept)}.")
    if source[1] != was.decisions:
        try:
            new = read_decisions(study.decisions)[len(read_decisions(kept / DECISIONS)) :]
        except DrypointError:
            new = ()
        words = _listed([f"{d.what} {d.test or ''}".strip() + f" by {d.who}" for d in new])
        out.append("Decisions are new" + (f": {words}." if words else "."))
    if source[2] != was.inputs:
        out.append(f"Raw files are not the same{_files(kept, inputs)}.")
    if source[3] != was.program:
        out.append(f"Drypoint is version {source[3]}; what was signed was made by {was.program}.")
    return out


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


@dataclass(frozen=True)
class Check:
    """Whether one signature holds: ``faults`` in what was kept, ``changes`` of the study since."""

    signature: Signature
    faults: tuple[str, ...]
    changes: tuple[str, ...]
    newest: bool

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
        return "holds: study, decisions, raw files, results and report are as they were signed."


def check_signatures(study: Study | Path | str) -> tuple[Check, ...]:
    """Look whether signed results still hold; every file is read and hashed anew.

    Of each signature, what was kept with it; of those under the last version also study file,
    decisions, raw files and results as they are now.

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
    now = standing_on_disk(study).changes + tuple(_results(study, last))
    out = []
    for s in signatures:
        faults = kept_faults(study, s)
        faults += _raw(study, s) if s.version == last.version else []
        older = () if s.version == last.version else (f"Version {last.version} was signed since.",)
        out.append(Check(s, tuple(faults), older or tuple(dict.fromkeys(now)), s is last))
    return tuple(out)


def kept_faults(study: Study, s: Signature) -> list[str]:
    """What is wrong with the files that were kept with a signature."""
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
    return out


def _raw(study: Study, s: Signature) -> list[str]:
    """Raw files that are not as they were signed."""
    listed = _manifest(signed_folder(study.path, s.number))
    out = []
    for name, sha256 in (listed.origin.inputs if listed is not None else {}).items():
        path = study.folder / name
        same = same_bytes(path, sha256)
        if not path.is_file():
            out.append(f"the raw file {name} is missing")
        elif same is None:
            out.append(f"the raw file {name} cannot be read")
        elif not same:
            out.append(f"the raw file {name} was changed")
    return out


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


def values_of(s: Signature) -> dict[str, Any]:
    """A signature as plain values."""
    return {**asdict(s), "files": dict(s.files), "words": s.words}

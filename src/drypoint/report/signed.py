"""Version and signatures on the first page of a report."""

from __future__ import annotations

import html
from pathlib import Path

from drypoint import paths
from drypoint.errors import PathError
from drypoint.recipe.hashing import canonical_hash
from drypoint.run.result import StudyResult
from drypoint.run.signing import Standing, when_words

#: How far (characters) into a page its origin is looked for.
_HEAD = 2000
_MARK = '<meta name="origin" content="'
_STUDY = '<meta name="study" content="'


def version_pair(standing: Standing) -> tuple[tuple[str, str], ...]:
    """Version and signatures as pairs of the first page; nothing where nobody ever signed."""
    if not standing.signatures:
        return ()
    version = f"{standing.version}" + ("" if standing.mine else ", not signed")
    signed = (("Signed by", f"{s.words} (seal {s.seal[:16]})") for s in standing.mine)
    return (("Version", version), *signed)


def signed_notices(standing: Standing) -> tuple[str, ...]:
    """That what was signed is an earlier version, and what is new since."""
    last = standing.last
    if last is None or standing.mine:
        return ()
    return (
        f"This version {standing.version} is not signed. Version {last.version} was signed by "
        f"{last.who}, {when_words(last.when)}. Changed since: " + " ".join(standing.changes),
    )


def origin_of(result: StudyResult, standing: Standing) -> str:
    """Stands for all that a report says: two reports of one origin are the same."""
    p = result.provenance
    return origin_hash(p.recipe_hash, p.decisions_hash, p.inputs_hash, p.version, standing)


def origin_hash(recipe: str, decisions: str, inputs: str, program: str, standing: Standing) -> str:
    """The same, from the hashes."""
    seals = [s.seal for s in standing.signatures]
    return canonical_hash([recipe, decisions, inputs, program, standing.version, seals])


def origin_in(page: Path) -> str:
    """The origin that a report's page names; empty where there is none."""
    return _said(page, _MARK)


def study_in(page: Path) -> str:
    """The name of the study file that a report's page names; empty where there is none."""
    return html.unescape(_said(page, _STUDY))


def _said(page: Path, mark: str) -> str:
    try:
        head = paths.read_bytes(page, most=4 * _HEAD).decode("utf-8", "replace")
    except (OSError, PathError):
        return ""
    return head.partition(mark)[2].partition('"')[0]

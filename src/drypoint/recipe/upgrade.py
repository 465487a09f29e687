"""Study files of older versions become files of the present one, step by step.

To change the schema: raise ``schema.VERSION``, write the function that takes a document of the
version before to the new one, enter it in :data:`UPGRADES`, and keep a sample of the old version
in the tests.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from drypoint.recipe.problems import Problem, show
from drypoint.recipe.schema import RENAMED, VERSION

Document = dict[str, Any]

#: Version -> function that takes a document of that version to the next one. Version 1 is the
#: first, so there is none yet.
UPGRADES: dict[int, Callable[[Document], Document]] = {}


def renamed(document: Document) -> tuple[Document, tuple[str, ...], tuple[Problem, ...]]:
    """A document with its keys under their present names.

    Returns
    -------
    document : dict
        The document.
    notes : tuple of str
        A sentence for each key with a new name.
    problems : tuple of Problem
        Keys that are given under both names.
    """
    notes, problems = [], []
    for (table, old), new in RENAMED.items():
        keys = document.get(table)
        if not isinstance(keys, dict) or old not in keys:
            continue
        if new in keys:
            what = f"it is the former name of {new}, which is given too."
            problems.append(Problem((table, old), what, f"Leave {old} out."))
        rest = {k: v for k, v in keys.items() if k != old}
        document = {**document, table: {new: keys[old], **rest}}
        notes.append(f"The key {table}.{old} is now called {table}.{new}; both are read.")
    return document, tuple(notes), tuple(problems)


def upgrade(
    document: Document,
    *,
    newest: int = VERSION,
    steps: Mapping[int, Callable[[Document], Document]] = UPGRADES,
) -> tuple[Document, tuple[str, ...], Problem | None]:
    """Take a document to the newest version.

    Returns
    -------
    document : dict
        The document, with the version key of the newest version.
    notes : tuple of str
        What was done, a sentence a step.
    problem : Problem or None
        Set where the version is missing, is no number or is not known.
    """
    known = "Allowed: " + ", ".join(str(v) for v in sorted({*steps, newest})) + "."
    if "drypoint" not in document:
        return (
            document,
            (),
            Problem(
                ("drypoint",),
                "the version of the study file is missing.",
                f"Write “drypoint = {newest}” as its first line. {known}",
            ),
        )
    version = document["drypoint"]
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        return document, (), Problem(("drypoint",), f"{show(version)} is given.", known)
    if version > newest:
        return (
            document,
            (),
            Problem(
                ("drypoint",),
                f"the study has version {version}; this program knows versions up to {newest}.",
                "Install a newer Drypoint.",
            ),
        )
    notes = []
    while version < newest:
        if version not in steps:
            return document, (), Problem(("drypoint",), f"{version} is given.", known)
        document = {**steps[version](document), "drypoint": version + 1}
        notes.append(f"The study file was upgraded from version {version} to {version + 1}.")
        version += 1
    return document, tuple(notes), None

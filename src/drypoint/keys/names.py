"""Names of persons: when two are the same, when one could be taken for another.

Scripts and look-alikes as in UAX 24 and UTS 39 of Unicode (mixed scripts and
confusable characters). The table of confusable characters is that of ``confusable-homoglyphs``.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from importlib import resources

from drypoint.errors import SignerError

#: Scripts that one writing system uses together (TS 39, augmented script sets).
_TOGETHER = (
    frozenset({"Hani", "Hira", "Kana"}),
    frozenset({"Hani", "Bopo"}),
    frozenset({"Hani", "Hang"}),
)
_ANY = {"Zyyy", "Zinh", "Zzzz"}
_MARKS = "\u200e\u200f"


def name_key(name: str) -> str:
    """The form in which names are compared: NFKC, casefolded, blanks collapsed."""
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    return " ".join(folded.split())


def skeleton(name: str) -> str:
    """What a text looks like: texts with equal skeletons can be taken for one another (TS 39)."""
    looks = _prototypes()
    decomposed = unicodedata.normalize("NFD", name)
    mapped = "".join(looks.get(c, c) for c in decomposed)
    return unicodedata.normalize("NFD", mapped)


def look_alike(a: str, b: str) -> bool:
    """Whether two names can be taken for one another, as written or without regard to case."""
    written = (" ".join(unicodedata.normalize("NFKC", n).split()) for n in (a, b))
    shapes = [skeleton(n) for n in written], [skeleton(name_key(n)) for n in (a, b)]
    return any(x == y for x, y in shapes)


def scripts_of(name: str) -> set[str]:
    """The scripts that a name needs: empty where one script (or writing system) serves for all of
    it, else those found."""
    from fontTools import unicodedata as scripts

    possible: set[str] | None = None
    found: set[str] = set()
    for c in unicodedata.normalize("NFC", name):
        mine = set(scripts.script_extension(c)) - _ANY
        if not mine:
            continue
        found |= mine
        for group in _TOGETHER:
            if mine & group:
                mine = mine | group
        possible = mine if possible is None else possible & mine
    return set() if possible is None or possible else found


def check_name(name: str, known: Iterable[str] = ()) -> None:
    """Refuse a name that mixes scripts, or that could be taken for another known one.

    Parameters
    ----------
    name : str
        Not empty, printable. A name wholly in any one script is allowed.
    known : iterable of str
        Names of other persons. One that is the same (:func:`name_key`) is no obstacle.

    Raises
    ------
    SignerError
        Says what is wrong, and with which name.
    """
    if mixed := scripts_of(name):
        raise SignerError(
            f"invalid name: got “{name}”, which mixes the scripts {_listed(mixed)}; expected a "
            "name in one script.",
            remedy="Write the whole name in one script.",
        )
    mine = name_key(name)
    for other in known:
        if name_key(other) != mine and look_alike(name, other):
            raise SignerError(
                f"invalid name: got “{name}”, which looks like “{other}”; expected a name that "
                "cannot be taken for another person's.",
                remedy="If both are real persons, add an initial or a title to this one.",
            )


def _listed(scripts: Iterable[str]) -> str:
    from fontTools import unicodedata as names

    return ", ".join(sorted(names.script_name(s) for s in scripts))


@lru_cache(maxsize=1)
def _prototypes() -> dict[str, str]:
    """Character -> one representative of all that look like it.

    The table gives pairs; what hangs together looks alike. A representative of several characters
    (“rn” for “m”) is taken where there is one.
    """
    file = resources.files("confusable_homoglyphs").joinpath("confusables.json")
    table = json.loads(file.read_text(encoding="utf-8"))
    parent: dict[str, str] = {}

    def root(x: str) -> str:
        parent.setdefault(x, x)
        while parent[x] != x:
            parent[x] = parent[parent[x]]
            x = parent[x]
        return x

    for key, others in table.items():
        for other in others:
            a, b = root(_bare(key)), root(_bare(other["c"]))
            if a != b:
                # The longer one stands for both, else the smaller.
                first, second = sorted((a, b), key=lambda x: (-len(x), x))
                parent[second] = first
    return {c: root(c) for c in parent if len(c) == 1 and root(c) != c}


def _bare(text: str) -> str:
    return unicodedata.normalize("NFD", "".join(c for c in text if c not in _MARKS))

"""Reads the packaged reference materials (``data/*.toml``). Nothing else here touches files."""

from __future__ import annotations

import difflib
import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Any

from drypoint.errors import DrypointError, Where


@dataclass(frozen=True)
class Material:
    """A reference material, SI.

    Parameters
    ----------
    name : str
        Name by which :func:`load` knows it.
    E, u_E : float
        Young's modulus and its standard uncertainty, Pa. For single crystals the value that
        indentation on the named face gives when the crystal is treated as isotropic.
    nu, u_nu : float
        Poisson's ratio and its standard uncertainty.
    hardness : tuple of float or None
        Usual range of H_IT, Pa; ``None`` where none is stated.
    citation : str
        Where the values come from.
    keys : tuple of str
        Keys of the same sources in the bibliography.
    mark : str
        How the values are known, for example "from memory, citation not reopened".
    u_mark : str
        Where the standard uncertainties come from.
    note : str
        What a user should know before trusting it; may be empty.
    aliases : tuple of str
        Other names that mean the same material.
    """

    name: str
    E: float
    u_E: float
    nu: float
    u_nu: float
    hardness: tuple[float, float] | None
    citation: str
    keys: tuple[str, ...]
    mark: str
    u_mark: str
    note: str = ""
    aliases: tuple[str, ...] = ()


def names() -> tuple[str, ...]:
    """Names of all reference materials, in alphabetical order."""
    return tuple(sorted(_library()))


def load(name: str) -> Material:
    """A reference material by its name or an alias; case, blanks, hyphens, brackets are ignored.

    Raises
    ------
    DrypointError
        When there is no such material; the message lists the nearest names, or all.
    """
    library = _library()
    spellings = {_plain(n): m for m in library.values() for n in (m.name, *m.aliases)}
    found = spellings.get(_plain(name))
    if found is not None:
        return found
    near = difflib.get_close_matches(_plain(name), spellings, n=3, cutoff=0.6)
    close = list(dict.fromkeys(spellings[n].name for n in near))
    raise DrypointError(
        f"“{name}” is no reference material that Drypoint has data for.",
        where=Where(key="material"),
        remedy=(f"Did you mean {' or '.join(close)}? " if close else "")
        + f"Known: {', '.join(names())}. Or give E and nu yourself.",
    )


def _plain(name: str) -> str:
    return re.sub(r"[\s\-_(),]+", "", name.casefold())


@lru_cache(maxsize=1)
def _library() -> dict[str, Material]:
    folder = resources.files("drypoint.materials") / "data"
    items = []
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if entry.name.endswith(".toml"):
            items.append(_material(tomllib.loads(entry.read_text(encoding="utf-8"))))
    return {m.name: m for m in items}


def _material(table: dict[str, Any]) -> Material:
    hardness = table.get("hardness_GPa")
    return Material(
        name=table["name"],
        E=table["E_GPa"] * 1e9,
        u_E=table["u_E_GPa"] * 1e9,
        nu=table["nu"],
        u_nu=table["u_nu"],
        hardness=None if hardness is None else (hardness[0] * 1e9, hardness[1] * 1e9),
        citation=table["citation"],
        keys=tuple(table["keys"]),
        mark=table["mark"],
        u_mark=table["u_mark"],
        note=table.get("note", ""),
        aliases=tuple(table.get("aliases", ())),
    )

"""Reads the packaged reference materials (``data/*.toml``). Nothing else here touches files."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from dataclasses import dataclass, replace
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
        Young's modulus and its standard uncertainty, Pa. For a face of a crystal that of the
        isotropic solid with the same nu and indentation modulus.
    nu, u_nu : float
        Poisson's ratio and its standard uncertainty.
    stated : str
        ``"E"``, or ``"M"`` where the indentation modulus E/(1 - nu^2) is what is known: E then
        depends on nu, and :meth:`with_nu` keeps M.
    face : str
        Face of an anisotropic crystal for which the values hold, for example ``"c (0001)"``; empty
        for an isotropic solid.
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
    warning : str
        Why the values should not be used any more; empty where they may.
    aliases : tuple of str
        Other names that mean the same material.
    former : tuple of str
        Names that it had before, or that stood for other values.
    changed : str
        What has changed under the former names, as the end of a sentence.
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
    stated: str = "E"
    face: str = ""
    warning: str = ""
    former: tuple[str, ...] = ()
    changed: str = ""

    @property
    def M(self) -> float:
        """Indentation (plane-strain) modulus E/(1 - nu^2), Pa."""
        return self.E / (1 - self.nu**2)

    @property
    def u_M(self) -> float:
        """Standard uncertainty of :attr:`M`, Pa."""
        return math.sqrt(_u_squared(self.M, self.nu, self.u_E, self.u_nu, self.stated))

    def with_nu(self, nu: float, u_nu: float) -> Material:
        """The material with another Poisson's ratio. What is stated, E or M, stays as it is."""
        if self.stated == "E":
            return replace(self, nu=nu, u_nu=u_nu)
        E, u_E = _from_M(self.M, self.u_M, nu, u_nu)
        return replace(self, E=E, u_E=u_E, nu=nu, u_nu=u_nu)


def _u_squared(M: float, nu: float, u_E: float, u_nu: float, stated: str) -> float:
    """Variance of M = E/(1 - nu^2), Pa^2, from standard uncertainties of E and nu.

    ``stated`` says whether E and nu are independent (``"E"``) or M and nu (``"M"``). In the second
    case u(E)^2 = (1 - nu^2)^2 u(M)^2 + (2 nu M)^2 u(nu)^2 [gum2008].
    """
    plane, by_nu = 1 - nu**2, 2 * nu * M * u_nu
    return max(u_E**2 + (by_nu**2 if stated == "E" else -(by_nu**2)), 0.0) / plane**2


def _from_M(M: float, u_M: float, nu: float, u_nu: float) -> tuple[float, float]:
    """E and its standard uncertainty from the indentation modulus."""
    plane = 1 - nu**2
    return M * plane, math.hypot(plane * u_M, 2 * nu * M * u_nu)


def change(name: str) -> str:
    """What has changed under a name that a material had before; empty for a present name."""
    material = load(name)
    if _plain(name) not in map(_plain, material.former):
        return ""
    return f"“{name}” is now called “{material.name}”: {material.changed}."


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
    spellings = {_plain(n): m for m in library.values() for n in (m.name, *m.aliases, *m.former)}
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
    stated = "M" if "M_GPa" in table else "E"
    if stated == "M":
        M, u_M = table["M_GPa"] * 1e9, table["u_M_GPa"] * 1e9
        E, u_E = _from_M(M, u_M, table["nu"], table["u_nu"])
    else:
        E, u_E = table["E_GPa"] * 1e9, table["u_E_GPa"] * 1e9
    return Material(
        name=table["name"],
        E=E,
        u_E=u_E,
        nu=table["nu"],
        u_nu=table["u_nu"],
        hardness=None if hardness is None else (hardness[0] * 1e9, hardness[1] * 1e9),
        citation=table["citation"],
        keys=tuple(table["keys"]),
        mark=table["mark"],
        u_mark=table["u_mark"],
        note=table.get("note", ""),
        aliases=tuple(table.get("aliases", ())),
        stated=stated,
        face=table.get("face", ""),
        warning=table.get("warning", ""),
        former=tuple(table.get("former", ())),
        changed=table.get("changed", ""),
    )

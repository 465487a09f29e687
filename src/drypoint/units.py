"""Units at the edges. Inside, everything is SI; here text such as "mN" becomes a factor.

Conversion factors come from Pint. This module adds units that are written out ("micronewton") and
units that are typed without special characters ("uN").
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import TYPE_CHECKING

from drypoint.errors import UnitError

if TYPE_CHECKING:
    import pint

#: Dimension name -> SI unit in which Drypoint keeps it.
SI: dict[str, str] = {
    "time": "s",
    "force": "N",
    "length": "m",
    "pressure": "Pa",
    "stiffness": "N/m",
    "compliance": "m/N",
    "area": "m^2",
    "energy": "J",
    "velocity": "m/s",
    "angle": "rad",
    "temperature": "K",
    "frequency": "Hz",
    "dimensionless": "",
}

#: Units as they are typed, which Pint does not know or takes for something else. Sources: NIST
#: SP 811 (force of a gram, ångström); ISO 2955 and UCUM ("u" for micro where there is no µ); the
#: abbreviations of the second and the words for degree and percent are from general dictionaries.
_SPELLINGS = {
    "gf": "gram_force",
    "kgf": "kilogram_force",
    "mgf": "milligram_force",
    "sec": "s",
    "sec.": "s",
    "secs": "s",
    "Sek": "s",
    "Sek.": "s",
    "msec": "ms",
    "um": "µm",
    "uN": "µN",
    "us": "µs",
    "usec": "µs",
    "µsec": "µs",
    "A": "angstrom",
    "Å": "angstrom",
    "Ang": "angstrom",
    "deg C": "degC",
    "°C": "degC",
    "°": "deg",
    "Grad": "deg",
    "%": "percent",
}

#: Prefixes and units written out in English, French (SI Brochure of the BIPM) and German (DIN
#: 1301-1), without accents; micron, ångström and the force of a gram as in NIST SP 811.
_PREFIX_WORDS = {
    "": "",
    **{"pico": "p", "piko": "p", "nano": "n", "micro": "µ", "mikro": "µ", "milli": "m"},
    **{"centi": "c", "zenti": "c", "kilo": "k", "mega": "M", "giga": "G"},
}
_UNIT_WORDS = {
    "N": ("newton", "newtons"),
    "m": ("metre", "metres", "meter", "meters", "metern"),
    "s": ("second", "seconds", "sekunde", "sekunden", "seconde", "secondes"),
    "Pa": ("pascal", "pascals"),
    "J": ("joule", "joules"),
    "Hz": ("hertz",),
}
_OTHER_WORDS = {
    "min": ("minute", "minutes", "minuten"),
    "hour": ("hour", "hours", "stunde", "stunden", "heure", "heures"),
    "µm": ("micron", "microns"),
    "angstrom": ("angstrom", "angstroms"),
    "gram_force": ("gram-force", "gram force", "grams-force", "grams force"),
    "kilogram_force": ("kilogram-force", "kilogram force", "kilograms-force", "kilograms force"),
}

#: Units that mean a pure number. Pint would also take them as angles.
_PURE = {"", "1", "-", "percent", "dimensionless"}

#: Units of angle (Pint takes every pure number for one).
_ANGLE = re.compile(r"[mµ]?rad|radians?|deg(ree)?s?|arcmin(ute)?s?|arcsec(ond)?s?|turns?")

#: What a unit may look like: names with small powers, joined by ``*``, ``/`` or a blank. Anything
#: else is refused before Pint sees it, so that a stray header cannot start a long computation.
_NAME = r"[A-Za-zµÅΩ°_]{1,20}(?:(?:\*\*|\^)-?\d)?"
_UNIT = re.compile(rf"(?:1|{_NAME})(?:[*/ ](?:{_NAME}|\({_NAME}(?:[*/ ]{_NAME})*\)))*")


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(cache_folder=None)


#: The units of nearly every file, in Pint's own form. Its whole list takes most of a second to
#: load; it is loaded where a unit is not among these. A test holds both to the same factors.
_USUAL = """nano- = 1e-9 = n-
micro- = 1e-6 = µ- = μ- = u-
milli- = 1e-3 = m-
kilo- = 1e3 = k-
mega- = 1e6 = M-
giga- = 1e9 = G-
meter = [length] = m = metre
second = [time] = s = sec
gram = [mass] = g
radian = [] = rad
degree = 3.141592653589793 / 180 * radian = deg
newton = kilogram * meter / second ** 2 = N
pascal = newton / meter ** 2 = Pa
joule = newton * meter = J
hertz = 1 / second = Hz
"""


@lru_cache(maxsize=1)
def _usual() -> pint.UnitRegistry[float]:
    import pint

    ureg: pint.UnitRegistry[float] = pint.UnitRegistry(None, cache_folder=None)
    ureg.load_definitions(_USUAL.splitlines())
    return ureg


def _scale(name: str, target: str) -> float:
    """What one ``name`` is in ``target``."""
    import pint

    try:
        return float(_usual().Quantity(1.0, name).to(target).magnitude)
    except pint.UndefinedUnitError:
        return float(_registry().Quantity(1.0, name).to(target).magnitude)


@lru_cache(maxsize=1)
def spelled_words() -> dict[str, str]:
    """Units written out, folded to lower case without accents, and their symbols."""
    out = {word: unit for unit, words in _OTHER_WORDS.items() for word in words}
    for prefix, sign in _PREFIX_WORDS.items():
        for unit, words in _UNIT_WORDS.items():
            out.update({prefix + word: sign + unit for word in words})
    return out


@lru_cache(maxsize=1024)
def spelled(text: str) -> str | None:
    """Symbol of a unit written out (``"Mikronewton"``), or ``None``."""
    plain = unicodedata.normalize("NFKD", text.strip()).casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return spelled_words().get(" ".join(plain.split()))


@lru_cache(maxsize=1024)
def tidy(text: str) -> str:
    """Bring a unit's spelling to one form (micro sign, superscripts, blanks, brackets)."""
    s = unicodedata.normalize("NFKC", text).strip()
    while len(s) > 1 and (s[0], s[-1]) in {("(", ")"), ("[", "]"), ("{", "}"), ("<", ">")}:
        s = s[1:-1].strip()
    s = s.replace("\N{GREEK SMALL LETTER MU}", "µ").replace("·", "*").replace("⋅", "*")
    s = s.replace("\N{MINUS SIGN}", "-")
    if s in _SPELLINGS:
        return _SPELLINGS[s]
    if symbol := spelled(s):
        return symbol
    s = re.sub(r"\s*([*/])\s*", r"\1", s)
    s = re.sub(r"(?<=[A-Za-zµ])\^?(-?\d)\b", r"**\1", s)
    return re.sub(
        r"(?<![\w°])[A-Za-zµÅ°]+\.?",
        lambda m: "µ" + m[0][1:] if m[0] in ("um", "uN", "us", "uV", "uA") else _part(m[0]),
        s,
    )


def _part(word: str) -> str:
    """Spelling of one name inside a compound unit (``A`` stays: it may be an ampere there)."""
    return word if word == "A" else _SPELLINGS.get(word, word)


@lru_cache(maxsize=1024)
def _affine(unit: str, dimension: str) -> tuple[float, float]:
    """Scale and offset that take a number in ``unit`` to SI."""
    target = SI[dimension]
    name = tidy(unit)
    if dimension == "temperature" and name in ("C", "F"):
        name = "deg" + name
    problem = UnitError(
        f"“{unit}” is not a unit of {dimension}.",
        remedy=f"Write one such as {_examples(dimension)}.{_hint(name, dimension)}",
    )
    if name in _PURE:
        if dimension != "dimensionless":
            raise problem
        return (0.01 if name == "percent" else 1.0), 0.0
    if dimension == "angle" and not _ANGLE.fullmatch(name):
        raise problem
    if dimension == "dimensionless" or not _UNIT.fullmatch(name):
        raise problem
    try:
        if dimension == "temperature":
            ureg = _registry()
            zero = float(ureg.Quantity(0.0, name).to(target).magnitude)
            return float(ureg.Quantity(1.0, name).to(target).magnitude) - zero, zero
        return _scale(name, target), 0.0
    except Exception as error:
        raise problem from error


def factor(unit: str, dimension: str) -> float:
    """Factor that takes a number in ``unit`` to SI (of a temperature: a difference of two).

    Parameters
    ----------
    unit : str
        For example ``"mN"``, ``"µm"``, ``"gf"``, ``"nm/mN"``.
    dimension : str
        A key of :data:`SI`.

    Raises
    ------
    UnitError
        When the unit is not known or is not of that dimension.
    """
    return _affine(unit, dimension)[0]


def offset(unit: str, dimension: str) -> float:
    """What to add after :func:`factor`: zero but for temperatures (273.15 K for degC)."""
    return _affine(unit, dimension)[1]


@lru_cache(maxsize=1024)
def dimension_of(unit: str) -> str | None:
    """Dimension (a key of :data:`SI`) of a unit's text, or ``None`` when it is not a unit."""
    for dimension in SI:
        try:
            _affine(unit, dimension)
        except UnitError:
            continue
        return dimension
    return None


def same(a: str, b: str) -> bool:
    """Whether two spellings mean the same unit."""
    if tidy(a) == tidy(b):
        return True
    dimension = dimension_of(a)
    return (
        dimension is not None
        and dimension == dimension_of(b)
        and _affine(a, dimension) == _affine(b, dimension)
    )


def _examples(dimension: str) -> str:
    return {
        "time": "s, ms or min",
        "force": "mN, µN, N or gf",
        "length": "nm, µm or m",
        "pressure": "GPa, MPa or N/mm^2",
        "stiffness": "mN/nm or N/m",
        "compliance": "nm/mN or m/N",
        "velocity": "nm/s",
        "angle": "deg or rad",
        "temperature": "degC or K",
    }.get(dimension, SI[dimension] or "1")


def _hint(name: str, dimension: str) -> str:
    """A guess at the slip behind a wrong unit, as a sentence."""
    if dimension == "force" and name in ("g", "kg", "mg"):
        return f" {name} is a mass; if a weight is meant, write {name}f."
    if dimension == "length" and name.lower() in ("nm", "mm", "um", "µm"):
        return f" Capitals count: {name.lower()}?"
    if dimension == "force" and name.lower() in ("mn", "un", "nn", "µn"):
        return " Capitals count: mN is a millinewton, MN a meganewton."
    return ""


def show(value: float, unit: str, dimension: str) -> float:
    """A number in SI as a number in ``unit`` (for display)."""
    scale, shift = _affine(unit, dimension)
    return (value - shift) / scale

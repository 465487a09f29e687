"""Proposed names of specimens, from the names of files alone."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

#: Name of last resort.
UNNAMED = "specimen"
#: Folders whose names say nothing about a specimen.
_PLAIN_FOLDERS = frozenset(
    ("", ".", "..", "/", "raw", "raw data", "raw files", "data", "records", "files", "measurements",
     "tests", "export", "exports")
)  # fmt: skip
#: Words for a record that say nothing about a specimen, where the folder has a name.
_PLAIN_WORDS = frozenset(
    ("test", "record", "data", "curve", "run", "file", "indent", "indentation", "measurement",
     "raw", "export")
)  # fmt: skip
_EXTENSION = re.compile(r"\.(?:[A-Za-z][A-Za-z0-9]{0,3}|parquet)$")
_PACKED = re.compile(r"\.gz$", re.IGNORECASE)
_COPY = re.compile(r"(?:[\s_-]*\(\d+\)|[\s_-]+(?:copy|copie|kopie))+$", re.IGNORECASE)
_DAY = r"(?:19|20)\d\d([-_.]?)(?:0[1-9]|1[0-2])\1(?:0[1-9]|[12]\d|3[01])"
_CLOCK = r"(?:[\sT_-]+\d\d[-_.h]?\d\d(?:[-_.m]?\d\d)?)?"
_DATE_LAST = re.compile(rf"(?:^|[\s_.-]+){_DAY}{_CLOCK}$")
_DATE_FIRST = re.compile(rf"^{_DAY}{_CLOCK}(?:$|[\s_.-]+)")
_NUMBER_LAST = re.compile(r"(?P<gap>[\s_.#-]*)(?<!\d)(?P<number>\d{1,9})$")
_NUMBER_FIRST = re.compile(r"^(?P<number>\d{1,9})(?P<gap>[\s_.#-]+)(?=[^\d\s_.#-])")
_LABEL = re.compile(r"[\s_.-]+(?:no|nr)\.?$", re.IGNORECASE)
_MARKS = " \t_-.,#+"
_ELEMENTS = (
    "H|Li|Be|B|C|N|O|F|Na|Mg|Al|Si|P|S|Cl|K|Ca|Sc|Ti|V|Cr|Mn|Fe|Co|Ni|Cu|Zn|Ga|Ge|As|Se|Br|Rb|Sr|Y"
    "|Zr|Nb|Mo|Ru|Rh|Pd|Ag|Cd|In|Sn|Sb|Te|I|Cs|Ba|La|Ce|Pr|Nd|Sm|Eu|Gd|Tb|Dy|Ho|Er|Tm|Yb|Lu|Hf|Ta|W|Re|Os|Ir|Pt|Au|Hg|Tl|Pb|Bi|Th|U"
)
_SYMBOL = re.compile("|".join(sorted(_ELEMENTS.split("|"), key=len, reverse=True)))
_LAST_OF_COMPOUND = frozenset(
    ("H", "B", "C", "N", "O", "F", "Si", "P", "S", "Cl", "Se", "Br", "Te", "I")
)  # fmt: skip


@dataclass(frozen=True)
class _Parsed:
    """A file name taken apart: its folder, and its stem with and without the running number.
    ``glued``: nothing stands between stem and number; ``index``: it may belong to a formula."""

    folder: tuple[str, ...]
    whole: str
    stem: str
    number: str = ""
    glued: bool = False
    index: bool = False


def specimen_names(paths: Sequence[str]) -> list[str]:
    """A proposed specimen for each file, in the order of ``paths``.

    The name is the stem of the file name: without extension, mark of a copy ("(2)"), date, and
    **one** running number at its end, else at its beginning. ``glass_01.csv``, ``glass-02.csv``
    and ``Glass 3 (2).txt`` are one specimen, "glass".

    - Stems that differ are never one specimen. Case does not count in plain words (glass, Glass,
      GLASS), but in formulas (``TiN`` is not ``tin``); blank, ``_`` and ``-`` are the same.
      The most frequent spelling is proposed.
    - Numbers that are unlikely to count tests stay in the name: several round ones (``film_100``,
      ``film_200``), unpadded ones of three digits and more that are far from consecutive
      (``alloy_304``, ``alloy_316``), an index of a formula (``Al2O3``), a decimal (``x0.5``).
    - A file whose name is only a number, a date or a plain word (test, record, ...) takes the name
      of its folder; so do the files of a folder where all have the same stem of one or two
      letters. Folders such as ``raw`` or ``data`` are passed over.
    - The same stem in several folders is a specimen per folder.

    Parameters
    ----------
    paths : sequence of str
        Paths with ``/`` or ``\\`` between folders. No file is opened.

    Returns
    -------
    list of str
        Printable, never empty; ``"specimen"`` if neither file nor folder has a name.
    """
    parsed = [_parse(p) for p in paths]
    stems = _stems(parsed)
    keys = [_key(s) for s in stems]
    spelled = _spellings(stems, keys)
    labels = _folder_labels({p.folder for p in parsed})
    inside: dict[tuple[str, ...], set[str]] = {}
    places: dict[str, set[tuple[str, ...]]] = {}
    for p, k in zip(parsed, keys, strict=True):
        inside.setdefault(p.folder, set()).add(k)
        places.setdefault(k, set()).add(p.folder)
    return [
        _name(spelled[k], labels[p.folder], alone=len(inside[p.folder]) == 1,
              twice=len(places[k]) > 1)
        for p, k in zip(parsed, keys, strict=True)
    ]  # fmt: skip


def _stems(parsed: Sequence[_Parsed]) -> list[str]:
    """Stems, with the number where it does not count tests."""
    alike = [_key(p.stem) for p in parsed]
    numbers: dict[str, set[str]] = {}
    begun: set[str] = set()  # SiC2 is no formula beside SiC1
    for p, k in zip(parsed, alike, strict=True):
        if p.glued and (p.number.startswith("0") or int(p.number) <= 1):
            begun.add(k)
    for p, k in zip(parsed, alike, strict=True):
        if p.number and (k in begun or not p.index):
            numbers.setdefault(k, set()).add(p.number)
    counted = {k: _running(v) for k, v in numbers.items()}
    return [
        p.whole if (p.index and k not in begun) or not counted.get(k, True) else p.stem
        for p, k in zip(parsed, alike, strict=True)
    ]


def _name(stem: str, folder: str, *, alone: bool, twice: bool) -> str:
    plain = not stem or _key(stem) in _PLAIN_WORDS or (alone and len(stem) <= 2)
    if not folder:
        return stem or UNNAMED
    if plain:
        return folder
    return f"{folder} {stem}" if twice else stem


def _parse(path: str) -> _Parsed:
    parts = [_clean(p) for p in re.split(r"[/\\]", path)]
    text = _EXTENSION.sub("", _PACKED.sub("", parts[-1]))
    text = _COPY.sub("", text)
    text = _DATE_LAST.sub("", _DATE_FIRST.sub("", text))
    folder = tuple(p for p in parts[:-1] if p.casefold() not in _PLAIN_FOLDERS and ":" not in p)
    stem, number, glued = _without_number(text)
    if number:
        stem = _DATE_LAST.sub("", _LABEL.sub("", _COPY.sub("", stem)))
    whole, stem = text.strip(_MARKS), stem.strip(_MARKS)
    if not any(c.isalpha() for c in stem):
        return _Parsed(folder, "", "")
    return _Parsed(folder, whole, stem, number, glued, glued and _is_formula(text))


def _clean(text: str) -> str:
    shown = "".join(c if c.isprintable() else " " for c in unicodedata.normalize("NFC", text))
    return " ".join(shown.split())


def _without_number(text: str) -> tuple[str, str, bool]:
    """Stem, number ("" if there is none), and whether nothing is between them."""
    last = _NUMBER_LAST.search(text)
    if last:
        before, gap = text[: last.start()], last["gap"]
        decimal = gap == "." and before[-1:].isdecimal()
        return (text, "", False) if decimal else (before, last["number"], not gap)
    first = _NUMBER_FIRST.match(text)
    return (text[first.end() :], first["number"], False) if first else (text, "", False)


def _is_formula(text: str) -> bool:
    """Whether a text ends in a compound whose index is its last digit (SiO2, not S2)."""
    found = re.search(r"[A-Za-z][A-Za-z0-9]*$", text)
    if not found or not re.search(r"[A-Za-z][2-9]$", found[0]):
        return False
    rest, symbols = found[0], []
    while rest:
        symbol = _SYMBOL.match(rest)
        if not symbol:
            return False
        symbols.append(symbol[0])
        rest = rest[symbol.end() :].lstrip("0123456789")
    most = 2 if found[0].isupper() else 4  # three capitals are an abbreviation
    return 2 <= len(symbols) <= most and symbols[-1] in _LAST_OF_COMPOUND


def _running(numbers: set[str]) -> bool:
    """Whether numbers after one stem count tests; else they tell specimens apart."""
    values = {int(n) for n in numbers}
    if len(values) > 1 and all(v % 10 == 0 for v in values):
        return False
    padded = any(len(n) > 1 and n.startswith("0") for n in numbers)
    if padded or max(values) <= 99:
        return True
    return len(values) > 1 and 2 * len(values) > max(values) - min(values) + 1


def _key(stem: str) -> str:
    """What stems of one specimen have in common."""
    words = [w for w in re.split(r"[\s_-]+", stem) if w]
    return " ".join(w.casefold() if _is_word(w) else w for w in words)


def _is_word(text: str) -> bool:
    """Lower, upper or with a capital; other mixtures are formulas and abbreviations."""
    rest = text[1:]
    return text == text.lower() or text == text.upper() or rest == rest.lower()


def _spellings(stems: Sequence[str], keys: Sequence[str]) -> dict[str, str]:
    """Key -> its most frequent spelling, the smaller letters first among equals."""
    counts: dict[str, Counter[str]] = {}
    for stem, key in zip(stems, keys, strict=True):
        counts.setdefault(key, Counter())[stem] += 1
    return {k: min(c, key=lambda s: (-c[s], s.swapcase(), s)) for k, c in counts.items()}


def _folder_labels(folders: set[tuple[str, ...]]) -> dict[tuple[str, ...], str]:
    """The shortest end of each folder's path that has a letter and that no other folder has."""

    def end(folder: tuple[str, ...], size: int) -> str:
        return " ".join(folder[-size:])

    ends = Counter(end(f, k).casefold() for f in folders for k in range(1, len(f) + 1))
    out = {}
    for folder in folders:
        fit = (
            label
            for k in range(1, len(folder) + 1)
            if ends[(label := end(folder, k)).casefold()] == 1 and any(map(str.isalpha, label))
        )
        out[folder] = next(fit, end(folder, len(folder)))
    return out

"""What stands above the numbers: pairs such as ``Temperature: 23 °C``, kept as declared words."""

from __future__ import annotations

import re
import unicodedata

from drypoint import units

#: Words in English, German and French -> key under which
#: :class:`~drypoint.records.batch.TestInfo` declares them. The keys follow the contents of a test
#: report in ISO 14577-1; the words are from general dictionaries.
_KEYS: dict[str, str] = {}
for _key, _words in {
    "temperature": "temperature|temp|temperatur|raumtemperatur|room temperature|temp.",
    "humidity": "humidity|relative humidity|rel. humidity|rh|feuchte|luftfeuchte|rel. feuchte"
    "|luftfeuchtigkeit|relative feuchte|humidite|humidite relative",
    "date": "date|datum|test date|prufdatum|messdatum|date of test|date de l'essai",
    "time": "time|uhrzeit|time of day|start time|heure|clock time|startzeit|zeit",
    "operator": "operator|user|bediener|prufer|operateur|tested by|bearbeiter|utilisateur",
    "indenter": "indenter|tip|indentor|eindringkorper|spitze|prufspitze|penetrateur|indenteur"
    "|indenter type|pointe|indenter geometry",
    "instrument": "instrument|machine|device|gerat|prufgerat|appareil|tester|apparatus",
    "specimen": "specimen|sample|probe|echantillon|eprouvette|material|specimen name"
    "|sample name|probenname|prufling|werkstoff",
    "control": "control|control mode|regelung|steuerung|pilotage|mode of control|asservissement",
    "test": "test|test no|test no.|test number|indent|indent no|versuch|essai|messung"
    "|test name|test id|prufung|pruefung",
    "x": "x|x position|position x|pos x|x pos|stage x|x coordinate|x-position|koordinate x",
    "y": "y|y position|position y|pos y|y pos|stage y|y coordinate|y-position|koordinate y",
}.items():
    for _word in _words.split("|"):
        _KEYS[_word] = _key

#: Longer lines are no pairs.
_LONGEST = 1000
_FORCE = {"force", "load", "kraft", "last", "effort", "charge"}
_DEPTH = {"depth", "displacement", "tiefe", "weg", "profondeur", "deplacement", "penetration"}
_COMMENT = re.compile(r"\s*(?:#+|%+|//+|!+|\*+|;+(?=\s))\s*")
_PAIR = re.compile(r"\s*([^:=\t]{1,60}?)\s*(?::|=|\t)\s*(\S.*?)\s*")
_UNIT_IN_KEY = re.compile(r"(.*?)\s*[(\[]\s*([^()\[\]]+)\s*[)\]]")


def fold(text: str) -> str:
    """Lower case, without accents, blanks collapsed: for comparing words, not for showing them."""
    s = unicodedata.normalize("NFKD", text.replace("ß", "ss")).casefold()
    s = "".join(c for c in s if not unicodedata.combining(c))
    return " ".join(s.split())


def uncomment(line: str, comment: str | None = None) -> str:
    """A header line without its leading comment sign."""
    if comment and line.lstrip().startswith(comment):
        return line.lstrip()[len(comment) :].strip()
    m = _COMMENT.match(line)
    return line[m.end() :] if m else line


def pair(line: str, delimiter: str) -> tuple[str, str] | None:
    """Key and value of a header line, or ``None`` when it is no pair.

    A unit in the key moves behind the value: ``Temperature [°C]: 23`` is ``23 °C``.
    """
    if len(line) > _LONGEST:
        return None
    body = line.strip().strip(delimiter if delimiter != " " else "").replace('"', "")
    m = _PAIR.fullmatch(body)
    if m:
        key, value = m[1], " ".join(m[2].strip(" \t;,|").split("\t"))
    else:
        parts = [p.strip() for p in body.split(delimiter)] if delimiter != " " else []
        if len(parts) == 3 and (units.dimension_of(parts[2]) or parts[2] == "%") and parts[2]:
            parts = [parts[0], f"{parts[1]} {parts[2]}"]
        if len(parts) != 2 or not all(parts):
            return None
        key, value = parts
    if not key.strip() or not value:
        return None
    m = _UNIT_IN_KEY.fullmatch(key.strip())
    if m and m[1]:
        key = m[1]
        if re.fullmatch(r"[-+]?\d+(?:[.,]\d+)?", value):
            value = f"{value} {m[2]}"
    return canonical(key), value


def canonical(key: str) -> str:
    """Plain key of a header word in English, German or French; other words in lower case."""
    known = _KEYS.get(fold(key).strip(" .:"))
    return known or " ".join(key.casefold().split())


def known(word: str) -> bool:
    """Whether a word is known for what headers declare (or is its plain key)."""
    return fold(word).strip(" .:") in _KEYS


def control(value: str) -> str:
    """``force`` or ``depth`` for the words that mean it, else the words themselves."""
    words = set(re.findall(r"[a-z]+", fold(value)))
    stems = {w for w in _FORCE | _DEPTH for v in words if v.startswith(w)}
    force, depth = bool(stems & _FORCE), bool(stems & _DEPTH)
    return value if force == depth else "force" if force else "depth"


def add(declared: dict[str, str], key: str, value: str) -> None:
    """Keep a pair; a key that comes again with another value gets a number."""
    if key == "control":
        value = control(value)
    name, n = key, 2
    while name in declared and declared[name] != value:
        name, n = f"{key} ({n})", n + 1
    declared[name] = value


def position(declared: dict[str, str]) -> tuple[float, float] | None:
    """Position in metres from ``x`` and ``y`` where both have a number and a unit of length."""
    xy = []
    for key in ("x", "y"):
        m = re.fullmatch(r"([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*(\S+)", declared.get(key, ""))
        if not m or units.dimension_of(m[2]) != "length":
            return None
        xy.append(float(m[1].replace(",", ".")) * units.factor(m[2], "length"))
    return xy[0], xy[1]

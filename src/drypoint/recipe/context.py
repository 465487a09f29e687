"""Conditions of rules that look beyond their own section: at the file, or at what is around."""

from __future__ import annotations

from collections.abc import Callable

from drypoint import materials
from drypoint.errors import DrypointError
from drypoint.recipe.parts import Document, table_list, tables
from drypoint.recipe.rules import Given, Where


def _document(given: Given) -> Document:
    return dict(given.document)


def _names(given: Given, key: str) -> list[str]:
    return list(tables(_document(given), key))


def listed(key: str) -> Callable[[Given], str]:
    """Remedy: the names that a table of the file has."""
    return lambda given: f"Allowed: {', '.join(_names(given, key))}."


def several(key: str, kind: str) -> Where:
    """The study has several tips (or frames), and no bench is named."""
    return Where(
        f"there are several {kind}s, and `bench` is omitted",
        lambda given: len(_names(given, key)) > 1 and not given.has("bench"),
        ("bench",),
    )


def _bench_left_open(given: Given) -> bool:
    tips, benches = _names(given, "tips"), _names(given, "benches")
    if tips or len(benches) < 2:
        return bool(tips and benches) and not given.has("tip")
    return True


BENCH_LEFT_OPEN = Where(
    "there are several benches and no tips, or benches and tips and `tip` is omitted",
    _bench_left_open,
    ("tip",),
)


def bench_what(given: Given) -> str:
    """What is left open."""
    if _names(given, "tips"):
        return "neither bench nor tip is named, and the study has both."
    return "the key is missing, and there is more than one bench."


def bench_remedy(given: Given) -> str:
    """What may be named."""
    tips, benches = _names(given, "tips"), ", ".join(_names(given, "benches"))
    return f"Benches: {benches}; tips: {', '.join(tips)}." if tips else f"Allowed: {benches}."


NOTHING_ELSE = Where(
    "there are neither `[[tracks]]` nor `[stress.NAME]`",
    lambda given: not given.has("tracks") and not given.has("stress"),
    ("tracks", "stress"),
)
TESTED = Where(
    "there are `[[records]]` or `[[tracks]]`",
    lambda given: any(table_list(_document(given), k) for k in ("records", "tracks")),
    ("records", "tracks"),
)
TIP_LEFT_OPEN = Where(
    "there are `[[records]]` and no `[benches.NAME]`",
    lambda given: bool(table_list(_document(given), "records")) and not given.has("benches"),
    ("benches",),
)


def _ratio_left_open(given: Given) -> bool:
    name, document = given.path[-1], _document(given)
    indented = {t.get("specimen") for t in table_list(document, "records")}
    scratched = {t.get("specimen") for t in table_list(document, "tracks")}
    if given.has("reference") or given.has("nu_of"):
        return False
    return name in indented or name not in scratched


RATIO_LEFT_OPEN = Where(
    "neither `reference` nor `nu_of` is given; not for a specimen with scratch tests only",
    _ratio_left_open,
    ("reference", "nu_of"),
)


def packaged(name: object) -> bool:
    """Whether there is such a reference material."""
    try:
        materials.load(str(name))
    except DrypointError:
        return False
    return True


def _modulus_left_open(given: Given) -> bool:
    specimen = tables(_document(given), "specimens").get(str(given.value("specimen")))
    if not isinstance(specimen, dict):
        return False  # another fault says so
    return not packaged(specimen.get("reference", ""))


MODULUS_LEFT_OPEN = Where(
    "the specimen names no packaged reference material", _modulus_left_open, ("specimen",)
)
ONE_MATERIAL = Where(
    "there is one reference material only",
    lambda given: len(given.value("references")) == 1,
    ("references",),
)


def _layer_modulus_left_open(given: Given) -> bool:
    """Only the modulus of the uppermost layer may be sought without a start."""
    specimen = given.parents[-1] if given.parents else None
    layers = getattr(specimen, "layers", ())
    base = getattr(specimen, "substrate", None)
    if not layers:
        return False  # another fault says so
    if given.path[-1] != 0 or given.has("u_E_GPa"):
        return True
    nothing = not getattr(base, "sought", ()) and not any(row.sought for row in layers)
    return not (nothing or "E" in given.value("sought"))


LAYER_MODULUS_LEFT_OPEN = Where(
    "it is not the modulus of the uppermost layer that is sought, or `u_E_GPa` is given",
    _layer_modulus_left_open,
    ("sought", "u_E_GPa"),
)


def sought_or_not(given: Given) -> str:
    """Why a layer's number is needed."""
    if "E" in given.value("sought"):
        return "What is sought needs a start here, too."
    return "The exact solution needs this number."


NOT_UPPERMOST = Where("the layer is not the uppermost one", lambda given: given.path[-1] != 0)


def _thickness_left_open(given: Given) -> bool:
    specimen = given.parents[-1] if given.parents else None
    layers = getattr(specimen, "layers", ())
    if not layers:
        return False  # another fault says so
    return len(layers) > 1 or getattr(specimen, "thickness_nm", None) is None


THICKNESS_LEFT_OPEN = Where(
    "the specimen's `thickness_nm` does not give it (it may for a single layer)",
    _thickness_left_open,
)


def unless(words: str) -> Where:
    """A need of a section with ``late`` rules: what could be filled in has been."""
    return Where(f"{words} does not give it", lambda given: True)

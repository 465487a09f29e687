"""A study that is written reads back as the same study."""

from __future__ import annotations

import json
import math
import tomllib
from typing import Any, Literal, get_args, get_origin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.recipe import StudyFile, dumps, read_study, to_toml
from drypoint.recipe.base import Section
from drypoint.recipe.knobs import Analysis, Drift, Dynamic, Flags, Segments, Zero
from drypoint.recipe.locate import dotted, key_lines, line_of
from drypoint.recipe.problems import bounds
from drypoint.recipe.sections import About, Specimen

TEXT = st.text(st.characters(codec="utf-8"), max_size=12)
WORDS = TEXT.filter(str.strip)


def number(low: float | None, high: float | None, strict: bool) -> st.SearchStrategy[float]:
    """A number between its bounds."""
    return st.floats(
        low, high, allow_nan=False, allow_infinity=False,
        exclude_min=strict and low is not None, exclude_max=strict and high is not None,
    )  # fmt: skip


def values(name: str, annotation: Any, metadata: Any) -> st.SearchStrategy[Any]:
    """Values that a key allows, from its annotation."""
    if name == "epsilon":
        return st.just("exponent") | number(0, 1, True).filter(lambda v: v > 0)
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return st.sampled_from(args)
    if annotation is bool:
        return st.booleans()
    if annotation is str:
        return WORDS
    if annotation is int:
        found = bounds(annotation, metadata)
        return st.integers(int(found.get("ge", 0)), int(min(found.get("le", 2**31), 2**31)))
    if origin is dict:
        return st.dictionaries(WORDS, values("", args[1], ()), max_size=3)
    if annotation is float:
        found = bounds(annotation, metadata)
        low, high = found.get("gt", found.get("ge")), found.get("lt", found.get("le"))
        return number(low, high, "gt" in found or "lt" in found)
    if origin is tuple and get_origin(args[0]) is tuple:
        return st.lists(st.lists(number(None, None, False), min_size=4, max_size=4), max_size=2)
    if origin is tuple:
        found = bounds(annotation, ())
        low, high = found.get("gt", found.get("ge")), found.get("lt", found.get("le"))
        pair = st.lists(number(low, high, True), min_size=2, max_size=2, unique=True)
        return pair.map(sorted)
    inner = [a for a in args if a is not type(None)]
    more = [m for m in getattr(inner[0], "__metadata__", ())]
    base = get_args(inner[0])[0] if hasattr(inner[0], "__metadata__") else inner[0]
    return values(name, base, [*metadata, *more])


def tables(model: type[Section], leave: tuple[str, ...] = ()) -> st.SearchStrategy[dict[str, Any]]:
    """Tables of a section: some of its keys."""
    fields = {n: i for n, i in model.model_fields.items() if n not in leave}
    needed = {n: values(n, i.annotation, i.metadata) for n, i in fields.items() if i.is_required()}
    other = {
        n: values(n, i.annotation, i.metadata) for n, i in fields.items() if not i.is_required()
    }
    return st.fixed_dictionaries(needed, optional=other)


CHOICES = ("segments", "corrections", "analysis", "flags", "dynamic")
COATED = ("layers", "substrate", "film_analysis")  # round trip in test_layer_keys.py
SKIP = ("reference", "nu_of", "nu", "u_nu", "u_thickness_nm", *COATED, *CHOICES)


@st.composite
def studies(draw: st.DrawFn) -> dict[str, Any]:
    """Documents of studies that are right."""
    name, tip = draw(WORDS), draw(WORDS)
    zero = draw(tables(Zero, ("depth_nm",)))
    if zero.get("method") == "declared":
        zero["depth_nm"] = draw(number(None, None, False))
    drift = draw(tables(Drift, ("rate_nm_per_s",)))
    if drift.get("method") == "declared":
        drift["rate_nm_per_s"] = draw(number(None, None, False))
    specimen = draw(tables(Specimen, SKIP)) | {"nu": draw(number(-1, 0.5, True))}
    specimen |= {"analysis": draw(tables(Analysis))}
    shape = draw(st.sampled_from([{"shape": "Vickers"}, {"shape": "sphere", "radius_nm": 5e3}]))
    return {
        "drypoint": 1,
        "study": draw(tables(About)),
        "records": [{"files": ["raw/a.txt"], "specimen": name}],
        "specimens": {name: specimen},
        "tips": {tip: shape},
        "segments": draw(tables(Segments)),
        "corrections": {"zero": zero, "drift": drift},
        "analysis": draw(tables(Analysis)),
        "flags": draw(tables(Flags)),
        "dynamic": draw(tables(Dynamic)),
    }


@given(studies())
def test_written_and_read_again(document: dict[str, Any]) -> None:
    """Document -> TOML -> study -> TOML -> study: the same, and the same hash."""
    first = read_study(dumps(document), "s.toml")
    again = read_study(to_toml(first.file), "s.toml")
    assert again.file == first.file
    assert again.recipe_hash == first.recipe_hash
    assert again.file.model_fields_set == first.file.model_fields_set
    assert again.options(next(iter(document["specimens"]))) == first.options(
        next(iter(document["specimens"]))
    )


NAMES = TEXT
PLAIN = st.booleans() | st.integers(-(2**62), 2**62) | st.floats() | TEXT
TREES = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=12,
)


def same(a: Any, b: Any) -> bool:
    """Equal, with NaN equal to itself."""
    if isinstance(a, float) and isinstance(b, float) and math.isnan(a):
        return math.isnan(b)
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(same, a, b))
    return type(a) is type(b) and bool(a == b)


@given(st.dictionaries(NAMES, TREES, max_size=4))
def test_any_toml(tree: dict[str, Any]) -> None:
    """The writer against the standard library's reader; and each key is found on a line."""
    text = dumps(tree)
    assert same(tomllib.loads(text), tree)
    lines, count = key_lines(text), text.count("\n") + 1
    for name, value in tree.items():
        line = line_of((name,), lines)
        assert line is not None or value == {} or value == []
        assert line is None or 1 <= line <= count


def test_lines_of_keys() -> None:
    """Tables, lists of tables, dotted and quoted keys, values over several lines."""
    text = (
        '''
a = """
b = 1 ["
"""
"c d".e = [
  1, # ]
  { x = "}" },
]
[t]
k = 'it'''
        + "'"
        + """
[[l]]
m = 1
[[l]]
m.n = 2
[l.s]
o = 3
"""
    )
    tomllib.loads(text)
    found = key_lines(text)
    assert found["a",] == 2
    assert found["c d", "e"] == 5
    assert found["t", "k"] == 10
    assert found["l", 0, "m"] == 12
    assert found["l", 1, "m", "n"] == 14
    assert found["l", 1, "s", "o"] == 16
    assert line_of(("l", 1, "nothing"), found) == 13
    assert line_of(("nothing",), found) is None
    assert dotted(("l", 1, "c d", "x_1")) == 'l[2]."c d".x_1'


def test_dumps_refuses_what_toml_has_not() -> None:
    """No silent bending of types."""
    with pytest.raises(TypeError, match="no form for"):
        dumps({"a": object()})
    assert dumps({"a": None, "b": 1}) == "b = 1\n"


def test_sample_survives(versions: Any) -> None:
    """The sample of each version: read, written, read again."""
    for path in sorted(versions.glob("v*.toml")):
        study = read_study(path.read_text(encoding="utf-8"), path)
        again = read_study(to_toml(study.file), path)
        assert again.file == study.file
        body = json.loads(study.file.model_dump_json())
        assert StudyFile.model_validate_json(json.dumps(body)) == study.file

"""What the reference says of each key is what the validator enforces: every word, every need.

Both read the same declarations, so nothing here lists keys by hand except for needs that depend on
another part of the file, which take an example each.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import jsonschema
import pytest
from pydantic import TypeAdapter, ValidationError

from drypoint.recipe import StudyError, json_schema, read_study
from drypoint.recipe.allowed import literals
from drypoint.recipe.base import Section, model_in, sections, source_of
from drypoint.recipe.problems import Problem
from drypoint.recipe.reference import reference_page
from drypoint.recipe.rules import Alone, EitherOf, Has, Is, Needed, OneOf, Only, Where
from drypoint.recipe.ruling import section_faults
from drypoint.recipe.schema import StudyFile

MODELS = list({model.__name__: model for _, model in sections(StudyFile)}.values())
#: Tried in this order for a key's value.
CANDIDATES: tuple[Any, ...] = (
    0.4, 12, 1, 2.5, True, "2026-01-31", ["a"], ["a", "b"], [0.4], [0.1, 0.9], [[0.4, 1.0]],
    [[1, 2, 3, 4]], [[1.0]], {"a": "b"}, {},
)  # fmt: skip


def sample(model: type[Section], key: str) -> Any:
    """A valid value of a key, another than its default."""
    info = model.model_fields[key]
    inner, held = model_in(info.annotation)
    if inner is not None:
        first = next(iter(inner.model_fields))
        table = smallest(inner) or {first: sample(inner, first)}
        return {"names": {"a": table}, "list": [table]}.get(held, table)
    kind = Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation
    words = list(literals(info.annotation))
    default = info.get_default(call_default_factory=True, validated_data={})
    for value in (*words, *([w] for w in words), *({w: "x"} for w in words), *CANDIDATES):
        try:
            found = TypeAdapter(kind).validate_json(json.dumps(value), strict=True)
        except ValidationError:
            continue
        if found != default:
            return value
    raise AssertionError(f"no sample of {model.__name__}.{key}")


def smallest(model: type[Section]) -> dict[str, Any]:
    """A table with the keys that are needed whatever the others are."""
    return {k: sample(model, k) for k, i in model.model_fields.items() if i.is_required()}


def put(table: dict[str, Any], key: str, value: Any) -> dict[str, Any]:
    """The table with a key set, in a table below it where the key has a dot."""
    head, _, rest = key.partition(".")
    first, _, tail = rest.partition(".")
    if first.isdigit():
        entries = list(table[head])
        entries[int(first)] = put(entries[int(first)], tail, value)
        return {**table, head: entries}
    return {**table, head: put(table.get(head, {}), rest, value) if rest else value}


def ways(model: type[Section], when: Any, yes: bool) -> Iterator[dict[str, Any]]:
    """Tables in which a condition on the section's own keys holds, or (``yes`` false) does not."""
    base = smallest(model)
    if isinstance(when, EitherOf):
        if yes:
            for one in when.conditions:
                yield from ways(model, one, True)
        else:
            (first,) = [w for w in when.conditions if "." not in w.keys[0]]
            yield from ways(model, first, False)
    elif isinstance(when, Has):
        if when.yes == yes:
            yield put(base, when.key, sample(model, when.key))
        else:
            yield {k: v for k, v in base.items() if k != when.key}
    else:
        assert isinstance(when, Is)
        head, _, rest = when.key.partition(".")
        inner = model_in(model.model_fields[head].annotation)[0] if rest else model
        assert inner is not None
        for value in literals(inner.model_fields[rest or head].annotation):
            if (value in when.values) == yes:
                yield put(base, when.key, value)


def judged(model: type[Section], table: dict[str, Any]) -> list[tuple[tuple[Any, ...], Problem]]:
    """Faults of a table with their paths inside it."""
    section = model.model_validate_json(json.dumps(table))
    place = ("specimens", "a")
    return [(f.path[len(place) :], f) for f in section_faults(place, section)]


def completed(
    model: type[Section], table: dict[str, Any], but: tuple[str, ...] = ()
) -> dict[str, Any]:
    """The table with every key that a rule asks for now, keys of tables inside it too."""
    for _ in range(4):
        for path, fault in judged(model, table):
            if "is missing." not in fault.what or path[0] in but:
                continue
            here: type[Section] = model
            for part in (p for p in path[:-1] if isinstance(p, str)):
                inner = model_in(here.model_fields[str(part)].annotation)[0]
                assert inner is not None
                here = inner
            table = put(table, ".".join(map(str, path)), sample(here, str(path[-1])))
    return table


def faults(model: type[Section], table: dict[str, Any]) -> set[tuple[str | int, ...]]:
    """Paths of the faults of a table that the schema accepts."""
    return {path for path, _ in judged(model, table)}


def declared(kind: type, *, beyond: bool = False) -> list[Any]:
    """Rules of one kind; those that look beyond their section, or the others.

    Rules of the file as a whole are tried on whole files, below.
    """
    return [
        pytest.param(model, rule, id=f"{model.__name__}-{'+'.join(rule.keys)}-{i}")
        for model in MODELS
        for i, rule in enumerate(model.key_rules)
        if model is not StudyFile
        and isinstance(rule, kind)
        and beyond == (isinstance(getattr(rule, "when", None), Where))
    ]


@pytest.mark.parametrize(("model", "rule"), declared(Needed))
def test_a_needed_key_is_missed(model: type[Section], rule: Needed) -> None:
    """With all that is asked for the section is valid; without the key a fault names it."""
    for table in ways(model, rule.when, True):
        full = completed(model, table)
        for key in rule.keys:
            assert (key,) not in faults(model, full)
            assert (key,) in faults(model, {k: v for k, v in full.items() if k != key})


@pytest.mark.parametrize(("model", "rule"), declared(Only))
def test_a_key_that_does_nothing_is_refused(model: type[Section], rule: Only) -> None:
    for key in rule.keys:
        for table in ways(model, rule.when, False):
            full = completed(model, table, rule.when.keys)
            assert (key,) not in faults(model, {k: v for k, v in full.items() if k != key})
            assert (key,) in faults(model, put(full, key, sample(model, key)))


@pytest.mark.parametrize(("model", "rule"), declared(OneOf))
def test_exclusive_keys(model: type[Section], rule: OneOf) -> None:
    first, second = rule.keys[:2]
    base = {k: v for k, v in smallest(model).items() if k not in rule.keys}
    one = completed(model, put(base, first, sample(model, first)))
    both = put(one, second, sample(model, second))
    place = () if rule.whole else (second,)
    assert place not in faults(model, one)
    assert place in faults(model, both)
    if rule.needed:
        assert (() if rule.whole else (first,)) in faults(model, base)


def test_a_key_that_stands_alone() -> None:
    found = [(m, r) for m in MODELS for r in m.key_rules if isinstance(r, Alone)]
    assert found
    for model, rule in found:
        for key in set(model.model_fields) - {rule.key}:
            both = {rule.key: sample(model, rule.key), key: sample(model, key)}
            assert (key,) in faults(model, both)
        assert faults(model, {rule.key: sample(model, rule.key)}) == set()


STUDY = """\
drypoint = 1
study = { name = "Small" }
[[records]]
files = ["raw/*.txt"]
specimen = "glass"
RECORDS
[specimens.glass]
nu = 0.2
u_nu = 0.01
SPECIMEN
[tips.B1]
shape = "Berkovich"
MORE
"""
TIPS = '[tips.B2]\nshape = "Vickers"\n'
FRAMES = "[frames.F1]\n[frames.F2]\n"
CALIBRATION = """
[calibration]
name = "c"
day = "2026-01-31"
KEYS
[[calibration.references]]
specimen = "glass"
E_GPa = 72.0
"""
LAYERS = """
[[specimens.glass.layers]]
name = "top"
thickness_nm = 100.0
[[specimens.glass.layers]]
name = "bond"
E_GPa = 200.0
nu = 0.25
thickness_nm = 50.0
[specimens.glass.substrate]
E_GPa = 170.0
nu = 0.22
"""
STRESS = """
[stress.a]
force_mN = 5.0
layers = [{ E_GPa = 240.0, nu = 0.25, thickness_nm = 400.0 }]
substrate = { E_GPa = 170.0, nu = 0.22 }
"""
#: (section, key) of each need that depends on another part of the file -> a study that has the key,
#: what to take out of it, and the key that is then missed.
BEYOND: dict[tuple[str, str], tuple[str, str, str]] = {
    ("StudyFile", "records"): (
        STUDY, STUDY[STUDY.index("[[rec") : STUDY.index("[spec")], "records",
    ),
    ("StudyFile", "specimens"): (
        STUDY, STUDY[STUDY.index("[spec") : STUDY.index("[tips")], "specimens",
    ),
    ("Records", "tip"): (
        STUDY.replace("RECORDS", 'tip = "B1"').replace("MORE", TIPS), 'tip = "B1"', "records[1].tip"
    ),
    ("Records", "frame"): (
        STUDY.replace("RECORDS", 'frame = "F1"').replace("MORE", FRAMES), 'frame = "F1"',
        "records[1].frame",
    ),
    ("Records", "bench"): (
        STUDY.replace("RECORDS", 'bench = "b"').replace("MORE", '[benches.b]\nfile = "b.toml"'),
        'bench = "b"', "records[1].bench",
    ),
    ("StudyFile", "tips"): (STUDY, '[tips.B1]\nshape = "Berkovich"\n', "tips"),
    ("Specimen", "nu"): (STUDY, "nu = 0.2\nu_nu = 0.01\n", "specimens.glass.nu"),
    ("ReferenceKeys", "E_GPa"): (
        STUDY.replace("MORE", CALIBRATION.replace("KEYS", 'identified_by = ["leading term"]')),
        "E_GPa = 72.0\n", "calibration.references[1].E_GPa",
    ),
    ("CalibrationKeys", "identified_by"): (
        STUDY.replace("MORE", CALIBRATION.replace("KEYS", 'identified_by = ["leading term"]')),
        'identified_by = ["leading term"]', "calibration.identified_by",
    ),
    ("FilmLayerKeys", "E_GPa"): (
        STUDY.replace("MORE", LAYERS), "E_GPa = 200.0\n", "specimens.glass.layers[2].E_GPa"
    ),
    ("FilmLayerKeys", "nu"): (
        STUDY.replace("MORE", LAYERS), "nu = 0.25\n", "specimens.glass.layers[2].nu"
    ),
    ("FilmLayerKeys", "thickness_nm"): (
        STUDY.replace("MORE", LAYERS), "thickness_nm = 100.0\n",
        "specimens.glass.layers[1].thickness_nm",
    ),
    ("SolidKeys", "E_GPa"): (
        STUDY.replace("MORE", STRESS), "E_GPa = 170.0, ", "stress.a.substrate.E_GPa"
    ),
    ("SolidKeys", "nu"): (STUDY.replace("MORE", STRESS), ", nu = 0.22", "stress.a.substrate.nu"),
    ("StressLayerKeys", "thickness_nm"): (
        STUDY.replace("MORE", STRESS), ", thickness_nm = 400.0", "stress.a.layers[1].thickness_nm"
    ),
}  # fmt: skip
#: Rules of the file as a whole, likewise: (study, old, new, key that is then at fault).
WHOLE = {
    "records": (STUDY, STUDY[STUDY.index("[[rec") : STUDY.index("[spec")], "", "records"),
    "frame+frames": (
        STUDY.replace("MORE", FRAMES), "[frames.F1]", "[frame]\nforce_scale = 1.1\n[frames.F1]",
        "frames",
    ),
    "specimens": (
        STUDY, STUDY[STUDY.index("[specimens") : STUDY.index("[tips")], "", "specimens",
    ),
    "scratch": (STUDY, "MORE", '[scratch.events]\nLc1 = "x"', "scratch"),
}  # fmt: skip


def keys_at_fault(text: str) -> set[str | None]:
    for mark in ("RECORDS", "SPECIMEN", "MORE", "KEYS"):
        text = text.replace(mark, "")
    try:
        read_study(text, "study.toml")
    except StudyError as error:
        return {where.key for where, _, _ in error.problems}
    return set()


def test_every_need_beyond_its_section_has_an_example() -> None:
    known = {
        (model.__name__, key)
        for model in MODELS
        for rule in model.key_rules
        if isinstance(rule, Needed)
        and isinstance(rule.when, Where)
        # Inherited rules are tried once.
        and not any(
            rule in base.key_rules for base in model.__mro__[1:] if hasattr(base, "key_rules")
        )
        for key in rule.keys
    }
    assert known == set(BEYOND)
    assert {"+".join(r.keys) for r in StudyFile.key_rules} == {*WHOLE, "tips"}


@pytest.mark.parametrize("case", BEYOND, ids=lambda c: ".".join(c))
def test_a_need_beyond_its_section(case: tuple[str, str]) -> None:
    text, part, key = BEYOND[case]
    assert part in text
    assert key not in keys_at_fault(text)
    assert key in keys_at_fault(text.replace(part, "", 1))


@pytest.mark.parametrize("case", WHOLE)
def test_a_rule_of_the_whole_file(case: str) -> None:
    text, old, new, key = WHOLE[case]
    assert old in text
    assert key not in keys_at_fault(text)
    assert key in keys_at_fault(text.replace(old, new, 1))


def test_no_need_is_written_outside_the_declarations() -> None:
    """A check that refuses a missing key by itself would be unknown to the reference."""
    folder = Path(__file__).resolve().parents[2] / "src" / "drypoint" / "recipe"
    writers = {p.name for p in folder.glob("*.py") if "key is missing" in p.read_text("utf-8")}
    # The rules; required keys of the schema; words of the declarations themselves. Decisions are a
    # file of their own.
    assert writers - {"decisions.py", "journal.py"} == {
        "rules.py",
        "problems.py",
        "sections.py",
        "context.py",
    }


def rows() -> dict[tuple[str, str], str]:
    """(section, key) -> its row of the reference page."""
    found: dict[tuple[str, str], str] = {}
    for part in reference_page().split("\n## ")[1:]:
        title = part.partition("\n")[0]
        for line in part.splitlines():
            key = re.match(r"\| `(\w+)` \|", line)
            if key:
                found[(title, key[1])] = line
    return found


def row_of(model: type[Section], key: str, page: dict[tuple[str, str], str]) -> list[str]:
    """Rows of a key wherever its section is shown in full."""
    keys = set(model.model_fields)
    titles = {t for t, _ in page}
    mine = [t for t in titles if {k for u, k in page if u == t} == keys]
    return [page[(t, key)] for t in mine]


@pytest.mark.parametrize("model", MODELS, ids=lambda m: m.__name__)
def test_the_reference_has_every_word_and_every_need(model: type[Section]) -> None:
    page = rows()
    for key, info in model.model_fields.items():
        shown = row_of(model, key, page)
        assert shown, key
        for row in shown:
            for word in literals(info.annotation):
                text = str(word).replace("\t", "\\t").replace("|", "\\|")
                assert text in row, f"{key}: {word}"
            if info.is_required():
                assert "**needed** |" in row, key
            for rule in model.key_rules:
                assert rule.words(key) in row, key


def test_the_reference_says_what_a_series_needs() -> None:
    """The complaint with which this began."""
    page = rows()
    for key in ("coefficients_nm", "h_min_nm", "h_max_nm"):
        assert '**needed** where `kind` is `"series"`' in page[("`[tips.NAME.area]`", key)]
    words = ("second material", "known compliance", "leading term", "constant hardness", "F/S²")
    row = page[("`[calibration]`", "identified_by")]
    assert all(word in row for word in words)
    assert "**needed** where there is one reference material only" in row


@pytest.mark.parametrize(
    ("area", "good"),
    [
        ({"kind": "series", "coefficients_nm": [24.5], "h_min_nm": 1, "h_max_nm": 9}, True),
        ({"kind": "series", "coefficients_nm": [24.5], "h_min_nm": 1}, False),
        ({"kind": "table", "h_c_nm": [1.0]}, False),
        ({"file": "a.toml"}, True),
        ({"kind": "ideal"}, True),
    ],
)
def test_editors_are_told_of_needs(area: dict[str, Any], good: bool) -> None:
    """By the JSON Schema, from the same rules; judged by the jsonschema library."""
    schema = json_schema()
    schema = {**schema["$defs"]["Area"], "$defs": schema["$defs"]}
    validator = jsonschema.Draft202012Validator(schema)
    assert validator.is_valid(area) == good


#: Defaults that are no physical or statistical choice.
PLAIN = {
    "seed", "scale", "force_scale", "depth_scale", "lateral_scale", "position_scale", "name",
    "kind", "unload", "file", "folder", "report_folder", "csv_decimal", "csv_text", "cycles",
    "cycle_forces", "quality", "vtu",
}  # fmt: skip


@pytest.mark.parametrize("model", MODELS, ids=lambda m: m.__name__)
def test_every_default_that_is_a_choice_has_its_source(model: type[Section]) -> None:
    """A number or word that stands where nobody gave one; what is off or zero chooses nothing."""
    bare = [
        key
        for key, info in model.model_fields.items()
        if not info.is_required() and not source_of(info) and model_in(info.annotation)[0] is None
        and info.get_default(call_default_factory=True, validated_data={})
        not in (None, "", (), {}, 0, False)
    ]  # fmt: skip
    assert set(bare) <= PLAIN


def whole_numbers() -> Iterator[tuple[str, Any]]:
    """Name and annotation of every key that takes a whole number; a yes or no is none."""
    for model in MODELS:
        for name, info in model.model_fields.items():
            kind = (
                Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation
            )
            try:
                TypeAdapter(kind).validate_json("12", strict=True)
                TypeAdapter(kind).validate_json("12.5", strict=True)
            except ValidationError as error:
                if error.errors()[0]["type"] in ("int_type", "int_from_float"):
                    yield f"{model.__name__}.{name}", kind


def test_every_whole_number_has_a_declared_bound() -> None:
    """A count without one is a wish for any amount of work (10^12 trials)."""
    found = dict(whole_numbers())
    assert {"UncertaintyKeys.monte_carlo_trials", "StressKeys.cycles", "About.seed"} <= set(found)
    for name, kind in found.items():
        with pytest.raises(ValidationError) as caught:
            TypeAdapter(kind).validate_json("1" + "0" * 20, strict=True)
        assert caught.value.errors()[0]["type"] == "less_than_equal", name


@pytest.mark.parametrize(
    ("line", "key", "most"),
    [
        ("uncertainty = { monte_carlo_trials = 1000000000000 }",
         "uncertainty.monte_carlo_trials", "1e+06"),
        ("stress = { a = { force_mN = 5.0, cycles = 1000000000 } }", "stress.a.cycles", "200"),
        ("series = { depth_bins_nm = [" + "1.0, " * 1001 + "] }", "series.depth_bins_nm", "1000"),
    ],
)  # fmt: skip
def test_a_wish_for_endless_work_is_refused(line: str, key: str, most: str) -> None:
    text = STUDY.replace("study =", f"{line}\nstudy =", 1)
    for mark in ("RECORDS", "SPECIMEN", "MORE", "KEYS"):
        text = text.replace(mark, "")
    with pytest.raises(StudyError) as caught:
        read_study(text, "study.toml")
    (what,) = [f"{w} {r}" for where, w, r in caught.value.problems if where.key == key]
    assert "is given" in what
    assert most in what

"""Editions of the rules: a silent study file keeps its meaning, a written key always holds."""

from __future__ import annotations

from pathlib import Path

import pytest

from drypoint.errors import RecipeError
from drypoint.recipe import read_study
from drypoint.recipe.editions import CURRENT, EDITIONS, FIRST, what_changes
from drypoint.recipe.hashing import canonical
from drypoint.recipe.knobs import Choices
from drypoint.recipe.study import Study
from drypoint.reduction.options import Options

TEXT = """drypoint = 1
{}
[study]
name = "x"
[[records]]
files = ["a.csv"]
specimen = "a"
[specimens.a]
nu = 0.3
[tips.t]
shape = "Berkovich"
"""


def study(rules: str = "", more: str = "") -> Study:
    return read_study(TEXT.format(rules) + more, Path("s.toml"))


def test_a_file_without_an_edition_is_of_the_first() -> None:
    silent, named = study(), study("rules = 1")
    assert silent.file.rules == FIRST == 1
    assert silent.options() == named.options() == Options()
    assert silent.recipe_hash == named.recipe_hash
    # The keys of later editions are not in the hash of a file of the first: signatures still hold.
    text = str(canonical(silent.file))
    assert not any(k in text for k in ("rules", "base_line", "curvature", "exponent_range"))


def test_the_second_edition_differs_only_in_what_its_table_says() -> None:
    one, two = study("rules = 1"), study("rules = 2")
    assert two.recipe_hash != one.recipe_hash
    a, b = one.options(), two.options()
    moved = {
        (room, name)
        for room in ("segments", "zero", "drift", "analysis", "flags", "dynamic")
        for name in vars(getattr(a, room))
        if getattr(getattr(a, room), name) != getattr(getattr(b, room), name)
    }
    assert moved == {(d.key[-2], d.key[-1]) for d in EDITIONS[2]}
    assert (b.zero.law, b.zero.base_line, b.drift.curvature) == ("auto", "line", True)


@pytest.mark.parametrize("edition", EDITIONS)
def test_every_default_of_an_edition_is_a_key_with_a_reason(edition: int) -> None:
    for default in EDITIONS[edition]:
        here = Choices()
        for k in default.key:
            assert k in type(here).model_fields
            here = getattr(here, k)
        assert here != default.value
        assert default.why.endswith(".")
    assert max(EDITIONS) == CURRENT


@pytest.mark.parametrize(
    ("more", "law", "base_line"),
    [
        ('[corrections.zero]\nbase_line = "constant"\n', "auto", "constant"),
        ('[corrections.zero]\nlaw = "power"\n', "power", "line"),
        ("[corrections.zero]\nexponent = 1.6\n", "power", "line"),
        ("[corrections.zero]\nu_exponent = 0.05\n", "power", "line"),
    ],
)
def test_a_written_key_holds(more: str, law: str, base_line: str) -> None:
    """An exponent that is stated belongs to the power law of the first edition."""
    zero = study("rules = 2", more).options().zero
    assert (zero.law, zero.base_line) == (law, base_line)


def test_a_specimen_may_state_its_own_exponent() -> None:
    own = "[specimens.b]\nnu = 0.2\n[specimens.b.corrections.zero]\nexponent = 1.6\n"
    found = study("rules = 2", own)
    assert found.options("b").zero.law == "power" and found.options("b").zero.exponent == 1.6
    assert found.options("a").zero.law == "auto"


@pytest.mark.parametrize("given", ["3", "0", "true", "1.5", '"2"'])
def test_an_unknown_edition_is_refused(given: str) -> None:
    with pytest.raises(RecipeError, match="rules"):
        study(f"rules = {given}")


def test_what_changes_is_said_both_ways() -> None:
    there, back = what_changes(1, 2), what_changes(2, 1)
    assert [k for k, _, _ in there] == [k for k, _, _ in back]
    assert ("corrections.zero.law", "power") in [(k, v) for k, v, _ in back]
    assert what_changes(2, 2) == []

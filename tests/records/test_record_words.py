"""The packaged words: from standards and dictionaries only, and one rule for oscillating loading.

Sources of the words: ISO 14577 and ASTM E2546 (force, load, depth, displacement, test), ISO 20502
and ASTM G40 (normal and lateral force, friction, scratch), ISO 2041 (amplitude, phase, frequency,
stiffness), SI Brochure and DIN 1301-1 (units written out); synonyms from general dictionaries.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint import units
from drypoint.records.names import take_apart, words
from drypoint.records.passes import kind_of_word, track_and_kind

ROOT = Path(__file__).resolve().parents[2]
#: Words that came from no standard or dictionary; they must not come back.
REMOVED = {
    "pd", "disp", "seg", "xpos", "ypos", "posx", "posy", "harmonic", "prescan", "postscan",
    "pretopography", "posttopography", "topography", "profile",
}  # fmt: skip
REMOVED_FILLERS = {"raw", "on", "into", "sample", "probe", "rohwert", "brut", "brute"}


def every_word(table: object) -> Iterator[str]:
    if isinstance(table, str):
        yield from table.split()
    elif isinstance(table, dict):
        for value in table.values():
            yield from every_word(value)
    elif isinstance(table, list):
        for value in table:
            yield from every_word(value)


def test_no_word_of_a_product_is_known() -> None:
    known = set(every_word({k: v for k, v in words().items() if k != "units"}))
    assert len(known) > 200
    assert known.isdisjoint(REMOVED)
    assert set(words()["filler"]["words"]).isdisjoint(REMOVED_FILLERS)
    assert set(words()["passes"]) == {"before", "scratch", "after", "none"}


def test_removed_words_claim_nothing() -> None:
    assert take_apart("Pd (nm)").claims == ()
    assert take_apart("raw h (nm)").claims == () and take_apart("h (nm)").claims == ("depth",)
    for word in ("prescan", "postscan", "topography", "profile", "pretopography", "residual"):
        assert kind_of_word(word) is None
        assert track_and_kind(f"T03_{word}") == (f"T03_{word}", None)
    kinds = {"pre": "before", "vor": "before", "avant": "before", "before": "before"}
    kinds |= {"post": "after", "nach": "after", "apres": "after", "after": "after"}
    for word, kind in kinds.items():
        assert track_and_kind(f"T03_{word}") == ("T03", kind)


def test_comments_give_sources_not_instruments() -> None:
    """No text derives words from the files of instruments."""
    wrong = re.compile(
        r"(seen|found) in (the )?(instrument|vendor)|instruments? (use|write)s?\b", re.I
    )
    texts = [*(ROOT / "src").rglob("*.py"), *(ROOT / "src").rglob("*.toml")]
    texts += [*(ROOT / "docs").rglob("*.md"), ROOT / "README.md"]
    assert len(texts) > 200
    found = [p.name for p in texts if wrong.search(p.read_text("utf-8"))]
    assert found == []


MODIFIERS = words()["modifiers"]["words"]
ROLES = words()["modifiers"]["roles"]
UNITS = {"force": "mN", "depth": "nm", "force_amplitude": "µN", "amplitude": "nm",
         "phase": "deg", "frequency": "Hz", "stiffness": "N/m"}  # fmt: skip
BASES = [(r, p) for r in ROLES for p in words()["roles"][r]["phrases"]]


@given(
    modifier=st.sampled_from(MODIFIERS),
    base=st.sampled_from(BASES),
    behind=st.booleans(),
    case=st.sampled_from([str.lower, str.upper, str.capitalize]),
    style=st.sampled_from(["{} ({})", "{} [{}]", "{} / {}", "{}_{}"]),
)
def test_a_modifier_and_a_base_quantity(
    modifier: str, base: tuple[str, str], behind: bool, case: object, style: str
) -> None:
    """Every modifier with every word of every base quantity, in either order and any case: the
    rule alone says the role, and it is never that of the quantity itself."""
    role, phrase = base
    name = f"{phrase} {modifier}" if behind else f"{modifier} {phrase}"
    named = take_apart(style.format(case(name), UNITS[role]))  # type: ignore[operator]
    assert named.unit == UNITS[role]
    assert named.claims == (ROLES[role],)
    assert not {"force", "depth"} & set(named.claims)


@given(prefix=st.sampled_from(words()["modifiers"]["prefixes"]), base=st.sampled_from(BASES))
def test_a_german_compound(prefix: str, base: tuple[str, str]) -> None:
    """Wechselkraft, Schwingungsfrequenz: the compound is the modifier and the quantity."""
    role, phrase = base
    if " " not in phrase:
        assert take_apart(f"{prefix}{phrase} ({UNITS[role]})").claims == (ROLES[role],)


@given(
    modifier=st.sampled_from(MODIFIERS),
    base=st.sampled_from(
        ["time", "position", "lateral force", "friction force", "hardness", "rate"]
    ),
)
def test_a_modifier_of_something_else_claims_nothing(modifier: str, base: str) -> None:
    assert take_apart(f"{modifier} {base}").claims == ()
    assert take_apart(f"{modifier} load rate (mN/s)").claims == ()


@pytest.mark.parametrize(
    ("word", "dimension", "factor"),
    [
        ("micronewton", "force", 1e-6),
        ("Mikronewton", "force", 1e-6),
        ("millinewtons", "force", 1e-3),
        ("nanometre", "length", 1e-9),
        ("nanometers", "length", 1e-9),
        ("Nanometern", "length", 1e-9),
        ("nanomètres", "length", 1e-9),
        ("microns", "length", 1e-6),
        ("Ångström", "length", 1e-10),
        ("Millisekunden", "time", 1e-3),
        ("secondes", "time", 1.0),
        ("Minuten", "time", 60.0),
        ("heures", "time", 3600.0),
        ("gram-force", "force", 9.80665e-3),
        ("kilopascals", "pressure", 1e3),
    ],
)
def test_units_written_out(word: str, dimension: str, factor: float) -> None:
    """Factors: SI prefixes (SI Brochure); minute, hour, ångström and gram-force: NIST SP 811."""
    assert units.dimension_of(word) == dimension
    assert units.factor(word, dimension) == pytest.approx(factor, rel=1e-12)

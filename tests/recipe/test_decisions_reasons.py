"""A test is left out for what went wrong in it, never for what came out."""

from __future__ import annotations

from pathlib import Path

import pytest

from drypoint.errors import DecisionError
from drypoint.recipe import Decision, append


def decision(why: str, what: str = "exclude") -> Decision:
    return Decision(who="A", what=what, test="T-1", why=why)


@pytest.mark.parametrize(
    "why", ["too low", "Value too high.", "outlier", "is an outlier", "bad", "far too large", "??"]
)
def test_a_value_is_no_reason(why: str, tmp_path: Path) -> None:
    path = tmp_path / "decisions.jsonl"
    with pytest.raises(DecisionError, match="no reason to leave a test out"):
        append(path, decision(why))
    assert not path.exists() or not path.read_bytes()


@pytest.mark.parametrize(
    "why",
    ["dust on the surface", "bumped", "too low a force: sensor drifted", "pop-in at contact",
     "outlier because the tip touched the clamp"],
)  # fmt: skip
def test_what_happened_is(why: str, tmp_path: Path) -> None:
    assert append(tmp_path / "decisions.jsonl", decision(why)).id == 1


def test_taking_back_needs_no_such_reason(tmp_path: Path) -> None:
    path = tmp_path / "decisions.jsonl"
    append(path, decision("dust"))
    assert append(path, decision("wrong", "include")).id == 2

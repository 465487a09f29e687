"""Text that nests without end, and numbers of thousands of digits: a plain error with its line."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from drypoint.errors import DecisionError, RecipeError
from drypoint.recipe import read_journal, read_study

DEEP = 5000
#: Seconds of the processor that no refusal comes near (the slowest takes about one): a guard
#: against work that grows with the square of the file, not a measure of speed.
HANGS = 30.0
TEXTS = {
    "list": 'drypoint = 1\n[study]\nname = "a"\nx = ' + "[" * DEEP + "]" * DEEP,
    "table": "drypoint = 1\nx = " + "{ a = " * DEEP + "1" + " }" * DEEP,
    "dotted key": "drypoint = 1\n" + ".".join(["a"] * DEEP) + " = 1",
    "dotted key of 100,000": "drypoint = 1\n" + ".".join(["a"] * 100_000) + " = 1",
    "dotted key in a table": "drypoint = 1\nx = { b = 1, " + ". ".join(["'a b'"] * DEEP) + " = 1 }",
    "header": "drypoint = 1\n[" + ".".join(["a"] * DEEP) + "]",
    "digits": "drypoint = 1\n[study]\nseed = " + "7" * DEEP,
    "digits within Python's limit": "drypoint = 1\n[study]\nseed = " + "7" * 4000,
    "hexadecimal": "drypoint = 1\n[study]\nseed = 0x" + "f" * DEEP,
    "digits in a list": "drypoint = 1\n[study]\nx = [1, " + "7" * DEEP + "]",
    "length": "drypoint = 1\n#" + "x" * 5_000_000,
    "wrong_keys": 'drypoint = 1\n[study]\nname = "a"\n'
    + "".join(f"k{i} = 1\n" for i in range(50_000)),
    "wrong names": 'drypoint = 1\n[study]\nname = "a"\n[specimens]\n'
    + "".join(f"s{i} = {{ nu = 0.2 }}\n" for i in range(5000))
    + "".join(f'[[records]]\nfiles = ["a"]\nspecimen = "t{i}"\n' for i in range(5000)),
}


@pytest.mark.parametrize("kind", TEXTS)
def test_a_study_file_without_bounds(kind: str) -> None:
    start = time.process_time()
    with pytest.raises(RecipeError) as caught:
        read_study(TEXTS[kind], "s.toml")
    assert time.process_time() - start < HANGS
    assert len(str(caught.value)) < 200_000
    if "key" in kind.split()[:2] or kind in ("list", "table", "header"):
        assert "more than 50 deep; expected at most 50" in caught.value.what
        assert (
            caught.value.where.line
            == TEXTS[kind].split("\n").index(max(TEXTS[kind].split("\n"), key=len)) + 1
        )
    if "digits" in kind:
        assert "more than 400 digits" in caught.value.what
        assert caught.value.where.line == TEXTS[kind].count("\n") + 1


LINES = {
    "list": '{"a": ' + "[" * DEEP + "]" * DEEP + "}",
    "object": '{"a": ' * DEEP + "1" + "}" * DEEP,
    "digits": '{"id": ' + "7" * DEEP + "}",
    "value": '{"id": 1, "when": "2026-01-31T12:00:00Z", "who": "a", "what": "zero", "test": "t", '
    '"why": "b", "value": {"depth_nm": ' + "[" * DEEP + "]" * DEEP + "}}",
}


@pytest.mark.parametrize("kind", LINES)
def test_manual_corrections_without_bounds(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "s.decisions.jsonl"
    path.write_text(LINES[kind] + "\n", encoding="utf-8")
    with pytest.raises(DecisionError) as caught:
        read_journal(path)
    assert "expected at most" in caught.value.what
    assert caught.value.where.line == 1

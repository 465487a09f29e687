"""Paths as callers give them: a string is one file, never its letters."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from invented_records import invented, plain_file

import drypoint
from drypoint.errors import RecordError
from drypoint.records import Layout, read, read_in_chunks, understand, understand_all
from drypoint.records.looking import look_at
from drypoint.run.streaming import reduce_in_chunks


def chunked(paths: Any) -> int:
    return sum(len(o.batch) for o in read_in_chunks(paths))


def streamed(paths: Any) -> int:
    """The same number; what it cannot read it refuses before it needs bench and options."""
    nothing: Any = None
    kept = paths if not hasattr(paths, "__next__") else list(paths)
    reduce_in_chunks(kept, nothing, nothing, {})
    return chunked(kept)


def looked(paths: Any) -> int:
    return len(look_at(paths, Layout(), None))


READERS: list[Callable[[Any], int]] = [
    lambda p: len(drypoint.read_records(p).batch), chunked, streamed, looked,
]  # fmt: skip


@pytest.mark.parametrize("reader", READERS)
def test_one_path_is_one_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reader: Callable[[Any], int]
) -> None:
    """Beside the file are others, and one called like a letter of its name."""
    monkeypatch.chdir(tmp_path)
    for k, name in enumerate(("a.txt", "b.txt", "a")):
        plain_file(tmp_path / name, invented(seed=k))
    assert reader("a.txt") == reader(Path("a.txt")) == reader(["a.txt"]) == 1
    assert reader(p for p in ("a.txt", Path("b.txt"))) == 2
    assert reader({"a.txt", "b.txt"}) == 2
    assert reader(".") == 3
    outcome = read("a.txt")
    assert outcome.set_aside == () and outcome.batch.tests[0].source.path == "a.txt"


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(
    "wrong", [None, 3, 2.5, b"a.txt", {"a.txt": 1}, "", " ", ["a.txt", None], [b"a.txt"], [""]]
)
def test_what_is_no_path_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reader: Callable[[Any], int], wrong: object
) -> None:
    monkeypatch.chdir(tmp_path)
    plain_file(tmp_path / "a.txt", invented())
    with pytest.raises(RecordError, match=r"Invalid path: got .*expected a path"):
        reader(wrong)


def test_chunks_refuse_at_the_call() -> None:
    """Not only when the first chunk is taken."""
    with pytest.raises(RecordError, match="Invalid path"):
        read_in_chunks(7)  # type: ignore[arg-type]


@pytest.mark.parametrize("wrong", [None, 3, ["a.txt"], b"a", ""])
def test_one_file_is_understood_at_a_time(wrong: Any) -> None:
    for function in (understand, understand_all):
        with pytest.raises(RecordError, match="Invalid path"):
            function(wrong)


def test_names_are_one_each(tmp_path: Path) -> None:
    a, b = (plain_file(tmp_path / f"{n}.txt", invented(seed=k)) for k, n in enumerate("ab"))
    assert read(a, names="first").batch.tests[0].name == "first"
    assert [t.name for t in read([a, b], names=["x", "y"]).batch.tests] == ["x", "y"]
    for wrong in ("xy", ["x"], ["x", "y", "z"], [1, 2]):
        with pytest.raises(RecordError, match="Invalid names"):
            read([a, b], names=wrong)  # type: ignore[arg-type]


def test_one_pattern_inside_is_one_pattern() -> None:
    assert Layout(inside="Sheet*").inside == ("Sheet*",)  # type: ignore[arg-type]

"""Decisions: one line each, added for ever, and what holds after them."""

from __future__ import annotations

import json
import multiprocessing
from pathlib import Path
from typing import Any

import pytest

from drypoint.errors import DecisionError
from drypoint.recipe import (
    Decision,
    append,
    append_all,
    decisions_hash,
    effective,
    parse_decision,
    read_decisions,
    read_journal,
    touches,
)
from drypoint.recipe.journal import TORN


def decision(what: str, test: str | None = "glass_03", **more: Any) -> Decision:
    """A decision with a reason."""
    keys = {"who": "A. Person", "what": what, "test": test, "why": "crack in the picture"}
    return Decision(**(keys | more))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A decisions file that does not exist yet."""
    return tmp_path / "study.decisions.jsonl"


def test_append_and_read(path: Path) -> None:
    """Numbers and times are given; the file has one line each; hash and order stay."""
    assert read_decisions(path) == ()
    assert read_journal(path).sha256 == ""
    one = append(path, decision("exclude"))
    two = append(path, decision("zero", value={"depth_nm": 12.5}))
    assert (one.id, two.id) == (1, 2)
    assert one.when.endswith("Z")
    assert read_decisions(path) == (one, two)
    assert path.read_bytes().count(b"\n") == 2
    crlf = path.read_bytes().replace(b"\n", b"\r\n")
    first = read_journal(path).sha256
    path.write_bytes(crlf)
    assert read_journal(path).sha256 == first == decisions_hash([one, two])


GOOD = [
    ("exclude", None, 1),
    ("remark", None, None),
    ("zero", {"time_s": 1.5}, None),
    ("zero", None, None),
    ("drift_window", [0.2, 0.9], None),
    ("unloading_window", [0.3, 0.95], 2),
    ("segments", [{"kind": "loading", "from_s": 0, "to_s": 10}], None),
    ("segments", [{"kind": "loading", "from_sample": 0, "to_sample": 10}], None),
    ("measured_area", {"A_um2": 1.0, "u_A_um2": 0.1, "how": "AFM"}, 1),
]


@pytest.mark.parametrize(("what", "value", "cycle"), GOOD)
def test_kinds(path: Path, what: str, value: Any, cycle: int | None) -> None:
    """Each kind is written and read back."""
    made = append(path, decision(what, value=value, cycle=cycle))
    assert read_decisions(path) == (made,)


BAD = [
    ({"what": "exlude"}, "what", "Allowed: “exclude”, “include”"),
    ({"why": " "}, "why", "it is empty"),
    ({"why": None}, "why", "Allowed: text in quotes"),
    ({"who": ""}, "who", "it is empty"),
    ({"test": None}, "test", "“exclude” is about one test"),
    ({"cycle": 0}, "cycle", "not below 1"),
    ({"value": 3}, "value", "“exclude” has no value"),
    ({"when": "yesterday"}, "when", "a time in UTC such as"),
    ({"when": "2026-01-01T00:00:00+01:00"}, "when", "a time in UTC such as"),
    ({"tset": "a"}, "tset", "Did you mean “test”?"),
    ({"what": "zero"}, "value", "“zero” needs a value"),
    ({"what": "zero", "value": {"depth_nm": 1.0}, "cycle": 1}, "cycle", "“zero” has no cycle"),
    ({"what": "zero", "value": {}}, "value", "Give depth_nm or time_s"),
    ({"what": "zero", "value": 3}, "value", "Allowed: a table"),
    ({"what": "zero", "value": {"depth": 1.0}}, "value.depth", "Did you mean “depth_nm”?"),
    ({"what": "drift_window", "value": [0.9, 0.2]}, "value", "the lower end first"),
    ({"what": "drift_window", "value": [0.9, 1.2]}, "value[2]", "not above 1"),
    ({"what": "segments", "value": []}, "value", "at least 1"),
    ({"what": "segments", "value": [{"kind": "lift"}]}, "value[1].kind", "“approach”"),
    ({"what": "segments", "value": [{"kind": "hold", "from_s": 1.0}]}, "value[1]", "not clear"),
    (
        {
            "what": "segments",
            "value": [
                {"kind": "loading", "from_s": 0.0, "to_s": 2.0},
                {"kind": "hold", "from_s": 1.0, "to_s": 3.0},
            ],
        },
        "value[2]",
        "not in order",
    ),
    ({"what": "measured_area", "value": {"A_um2": 1.0}}, "value.u_A_um2", "missing"),
]


@pytest.mark.parametrize(("change", "key", "words"), BAD)
def test_faults_name_file_line_and_key(
    path: Path, change: dict[str, Any], key: str, words: str
) -> None:
    """A wrong entry, read from its file."""
    append(path, decision("exclude"))
    body = {
        "id": 2, "when": "2026-01-01T00:00:00Z", "who": "A", "what": "exclude", "test": "x",
        "why": "y",
    }  # fmt: skip
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(body | change) + "\n")
    with pytest.raises(DecisionError) as caught:
        read_decisions(path)
    assert (caught.value.where.line, caught.value.where.key) == (2, key)
    assert words in str(caught.value)
    assert str(caught.value).startswith(f"{path}, line 2")
    before = path.read_bytes()
    with pytest.raises(DecisionError):
        append(path, decision("exclude"))
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("nonsense", "not a JSON object"),
        ("[1]", "a table"),
        ('{"id": 1, "id": 2}', "a key stands in it twice"),
        ("", "number 3; number 2 is due"),
    ],
)
def test_faulty_lines(path: Path, line: str, words: str) -> None:
    """Lines that are no decisions, and a line that was taken out."""
    first = append(path, decision("exclude"))
    append(path, decision("remark"))
    append(path, decision("include"))
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[1] = line
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(DecisionError, match=words):
        read_decisions(path)
    assert first.id == 1


def test_a_reason_is_required() -> None:
    """From Python too."""
    with pytest.raises(ValueError, match="empty"):
        decision("exclude", why="")
    with pytest.raises(DecisionError, match="why"):
        parse_decision('{"id": 1, "who": "a", "what": "exclude", "test": "x"}')


def test_nothing_is_written_where_an_entry_is_wrong(path: Path) -> None:
    """Several entries: all of them or none; and no include of what is not excluded."""
    good, bad = decision("exclude"), decision("include", "other")
    with pytest.raises(DecisionError, match="“other” is not excluded"):
        append_all(path, [good, bad])
    assert path.read_bytes() == b""
    assert [d.id for d in append_all(path, [good, decision("include")])] == [1, 2]


def test_torn_line(path: Path) -> None:
    """A cut-off line is set aside with a note, and marked by the next entry; at every length."""
    first = append(path, decision("exclude"))
    whole = path.read_bytes()
    line = decision("zero", value={"depth_nm": 1.0}, why="moved, see “picture” 3")
    append(path, line)
    full = path.read_bytes()
    for cut in range(len(whole) + 1, len(full) - 1, 4):
        path.write_bytes(full[:cut])
        journal = read_journal(path)
        assert journal.decisions == (first,)
        assert "Line 2 of the decisions file is incomplete" in journal.notes[0]
        added = append(path, decision("remark"))
        journal = read_journal(path)
        assert journal.decisions == (first, added)
        assert len(journal.notes) == 1
        marked = path.read_bytes()
        assert marked.startswith(full[:cut] + TORN + b"\n")
        # the write that marks may be cut off as well
        for again in range(cut + 1, len(marked) - 1, 60):
            path.write_bytes(marked[:again])
            assert read_journal(path).decisions == (first,)
            last = append(path, decision("remark"))
            assert read_decisions(path) == (first, last)


def test_last_line_without_its_end(path: Path) -> None:
    """An entry that is whole but for its line end counts; the next one starts on its own line."""
    first = append(path, decision("exclude"))
    path.write_bytes(path.read_bytes().rstrip(b"\n"))
    assert read_journal(path).decisions == (first,)
    assert read_journal(path).notes == ()
    second = append(path, decision("include"))
    assert read_decisions(path) == (first, second)


def _add(path: Path, who: int, n: int) -> None:
    for i in range(n):
        append(path, decision("remark", who=f"person {who}", why=f"remark {i} " + "x" * 200))


def test_four_processes_append(path: Path) -> None:
    """4 x 25 entries: none lost, none torn, numbers 1 to 100, each writer's in order."""
    kinds = multiprocessing.get_all_start_methods()
    context: Any = multiprocessing.get_context("forkserver" if "forkserver" in kinds else "spawn")
    context.set_forkserver_preload(["drypoint.recipe", "drypoint.store"])
    workers = [context.Process(target=_add, args=(path, who, 25)) for who in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
    entries = read_decisions(path)
    assert [d.id for d in entries] == list(range(1, 101))
    for who in range(4):
        own = [d.why.split()[1] for d in entries if d.who == f"person {who}"]
        assert own == [str(i) for i in range(25)]


def test_effective() -> None:
    """Exclusions and overrides in force, in SI; later ones win; null takes back."""
    area = {"A_um2": 2.0, "u_A_um2": 0.1, "how": "AFM"}
    made = [
        decision("exclude", "a", id=1),
        decision("exclude", "b", cycle=2, id=2),
        decision("zero", "a", value={"depth_nm": 15.0}, id=3),
        decision("unloading_window", "a", value=[0.3, 0.9], id=4),
        decision("unloading_window", "a", value=[0.4, 0.9], cycle=2, id=5),
        decision("measured_area", "c", value=area, id=6),
        decision("remark", None, id=7),
    ]
    state = effective(made)
    assert state.exclusion("a") is not None
    assert state.exclusion("a", 3) is not None
    assert state.exclusion("b") is None
    assert state.exclusion("b", 2).id == 2  # type: ignore[union-attr]
    override = state.override("a")
    assert override.zero_depth == 15e-9
    assert override.unloading_window == {None: (0.3, 0.9), 2: (0.4, 0.9)}
    assert override.ids == (3, 4, 5)
    assert state.override("c").measured_area[None] == (2e-12, 0.1e-12, "AFM")
    assert state.tests == ("a", "b", "c")
    assert len(state.remarks) == 1
    back = effective(
        [
            *made,
            decision("include", "a", id=8),
            decision("zero", "a", value={"time_s": 2.0}, id=9),
            decision("measured_area", "c", value=None, id=10),
        ]
    )
    assert back.exclusion("a") is None
    assert (back.override("a").zero_depth, back.override("a").zero_time) == (None, 2.0)
    assert "c" not in back.overrides


def test_an_exclusion_recomputes_no_test() -> None:
    """Its stage is the series; the key of every test's reduction stays the same."""
    base = [decision("zero", "a", value={"depth_nm": 1.0}, id=1)]
    more = [*base, decision("exclude", "a", id=2), decision("remark", "a", id=3)]
    assert [touches(d) for d in more] == ["reduction", "series", "report"]
    assert touches(decision("include")) == "series"
    for what in ("zero", "drift_window", "unloading_window", "segments", "measured_area"):
        assert touches(decision(what, value=[0.1, 0.2])) == "reduction"
    assert effective(base).override("a").key == effective(more).override("a").key != ""
    assert effective(more).override("b").key == ""
    again = [*base, decision("zero", "a", value={"depth_nm": 1.0}, who="B. Person", id=2)]
    assert effective(again).override("a").key == effective(base).override("a").key

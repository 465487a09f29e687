"""Undo and redo: the state goes back and forth, the file only grows."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.errors import DecisionError
from drypoint.recipe import (
    Conflict,
    Decision,
    append,
    append_all,
    effective,
    read_journal,
    redo,
    turns,
    undo,
)
from drypoint.recipe.effective import Effective


def _bare(state: Effective) -> tuple[object, ...]:
    """What counts in a state: reasons and values, not who and when."""
    return (
        {k: e.why for k, e in state.excluded.items()},
        {t: o.key for t, o in state.overrides.items()},
    )


def _numbered(entries: list[Decision], more: tuple[Decision, ...]) -> list[Decision]:
    out = list(entries)
    for d in more:
        out.append(d.model_copy(update={"id": len(out) + 1, "when": "2026-01-31T12:00:00Z"}))
    return out


ACTS = st.lists(
    st.tuples(
        st.sampled_from(["exclude", "include", "zero", "window", "undo", "redo"]),
        st.sampled_from(["A", "B"]),
        st.sampled_from([None, 1, 2]),
        st.integers(1, 4),
    ),
    max_size=14,
)


@given(ACTS)
def test_undo_goes_back_to_every_earlier_state(
    acts: list[tuple[str, str, int | None, int]],
) -> None:
    entries: list[Decision] = []
    past: list[tuple[object, ...]] = []
    future: list[tuple[object, ...]] = []
    for what, test, cycle, n in acts:
        before = _bare(effective(entries))
        try:
            if what == "undo":
                new = _numbered(entries, undo(entries, "B"))
            elif what == "redo":
                new = _numbered(entries, redo(entries, "B"))
            else:
                new = _numbered(entries, (_act(what, test, cycle, n),))
            effective(new)
        except DecisionError:
            assert what == "include" or not (past if what == "undo" else future)
            continue
        entries = new
        state = _bare(effective(entries))
        if what == "undo":
            assert state == past.pop()
            future.append(before)
        elif what == "redo":
            assert state == future.pop()
            past.append(before)
        else:
            past.append(before)
            future.clear()
        have = turns(entries)
        assert (len(have.undo), len(have.redo)) == (len(past), len(future))


def _act(what: str, test: str, cycle: int | None, n: int) -> Decision:
    if what == "zero":
        return Decision(who="A", what="zero", test=test, value={"depth_nm": float(n)}, why="seen")
    if what == "window":
        value = [0.1 * n, 0.9]
        return Decision(
            who="A", what="unloading_window", test=test, cycle=cycle, value=value, why="seen"
        )
    return Decision(who="A", what=what, test=test, cycle=cycle, why=f"reason {n}")  # type: ignore[arg-type]


def test_an_entry_that_changed_nothing_can_be_undone() -> None:
    twice = (_act("exclude", "A", None, 1), _act("exclude", "A", None, 1))
    entries = _numbered([], twice)
    entries = _numbered(entries, undo(entries, "B"))
    assert turns(entries).undo == (1,)
    assert turns(entries).redo == (2,)


def test_a_remark_stays() -> None:
    entries = _numbered([], (Decision(who="A", what="remark", why="new bulb"),))
    assert turns(entries).undo == ()
    with pytest.raises(DecisionError, match="no decision to undo"):
        undo(entries, "A")


def test_who_has_not_seen_the_newest_entry_writes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "s.decisions.jsonl"
    seen = read_journal(path).sha256
    append(path, Decision(who="A", what="exclude", test="T", why="bumped"))
    with pytest.raises(Conflict, match=r"A, .*exclude"):
        append_all(path, [Decision(who="B", what="remark", why="late")], seen=seen)
    assert len(read_journal(path).decisions) == 1
    append_all(
        path, [Decision(who="B", what="remark", why="now")], seen=read_journal(path).sha256
    )  # fmt: skip
    assert len(read_journal(path).decisions) == 2

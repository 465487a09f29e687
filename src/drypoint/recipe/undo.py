"""Undo and redo of decisions. Both are entries of their own: the file only ever grows.

What can be undone is read off the file, so that it is the same after a restart, in a second
window, and for a second person.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from drypoint.errors import DecisionError
from drypoint.recipe.decisions import Decision
from drypoint.recipe.effective import effective


@dataclass(frozen=True)
class Turns:
    """Numbers of the entries that may be undone, and of those that may be redone; last one next.

    ``taken_back_by`` has, for each that may be redone, the entries that took it back.
    """

    undo: tuple[int, ...] = ()
    redo: tuple[int, ...] = ()
    taken_back_by: tuple[tuple[int, ...], ...] = ()


def turns(decisions: Sequence[Decision]) -> Turns:
    """What may be undone and redone after these decisions, newest first.

    A new entry ends what might have been redone. A remark changes no number and stays.
    """
    done: list[int] = []
    undone: list[tuple[int, list[int]]] = []
    for d in decisions:
        if d.what == "remark":
            continue
        if d.undoes is None:
            done.append(d.id)
            undone.clear()
        elif done and d.undoes == done[-1]:
            undone.append((done.pop(), [d.id]))
        elif undone and d.undoes == undone[-1][0]:
            undone[-1][1].append(d.id)
        elif undone and d.undoes in undone[-1][1]:
            done.append(undone.pop()[0])
    return Turns(
        tuple(done), tuple(n for n, _ in undone), tuple(tuple(by) for _, by in undone)
    )  # fmt: skip


def undo(decisions: Sequence[Decision], who: str) -> tuple[Decision, ...]:
    """Entries that take the newest decision in force back; to be added with one write.

    Raises
    ------
    DecisionError
        When there is none.
    """
    due = turns(decisions).undo
    if not due:
        raise DecisionError("There is no decision to undo.")
    n = due[-1]
    d, before = decisions[n - 1], decisions[: n - 1]
    words = f"Undo of decision {n}: {d.why}"
    if d.what in ("exclude", "include"):
        return _exclusions_as(before, decisions, d, who, words)
    same = [e for e in before if (e.what, e.test, e.cycle) == (d.what, d.test, d.cycle)]
    value = same[-1].value if same and d.what != "critical_load" else None
    return (
        Decision(
            who=who, what=d.what, test=d.test, cycle=d.cycle, value=value, why=words, undoes=n
        ),
    )  # fmt: skip


def redo(decisions: Sequence[Decision], who: str) -> tuple[Decision, ...]:
    """The entry that puts the decision that was undone last in force again.

    Raises
    ------
    DecisionError
        When there is none.
    """
    due = turns(decisions)
    if not due.redo:
        raise DecisionError("There is no decision to redo.")
    first, by = decisions[due.redo[-1] - 1], due.taken_back_by[-1]
    return (first.model_copy(update={"id": 0, "when": "", "who": who, "undoes": by[-1]}),)


def _exclusions_as(
    before: Sequence[Decision],
    now: Sequence[Decision],
    d: Decision,
    who: str,
    words: str,
) -> tuple[Decision, ...]:
    """Entries after which a test is excluded, and included, as it was before."""
    then = {k[1]: e for k, e in effective(before).excluded.items() if k[0] == d.test}
    have = {k[1]: e for k, e in effective(now).excluded.items() if k[0] == d.test}
    out = []
    if None in have and None not in then:
        # This takes the exclusions of single cycles back too; they are entered anew below.
        out.append(Decision(who=who, what="include", test=d.test, why=words, undoes=d.id))
        have = {}
    for cycle in have.keys() - then.keys():
        out.append(
            Decision(who=who, what="include", test=d.test, cycle=cycle, why=words, undoes=d.id)
        )
    for cycle in sorted(then, key=lambda c: c or 0):
        why = then[cycle].why
        if cycle not in have or have[cycle].why != why:
            out.append(
                Decision(who=who, what="exclude", test=d.test, cycle=cycle, why=why, undoes=d.id)
            )
    if not out:
        # It said again what held already: so does this entry.
        why = then[d.cycle].why
        out.append(Decision(who=who, what=d.what, test=d.test, cycle=d.cycle, why=why, undoes=d.id))
    return tuple(out)

"""What holds after all decisions: exclusions with reasons, and choices for single tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from drypoint.errors import DecisionError, Where
from drypoint.recipe.base import to_si
from drypoint.recipe.decisions import Decision, Span, value_of
from drypoint.recipe.hashing import canonical_hash

Cycle = int | None


@dataclass(frozen=True)
class Exclusion:
    """Why a test, or one cycle of it, is left out: the decision's number, reason, author, time."""

    id: int
    why: str
    who: str
    when: str


@dataclass(frozen=True)
class TestOverride:
    """Choices made by hand for one test, SI; ``None`` or empty where the recipe holds.

    ``unloading_window`` and ``measured_area`` (m², its standard uncertainty in m², how) are by
    cycle; the entry ``None`` is for all cycles that have none of their own. ``ids`` are the
    numbers of the decisions behind it.
    """

    __test__ = False  # not a pytest class

    zero_depth: float | None = None
    zero_time: float | None = None
    drift_window: tuple[float, float] | None = None
    unloading_window: Mapping[Cycle, tuple[float, float]] = field(default_factory=dict)
    segments: tuple[Span, ...] | None = None
    measured_area: Mapping[Cycle, tuple[float, float, str]] = field(default_factory=dict)
    ids: tuple[int, ...] = ()

    @property
    def key(self) -> str:
        """Hash of the choices, without who made them; empty where there are none."""
        bare = replace(self, ids=())
        return "" if bare == TestOverride() else canonical_hash(bare)


@dataclass(frozen=True)
class Effective:
    """The state after all decisions. ``loads`` are decisions on critical loads, by track."""

    excluded: Mapping[tuple[str, Cycle], Exclusion] = field(default_factory=dict)
    overrides: Mapping[str, TestOverride] = field(default_factory=dict)
    remarks: tuple[Decision, ...] = ()
    loads: Mapping[str, tuple[Decision, ...]] = field(default_factory=dict)

    def exclusion(self, test: str, cycle: Cycle = None) -> Exclusion | None:
        """Why a test (or one cycle) is left out, or ``None`` where it counts."""
        whole = self.excluded.get((test, None))
        return whole if whole is not None or cycle is None else self.excluded.get((test, cycle))

    def override(self, test: str) -> TestOverride:
        """Choices made by hand for a test."""
        return self.overrides.get(test, TestOverride())

    @property
    def tests(self) -> tuple[str, ...]:
        """Every test that a decision in force names, sorted; to be compared with those read."""
        named = {test for test, _ in self.excluded} | set(self.overrides) | set(self.loads)
        named |= {d.test for d in self.remarks if d.test is not None}
        return tuple(sorted(named))


def effective(decisions: Iterable[Decision]) -> Effective:
    """The state after all decisions, in their order.

    Raises
    ------
    DecisionError
        When one cannot be carried out, such as an ``include`` of what was never excluded.
    """
    state = Effective()
    for decision in decisions:
        state = after(state, decision)
    return state


def after(state: Effective, decision: Decision) -> Effective:
    """The state after one more decision."""
    if decision.what == "remark":
        return replace(state, remarks=(*state.remarks, decision))
    test = decision.test or ""
    if decision.what == "exclude":
        why = Exclusion(decision.id, decision.why, decision.who, decision.when)
        return replace(state, excluded={**state.excluded, (test, decision.cycle): why})
    if decision.what == "include":
        return replace(state, excluded=_included(state, test, decision.cycle))
    if decision.what == "critical_load":
        loads = {**state.loads, test: _said(state.loads.get(test, ()), decision)}
        return replace(state, loads={k: v for k, v in loads.items() if v})
    override = _changed(state.override(test), decision)
    overrides = {**state.overrides, test: override}
    if not override.key:
        del overrides[test]
    return replace(state, overrides=overrides)


def _said(earlier: tuple[Decision, ...], decision: Decision) -> tuple[Decision, ...]:
    """What was said of the critical loads of a track; without value: the entry that is undone
    is gone, or all of them are."""
    if decision.value is not None:
        return (*earlier, decision)
    return tuple(d for d in earlier if decision.undoes is not None and d.id != decision.undoes)


def _included(state: Effective, test: str, cycle: Cycle) -> dict[tuple[str, Cycle], Exclusion]:
    """Exclusions without those of a test (all of them), or of one cycle."""
    kept = {k: v for k, v in state.excluded.items() if k[0] != test or cycle not in (None, k[1])}
    if len(kept) == len(state.excluded):
        of = f"cycle {cycle} of “{test}”" if cycle is not None else f"“{test}”"
        raise DecisionError(
            f"{of} is not excluded, so it cannot be included again.",
            where=Where(test=test),
            remedy="Take back what was excluded: the whole test, or the same cycle.",
        )
    return kept


def _changed(override: TestOverride, decision: Decision) -> TestOverride:
    value: Any = value_of(decision)
    changes: dict[str, Any] = {"ids": (*override.ids, decision.id)}
    if decision.what == "zero":
        changes["zero_depth"] = None if value is None else to_si(value.depth_nm, "nm")
        changes["zero_time"] = None if value is None else value.time_s
    elif decision.what == "measured_area":
        entry = None
        if value is not None:
            entry = (to_si(value.A_um2, "µm²"), to_si(value.u_A_um2, "µm²"), value.how)
        changes["measured_area"] = _put(override.measured_area, decision.cycle, entry)
    elif decision.what == "unloading_window":
        entry = None if value is None else value.value
        changes["unloading_window"] = _put(override.unloading_window, decision.cycle, entry)
    else:
        changes[decision.what] = None if value is None else value.value
    return replace(override, **changes)


def _put(entries: Mapping[Cycle, Any], cycle: Cycle, entry: Any) -> dict[Cycle, Any]:
    rest = {k: v for k, v in entries.items() if k != cycle}
    return rest if entry is None else {**rest, cycle: entry}

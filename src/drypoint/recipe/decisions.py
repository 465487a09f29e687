"""Decisions: what a person adds by hand to a study, one line each, never changed afterwards."""

from __future__ import annotations

import difflib
import json
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationError

from drypoint.errors import DecisionError, Where
from drypoint.parsing import json_value
from drypoint.recipe.base import Count, Positive, Section, Window, Words, key
from drypoint.recipe.hashing import canonical_hash
from drypoint.recipe.knobs import Kind
from drypoint.recipe.locate import dotted
from drypoint.recipe.problems import Problem, from_pydantic

What = Literal[
    "exclude",
    "include",
    "zero",
    "drift_window",
    "unloading_window",
    "segments",
    "measured_area",
    "critical_load",
    "remark",
]
#: Where a decision is felt: in the reduction of its one test, in series and comparisons, or only
#: in the report.
Touch = Literal["reduction", "series", "report"]

#: Decisions that may name one cycle of a test.
WITH_CYCLE = ("exclude", "include", "unloading_window", "measured_area", "remark")
WITHOUT_VALUE = ("exclude", "include", "remark")


def _utc(text: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
        right = moment.utcoffset() is not None and not moment.utcoffset()
    except ValueError:
        right = False
    if not right:
        raise ValueError(f"“{text}” is given; allowed: a time in UTC such as 2026-01-31T12:00:00Z")
    return text


class Decision(Section):
    """One decision.

    ``id`` is a running number and ``when`` the time (ISO 8601, UTC); both are set by
    :func:`drypoint.recipe.journal.append`. ``value`` depends on ``what``; ``None`` for one of the
    choices takes an earlier decision back, so that the recipe holds again.
    """

    id: Annotated[int, Field(ge=0, le=1_000_000_000)] = key("Running number, from 1.", 0)
    when: Annotated[str, AfterValidator(lambda t: _utc(t) if t else t)] = key("Time, UTC.", "")
    who: Words = key("Who decided.")
    what: What = key("What was decided.")
    test: Words | None = key("Name of the test.", None)
    cycle: Count | None = key(
        "Number of the cycle, from 1; where left out all of them (an area: the one with "
        "the largest force).",
        None,
    )
    value: Any = key("What is put in place.", None)
    why: Words = key("The reason.")
    undoes: Count | None = key(
        "Number of the entry that this one takes back; of an entry that itself takes one back: "
        "what holds again.",
        None,
    )


class ZeroValue(Section):
    """A moved contact point: recorded depth, or time, at which contact begins."""

    depth_nm: float | None = key("Recorded depth of the contact point.", None, unit="nm")
    time_s: float | None = key("Time of the contact point.", None)


class AreaValue(Section):
    """An area measured on the impression."""

    A_um2: Positive = key("Projected area of the impression.", unit="µm²")
    u_A_um2: Positive = key("Its standard uncertainty.", unit="µm²")
    how: Words = key("How it was measured.")


class CriticalLoadValue(Section):
    """What a person says of a candidate, or of a critical load, of a scratch track."""

    verdict: Literal["confirm", "move", "reject", "absent"] = key(
        "The candidate is the event; the event is at another load; the candidate is nothing that "
        "was looked for; the event did not occur up to the largest load."
    )
    event: Words | None = key("Name of the critical load, one of scratch.events.", None)
    candidate_mN: Positive | None = key("Load of the candidate that is meant.", None, unit="mN")
    load_mN: Positive | None = key("Load at which the event was seen.", None, unit="mN")
    low_mN: Positive | None = key("Lowest load at which it may have begun.", None, unit="mN")
    high_mN: Positive | None = key("Highest load.", None, unit="mN")


class Span(Section):
    """One segment of a record, by time or (for records without time) by sample, from 0."""

    kind: Kind = key("Kind of segment.")
    from_s: float | None = key("Time at which it begins.", None)
    to_s: float | None = key("Time at which it ends.", None)
    from_sample: Annotated[int, Field(ge=0, le=1_000_000_000)] | None = key("First sample.", None)
    to_sample: Count | None = key("Sample behind the last one.", None)

    @property
    def ends(self) -> tuple[str, float, float] | None:
        """``"s"`` or ``"sample"``, with begin and end; ``None`` where they do not fit."""
        time, sample = (self.from_s, self.to_s), (self.from_sample, self.to_sample)
        if None not in time and sample == (None, None):
            return "s", float(time[0] or 0), float(time[1] or 0)
        if None not in sample and time == (None, None):
            return "sample", float(sample[0] or 0), float(sample[1] or 0)
        return None


class WindowValue(Section):
    """Lower and higher end of a window."""

    value: Window = key("Lower and higher end, as shares.")


class SegmentsValue(Section):
    """Segments of a record, in order."""

    value: Annotated[tuple[Span, ...], Field(min_length=1)] = key("The segments, in order.")


_VALUES: dict[str, type[Section]] = {
    "zero": ZeroValue,
    "measured_area": AreaValue,
    "critical_load": CriticalLoadValue,
    "drift_window": WindowValue,
    "unloading_window": WindowValue,
    "segments": SegmentsValue,
}


def value_of(decision: Decision) -> Section | None:
    """The value of a decision as its type; ``None`` where it has none."""
    return None if decision.value is None else _parsed_value(decision.what, decision.value)


def parse_decision(line: str) -> Decision:
    """A decision from one line of JSON.

    Raises
    ------
    DecisionError
        When it is no JSON object, or not a decision; without file and line.
    """
    try:
        body = json_value(line, object_pairs_hook=_once)
    except ValueError as error:
        raise DecisionError(
            f"The line is not a JSON object: {error}.",
            remedy="Each line is one decision, written by Drypoint.",
        ) from error
    try:
        decision = Decision.model_validate_json(json.dumps(body))
    except ValidationError as error:
        raise _error(from_pydantic(error.errors(), Decision)[0]) from error
    for problem in _fit(decision):
        raise _error(problem)
    return decision


def decision_line(decision: Decision) -> str:
    """A decision as one line of JSON, without keys that say nothing."""
    body = {k: v for k, v in decision.model_dump(mode="json").items() if v is not None}
    if decision.value is None and decision.what not in WITHOUT_VALUE:
        body["value"] = None
    return json.dumps(body, ensure_ascii=False)


def decisions_hash(decisions: Iterable[Decision]) -> str:
    """SHA-256 over all decisions; empty where there are none."""
    entries = [d.model_dump(mode="python") for d in decisions]
    for entry in entries:
        # Younger than the others: without it, hashes of earlier files stay as they were.
        if entry["undoes"] is None:
            del entry["undoes"]
    return canonical_hash(entries) if entries else ""


def touches(decision: Decision) -> Touch:
    """What must be computed again after a decision.

    An exclusion touches series and comparisons only; no test is reduced again for it.
    """
    if decision.what in ("exclude", "include", "critical_load"):
        return "series"
    return "report" if decision.what == "remark" else "reduction"


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    body = dict(pairs)
    if len(body) != len(pairs):
        raise ValueError("a key stands in it twice")
    return body


def _error(problem: Problem) -> DecisionError:
    where = Where(key=dotted(problem.path) or None)
    return DecisionError(problem.what, where=where, remedy=problem.allowed)


def _parsed_value(what: str, value: Any) -> Section:
    model = _VALUES[what]
    wrapped = {"value": value} if model in (WindowValue, SegmentsValue) else value
    return model.model_validate_json(json.dumps(wrapped))


def _fit(decision: Decision) -> list[Problem]:
    """What in a decision does not go together."""
    what, value = decision.what, decision.value
    if decision.test is None and what != "remark":
        return [Problem(("test",), "the key is missing.", f"“{what}” is about one test.")]
    if decision.cycle is not None and (decision.test is None or what not in WITH_CYCLE):
        return [Problem(("cycle",), f"“{what}” has no cycle.", "Leave it out.")]
    if what in WITHOUT_VALUE:
        if value is None:
            return []
        return [Problem(("value",), f"“{what}” has no value.", "Say it in why.")]
    if value is None:
        if "value" in decision.model_fields_set:
            return []
        return [Problem(("value",), "the key is missing.", f"“{what}” needs a value.")]
    try:
        parsed = _parsed_value(what, value)
    except ValidationError as error:
        problem = from_pydantic(error.errors(), _VALUES[what])[0]
        path = problem.path if problem.path[:1] == ("value",) else ("value", *problem.path)
        return [Problem(path, problem.what, problem.allowed)]
    return _MORE[what](parsed) if what in _MORE else []


def _zero_fits(value: Any) -> list[Problem]:
    if (value.depth_nm is None) == (value.time_s is None):
        return [Problem(("value",), "it is not one point.", "Give depth_nm or time_s.")]
    return []


def _load_fits(value: Any) -> list[Problem]:
    needs = {
        "confirm": ("event", "candidate_mN"),
        "move": ("event", "load_mN"),
        "reject": ("candidate_mN",),
        "absent": ("event",),
    }[value.verdict]
    missing = [k for k in needs if getattr(value, k) is None]
    if missing:
        said = f"“{value.verdict}” needs {' and '.join(needs)}."
        return [Problem(("value", missing[0]), "the key is missing.", said)]
    bounds = [v for v in (value.low_mN, value.load_mN, value.high_mN) if v is not None]
    if bounds != sorted(bounds) or (value.load_mN is not None and value.verdict != "move"):
        said = "load_mN goes with “move”, and lies between low_mN and high_mN."
        return [Problem(("value", "load_mN"), "the loads do not fit.", said)]
    return []


def _segments_fit(value: Any) -> list[Problem]:
    last: tuple[str, float] | None = None
    for i, span in enumerate(value.value):
        ends = span.ends
        if ends is None:
            given = "Give from_s and to_s, or from_sample and to_sample."
            return [Problem(("value", i), "begin or end is not clear.", given)]
        unit, begin, end = ends
        if begin >= end or (last is not None and (last[0] != unit or begin < last[1])):
            return [Problem(("value", i), "the segments are not in order.", "One after the other.")]
        last = unit, end
    return []


_MORE: dict[str, Callable[[Any], list[Problem]]] = {
    "zero": _zero_fits,
    "segments": _segments_fit,
    "critical_load": _load_fits,
}


def now() -> str:
    """The present time as decisions write it."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def unknown_test(test: str, known: Sequence[str], path: Path) -> DecisionError:
    """The error for a test that a study does not have, with the nearest names."""
    near = difflib.get_close_matches(test, known, 3)
    return DecisionError(
        f"The study has no test “{test}”.",
        where=Where(str(path), test=test),
        remedy="Did you mean: " + ", ".join(near) + "?" if near else "See results/tests.csv.",
    )

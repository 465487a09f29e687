"""Questions about what the columns of a file do not say: a role without a column, a column without
a unit. Every candidate is offered; units that the header names come first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from drypoint import units
from drypoint.records.column_found import ColumnFound, toml_line
from drypoint.records.layout import ROLE_DIMENSION, Column
from drypoint.records.names import another_quantity, take_apart
from drypoint.records.question import Question
from drypoint.records.said import Said

#: Units offered for a column that has none, by dimension; the usual one first.
OFFERED: dict[str, tuple[str, ...]] = {
    "time": ("s", "ms", "min"),
    "force": ("mN", "µN", "N", "gf"),
    "length": ("nm", "µm", "mm", "m"),
}


def named_units(role: str, said: Sequence[Said]) -> tuple[Said, ...]:
    """What the header names for a role, then for no single quantity; each unit once."""
    dimension = ROLE_DIMENSION[role]
    fitting = [s for s in said if units.dimension_of(s.unit) == dimension]
    out: dict[str, Said] = {}
    for s in (*(s for s in fitting if s.role == role), *(s for s in fitting if not s.role)):
        out.setdefault(s.unit, s)
    return tuple(out.values())


def _sentence(named: Sequence[Said]) -> str:
    """Where the header names units."""
    return "".join(f" {s.place()} names “{s.word}”." for s in named)


def unit_question(c: ColumnFound, said: Sequence[Said], scale: float = 1.0) -> Question:
    """The question for the unit of a column whose role is settled."""
    dimension = ROLE_DIMENSION[c.role]
    named = named_units(c.role, said)
    usual = OFFERED.get(dimension, (units.SI[dimension],))
    offered = tuple(dict.fromkeys((*(s.unit for s in named), *usual)))
    lines = tuple(toml_line(c.role, c.name, c.index, unit, scale) for unit in offered)
    title = f"“{c.name}” ({c.role})" if c.name else f"{c.index} ({c.role})"
    return Question(
        f"Column {title} has no unit.{_sentence(named)}",
        lines,
        "Add under [records.columns] the line with the true unit: " + " or ".join(lines) + ".",
        f"columns.{c.role}.unit",
    )


def missing_roles(
    found: Sequence[ColumnFound],
    declared: Mapping[str, Column],
    asked: set[str],
    needed: Sequence[str],
    said: Sequence[Said],
) -> list[Question]:
    """Questions for the roles without which a record cannot be read."""
    have = {c.role for c in found} | set(declared)
    return [_missing(role, found, needed, said) for role in needed if role not in have | asked]


def _missing(
    role: str, found: Sequence[ColumnFound], needed: Sequence[str], said: Sequence[Said]
) -> Question:
    worded = _worded(role, found)
    if worded is not None:
        return worded
    free = [c for c in found if not c.role and c.numeric]
    dimension = ROLE_DIMENSION[role]
    fit = [c for c in free if c.unit and units.dimension_of(c.unit) == dimension] or free
    listed = ", ".join(f"{c.index} “{c.name}”" if c.name else str(c.index) for c in found)
    return _choice(role, fit, said, f"The columns are: {listed}.", needed)


def _worded(role: str, found: Sequence[ColumnFound]) -> Question | None:
    """Where a column is named like a role but does not hold numbers."""
    c = next((c for c in found if not c.role and not c.numeric and role in _claims(c)), None)
    if c is None:
        return None
    return Question(
        f"Column {c.title} is named like the {role}, but holds words.",
        (),
        "Look at the column in a copy of the file: every row needs a number. If another column is "
        f"the {role}, declare it under [records.columns].",
        f"columns.{role}",
        ambiguous=False,
        column=c.index,
    )


def missing_time(
    found: Sequence[ColumnFound],
    declared: Mapping[str, Column],
    said: Sequence[Said],
    settled: bool,
) -> list[Question]:
    """The question for the column of time where one of the others can be it.

    That is a column with a unit of time, else one without a unit whose name says no other
    quantity. A file may have no time: the question is answered as well by ``sampling_Hz`` or by
    declaring a column as ``ignore``, which is offered once the other roles are ``settled``.
    """
    if "time" in {c.role for c in found} | set(declared) or "ignore" in declared:
        return []
    worded = _worded("time", found)
    if worded is not None:
        return [_or_none(worded, toml_line("ignore", *_column(found, worded), None))]
    free = [c for c in found if not c.role and c.numeric]
    fit = [c for c in free if c.unit and units.dimension_of(c.unit) == "time"] or [
        c for c in free if not c.unit and not _claims(c) and not another_quantity(c.name)
    ]
    if not fit:
        return []
    listed = " or ".join(c.title for c in fit)
    question = _choice("time", fit, said, f"It can be column {listed}.", ())
    ignore = [toml_line("ignore", c.name, c.index, None) for c in fit]
    return [_or_none(question, *(ignore if settled or len(fit) == 1 else ()))]


def _column(found: Sequence[ColumnFound], question: Question) -> tuple[str, int]:
    c = next(c for c in found if c.index == question.column)
    return c.name, c.index


def _or_none(question: Question, *none: str) -> Question:
    """A question for the time, with the answers that there is none."""
    shown = none[0] if none else "declare one of these columns as ignore"
    remedy = f"{question.toml} If the file has no time: {shown}, or sampling_Hz under [[records]]."
    return replace(question, choices=(*question.choices, *none), toml=remedy)


def _claims(c: ColumnFound) -> tuple[str, ...]:
    return take_apart(c.name).claims if c.name else ()


def _choice(
    role: str, fit: Sequence[ColumnFound], said: Sequence[Said], rest: str, needed: Sequence[str]
) -> Question:
    """Which column has a role, and in which unit: every candidate is a choice."""
    named = named_units(role, said)
    offered = [s.unit for s in named] or list(OFFERED[ROLE_DIMENSION[role]])
    by_column = [
        [toml_line(role, c.name, c.index, unit) for unit in ([c.unit] if c.unit else offered)]
        for c in fit
    ]
    mentioned = _sentence(named) if any(not c.unit for c in fit) else ""
    several = any(len(lines) > 1 for lines in by_column)
    heads = " or ".join(lines[0] for lines in by_column)
    remedy = f"Add under [records.columns], with the true unit, one of: {heads}"
    if several:
        remedy += f" (the unit can also be {', '.join(offered[1:])})"
    return Question(
        f"No column is clearly the {role}. {rest}{mentioned}",
        tuple(line for lines in by_column for line in lines),
        f"{remedy}." if fit else f"Export the record with {' and '.join(needed)}.",
        f"columns.{role}",
    )


def contradictions(found: Sequence[ColumnFound], said: Sequence[Said]) -> tuple[str, ...]:
    """A sentence for every column whose unit is not the one that the header names for it."""
    out = []
    for c in found:
        if not c.role or not c.unit:
            continue
        plain = [s for s in said if s.plain and s.role == c.role]
        odd = [s for s in plain if not units.same(s.unit, c.unit)]
        if odd and len(odd) == len(plain):
            out.append(
                f"{odd[0].place()} names “{odd[0].word}” for the {c.role.replace('_', ' ')}, but "
                f"column {c.title} is in {c.unit}; {c.unit} is used."
            )
    return tuple(out)

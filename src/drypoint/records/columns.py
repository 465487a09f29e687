"""Role and unit of each column: from its name, the unit row, and what the user declared."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import lru_cache

from drypoint import units
from drypoint.errors import UnitError
from drypoint.records.column_found import ColumnFound, toml_line
from drypoint.records.dialect import Dialect
from drypoint.records.layout import ROLE_DIMENSION, ROLES, Column, Layout
from drypoint.records.missing import contradictions, missing_roles, missing_time, unit_question
from drypoint.records.names import Named, take_apart
from drypoint.records.question import Question
from drypoint.records.said import Said

__all__ = ["STRICT", "Assignment", "ColumnFound", "assign", "toml_line"]

#: Roles whose column must be one and only one, or the user is asked.
_ASKED = ("time", "force", "depth", "lateral_force", "test", "segment")
_NEEDED = ("force", "depth")
_NEEDED_OF_TRACK = ("force", "position")
_LABELS = ("test", "segment")
#: Roles in which a place without a number is a fault; on a track depth and lateral force may be
#: missing for a stretch, and the rest still tells something.
STRICT = ("time", "force", "depth", "lateral_force")
_STRICT_OF_TRACK = ("time", "force")
_ELECTRICAL = ("V", "mV", "µV", "μV", "kV", "A", "mA", "µA", "μA")


@dataclass(frozen=True)
class Assignment:
    """All columns, what is still open about them, and what is to be noted."""

    columns: tuple[ColumnFound, ...]
    questions: tuple[Question, ...] = ()
    strict: tuple[str, ...] = STRICT
    notes: tuple[str, ...] = ()

    def role(self, role: str) -> ColumnFound | None:
        """The column of a role, if there is one."""
        return next((c for c in self.columns if c.role == role), None)


def assign(dialect: Dialect, layout: Layout) -> Assignment:
    """Give each column its role and unit; what cannot be decided becomes a question."""
    return _assign(
        dialect.names,
        dialect.units,
        dialect.numeric,
        tuple(layout.columns.items()),
        layout.track,
        dialect.said,
        layout.sampling_Hz is not None,
    )


@lru_cache(maxsize=512)
def _assign(
    names: tuple[str, ...],
    unit_row: tuple[str, ...],
    numeric: tuple[bool, ...],
    declared: tuple[tuple[str, Column], ...],
    track: bool,
    said: tuple[Said, ...],
    timed: bool,
) -> Assignment:
    n = len(numeric)
    names = names or ("",) * n
    unit_row = unit_row or ("",) * n
    named = [take_apart(name) for name in names]
    questions: list[Question] = []
    chosen = _declared_roles(named, declared, n, questions)
    found = []
    for i in range(n):
        unit = _unit(i, named[i], unit_row[i], chosen.get(i), questions)
        found.append(_first_guess(i, named[i], unit, numeric[i], chosen, questions))
    found = _one_each(found, questions)
    given = dict(declared)
    found = [_with_scale(c, given.get(c.role), questions, said) for c in found]
    asked = {q.key.removeprefix("columns.") for q in questions}
    needed = _NEEDED_OF_TRACK if track else _NEEDED
    open_roles = missing_roles(found, given, asked, needed, said)
    questions += open_roles
    if not track and not timed and "time" not in asked:
        questions += missing_time(found, given, said, settled=not open_roles)
    strict = _STRICT_OF_TRACK if track else STRICT
    notes = contradictions(found, said)
    return Assignment(tuple(_channels(found, track)), tuple(questions), strict, notes)


def _squeeze(text: str) -> str:
    return "".join(text.split()).casefold()


def _listing(named: list[Named]) -> str:
    shown = [f"{i + 1} “{n.raw}”" if n.raw else f"{i + 1}" for i, n in enumerate(named)]
    return "The columns are: " + ", ".join(shown) + "."


def _declared_roles(
    named: list[Named],
    declared: tuple[tuple[str, Column], ...],
    n: int,
    questions: list[Question],
) -> dict[int, tuple[str, Column]]:
    """Column number (from 0) -> declared role."""
    chosen: dict[int, tuple[str, Column]] = {}

    def refuse(role: str, what: str, remedy: str) -> None:
        questions.append(Question(what, (), remedy, f"columns.{role}", ambiguous=False))

    for role, column in declared:
        if role not in ROLES:
            refuse(role, f"“{role}” is no role of a column.", f"Allowed: {', '.join(ROLES)}.")
            continue
        fits = list(range(n))
        if column.index is not None:
            fits = [i for i in fits if i + 1 == column.index]
        if column.name is not None:
            key = _squeeze(column.name)
            whole = [i for i in fits if _squeeze(named[i].raw) == key]
            fits = whole or [i for i in fits if key and _squeeze(named[i].bare) == key]
        asked = f"“{column.name}”" if column.name is not None else f"number {column.index}"
        if column.name is None and column.index is None:
            refuse(role, f"{role} has neither name nor index.", _listing(named))
        elif not fits:
            refuse(role, f"There is no column {asked} for {role}.", _listing(named))
        elif len(fits) > 1:
            questions.append(
                Question(
                    f"{len(fits)} columns are called {asked}.",
                    tuple(f"{role} = {{index = {i + 1}}}" for i in fits),
                    f"Add index to columns.{role}. {_listing(named)}",
                    f"columns.{role}",
                )
            )
        elif fits[0] in chosen:
            refuse(
                role,
                f"Column {fits[0] + 1} is declared as {chosen[fits[0]][0]} and as {role}.",
                "Give each role a column of its own.",
            )
        else:
            chosen[fits[0]] = (role, column)
    return chosen


def _unit(
    i: int,
    named: Named,
    row: str,
    declared: tuple[str, Column] | None,
    questions: list[Question],
) -> str | None:
    """The one unit of a column; contradictions become questions that cannot be waved through."""
    row = row.strip()
    if len(row) > 1 and row[0] in "[(" and row[-1] in ")]":
        row = row[1:-1].strip()
    row_unit = None if row in ("", "-") else row
    title = f"Column {i + 1} (“{named.raw}”)" if named.raw else f"Column {i + 1}"
    wish = declared[1].unit if declared is not None else None
    unit = named.unit or row_unit
    if named.unit and row_unit and not units.same(named.unit, row_unit):
        if wish and (units.same(wish, named.unit) or units.same(wish, row_unit)):
            return wish
        questions.append(
            Question(
                f"{title} says {named.unit} in its name and {row_unit} in the row of units.",
                (),
                f"Find out which is true and write it as unit of this column, under "
                f"[records.columns]: unit = {json.dumps(named.unit, ensure_ascii=False)} or "
                f"unit = {json.dumps(row_unit, ensure_ascii=False)}.",
                "columns",
                ambiguous=False,
            )
        )
    if declared is None or wish is None:
        return unit
    role = declared[0]
    if unit and not units.same(unit, wish) and units.dimension_of(unit):
        ratio = ""
        dimension = units.dimension_of(unit)
        if dimension and dimension == units.dimension_of(wish):
            value = units.factor(wish, dimension) / units.factor(unit, dimension)
            ratio = f", or if the file is wrong write scale = {value:.10g} instead of unit"
        questions.append(
            Question(
                f"{title} is in {unit} by the file, but {role} is declared in {wish}.",
                (),
                f"Leave unit out of columns.{role}{ratio}.",
                f"columns.{role}.unit",
                ambiguous=False,
            )
        )
    return wish


def _is_quantity(unit: str | None) -> bool:
    """Whether a column with this unit measures something: it labels no segment or test then."""
    return bool(unit) and (unit in _ELECTRICAL or units.dimension_of(unit or "") is not None)


def _first_guess(
    i: int,
    named: Named,
    unit: str | None,
    numeric: bool,
    chosen: dict[int, tuple[str, Column]],
    questions: list[Question],
) -> ColumnFound:
    """Role by declaration, else by the claims of the name."""
    found = ColumnFound(i + 1, named.raw, "", unit, "", numeric=numeric)
    if i in chosen:
        role = chosen[i][0]
        if role not in (*_LABELS, "ignore") and not numeric:
            what = f"Column {i + 1} (“{named.raw}”) is declared as {role} but holds words."
            remedy = "Declare a column of numbers."
            questions.append(Question(what, (), remedy, f"columns.{role}", ambiguous=False))
        return replace(found, role=role, why="declared")
    taken = {role for role, _ in chosen.values()}
    labels = () if numeric and _is_quantity(unit) else _LABELS
    claims = [r for r in named.claims if r in labels or (numeric and r not in _LABELS)]
    open_claims = [r for r in claims if r not in taken]
    if not open_claims:
        why = "another column is declared for it" if claims else "no role by its name"
        if named.claims and not claims:
            why = f"named like {named.claims[0]}, but holds words"
        return replace(found, why=why)
    if len(open_claims) > 1:
        lines = tuple(toml_line(r, named.raw, i + 1, unit) for r in open_claims)
        questions.append(
            Question(
                f"Column {i + 1} (“{named.raw}”) can be {' or '.join(open_claims)}.",
                (*lines, toml_line("ignore", named.raw, i + 1, None)),
                "Add under [records.columns] one of: " + " or ".join(lines),
                f"columns.{open_claims[0]}",
            )
        )
        return replace(found, why="can be " + " or ".join(open_claims))
    return replace(found, role=open_claims[0], why=f"by its name “{named.bare}”")


def _one_each(found: list[ColumnFound], questions: list[Question]) -> list[ColumnFound]:
    """Where two columns claim a role: ask, or keep both under their own names."""
    for role in ROLES:
        rivals = [c for c in found if c.role == role]
        if role == "ignore" or len(rivals) < 2:
            continue
        why = f"{len(rivals)} columns claim {role}"
        found = [replace(c, role="", why=why) if c.role == role else c for c in found]
        if role in _ASKED:
            same = len({_squeeze(c.name) for c in rivals}) < len(rivals)
            lines = tuple(toml_line(role, "" if same else c.name, c.index, c.unit) for c in rivals)
            listed = " and ".join(f"{c.index} “{c.name}”" for c in rivals)
            questions.append(
                Question(
                    f"Columns {listed} could each be the {role.replace('_', ' ')}.",
                    lines,
                    "Add under [records.columns] one of: " + " or ".join(lines),
                    f"columns.{role}",
                )
            )
    return found


def _with_scale(
    c: ColumnFound, declared: Column | None, questions: list[Question], said: tuple[Said, ...]
) -> ColumnFound:
    """Factor to SI. A needed unit that is missing is asked for; others stay under own names."""
    extra = declared.scale if declared is not None else 1.0
    dimension = ROLE_DIMENSION.get(c.role)
    if dimension is None:
        known = units.dimension_of(c.unit) if c.unit and not c.role else None
        if known is None or not c.numeric:
            return replace(c, scale=extra)
        return replace(c, scale=units.factor(c.unit or "", known), offset=_offset(c.unit, known))
    if not c.unit:
        if c.role in _ASKED or declared is not None:
            questions.append(unit_question(c, said, extra))
            return c
        return replace(c, role="", why=f"{c.why}, but without a unit")
    try:
        scale = units.factor(c.unit, dimension)
    except UnitError as error:
        questions.append(
            Question(
                f"Column {c.index} (“{c.name}”) is the {c.role.replace('_', ' ')}, but: "
                f"{error.what}",
                (),
                error.remedy,
                f"columns.{c.role}.unit",
                ambiguous=False,
            )
        )
        return c
    return replace(c, scale=scale * extra, offset=_offset(c.unit, dimension))


def _offset(unit: str | None, dimension: str) -> float:
    return units.offset(unit, dimension) if unit and dimension == "temperature" else 0.0


def _channels(found: list[ColumnFound], track: bool) -> list[ColumnFound]:
    """Names under which the further columns are kept: role, or own words in lower case."""
    used: set[str] = set()
    out = []
    for c in found:
        plain = ("force", "depth", "test", "segment", "ignore", *(() if track else ("time",)))
        if c.role in plain or not c.numeric:
            out.append(c)
            continue
        bare = take_apart(c.name).bare if c.name else ""
        name = c.role or " ".join(bare.casefold().split()) or f"column {c.index}"
        while name in used or (not c.role and name in ROLES):
            name = f"{name} ({c.index})"
        used.add(name)
        out.append(replace(c, channel=name))
    return out

"""What is wrong with a study file: every fault with its key, its line and what is allowed."""

from __future__ import annotations

import difflib
import itertools
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from drypoint.errors import RecipeError, Where
from drypoint.recipe.base import Section, model_in
from drypoint.recipe.locate import Path, dotted, line_of

_KINDS = {
    "float_type": "a number", "int_type": "a whole number", "int_from_float": "a whole number",
    "bool_type": "true or false", "string_type": "text in quotes", "tuple_type": "a list",
    "list_type": "a list", "dict_type": "a table", "model_type": "a table",
    "model_attributes_type": "a table", "finite_number": "a finite number",
}  # fmt: skip
#: Faults of one file that are listed.
MOST = 100
#: Characters of a name that a message repeats.
_LONGEST = 120
#: Known names that a message lists, and among which the nearest one is looked for.
_NAMES, _COMPARED = 40, 300
_BOUNDS = {"gt": "above", "ge": "not below", "lt": "below", "le": "not above"}


@dataclass(frozen=True)
class Problem:
    """One fault. ``path`` is the key, ``what`` says what is given, ``allowed`` what may be."""

    path: Path
    what: str
    allowed: str = ""


class StudyError(RecipeError):
    """A study file is wrong; ``problems`` holds every fault of the file."""

    def __init__(
        self,
        what: str,
        *,
        where: Where | None = None,
        remedy: str = "",
        problems: tuple[tuple[Where, str, str], ...] = (),
    ) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.problems = problems or ((self.where, what, remedy),)


def raise_all(
    file: str, lines: dict[Path, int], problems: Sequence[Problem], more: Iterable[StudyError] = ()
) -> None:
    """Raise one error for all faults of a file; do nothing where there are none.

    Parameters
    ----------
    file : str
        Name of the file in which ``problems`` were found.
    lines : dict
        Line of each key, from :func:`drypoint.recipe.locate.key_lines`.
    problems : sequence of Problem
        Faults, in any order.
    more : iterable of StudyError
        Faults in files that this one names.
    """
    listed = [
        (Where(file, line_of(p.path, lines), key=dotted(p.path) or None), p.what, p.allowed)
        for p in dict.fromkeys(problems)
    ]
    listed.sort(key=lambda entry: entry[0].line or 0)
    for error in more:
        listed.extend(error.problems)
    if not listed:
        return
    if len(listed) == 1:
        where, what, remedy = listed[0]
        raise StudyError(what, where=where, remedy=remedy)
    text = f"{len(listed)} things are wrong:"
    for where, what, remedy in listed[:MOST]:
        here = str(where)
        if where.file == file:
            line = f"line {where.line}" if where.line else ""
            here = "; ".join(part for part in (line, f"key {where.key}") if part)
        text += f"\n  {here}: {what} {remedy}".rstrip()
    if len(listed) > MOST:
        text += f"\n  and {len(listed) - MOST} more"
    raise StudyError(text, where=Where(file), problems=tuple(listed[:MOST]))


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name that looks most like ``name``, or empty."""
    options = {k.lower(): k for k in itertools.islice(known, _COMPARED)}
    found = difflib.get_close_matches(name.lower(), list(options), n=1, cutoff=0.6)
    return options[found[0]] if found else ""


def unknown(name: str, kind: str, known: Iterable[str], *, guess: bool = True) -> tuple[str, str]:
    """Words for a name that does not exist, and for the names that do.

    ``guess=False`` looks for no similar name, where nobody will read the words.
    """
    names = list(known)
    more = f" and {len(names) - _NAMES} more" if len(names) > _NAMES else ""
    if len(name) > _LONGEST:
        name = name[: _LONGEST - 3] + "..."
    close = nearest(name, names) if guess else ""
    words = f" Did you mean “{close}”?" if close else ""
    return f"“{name}” is not {kind}.{words}", "Allowed: " + ", ".join(names[:_NAMES]) + f"{more}."


def show(value: Any) -> str:
    """A value as it stands in a study file, shortened."""
    if isinstance(value, str):
        text = f"“{value}”"
    else:
        text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


def from_pydantic(errors: Sequence[ErrorDetails], model: type[Section]) -> list[Problem]:
    """Faults that the schema found, in our words; the first :data:`MOST` of them."""
    found = [_problem(error, model) for error in errors[:MOST]]
    if len(errors) > MOST:
        what = f"{len(errors) - MOST} more keys are wrong."
        found.append(Problem(found[-1].path, what, "Repair the first ones, then try again."))
    return found


def _problem(error: ErrorDetails, model: type[Section]) -> Problem:
    kind, given, context = error["type"], error.get("input"), error.get("ctx", {})
    path = tuple(part for part in error["loc"] if part != "[key]")
    if kind == "extra_forbidden":
        known = section_at(model, path[:-1]).model_fields
        what, allowed = unknown(str(path[-1]), "a key here", known)
        return Problem(path, what, allowed)
    if kind == "missing":
        info = section_at(model, path[:-1]).model_fields.get(str(path[-1]))
        if info is None:
            numbers = "four numbers, x1, y1, x2, y2" if "edges_um" in path else "two numbers"
            return Problem(path[:-1], "the list is too short.", f"Allowed: {numbers}.")
        example = _allowed_words(info.annotation)
        return Problem(path, "the key is missing.", f"{info.description}{example}")
    if kind == "value_error":
        what, _, allowed = str(context.get("error", "")).partition("; allowed: ")
        return Problem(path, what + ".", f"Allowed: {allowed}." if allowed else "")
    if kind in ("literal_error", "enum"):
        expected = re.sub(r"'([^']*)'", r"“\1”", str(context["expected"])).replace(" or ", ", ")
        return Problem(path, f"{show(given)} is given.", f"Allowed: {expected}.")
    if kind in _KINDS:
        return Problem(path, f"{show(given)} is given.", f"Allowed: {_KINDS[kind]}.")
    if kind in ("too_short", "too_long"):
        n = context.get("min_length", context.get("max_length"))
        allowed = f"a list of {'at least' if kind == 'too_short' else 'at most'} {n}"
        return Problem(path, f"{show(given)} is given.", f"Allowed: {allowed}.")
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        names = [part for part in path if isinstance(part, str)]
        info = section_at(model, path[: path.index(names[-1])]).model_fields.get(names[-1])
        found = bounds(info.annotation, info.metadata) if info else {}
        words = " and ".join(f"{_BOUNDS[k]} {found[k]:g}" for k in _BOUNDS if k in found)
        return Problem(path, f"{show(given)} is given.", f"Allowed: a number {words}.")
    return Problem(path, f"{show(given)} is given: {error['msg']}.")


def bounds(annotation: Any, metadata: Iterable[Any]) -> dict[str, float]:
    """The bounds of a number, found anywhere in its annotation."""
    found: dict[str, float] = {}
    for item in metadata:
        if isinstance(item, FieldInfo):
            found |= bounds(None, item.metadata)
        found |= {k: getattr(item, k) for k in _BOUNDS if getattr(item, k, None) is not None}
    for arg in get_args(annotation):
        found |= bounds(arg, getattr(arg, "__metadata__", ()))
    return found


def _allowed_words(annotation: Any) -> str:
    if get_origin(annotation) is Literal:
        return " Allowed: " + ", ".join(str(a) for a in get_args(annotation)) + "."
    return ""


def section_at(model: type[Section], path: Path) -> type[Section]:
    """The section in which a path ends."""
    here, held = model, ""
    for part in path:
        if held:
            held = ""
            continue
        info = here.model_fields.get(str(part))
        inner, held = model_in(info.annotation) if info is not None else (None, "")
        if inner is None:
            return here
        here = inner
    return here

"""Applies the rules that the sections declare to a study file, or to one section."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic.fields import FieldInfo

from drypoint.recipe.base import Section, model_in
from drypoint.recipe.convert import merged
from drypoint.recipe.knobs import Choices
from drypoint.recipe.locate import Path
from drypoint.recipe.parts import Document, valid, without_faults
from drypoint.recipe.problems import Problem
from drypoint.recipe.rules import Alone, Given
from drypoint.recipe.sections import Specimen


def rule_faults(model: type[Section], document: Document) -> list[Problem]:
    """Faults of a whole document by the declared rules, whichever of its parts are readable.

    Sections with ``late`` rules are left out: they are judged by :func:`section_faults` when what
    they take from elsewhere has been filled in.
    """
    found: list[Problem] = []
    for given in _sections(model, document, (), (), document):
        found += _faults(given)
    found += _own_choices(document)
    return _first_of_each(found)


def section_faults(
    path: Path, section: Section, document: Mapping[str, Any] | None = None
) -> list[Problem]:
    """Faults of one section that the schema accepts, and of the sections inside it."""
    found: list[Problem] = []
    for given in _inside(section, path, (), document or {}):
        found += _faults(given)
    return _first_of_each(found)


def _faults(given: Given) -> list[Problem]:
    rules = given.section.key_rules
    alone = [f for r in rules if isinstance(r, Alone) for f in r.faults(given)]
    return alone or [f for r in rules for f in r.faults(given)]


def _first_of_each(found: list[Problem]) -> list[Problem]:
    """One fault for each key: a second one of another rule would only repeat it."""
    return list({p.path: p for p in reversed(found)}.values())[::-1]


def _sections(
    model: type[Section],
    table: Any,
    path: Path,
    parents: tuple[Section, ...],
    document: Document,
) -> Iterator[Given]:
    """Each readable section of a document with what is around it."""
    if not isinstance(table, dict) or model.late:
        return
    section = without_faults(model, table) if path else _whole(model, table)
    if section is not None:
        written = {k for k in table if k in model.model_fields}
        faulty = frozenset(written - section.model_fields_set)
        yield Given(section, path, parents, document, faulty)
    around = parents if section is None else (*parents, section)
    for name, info in model.model_fields.items():
        if name in table and not (model is Specimen and name in Choices.model_fields):
            for inner, entry, more in _entries(info, table[name]):
                yield from _sections(inner, entry, (*path, name, *more), around, document)


def _whole(model: type[Section], document: Document) -> Section:
    """The file as a whole, as written: its own rules ask only which tables there are."""
    written = {k: v for k, v in document.items() if k in model.model_fields}
    return model.model_construct(set(written), **written)


def _entries(info: FieldInfo, value: Any) -> Iterator[tuple[type[Section], Any, Path]]:
    """Tables under a key: the section each of them is, the table, and the rest of its path."""
    inner, held = model_in(info.annotation)
    if inner is None:
        return
    if held == "names":
        for name, entry in value.items() if isinstance(value, dict) else ():
            yield inner, entry, (name,)
    elif held == "list":
        for i, entry in enumerate(value) if isinstance(value, list) else ():
            yield inner, entry, (i,)
    else:
        yield inner, value, ()


def _inside(
    section: Section, path: Path, parents: tuple[Section, ...], document: Mapping[str, Any]
) -> Iterator[Given]:
    """A section and all that it contains, as they are (also where nothing is written)."""
    yield Given(section, path, parents, document)
    around = (*parents, section)
    for name in type(section).model_fields:
        value = getattr(section, name)
        if isinstance(value, Section):
            yield from _inside(value, (*path, name), around, document)
        elif isinstance(value, (tuple, dict)):
            items = value.items() if isinstance(value, dict) else enumerate(value)
            for part, entry in items:
                if isinstance(entry, Section):
                    yield from _inside(entry, (*path, name, part), around, document)


def _own_choices(document: Document) -> list[Problem]:
    """A specimen's own choices are judged together with those of the study below them."""
    common = valid(Choices, {k: document[k] for k in Choices.model_fields if k in document})
    specimens = document.get("specimens")
    if common is None or not isinstance(specimens, dict):
        return []
    found: list[Problem] = []
    for name, table in specimens.items():
        specimen = valid(Specimen, table)
        if specimen is None:
            continue
        both = merged(common, specimen)
        for key in Choices.model_fields:
            if getattr(specimen, key) is not None:
                found += section_faults(("specimens", name, key), getattr(both, key), document)
    return found

"""Parts of a study file, each looked at by itself, also where others are wrong."""

from __future__ import annotations

import json
from typing import Any, TypeVar

from pydantic import ValidationError

from drypoint.recipe.base import Section

S = TypeVar("S", bound=Section)
Document = dict[str, Any]


def valid(model: type[S], table: Any) -> S | None:
    """A section from its table, or ``None`` where the schema refuses it."""
    try:
        return model.model_validate_json(json.dumps(table))
    except ValidationError:
        return None


def without_faults(model: type[S], table: Any) -> S | None:
    """A section from those of its keys that are right, or ``None`` where a needed one is wrong."""
    try:
        return model.model_validate_json(json.dumps(table))
    except ValidationError as error:
        wrong = {e["loc"][0] for e in error.errors() if e["loc"]}
    if not isinstance(table, dict) or not wrong:
        return None
    return valid(model, {k: v for k, v in table.items() if k not in wrong})


def tables(document: Document, key: str) -> Document:
    """The tables by name under a key; none where the key holds something else."""
    value = document.get(key)
    return value if isinstance(value, dict) else {}


def table_list(document: Document, key: str) -> list[Document]:
    """The list of tables under a key; an entry that is no table is empty."""
    value = document.get(key)
    return [v if isinstance(v, dict) else {} for v in value] if isinstance(value, list) else []

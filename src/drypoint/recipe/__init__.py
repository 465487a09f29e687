"""The study file (schema, versions, checks) and the decisions beside it.

``load_study`` reads a study, ``Study`` hands its choices to the other rooms in SI,
``read_journal`` and ``append`` are the decisions file, ``effective`` is what holds after them.
"""

from drypoint.recipe.decisions import (
    Decision,
    Span,
    decisions_hash,
    parse_decision,
    touches,
)
from drypoint.recipe.effective import Effective, Exclusion, TestOverride, effective
from drypoint.recipe.hashing import canonical_hash
from drypoint.recipe.journal import (
    Conflict,
    Journal,
    append,
    append_all,
    read_decisions,
    read_journal,
)
from drypoint.recipe.load import load_study, read_study
from drypoint.recipe.problems import StudyError
from drypoint.recipe.schema import (
    VERSION,
    StudyFile,
    json_schema,
    schema_text,
    to_toml,
    write_schema,
)
from drypoint.recipe.starting import starting_recipe
from drypoint.recipe.study import Study
from drypoint.recipe.toml_text import dumps
from drypoint.recipe.undo import redo, turns, undo

__all__ = [
    "VERSION",
    "Conflict",
    "Decision",
    "Effective",
    "Exclusion",
    "Journal",
    "Span",
    "Study",
    "StudyError",
    "StudyFile",
    "TestOverride",
    "append",
    "append_all",
    "canonical_hash",
    "decisions_hash",
    "dumps",
    "effective",
    "json_schema",
    "load_study",
    "parse_decision",
    "read_decisions",
    "read_journal",
    "read_study",
    "redo",
    "schema_text",
    "starting_recipe",
    "to_toml",
    "touches",
    "turns",
    "undo",
    "write_schema",
]

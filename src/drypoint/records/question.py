"""What a file leaves open: asked by ``inspect``, an error where nobody can be asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from drypoint.errors import AmbiguityError, RecordError, Where


@dataclass(frozen=True)
class Question:
    """Something to settle before a file can be read.

    Parameters
    ----------
    what : str
        What is open, or what contradicts itself, as a sentence.
    choices : tuple of str
        Recipe lines, each of which would settle it; empty where something must be put right.
    toml : str
        What to do, with the line to add to the recipe.
    key : str
        Recipe key.
    ambiguous : bool
        False where the file and the recipe contradict each other, or a column is missing.
    column : int, optional
        Number of a column that holds words where the question is about its numbers.
    """

    what: str
    choices: tuple[str, ...]
    toml: str
    key: str = ""
    ambiguous: bool = True
    column: int | None = None

    def error(self, file: str, line: int | None = None) -> RecordError:
        """The same as an error."""
        return error_of((self,), file, line)


def error_of(questions: Sequence[Question], file: str, line: int | None = None) -> RecordError:
    """All open questions of a file as one error."""
    kind = AmbiguityError if all(q.ambiguous for q in questions) else RecordError
    key = questions[0].key if len(questions) == 1 else ""
    return kind(
        " ".join(q.what for q in questions),
        where=Where(file, line=line, key=key or None),
        remedy=" ".join(dict.fromkeys(q.toml for q in questions)),
    )

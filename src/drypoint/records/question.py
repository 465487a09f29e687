"""What a file leaves open: asked by ``inspect``, an error where nobody can be asked."""

from __future__ import annotations

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
    """

    what: str
    choices: tuple[str, ...]
    toml: str
    key: str = ""
    ambiguous: bool = True

    def error(self, file: str, line: int | None = None) -> RecordError:
        """The same as an error."""
        kind = AmbiguityError if self.ambiguous else RecordError
        return kind(self.what, where=Where(file, line=line, key=self.key or None), remedy=self.toml)

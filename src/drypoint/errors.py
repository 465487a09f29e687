"""One family of exceptions: what is wrong, where, and what to do about it.

Nothing in Drypoint raises a bare exception on bad input. Every message has three parts, so that
the command line, the report and the workbench can show the same words.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Where:
    """The place of a fault. Parts that are not known stay ``None``.

    ``line`` and ``column`` count from 1, as editors do.
    """

    file: str | None = None
    line: int | None = None
    column: int | None = None
    key: str | None = None
    test: str | None = None

    def __str__(self) -> str:
        parts = []
        if self.file is not None:
            place = self.file
            if self.line is not None:
                place += f", line {self.line}"
            if self.column is not None:
                place += f", column {self.column}"
            parts.append(place)
        if self.key is not None:
            parts.append(f"key {self.key}")
        if self.test is not None:
            parts.append(f"test {self.test}")
        return "; ".join(parts)


class DrypointError(Exception):
    """Base of every error that Drypoint raises on purpose.

    Parameters
    ----------
    what : str
        What is wrong, as a sentence.
    where : Where, optional
        File, line, column, recipe key or test.
    remedy : str
        What the user can do.
    """

    def __init__(self, what: str, *, where: Where | None = None, remedy: str = "") -> None:
        self.what = what
        self.where = where or Where()
        self.remedy = remedy
        super().__init__(str(self))

    def __str__(self) -> str:
        place = str(self.where)
        text = f"{place}: {self.what}" if place else self.what
        return f"{text} {self.remedy}".strip()

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.what, self.where, self.remedy))


def _rebuild(kind: type[DrypointError], what: str, where: Where, remedy: str) -> DrypointError:
    return kind(what, where=where, remedy=remedy)


class PathError(DrypointError):
    """A path leads out of the folder that it must stay in, or is not one of a regular file."""


class UnitError(DrypointError):
    """A unit is unknown, or of the wrong dimension."""


class RecordError(DrypointError):
    """A raw file or one test in it cannot be used. The record is set aside, the batch goes on."""


class NoResultError(RecordError):
    """No test of a study gave a result. ``problems`` holds every fault: where, what is wrong, and
    what to do."""

    def __init__(
        self,
        what: str,
        *,
        where: Where | None = None,
        remedy: str = "",
        problems: tuple[tuple[Where, str, str], ...] = (),
    ) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.problems = problems

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.what, self.where, self.remedy), vars(self))


class AmbiguityError(RecordError):
    """A column (or unit, or decimal mark) could be two things; the user must say which."""


class RecipeError(DrypointError):
    """A study file is wrong; raised before any computing starts."""


class DecisionError(DrypointError):
    """An entry in the decisions file is wrong."""


class TipError(DrypointError):
    """A tip or frame is impossible, or is used outside what it is known for."""


class ContactError(DrypointError):
    """A contact problem is impossible: a layer, a profile or a contact radius that cannot be."""


class ReductionError(DrypointError):
    """A test cannot be reduced to properties."""


class UncertaintyError(DrypointError):
    """An uncertainty is impossible (negative, not positive semi-definite) or cannot be found."""


class StoreError(DrypointError):
    """Results cannot be written or read back."""


class LedgerError(DrypointError):
    """The ledger cannot be reached, is damaged, or an entry in it would be wrong."""


class SignerError(DrypointError):
    """A person's name or signing key cannot be used."""


class ReportError(DrypointError):
    """A report cannot be made."""


class StressError(DrypointError):
    """A stack, tip or test cannot be computed, or the computation stopped where it must not."""

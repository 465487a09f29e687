"""What all entries have in common: names, links, whole texts, and plain words for what is wrong."""

from __future__ import annotations

import hashlib
import tomllib
from typing import Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator
from pydantic_core import ErrorDetails

from drypoint.errors import LedgerError, Where
from drypoint.ledger.fields import Hex, Name, Text
from drypoint.parsing import toml_document

#: A link: what it leads to (``tip``, ``frame``, ``block``, ``calibration``, ``recipe``,
#: ``results``, ``signed``, ``entry``), and its name, hash or number.
Link = tuple[str, str]


class Part(BaseModel):
    """A group of values in an entry."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Body(Part):
    """What an entry says. ``kind`` and ``form`` (version of the kind) are stored with it.

    Kinds with ``named`` give a name to a thing: it stands for one thing for ever.
    """

    kind: ClassVar[str] = ""
    form: ClassVar[int] = 1
    named: ClassVar[bool] = False

    @model_validator(mode="wrap")
    @classmethod
    def _in_plain_words(cls, data: Any, handler: Any) -> Self:
        try:
            body: Self = handler(data)
        except ValidationError as error:
            raise _plain(cls, error.errors()[0]) from None
        try:
            body.fit()
        except ValueError as error:
            raise _refusal(cls, str(error)) from None
        return body

    def fit(self) -> None:
        """``ValueError`` where values do not go together."""

    @classmethod
    def title(cls) -> str:
        """The kind in words."""
        return "health reading" if cls.kind == "health" else cls.kind

    @property
    def label(self) -> str:
        """The name under which the entry is found."""
        raise NotImplementedError

    @property
    def links(self) -> tuple[Link, ...]:
        """What the entry is about, for finding it."""
        return ()

    @property
    def needs(self) -> tuple[Link, ...]:
        """Which of the links must already be in the ledger."""
        return ()


def links_to(**names: str | None) -> tuple[Link, ...]:
    """Links by role; those that are ``None`` are left out."""
    return tuple((role, name) for role, name in names.items() if name is not None)


class Named(Body):
    """A thing with a name."""

    named: ClassVar[bool] = True
    name: Name

    @property
    def label(self) -> str:
        """Its name."""
        return self.name

    @property
    def links(self) -> tuple[Link, ...]:
        """The thing itself."""
        return ((self.kind, self.name),)


class WithText(Body):
    """An entry that keeps a whole TOML text; ``sha256`` is found where it is not given."""

    text: Text
    sha256: Hex

    @model_validator(mode="before")
    @classmethod
    def _hash(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "sha256" in data:
            return data
        text = data.get("text", cls.model_fields["text"].default)
        if not isinstance(text, str):
            return data
        return {**data, "sha256": hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()}

    def fit(self) -> None:
        """``ValueError`` where values do not go together."""
        if hashlib.sha256(self.text.encode("utf-8")).hexdigest() != self.sha256:
            raise ValueError("the text does not have this SHA-256; allowed: that of the text")
        try:
            toml_document(self.text)
        except tomllib.TOMLDecodeError as error:
            raise ValueError(f"the text is no TOML ({error}); allowed: TOML") from error


def in_order(first: str | None, last: str | None) -> None:
    """``ValueError`` where a date lies before the one that it should follow."""
    if first is not None and last is not None and last[:10] < first[:10]:
        raise ValueError(f"{last} lies before {first}; allowed: dates in order")


def _plain(cls: type[Body], error: ErrorDetails) -> LedgerError:
    key = ".".join(str(part) for part in error["loc"]) or None
    if error["type"] == "value_error":
        return _refusal(cls, str(error.get("ctx", {}).get("error", "")), key)
    if error["type"] == "missing":
        return _refusal(cls, "the key is missing", key)
    if error["type"] == "extra_forbidden":
        return _refusal(cls, "there is no such key; allowed: " + ", ".join(cls.model_fields), key)
    given = repr(str(error["input"])[:60])
    return _refusal(cls, f"{given} is given: {error['msg'][0].lower()}{error['msg'][1:]}", key)


def _refusal(cls: type[Body], text: str, key: str | None = None) -> LedgerError:
    what, _, allowed = text.partition("; allowed: ")
    return LedgerError(
        f"A {cls.title()} cannot be entered: {what}.",
        where=Where(key=key),
        remedy=f"Allowed: {allowed}." if allowed else "",
    )

"""Which keys of a section are needed, allowed or exclusive, depending on its other keys.

A section declares such rules once, in ``Section.key_rules``. The validator applies them
(:mod:`drypoint.recipe.ruling`), the reference page and the JSON Schema print them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from drypoint.recipe.base import Section
from drypoint.recipe.locate import Path
from drypoint.recipe.problems import Problem, show
from drypoint.recipe.toml_text import value_text

_EMPTY: tuple[Any, ...] = (None, (), {}, "")


@dataclass(frozen=True)
class Given:
    """A section as a rule sees it.

    ``section`` has its defaults filled in, ``path`` says where it stands, ``parents`` are the
    sections around it (the innermost last), ``document`` is the whole file as plain tables, and
    ``faulty`` names keys that are written but refused by the schema, of which nothing is known.
    """

    section: Section
    path: Path = ()
    parents: tuple[Section, ...] = ()
    document: Mapping[str, Any] = field(default_factory=dict)
    faulty: frozenset[str] = frozenset()

    def value(self, key: str) -> Any:
        """Value of a key, default included; ``"area.kind"`` looks into a table."""
        here: Any = self.section
        for part in key.split("."):
            here = getattr(here, part, None)
        return here

    def has(self, key: str) -> bool:
        """Whether a key is written, and not empty."""
        return key in self.section.model_fields_set and self.value(key) not in _EMPTY

    def acts(self, key: str) -> bool:
        """Whether a key is written with another value than its default."""
        info = type(self.section).model_fields[key]
        default = info.get_default(call_default_factory=True, validated_data={})
        return self.has(key) and bool(self.value(key) != default)


class Condition(Protocol):
    """When a rule applies: a test, its words for the reference, and the keys that it looks at."""

    @property
    def words(self) -> str:
        """For the reference, as the end of “where …”."""

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the section that the test looks at."""

    def holds(self, given: Given) -> bool:
        """Whether it is so."""


@dataclass(frozen=True)
class Is:
    """A key has one of some values."""

    key: str
    values: tuple[Any, ...]

    @property
    def words(self) -> str:
        """For the reference."""
        shown = [f"`{value_text(v)}`" for v in self.values]
        return f"`{self.key}` is " + (" or ".join(shown) if len(shown) < 3 else _listed(shown))

    @property
    def keys(self) -> tuple[str, ...]:
        """The key it looks at."""
        return (self.key,)

    def holds(self, given: Given) -> bool:
        """Whether it is so."""
        return given.value(self.key) in self.values


@dataclass(frozen=True)
class Has:
    """A key is given (``yes``), or left out."""

    key: str
    yes: bool = True

    @property
    def words(self) -> str:
        """For the reference."""
        return f"`{self.key}` is {'given' if self.yes else 'omitted'}"

    @property
    def keys(self) -> tuple[str, ...]:
        """The key it looks at."""
        return (self.key,)

    def holds(self, given: Given) -> bool:
        """Whether it is so."""
        return given.has(self.key) == self.yes


@dataclass(frozen=True)
class EitherOf:
    """One of several conditions holds."""

    conditions: tuple[Condition, ...]

    @property
    def words(self) -> str:
        """For the reference."""
        return ", or ".join(c.words for c in self.conditions)

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys they look at."""
        return tuple(k for c in self.conditions for k in c.keys)

    def holds(self, given: Given) -> bool:
        """Whether one holds."""
        return any(c.holds(given) for c in self.conditions)


@dataclass(frozen=True)
class Where:
    """A condition on more than the section itself: a function, and what it means in words."""

    words: str
    test: Callable[[Given], bool]
    keys: tuple[str, ...] = ()

    def holds(self, given: Given) -> bool:
        """Whether it is so."""
        return self.test(given)


Text = str | Callable[[Given], str]


class Rule(Protocol):
    """One rule of a section."""

    def faults(self, given: Given) -> list[Problem]:
        """What breaks the rule."""

    def words(self, key: str) -> str:
        """What the reference says of a key; empty where the rule is not about it."""


@dataclass(frozen=True)
class Needed:
    """Keys that must be given under a condition."""

    keys: tuple[str, ...]
    when: Condition
    remedy: Text
    what: Text = "the key is missing."

    def faults(self, given: Given) -> list[Problem]:
        """One fault for each key that is missing."""
        missing = [k for k in self.keys if not given.has(k) and k not in given.faulty]
        if not missing or given.faulty.intersection(_tops(self.when.keys)):
            return []
        if not self.when.holds(given):
            return []
        what, remedy = (_text(t, given, self.when) for t in (self.what, self.remedy))
        return [Problem((*given.path, k), what, remedy) for k in missing]

    def words(self, key: str) -> str:
        """For the reference, with the default of the key."""
        return f"**needed** where {self.when.words}" if key in self.keys else ""


@dataclass(frozen=True)
class Only:
    """Keys that mean something under a condition only. A key at its default is tolerated."""

    keys: tuple[str, ...]
    when: Condition
    remedy: Text
    what: Text = "it means nothing here."

    def faults(self, given: Given) -> list[Problem]:
        """One fault for each key that does nothing."""
        written = [k for k in self.keys if given.acts(k)]
        if not written or given.faulty.intersection(_tops(self.when.keys)):
            return []
        if self.when.holds(given):
            return []
        what, remedy = (_text(t, given, self.when) for t in (self.what, self.remedy))
        return [Problem((*given.path, k), what, remedy) for k in written]

    def words(self, key: str) -> str:
        """For the reference, with the meaning of the key."""
        return f"Only where {self.when.words}." if key in self.keys else ""


@dataclass(frozen=True)
class OneOf:
    """At most one of some keys, or exactly one where ``needed``."""

    keys: tuple[str, ...]
    remedy: str
    needed: bool = False
    #: Words for the section as a whole, instead of for one key: none given, several given.
    whole: tuple[str, str] | None = None

    def faults(self, given: Given) -> list[Problem]:
        """At most one fault."""
        if given.faulty.intersection(self.keys):
            return []
        found = [k for k in self.keys if (given.has(k) if self.needed else given.acts(k))]
        if len(found) == 1 or (not found and not self.needed):
            return []
        path, what = (*given.path, self.keys[0]), "the key is missing."
        if found:
            path, what = (*given.path, found[1]), f"{found[0]} is given too."
        if self.whole is not None:
            path, what = given.path, self.whole[1 if found else 0]
        return [Problem(path, what, self.remedy)]

    def words(self, key: str) -> str:
        """For the reference: with the default where one is needed, else with the meaning."""
        if key not in self.keys:
            return ""
        shown = _listed([f"`{k}`" for k in self.keys])
        return f"**one needed** of {shown}" if self.needed else f"At most one of {shown}."


@dataclass(frozen=True)
class Alone:
    """A key beside which no other may stand."""

    key: str
    remedy: str

    def faults(self, given: Given) -> list[Problem]:
        """One fault for each key beside it."""
        if not given.has(self.key):
            return []
        beside = sorted(k for k in given.section.model_fields_set - {self.key} if given.has(k))
        return [
            Problem((*given.path, k), f"the key stands beside {self.key}.", self.remedy)
            for k in beside
        ]

    def words(self, key: str) -> str:
        """For the reference, with the meaning of the key."""
        return "No other key of this table beside it." if key == self.key else ""


def _tops(keys: tuple[str, ...]) -> set[str]:
    return {k.partition(".")[0] for k in keys}


def _listed(shown: list[str]) -> str:
    return f"{', '.join(shown[:-1])} or {shown[-1]}"


def _text(text: Text, given: Given, when: Condition) -> str:
    """Words of a fault; ``{value}`` is that of the first key which the condition looks at."""
    if not isinstance(text, str):
        return text(given)
    if "{value}" not in text:
        return text
    value = given.value(when.keys[0])
    return text.replace("“{value}”", show(value)).replace("{value}", str(value))

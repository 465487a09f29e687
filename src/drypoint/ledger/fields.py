"""Kinds of value that stand in an entry. Values are never bent into a type."""

from __future__ import annotations

import re
import unicodedata
from datetime import UTC, date, datetime, timedelta
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, Strict

_HEX = re.compile(r"[0-9a-f]{64}")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_TIME = "%Y-%m-%dT%H:%M:%SZ"


def _text(text: str) -> str:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise ValueError("it has characters that no file can hold; allowed: any text") from error
    if "\0" in text:
        raise ValueError("it has a character NUL; allowed: any text without it")
    return text


def _words(text: str) -> str:
    if not text.strip():
        raise ValueError("it is empty; allowed: any text")
    return text


def _name(text: str) -> str:
    text = unicodedata.normalize("NFC", text)
    if text != text.strip() or not text.isprintable():
        raise ValueError(
            f"“{text!r}” is given; allowed: a name without blanks at its ends, tabs or line breaks"
        )
    return text


def _hex(text: str) -> str:
    if not _HEX.fullmatch(text):
        raise ValueError("it is no SHA-256; allowed: 64 characters of 0-9 and a-f")
    return text


def _written(value: Any) -> Any:
    """A date or a time with a zone, as text."""
    if isinstance(value, datetime):
        if value.utcoffset() is None:
            raise ValueError("the time has no zone; allowed: a date, or a time in UTC")
        return value.astimezone(UTC).strftime(_TIME)
    return value.isoformat() if isinstance(value, date) else value


def _day(text: str) -> str:
    try:
        right = _DAY.fullmatch(text) is not None and bool(date.fromisoformat(text))
    except ValueError:
        right = False
    if not right:
        raise ValueError(f"“{text}” is given; allowed: a date such as 2026-01-31")
    return text


def _moment(text: str) -> str:
    try:
        right = datetime.strptime(text, _TIME).strftime(_TIME) == text
    except ValueError:
        right = False
    if right:
        return text
    try:
        return _day(text)
    except ValueError:
        raise ValueError(
            f"“{text}” is given; allowed: a date such as 2026-01-31, or a time in UTC such as "
            "2026-01-31T12:00:00Z"
        ) from None


Text = Annotated[str, Strict(), AfterValidator(_text)]
Words = Annotated[Text, AfterValidator(_words)]
Name = Annotated[Words, AfterValidator(_name)]
Hex = Annotated[str, Strict(), AfterValidator(_hex)]
Day = Annotated[str, BeforeValidator(_written), Strict(), AfterValidator(_day)]
Moment = Annotated[str, BeforeValidator(_written), Strict(), AfterValidator(_moment)]
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Positive = Annotated[Number, Field(gt=0)]
NotNegative = Annotated[Number, Field(ge=0)]
Count = Annotated[int, Strict(), Field(ge=1)]


def words_of(text: str) -> str:
    """A text that says something; ``ValueError`` where it does not."""
    return _words(_text(text))


def name_of(text: str) -> str:
    """A name; ``ValueError`` where it is none."""
    return _name(words_of(text))


def moment_of(value: str | date | datetime) -> str:
    """A date, or a time with a zone, as entries write it.

    Raises
    ------
    ValueError
        When it is neither.
    """
    return _moment(_written(value))


def time_text(time: datetime) -> str:
    """A time as entries write it, in UTC to the second."""
    return time.astimezone(UTC).strftime(_TIME)


def day_of(moment: str) -> date:
    """The day of a moment (of a time: in UTC)."""
    return date.fromisoformat(moment[:10])


def instant(moment: str) -> datetime:
    """A moment as a time; a date counts from midnight UTC."""
    if _DAY.fullmatch(moment):
        return datetime.combine(date.fromisoformat(moment), datetime.min.time(), UTC)
    return datetime.strptime(moment, _TIME).replace(tzinfo=UTC)


def may_follow(later: str, earlier: str) -> bool:
    """Whether ``later`` may lie at or behind ``earlier``.

    Two dates are compared as dates and two times as times. Where one is a date, it stands for that
    day anywhere on Earth: nothing says in which zone it was written.
    """
    if (len(later) == 10) == (len(earlier) == 10):
        return later >= earlier
    if len(later) == 10:
        return instant(later) + timedelta(hours=36) > instant(earlier)
    return instant(later) >= instant(earlier) - timedelta(hours=14)

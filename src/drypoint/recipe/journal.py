"""The decisions file on disk: read line by line, and only ever made longer.

A write that was cut off (power, a killed program) leaves a last line without its end. It is set
aside with a note; the next entry marks it as torn and starts on a line of its own.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from drypoint import paths
from drypoint.errors import DecisionError, Where
from drypoint.locking import locked
from drypoint.parsing import json_value
from drypoint.recipe.decisions import (
    Decision,
    decision_line,
    decisions_hash,
    now,
    parse_decision,
)
from drypoint.recipe.effective import Effective, after

#: Stands at the end of a line whose writing was cut off. No JSON object ends like this.
TORN = b" #torn"


@dataclass(frozen=True)
class Journal:
    """A decisions file as read: its entries in order, and notes on lines that were set aside."""

    decisions: tuple[Decision, ...] = ()
    notes: tuple[str, ...] = ()
    effective: Effective = field(default_factory=Effective)

    @property
    def sha256(self) -> str:
        """Hash over all entries; empty where there are none."""
        return decisions_hash(self.decisions)


def read_journal(path: Path | str) -> Journal:
    """Read a decisions file. One that does not exist holds no decisions.

    Raises
    ------
    DecisionError
        At the first line that is wrong, with its number.
    """
    path = Path(path)
    _check_place(path)
    try:
        fd = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
    except FileNotFoundError:
        return Journal()
    except OSError as error:
        raise _no_access(path, error) from error
    try:
        with locked(fd, shared=True):
            data = _all(fd)
    except TimeoutError as error:
        raise _busy(path) from error
    finally:
        os.close(fd)
    return _parsed(data, path)[0]


def read_decisions(path: Path | str) -> tuple[Decision, ...]:
    """The decisions of a file, in order (:func:`read_journal` has the notes too)."""
    return read_journal(path).decisions


class Conflict(DecisionError):  # noqa: N818
    """The decisions file has grown since it was looked at; nothing was written."""


def append(path: Path | str, decision: Decision) -> Decision:
    """Add a decision, and return it with its number and time.

    The entry is on the disk when this returns. Several programs may append at the same time.

    Raises
    ------
    DecisionError
        When the decision, or the file as it stands, is wrong; nothing is written then.
    """
    return append_all(path, [decision])[0]


#: Reasons that say no more than that a value is not liked.
_BARE = re.compile(
    r"(it is |is |was |value |values |much |far |a |an )*"
    r"(too (low|high|small|large|big)|low|high|outlier|outlying|bad|wrong|odd|strange|ugly|"
    r"does not fit|doesn't fit|\W*|none|no reason)( value| test| result| curve)?[\W]*",
    re.IGNORECASE,
)


def _reasoned(entry: Decision) -> None:
    """Refuse to leave a test out because of what came out of it."""
    if entry.what == "exclude" and _BARE.fullmatch(entry.why.strip()):
        raise DecisionError(
            f"“{entry.why}” is no reason to leave a test out: it says what came out, not what went "
            "wrong.",
            remedy="Say what happened in the test, for example “dust under the tip” or “pop-in at "
            "contact”; values that merely differ stay in.",
        )


def append_all(
    path: Path | str, decisions: Sequence[Decision], *, seen: str | None = None
) -> tuple[Decision, ...]:
    """Add several decisions with one write; where one of them is wrong, none is written.

    With ``seen``, the hash of the journal that whoever decides has before him, nothing is written
    when others have added an entry since.

    Raises
    ------
    Conflict
        When the file is not the one that was seen.
    DecisionError
        When a decision, or the file as it stands, is wrong.
    """
    path = Path(path)
    _check_place(path)
    flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0)
    try:
        fd = os.open(path, flags, 0o644)
    except OSError as error:
        raise _no_access(path, error) from error
    try:
        with locked(fd):
            data = _all(fd)
            journal, torn = _parsed(data, path)
            if seen is not None and seen != journal.sha256:
                raise _overtaken(path, journal)
            entries, state = [], journal.effective
            for n, decision in enumerate(decisions, start=len(journal.decisions) + 1):
                numbered = decision.model_copy(update={"id": n, "when": decision.when or now()})
                entry = parse_decision(decision_line(numbered))
                _reasoned(entry)
                state = after(state, entry)
                entries.append(entry)
            text = "".join(decision_line(e) + "\n" for e in entries).encode("utf-8")
            if data and not data.endswith(b"\n"):
                text = (TORN if torn else b"") + b"\n" + text
            _write(fd, text, len(data), path)
    except TimeoutError as error:
        raise _busy(path) from error
    finally:
        os.close(fd)
    if not data:
        _sync_name(path)
    return tuple(entries)


def _parsed(data: bytes, path: Path) -> tuple[Journal, bool]:
    """The journal of a file's bytes, and whether its last line is torn."""
    lines = data.split(b"\n")
    ended = lines[-1] == b""
    journal, torn = Journal(), False
    for n, line in enumerate(lines[:-1] if ended else lines, start=1):
        if line.rstrip(b"\r").endswith(TORN):
            journal = _noted(journal, n, line)
            continue
        if not line.strip():
            continue
        try:
            decision = parse_decision(line.decode("utf-8-sig").rstrip("\r"))
        except (DecisionError, UnicodeDecodeError) as error:
            if n == len(lines) and not ended and not _is_json(line):
                journal, torn = _noted(journal, n, line), True
                continue
            raise _at(path, n, error) from error
        try:
            journal = _with(journal, decision)
        except DecisionError as error:
            raise _at(path, n, error) from error
    return journal, torn


def _is_json(line: bytes) -> bool:
    """Whether a line is whole, whatever it says."""
    try:
        json_value(line)
    except ValueError:
        return False
    return True


def _with(journal: Journal, decision: Decision) -> Journal:
    due = len(journal.decisions) + 1
    if decision.id != due:
        raise DecisionError(
            f"The entry has number {decision.id}; number {due} is due.",
            where=Where(key="id"),
            remedy="Entries are only ever added. Put back a line that was removed, or number "
            "lines anew that were put together from two files.",
        )
    if not decision.when:
        raise DecisionError("The key is missing.", where=Where(key="when"))
    state = after(journal.effective, decision)
    return replace(journal, decisions=(*journal.decisions, decision), effective=state)


def _noted(journal: Journal, n: int, line: bytes) -> Journal:
    start = line.removesuffix(TORN).decode("utf-8", errors="replace")[:60]
    note = (
        f"Line {n} of the decisions file is incomplete, because its writing was cut off; it is "
        f"set aside: {start}"
    )
    return replace(journal, notes=(*journal.notes, note))


def _at(path: Path, n: int, error: DecisionError | UnicodeDecodeError) -> DecisionError:
    if isinstance(error, UnicodeDecodeError):
        return DecisionError(
            "The text is not UTF-8.",
            where=Where(str(path), line=n),
            remedy="Put the file back from its archive.",
        )
    where = replace(error.where, file=str(path), line=n)
    return DecisionError(error.what, where=where, remedy=error.remedy)


def _all(fd: int) -> bytes:
    os.lseek(fd, 0, os.SEEK_SET)
    parts = []
    while part := os.read(fd, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def _write(fd: int, text: bytes, size: int, path: Path) -> None:
    """One write at the end and to the disk; a write that fails half-way is undone."""
    try:
        if os.write(fd, text) != len(text):
            raise OSError("the disk is full")
        os.fsync(fd)
    except OSError as error:
        os.ftruncate(fd, size)
        raise _no_access(path, error) from error


def _sync_name(path: Path) -> None:
    """Bring the name of a new file to the disk (neither needed nor possible on Windows)."""
    if os.name == "posix":
        fd = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)


def _check_place(path: Path) -> None:
    """The decisions are a regular file in the folder of the study; a pipe would be waited for."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        mode = stat.S_IFREG  # not there, which opening it will tell
    if stat.S_ISREG(mode) and paths.is_inside(path, path.parent):
        return
    what = (
        "leads out of the folder of the study"
        if stat.S_ISREG(mode)
        else f"is {paths.kind_words(mode)}"
    )
    raise DecisionError(
        f"The decisions file {what}; it was not opened.",
        where=Where(str(path)),
        remedy="Put a regular file in its place, or remove it.",
    )


def _no_access(path: Path, error: OSError) -> DecisionError:
    return DecisionError(
        f"The decisions file cannot be read or written: {error.strerror or error}.",
        where=Where(str(path)),
        remedy="Check the path, your rights and the room on the disk.",
    )


def _overtaken(path: Path, journal: Journal) -> Conflict:
    last = journal.decisions[-1] if journal.decisions else None
    newest = f" The newest entry: {last.who}, {last.when}, {last.what}." if last else ""
    return Conflict(
        "Others have changed the decisions since you looked; nothing of yours was written."
        + newest,
        where=Where(str(path)),
        remedy="Look at what is new, then decide again.",
    )


def _busy(path: Path) -> DecisionError:
    return DecisionError(
        "Another program holds the decisions file.",
        where=Where(str(path)),
        remedy="Close it, or wait and try again.",
    )

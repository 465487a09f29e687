"""A file that is only ever made longer: a line of JSON each, tied to the one before by its hash.

A line holds ``previous`` (the hash of the line before) and ``hash`` (SHA-256 over all else in it).
A change, a removal or a new order of lines breaks the chain. Whoever writes the whole file anew
can hide a change; a hash that is kept elsewhere (on paper, in the ledger) shows that too.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.errors import PathError, StoreError, Where
from drypoint.locking import lock_file
from drypoint.parsing import json_value
from drypoint.store.atomic import atomic_write, cannot_write

#: Stands as ``previous`` in the first line.
BEGINNING = ""


def hash_of(values: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical JSON of a line without its own ``hash``."""
    rest = {k: v for k, v in values.items() if k != "hash"}
    text = json.dumps(
        rest, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    )
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def read_chain(path: Path) -> tuple[dict[str, Any], ...]:
    """The lines of a chain, in order; none where there is no file.

    Raises
    ------
    StoreError
        At the first line that is not as it was written.
    """
    try:
        text = paths.read_bytes(path).decode("utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError, PathError) as error:
        raise StoreError(
            "The file cannot be read.", where=Where(str(path)), remedy="Put it back from a copy."
        ) from error
    out: list[dict[str, Any]] = []
    before = BEGINNING
    for n, line in enumerate(text.splitlines(), start=1):
        try:
            values = json_value(line)
            right = values["hash"] == hash_of(values)
            follows = values["previous"] == before
        except (ValueError, KeyError, TypeError):
            right = follows = False
            values = {}
        if not right:
            raise _broken(path, n, "The line was changed after it was written.")
        if not follows:
            raise _broken(path, n, "The line does not follow from the one before: lines were "
                          "removed, or put in another order.")  # fmt: skip
        out.append(values)
        before = values["hash"]
    return tuple(out)


def append_link(path: Path, values: Mapping[str, Any], *, after: str) -> dict[str, Any]:
    """Add a line, and return it with ``previous`` and ``hash``; it is on the disk by then.

    Parameters
    ----------
    path : Path
    values : mapping
        What the line says, as plain values.
    after : str
        Hash of the last line as whoever writes has seen it (``BEGINNING`` where there is none).

    Raises
    ------
    StoreError
        When the file is broken, cannot be written, or has grown since; nothing is written then.
    """
    try:
        with lock_file(path.with_name(f".{path.name}.lock")):
            lines = read_chain(path)
            last = lines[-1]["hash"] if lines else BEGINNING
            if last != after:
                raise StoreError(
                    "Another line was added meanwhile; nothing of yours was written.",
                    where=Where(str(path)),
                    remedy="Look at what is new, and try again.",
                )
            made = {**values, "previous": last}
            made["hash"] = hash_of(made)
            text = "".join(json.dumps(v, ensure_ascii=False) + "\n" for v in (*lines, made))
            atomic_write(path, text.encode("utf-8"))
            return made
    except TimeoutError as error:
        raise StoreError(
            "Another program holds the file.",
            where=Where(str(path)),
            remedy="Close it, or wait and try again.",
        ) from error
    except OSError as error:
        raise cannot_write(path, error) from error


def _broken(path: Path, n: int, what: str) -> StoreError:
    return StoreError(
        what,
        where=Where(str(path), line=n),
        remedy="Put the file back from a copy; lines are only ever added.",
    )

"""What a process that reads raw files for the pages does: say which file it opens, and answer.

It reads inside the served folder only, and may be ended at any moment.
"""

from __future__ import annotations

import importlib
import signal
import sys
import traceback
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.app.memory import limit
from drypoint.errors import DrypointError, PathError, Where

#: Name of a reading -> where its function is; what it gives is plain values.
READINGS = {
    "look": "drypoint.app.intake:look_values",
    "text": "drypoint.app.intake:records_text",
    "files": "drypoint.app.intake:file_values",
}
#: Address space that libraries reserve for their threads and never fill.
_RESERVED = 4_000_000_000
COMMAND_LINE = "On the command line “drypoint inspect” and “drypoint run” read it."


@dataclass(frozen=True)
class Bounds:
    """Most memory and largest file of a process that reads."""

    memory: int
    file_bytes: int


def serve_readings(pipe: Connection, root: Path, bounds: Bounds) -> None:
    """Loop of the process: readings in; files as they are opened, and outcomes, out."""
    for place in READINGS.values():
        importlib.import_module(place.partition(":")[0])
    paths.confine(root)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the workbench decides when to end
    limit(bounds.memory + _RESERVED)
    _send(pipe, ("ready", None))
    while True:
        try:
            message = pipe.recv()
        except (EOFError, OSError):
            return
        if message is None:
            return
        name, given, refused = message
        paths.before_opening(_Gate(pipe, bounds, refused))
        _send(pipe, _answer(name, given))


class _Gate:
    """Looks at each file before it is opened."""

    def __init__(self, pipe: Connection, bounds: Bounds, refused: dict[str, str]) -> None:
        self.pipe, self.bounds, self.refused = pipe, bounds, refused

    def __call__(self, path: Path, shown: str, size: int) -> None:
        if str(path) in self.refused:
            raise PathError(
                self.refused[str(path)], where=Where(shown or path.name), remedy=COMMAND_LINE
            )
        if size > self.bounds.file_bytes:
            raise PathError(
                f"The file has {size / 1e6:,.0f} MB; the pages read files of at most "
                f"{self.bounds.file_bytes / 1e6:,.0f} MB.",
                where=Where(shown or path.name),
                remedy=COMMAND_LINE,
            )
        _send(self.pipe, ("at", str(path)))


def _answer(name: str, given: tuple[Any, ...]) -> tuple[str, Any]:
    try:
        module, _, function = READINGS[name].partition(":")
        return "done", getattr(importlib.import_module(module), function)(*given)
    except DrypointError as error:
        return "failed", error
    except MemoryError:
        return "memory", None
    except BaseException as error:
        print("drypoint: a fault in a process of the workbench:", file=sys.stderr)
        traceback.print_exc()
        return "fault", type(error).__name__


def _send(pipe: Connection, message: tuple[str, Any]) -> None:
    try:
        pipe.send(message)
    except (BrokenPipeError, OSError):
        sys.exit(0)

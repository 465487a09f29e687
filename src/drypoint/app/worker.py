"""What a process for long work does: take a task, tell how far it is, hand back the outcome.

It works through the same functions as the command line, so that the numbers are the same. It ends
by itself when the workbench is gone.
"""

from __future__ import annotations

import importlib
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.errors import DrypointError
from drypoint.run.progress import Cancelled, Step, Watch

#: A task: study file, options, somebody who watches; what it gives is plain values for JSON.
Task = Callable[[Path, dict[str, Any], Watch], dict[str, Any]]
#: Kind of task -> where its function is. A view adds a line for work of its own.
KINDS: dict[str, str] = {
    "run": "drypoint.app.tasks:run",
    "report": "drypoint.app.tasks:report",
    "sign": "drypoint.app.tasks:sign",
    "stress": "drypoint.app.tasks:stress",
    "calibrate": "drypoint.app.tasks:calibrate",
    "accept": "drypoint.app.tasks:accept",
}
#: Steps are told at most this often.
_EVERY_S = 0.1


def work(pipe: Connection, root: Path | None = None) -> None:
    """Loop of a process: tasks in, steps and outcomes out. ``None`` ends it.

    Files are opened inside ``root`` only.
    """
    paths.confine(root)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the workbench decides when to end
    stop = threading.Event()
    tasks: list[Any] = []
    came = threading.Condition()

    def listen() -> None:
        while True:
            try:
                message = pipe.recv()
            except (EOFError, OSError):
                message = None
            if message == "stop":
                stop.set()
                continue
            # In the order in which they came: a new task begins without an earlier wish to stop.
            if message is None:
                stop.set()
            else:
                stop.clear()
            with came:
                tasks.append(message)
                came.notify()
            if message is None:
                return

    threading.Thread(target=listen, daemon=True).start()
    while True:
        with came:
            came.wait_for(lambda: bool(tasks))
            message = tasks.pop(0)
        if message is None:
            return
        kind, study, options = message
        _one(pipe, stop, kind, Path(study), options)


def _one(
    pipe: Connection, stop: threading.Event, kind: str, study: Path, options: dict[str, Any]
) -> None:
    last: tuple[float, str] = (0.0, "")

    def observe(step: Step) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last[0] < _EVERY_S and step.stage == last[1]:
            return
        last = now, step.stage
        _send(pipe, ("step", step.stage, step.done, step.total, step.words))

    try:
        module, _, name = KINDS[kind].partition(":")
        task: Task = getattr(importlib.import_module(module), name)
        outcome = task(study, options, Watch(observe, stop.is_set))
        _send(pipe, ("done", outcome))
    except Cancelled as error:
        _send(pipe, ("stopped", error))
    except DrypointError as error:
        _send(pipe, ("failed", error))
    except BaseException as error:
        print("drypoint: a fault in a process of the workbench:", file=sys.stderr)
        traceback.print_exc()
        words = f"The work ended with a fault of its own ({type(error).__name__})."
        remedy = "The terminal in which the workbench runs has the details."
        _send(pipe, ("failed", DrypointError(words, remedy=remedy)))


def _send(pipe: Connection, message: tuple[Any, ...]) -> None:
    try:
        pipe.send(message)
    except (BrokenPipeError, OSError):
        return

"""Runs the command again and again, each time in a process of its own, for tests of many calls.

Started once; forks for each line it reads, so that a command need not start an interpreter and
load the libraries. It computes nothing itself. A line is JSON: the words of the command, the
environment, and two files for what the command prints.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
import traceback
from typing import Any

from drypoint.cli import main as drypoint

#: Loaded when a command needs them.
LOADED = ("drypoint.run", "drypoint.report", "drypoint.cli.work", "drypoint.cli.signing")


def one(asked: dict[str, Any]) -> None:
    """The command, in the process that was made for it; does not come back."""
    code = 0
    try:
        ways = ((os.devnull, os.O_RDONLY), *((asked[k], os.O_WRONLY) for k in ("out", "err")))
        for number, (path, way) in enumerate(ways):
            os.dup2(os.open(path, way), number)
        os.environ.clear()
        os.environ.update(asked["environment"])
        sys.argv = ["drypoint", *asked["words"]]
        drypoint()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
    except BaseException:
        traceback.print_exc()
        code = 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def main() -> None:
    """Serve until the input ends; say the number of each process, and how it ended."""
    for name in LOADED:
        importlib.import_module(name)
    print("ready", flush=True)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            one(json.loads(line))
        print(child, flush=True)
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)


if __name__ == "__main__":
    main()

"""Runs a study again and again, each time in a process of its own, for the test that kills them.

Started once with the study's file; forks for each line it reads, so that a run need not start an
interpreter. A line is the name of the folder for the results.
"""

from __future__ import annotations

import os
import sys

from drypoint.run import run_study


def main() -> None:
    """Serve until the input ends; say the number of each process, and how it ended."""
    print("ready", flush=True)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            try:
                run_study(sys.argv[1], out=line.strip())
            except BaseException as error:
                print(error, file=sys.stderr, flush=True)
                os._exit(1)
            os._exit(0)
        print(child, flush=True)
        print(os.waitpid(child, 0)[1], flush=True)


if __name__ == "__main__":
    main()

"""The command line: arguments in, rooms called, words and exit codes out.

Exit codes: 0 done; 1 no result; 2 a mistake in what was given (recipe, decisions, arguments);
3 done, and some records were set aside (they are named); 130 stopped by the user.
"""

from __future__ import annotations

import sys

from drypoint.cli.app import app
from drypoint.cli.show import complain
from drypoint.errors import DrypointError


def main() -> None:
    """Entry of the command ``drypoint``."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show “µ” must not stop the work.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        app()
    except DrypointError as error:
        sys.exit(complain(error))
    except KeyboardInterrupt:
        print("Stopped; earlier results are unchanged.", file=sys.stderr)
        sys.exit(130)


__all__ = ["app", "main"]

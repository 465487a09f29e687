"""The command line: arguments in, rooms called, words and exit codes out.

Exit codes: 0 done; 1 no result; 2 a mistake in what was given (recipe, decisions, arguments);
3 done, and some records were set aside (they are named); 130 stopped by the user.
"""

from __future__ import annotations

import sys

from drypoint.cli.app import app
from drypoint.cli.show import complain
from drypoint.errors import DrypointError
from drypoint.visible import VisibleStream


def main() -> None:
    """Entry of the command ``drypoint``."""
    streams = sys.stdout, sys.stderr
    for stream in streams:
        # A terminal that cannot show “µ” must not stop the work.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    # Names from files must not reorder or erase what stands around them.
    sys.stdout, sys.stderr = (VisibleStream(s) for s in streams)
    try:
        app()
    except DrypointError as error:
        sys.exit(complain(error))
    except KeyboardInterrupt:
        print("Stopped; earlier results are unchanged.", file=sys.stderr)
        sys.exit(130)
    finally:
        sys.stdout, sys.stderr = streams


__all__ = ["app", "main"]

"""What the command ``serve`` does."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import typer

#: Holds the password where nobody can be asked.
PASSWORD = "DRYPOINT_PASSWORD"


def serve_command(
    what: Path,
    port: int | None,
    host: str,
    names: tuple[str, ...],
    browser: bool,
    proxies: tuple[str, ...] = (),
) -> None:
    """Run the workbench until it is stopped."""
    from drypoint.app.serve import serve

    password = os.environ.get(PASSWORD, "")
    if (host or proxies) and not password and sys.stdin.isatty():
        password = typer.prompt("Password for other machines", hide_input=True)
    serve(
        what, host=host, port=port, names=names, password=password, browser=browser,
        proxies=proxies,
    )  # fmt: skip

"""Run the workbench: a socket, a browser, and an orderly end."""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import webbrowser
from pathlib import Path

import uvicorn

from drypoint.app.create import create_app, missing_parts
from drypoint.app.places import key_of
from drypoint.app.settings import LOOPBACK, Password, Settings, kept_secret
from drypoint.errors import DrypointError, Where

PORT = 8017
_SHORTEST_PASSWORD = 10
_QUEUE = 128


def serve(
    what: Path,
    *,
    host: str = "",
    port: int | None = None,
    names: tuple[str, ...] = (),
    password: str = "",
    browser: bool = True,
) -> None:
    """Serve a study, or a folder of studies, until it is stopped.

    Parameters
    ----------
    what : Path
        A study file (its folder is served), or a folder.
    host : str
        Address to listen on; empty for this machine only.
    port : int, optional
        By default 8017, or a free one where that is taken.
    names : tuple of str
        Further names by which other machines reach this one.
    password : str
        Needed where ``host`` is given.
    browser : bool
        Whether to open the page in the browser.

    Raises
    ------
    DrypointError
        When there is nothing to serve, parts of the pages are missing, or the port is taken.
    """
    root, first = _root(what)
    fault = missing_parts()
    if fault is not None:
        raise fault
    listener = _listen(host or "127.0.0.1", port)
    used = listener.getsockname()[1]
    reached = (*LOOPBACK, *_names(host), *names) if host else LOOPBACK
    settings = Settings(
        root,
        key_of(root, first) if first is not None else "",
        port=used,
        names=tuple(dict.fromkeys(n.lower() for n in reached)),
        secret=kept_secret(),
        password=_password(host, password),
    )
    address = f"http://127.0.0.1:{used}"
    way_in = address + (f"/open?token={settings.token}" if not host else "/login")
    server: uvicorn.Server | None = None

    def closing() -> bool:
        return server is not None and server.should_exit

    config = uvicorn.Config(
        create_app(settings, closing),
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=3,
    )
    server = uvicorn.Server(config)
    print(f"Studies in {root}")
    print(f"The workbench: {way_in}")
    if host:
        others = [n for n in settings.names if n not in LOOPBACK]
        print("From other machines: " + ", ".join(f"http://{n}:{used}/login" for n in others))
        print("The connection is not encrypted; use it in a network that you trust.")
    print("Stop it with Ctrl-C.", flush=True)
    if browser:
        threading.Timer(0.4, _browse, args=(way_in,)).start()
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listener])
    print("The workbench has ended. All decisions are in the files.")


def _root(what: Path) -> tuple[Path, Path | None]:
    path = what.resolve()
    if path.is_dir():
        return path, None
    if path.is_file() and path.suffix == ".toml":
        return path.parent, path
    raise DrypointError(
        "There is no such study file or folder.",
        where=Where(str(what)),
        remedy="Name a study file (.toml), or a folder of studies.",
    )


def _listen(host: str, port: int | None) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for candidate in (PORT, 0) if port is None else (port,):
        listener = socket.socket(family, socket.SOCK_STREAM)
        if sys.platform != "win32":
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, candidate))
            # From now on who comes too early waits in the queue instead of being refused.
            listener.listen(_QUEUE)
            return listener
        except OSError as error:
            listener.close()
            reason = error.strerror or str(error)
    raise DrypointError(
        f"The workbench cannot listen at {host}, port {port}: {reason}.",
        remedy="Give another --port, or an address of this machine as --host.",
    )


def _names(host: str) -> tuple[str, ...]:
    own = (f"[{host}]" if ":" in host else host,)
    if host not in ("0.0.0.0", "::"):
        return own
    name = socket.gethostname()
    found = {name, socket.getfqdn()}
    with contextlib.suppress(OSError):
        found |= {str(i[4][0]) for i in socket.getaddrinfo(name, None, socket.AF_INET)}
    return tuple(sorted(found))


def _password(host: str, password: str) -> Password | None:
    if not host:
        return None
    if len(password) < _SHORTEST_PASSWORD:
        raise DrypointError(
            "With --host others can reach the workbench, so that a password of at least "
            f"{_SHORTEST_PASSWORD} characters is needed.",
            remedy="Set DRYPOINT_PASSWORD, or type it when asked.",
        )
    return Password.of(password)


def _browse(address: str) -> None:
    with contextlib.suppress(webbrowser.Error):
        webbrowser.open(address)

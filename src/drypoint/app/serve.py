"""Run the workbench: a socket, a browser, and an orderly end."""

from __future__ import annotations

import contextlib
import ipaddress
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from drypoint.app.create import create_app, missing_parts
from drypoint.app.logins import network_of
from drypoint.app.places import key_of
from drypoint.app.settings import LOOPBACK, Password, Settings, kept_secret
from drypoint.app.tickets import FILE_S, PRINTED_S, Tickets, opening_file
from drypoint.app.wire import LIMITS, Gate, wire_of
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
    proxies: tuple[str, ...] = (),
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
        Needed where ``host`` or ``proxies`` is given.
    browser : bool
        Whether to open the page in the browser.
    proxies : tuple of str
        Addresses of reverse proxies whose headers ``X-Forwarded-Proto`` and ``X-Forwarded-For``
        are taken; those of all others are ignored.

    Raises
    ------
    DrypointError
        When there is nothing to serve, parts of the pages are missing, or the port is taken.
    """
    root, first = _root(what)
    fault = missing_parts()
    if fault is not None:
        raise fault
    proxies = tuple(_proxy(p) for p in proxies)
    if proxies and not names:
        raise DrypointError(
            "With --proxy the name in the proxy's address must be given.",
            remedy="Add --name, for example --name lab.example (with :PORT unless it is 443).",
        )
    listener = _listen(host or "127.0.0.1", port)
    used = listener.getsockname()[1]
    shared = bool(host or proxies)
    reached = (*LOOPBACK, *(_names(host) if host else ()), *names) if shared else LOOPBACK
    settings = Settings(
        root,
        key_of(root, first) if first is not None else "",
        port=used,
        names=tuple(dict.fromkeys(n.lower() for n in reached)),
        secret=kept_secret(),
        password=_password(password) if shared else None,
        proxies=proxies,
    )
    address = f"http://{_own_address(host)}:{used}"
    server: uvicorn.Server | None = None

    def closing() -> bool:
        return server is not None and server.should_exit

    app = create_app(settings, closing)
    server = uvicorn.Server(_config(app, settings))
    print(f"Studies in {root}")
    print(f"The workbench: {address}/open?token={settings.token}")
    print(f"This address opens once, within {PRINTED_S / 60:.0f} minutes.")
    if shared:
        _say_shared(settings, bool(host))
    print("Stop it with Ctrl-C.", flush=True)
    tickets: Tickets = app.state.tickets
    if browser:
        _timer(0.4, lambda: _browse(tickets, address))
        _timer(FILE_S + 1.0, tickets.sweep)
    if sys.stdin is not None and sys.stdin.isatty():
        threading.Thread(target=_on_enter, args=(tickets, address), daemon=True).start()
    try:
        with contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listener])
    finally:
        tickets.close()
    print("The workbench has ended. All decisions are in the files.")


def _config(app: Starlette, settings: Settings) -> uvicorn.Config:
    """Settings of the server. Limits on connections are in ``wire.py``: the server's own
    ``limit_concurrency`` would refuse the owner while others keep connections open."""
    gate = Gate(shared=frozenset(network_of(p) for p in settings.proxies))
    return uvicorn.Config(
        app,
        http=wire_of(gate),
        ws="none",
        h11_max_incomplete_event_size=LIMITS.head_bytes,
        backlog=_QUEUE,
        # By default the server believes such headers of everybody on this machine.
        proxy_headers=bool(settings.proxies),
        forwarded_allow_ips=list(settings.proxies),
        log_level="error",
        access_log=False,
        server_header=False,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=3,
    )


def _say_shared(settings: Settings, open_to_others: bool) -> None:
    """Addresses for others, with the password."""
    others = [n for n in settings.names if n not in LOOPBACK]
    if settings.proxies:
        print("Through the proxy: " + ", ".join(f"https://{n}/login" for n in others))
    if open_to_others:
        at = ", ".join(f"http://{n}:{settings.port}/login" for n in others)
        print(f"From other machines: {at}")
        print("This connection is not encrypted; use it in a network that you trust.")


def _timer(after_s: float, work: Callable[[], object]) -> None:
    timer = threading.Timer(after_s, work)
    timer.daemon = True
    timer.start()


def _on_enter(tickets: Tickets, address: str) -> None:
    """Print a new opening address each time Enter is pressed."""
    if hasattr(signal, "pthread_sigmask"):
        # In the background, reading fails instead of stopping the workbench.
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTTIN})
    with contextlib.suppress(OSError, ValueError):
        while sys.stdin.readline():
            print(f"The workbench: {address}/open?token={tickets.issue()}", flush=True)


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


def _own_address(host: str) -> str:
    """Where this machine reaches the workbench itself."""
    if host in ("", "0.0.0.0"):
        return "127.0.0.1"
    if host == "::":
        return "[::1]"
    return f"[{host}]" if ":" in host else host


def _proxy(address: str) -> str:
    try:
        return str(ipaddress.ip_address(address.strip("[]")))
    except ValueError:
        raise DrypointError(
            f"Invalid --proxy: got “{address}”; expected the address of one machine.",
            remedy="Give the address from which the proxy connects, for example 127.0.0.1.",
        ) from None


def _password(password: str) -> Password:
    if len(password) < _SHORTEST_PASSWORD:
        raise DrypointError(
            "With --host or --proxy others can reach the workbench, so that a password of at "
            f"least {_SHORTEST_PASSWORD} characters is needed.",
            remedy="Set DRYPOINT_PASSWORD, or type it when asked.",
        )
    return Password.of(password)


def _browse(tickets: Tickets, address: str) -> None:
    """Open the browser on a file that leads to the workbench; see ``tickets.py``."""
    try:
        webbrowser.open(opening_file(tickets, address).as_uri())
    except DrypointError as error:
        print(f"drypoint: {error}", file=sys.stderr)
    except webbrowser.Error:
        pass  # the printed address remains

"""Requests that no browser sends, and those that a browser sends for another site."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from served import Workbench, serving

SECRET = "the secret of another folder"


@pytest.fixture(scope="module")
def bench(run_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workbench]:
    home = tmp_path_factory.mktemp("hostile")
    (home / "secret.txt").write_text(SECRET, encoding="utf-8")
    with serving(run_once.parent, home) as found:
        yield found


@pytest.fixture(scope="module")
def cookie(bench: Workbench) -> str:
    with bench.owner() as owner:
        assert owner.get(bench.way_in).status_code == 303
        return "; ".join(f"{k}={v}" for k, v in owner.cookies.items())


def request(
    bench: Workbench, line: str, *headers: str, host: str | None = None, body: bytes = b""
) -> bytes:
    """The answer to a request that is written by hand."""
    host = f"127.0.0.1:{bench.port}" if host is None else host
    lines = [line, f"Host: {host}", *headers, "Connection: close", "", ""]
    return bench.says("\r\n".join(lines).encode("latin-1") + body)


def status(answer: bytes) -> int:
    assert answer.startswith(b"HTTP/1.1 "), answer[:100]
    return int(answer.split()[1])


HOSTS = ("evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1",
         "127.0.0.1.evil.example:{port}",
         "evil.example#127.0.0.1:{port}", "user@127.0.0.1:{port}", "127.0.0.1:{port}.",
         "0x7f.1:{port}",
         "2130706433:{port}", "0.0.0.0:{port}", "[::ffff:127.0.0.1]:{port}",
         "localhost.:{port}", "",
         "127.0.0.1:{port}, evil.example", "LOCALHOST.evil.example:{port}")  # fmt: skip


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("path", ["/", "/open?token=", "/static/app.css", "/api/studies"])
def test_a_foreign_name_for_this_machine(
    bench: Workbench, cookie: str, host: str, path: str
) -> None:
    answer = request(
        bench, f"GET {path} HTTP/1.1", f"Cookie: {cookie}", host=host.format(port=bench.port)
    )
    assert status(answer) in (400, 403)
    assert b"G-01" not in answer and b"font" not in answer


def test_two_hosts_and_none(bench: Workbench, cookie: str) -> None:
    good = f"Host: 127.0.0.1:{bench.port}"
    assert status(request(bench, "GET / HTTP/1.1", good, host="evil.example")) == 400
    assert status(bench.says(b"GET / HTTP/1.1\r\n\r\n")) == 400
    assert status(bench.says(b"GET / HTTP/1.0\r\n\r\n")) in (400, 403)
    # HTTP/1.0 with the right name is answered, and the connection ends.
    old = f"GET /static/app.css HTTP/1.0\r\n{good}\r\n\r\n".encode()
    begun = time.monotonic()
    assert status(bench.says(old)) == 200
    assert time.monotonic() - begun < 30.0


TARGETS = (
    "http://127.0.0.1:{port}/",
    "http://evil.example/",
    "https://evil.example/api/studies",
    "*",
    "evil.example:80",
    "//evil.example/api/studies",
    "static/app.css",
    "?token=x",
    "\\\\evil\\x",
)


@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("method", ["GET", "OPTIONS", "CONNECT", "POST"])
def test_targets_that_are_no_path(bench: Workbench, cookie: str, target: str, method: str) -> None:
    line = f"{method} {target.format(port=bench.port)} HTTP/1.1"
    origin = f"Origin: http://127.0.0.1:{bench.port}"
    answer = request(bench, line, f"Cookie: {cookie}", origin, "Content-Length: 0")
    assert status(answer) in (400, 404, 405), answer[:200]
    assert b"location:" not in answer.lower()


TRAVERSALS = ("../settings.py", "%2e%2e/settings.py", "..%2fsettings.py", "..%5csettings.py",
              "%2e%2e%2fsettings.py", "..%252fsettings.py", "....//settings.py", "./../settings.py",
              "vendor/../../settings.py", "vendor/%2e%2e/%2e%2e/settings.py", "/etc/passwd",
              "%2fetc/passwd",
              "..%c0%afsettings.py", "..%00/settings.py", "app.css%00.png",
              "app.css/../../settings.py",
              "..;/settings.py", "%5c%5cevil%5cshare", "C:%5cWindows%5cwin.ini", "", ".", "vendor",
              "a" * 5000, "%ff%fe", "%ed%a0%80")  # fmt: skip


@pytest.mark.parametrize("tail", TRAVERSALS)
def test_static_files_only(bench: Workbench, tail: str) -> None:
    answer = request(bench, f"GET /static/{tail} HTTP/1.1")
    assert status(answer) in (400, 401, 403, 404), answer[:200]
    assert b"root:" not in answer and b"class Settings" not in answer


@pytest.mark.parametrize(
    "method", ["OPTIONS", "TRACE", "TRACK", "PUT", "DELETE", "PATCH", "PROPFIND", "G"]
)
@pytest.mark.parametrize("path", ["/", "/open", "/login", "/api/studies", "/static/app.css"])
@pytest.mark.parametrize("origin", ["", "http://evil.example"])
def test_other_methods(bench: Workbench, cookie: str, method: str, path: str, origin: str) -> None:
    more = [f"Origin: {origin}", "Access-Control-Request-Method: POST"] if origin else []
    answer = request(
        bench, f"{method} {path} HTTP/1.1", f"Cookie: {cookie}", "X-Secret: echo-me", *more
    )
    assert status(answer) in (400, 401, 403, 404, 405)
    assert b"echo-me" not in answer
    assert b"access-control-allow" not in answer.lower()


@pytest.mark.parametrize(
    "path", ["/", "/api/studies", "/api/studies/study/events", "/login", "/open?token=x"]
)
def test_head_is_answered_without_a_body(bench: Workbench, cookie: str, path: str) -> None:
    begun = time.monotonic()
    answer = request(bench, f"HEAD {path} HTTP/1.1", f"Cookie: {cookie}")
    assert status(answer) < 500
    assert answer.partition(b"\r\n\r\n")[2] == b""
    assert time.monotonic() - begun < 30.0


CROSS = (("Origin: http://evil.example",), ("Origin: null",), ("Origin: http://localhost:{port}",),
         ("Origin: https://127.0.0.1:{port}",), ("Origin: http://127.0.0.1:{port}.evil.example",),
         ("Origin: http://127.0.0.1",),
         ("Origin: http://127.0.0.1:{port}", "Sec-Fetch-Site: cross-site"),
         ("Origin: http://127.0.0.1:{port}", "Sec-Fetch-Site: same-site"), ())  # fmt: skip


@pytest.mark.parametrize("headers", CROSS)
@pytest.mark.parametrize("kind", ["application/json", "text/plain"])
def test_a_post_from_another_page(
    bench: Workbench, cookie: str, headers: tuple[str, ...], kind: str
) -> None:
    body = b'{"version": "x", "who": "evil"}'
    told = [h.format(port=bench.port) for h in headers]
    answer = request(
        bench, "POST /api/studies/study/undo HTTP/1.1", f"Cookie: {cookie}", *told,
        f"Content-Type: {kind}", f"Content-Length: {len(body)}", body=body,
    )  # fmt: skip
    assert status(answer) == 403
    assert b"access-control-allow" not in answer.lower()


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
@pytest.mark.parametrize("kind", ["text/event-stream", "websocket"])
def test_streams_for_another_page(bench: Workbench, cookie: str, site: str, kind: str) -> None:
    upgrade = ("Upgrade: websocket", "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",
               "Sec-WebSocket-Version: 13") if kind == "websocket" else ()  # fmt: skip
    answer = request(
        bench, "GET /api/studies/study/events HTTP/1.1", f"Cookie: {cookie}", f"Accept: {kind}",
        "Origin: http://evil.example", f"Sec-Fetch-Site: {site}", *upgrade,
    )  # fmt: skip
    assert status(answer) == 403
    assert b"event:" not in answer and b"access-control-allow" not in answer.lower()


def test_a_web_socket_is_never_opened(bench: Workbench, cookie: str) -> None:
    lines = ("GET / HTTP/1.1", f"Host: 127.0.0.1:{bench.port}", f"Cookie: {cookie}",
             "Upgrade: websocket",
             "Connection: Upgrade", "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",
             "Sec-WebSocket-Version: 13", "", "")  # fmt: skip
    assert status(bench.says("\r\n".join(lines).encode())) != 101


@pytest.mark.parametrize("size", [20_000, 100_000, 5_000_000])
@pytest.mark.parametrize("where", ["target", "header", "many", "cookie"])
def test_huge_headers(bench: Workbench, cookie: str, size: int, where: str) -> None:
    target, more = "/", [f"Cookie: {cookie}"]
    if where == "target":
        target += "?" + "a" * size
    elif where == "header":
        more.append("X-Long: " + "a" * size)
    elif where == "cookie":
        more = ["Cookie: " + "a=b; " * (size // 5) + cookie]
    else:
        more += [f"X-{i}: {i}" for i in range(size // 10)]
    begun = time.monotonic()
    try:
        answer = request(bench, f"GET {target} HTTP/1.1", *more)
    except ConnectionError:
        answer = b""  # cut while it was still being sent
    assert not answer or status(answer) in (400, 431), answer[:100]
    assert time.monotonic() - begun < 40.0


BODIES = {
    "both lengths": (("Content-Length: 4", "Transfer-Encoding: chunked"),
                     b"0\r\n\r\nGET /smuggled"),
    "two lengths": (("Content-Length: 4", "Content-Length: 40"), b"abcd"),
    "negative": (("Content-Length: -1",), b""),
    "not a number": (("Content-Length: 0x10",), b"a" * 16),
    "odd coding": (("Transfer-Encoding: gzip, chunked",), b"0\r\n\r\n"),
    "spaced coding": (("Transfer-Encoding : chunked",), b"0\r\n\r\n"),
    "bad chunk": (("Transfer-Encoding: chunked",), b"zz\r\nabc"),
    "huge chunk": (("Transfer-Encoding: chunked",), b"ffffffffffffffff\r\nabc"),
    "long extension": (("Transfer-Encoding: chunked",), b"1;" + b"a" * 100_000 + b"\r\na\r\n"),
    "bare line feed": (("X: a\nContent-Length: 5",), b"abcde"),
    "folded": (("X: a\r\n b",), b""),
    "null": (("X: a\x00b",), b""),
}  # fmt: skip


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize("path", ["/api/studies/study/undo", "/login"])
def test_bodies_whose_length_is_in_doubt(
    bench: Workbench, cookie: str, name: str, path: str
) -> None:
    headers, body = BODIES[name]
    lines = [f"POST {path} HTTP/1.1", f"Host: 127.0.0.1:{bench.port}", f"Cookie: {cookie}",
             f"Origin: http://127.0.0.1:{bench.port}", "Content-Type: application/json", *headers,
             "", ""]  # fmt: skip
    begun = time.monotonic()
    answer = bench.says("\r\n".join(lines).encode("latin-1") + body, wait_s=70.0)
    assert time.monotonic() - begun < 60.0  # the connection was ended by the workbench
    assert not answer or 400 <= status(answer) < 500
    assert b"smuggled" not in answer and answer.count(b"HTTP/1.1 ") <= 1


def test_a_body_without_end_is_refused_at_its_limit(bench: Workbench, cookie: str) -> None:
    head = (f"POST /api/look HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\nCookie: {cookie}\r\n"
            f"Origin: http://127.0.0.1:{bench.port}\r\nContent-Type: application/json\r\n"
            "Transfer-Encoding: chunked\r\n\r\n")  # fmt: skip
    with bench.raw(head.encode()) as line:
        line.settimeout(30)
        sent, chunk = 0, b"10000\r\n" + b" " * 65536 + b"\r\n"
        try:
            while sent < 200_000_000:
                line.sendall(chunk)
                sent += len(chunk)
        except OSError:
            pass
        # It is taken up to 2 MB, then refused; what is sent after that is not read for long.
        assert sent < 200_000_000


def test_pipelined_requests_are_answered_in_order(bench: Workbench, cookie: str) -> None:
    one = f"GET /api/studies HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\nCookie: {cookie}\r\n\r\n"
    other = one.replace("/api/studies ", "/nowhere ").replace(cookie, "none=1")
    last = one.replace("GET", "GET").replace("\r\n\r\n", "\r\nConnection: close\r\n\r\n")
    answer = bench.says(((one + other) * 20 + last).encode())
    found = [int(part.split()[0]) for part in answer.split(b"HTTP/1.1 ")[1:]]
    assert found == [200, 401] * 20 + [200]


def test_what_is_no_http(bench: Workbench) -> None:
    for data in (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(200), b"\x00" * 5000,
                 b"SSH-2.0-x\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\r\n" * 3000,
                 b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
                 b"GET / HTTP/1.1\r\n" + b"\xff" * 50 + b"\r\n\r\n"):  # fmt: skip
        begun = time.monotonic()
        answer = bench.says(data)
        assert time.monotonic() - begun < 60.0
        assert not answer or status(answer) in (400, 403)
    assert "Traceback" not in bench.errors
    assert len(bench.errors) < 10_000  # strangers do not fill the terminal


def test_a_client_that_leaves_in_the_middle_is_no_fault(bench: Workbench, cookie: str) -> None:
    head = (f"PUT /api/files/new/raw/a.csv HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
            f"Cookie: {cookie}\r\nOrigin: http://127.0.0.1:{bench.port}\r\n"
            "Content-Length: 1000\r\n\r\nTime;Load")  # fmt: skip
    bench.raw(head.encode()).close()
    time.sleep(1.0)
    with bench.owner() as owner:
        assert owner.get("/static/app.css").status_code == 200
    assert "Traceback" not in bench.errors and "fault" not in bench.errors

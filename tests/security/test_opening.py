"""The opening address: in no process's arguments, in a file of its owner only, valid once."""

from __future__ import annotations

import os
import re
import stat
import sys
import time
from pathlib import Path

import pytest
from served import PASSWORD, Workbench, serving, values

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")

#: Stands for a browser: notes what it is started with, and stays.
BROWSER = """#!/bin/sh
printf '%s\\n' "$@" > "$NOTE.part"
mv "$NOTE.part" "$NOTE"
exec sleep 20 > /dev/null 2>&1 < /dev/null
"""


@pytest.fixture
def browser(tmp_path: Path) -> dict[str, str]:
    """Variables under which a browser that only notes its arguments is opened."""
    program = tmp_path / "browser"
    program.write_text(BROWSER, encoding="utf-8")
    program.chmod(0o755)
    return {"BROWSER": str(program), "NOTE": str(tmp_path / "note.txt")}


def arguments() -> str:
    """The arguments of all processes, as every user of the machine sees them."""
    said = b""
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit() and folder.name != str(os.getpid()):
            try:
                said += (folder / "cmdline").read_bytes() + b"\n"
            except OSError:
                continue
    return said.decode("utf-8", "replace")


def noted(variables: dict[str, str]) -> str:
    """What the browser was started with."""
    for _ in range(150):
        if Path(variables["NOTE"]).exists():
            return Path(variables["NOTE"]).read_text("utf-8").strip()
        time.sleep(0.1)
    raise AssertionError("no browser was opened")


def opening_files(home: Path) -> list[Path]:
    return [p for p in home.rglob("*.html") if p.is_file()]


@pytest.mark.parametrize("mask", [0o022, 0o000])
def test_the_token_is_in_no_arguments_and_in_a_file_of_the_owner_only(
    run_once: Path, tmp_path: Path, browser: dict[str, str], mask: int
) -> None:
    before = os.umask(mask)
    try:
        with serving(run_once, tmp_path / "home", browser=True, **browser) as bench:
            opened = noted(browser)
            assert opened.startswith("file://"), opened
            assert "token" not in arguments() and bench.token not in arguments()
            path = Path(opened.removeprefix("file://"))
            assert stat.S_IMODE(path.stat().st_mode) == 0o600
            assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
            assert path.stat().st_uid == os.getuid()
            (address,) = set(re.findall(r"http://[^\"]+", path.read_text("utf-8")))
            token = address.partition("token=")[2]
            assert len(token) >= 32 and token not in arguments()
            assert token != bench.token
            with bench.owner() as owner:
                assert owner.get(address).status_code == 303
                assert values(owner.get("/api/studies/study"))["name"]
            assert not path.exists()
            refuses(bench, address)
    finally:
        os.umask(before)


def refuses(bench: Workbench, address: str) -> None:
    """Somebody who saw the address comes too late."""
    with bench.owner() as other:
        answer = other.get(address)
        assert answer.status_code == 403
        assert "used already" in answer.text and "opens once" in answer.text
        assert not other.cookies
        assert other.get("/api/studies").status_code == 401


def test_the_printed_address_opens_once(run_once: Path, tmp_path: Path) -> None:
    with serving(run_once, tmp_path / "home") as bench:
        assert "opens once" in bench.said
        with bench.owner() as owner:
            # A look ahead (by a browser that guesses, or a scanner) does not use it up.
            assert owner.head(bench.way_in).status_code == 204
            ahead = owner.get(bench.way_in, headers={"sec-purpose": "prefetch;prerender"})
            assert ahead.status_code == 204 and not owner.cookies
            assert owner.get(bench.way_in).status_code == 303
            refuses(bench, bench.way_in)
            # Whoever is in already only goes on.
            assert owner.get(bench.way_in).status_code == 303


def test_nothing_is_left_behind(run_once: Path, tmp_path: Path, browser: dict[str, str]) -> None:
    home = tmp_path / "home"
    with serving(run_once, home, browser=True, **browser) as bench:
        noted(browser)
        assert len(opening_files(home)) == 1
        bench.process.terminate()
        bench.process.wait(20)
        assert opening_files(home) == []
        bench.process.poll = lambda: None  # type: ignore[method-assign]
    # Killed at once: the file stays, and the next workbench removes it when it is old.
    Path(browser["NOTE"]).unlink()
    with serving(run_once, home, browser=True, **browser) as bench:
        noted(browser)
        bench.process.kill()
        bench.process.wait(20)
        (left,) = opening_files(home)
        bench.process.poll = lambda: None  # type: ignore[method-assign]
    os.utime(left, (time.time() - 600, time.time() - 600))
    Path(browser["NOTE"]).unlink()
    with serving(run_once, home, browser=True, **browser):
        noted(browser)
        assert left not in opening_files(home) and len(opening_files(home)) == 1


def test_a_folder_that_others_prepared_is_not_used(
    run_once: Path, tmp_path: Path, browser: dict[str, str]
) -> None:
    home, theirs = tmp_path / "home", tmp_path / "theirs"
    home.mkdir()
    theirs.mkdir(mode=0o777)
    (home / "opening").symlink_to(theirs, target_is_directory=True)
    with serving(run_once, home, browser=True, **browser) as bench:
        time.sleep(2.0)
        assert not Path(browser["NOTE"]).exists()
        assert list(theirs.iterdir()) == []
        assert "printed address" in bench.errors
        with bench.owner() as owner:
            assert owner.get(bench.way_in).status_code == 303
    (home / "opening").unlink()
    (home / "opening").mkdir(mode=0o777)
    (home / "opening").chmod(0o777)
    with serving(run_once, home, browser=True, **browser):
        noted(browser)
        assert stat.S_IMODE((home / "opening").stat().st_mode) == 0o700


def test_the_cookie_is_secure_only_where_a_named_proxy_says_https(
    run_once: Path, tmp_path: Path
) -> None:
    told = {"x-forwarded-proto": "https", "x-forwarded-for": "192.0.2.7"}
    body = f"password={PASSWORD}"
    # Not named: what anybody says of the scheme, and of the address, is ignored.
    home = tmp_path / "plain"
    with (
        serving(run_once, home, "--host", "0.0.0.0", DRYPOINT_PASSWORD=PASSWORD) as bench,
        bench.owner() as owner,
    ):
        cookies = set_by(owner.post("/login", content=body, headers=told))
        assert cookies and all("secure" not in c.lower() for c in cookies)
        spoilt = {**told, "origin": bench.base.replace("http:", "https:")}
        assert owner.post("/login", content=body, headers=spoilt).status_code == 403
    options = ("--proxy", "127.0.0.1", "--name", "lab.example")
    with serving(run_once, tmp_path / "tls", *options, DRYPOINT_PASSWORD=PASSWORD) as bench:
        assert "https://lab.example/login" in bench.said
        outside = {**told, "host": "lab.example", "origin": "https://lab.example"}
        with bench.owner() as owner:
            answer = owner.post("/login", content=body, headers=outside)
            assert answer.status_code == 303, answer.text
            cookies = set_by(answer)
            assert cookies
            for cookie in cookies:
                assert cookie.startswith("__Host-drypoint_")
                words = {w.strip().lower() for w in cookie.split(";")[1:]}
                assert {"secure", "httponly", "samesite=strict", "path=/"} <= words
                assert "domain" not in cookie.lower()
            crumb = "; ".join(c.partition(";")[0] for c in cookies)
            inside = {**outside, "cookie": crumb}
            assert owner.get("/api/studies", headers=inside).status_code == 200
            # The same value under the name that plain HTTP can set does not open.
            plain = {**inside, "cookie": crumb.replace("__Host-", "")}
            assert owner.get("/api/studies", headers=plain).status_code == 401
            # A page over plain HTTP is another origin.
            mixed = {**inside, "origin": "http://lab.example"}
            assert owner.post("/api/look", json={"folder": "raw"}, headers=mixed).status_code == 403
            # The proxy brings somebody from elsewhere: the token is for this machine.
            answer = owner.get(f"/open?token={bench.token}", headers=outside)
            assert answer.status_code == 403 and "password" in answer.text


def set_by(answer: object) -> list[str]:
    """The cookies that an answer sets."""
    return answer.headers.get_list("set-cookie")  # type: ignore[attr-defined,no-any-return]

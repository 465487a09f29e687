"""Who comes in: token, password, Host, Origin, headers, paths. Each hostile request is refused."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest
import uvicorn
from app_demo import API, BASE, ORIGIN, PORT
from starlette.testclient import TestClient

from drypoint.app import Settings, create_app
from drypoint.app.faults import DrypointError, NotFound
from drypoint.app.places import find_studies, inside, key_of, plain_name, study_at
from drypoint.app.serve import serve
from drypoint.app.settings import Password, kept_secret


@pytest.fixture
def stranger(settings: Settings) -> TestClient:
    return TestClient(create_app(settings), base_url=BASE, raise_server_exceptions=False)


@pytest.mark.parametrize("path", ["/", "/studies/demo:study/tests", API, f"{API}/tests/curves"])
def test_nothing_is_shown_to_who_has_not_come_in(stranger: TestClient, path: str) -> None:
    answer = stranger.get(path)
    assert answer.status_code == 401
    assert "glass" not in answer.text


def test_a_wrong_token_does_not_open(stranger: TestClient) -> None:
    assert stranger.get("/open?token=guess").status_code == 403
    assert stranger.get("/open").status_code == 403
    assert not stranger.cookies


def test_the_token_leaves_a_cookie_that_scripts_cannot_read(settings: Settings) -> None:
    with TestClient(create_app(settings), base_url=BASE, follow_redirects=False) as client:
        answer = client.get(f"/open?token={settings.token}")
    assert answer.status_code == 303
    assert settings.token not in answer.headers["location"]
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie
    assert settings.token not in cookie


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8017", "127.0.0.1:1", "", "x@y"])
def test_another_name_for_this_machine_is_refused(client: TestClient, host: str) -> None:
    # A foreign name that was made to point to 127.0.0.1 arrives with that name as Host.
    for path in ("/", API, "/static/app.css", "/open"):
        assert client.get(path, headers={"host": host}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"http://localhost:{PORT}"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": BASE, "sec-fetch-site": "cross-site"},
        {"origin": BASE, "sec-fetch-site": "same-site"},
    ],
)
def test_a_post_from_another_page_changes_nothing(
    client: TestClient, root: Path, headers: dict[str, str]
) -> None:
    version = client.get(API).json()["version"]
    body = {"version": version, "decisions": [
        {"what": "exclude", "test": "G-08", "why": "x", "who": "y"}]}  # fmt: skip
    before = {p: p.read_bytes() for p in root.rglob("*.decisions.jsonl")}
    answer = client.post(f"{API}/decisions", json=body, headers=headers)
    assert answer.status_code == 403
    assert {p: p.read_bytes() for p in root.rglob("*.decisions.jsonl")} == before


def test_a_post_without_origin_is_refused(settings: Settings) -> None:
    with TestClient(create_app(settings), base_url=BASE) as client:
        client.get(f"/open?token={settings.token}")
        assert client.post(f"{API}/jobs", json={"kind": "run"}).status_code == 403


def test_a_form_of_another_site_cannot_send_json(client: TestClient) -> None:
    answer = client.post(f"{API}/undo", content=b"{}", headers={"content-type": "text/plain"})
    assert answer.status_code == 400


def test_reads_by_scripts_of_other_sites_are_refused(client: TestClient) -> None:
    for site in ("cross-site", "same-site"):
        headers = {"sec-fetch-site": site, "sec-fetch-mode": "no-cors"}
        assert client.get(f"{API}/tests/curves", headers=headers).status_code == 403


@pytest.mark.parametrize("path", ["/", "/static/app.css", "/nowhere", API, "/open?token=x"])
def test_every_answer_has_the_headers(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    assert "default-src 'self'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert "server" not in headers


@pytest.mark.parametrize(
    "key",
    ["..:..:etc:passwd", "..", "demo:..:..:x", "/etc/passwd", "demo:study.toml", "C:study", "\x00"],
)
def test_no_key_leads_out_of_the_folder(client: TestClient, key: str) -> None:
    from urllib.parse import quote

    answer = client.get(f"/api/studies/{quote(key, safe='')}")
    assert answer.status_code in (403, 404)
    assert "root:" not in answer.text


def test_a_link_that_leads_out_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (tmp_path / "out.toml").write_text("drypoint = 1\n", encoding="utf-8")
    (folder / "link.toml").symlink_to(tmp_path / "out.toml")
    (folder / "deep").symlink_to(tmp_path, target_is_directory=True)
    assert list(find_studies(folder)) == []
    for relative in ("link.toml", "deep/out.toml", "../out.toml", "a/../../out.toml"):
        with pytest.raises(DrypointError, match="leads out"):
            inside(folder, relative)


def test_keys_and_paths_are_one_to_one(root: Path) -> None:
    found = list(find_studies(root))
    assert {p.name for p in found} == {"study.toml", "bench.toml", "scratch.toml"}
    for path in found:
        assert study_at(root, key_of(root, path)) == path.resolve()


@pytest.mark.parametrize(
    "name", ["", ".", "..", "a/b", "a\\b", ".hidden", "a\x00b", "a:b", "x" * 130]
)
def test_names_that_are_none(name: str) -> None:
    with pytest.raises(DrypointError, match="no name"):
        plain_name(name)


@pytest.mark.parametrize("name", ["nul.txt", "AUX", "com3.csv"])
def test_a_reserved_name_is_called_so(name: str) -> None:
    """Not “no name for a file”: it is one, but not on Windows."""
    with pytest.raises(DrypointError, match=r"reserved name.*Windows"):
        plain_name(name)


def test_the_password_opens_and_nothing_else_does(root: Path) -> None:
    settings = Settings(root, port=PORT, password=Password.of("correct horse"))
    app = create_app(settings)
    with TestClient(app, base_url=BASE, headers=ORIGIN, follow_redirects=False) as client:
        assert client.get("/").status_code == 401
        assert client.get(f"/open?token={settings.token}").status_code == 403
        assert "password" in client.get("/login").text
        wrong = client.post("/login", content="password=battery+staple")
        assert wrong.status_code == 403 and "not the password" in wrong.text
        right = client.post("/login", content="password=correct+horse")
        assert right.status_code == 303
        assert client.get("/").status_code == 200


def test_a_cookie_of_another_workbench_does_not_open(root: Path, tmp_path: Path) -> None:
    one = Settings(root, port=PORT)
    other = Settings(tmp_path, port=PORT, secret=one.secret)
    with TestClient(create_app(one), base_url=BASE) as client:
        client.cookies.set(one.cookie_name(False), other.pass_value)
        assert client.get("/").status_code == 401


def test_a_page_outlives_a_restart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path))
    first = kept_secret()
    assert kept_secret() == first
    assert (tmp_path / "workbench.key").stat().st_mode & 0o077 == 0


def test_a_name_longer_than_the_system_takes_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no study"):
        study_at(tmp_path, "x" * 5000)


def test_others_need_a_password(root: Path) -> None:
    with pytest.raises(DrypointError, match="at least 10 characters"):
        serve(root, host="0.0.0.0", port=0, password="short", browser=False)


def test_what_is_no_study_is_not_served(tmp_path: Path) -> None:
    with pytest.raises(DrypointError, match="no such study"):
        serve(tmp_path / "nothing.toml", browser=False)


def test_the_printed_address_can_be_opened_at_once(
    root: Path, capsys: pytest.CaptureFixture
) -> None:
    """Who comes before the server has begun waits; nobody is refused."""

    class BegunError(Exception):
        pass

    def too_early(server: uvicorn.Server, sockets: list[socket.socket]) -> None:
        assert f":{sockets[0].getsockname()[1]}/open" in capsys.readouterr().out
        socket.create_connection(sockets[0].getsockname(), timeout=60).close()
        raise BegunError

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(uvicorn.Server, "run", too_early)
        with pytest.raises(BegunError):
            serve(root, port=0, browser=False)


def test_missing_parts_are_named(tmp_path: Path) -> None:
    from drypoint.app.create import missing_parts

    assert missing_parts() is None
    fault = missing_parts(tmp_path)
    assert fault is not None and "fetch_vendor" in fault.remedy

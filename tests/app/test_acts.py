"""Acts on a study: decisions, conflicts, undo, work in processes, the study file. What the pages do
is what the command line does."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from app_demo import API, BASE, KEY, ORIGIN, PORT
from starlette.testclient import TestClient

from drypoint.app import Settings, create_app
from drypoint.app.buffers import pack, unpack
from drypoint.cli import main
from drypoint.recipe import append, load_study, parse_decision, read_journal
from drypoint.run import run_study


def _state(client: TestClient) -> dict[str, Any]:
    values: dict[str, Any] = client.get(API).json()
    return values


def _exclude(client: TestClient, test: str, version: str, why: str = "bench was bumped") -> Any:
    decision = {"what": "exclude", "test": test, "why": why, "who": "A. Example"}
    return client.post(f"{API}/decisions", json={"version": version, "decisions": [decision]})


def _wait(client: TestClient, job: dict[str, Any]) -> dict[str, Any]:
    client.app.state.jobs.wait(job["id"], 120)  # type: ignore[attr-defined]
    values: dict[str, Any] = client.get(f"/api/jobs/{job['id']}").json()
    return values


def _tables(study: Path) -> dict[str, bytes]:
    results = load_study(study).results
    return {p.name: p.read_bytes() for p in sorted(results.iterdir())}


def test_an_exclusion_is_an_entry_and_gives_the_command_lines_results(
    client: TestClient, root: Path, tmp_path: Path
) -> None:
    by_hand = tmp_path / "by-hand"
    shutil.copytree(root / "demo", by_hand)
    answer = _exclude(client, "G-08", _state(client)["version"])
    assert answer.status_code == 200
    values = answer.json()
    assert values["standing"] == "older" and values["undo"]["test"] == "G-08"
    assert _wait(client, values["job"])["state"] == "done"
    assert _state(client)["standing"] == "current"

    # The same decision by hand, run by the command line in a process of its own.
    journal = read_journal(root / "demo" / "study.decisions.jsonl")
    append(by_hand / "study.decisions.jsonl", journal.decisions[0])
    done = subprocess.run(
        [sys.executable, "-c", "from drypoint.cli import main; main()", "run",
         str(by_hand / "study.toml"), "--quiet"],
        capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 3), done.stderr
    # To the bit: every file of the results.
    assert _tables(root / "demo" / "study.toml") == _tables(by_hand / "study.toml")


def test_two_windows_one_wins_and_nothing_is_lost(client: TestClient, root: Path) -> None:
    seen = _state(client)["version"]
    assert _exclude(client, "G-08", seen).status_code == 200
    late = _exclude(client, "G-09", seen)
    assert late.status_code == 409
    error = late.json()["error"]
    assert "another window or by another person" in error["what"]
    assert "exclude, by A. Example" in error["what"]
    assert "Reload" in error["remedy"]
    journal = read_journal(root / "demo" / "study.decisions.jsonl")
    assert [d.test for d in journal.decisions] == ["G-08"]
    assert _exclude(client, "G-09", _state(client)["version"]).status_code == 200


def test_an_entry_from_the_command_line_counts_as_another_window(
    client: TestClient, root: Path
) -> None:
    seen = _state(client)["version"]
    line = '{"who": "B", "what": "remark", "why": "lamp changed"}'
    append(root / "demo" / "study.decisions.jsonl", parse_decision(line))
    assert _exclude(client, "G-08", seen).status_code == 409


def test_undo_and_redo_are_entries(client: TestClient, root: Path) -> None:
    first = _state(client)
    one = _exclude(client, "G-08", first["version"]).json()
    back = client.post(f"{API}/undo", json={"version": one["version"], "who": "B. Bench"}).json()
    assert back["undo"] is None and back["redo"]["test"] == "G-08"
    again = client.post(f"{API}/redo", json={"version": back["version"], "who": "B. Bench"}).json()
    assert again["undo"]["test"] == "G-08" and again["redo"] is None
    journal = read_journal(root / "demo" / "study.decisions.jsonl")
    assert [(d.what, d.undoes) for d in journal.decisions] == [
        ("exclude", None), ("include", 1), ("exclude", 2),
    ]  # fmt: skip
    assert journal.effective.exclusion("G-08") is not None
    nothing = client.post(f"{API}/redo", json={"version": again["version"], "who": "B"})
    assert nothing.status_code == 422 and "no decision to redo" in nothing.text


@pytest.mark.parametrize(
    ("decision", "words"),
    [
        ({"what": "exclude", "test": "G-0x", "why": "x", "who": "y"}, "has no test “G-0x”"),
        ({"what": "exclude", "test": "G-08", "why": " ", "who": "y"}, "why"),
        ({"what": "exclude", "why": "x", "who": "y"}, "about one test"),
        ({"what": "zero", "test": "G-08", "why": "x", "who": "y", "value": {}}, "not one point"),
        ({"what": "include", "test": "G-08", "why": "x", "who": "y"}, "is not excluded"),
        ({"what": "explode", "test": "G-08", "why": "x", "who": "y"}, "what"),
    ],
)
def test_a_wrong_decision_is_refused_in_words(
    client: TestClient, root: Path, decision: dict[str, Any], words: str
) -> None:
    version = _state(client)["version"]
    answer = client.post(f"{API}/decisions", json={"version": version, "decisions": [decision]})
    assert answer.status_code == 422, answer.text
    assert words in answer.json()["error"]["text"]
    journal = root / "demo" / "study.decisions.jsonl"
    assert not journal.exists() or not journal.read_bytes()


def test_words_are_those_of_the_command_line(
    client: TestClient, root: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    path = root / "demo" / "study.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("nu = 0.17", "nu = 0.7"), "utf-8")
    monkeypatch.setattr(sys, "argv", ["drypoint", "run", str(path)])
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code == 2
    said = capsys.readouterr().err.removeprefix("drypoint: ").strip()
    assert "nu" in said
    error = client.get(API).json()["error"]
    assert error["text"] == said
    page = client.get(f"/studies/{KEY}/tests")
    assert page.status_code == 422
    assert error["what"].replace("'", "&#39;") in page.text
    listed = client.get("/api/studies").json()["studies"]
    assert [s["standing"] for s in listed if s["key"] == KEY] == ["fault"]


def test_the_study_file_is_checked_before_it_is_written(client: TestClient, root: Path) -> None:
    path = root / "demo" / "study.toml"
    now = client.get(f"{API}/recipe").json()
    wrong = now["text"].replace("beta = 1.0", "beta = -1.0")
    for where, body in (("/recipe/check", {"text": wrong}),
                        ("/recipe", {"text": wrong, "version": now["version"]})):  # fmt: skip
        answer = client.post(API + where, json=body)
        assert answer.status_code == 422 and "beta" in answer.json()["error"]["text"]
    assert path.read_text(encoding="utf-8") == now["text"]
    right = now["text"].replace("u_nu = 0.03", "u_nu = 0.04")
    assert client.post(f"{API}/recipe", json={"text": right, "version": "old"}).status_code == 409
    answer = client.post(f"{API}/recipe", json={"text": right, "version": now["version"]})
    assert answer.status_code == 200
    assert path.read_text(encoding="utf-8") == right
    assert answer.json()["standing"] == "older" and answer.json()["job"]["kind"] == "run"


def test_work_can_be_stopped_and_earlier_results_stay(client: TestClient, root: Path) -> None:
    before = _tables(root / "demo" / "study.toml")
    shutil.rmtree(root / "demo" / ".drypoint-cache")
    job = client.post(f"{API}/jobs", json={"kind": "run"}).json()
    client.post(f"/api/jobs/{job['id']}/stop", json={})
    assert _wait(client, job)["state"] == "stopped"
    assert _tables(root / "demo" / "study.toml") == before
    # The next piece of work runs as if nothing had been.
    job = client.post(f"{API}/jobs", json={"kind": "run"}).json()
    assert _wait(client, job)["state"] == "done"
    assert _tables(root / "demo" / "study.toml") == before


def test_a_process_that_dies_fails_in_words(client: TestClient, root: Path) -> None:
    shutil.rmtree(root / "demo" / ".drypoint-cache")
    job = client.post(f"{API}/jobs", json={"kind": "run"}).json()
    jobs = client.app.state.jobs  # type: ignore[attr-defined]
    until = time.monotonic() + 120
    while job["id"] not in jobs._busy and time.monotonic() < until:
        time.sleep(0.01)
    os.kill(jobs._busy[job["id"]].process.pid, signal.SIGKILL)
    done = _wait(client, job)
    assert done["state"] == "failed"
    assert "earlier results are unchanged" in done["error"]["what"]


def test_unknown_work_is_refused(client: TestClient) -> None:
    assert client.post(f"{API}/jobs", json={"kind": "format the disk"}).status_code == 400
    assert client.get("/api/jobs/none").status_code == 404


def test_killed_in_the_middle_nothing_is_lost(root: Path) -> None:
    """Decisions of a workbench that was killed are there for the next one, undo included."""
    settings = Settings(root, port=PORT)
    with TestClient(create_app(settings), base_url=BASE, headers=ORIGIN) as client:
        client.get(f"/open?token={settings.token}")
        assert _exclude(client, "G-08", _state(client)["version"]).status_code == 200
    path = root / "demo" / "study.decisions.jsonl"
    with path.open("ab") as file:  # a second entry, cut off by the kill
        file.write(b'{"id": 2, "when": "2026-01-31T12:00:00Z", "who": "A')
    with TestClient(create_app(settings), base_url=BASE, headers=ORIGIN) as client:
        client.get(f"/open?token={settings.token}")
        values = _state(client)
        assert values["undo"]["test"] == "G-08"
        assert "cut off" in values["notes"][0]
        turn = {"version": values["version"], "who": "A. Example"}
        assert client.post(f"{API}/undo", json=turn).status_code == 200


def test_what_is_copied_does_the_same(client: TestClient, root: Path) -> None:
    version = _state(client)["version"]
    values = _exclude(client, "G-08", version, "a “quoted” reason with 'both' $HOME `x`").json()
    zero = {"what": "zero", "test": "G-09", "why": "dust", "who": "A", "value": {"depth_nm": 239.0}}
    client.post(f"{API}/decisions", json={"version": values["version"], "decisions": [zero]})
    path = root / "demo" / "study.decisions.jsonl"
    wanted = [d.model_copy(update={"when": ""}) for d in read_journal(path).decisions]
    parts = [client.get(f"{API}/tests/one?test={d.test}").json()["decisions"][0] for d in wanted]
    for how in ("python", "command"):
        path.write_bytes(b"")
        for part in parts:
            if how == "python" or not part["command"]:
                exec(part["python"], {})
            else:
                import shlex

                argv = shlex.split(part["command"])
                call = [sys.executable, "-c", "from drypoint.cli import main; main()", *argv[1:]]
                subprocess.run(call, check=True, capture_output=True)
        made = [d.model_copy(update={"when": ""}) for d in read_journal(path).decisions]
        assert made == wanted


def test_results_in_memory_are_those_on_disk(client: TestClient, root: Path) -> None:
    answer = client.get(f"{API}/tests/curves")
    arrays, head = unpack(answer.content)
    result = run_study(root / "demo" / "study.toml", write=False)
    assert head["names"] == result.tests_table["test"].to_list()
    k = head["names"].index("G-08")
    a, b = arrays["start"][k], arrays["start"][k + 1]
    curve = result.curve("G-08")
    assert arrays["y"][a:b].max() == pytest.approx(curve.force.max() * 1e3, rel=1e-6)
    assert arrays["x"][a:b].max() == pytest.approx(curve.depth.max() * 1e9, rel=1e-6)


def test_buffers_go_there_and_back() -> None:
    arrays, head = unpack(pack({"a": [1.5, 2.5], "n": [1, 2, 3], "none": []}, {"words": "µ"}))
    assert arrays["a"].tolist() == [1.5, 2.5] and arrays["n"].tolist() == [1, 2, 3]
    assert arrays["none"].size == 0 and head == {"words": "µ"}

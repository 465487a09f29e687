"""Tip and frame on the page: what the command line does, and the same entries. Invented data."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from app_demo import API
from starlette.testclient import TestClient

from drypoint.app.buffers import unpack
from drypoint.app.ledger_values import charts_of
from drypoint.cli.calibrate import Wish, calibrate_command
from drypoint.ledger import (
    FrameBody,
    HealthBody,
    Ledger,
    StudyBody,
    TipBody,
    Used,
)
from drypoint.run.calibrating import calibrate_study

BENCH = "/api/studies/demo:bench:bench"
WHO = "A. Example"


def _work(client: TestClient, job: dict[str, Any]) -> dict[str, Any]:
    client.app.state.jobs.wait(job["id"], 120)  # type: ignore[attr-defined]
    values: dict[str, Any] = client.get(f"/api/jobs/{job['id']}").json()
    return values


def _found(client: TestClient) -> tuple[dict[str, Any], dict[str, Any]]:
    answer = client.get(f"{BENCH}/bench/found")
    assert answer.status_code == 200, answer.text
    return unpack(answer.content)


def test_calibrate_look_exclude_and_accept(
    client: TestClient, root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    none = client.get(f"{BENCH}/bench/found")
    assert none.status_code == 404 and "Calibrate" in none.json()["error"]["remedy"]
    assert client.get(f"{BENCH}/bench/ledger").json()["fault"]["what"]
    done = _work(client, client.post(f"{BENCH}/jobs", json={"kind": "calibrate"}).json())
    assert done["state"] == "done", done
    arrays, more = _found(client)
    study = root / "demo" / "bench" / "bench.toml"
    c = calibrate_study(study).calibrated.calibration
    assert arrays["z"] == pytest.approx(c.rows.standardised, rel=1e-6)
    assert more["acceptance"]["now"]["accepted_by"] == WHO  # as the demo was made
    path = root / "demo" / "bench" / "calibration.toml"
    assert more["acceptance"]["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    body = {"version": more["version"], "proposal": more["proposal"], "who": WHO}
    again = _work(client, client.post(f"{BENCH}/bench/accept", json=body).json())
    assert again["state"] == "failed" and "accepted already" in again["error"]["text"]

    # Leave a test out: it is calibrated anew, and what the page had before cannot be accepted.
    test = more["names"][int(arrays["test"][0])]
    act = {"what": "exclude", "test": test, "why": "a door was slammed", "who": WHO}
    left = client.post(
        f"{BENCH}/decisions", json={"version": more["version"], "decisions": [act]}
    ).json()
    assert left["job"]["kind"] == "calibrate"
    assert _work(client, left["job"])["state"] == "done"
    assert client.post(f"{BENCH}/bench/accept", json=body).status_code == 409
    arrays, more = _found(client)
    assert [t for t, _ in more["excluded"]] == [test]
    assert more["acceptance"]["now"] is None
    assert more["acceptance"]["before"]["accepted_by"] == WHO
    other = {"version": more["version"], "proposal": "0" * 64, "who": WHO}
    done = _work(client, client.post(f"{BENCH}/bench/accept", json=other).json())
    assert "not the one that was looked at" in done["error"]["text"]
    serious = [f for f in more["findings"] if f["serious"]]
    body = {"version": more["version"], "proposal": more["proposal"], "who": "B. Bench",
            "why": "the page's test", "despite": "known" if serious else ""}  # fmt: skip
    done = _work(client, client.post(f"{BENCH}/bench/accept", json=body).json())
    assert done["state"] == "done", done
    _, more = _found(client)
    assert more["acceptance"]["now"]["accepted_by"] == "B. Bench"

    # The command line says who accepted it on the page.
    ask = Wish(False, "", "", "", "", None, True, None, False)
    capsys.readouterr()
    assert calibrate_command(study, ask) in (0, 3)
    said = capsys.readouterr().out
    assert "This calibration is accepted, by B. Bench on" in said and "the page's test" in said
    assert "--accept" not in said and hashlib.sha256(path.read_bytes()).hexdigest() in said

    # The same entries as the command line makes, from the same files.
    ours = Ledger.open(create=False)
    kinds = [(e.kind, e.name) for e in ours.entries()]
    assert done["outcome"]["entries"] == len(kinds) > 4
    elsewhere = root / "by-hand.sqlite"
    path.unlink()
    wish = Wish(True, "B. Bench", "by hand", "known" if serious else "", "", str(elsewhere), False,
                None, False)  # fmt: skip
    assert calibrate_command(study, wish) in (0, 3)
    theirs = Ledger.open(elsewhere, create=False)
    assert [(e.kind, e.name) for e in theirs.entries()] == kinds
    listed = client.get(f"{BENCH}/bench/ledger").json()
    assert listed["breaks"] == [] and len(listed["entries"]) == len(kinds)
    about = client.get(f"{BENCH}/bench/ledger", params={"name": "B1"}).json()
    assert 0 < about["total"] < len(kinds)
    few = client.get(f"{BENCH}/bench/charts", params={"tip": "B1"}).json()
    assert "course in time" in few["fault"]["what"]


def test_what_was_accepted_elsewhere_is_told_before_it_is_computed(
    client: TestClient, root: Path
) -> None:
    """The demo's calibration is accepted through the package, and no page has seen it."""
    values = client.get(f"{BENCH}/bench/accepted").json()
    assert values["standing"] == "none"
    assert values["accepted"]["accepted_by"] == WHO and values["accepted"]["same"] is True
    before = client.get(BENCH).json()["accepted_sha256"]
    assert before == values["accepted"]["sha256"] != ""
    study = root / "demo" / "bench" / "bench.toml"
    file = study.with_name("calibration.toml")
    file.unlink()
    assert client.get(f"{BENCH}/bench/accepted").json()["accepted"] is None
    wish = Wish(True, "C. Command", "by hand", "known", "", None, True, None, False)
    assert calibrate_command(study, wish) in (0, 3)
    values = client.get(f"{BENCH}/bench/accepted").json()
    assert values["standing"] == "current" and values["accepted"]["accepted_by"] == "C. Command"
    # A study that was changed since says so.
    text = study.read_text(encoding="utf-8")
    study.write_text(
        text.replace("[calibration]", "[calibration]\nhealth_h_c_nm = 150.0", 1)
        if "health_h_c_nm" not in text
        else re.sub("health_h_c_nm = .*", "health_h_c_nm = 151.0", text),
        encoding="utf-8",
    )
    assert client.get(f"{BENCH}/bench/accepted").json()["accepted"]["same"] is False
    assert client.get(f"{API}/bench/accepted").status_code == 404


def test_a_study_shows_the_tip_it_used(client: TestClient) -> None:
    arrays, more = unpack(client.get(f"{API}/bench/tips").content)
    (tip,) = more["tips"]
    assert tip["tip"] == "B1" and tip["said"]["accepted_by"] == WHO
    assert np.all(arrays["low0"] <= arrays["ratio0"])
    answer = client.get(f"{API}/bench/found")
    assert answer.status_code == 404 and "describes no calibration" in answer.text


def test_the_chart_says_when_the_tip_changed_and_what_used_it(tmp_path: Path) -> None:
    """A tip whose area grows by a tenth after the eighth check; one study before, one after."""
    book = Ledger.open(tmp_path / "ledger.sqlite")

    def add(body: Any) -> None:
        book.accept(book.propose(body), WHO, "for the chart")

    add(TipBody(name="T", shape="Berkovich"))
    add(FrameBody(name="F"))
    steps = (0.2, -0.4, 0.1, 0.5, -0.3, 0.0, 0.3, -0.2, 0.1, -0.1, 0.2, -0.3)
    for i, step in enumerate(steps):
        area = (1.0 + 0.004 * step + (0.1 if i >= 8 else 0.0)) * 1e-12
        on = f"2025-{i + 1:02d}-10"
        add(HealthBody(tip="T", frame="F", on=on, depth_m=2e-7, area_m2=area, u_area_m2=4e-15,
                       tests=5))  # fmt: skip
    for name, on in (("early", "2025-03-20"), ("late", "2025-10-20")):
        add(StudyBody(name=name, recipe_sha256="0" * 64, results_sha256="1" * 64, on=on,
                      used=(Used(tip="T", frame="F"),), version="0",
                      measured_from=on, measured_to=on))  # fmt: skip
    d = charts_of(book, "T")
    assert d["state"] == "changed" and d["depth"] == "200"
    assert d["between"] == ["2025-08-10", "2025-09-10"]
    assert d["value"][0] == pytest.approx(1.0008)
    assert d["after"] == [8, 9, 10, 11]
    assert d["good"] is None
    assert {s["name"] for s in d["studies"]} == {"early", "late"}  # never verified: all of them

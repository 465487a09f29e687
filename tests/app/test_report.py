"""Signing: by page and command the same entry; frozen; later changes make a new version; what was
tampered with is found. Invented data."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from app_demo import API
from starlette.testclient import TestClient

from drypoint.cli import main
from drypoint.errors import ReportError, StoreError
from drypoint.ledger import Ledger
from drypoint.recipe import Decision, append, load_study
from drypoint.report import sign_study
from drypoint.run import run_study
from drypoint.run.checking import check_signatures
from drypoint.run.signing import read_signatures, signatures_file
from drypoint.store.chain import BEGINNING, append_link, hash_of, read_chain

WHEN = "2025-03-10T09:00:00Z"


def _call(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr(sys, "argv", ["drypoint", *arguments])
    with pytest.raises(SystemExit) as stopped:
        main()
    return int(stopped.value.code or 0)


def _wait(client: TestClient, job: dict[str, Any]) -> dict[str, Any]:
    client.app.state.jobs.wait(job["id"], 120)  # type: ignore[attr-defined]
    values: dict[str, Any] = client.get(f"/api/jobs/{job['id']}").json()
    return values


def _sign(client: TestClient, who: str, version: str) -> Any:
    return client.post(
        f"{API}/report/sign", json={"version": version, "who": who, "why": "looked at"}
    )


@pytest.fixture(scope="module")
def signed_demo(run_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Study file of the demo, signed once; not to be changed."""
    root = tmp_path_factory.mktemp("signed") / "demo"
    shutil.copytree(run_demo / "demo", root)
    sign_study(root / "study.toml", who="A. Example", why="checked and approved", when=WHEN)
    return root / "study.toml"


@pytest.fixture
def signed(signed_demo: Path, tmp_path: Path) -> Path:
    """A copy that a test may change."""
    shutil.copytree(signed_demo.parent, tmp_path / "copy")
    return tmp_path / "copy" / "study.toml"


def test_a_chain_shows_every_change(tmp_path: Path) -> None:
    path, before = tmp_path / "chain.jsonl", BEGINNING
    for n in range(3):
        before = append_link(path, {"n": n, "text": "µ"}, after=before)["hash"]
    assert [v["n"] for v in read_chain(path)] == [0, 1, 2]
    lines = path.read_text(encoding="utf-8").splitlines()
    a, b, c = lines
    changed = a.replace("0", "7", 1)
    for damaged in ([b, c], [a, c], [b, a, c], [changed, b, c], [*lines, "{}"], [*lines, "no"]):
        path.write_text("\n".join(damaged) + "\n", encoding="utf-8")
        with pytest.raises(StoreError, match="line"):
            read_chain(path)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(StoreError, match="meanwhile"):
        append_link(path, {"n": 9}, after=BEGINNING)
    assert len(read_chain(path)) == 3
    assert hash_of({"a": 1, "hash": "x"}) == hash_of({"a": 1})


def test_page_and_command_make_the_same_entry(
    client: TestClient, root: Path, signed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    version = client.get(API).json()["version"]
    before = client.get(f"{API}/report/standing").json()
    assert before["version"] == 1 and not before["signatures"] and not before["written"]
    assert client.get(f"{API}/report/page?name=report.html").status_code == 404
    exec(before["python"], {})
    assert client.get(f"{API}/report/standing").json()["pdf"]
    job = _sign(client, "A. Example", version)
    assert job.status_code == 200, job.text
    outcome = _wait(client, job.json())
    assert outcome["state"] == "done", outcome["error"]
    study = root / "demo" / "study.toml"
    (mine,), (theirs,) = read_signatures(study), read_signatures(signed)
    assert mine.signed == theirs.signed and mine.version == theirs.version == 1
    assert {Path(n).name for n in mine.files} == {Path(n).name for n in theirs.files}
    assert mine.seal == outcome["outcome"]["seal"] != theirs.seal

    # In the ledger by its hash, as the command enters it.
    (entry,) = Ledger.open().signatures(sha256=mine.hash)
    assert entry.signature.who == "A. Example"
    assert _call(monkeypatch, "check", str(study), "--ledger", str(Ledger.open().place)) == 0

    # The signed page goes into a frame without scripts; the signature stands on it.
    page = client.get(f"{API}/report/page?name=report.html&signature=1")
    assert page.status_code == 200 and "<dt>Signed by</dt><dd>A. Example, " in page.text
    assert mine.seal[:16] in page.text
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "sandbox" in policy and "script" not in policy
    file = client.get(f"{API}/report/file?name=report.pdf&signature=1")
    assert file.content.startswith(b"%PDF") and "attachment" in file.headers["content-disposition"]
    for wrong in ("name=../study.toml", "name=report.html&signature=2", "name=study.toml"):
        assert client.get(f"{API}/report/file?{wrong}").status_code == 404

    # Not twice, and not what was not looked at.
    refused = _wait(client, _sign(client, "A. Example", version).json())
    assert refused["state"] == "failed" and "already" in refused["error"]["what"]
    assert _sign(client, "B. Bench", "0" * 20).status_code == 409


def test_a_change_makes_a_new_version_and_is_told(
    signed: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _call(monkeypatch, "check", str(signed)) == 0
    assert "holds" in capsys.readouterr().out
    study = load_study(signed)
    append(study.decisions, Decision(who="B. Bench", what="exclude", test="G-08", why="bumped"))
    assert _call(monkeypatch, "check", str(signed)) == 1
    out = capsys.readouterr().out
    assert "exclude G-08 by B. Bench" in out and "version 1, which is whole" in out
    # What is on the disk is not what would be signed now.
    with pytest.raises(StoreError, match="before the last change"):
        sign_study(signed, who="B. Bench", why="again")
    run_study(signed)
    made = sign_study(signed, who="A. Example", why="with G-08 excluded", when=WHEN)
    assert (made.number, made.version) == (2, 2)
    found = check_signatures(signed)
    assert [c.holds for c in found] == [False, True] and not found[0].faults
    assert "Version 2 was signed since." in found[0].changes
    page = (signed.parent / made.file("report.html")).read_text(encoding="utf-8")
    assert (
        "with G-08 excluded (seal" in page
        and "<dt>Version</dt><dd>2</dd>" in page
        and "checked and approved" not in page
    )


def test_an_unsigned_report_says_what_is_new_since(signed: Path) -> None:
    from drypoint.report import write_html

    text = signed.read_text(encoding="utf-8").replace("coverage", "coverage")
    signed.write_text(text.replace("trials = 400", "trials = 401"), encoding="utf-8")
    result = run_study(signed, write=False)
    page = write_html(result, signed.parent / "r.html").read_text(encoding="utf-8")
    assert "This version 2 is not signed. Version 1 was signed by A. Example" in page
    assert "trials" in page.partition("Changed since:")[2][:200]
    assert "Made by" in page


@pytest.mark.parametrize(
    ("what", "words"),
    [("raw", "raw file"), ("report", "report.pdf was changed"), ("results", "not whole"),
     ("line", "changed after it was written")],
)  # fmt: skip
def test_what_was_tampered_with_is_found(signed: Path, what: str, words: str) -> None:
    study = load_study(signed)
    if what == "raw":
        name = next(iter(json.loads((study.results / "manifest.json").read_text())["inputs"]))
        path = study.folder / name
    elif what == "report":
        path = study.folder / read_signatures(signed)[0].file("report.pdf")
    elif what == "results":
        path = study.results / "tests.csv"
        path = path if path.is_file() else study.results / "tests.parquet"
    else:
        path = signatures_file(signed)
        path.write_text(path.read_text().replace("A. Example", "B. Example"), encoding="utf-8")
        with pytest.raises(StoreError, match=words):
            check_signatures(signed)
        return
    path.write_bytes(path.read_bytes() + b" ")
    (found,) = check_signatures(signed)
    assert not found.holds
    assert words in " ".join((*found.faults, *found.changes))


@pytest.mark.parametrize(
    ("given", "key"),
    [({"who": " "}, "who"), ({"why": "a\nb"}, "why"), ({"when": "yesterday"}, "when")],
)
def test_a_signature_that_is_none_is_refused(signed: Path, given: dict[str, str], key: str) -> None:
    with pytest.raises(ReportError) as error:
        sign_study(signed, **{"who": "B. Bench", "why": "seen", **given})
    assert error.value.where.key == key
    assert len(read_signatures(signed)) == 1


def test_an_unsigned_study_is_not_one_that_holds(
    root: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _call(monkeypatch, "check", str(root / "demo" / "study.toml")) == 1
    assert "Nobody has signed" in capsys.readouterr().out


def test_the_signed_report_is_set_with_its_signature(signed_demo: Path) -> None:
    pdf = signed_demo.parent / read_signatures(signed_demo)[0].file("report.pdf")
    text = subprocess.run(
        ["pdftotext", "-l", "2", str(pdf), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "A. Example, 2025-03-10 09:00 UTC (approval, time stated by hand)" in " ".join(
        text.split()
    )
    assert "Checked by" not in text

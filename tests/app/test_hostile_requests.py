"""What a page may read: only what lies in the served folder. Requests and files only. Each secret
that is reached for outside the folder must stay unseen. Invented data."""

from __future__ import annotations

import itertools
import os
import shutil
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from app_demo import BASE, ORIGIN, PORT
from starlette.testclient import TestClient

from drypoint.app import Settings, create_app
from hostile_folder import (
    SECRET,
    STUDY,
    bytes_below,
    record_text,
    secret_record,
    spoil,
    write_study,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes, links and names of POSIX")

#: Each test has a study of another name, so that nothing kept of an earlier one serves it.
NUMBER = itertools.count(1)


@dataclass(frozen=True)
class Page:
    """A browser that has come in, and the study of one test in a folder of its own name."""

    client: TestClient
    served: Path
    name: str

    @property
    def mine(self) -> Path:
        return self.served / self.name

    @property
    def outside(self) -> Path:
        return self.served.parent / "outside"

    @property
    def key(self) -> str:
        return f"{self.name}:study"

    @property
    def api(self) -> str:
        return f"/api/studies/{self.key}"

    def get(self, path: str) -> Any:
        return self.client.get(path)

    def post(self, path: str, **more: Any) -> Any:
        return self.client.post(path, **more)


@pytest.fixture(scope="module")
def workbench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Path]]:
    """One workbench for all tests, and the folder that it serves."""
    place = tmp_path_factory.mktemp("hostile")
    (place / "served").mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DRYPOINT_HOME", str(place / "home"))
        patch.setenv("DRYPOINT_LEDGER", str(place / "ledger.sqlite"))
        settings = Settings(place / "served", port=PORT)
        app = create_app(settings)
        with TestClient(
            app, base_url=BASE, headers=ORIGIN, raise_server_exceptions=False
        ) as client:
            assert client.get(f"/open?token={settings.token}").status_code == 200
            yield client, place / "served"


@pytest.fixture
def page(workbench: tuple[TestClient, Path]) -> Page:
    """The served folder with a sound study in it and nothing else; secrets lie beside."""
    client, served = workbench
    outside = served.parent / "outside"
    shutil.rmtree(outside, ignore_errors=True)
    for path in served.iterdir():
        shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()
    outside.mkdir()
    (outside / "secret.csv").write_text(secret_record(), encoding="utf-8")
    (outside / "secret.toml").write_text(f'kind = "{SECRET}"\n[[\n', encoding="utf-8")
    (outside / "table.csv").write_text(f"test;{SECRET}\ngood_0;1\n", encoding="utf-8")
    page = Page(client, served, f"mine{next(NUMBER)}")
    write_study(page.mine)
    return page


def write(page: Page, text: str) -> Any:
    """The study file written through the page."""
    now = page.get(f"{page.api}/recipe").json()
    return page.post(f"{page.api}/recipe", json={"text": text, "version": now["version"]})


def job(page: Page, kind: str) -> dict[str, Any]:
    """A piece of work, done."""
    begun = page.post(f"{page.api}/jobs", json={"kind": kind}).json()
    for _ in range(6000):
        found: dict[str, Any] = page.get(f"/api/jobs/{begun['id']}").json()
        if found["state"] in ("done", "failed", "stopped"):
            return found
        time.sleep(0.02)
    raise AssertionError(found)


def everything(page: Page) -> str:
    """All that the pages and endpoints of the study say."""
    gets = ("", "/files/table?table=0", "/files/set-aside", "/tests/means", "/recipe")
    answers = [page.get(f"{page.api}{path}") for path in gets]
    views = ("files", "tests", "report", "recipe", "stress")
    answers += [page.get(f"/studies/{page.key}/{view}") for view in views]
    answers += [page.get(path) for path in ("/", "/new", "/api/studies")]
    answers += [
        page.post(f"{page.api}/files/look", json={"table": 0}),
        page.post("/api/look", json={"folder": page.name}),
    ]
    assert all(a.status_code < 500 for a in answers), [a.status_code for a in answers]
    return "".join(a.text for a in answers)


OUTSIDE = ("../../outside/secret.csv", "../../outside/*.csv", "{outside}/secret.csv",
           "raw/../../../outside/secret.csv", "raw/link.csv", "raw/link*.csv", "raw/up/*.csv",
           "raw/**/*.csv")  # fmt: skip


@pytest.mark.parametrize("pattern", OUTSIDE)
def test_no_preview_and_no_run_reads_a_record_outside(page: Page, pattern: str) -> None:
    outside = page.outside
    raw = page.mine / "raw"
    (raw / "link.csv").symlink_to(outside / "secret.csv")
    (raw / "up").symlink_to(outside, target_is_directory=True)
    text = STUDY.replace("raw/**/*.csv", pattern.format(outside=outside))
    write(page, text)
    if (page.mine / "study.toml").read_text("utf-8") != text:
        (page.mine / "study.toml").write_text(text, encoding="utf-8")
    said = everything(page)
    done = job(page, "run")
    if pattern == "raw/**/*.csv":
        assert done["state"] == "done"
        assert done["outcome"]["tests"] == 3
    else:
        assert done["state"] == "failed"
        assert "leads out" in str(done["error"])
    assert SECRET not in said + str(done) + everything(page)
    assert SECRET.encode() not in bytes_below(page.served)


NAMED = {
    "bench": STUDY.replace(
        '[tips.B1]\nshape = "modified Berkovich"', '[benches.B1]\nfile = "{place}/secret.toml"'
    ),
    "area": STUDY.replace(
        'shape = "modified Berkovich"',
        'shape = "modified Berkovich"\narea = {{ file = "{place}/secret.toml" }}',
    ),
    "table": STUDY + '\n[tests_table]\nfile = "{place}/table.csv"\n',
    "report": STUDY + '\n[output]\nreport_folder = "{place}"\n',
    "results": STUDY + '\n[output]\nfolder = "{place}"\n',
}


@pytest.mark.parametrize("way", ["../../outside", "{outside}", "up"])
@pytest.mark.parametrize("name", NAMED)
def test_no_file_that_a_study_names_is_read_or_written_outside(
    page: Page, name: str, way: str
) -> None:
    outside = page.outside
    before = sorted(outside.rglob("*"))
    (page.mine / "up").symlink_to(outside, target_is_directory=True)
    text = NAMED[name].format(place=way.format(outside=outside))
    checked = page.post(f"{page.api}/recipe/check", json={"text": text})
    answer = write(page, text)
    if name == "table":
        assert answer.status_code == 200  # its rows are looked at when the study runs
    else:
        assert (checked.status_code, answer.status_code) == (422, 422)
        (page.mine / "study.toml").write_text(text, encoding="utf-8")
    said = checked.text + answer.text + everything(page)
    for kind in ("run", "report"):
        done = job(page, kind)
        assert done["state"] == "failed", done
        said += str(done)
    assert SECRET not in said
    # Whether a file is there is not told either: a name that is none is refused alike.
    other = text.replace("secret.toml", "none.toml").replace("table.csv", "none.csv")
    again = page.post(f"{page.api}/recipe/check", json={"text": other})
    assert again.status_code == checked.status_code
    assert again.text.replace("none.", "secret.") == checked.text
    assert sorted(outside.rglob("*")) == before


def test_the_same_study_may_be_run_on_the_command_line(page: Page) -> None:
    """The limit is the page's: the user of the command line reads what is named."""
    from drypoint.run import run_study

    text = STUDY.replace("raw/**/*.csv", "../../outside/*.csv")
    text = text.replace('specimen = "glass"\n', 'specimen = "glass"\nfirst_data_line = 3\n', 1)
    (page.outside / "table.csv").unlink()
    study = page.mine / "study.toml"
    study.write_text(text.replace("first_data_line = 3\n", ""), encoding="utf-8")
    assert len(run_study(study, write=False).tests) == 1


def test_links_and_pipes_in_place_of_what_was_written(page: Page) -> None:
    """Results, report and signatures that were replaced by links: nothing of the target is shown,
    and no answer waits for a pipe."""
    outside, mine = page.outside, page.mine
    assert job(page, "run")["state"] == "done"
    assert job(page, "report")["state"] == "done"
    secret = outside / "report.html"
    secret.write_text((mine / "report" / "report.html").read_text("utf-8") + SECRET, "utf-8")
    for name in ("report/report.html", "report/report.pdf", "results/summary.json",
                 "results/tests.parquet", "results/manifest.json"):  # fmt: skip
        path = mine / name
        kept = path.read_bytes()
        for spoilt in (secret, None):
            path.unlink()
            if spoilt is None:
                os.mkfifo(path)
            else:
                path.symlink_to(spoilt)
            said = everything(page)
            said += page.get(f"{page.api}/report/page?name=report.html").text
            said += page.get(f"{page.api}/report/file?name=report.pdf").text
            assert SECRET not in said, name
        path.unlink()
        path.write_bytes(kept)
    for name in ("study.signatures.jsonl", "study.decisions.jsonl"):
        os.mkfifo(mine / name)
        everything(page)
        assert page.get(f"{page.api}/report/standing").status_code < 500
        assert page.get(f"{page.api}/report/check").status_code < 500
        (mine / name).unlink()


def test_odd_names_and_things_do_not_stop_the_pages(page: Page) -> None:
    (page.outside / "more").mkdir()
    spoil(page.mine / "raw", page.outside / "more")
    os.mkfifo(page.served / "pipe.toml")
    os.mkfifo(page.mine / "b1.toml")
    bad = os.fsencode(page.served) + b"/caf\xe9"
    Path(os.fsdecode(bad)).mkdir()
    (Path(os.fsdecode(bad)) / "a.csv").write_text(record_text(9.0), encoding="utf-8")
    Path(os.fsdecode(bad + b".toml")).write_text(STUDY, encoding="utf-8")
    (page.served / "new\nline").mkdir()
    (page.served / "new\nline" / "study.toml").write_text(STUDY, encoding="utf-8")
    (page.served / "new\nline" / "a.csv").write_text(record_text(9.0), encoding="utf-8")
    everything(page)
    (one,) = page.get("/api/studies").json()["studies"]
    assert one["key"] == page.key
    done = job(page, "run")
    assert (done["state"], done["outcome"]["tests"], done["outcome"]["set_aside"]) == (
        "done", 3, 10,
    )  # fmt: skip
    aside = page.get(f"{page.api}/files/set-aside").json()
    assert "raw/pipe.csv" in str(aside)
    assert SECRET not in everything(page)


def test_a_new_study_takes_files_of_its_folder_only(page: Page) -> None:
    outside = page.outside
    (page.served / "new").mkdir()
    (page.served / "new" / "link.csv").symlink_to(outside / "secret.csv")
    (page.served / "new" / "sound.csv").write_text(record_text(9.0), encoding="utf-8")
    said = ""
    for name in ("link.csv", "../../outside/secret.csv", str(outside / "secret.csv"), "sub\x00"):
        for path, body in (
            ("/api/look", {"folder": "new", "groups": [{"files": [name]}]}),
            ("/api/studies", {"folder": "new", "name": "n", "groups": [{"files": [name]}]}),
        ):
            answer = page.post(path, json=body)
            assert answer.status_code in (403, 422), (name, path)
            said += answer.text
    for bench in ("../outside/secret.toml", str(outside / "secret.toml"), "new/link.csv"):
        body = {"folder": "new", "name": "n", "groups": [{"files": ["sound.csv"]}], "bench": bench}
        answer = page.post("/api/studies", json=body)
        assert answer.status_code in (403, 422), bench
        said += answer.text
    for folder in ("../outside", str(outside), "new/../../outside"):
        answer = page.post("/api/look", json={"folder": folder})
        assert answer.status_code in (400, 403, 422), folder
        said += answer.text
    assert SECRET not in said
    assert not (page.served / "new" / "study.toml").exists()

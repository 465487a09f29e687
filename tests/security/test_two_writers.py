"""Two who write the study file: the second is told, and nothing of the first is lost. And what may
not be uploaded: nothing goes into folders that Drypoint writes."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from pathlib import Path

import httpx2 as httpx
import pytest
from served import Workbench, serving, values

API = "/api/studies/study"
RAW = b"Time [s],Load [mN],Depth [nm]\n" + b"".join(b"%d,%d,%d\n" % (i, i, i) for i in range(40))


@pytest.fixture
def bench(signed: Path, tmp_path: Path) -> Iterator[Workbench]:
    """A workbench over a copy of the signed study; the folder above it holds other things."""
    with serving(signed, tmp_path / "home") as found:
        yield found


@pytest.fixture
def page(bench: Workbench) -> Iterator[httpx.Client]:
    with bench.owner() as owner:
        assert owner.get(bench.way_in).status_code == 303
        yield owner


def write(page: httpx.Client, text: str, version: str) -> httpx.Response:
    return page.post(f"{API}/recipe", json={"text": text, "version": version})


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "# a remark of the first\n" + text,
        lambda text: text.replace('name = "', 'name  =  "', 1),
        lambda text: text + "\n\n# only blank lines and this\n",
        lambda text: text.replace("u_nu = ", "u_nu = 1.0 * ", 0) + "\n",
    ],
    ids=["remark", "blanks", "end", "line end"],
)
def test_the_second_tab_does_not_write_over_the_first(
    page: httpx.Client, signed: Path, change: object
) -> None:
    """Also where the meaning is the same: a remark is somebody's work."""
    seen = values(page.get(f"{API}/recipe"))
    first = change(seen["text"])  # type: ignore[operator]
    assert write(page, first, seen["version"]).status_code == 200
    late = write(page, seen["text"] + "\n# of the second\n", seen["version"])
    assert late.status_code == 409
    error = late.json()["error"]
    assert "another window or by another person" in error["what"]
    assert "nothing of yours was written" in error["what"] and "reload" in error["remedy"]
    assert signed.read_text("utf-8") == first
    now = values(page.get(f"{API}/recipe"))
    assert now["text"] == first
    assert write(page, first + "\n# of the second\n", now["version"]).status_code == 200
    assert "of the first" in signed.read_text("utf-8") or "remark" not in first


@pytest.mark.parametrize("edit", ["remark", "byte-order mark", "line ends", "faulty"])
def test_an_editor_outside_is_not_written_over(page: httpx.Client, signed: Path, edit: str) -> None:
    seen = values(page.get(f"{API}/recipe"))
    was = signed.read_bytes()
    now = {
        "remark": was + b"\n# typed in an editor\n",
        "byte-order mark": b"\xef\xbb\xbf" + was,
        "line ends": was.replace(b"\n", b"\r\n"),
        "faulty": was + b"\n[[[ half a line, as it is typed",
    }[edit]
    signed.write_bytes(now)
    assert write(page, seen["text"] + "\n# of the page\n", seen["version"]).status_code == 409
    assert signed.read_bytes() == now
    # Decisions, too, are about the file that was seen.
    act = {"version": seen["version"],
           "decisions": [
                {"what": "remark", "why": "looked at it", "who": "A. Example"}]}  # fmt: skip
    assert page.post(f"{API}/decisions", json=act).status_code in (409, 422)
    assert not signed.with_name("study.decisions.jsonl").exists()
    # After a reload it can be put right on the page, also when it is faulty.
    again = values(page.get(f"{API}/recipe"))
    assert again["version"] != seen["version"]
    assert write(page, seen["text"], again["version"]).status_code == 200


def test_text_and_version_are_of_the_same_moment(page: httpx.Client, signed: Path) -> None:
    """Read, edited, read again: each answer's version fits its text and no other."""
    was = signed.read_text("utf-8")
    versions = {}
    for n in range(6):
        signed.write_text(was + f"\n# {n}\n", encoding="utf-8")
        found = values(page.get(f"{API}/recipe"))
        versions[found["version"]] = found["text"]
        assert values(page.get(API))["version"] == found["version"]
    assert len(versions) == 6
    for version, text in list(versions.items())[:-1]:
        assert write(page, text, version).status_code == 409


def test_a_second_tab_does_not_write_over_a_new_study(page: httpx.Client, signed: Path) -> None:
    folder = signed.parent
    body = {"folder": "raw", "name": "one", "groups": [{"files": ["G-01.txt"]}]}
    first = page.post("/api/studies", json=body)
    assert first.status_code == 200, first.text
    text = (folder / "raw" / "study.toml").read_bytes()
    assert page.post("/api/studies", json={**body, "name": "two"}).status_code == 409
    assert (folder / "raw" / "study.toml").read_bytes() == text


def spellings(name: str) -> set[str]:
    """Ways to write the name of a folder that some file system takes for the same."""
    wide = "".join(chr(ord(c) + 0xFEE0) if "a" <= c <= "z" else c for c in name)
    return {
        name, name.upper(), name.capitalize(), name + ".", name + "...", name + " ", " " + name,
        name + ". .", wide, name.replace("s", "\u017f"),
        unicodedata.normalize("NFD", name + "\u0301"),
        name[:3] + "\u200b" + name[3:], name[:3] + "\u00ad" + name[3:], name + "\ufe0f",
        f"./{name}", f"raw/../{name}", f"raw\\..\\{name}", f"{name}/deeper", f"{name}\\deeper",
        f"{name}::$INDEX_ALLOCATION", f"%2e/{name}", f"raw/%2e%2e/{name}", f"{name}/./.",
    }  # fmt: skip


@pytest.mark.parametrize("name", ["results", "report", "study.signed"])
def test_nothing_is_uploaded_into_what_drypoint_wrote(
    page: httpx.Client, signed: Path, name: str
) -> None:
    folder = signed.parent
    before = listed(folder)
    tries = 0
    for spelling in sorted(spellings(name) | {f"{name}/1", f"{name.upper()}/1"}):
        path = f"/api/files/{spelling}/planted.csv"
        for address in (path, path.replace("/planted", "//planted")):
            try:
                answer = page.put(address, content=RAW)
            except httpx.InvalidURL:
                continue
            assert answer.status_code in (400, 403, 404), (spelling, answer.text)
            tries += 1
    assert tries > 30
    assert listed(folder) == before


def listed(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_nor_by_a_link_or_another_name_of_the_study(
    page: httpx.Client, bench: Workbench, signed: Path
) -> None:
    folder = signed.parent
    links = {"in": "results", "out": "report", "kept": "study.signed", "first": "study.signed/1",
             "cache": ".drypoint-cache"}  # fmt: skip
    for link, target in links.items():
        (folder / target).mkdir(exist_ok=True)
        (folder / link).symlink_to(folder / target, target_is_directory=True)
    (folder / "raw" / "up").symlink_to(folder, target_is_directory=True)
    text = signed.read_text("utf-8").replace(
        "[tips.", '[output]\nfolder = "Made here"\nreport_folder = "told"\n\n[tips.', 1
    )
    (folder / "other.toml").write_text(text, encoding="utf-8")
    before = listed(folder)
    wanted = [*links, "raw/up/results", "raw/up/report", "raw/up/in", "Made here", "made HERE",
              "told",
              "told/deeper", "TOLD", "in/deeper", "kept/2"]  # fmt: skip
    for name in wanted:
        answer = page.put(f"/api/files/{name}/planted.csv", content=RAW)
        assert answer.status_code in (400, 403), (name, answer.text)
        assert "planted.csv" in answer.text
    # A folder with a list of results in it, whatever its name.
    (folder / "copy").mkdir()
    (folder / "copy" / "manifest.json").write_text("{}", encoding="utf-8")
    assert page.put("/api/files/copy/sub/planted.csv", content=RAW).status_code == 400
    (folder / "copy" / "manifest.json").unlink()
    (folder / "copy").rmdir()
    assert listed(folder) == before
    # Raw files are welcome where raw files are.
    assert page.put("/api/files/raw/more.csv", content=RAW).status_code == 200
    assert page.put("/api/files/resultant/more.csv", content=RAW).status_code == 200

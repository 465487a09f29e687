"""Keys, names and the ledger behind a signature, attacked from outside."""

from __future__ import annotations

import hashlib
import json
import shutil
import signal
import sqlite3
import subprocess
import tarfile
import time
from pathlib import Path

import pytest
from attacked import COMMAND, drypoint

ME, OTHER = "A. Example (invented)", "B. Bench (invented)"


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user's folder of this test alone, and a file with a passphrase."""
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("DRYPOINT_LEDGER", str(tmp_path / "ledger.sqlite"))
    (tmp_path / "pass").write_text("an invented long passphrase\n", encoding="utf-8")
    (tmp_path / "wrong").write_text("another long passphrase\n", encoding="utf-8")
    return tmp_path


def _new(home: Path, who: str = ME) -> None:
    said = drypoint("key", "new", "--who", who, "--passphrase-file", home / "pass")
    assert said.code == 0, said.text


def _signed(study: Path, home: Path, *more: object, who: str = ME) -> tuple[int, str]:
    words = ("--key", "--passphrase-file", home / "pass") if "--plain" not in more else ()
    rest = [m for m in more if m != "--plain"]
    said = drypoint("sign", study, "--who", who, *words, *rest)
    return said.code, said.text


def test_a_key_signs_and_is_checked(study: Path, home: Path) -> None:
    _new(home)
    files = list((home / "home" / "keys").iterdir())
    assert len(files) == 1 and files[0].stat().st_mode & 0o077 == 0
    assert "PRIVATE KEY" in files[0].read_text(encoding="utf-8")
    assert "ENCRYPTED" in files[0].read_text(encoding="utf-8")
    code, text = _signed(study, home, "--as", "review")
    assert code == 0, text
    plain = drypoint("check", study)
    assert plain.code == 0 and "signed with the key" in plain.text
    asked = drypoint("check", study, "--ledger", home / "ledger.sqlite")
    assert asked.code == 0 and f"to {ME}" in asked.text and "review" in asked.text


def test_a_keyed_signature_needs_no_ledger(study: Path, home: Path) -> None:
    """The public key travels in the signature; the check needs neither ledger nor key file."""
    said = drypoint("key", "new", "--who", ME, "--passphrase-file", home / "pass", "--no-ledger")
    assert said.code == 0
    assert _signed(study, home, "--no-ledger")[0] == 0
    assert not (home / "ledger.sqlite").exists()
    said = drypoint("check", study, DRYPOINT_HOME=str(home / "elsewhere"))
    assert said.code == 0 and "signed with the key" in said.text


def test_a_wrong_passphrase_writes_nothing(study: Path, home: Path) -> None:
    _new(home)
    before = {p: p.read_bytes() for p in study.parent.rglob("*") if p.is_file()}
    said = drypoint("sign", study, "--who", ME, "--key", "--passphrase-file", home / "wrong")
    assert said.code != 0 and "passphrase" in said.text
    assert {p: p.read_bytes() for p in study.parent.rglob("*") if p.is_file()} == before


def _rewrite(study: Path, **changes: object) -> None:
    """Change fields of the signature, and mend the chain as whoever can write the file could."""
    path = study.parent / "study.signatures.jsonl"
    body = json.loads(path.read_text(encoding="utf-8"))
    body.update(changes)
    rest = {k: v for k, v in body.items() if k != "hash"}
    text = json.dumps(rest, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    body["hash"] = hashlib.sha256(text.encode("utf-8")).hexdigest()
    path.write_text(json.dumps(body, ensure_ascii=False) + "\n", encoding="utf-8")


@pytest.mark.parametrize(
    "change",
    [{"who": OTHER}, {"why": "never looked"}, {"when": "2020-01-01T00:00:00Z"},
     {"meaning": "author"}, {"clock": ""}, {"version": 7}],
    ids=lambda c: next(iter(c)),
)  # fmt: skip
def test_nothing_of_a_keyed_signature_can_be_changed(
    keyed: Path, tmp_path: Path, change: dict[str, object]
) -> None:
    shutil.copytree(keyed.parent, tmp_path / "copy")
    study = tmp_path / "copy" / "study.toml"
    _rewrite(study, **{**change, **({"clock": "none"} if "clock" in change else {})})
    said = drypoint("check", study)
    assert said.code == 1
    assert "was not signed with the key" in said.text


@pytest.fixture(scope="module")
def keyed(run_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study that was signed with a key; not to be changed."""
    root = tmp_path_factory.mktemp("keyed")
    shutil.copytree(run_once.parent, root / "study")
    (root / "pass").write_text("an invented long passphrase\n", encoding="utf-8")
    study = root / "study" / "study.toml"
    own = {"DRYPOINT_HOME": str(root / "home"), "DRYPOINT_LEDGER": str(root / "ledger.sqlite")}
    words = ("--passphrase-file", root / "pass")
    assert drypoint("key", "new", "--who", ME, *words, **own).code == 0
    assert drypoint("sign", study, "--who", ME, "--key", *words, **own).code == 0
    return study


def test_a_keyed_signature_cannot_be_pasted_onto_another_set(keyed: Path, tmp_path: Path) -> None:
    """The results are exchanged, and every hash that a forger can mend is mended."""
    shutil.copytree(keyed.parent, tmp_path / "copy")
    study = tmp_path / "copy" / "study.toml"
    text = study.read_text(encoding="utf-8")
    study.write_text(text.replace("u_nu = 0.01", "u_nu = 0.09"), encoding="utf-8")
    assert drypoint("run", study).code == 0
    kept = study.parent / "study.signed" / "1"
    shutil.copyfile(study.parent / "results" / "manifest.json", kept / "manifest.json")
    shutil.copyfile(study.parent / "results" / "summary.json", kept / "summary.json")
    (kept / "recipe.txt").write_bytes(study.read_bytes())
    line = json.loads((study.parent / "study.signatures.jsonl").read_text(encoding="utf-8"))
    manifest = json.loads((kept / "manifest.json").read_text(encoding="utf-8"))
    files = {
        name: hashlib.sha256((study.parent / name).read_bytes()).hexdigest()
        for name in line["files"]
    }
    signed = {
        **line["signed"],
        "results": files["study.signed/1/manifest.json"],
        "recipe": manifest["recipe_hash"],
        "text": hashlib.sha256(study.read_bytes()).hexdigest(),
    }
    _rewrite(study, files=files, signed=signed, report={})
    said = drypoint("check", study)
    assert said.code == 1 and "was not signed with the key" in said.text


@pytest.mark.parametrize("how", ["lost", "revoke", "replace"])
def test_after_its_end_a_key_signs_no_more(study: Path, home: Path, how: str) -> None:
    """Signatures entered before hold; what a thief signs with a copied key file does not."""
    _new(home)
    assert _signed(study, home)[0] == 0
    stolen = home / "stolen"
    shutil.copytree(home / "home", stolen)
    more = ("--passphrase-file", home / "pass") if how == "replace" else ()
    assert drypoint("key", how, "--who", ME, *more).code == 0
    ledger = ("--ledger", home / "ledger.sqlite")
    assert drypoint("check", study, *ledger).code == 0
    if how != "replace":
        assert _signed(study, home)[0] != 0
    # The thief signs another study, and enters it under the owner's name.
    other = home / "other"
    shutil.copytree(study.parent, other)
    shutil.rmtree(other / "study.signed")
    (other / "study.signatures.jsonl").unlink()
    for plain in ((), ("--no-ledger",)):
        said = drypoint(
            "sign", other / "study.toml", "--who", ME, "--key", "--passphrase-file",
            home / "pass", *plain, DRYPOINT_HOME=str(stolen),
        )  # fmt: skip
        assert said.code == 0, said.text
        said = drypoint("check", other / "study.toml", *ledger)
        assert said.code == 1 and "nothing shows that it was signed before" in said.text
        shutil.rmtree(other / "study.signed")
        (other / "study.signatures.jsonl").unlink()


def test_a_key_of_another_name_is_refused(study: Path, home: Path) -> None:
    _new(home, OTHER)
    code, text = _signed(study, home)
    assert code != 0 and "No key of" in text
    # A thief's key under my name is known to the ledger as another person's, or not at all.
    assert _signed(study, home, who=OTHER)[0] == 0
    _rewrite(study, who=ME)
    said = drypoint("check", study, "--ledger", home / "ledger.sqlite")
    assert said.code == 1 and f"belongs to {OTHER}, not to {ME}" in said.text


def test_a_signature_without_key_of_somebody_who_has_one_is_noted(study: Path, home: Path) -> None:
    _new(home)
    assert _signed(study, home, "--plain")[0] == 0
    said = drypoint("check", study, "--ledger", home / "ledger.sqlite")
    assert "this signature was made without it" in said.text and "integrity only" in said.text


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ("A. Example", "\u0410. Example", "mixes the scripts"),
        ("A. Example", "a.  EXAMPLE", "has signed version 1 already"),
        ("A. Example", "\uff21. Example", "has signed version 1 already"),
        ("Possa", "\u0420\u043e\u0455\u0455\u0430", "looks like"),
        ("B. Mop", "\u0412. \u041c\u043e\u0440", "looks like"),
        ("J. Homer", "J. Horner", "looks like"),
    ],
)
def test_names_that_can_be_mistaken(
    study: Path, home: Path, first: str, second: str, words: str
) -> None:
    """Unicode TS 39: mixed scripts, and the skeletons of confusable characters."""
    assert _signed(study, home, "--plain", "--no-ledger", who=first)[0] == 0
    code, text = _signed(study, home, "--plain", "--no-ledger", who=second)
    assert code != 0 and words in text
    assert len((study.parent / "study.signatures.jsonl").read_text().splitlines()) == 1


@pytest.mark.parametrize(
    "name", ["\u0418. \u0418\u0432\u0430\u043d\u043e\u0432", "\u738b\u5c0f\u660e",
             "\u5c71\u7530\u30a2\u30ad", "O. M\u00fcller-\u00d8sterg\u00e5rd"],
)  # fmt: skip
def test_a_name_in_one_script_is_allowed(study: Path, home: Path, name: str) -> None:
    code, text = _signed(study, home, "--plain", "--no-ledger", who=name)
    assert code == 0, text


def test_a_busy_ledger_loses_no_entry(study: Path, home: Path) -> None:
    """The signature is written, the entry is not: said so, and made at the next call."""
    ledger = home / "ledger.sqlite"
    said = drypoint("key", "new", "--who", OTHER, "--passphrase-file", home / "pass")
    assert said.code == 0 and ledger.exists()
    holder = sqlite3.connect(ledger, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    try:
        code, text = _signed(study, home, "--plain")
    finally:
        holder.execute("ROLLBACK")
        holder.close()
    assert code != 0 and "was written, but its entry in the ledger was not" in text
    assert "othing was written" not in text and "nothing was signed" not in text
    code, text = _signed(study, home, "--plain")
    assert code == 0, text
    lines = (study.parent / "study.signatures.jsonl").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1
    assert drypoint("check", study, "--ledger", ledger).code == 0


def test_a_killed_signing_is_finished_at_the_next_call(study: Path, home: Path) -> None:
    """Killed at moments all over the signing: no torn set, no lost entry, nothing left behind."""
    ledger = home / "ledger.sqlite"
    command = [*COMMAND, "sign", str(study), "--who", ME]
    started = time.monotonic()
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    whole = time.monotonic() - started
    for part in (0.5, 0.9, 1.0):
        shutil.rmtree(study.parent / "study.signed", ignore_errors=True)
        (study.parent / "study.signatures.jsonl").unlink(missing_ok=True)
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(whole * part)
        process.send_signal(signal.SIGKILL)
        process.wait()
        said = drypoint("sign", study, "--who", ME)
        assert said.code == 0 or "has signed version 1 already" in said.text, said.text
        assert drypoint("check", study, "--ledger", ledger).code == 0
        assert not list((study.parent / "study.signed").glob("*partial*"))


def test_a_clock_that_is_behind_is_marked(study: Path, home: Path) -> None:
    assert _signed(study, home, "--plain", "--no-ledger")[0] == 0
    _rewrite(study, when="2099-01-01T00:00:00Z")
    assert _signed(study, home, "--plain", "--no-ledger", who=OTHER)[0] == 0
    lines = (study.parent / "study.signatures.jsonl").read_text(encoding="utf-8").splitlines()
    assert json.loads(lines[1])["clock"] == "clock behind entry 1"


def test_the_time_cannot_be_given_on_the_command_line(study: Path, home: Path) -> None:
    said = drypoint("sign", study, "--who", ME, "--when", "2020-01-01T00:00:00Z", "--no-ledger")
    assert said.code == 2 and not (study.parent / "study.signatures.jsonl").exists()


def test_a_signature_of_the_first_scheme_still_verifies(tmp_path: Path) -> None:
    """Written by a Drypoint of November 2026; its data are invented."""
    with tarfile.open(Path(__file__).with_name("signed-scheme-1.tar.xz")) as archive:
        archive.extractall(tmp_path, filter="data")
    study = tmp_path / "study" / "study.toml"
    said = drypoint("check", study)
    assert said.code == 0, said.text
    assert "integrity only" in said.text and "earlier scheme" in said.text
    _rewrite(study, who=OTHER)
    said = drypoint("check", study)
    assert said.code == 1 and "seal" in said.text

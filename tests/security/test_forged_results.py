"""Results, caches and reports changed by hand: nothing forged is signed, nothing forged holds."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from attacked import drypoint, mend


def _sign(study: Path, who: str = "B. Bench (invented)") -> tuple[int, str]:
    said = drypoint("sign", study, "--who", who, "--no-ledger")
    return said.code, said.text


def _unsigned(study: Path) -> bool:
    left = [p.name for p in study.parent.glob("study.sign*")]
    return not (study.parent / "study.signatures.jsonl").exists() and not [
        n for n in left if (study.parent / n / "1").exists()
    ]


def _change_number(path: Path, column: str, factor: float) -> None:
    """Multiply the values of a column of a CSV table."""
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    at = head.split(",").index(column)
    out = [head]
    for row in rows:
        cells = row.split(",")
        cells[at] = repr(float(cells[at]) * factor) if cells[at] else ""
        out.append(",".join(cells))
    path.write_text("\n".join(out) + "\n", encoding="utf-8")


def test_an_edited_table_with_a_mended_list_is_not_signed(study: Path) -> None:
    results = study.parent / "results"
    _change_number(results / "tests.csv", "H_IT_GPa", 1.10)
    mend(results, "tests.csv")
    code, text = _sign(study)
    assert code != 0 and "nothing was signed" in text
    assert "tests.csv" in text and "H_IT_GPa" in text
    assert re.search(r"up to [\d.e+]+ u", text), text
    assert "drypoint run study.toml" in text
    assert _unsigned(study)
    # The remedy works.
    assert drypoint("run", study).code == 0
    assert _sign(study)[0] == 0


@pytest.mark.parametrize("name", ["tests.parquet", "cycles.csv", "summary.json"])
def test_any_other_file_of_the_results_is_compared_too(study: Path, name: str) -> None:
    path = study.parent / "results" / name
    if name.endswith(".json"):
        body = json.loads(path.read_text(encoding="utf-8"))
        body["series"]["glass"]["H_IT"]["mean"] *= 1.0001
        path.write_text(json.dumps(body), encoding="utf-8")
    elif name.endswith(".csv"):
        _change_number(path, "S_uN_per_nm" if "S_uN_per_nm" in path.read_text() else "F_max_mN", 2)
    else:
        path.write_bytes(path.read_bytes()[:-8] + b"12345678")
    mend(path.parent, name)
    code, text = _sign(study)
    assert code != 0 and name in text and _unsigned(study)


def test_a_poisoned_cache_is_neither_used_nor_signed(study: Path) -> None:
    """Entries of another user of this machine, made from changed raw files."""
    raw = study.parent / "raw" / "G-01.txt"
    honest = (study.parent / "results" / "tests.csv").read_bytes()
    forged = study.parent.with_name("forged")
    shutil.copytree(study.parent, forged)
    text = (forged / "raw" / "G-01.txt").read_text(encoding="utf-8")
    (forged / "raw" / "G-01.txt").write_text(text.replace("1", "2"), encoding="utf-8")
    shutil.rmtree(forged / ".drypoint-cache")
    drypoint("run", forged / "study.toml", DRYPOINT_HOME=str(forged / "home"))
    mine, theirs = (sorted((d / ".drypoint-cache").glob("*/*.npz")) for d in (study.parent, forged))
    assert mine and theirs
    # Every honest entry gets the content of a forged one, with the hash of its content intact.
    for k, path in enumerate(mine):
        path.write_bytes(theirs[k % len(theirs)].read_bytes())
    said = drypoint("run", study)
    assert said.code == 0 and "not written by this user" in said.text
    assert (study.parent / "results" / "tests.csv").read_bytes() == honest
    assert raw.exists() and _sign(study)[0] == 0


def test_what_was_forged_before_signing_by_hand_is_found(signed: Path) -> None:
    """Without a key all can be written anew; recomputing from the raw files shows it."""
    results = signed.parent / "results"
    _change_number(results / "tests.csv", "H_IT_GPa", 1.0 + 1e-9)
    mend(results, "tests.csv")
    plain = drypoint("check", signed)
    assert plain.code == 1 and "not those that were signed" in plain.text
    again = drypoint("check", signed, "--recompute")
    assert again.code == 1
    assert "equal within 1e-3 u and 1e-5 relative" in again.text
    _change_number(results / "tests.csv", "H_IT_GPa", 1.01)
    mend(results, "tests.csv")
    again = drypoint("check", signed, "--recompute")
    assert again.code == 1 and "different" in again.text and "tests.csv: H_IT_GPa" in again.text


def test_check_says_what_it_proved(signed: Path) -> None:
    said = drypoint("check", signed)
    assert said.code == 0
    assert "integrity only" in said.text and "Not proved without --recompute" in said.text
    again = drypoint("check", signed, "--recompute")
    assert again.code == 0 and "identical to the bit" in again.text


def test_results_that_cannot_be_derived_again(signed: Path) -> None:
    for path in (signed.parent / "raw").glob("*.txt"):
        path.write_text("Time;Force\n", encoding="utf-8")
    said = drypoint("check", signed, "--recompute")
    assert said.code == 1 and "cannot be derived again" in said.text


def test_a_raw_file_added_under_the_pattern_is_a_change(signed: Path, another_record: Path) -> None:
    shutil.copyfile(another_record, signed.parent / "raw" / "G-04.txt")
    said = drypoint("check", signed)
    assert said.code == 1 and "Raw files were added: raw/G-04.txt" in said.text


@pytest.mark.parametrize("name", ["report.html", "report.pdf", "figures"])
def test_the_report_is_checked(signed: Path, name: str) -> None:
    place = signed.parent / "report" / name
    path = next(place.glob("*.svg")) if place.is_dir() else place
    path.write_bytes(path.read_bytes().replace(b"glass", b"steel") + b" ")
    said = drypoint("check", signed)
    assert said.code == 1 and path.name in said.text and "was changed" in said.text


def test_writing_the_report_again_changes_nothing(signed: Path) -> None:
    assert drypoint("report", signed).code == 0
    assert drypoint("check", signed).code == 0


def test_foreign_files_are_listed_and_litter_is_not(signed: Path) -> None:
    for name in (".DS_Store", "Thumbs.db", "desktop.ini", "extra.csv"):
        (signed.parent / "results" / name).write_text("x", encoding="utf-8")
    said = drypoint("check", signed)
    assert said.code == 0
    assert "has not written: extra.csv." in said.text


def test_the_text_of_the_study_file_is_compared(signed: Path) -> None:
    text = signed.read_text(encoding="utf-8")
    signed.write_text(text + "# another comment\n", encoding="utf-8")
    said = drypoint("check", signed)
    assert said.code == 0 and "text of the study file is not the one" in said.text
    signed.write_text(text.replace("nu = 0.17", "nu = 0.18"), encoding="utf-8")
    said = drypoint("check", signed)
    assert said.code == 1 and "specimens.glass.nu" in said.text


def test_a_signature_pasted_onto_another_set_does_not_hold(signed: Path, tmp_path: Path) -> None:
    """Its line and its folder beside another study: the seal and the hashes are of another set."""
    other = tmp_path / "other"
    shutil.copytree(signed.parent, other)
    shutil.rmtree(other / "study.signed")
    (other / "study.signatures.jsonl").unlink()
    text = (other / "study.toml").read_text(encoding="utf-8")
    (other / "study.toml").write_text(text.replace("0.17", "0.30"), encoding="utf-8")
    assert drypoint("run", other / "study.toml").code == 0
    shutil.copytree(signed.parent / "study.signed", other / "study.signed")
    line = signed.parent / "study.signatures.jsonl"
    shutil.copyfile(line, other / "study.signatures.jsonl")
    said = drypoint("check", other / "study.toml")
    assert said.code == 1 and "the study has changed since" in said.text
    # With the line rewritten for the other set and its chain mended, the seal gives it away.
    body = json.loads(line.read_text(encoding="utf-8"))
    manifest = (other / "results" / "manifest.json").read_bytes()
    import hashlib

    body["signed"]["results"] = hashlib.sha256(manifest).hexdigest()
    rest = {k: v for k, v in body.items() if k != "hash"}
    canonical = json.dumps(rest, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    body["hash"] = hashlib.sha256(canonical.encode("utf-8")).hexdigest()
    (other / "study.signatures.jsonl").write_text(json.dumps(body) + "\n", encoding="utf-8")
    said = drypoint("check", other / "study.toml")
    assert said.code == 1 and "seal" in said.text

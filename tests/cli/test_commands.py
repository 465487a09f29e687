"""The commands as a user meets them: words, exit codes, what is written and what never is."""

from __future__ import annotations

import gzip
import json
import os
import re
from pathlib import Path

import polars as pl
import pytest
import typer
from said import Cli

from calibrated_demo import declare_tip
from drypoint.cli import app

#: Commands that stand on the first page. A new one must be entered here.
COMMANDS = (
    "calibrate", "check", "critical-load", "demo", "exclude", "include", "inspect", "key",
    "layouts", "ledger", "new", "report", "rerun", "run", "schema", "serve", "sign", "stress",
)  # fmt: skip
#: Rooms' libraries that a page of help does not need.
HEAVY = ("numba", "polars", "matplotlib", "scipy", "pint", "h5py", "sqlalchemy", "drypoint.run")


def test_the_commands_are_known() -> None:
    assert tuple(sorted(typer.main.get_command(app).commands)) == COMMANDS  # type: ignore[attr-defined]


def test_help_of_the_program(cli: Cli) -> None:
    said = cli("--help")
    assert said.code == 0
    for name in COMMANDS:
        assert f" {name} " in said.out
    assert "no basis for safety-critical release" in " ".join(said.out.split())
    for code in ("0 done", "1 no result", "2 a mistake", "3 done"):
        assert code in said.out


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_each_command(cli: Cli, command: str) -> None:
    """Each says what it does in its first lines, and explains each of its options."""
    said = cli(command, "--help")
    assert said.code == 0
    assert len(said.out.split("\n\n")[1].split()) >= 4
    group = typer.main.get_command(app).commands[command]  # type: ignore[attr-defined]
    for parameter in group.params:
        if parameter.param_type_name == "option" and parameter.name != "help":
            assert parameter.opts[0] in said.out
            assert getattr(parameter, "help", None), (command, parameter.name)


@pytest.mark.parametrize("words", [("--help",), ("run", "--help"), ("--version",)])
def test_help_does_not_load_the_rooms(process: Cli, words: tuple[str, ...]) -> None:
    """A page of help comes at once: nothing heavy is imported for it."""
    said = process(*words, PYTHONPROFILEIMPORTTIME="1")
    assert said.code == 0
    loaded = {line.split("|")[-1].strip() for line in said.err.splitlines() if "|" in line}
    assert "typer" in loaded
    assert loaded.isdisjoint(HEAVY)


def test_no_words_show_the_help(cli: Cli) -> None:
    assert "Usage" in cli().text


def test_version(cli: Cli) -> None:
    from drypoint import __version__

    assert cli("--version").out == f"drypoint {__version__}\n"


@pytest.mark.parametrize(
    "words",
    [
        ("walk",),
        ("run",),
        ("run", "a.toml", "b.toml"),
        ("run", "a.toml", "--fast"),
        ("exclude", "a.toml", "T01", "--who", "A. Person"),
        ("exclude", "a.toml", "T01", "--why", "crack"),
        ("demo", "x", "--seed", "seven"),
        ("inspect",),
    ],
)
def test_wrong_words_are_a_mistake(cli: Cli, words: tuple[str, ...]) -> None:
    said = cli(*words)
    assert said.code == 2
    assert "Usage" in said.err


# ---------------------------------------------------------------------------- study file, wrong

START = 'drypoint = 1\n[study]\nname = "s"\n'
REST = """[[records]]
files = ["raw.csv"]
specimen = "glass"
[specimens.glass]
nu = 0.17
[tips.B]
shape = "modified Berkovich"
"""

#: What stands in the study file -> exit code, words of the message.
WRONG: dict[str, tuple[str | bytes, int, tuple[str, ...]]] = {
    "empty": ("", 2, ("study.toml",)),
    "no TOML": ("name is Small\n", 2, ("study.toml, line 1", "not valid TOML")),
    "binary": (bytes(range(256)), 2, ("study.toml",)),
    "unknown key": (START + REST + "[analysis]\nbetta = 1.0\n", 2, ("line 12", "betta", "beta")),
    "wrong value": (
        START + REST + '[analysis]\nunloading = "cubic"\n',
        2,
        ("analysis.unloading", "power law", "linear"),
    ),
    "wrong sort": (START + REST + '[analysis]\nbeta = "one"\n', 2, ("analysis.beta",)),
    "unknown specimen": (
        START + REST.replace('= "glass"', '= "glas"'), 2, ("records[1].specimen", "glass")
    ),
    "of a later version": ("drypoint = 999\n", 2, ("999",)),
    "files that are not there": (START + REST, 2, ("raw.csv",)),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
@pytest.mark.parametrize("command", ["run", "report"])
def test_a_wrong_study_file(cli: Cli, tmp_path: Path, name: str, command: str) -> None:
    """File, line or key, and what is allowed; before any computing; nothing is written."""
    text, code, words = WRONG[name]
    path = tmp_path / "study.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    said = cli(command, path)
    assert said.code in ((1, 2) if "not there" in name else (code,))
    assert said.err.startswith("drypoint: ")
    for word in words:
        assert word in said.err, said.err
    assert said.out == ""
    assert [p.name for p in tmp_path.iterdir() if not p.name.startswith(".")] == ["study.toml"]


@pytest.mark.parametrize(
    "words",
    [
        ("run", "PATH"),
        ("report", "PATH"),
        ("rerun", "PATH", "--with", "analysis.beta=1.05"),
        ("exclude", "PATH", "T", "--why", "w", "--who", "x"),
    ],
)
def test_a_study_that_is_not_there_or_a_folder(
    cli: Cli, tmp_path: Path, words: tuple[str, ...]
) -> None:
    for path in (tmp_path / "absent.toml", tmp_path):
        said = cli(*[str(path) if w == "PATH" else w for w in words])
        assert said.code == 2
        assert str(path) in said.err
        assert said.err.count("\n") <= 3


# ------------------------------------------------------------------------------- records, wrong

GOOD = "time (s);depth (nm);force (mN)\n" + "".join(
    f"{i * 0.1:.1f};{100 * (i / 50) ** 0.5 if i <= 50 else 70 + 30 * (100 - i) / 50:.3f};"
    f"{min(i, 100 - i) / 5:.3f}\n"
    for i in range(101)
)
BAD_RECORDS: dict[str, bytes] = {
    "empty": b"",
    "binary": bytes(range(256)) * 40,
    "words": b"dear reader, there are no numbers here\n" * 20,
    "not a number": GOOD.replace("30.000\n", "nan\n", 1).replace("10.000", "nan").encode(),
    "broken gzip": gzip.compress(GOOD.encode())[:60],
    "time runs backwards": "\n".join(
        [GOOD.splitlines()[0], *reversed(GOOD.splitlines()[1:])]
    ).encode(),
    "no unloading": "\n".join(GOOD.splitlines()[:50]).encode(),
}


def study_of(folder: Path, *names: str) -> Path:
    files = ", ".join(f'"{n}"' for n in names)
    (folder / "study.toml").write_text(START + REST.replace('"raw.csv"', files))
    return folder / "study.toml"


@pytest.mark.parametrize("name", BAD_RECORDS)
def test_a_record_that_cannot_be_used(cli: Cli, tmp_path: Path, name: str) -> None:
    """Alone: no result, code 1. Beside a good one: set aside with the reason, code 3."""
    bad = "bad.csv.gz" if "gzip" in name else "bad.csv"
    (tmp_path / bad).write_bytes(BAD_RECORDS[name])
    (tmp_path / "good.csv").write_text(GOOD)
    said = cli("run", study_of(tmp_path, bad))
    assert said.code == 1, said.text
    assert bad in said.err
    assert not (tmp_path / "results").exists()
    said = cli("run", study_of(tmp_path, "good.csv", bad))
    assert said.code == 3, said.text
    assert "1 tests reduced" in said.out
    assert "set aside:" in said.out
    line = next(line for line in said.out.splitlines() if line.strip().startswith(bad))
    assert len(line.split()) > 5
    assert (tmp_path / bad).read_bytes() == BAD_RECORDS[name]
    table = pl.read_csv(tmp_path / "results" / "tests.csv")
    assert table["test"].to_list() == ["good"]


def test_all_good_is_code_zero(cli: Cli, tmp_path: Path) -> None:
    (tmp_path / "good.csv").write_text(GOOD)
    study = study_of(tmp_path, "good.csv")
    said = cli("run", study, "--out", tmp_path / "elsewhere", "--quiet")
    assert said.code == 0
    assert (tmp_path / "elsewhere" / "tests.csv").is_file()
    assert not (tmp_path / "results").exists()
    assert "Results:" not in said.out
    assert "Results:" in cli("run", study).out


# ------------------------------------------------------------------------------ new and inspect


def test_new_writes_a_study_that_runs(cli: Cli, tmp_path: Path) -> None:
    (tmp_path / "good.csv").write_text(GOOD)
    path = tmp_path / "deep" / "study.toml"
    said = cli("new", path, tmp_path / "good.csv", "--name", "First study", "--shape", "Vickers")
    assert said.code == 0
    text = path.read_text(encoding="utf-8")
    assert 'name = "First study"' in text
    assert 'shape = "Vickers"' in text
    said = cli("run", path)
    assert said.code == 0, said.text


@pytest.mark.parametrize("command", ["new", "inspect"])
def test_a_file_is_never_overwritten(cli: Cli, tmp_path: Path, command: str) -> None:
    (tmp_path / "good.csv").write_text(GOOD)
    mine = tmp_path / "study.toml"
    mine.write_text("mine\n")
    good = tmp_path / "good.csv"
    words = ("new", mine) if command == "new" else ("inspect", good, "--write", mine)
    said = cli(*words)
    assert said.code == 2
    assert str(mine) in said.err
    assert mine.read_text() == "mine\n"


def test_new_never_merges_materials_and_says_what_is_left(cli: Cli, tmp_path: Path) -> None:
    """Three materials, two layouts, one file that is no record, one question."""
    raw = tmp_path / "raw"
    raw.mkdir()
    for name in ("glass_01.csv", "glass_02.csv", "glass_03.csv", "oxide-1.csv", "oxide-2.csv"):
        (raw / name).write_text(f"comment: {name}\n{GOOD}")
    for name in ("Steel 1.txt", "steel 2.txt"):
        (raw / name).write_text(f"comment: {name}\n" + GOOD.replace("depth (nm)", "way (nm)"))
    (raw / "log.csv").write_text("only words\nand more words\n")
    study = tmp_path / "study.toml"
    said = cli("new", study, raw)
    assert said.code == 3, said.text
    assert "steel (2 files), glass (3 files), oxide (2 files)" in said.out
    assert "Not read, 1:" in said.out and "raw/log.csv: No table of numbers" in said.out
    assert "Open, 1 question:" in said.out
    assert "raw/Steel 1.txt and 1 more file: No column is clearly the depth." in said.out
    text = study.read_text(encoding="utf-8")
    assert re.findall(r'^specimen = "(.*)"', text, re.M) == ["steel", "glass", "oxide"]
    choice = '# depth = {name = "way (nm)", unit = "nm"}'
    assert choice in text
    study.write_text(text.replace(choice, choice[2:]))
    said = cli("run", study)
    assert said.code == 0, said.text


def test_new_of_nothing_that_can_be_read_writes_nothing(cli: Cli, tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("only words\nand more words\n")
    said = cli("new", tmp_path / "study.toml", tmp_path / "log.csv")
    assert said.code == 1 and "log.csv: No table of numbers" in said.err
    assert not (tmp_path / "study.toml").exists()


def test_new_with_a_shape_that_is_none(cli: Cli, tmp_path: Path) -> None:
    said = cli("new", tmp_path / "s.toml", "--shape", "hexagon")
    assert said.code == 2
    assert "hexagon" in said.err
    assert "modified Berkovich" in said.err
    assert not (tmp_path / "s.toml").exists()


def test_inspect_says_what_is_understood(cli: Cli, tmp_path: Path) -> None:
    path = tmp_path / "good.csv"
    path.write_text(GOOD)
    said = cli("inspect", path)
    assert said.code == 0
    for words in (
        "SHA-256", "columns by semicolon", "“force (mN)” [mN]: force", "101 samples",
        "force control, 1 cycle", "loading", "unloading", "up to 10 mN and 100 nm",
    ):  # fmt: skip
        assert words in said.out, said.out
    assert cli("inspect", path, "--brief").out.count("\n") == 1
    assert path.read_text() == GOOD


def test_inspect_writes_a_starting_study(cli: Cli, tmp_path: Path) -> None:
    (tmp_path / "good.csv").write_text(GOOD)
    said = cli("inspect", tmp_path / "good.csv", "--write", tmp_path / "start.toml")
    assert said.code == 0
    assert cli("run", tmp_path / "start.toml").code == 0


def test_inspect_asks_and_says_so(cli: Cli, tmp_path: Path) -> None:
    """Two columns that could be the force: a question, and code 3."""
    two = GOOD.replace("force (mN)\n", "force (mN);force (mN)\n", 1)
    rows = two.splitlines()
    rows = [rows[0], *(r + ";" + r.split(";")[-1] for r in rows[1:])]
    (tmp_path / "two.csv").write_text("\n".join(rows))
    said = cli("inspect", tmp_path / "two.csv")
    assert said.code == 3
    assert "question" in said.out
    assert "1 of 1 files need a look." in said.out


@pytest.mark.parametrize("name", ["empty", "binary", "words", "broken gzip"])
def test_inspect_of_what_cannot_be_read(cli: Cli, tmp_path: Path, name: str) -> None:
    bad = tmp_path / ("bad.csv.gz" if "gzip" in name else "bad.csv")
    bad.write_bytes(BAD_RECORDS[name])
    said = cli("inspect", bad)
    assert said.code == 3
    assert bad.name in said.out


def test_inspect_of_a_file_that_is_not_there(cli: Cli, tmp_path: Path) -> None:
    said = cli("inspect", tmp_path / "absent.csv")
    assert said.code in (1, 2, 3)
    assert "absent.csv" in said.text


# ---------------------------------------------------------------------------- demo and decisions


def excluded(study: Path) -> dict[str, str]:
    table = pl.read_parquet(study.parent / "results" / "tests.parquet").filter(pl.col("excluded"))
    return dict(zip(table["test"], table["excluded_because"], strict=True))


def test_demo_says_that_it_is_invented(cli: Cli, tmp_path: Path) -> None:
    said = cli("demo", tmp_path / "d", "--seed", "5")
    assert said.code == 0
    assert "invented" in said.out
    assert (tmp_path / "d" / "study.toml").is_file()
    again = cli("demo", tmp_path / "d")
    assert again.code == 2
    assert "nothing was written" in again.err


def test_run_of_the_demo(cli: Cli, own: Path) -> None:
    """The two glass records that are bad on purpose are set aside by name; the rest is there."""
    said = cli("run", own)
    assert said.code == 3
    assert "The data of this study are invented." in said.out
    for words in ("G-25", "G-26", "set aside"):
        assert words in said.out
    assert "glass" in said.out and "GPa" in said.out
    summary = json.loads((own.parent / "results" / "summary.json").read_text(encoding="utf-8"))
    assert summary
    assert not own.with_name("study.decisions.jsonl").exists()


def test_exclude_and_include(cli: Cli, own: Path) -> None:
    decisions = own.with_name("study.decisions.jsonl")
    said = cli("exclude", own, "G-03", "--why", "crack at a corner", "--who", "A. Person")
    assert said.code == 0, said.text
    assert excluded(own) == {}  # a decision is taken; the results are those of the last run
    said = cli("run", own)
    assert "1 excluded" in said.out
    assert list(excluded(own)) == ["G-03"]
    assert excluded(own)["G-03"].startswith("crack at a corner (A. Person, ")
    first = decisions.read_bytes()
    said = cli("include", own, "G-03", "--why", "it was a scratch", "--who", "B. Person")
    assert said.code == 0
    assert decisions.read_bytes().startswith(first)  # both entries stay
    cli("run", own)
    assert excluded(own) == {}
    entries = [json.loads(x) for x in decisions.read_text(encoding="utf-8").splitlines()]
    assert [(e["what"], e["who"]) for e in entries if "what" in e] == [
        ("exclude", "A. Person"),
        ("include", "B. Person"),
    ]


def test_a_test_that_is_not_in_the_study(cli: Cli, own: Path) -> None:
    said = cli("exclude", own, "G-3", "--why", "crack", "--who", "A. Person")
    assert said.code == 2
    assert "Did you mean: " in said.err and "G-03" in said.err
    assert not own.with_name("study.decisions.jsonl").exists()


@pytest.mark.parametrize(("key", "value"), [("why", "  "), ("who", ""), ("cycle", "0")])
def test_a_decision_that_says_nothing(cli: Cli, own: Path, key: str, value: str) -> None:
    """A reason and a name are asked for, and cycles count from 1."""
    given = {"why": "crack", "who": "A. Person", "cycle": "1", key: value}
    words = [w for k, v in given.items() for w in (f"--{k}", v)]
    said = cli("exclude", own, "G-03", *words)
    assert said.code == 2
    assert f"--{key}" in said.err
    assert not own.with_name("study.decisions.jsonl").exists()


def test_a_broken_decisions_file_is_named(cli: Cli, own: Path) -> None:
    own.with_name("study.decisions.jsonl").write_text("{not json\n")
    said = cli("run", own)
    assert said.code == 2
    assert "study.decisions.jsonl, line 1" in said.err


def test_rerun_says_what_a_change_moves(cli: Cli, own: Path) -> None:
    """E_r goes with 1/beta (Oliver & Pharr 1992; M-hi); hardness does not know beta."""
    before = (own.parent / "results" / "tests.csv").read_bytes()
    said = cli("rerun", own, "--with", "analysis.beta=1.05")
    assert said.code == 2 and "calibrate again" in said.err  # a calibrated bench has its rule
    declare_tip(own)
    said = cli("rerun", own, "--with", "analysis.beta=1.05", "--out", own.parent / "moved.csv")
    assert said.code == 0, said.text
    moved = pl.read_csv(own.parent / "moved.csv")
    assert "E_IT" in said.out
    assert not any(line.split()[1:2] == ["H_IT"] for line in said.out.splitlines())
    assert moved.height > 0
    assert (own.parent / "results" / "tests.csv").read_bytes() == before
    said = cli("rerun", own, "--with", "analysis.betta=1.05")
    assert said.code == 2
    assert "betta" in said.err


def test_results_that_cannot_be_written(cli: Cli, own: Path) -> None:
    """A file stands where the folder should be: one message, and the file stays."""
    there = own.parent / "taken"
    there.write_text("mine")
    said = cli("run", own, "--out", there)
    assert said.code in (1, 2)
    assert "taken" in said.err
    assert there.read_text() == "mine"


def test_schema(cli: Cli, tmp_path: Path) -> None:
    said = cli("schema", tmp_path)
    assert said.code == 0
    path = next(tmp_path.glob("*.json"))
    assert str(path) in said.out
    assert json.loads(path.read_text(encoding="utf-8"))["type"] == "object"


def test_a_terminal_without_greek(process: Cli, own: Path) -> None:
    """Output that cannot show “µ” or “±” does not stop the work."""
    said = process("run", own, PYTHONIOENCODING="ascii", PYTHONUTF8="0", LC_ALL="C")
    assert said.code == 3, said.err
    assert "tests reduced" in said.out
    assert os.linesep in said.out

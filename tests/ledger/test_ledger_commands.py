"""The commands ``drypoint ledger ...``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from ledger_cases import bench, calibration, put
from typer.testing import CliRunner

from drypoint.cli import app
from drypoint.errors import LedgerError
from drypoint.ledger import Ledger


@pytest.fixture
def where(memory: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A ledger that the variable names."""
    path = memory / "ledger.sqlite"
    ledger = Ledger.open(path)
    bench(ledger)
    put(ledger, calibration())
    ledger.accept(ledger.correct(5, calibration(valid_until="2027-01-01")), "B. Person", "date")
    monkeypatch.setenv("DRYPOINT_LEDGER", str(path))
    return str(path)


def run(*words: str, code: int = 0) -> list[str]:
    result = CliRunner().invoke(app, ["ledger", *words])
    if isinstance(result.exception, LedgerError):
        raise result.exception
    assert result.exit_code == code, result.output
    return result.output.splitlines()


def test_list_and_history(where: str) -> None:
    lines = [line.split() for line in run("list")]
    assert [line[:3] for line in lines[1:]] == [
        ["1", "tip", "B1"], ["2", "tip", "B2"], ["3", "frame", "F"], ["4", "block", "glass"],
        ["6", "calibration", "B1"],
    ]  # fmt: skip
    assert len(run("list", "--kind", "tip")) == 3 and len(run("list", "--all")) == 7
    assert run("list", "--kind", "study") == ["No entries."]
    assert [line.split()[0] for line in run("history", "B1")] == ["entry", "1", "5", "6"]
    with pytest.raises(LedgerError, match=r"no kind “tips”.*tip, frame"):
        run("list", "--kind", "tips")
    with pytest.raises(LedgerError, match="names “B9”"):
        run("history", "B9")


def test_sign_remark_show(where: str) -> None:
    assert run("sign", "6", "--who", "C. Person", "--meaning", "released") == [
        f"Entry 7 written to {where}."
    ]
    run("remark", "6", "residuals look good", "--who", "A. Person")
    run("remark", "B1", "fell down", "--who", "A. Person")
    shown = "\n".join(run("show", "6"))
    for words in ("entry 5 (calibration", "stood before it", "C. Person: released", "by B. Person",
                  "valid_until         2027-01-01", "calibration = 1"):  # fmt: skip
        assert words in shown
    assert "entry 6 (calibration" in "\n".join(run("show", "5"))
    assert len(run("history", "B1")) == 7
    with pytest.raises(LedgerError, match="no entry 77"):
        run("sign", "77", "--who", "C. Person")


def test_check_export_import(where: str, memory: Path) -> None:
    line = run("check")[0]
    state = line.split()[-1]
    assert line.startswith("6 entries, the chain holds.") and state.startswith("6:")
    assert run("export", str(memory / "all.jsonl"))[-1] == f"State: {state}"
    other = str(memory / "other.sqlite")
    run("import", str(memory / "all.jsonl"), "--ledger", other)
    assert run("check", "--ledger", other, "--head", state)[0].endswith(state)
    assert "not the entry" in run("check", "--head", f"3:{'ab' * 32}", code=1)[0]
    with pytest.raises(LedgerError, match="no state of a ledger"):
        run("check", "--head", "6")
    with pytest.raises(LedgerError, match="There is no ledger at"):
        run("list", "--ledger", str(memory / "none.sqlite"))


def test_help_is_quick() -> None:
    """Neither the help nor the room loads the database library."""
    code = (
        "import sys, drypoint.cli, drypoint.ledger\n"
        "print([m for m in ('sqlalchemy', 'psycopg', 'numba') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "[]", done.stderr

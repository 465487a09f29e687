"""Eight writers at once, and writers (and a server) that are killed: nothing that was accepted is
lost, nothing is half written, the chain holds."""

from __future__ import annotations

import multiprocessing
import random
import signal
import time
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest
from ledger_writers import write_for_ever, write_many
from own_postgres import Server

from drypoint.errors import LedgerError
from drypoint.ledger import Ledger

WRITERS, EACH, KILLS = 8, 25, 20

# One process loads the libraries; the writers are forked from it, and so begin at once.
CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(["drypoint.ledger.database", "psycopg", "pytest"])


def test_eight_writers(where: str) -> None:
    """All entries of all writers, each writer's own in its order."""
    go = CONTEXT.Event()
    writers = [
        CONTEXT.Process(target=write_many, args=(where, f"writer {w}", EACH, go))
        for w in range(WRITERS)
    ]
    for w in writers:
        w.start()
    go.set()
    for w in writers:
        w.join(120)
        assert w.exitcode == 0
    ledger = Ledger.open(where, create=False)
    entries = ledger.entries()
    assert [e.id for e in entries] == list(range(1, WRITERS * EACH + 1))
    assert ledger.verify() == ()
    for w in range(WRITERS):
        mine = [e.body.text for e in entries if e.who == f"writer {w}"]  # type: ignore[attr-defined]
        assert mine == [f"writer {w} {i}" for i in range(EACH)]


def accepted(report: Path) -> list[str]:
    return report.read_text(encoding="utf-8").splitlines() if report.exists() else []


def whole(where: str, reports: list[Path]) -> int:
    """Check a ledger after a kill; return how many entries it has. Some may go on writing."""
    said = {r: [int(line) for line in accepted(r)[1:]] for r in reports}
    ledger = Ledger.open(where, create=False)
    assert ledger.verify() == ()
    entries = ledger.entries()
    by_id = {e.id: e for e in entries}
    for report in reports:
        who = report.name
        mine = [e for e in entries if e.who == who]
        triples = [e.body.text.split()[0] for e in mine]  # type: ignore[attr-defined]
        count = len(mine) // 3
        assert triples == [f"{i}.{part}" for i in range(count) for part in "abc"]
        assert all(by_id[n].who == who for n in said[report])
        # One may have been written by a writer that was killed before it could say so.
        assert count - len(said[report]) in (0, 1) or report.name == "other"
    return len(entries)


def begin(where: str, report: Path, pause_s: float = 0.0) -> BaseProcess:
    """A writer that has opened the ledger."""
    writer = CONTEXT.Process(target=write_for_ever, args=(where, report.name, str(report), pause_s))
    writer.start()
    until = time.monotonic() + 180
    while not accepted(report):
        assert time.monotonic() < until and writer.is_alive()
        time.sleep(0.002)
    return writer


def end(writer: BaseProcess) -> None:
    writer.kill()
    writer.join(60)
    assert writer.exitcode == -signal.SIGKILL


def test_kill_in_the_middle(where: str, tmp_path: Path) -> None:
    """SIGKILL at random moments, while another writer goes on; in the end that one too."""
    rng = random.Random(20)
    Ledger.open(where)
    reports = [tmp_path / "other"]
    other = begin(where, reports[0], 0.03)
    for n in range(KILLS):
        reports.append(tmp_path / f"one {n}")
        writer = begin(where, reports[-1])
        time.sleep(rng.uniform(0.0, 0.1))
        end(writer)
        if n % 10 == 4:
            whole(where, reports)
    assert other.is_alive()
    end(other)
    assert whole(where, reports) > 3 * KILLS


def test_server_goes_down(server: Server, tmp_path: Path) -> None:
    """The server stops at once: writers are told, and what was accepted is there afterwards."""
    where = server.new()
    Ledger.open(where)
    report = tmp_path / "one 0"
    writer = begin(where, report)
    until = time.monotonic() + 180
    while len(accepted(report)) < 5:
        assert time.monotonic() < until
        time.sleep(0.005)
    server.stop(signal.SIGQUIT)
    writer.join(60)
    assert writer.exitcode == 0
    *said, last = accepted(report)
    report.write_text("\n".join(said) + "\n", encoding="utf-8")
    assert "cannot be reached" in last or "is not known" in last
    with pytest.raises(LedgerError, match="cannot be reached"):
        Ledger.open(where)
    server.start()
    assert whole(where, [report]) >= 12

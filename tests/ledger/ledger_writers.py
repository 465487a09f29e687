"""What the processes do that write to one ledger at the same time, or are killed in between."""

from __future__ import annotations

import os
import time
from multiprocessing.synchronize import Event

from drypoint.errors import LedgerError
from drypoint.ledger import Draft, Ledger, RemarkBody


def write_many(where: str, who: str, n: int, go: Event) -> None:
    """Write ``n`` entries, one by one; open the ledger (and so perhaps begin it) at the signal."""
    go.wait(60)
    ledger = Ledger.open(where, wait_s=60)
    for i in range(n):
        ledger.accept(Draft(RemarkBody(about="bench", text=f"{who} {i}")), who, "test")


def write_for_ever(where: str, who: str, report: str, pause_s: float = 0.0) -> None:
    """Write triples, all or none; say on the file ``report`` which were accepted."""
    fd = os.open(report, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    ledger = Ledger.open(where, wait_s=60)
    os.write(fd, b"ready\n")
    i = 0
    while True:
        drafts = [Draft(RemarkBody(about=who, text=f"{i}.{part} " + "x" * 500)) for part in "abc"]
        try:
            entries = ledger.accept_all(drafts, who, "test")
        except LedgerError as error:
            os.write(fd, f"error {error}\n".encode())
            return
        os.write(fd, f"{entries[0].id}\n".encode())
        i += 1
        time.sleep(pause_s)

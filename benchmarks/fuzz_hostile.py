"""Hostile files, one process each: time, memory, what was opened, and how the reader ended.

Each case is read in a process that was forked from one with everything loaded, or started anew
where a library needs its threads. It is watched: ended
after :data:`KILL_S`. Its time on the processor and its largest memory are what the system counted.
"""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "security"))

LONGEST_S, MOST_BYTES, KILL_S = 5.0, 1 << 30, 60.0
#: Address space of a case, above what the parent has: a case beyond ends with MemoryError.
ROOM = 6 << 30


@dataclass(frozen=True)
class Case:
    """One file: what it was, how it ended, what it took."""

    number: int
    kind: str
    outcome: str
    seconds: float
    bytes: int
    words: str = ""


def prepare() -> None:
    """Load and compile what the cases use. Readers of tables need threads and are
    started anew for each case: threads of this process do not live on in a forked one."""
    import hostile_files

    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        (folder / "a.txt").write_text(hostile_files.record_text(), encoding="utf-8")
        (folder / "b.xlsx").write_bytes(
            hostile_files.xlsx(hostile_files.data(hostile_files.sound_cells()))
        )
        for path in sorted(folder.iterdir()):
            _look(path, folder)
        import h5py  # noqa: F401
        import polars  # noqa: F401

        from drypoint.recipe import load_study  # noqa: F401


def run(first: int, last: int, seed: int) -> list[Case]:
    """Make and read the files of some numbers."""
    import hostile_files

    out = []
    for number in range(first, last):
        with tempfile.TemporaryDirectory(prefix="drypoint-fuzz-") as held:
            place = Path(held)
            folder, outside = place / "folder", place / "outside"
            folder.mkdir()
            hostile_files.outside_of(outside)
            rng = random.Random(seed * 7_000_003 + number)
            kind, path = hostile_files.make(rng, folder, outside)
            out.append(_watched(number, kind, path, folder, place))
            shutil.rmtree(folder, ignore_errors=True)
    return out


def _watched(number: int, kind: str, path: Path, folder: Path, place: Path) -> Case:
    there, here = os.pipe()
    start = time.perf_counter()
    child = os.fork()
    if child == 0:
        os.close(there)
        if path.suffix not in (".toml", ".json", ".jsonl", ".h5", ".hdf5"):
            # Threads of a library that the parent started do not live on here.
            os.set_inheritable(here, True)
            given = [path, folder, place, here]
            os.execv(sys.executable, [sys.executable, __file__, *map(str, given)])
        _child(path, folder, place, here)
    os.close(here)
    killed = False
    while True:
        done, status, used = os.wait4(child, os.WNOHANG)
        if done:
            break
        if time.perf_counter() - start > KILL_S:
            os.kill(child, signal.SIGKILL)
            killed = True
        time.sleep(0.002)
    took = used.ru_utime + used.ru_stime  # of the processor: others may use the machine too
    with os.fdopen(there, "rb") as pipe:
        outcome, _, words = pipe.read().decode("utf-8", "replace").partition("\n")
    memory = used.ru_maxrss * (1 if sys.platform == "darwin" else 1024)
    if killed:
        outcome = "HANG"
    elif status or not outcome:
        outcome, words = "CRASH", f"status {status}"
    elif outcome in ("read", "refused"):
        if took > LONGEST_S:
            outcome = "SLOW"
        elif memory > MOST_BYTES:
            outcome = "MEMORY"
    return Case(number, kind, outcome, took, memory, words)


def _child(path: Path, folder: Path, place: Path, pipe: int) -> None:
    """Read one file, say how it went, and end."""
    size = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (size + ROOM, size + ROOM))
    os.dup2(os.open(os.devnull, os.O_RDWR), 2)
    opened: list[str] = []
    outside = str(place / "outside")

    def hook(event: str, given: tuple[object, ...]) -> None:
        if event == "open" and isinstance(given[0], (str, bytes)):
            name = os.path.realpath(os.fsdecode(given[0]))
            if name.startswith((outside, "/dev/", "/etc/")) and name != os.devnull:
                opened.append(name)

    sys.addaudithook(hook)
    try:
        outcome, words = _outcome(path, folder)
    except BaseException:
        outcome, words = "TRACEBACK", traceback.format_exc()[-1500:]
    if opened:
        outcome, words = "READ OUTSIDE", opened[0]
    os.write(pipe, f"{outcome}\n{words}"[:4000].encode("utf-8", "replace"))
    os._exit(0)


def _outcome(path: Path, folder: Path) -> tuple[str, str]:
    from drypoint.errors import DrypointError

    if path.suffix in (".toml", ".jsonl"):
        from drypoint.recipe import load_study, read_journal

        try:
            (load_study if path.suffix == ".toml" else read_journal)(path)
        except DrypointError as error:
            return ("refused", str(error)) if len(str(error)) < 100_000 else ("ENDLESS WORDS", "")
        return "read", ""
    return _look(path, folder)


def _look(path: Path, folder: Path) -> tuple[str, str]:
    import hostile_files
    import numpy as np

    from drypoint import paths
    from drypoint.records import read, understand_all

    with paths.confined(folder):
        found = read([path], root=folder)
        seen = understand_all(path, root=folder)
    said = " ".join(f"{s.file} {s.reason} {s.remedy}" for s in found.set_aside)
    said += " ".join([*found.notes, *(n for u in seen for n in u.notes)])
    if hostile_files.SECRET in said + str([u.header for u in seen]):
        return "READ OUTSIDE", "the word of the header"
    peak = 1e3 * float(np.max(found.batch.force, initial=0.0))
    if abs(peak - hostile_files.SECRET_MN) < 1e-6:
        return "READ OUTSIDE", "the force"
    if any(not s.reason or not s.remedy for s in found.set_aside):
        return "NO WORDS", said[:500]
    if sum(map(len, {s.reason + s.remedy for s in found.set_aside})) > 1_000_000:
        return "ENDLESS WORDS", said[:500]
    return ("read" if len(found.batch) else "refused"), said[:500]


if __name__ == "__main__":
    _child(*map(Path, sys.argv[1:4]), int(sys.argv[4]))

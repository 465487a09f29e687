"""Ten thousand spoiled files of every kind: nothing escapes, hangs, or is wrong in silence.

    python benchmarks/bench_fuzz.py [CASES] [SEED] [--quick] [--hostile] [--kills N]

``--quick``: 300 cases. Every third case is hostile: a spreadsheet, text, HDF5 or study file that
claims more than a machine has, a link, a pipe, a device, an odd name; each in a process of its own,
with a watch on time (5 s), memory (1 GiB) and files outside. ``--hostile``: only these.
``--kills N``: instead, N times a run, a signature or a ledger entry ended at a random moment.

Exit code 1 when one case failed. Cases run in processes of their own, so that a crash of a library
is seen as one.
"""

from __future__ import annotations

import faulthandler
import json
import random
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "records"))

CASES = 10_000
CHUNK = 500
FAILED = (
    "TRACEBACK",
    "HANG",
    "CRASH",
    "SILENT LOSS",
    "OTHER IN COMPANY",
    "WRONG NUMBER",
    "SILENT WRONG NUMBER",
    "REFUSED A GOOD FILE",
    "SLOW",
    "MEMORY",
    "READ OUTSIDE",
    "NO WORDS",
    "ENDLESS WORDS",
)


Row = tuple[str, str, str, float, int]


def hostile(case: int, seed: int) -> Row:
    """(kind, what it was, outcome, seconds, bytes) of a hostile file."""
    from fuzz_hostile import run

    (found,) = run(case, case + 1, seed)
    if found.outcome in FAILED:
        print(f"case {case}: {found.kind}: {found.outcome}\n{found.words}", file=sys.stderr)
    return "hostile", found.kind, found.outcome, found.seconds, found.bytes


def hostile_chunk(first: int, last: int, seed: int, every: int) -> list[Row]:
    """The hostile cases of some, in a process that starts no threads: it is forked for each."""
    import fuzz_hostile

    fuzz_hostile.prepare()
    return [hostile(c, seed) for c in range(first, last) if c % every == every - 1]


def chunk(first: int, last: int, seed: int) -> list[Row]:
    """(kind, what was done, outcome, seconds, bytes) of the other cases."""
    from fuzz_cases import KINDS, bases, damaged_case, known_case

    out = []
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        bases(folder)
        for case in range(first, last):
            if case % 3 == 2 and sys.platform != "win32":
                continue
            start = time.perf_counter()
            rng = random.Random(seed * 1_000_003 + case)
            kind = rng.choice(("text", "text", *KINDS))
            faulthandler.dump_traceback_later(120, exit=True)
            try:
                if case % 2:
                    name, outcome = known_case(kind, rng, folder)
                else:
                    name, outcome = "damaged", damaged_case(kind, rng, folder)
            except Exception:
                name, outcome = "damaged" if case % 2 == 0 else "known", "TRACEBACK"
                print(f"case {case} ({kind}):\n{traceback.format_exc()}", file=sys.stderr)
            if outcome in FAILED:
                print(f"case {case}: {kind}, {name}: {outcome}", file=sys.stderr)
            out.append((kind, name, outcome, time.perf_counter() - start, 0))
    faulthandler.cancel_dump_traceback_later()
    return out


def main() -> int:
    """Run all chunks, print the counts."""
    if len(sys.argv) > 3 and sys.argv[1] == "--chunk":
        given = [int(a) for a in sys.argv[2:] if a.isdigit()]
        print(json.dumps(hostile_chunk(*given) if "--hostile" in sys.argv else chunk(*given)))
        return 0
    if "--kills" in sys.argv:
        from fuzz_kills import kills

        return kills(int(sys.argv[sys.argv.index("--kills") + 1]))
    numbers = [int(a) for a in sys.argv[1:] if a.isdigit()]
    cases = numbers[0] if numbers else 300 if "--quick" in sys.argv else CASES
    seed = numbers[1] if len(numbers) > 1 else 1
    counts: Counter[tuple[str, str]] = Counter()
    kinds: Counter[tuple[str, str]] = Counter()
    watched: list[Row] = []
    for first in range(0, cases, CHUNK):
        last = min(first + CHUNK, cases)
        only = "--hostile" in sys.argv
        rows: list[Row] = []
        for more in [["--hostile", "1"]] if only else [[], ["--hostile", "3"]]:
            if more and sys.platform == "win32":
                continue
            command = [sys.executable, __file__, "--chunk", str(first), str(last), str(seed), *more]
            done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
            if done.returncode != 0:
                counts["any", "CRASH"] += 1
                print(f"cases {first} to {last}: exit code {done.returncode}", file=sys.stderr)
                continue
            rows += json.loads(done.stdout)
        watched += [row for row in rows if row[0] == "hostile"]
        for kind, name, outcome, _, _ in rows:
            counts[name, outcome] += 1
            kinds[kind, outcome] += 1
    for title, table in (("What was done", counts), ("Kind of file", kinds)):
        outcomes = sorted({o for _, o in table}, key=lambda o: (o in FAILED, o))
        names = sorted({n for n, _ in table})
        print(f"| {title} | " + " | ".join(outcomes) + " |")
        print("|---|" + "--:|" * len(outcomes))
        for name in names:
            cells = (str(table.get((name, o), 0)) for o in outcomes)
            print(f"| {name.replace('_', ' ')} | " + " | ".join(cells) + " |")
        print()
    for title, at, unit in (("Slowest", 3, "s"), ("Largest", 4, "MiB")):
        print(f"{title} hostile files:")
        for row in sorted(watched, key=lambda r: -float(r[at]))[:5]:
            value = row[3] if at == 3 else row[4] / 2**20
            print(f"  {value:.1f} {unit}: {row[1]} ({row[2]})")
    failed = sum(n for (_, outcome), n in counts.items() if outcome in FAILED)
    print(f"{sum(counts.values())} cases, {failed} failures")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

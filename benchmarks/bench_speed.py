"""How long the usual work takes, as ratios to what one would do otherwise, on this machine.

    python benchmarks/bench_speed.py [--quick] [--full] [--write] [--only fit,parquet,...]

``--quick`` takes seconds, the default some minutes; ``--full`` streams 200,000 tests. ``--write``
puts the table into docs/reference/speed.md. Ratios are of processor time (user and system), which
other work on the machine disturbs least, or of time on the clock where all cores work; files lie in
a temporary folder and are read from memory.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import speed_parts as parts
from speed_parts import Row

DOC = Path(__file__).parents[1] / "docs" / "reference" / "speed.md"


def page(rows: list[Row], facts: dict[str, str]) -> str:
    """The page for the docs."""
    lines = [
        "# How long it takes",
        "",
        "Written by `python benchmarks/bench_speed.py --write` (part of `make bench`): one run on",
        "one machine. Ratios are within that run, so that other machines give about the same: of",
        "processor time, or, where all cores work, of time on the clock. The floors were set",
        "beforehand; a floor that is missed says so.",
        "",
        "| what | measured | floor | |",
        "|---|---|---|---|",
    ]
    lines += [f"| {r.what} | {r.measured} | {r.floor} | {r.verdict} |" for r in rows]
    lines += ["", "## Against what", ""]
    lines += [f"- {r.what}: {r.how}" for r in rows if r.how]
    lines += ["", "## Machine", "", "| | |", "|---|---|"]
    lines += [f"| {k} | {v} |" for k, v in facts.items()]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure, print; with ``--write`` the page in docs too."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--quick", action="store_true")
    ask.add_argument("--full", action="store_true", help="200,000 tests in the memory part")
    ask.add_argument("--write", action="store_true")
    ask.add_argument("--only", default="", help="parts, with commas between them")
    given = ask.parse_args()
    wanted = [w for w in given.only.split(",") if w] or list(parts.PARTS)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as held:
        for name in wanted:
            found = parts.PARTS[name](Path(held), parts.Size.of(given.quick, given.full))
            for r in found:
                print(f"{r.what}: {r.measured} (floor {r.floor}) {r.verdict}", flush=True)
            rows += found
    text = page(rows, parts.facts())
    if given.write:
        DOC.write_text(text, encoding="utf-8")
    else:
        print("\n" + text)


if __name__ == "__main__":
    main()

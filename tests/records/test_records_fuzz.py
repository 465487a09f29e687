"""Five hundred spoiled files: no exception escapes, nothing hangs, no wrong number goes unseen.

Files and faults are invented here, from a fixed seed.
"""

from __future__ import annotations

import random
import time
import tomllib
from pathlib import Path

import numpy as np
import pytest
from invented_records import Invented, invented, lines_of

from drypoint.records import Batch, check, read, starting_recipe_records, understand

CASES = 500
LONGEST_S = 20.0


def source(rng: random.Random) -> tuple[list[str], str, Invented]:
    """Lines of a good file in a drawn layout, its delimiter, and its truth."""
    record = invented(rng.randint(20, 80), seed=rng.randint(0, 999))
    delimiter = rng.choice([";", ",", "\t", " "])
    decimal = "." if delimiter == "," else rng.choice(".,")
    units = {"Time": ("s", 1.0), "Force": rng.choice([("mN", 1e3), ("uN", 1e6), ("N", 1.0)])}
    units["Depth"] = rng.choice([("nm", 1e9), ("um", 1e6)])
    values = {"Time": record.time, "Force": record.force, "Depth": record.depth}
    order = rng.sample(list(values), 3)
    names = delimiter.join(f"{n}_{units[n][0]}" for n in order)
    rows = lines_of([values[n] * units[n][1] for n in order], delimiter=delimiter, decimal=decimal)
    head = rng.choice([[], ["Operator: X"], ["Temp (°C): 23", "", "# words"]])
    return [*head, names, *rows], delimiter, record


def spoil(lines: list[str], delimiter: str, rng: random.Random) -> bytes:
    """One to three faults of many kinds, then bytes."""
    for _ in range(rng.randint(1, 3)):
        i = rng.randrange(len(lines))
        line = lines[i]
        at = rng.randrange(len(line) + 1)
        kind = rng.randrange(14)
        if kind == 0:
            lines[i] = line[:at]
        elif kind == 1:
            lines[i] = line[:at] + rng.choice("xé\t;,. -+eE\"'#:\x07\u202f") + line[at:]
        elif kind == 2:
            del lines[i]
        elif kind == 3:
            lines.insert(
                i, rng.choice(["", "  ", delimiter * 3, "Test 2", "NaN" + delimiter + "1"])
            )
        elif kind == 4:
            lines[i] = delimiter.join(reversed(line.split(delimiter)))
        elif kind == 5:
            lines[i] = line.replace(".", ",") if "." in line else line.replace(",", ".")
        elif kind == 6:
            lines[i] = line + delimiter + line
        elif kind == 7:
            lines = lines[: i + 1]
        elif kind == 8:
            lines[i] = line.replace("_mN", "_N").replace("_nm", "_um").replace("_s", "_V")
        elif kind == 9:
            lines.insert(i, lines[rng.randrange(len(lines))])
        elif kind == 10:
            lines[i] = line.replace(delimiter, rng.choice(";,\t| "))
        elif kind == 11:
            lines = [*lines, "", *lines]
        elif kind == 12:
            lines[i] = "(" * 200 + " " * 2000 + line
        else:
            lines[i] = line.replace("0", rng.choice(["O", "9**9**9", "\x00", "1e999", "٣"]), 1)
        if not lines:
            lines = ["x"]
    encoding = rng.choice(["utf-8", "utf-8", "utf-16", "cp1252", "utf-16-le"])
    raw = "\n".join(lines).encode(encoding, errors="replace")
    if rng.random() < 0.1:
        cut = rng.randrange(len(raw) + 1)
        raw = raw[:cut] + rng.randbytes(rng.randint(0, 5)) + raw[cut + 1 :]
    return raw


def test_nothing_escapes_and_nothing_hangs(tmp_path: Path) -> None:
    rng = random.Random(20240301)
    aside = 0
    for case in range(CASES):
        lines, delimiter, _ = source(rng)
        path = tmp_path / f"f{case}.txt"
        raw = spoil(lines, delimiter, rng)
        path.write_bytes(raw)
        start = time.process_time()
        outcome = read([path], root=tmp_path)
        seen = understand(path, root=tmp_path)
        tomllib.loads(starting_recipe_records([seen]))
        check(outcome.batch)
        assert time.process_time() - start < LONGEST_S, case
        assert path.read_bytes() == raw
        assert len(outcome.batch) or outcome.set_aside, case
        for name in ("force", "depth"):
            assert np.isfinite(getattr(outcome.batch, name)).all(), case
        for found in outcome.set_aside:
            assert found.reason and found.remedy and found.file == path.name, case
        if not seen.clear:
            assert len(outcome.batch) == 0, case
        aside += bool(outcome.set_aside)
    assert CASES * 0.3 < aside < CASES


def right(batch: Batch, record: Invented) -> bool:
    return all(
        np.allclose(
            getattr(batch, n), getattr(record, n), rtol=1e-7, atol=1e-7 * np.ptp(getattr(record, n))
        )
        for n in ("time", "force", "depth")
    )


@pytest.mark.parametrize("change", ["order", "decimal", "unit", "row", "field"])
def test_no_wrong_number_goes_unseen(tmp_path: Path, change: str) -> None:
    """The truth is known: either it is found, or the file is set aside."""
    rng = random.Random(change)
    read_right = 0
    for case in range(100):
        record = invented(rng.randint(20, 60), seed=case)
        delimiter = rng.choice([";", "\t", " ", "|"])
        decimal = rng.choice(".,")
        scales = {"Time (s)": 1.0, "Load (mN)": 1e3, "Depth (nm)": 1e9}
        names = list(scales)
        if change == "unit":
            force, depth = (
                rng.choice([("gf", 1 / 9.80665e-3), ("µN", 1e6), ("N", 1.0)]),
                ("Å", 1e10),
            )
            scales = {
                "Time (s)": 1.0,
                f"Load ({force[0]})": force[1],
                f"Depth ({depth[0]})": depth[1],
            }
            names = list(scales)
        values = dict(zip(scales, (record.time, record.force, record.depth), strict=True))
        if change == "order":
            rng.shuffle(names)
        rows = lines_of(
            [values[n] * scales[n] for n in names], delimiter=delimiter, decimal=decimal
        )
        i = rng.randrange(len(rows))
        if change == "row":
            rows[i] = delimiter.join(
                rng.choice([["1"], ["1", "x", "2"], ["1"] * 4, [""] * 2 + ["1"]])
            )
        if change == "field":
            fields = rows[i].split(delimiter)
            k = rng.randrange(3)
            fields[k] = rng.choice(["", "x", "1.2.3", "1,2,3", "--", "1e", "nan", "1 000,0 x"])
            rows[i] = delimiter.join(fields)
        path = tmp_path / f"{change}{case}.txt"
        path.write_text("\n".join([delimiter.join(names), *rows]) + "\n", encoding="utf-8")
        outcome = read([path])
        if len(outcome.batch):
            assert right(outcome.batch, record), (case, outcome.notes)
            read_right += 1
    assert read_right == 100 if change in ("order", "decimal", "unit") else read_right == 0

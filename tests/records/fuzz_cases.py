"""Spoiled raw files of every kind from a fixed seed, for the tests and the benchmark.

Two families. *Damaged*: faults of many kinds, the truth unknown; nothing may escape, nothing hang,
and each file is read or refused. *Known*: one mutation whose right answer is known; the reader must
give that, or refuse, or say that something is odd. All files are invented.
"""

from __future__ import annotations

import io
import random
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from invented_records import Invented, invented, lines_of
from invented_tables import hdf5, parquet, workbook

from drypoint.records import Batch, Layout, check, read, starting_recipe_records, understand_all

KINDS = ("text", "workbook", "parquet", "hdf5", "zip")
ENDINGS = {"text": "txt", "workbook": "xlsx", "parquet": "parquet", "hdf5": "h5", "zip": "zip"}
LONGEST_S = 20.0
FORCE = {"mN": 1e3, "µN": 1e6, "N": 1.0, "gf": 1 / 9.80665e-3}
DEPTH = {"nm": 1e9, "µm": 1e6, "Å": 1e10}


@dataclass
class Record:
    """A record as a table: names with units, columns, and how text would be written."""

    names: list[str]
    columns: list[Any]
    truth: Invented
    delimiter: str = ";"
    decimal: str = "."
    head: tuple[str, ...] = ()
    holes: tuple[tuple[int, int, Any], ...] = ()


def draw(rng: random.Random) -> Record:
    """A good record in drawn units, order and layout."""
    # At a scale of 1 the record is that of a solid of 2.6 GPa; drawn are 0.2 to 18 GPa.
    scale = 10 ** rng.uniform(-1.1, 0.84)
    truth = invented(rng.randint(30, 80), seed=rng.randint(0, 999), scale=scale)
    force, depth = rng.choice(list(FORCE)), rng.choice(list(DEPTH))
    entries = [
        ("Time (s)", truth.time),
        (f"Load ({force})", truth.force * FORCE[force]),
        (f"Depth ({depth})", truth.depth * DEPTH[depth]),
    ]
    rng.shuffle(entries)
    delimiter = rng.choice(";,\t |")
    decimal = "." if delimiter == "," else rng.choice(".,")
    head = rng.choice([(), ("Operator: X",), ("Temperature: 23 °C", "Date: 2026-02-03")])
    return Record(
        [n for n, _ in entries], [c.copy() for _, c in entries], truth, delimiter, decimal, head
    )


# --- mutations with a known answer ---


def _column(record: Record, word: str) -> int:
    return next(i for i, n in enumerate(record.names) if n.startswith(word))


def unit_exchanged(record: Record, rng: random.Random) -> Record:
    """Another unit, values with it: the same record."""
    k = _column(record, rng.choice(["Load", "Depth"]))
    table = FORCE if record.names[k].startswith("Load") else DEPTH
    old = record.names[k].partition("(")[2].rstrip(")")
    new = rng.choice([u for u in table if u != old])
    record.columns[k] = record.columns[k] / table[old] * table[new]
    record.names[k] = record.names[k].replace(f"({old})", f"({new})")
    return record


def wrong_unit(record: Record, rng: random.Random) -> Record:
    """Another unit in the name, the values as they were: off by 500 or more. A factor of 10, as
    between nm and Å, leaves numbers that some solid has; no reader can tell."""
    k = _column(record, rng.choice(["Load", "Depth"]))
    table = FORCE if record.names[k].startswith("Load") else DEPTH
    old = record.names[k].partition("(")[2].rstrip(")")
    far = [u for u in table if not 0.002 < table[u] / table[old] < 500]
    if far:
        record.names[k] = record.names[k].replace(f"({old})", f"({rng.choice(far)})")
    return record


def scaled(record: Record, rng: random.Random) -> Record:
    """A whole column times or over 1,000, the unit as it was."""
    k = _column(record, rng.choice(["Load", "Depth"]))
    record.columns[k] = record.columns[k] * rng.choice([1e3, 1e-3])
    return record


def scaled_from_a_row(record: Record, rng: random.Random) -> Record:
    """The values of a column times 1,000 from a row in the loading on."""
    k = _column(record, rng.choice(["Load", "Depth"]))
    n = len(record.columns[k])
    record.columns[k][rng.randrange(n // 4, n // 3) :] *= 1e3
    return record


def one_value_scaled(record: Record, rng: random.Random) -> Record:
    """One value times 1,000, as a lost decimal mark makes it."""
    k = _column(record, rng.choice(["Load", "Depth", "Time"]))
    n = len(record.columns[k])
    record.columns[k][rng.randrange(n // 4, n - n // 4)] *= 1e3
    return record


def decimal_exchanged(record: Record, rng: random.Random) -> Record:
    """The other decimal mark in the whole file."""
    if record.delimiter != ",":
        record.decimal = "," if record.decimal == "." else "."
    return record


def decimal_exchanged_once(record: Record, rng: random.Random) -> Record:
    """The other decimal mark in one number; in a typed file a text where a number was."""
    k, row = rng.randrange(3), rng.randrange(3, len(record.columns[0]))
    text = f"{record.columns[k][row]:.9g}"
    if "." not in text:
        text += ".5"
    record.holes = ((k, row, text.replace(".", "," if record.decimal == "." else ".")),)
    return record


def columns_permuted(record: Record, rng: random.Random) -> Record:
    """Columns in another order, names with them."""
    order = rng.sample(range(3), 3)
    record.names = [record.names[i] for i in order]
    record.columns = [record.columns[i] for i in order]
    return record


def names_shifted(record: Record, rng: random.Random) -> Record:
    """Names moved on by a column, numbers not."""
    record.names = [*record.names[1:], record.names[0]]
    return record


def row_shifted(record: Record, rng: random.Random) -> Record:
    """The values of one row moved on by a column, the first left empty."""
    row = rng.randrange(3, len(record.columns[0]))
    values = [c[row] for c in record.columns]
    record.holes = ((0, row, None), (1, row, values[0]), (2, row, values[1]))
    return record


#: Mutation -> whether only the right answer (True) or only a refusal or a remark (False) is right.
KNOWN: dict[Callable[[Record, random.Random], Record], bool | None] = {
    unit_exchanged: True,
    decimal_exchanged: True,
    columns_permuted: True,
    wrong_unit: None,
    scaled: False,
    scaled_from_a_row: False,
    one_value_scaled: False,
    decimal_exchanged_once: False,
    names_shifted: False,
    row_shifted: False,
}


# --- writing -----------------


def text_of(record: Record) -> list[str]:
    """Lines of text."""
    columns: list[list[str]] = [
        [f"{v:.12g}".replace(".", record.decimal) for v in c] for c in record.columns
    ]
    for k, row, value in record.holes:
        if isinstance(value, float):
            value = f"{value:.12g}".replace(".", record.decimal)
        columns[k][row] = "" if value is None else str(value)
    delimiter = record.delimiter
    names = record.names if delimiter != " " else [n.replace(" ", "_") for n in record.names]
    return [*record.head, delimiter.join(names), *lines_of(columns, delimiter=delimiter)]


def write(record: Record, kind: str, path: Path, rng: random.Random) -> None:
    """A record as a file of the kind."""
    if kind in ("text", "zip"):
        raw = ("\n".join(text_of(record)) + "\n").encode(rng.choice(["utf-8", "utf-16"]))
        if kind == "zip":
            held = io.BytesIO()
            with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr("folder/a.txt", raw)
            raw = held.getvalue()
        path.write_bytes(raw)
        return
    columns: list[list[Any]] = [np.asarray(c).tolist() for c in record.columns]
    for k, row, value in record.holes:
        columns[k][row] = value
    if kind == "workbook":
        rows = [list(r) for r in zip(*columns, strict=True)]
        head = [h.split(": ") for h in record.head]
        workbook(path, {"S": [*head, record.names, *rows]})
        return
    numbers = [
        np.array([np.nan if v is None or isinstance(v, str) else v for v in c]) for c in columns
    ]
    if kind == "parquet":
        import polars as pl

        pl.DataFrame(dict(zip(record.names, numbers, strict=True))).write_parquet(path)
        return
    import h5py

    with h5py.File(path, "w") as file:
        group = file.create_group("t/one")
        for name, values in zip(record.names, numbers, strict=True):
            bare, _, unit = name.partition(" (")
            group.create_dataset(bare, data=values).attrs["unit"] = unit.rstrip(")")


# --- damage ------------------


def damage_text(lines: list[str], delimiter: str, rng: random.Random) -> bytes:
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
            lines.insert(i, rng.choice(["", "  ", delimiter * 3, "Test 2", f"NaN{delimiter}1"]))
        elif kind == 4:
            lines[i] = delimiter.join(reversed(line.split(delimiter)))
        elif kind == 5:
            lines[i] = line.replace(".", ",") if "." in line else line.replace(",", ".")
        elif kind == 6:
            lines[i] = line + delimiter + line
        elif kind == 7:
            lines = lines[: i + 1]
        elif kind == 8:
            lines[i] = line.replace("(mN", "(N").replace("(nm", "(um").replace("(s", "(V")
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
        lines = lines or ["x"]
    encoding = rng.choice(["utf-8", "utf-8", "utf-16", "cp1252", "utf-16-le"])
    return "\n".join(lines).encode(encoding, errors="replace")


def cut(lines: list[str], rng: random.Random) -> bytes:
    """A file that ends too soon, often within its last line."""
    raw = "\n".join(lines).encode()
    return (
        raw[: -rng.randint(0, len(lines[-1]) + 1) or None]
        if rng.random() < 0.7
        else (raw[: rng.randrange(1, len(raw))])
    )


def damage_bytes(raw: bytes, rng: random.Random) -> bytes:
    """Flipped, lost, doubled and strange bytes."""
    held = bytearray(raw)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(held) + 1)
        kind = rng.randrange(6)
        if kind == 0 and at < len(held):
            held[at] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del held[at : at + rng.randint(1, 40)]
        elif kind == 2:
            held[at:at] = rng.randbytes(rng.randint(1, 20))
        elif kind == 3:
            held[at : at + 8] = rng.choice([b"\xff" * 8, b"\x00" * 8, b"\x7f" * 8])
        elif kind == 4:
            del held[at:]
        else:
            held[at:at] = held[max(0, at - 50) : at]
        held = held or bytearray(b"x")
    return bytes(held)


def damage_members(raw: bytes, rng: random.Random) -> bytes:
    """A zip form whose members are damaged but packed again: the fault lies deeper."""
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        members = {n: archive.read(n) for n in archive.namelist()}
    name = rng.choice(list(members))
    if rng.random() < 0.2:
        del members[name]
    else:
        swap = [(b"<v>0", b"<v>x"), (b'r="', b'r="Z'), (b't="s"', b't="b"'), (b"<row", b"<r")]
        old, new = rng.choice(swap)
        whole = members[name]
        changed = whole.replace(old, new, rng.randint(1, 3))
        members[name] = changed if changed != whole else damage_bytes(whole or b"x", rng)
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for n, content in members.items():
            archive.writestr(n, content)
    return held.getvalue()


# --- one case ----------------


def right(batch: Batch, record: Invented) -> bool:
    """Whether the numbers are the truth."""
    if len(batch) != 1 or len(batch.force) != len(record.force):
        return False
    return all(
        np.allclose(
            getattr(batch, n), getattr(record, n), rtol=1e-7, atol=1e-7 * np.ptp(getattr(record, n))
        )
        for n in ("time", "force", "depth")
    )


def look(path: Path, folder: Path) -> tuple[Any, float]:
    """All that the readers do with a file, and the seconds of the processor that it took."""
    start = time.process_time()
    outcome = read([path], root=folder)
    seen = understand_all(path, root=folder)
    starting_recipe_records(seen)
    batch, aside = check(outcome.batch)
    took = time.process_time() - start
    for name in ("force", "depth"):
        assert np.isfinite(getattr(outcome.batch, name)).all()
    for found in (*outcome.set_aside, *aside):
        assert found.reason and found.remedy
    return replace(outcome, batch=batch, set_aside=(*outcome.set_aside, *aside)), took


def in_company(path: Path, record: Record, alone: Any, rng: random.Random, folder: Path) -> bool:
    """Whether a text gives the same among good files of its layout, and leaves these alone.

    Files of one shape are read together by another, quicker way: it must not show.
    """
    friends = []
    truths = []
    at = rng.choice([5, 6, 7, 7])  # behind those from which a shape is learned
    for k in range(7):
        truth = invented(rng.randint(30, 50), seed=1000 + k)
        values = {"Time": truth.time, "Load": truth.force, "Depth": truth.depth}
        columns = []
        for name in record.names:
            word, _, unit = name.partition(" (")
            factor = {**FORCE, **DEPTH, "s": 1.0}[unit.rstrip(")")]
            columns.append(values[word] * factor)
        friend = Record(
            list(record.names), columns, truth, record.delimiter, record.decimal, record.head
        )
        other = folder / f"c{k}.txt"
        other.write_bytes(("\n".join(text_of(friend)) + "\n").encode())
        friends.append(other)
        truths.append(truth)
    paths = [*friends[:at], path, *friends[at:]]
    together = read(paths, root=folder)
    tests = {t.source.path: i for i, t in enumerate(together.batch.tests)}
    for other, truth in zip(friends, truths, strict=True):
        if other.name not in tests or not right(together.batch.take([tests[other.name]]), truth):
            return False
    mine = [i for i, t in enumerate(together.batch.tests) if t.source.path == path.name]
    picked = together.batch.take(mine)
    same = all(np.array_equal(getattr(picked, n), getattr(alone, n)) for n in ("force", "depth"))
    return same and len(picked) == len(alone)


def damaged_case(kind: str, rng: random.Random, folder: Path) -> str:
    """Damage a file; ``read``, ``refused``, or what is wrong."""
    record = draw(rng)
    path = folder / f"f.{ENDINGS[kind]}"
    if kind == "text":
        path.write_bytes(
            cut(text_of(record), rng)
            if rng.random() < 0.25
            else damage_text(text_of(record), record.delimiter, rng)
        )
    else:
        write(record, kind, path, rng)
        raw = path.read_bytes()
        deep = kind in ("workbook", "zip") and rng.random() < 0.6
        path.write_bytes(damage_members(raw, rng) if deep else damage_bytes(raw, rng))
    before = path.read_bytes()
    outcome, took = look(path, folder)
    assert path.read_bytes() == before
    if kind == "text" and not in_company(path, record, read([path]).batch, rng, folder):
        return "OTHER IN COMPANY"
    if took > LONGEST_S:
        return "HANG"
    if not len(outcome.batch) and not outcome.set_aside:
        return "SILENT LOSS"
    return "read" if len(outcome.batch) else "refused"


def known_case(kind: str, rng: random.Random, folder: Path) -> tuple[str, str]:
    """A mutation whose answer is known: its name, and ``right``, ``refused``, ``told`` or worse."""
    mutate = rng.choice(list(KNOWN))
    record = mutate(draw(rng), rng)
    path = folder / f"k.{ENDINGS[kind]}"
    write(record, kind, path, rng)
    outcome, took = look(path, folder)
    name = mutate.__name__
    if took > LONGEST_S:
        return name, "HANG"
    if kind == "text" and not in_company(path, record, read([path]).batch, rng, folder):
        return name, "OTHER IN COMPANY"
    if not len(outcome.batch):
        missed = KNOWN[mutate] is True
        return name, "REFUSED A GOOD FILE" if missed else "refused"
    if right(outcome.batch, record.truth):
        return name, "right"
    if KNOWN[mutate] is True:
        return name, "WRONG NUMBER"
    told = any("look at the unit" in n or "leaps" in n for n in outcome.notes)
    return name, "told" if told else "SILENT WRONG NUMBER"


def bases(folder: Path) -> None:
    """Compile and import what the cases use, so that the first is not slow."""
    rng = random.Random(0)
    for kind in KINDS:
        path = folder / f"b.{ENDINGS[kind]}"
        write(draw(rng), kind, path, rng)
        look(path, folder)
    read([folder / "b.txt"], Layout())


__all__ = ["KINDS", "bases", "damaged_case", "hdf5", "known_case", "parquet"]

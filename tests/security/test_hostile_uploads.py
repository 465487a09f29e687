"""Files that would end, fill or stop the workbench are refused with a reason; it goes on.

Through HTTP, and through the command line. Invented data.
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from pathlib import Path

import hostile_files as hostile
import pytest
from attacked import process
from upload_client import Workbench

FAR = '<row><c r = "XFD1048576"><v>1</v></c></row>'


def _ods(inner: str, down: int = 1) -> bytes:
    row = f'<table:table-row table:number-rows-repeated = "{down}">{inner}</table:table-row>'
    return hostile.ods(f'<table:table table:name="S">{row}</table:table>')


_CELL = 'office:value-type="float" office:value="1"'
ATTACKS: dict[str, tuple[str, bytes, str]] = {
    "blanks round =": ("a.xlsx", hostile.xlsx(hostile.data(FAR)), "spans more than"),
    "odd name of the part": (
        "b.xlsx",
        hostile.xlsx(hostile.data(FAR), part="xl/odd.dat", target="odd.dat"),
        "spans more than",
    ),
    "row of 14 digits": (
        "c.xlsx",
        hostile.xlsx(hostile.data('<row r="10000000000000"><c><v>1</v></c></row>')),
        "expected at most 1,048,576",
    ),
    "cell without a row's number": (
        "d.xlsx",
        hostile.xlsx(hostile.data('<row r="1048570"/><row><c r="XFD1048571"><v>1</v></c></row>')),
        "spans more than",
    ),
    "one part, many sheets": (
        "e.xlsx",
        hostile.xlsx(hostile.data("<row><c r='T5000'><v>1</v></c></row>"), entries=9000),
        "cells; expected at most",
    ),
    "shared text": (
        "f.xlsx",
        hostile.xlsx(
            hostile.data('<row><c t="s"><v>0</v></c></row>' * 30_000),
            strings=f"<si><t>{'x' * 1_000_000}</t></si>",
        ),
        "characters of text",
    ),
    "document type": (
        "g.xlsx",
        hostile.sheet_entities(random.Random(1))[1],
        "declares a document type",
    ),
    "rows and columns repeated": (
        "h.ods",
        _ods(f'<table:table-cell table:number-columns-repeated = "16384" {_CELL}/>', 1_000_000),
        "spans more than",
    ),
    "blanks repeated": (
        "i.ods",
        _ods(
            '<table:table-cell office:value-type="string"><text:p>a<text:s '
            'text:c="999999999"/>b</text:p></table:table-cell>'
        ),
        "characters of text",
    ),
}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workbench]:
    place = tmp_path_factory.mktemp("served")
    (place / "studies").mkdir()
    served = Workbench(place / "studies", place / "home")
    yield served
    served.stop()


@pytest.mark.parametrize("attack", ATTACKS)
def test_an_upload_that_claims_too_much(bench: Workbench, attack: str) -> None:
    """The first, of less than 2.8 kB, ended the server."""
    name, raw, words = ATTACKS[attack]
    folder = f"case-{name[0]}"
    assert len(raw) < 60_000
    assert bench.upload(f"{folder}/{name}", raw).status_code == 200
    assert bench.upload(f"{folder}/good.csv", hostile.record_text().encode()).status_code == 200
    start = time.perf_counter()
    answer = bench.look(folder)
    assert answer.status_code == 200, answer.text
    assert time.perf_counter() - start < 240.0  # a guard against a hang
    groups = answer.json()["groups"]
    assert sum(g["tests"] for g in groups) == 1
    said = [f["reason"] for g in groups for f in g["faults"]]
    assert any(words in s for s in said), said
    assert bench.alive


BODIES = {
    "nested list": '{"folder": "x", "groups": ' + "[" * 5000 + "]" * 5000 + "}",
    "nested options": '{"kind": "run", "options": ' + '{"a": ' * 5000 + "1" + "}" * 5001,
    "digits": '{"kind": "run", "options": {"a": ' + "7" * 5000 + "}}",
    "cut": '{"kind": ',
}


@pytest.mark.parametrize("address", ["/api/look", "/api/studies/x:study/jobs", "/api/studies"])
@pytest.mark.parametrize("kind", BODIES)
def test_a_request_without_bounds(bench: Workbench, address: str, kind: str) -> None:
    head = {"content-type": "application/json"}
    answer = bench.client.post(address, content=BODIES[kind], headers=head)
    assert answer.status_code == 400
    assert answer.json()["error"]["what"].startswith("The body is not valid JSON: ")
    assert bench.alive


def test_the_pages_say_why_they_do_not_read_a_large_file(bench: Workbench, tmp_path: Path) -> None:
    """A file of 2 GB with a sound record, most of it never written to the disk."""
    import h5py
    import numpy as np

    folder = bench.root / "large"
    folder.mkdir()
    path = folder / "large.h5"
    with h5py.File(path, "w") as file:
        for name, unit, values in zip(
            ("time", "force", "depth"), ("s", "mN", "nm"), np.array(hostile.rows()).T, strict=True
        ):
            file.create_dataset(f"tests/a/{name}", data=values).attrs["unit"] = unit
        held = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
        held.set_alloc_time(h5py.h5d.ALLOC_TIME_EARLY)
        held.set_fill_time(h5py.h5d.FILL_TIME_NEVER)
        space = h5py.h5s.create_simple((2_000_000_000,))
        h5py.h5d.create(file.id, b"camera", h5py.h5t.NATIVE_UINT8, space, held)
    assert path.stat().st_size > 2_000_000_000
    answer = bench.look("large")
    assert answer.status_code == 200
    (fault,) = [f for g in answer.json()["groups"] for f in g["faults"]]
    assert fault["reason"] == "The file has 2,000 MB; the pages read files of at most 500 MB."
    assert "drypoint inspect" in fault["remedy"]
    assert bench.alive
    said = process("inspect", path)
    assert said.code == 0, said.text
    assert "time" in said.text and "force" in said.text
    path.unlink()


@pytest.mark.parametrize("value", ["[" * 5000 + "]" * 5000, "7" * 5000])
def test_an_import_of_a_ledger_without_bounds(value: str, tmp_path: Path) -> None:
    path = tmp_path / "export.jsonl"
    path.write_text(f'{{"drypoint_ledger": {value}}}\n', encoding="utf-8")
    place = str(tmp_path / "ledger.sqlite")
    said = process("ledger", "import", path, DRYPOINT_LEDGER=place)
    assert said.code == 2, said.text
    assert "export.jsonl, line 1" in said.text

"""Five hundred spoiled files of every kind; the benchmark runs ten thousand of the same."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest
from fuzz_cases import KINDS, KNOWN, bases, damaged_case, known_case

BAD = {
    "HANG",
    "WRONG NUMBER",
    "SILENT LOSS",
    "OTHER IN COMPANY",
    "SILENT WRONG NUMBER",
    "REFUSED A GOOD FILE",
}


@pytest.mark.parametrize("kind", KINDS)
def test_fifty_damaged_files(tmp_path: Path, kind: str) -> None:
    bases(tmp_path)
    found = Counter(
        damaged_case(kind, random.Random(f"{kind} {case}"), tmp_path) for case in range(50)
    )
    assert not set(found) & BAD, found
    assert found["refused"] > 10


@pytest.mark.parametrize("kind", KINDS)
def test_fifty_mutations_with_a_known_answer(tmp_path: Path, kind: str) -> None:
    bases(tmp_path)
    found: Counter[tuple[str, str]] = Counter()
    for case in range(50):
        found[known_case(kind, random.Random(f"known {kind} {case}"), tmp_path)] += 1
    assert not {outcome for _, outcome in found} & BAD, found
    assert len({name for name, _ in found}) > len(KNOWN) // 2

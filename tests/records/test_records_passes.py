"""Passes of a track: told apart by a column, by the way back, by the force; names; refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.records.passes import find_passes, kind_of_word, track_and_kind

WAY = 500e-6


def rows(n: int, force: float, ramp: bool, back: bool = False) -> tuple[np.ndarray, np.ndarray]:
    x = np.linspace(0, WAY, n)
    F = force * np.linspace(0.01, 1, n) if ramp else np.full(n, force)
    return (x[::-1], F) if back else (x, F)


@given(
    lengths=st.tuples(*[st.integers(60, 400)] * 3),
    noise=st.floats(0, 0.02),
    seed=st.integers(0, 10**6),
)
def test_three_passes_by_the_way_back(
    lengths: tuple[int, int, int], noise: float, seed: int
) -> None:
    """Whatever their lengths and noise of the force: before, scratch, after, cut where x turns."""
    rng = np.random.default_rng(seed)
    parts = [
        rows(lengths[0], 2e-3, False),
        rows(lengths[1], 0.5, True),
        rows(lengths[2], 2e-3, False),
    ]
    x = np.concatenate([p[0] for p in parts])
    F = np.concatenate([p[1] for p in parts])
    F = F * (1 + noise * rng.standard_normal(len(F)))
    found = find_passes(x, F)
    assert [p.kind for p in found.passes] == ["before", "scratch", "after"]
    edges = np.cumsum(lengths)
    assert [p.start for p in found.passes[1:]] == pytest.approx(edges[:2], abs=1)
    assert found.by == "the distance going back"


def test_passes_that_turn_at_the_ends() -> None:
    """Without a leap back: out, back, out. The same three passes."""
    parts = [rows(200, 2e-3, False), rows(300, 0.5, True, back=True), rows(200, 2e-3, False)]
    found = find_passes(*(np.concatenate([p[i] for p in parts]) for i in (0, 1)))
    assert [p.kind for p in found.passes] == ["before", "scratch", "after"]


def test_a_way_that_counts_on_is_cut_where_the_tip_is_off() -> None:
    gap = (np.full(60, np.nan), np.zeros(60))
    x, F = [], []
    at = 0.0
    for force, ramp in ((2e-3, False), (0.5, True), (2e-3, False)):
        px, pF = rows(300, force, ramp)
        x += [px + at, np.linspace(at + WAY, at + WAY, 60)]
        F += [pF, gap[1]]
        at += WAY
    found = find_passes(np.concatenate(x), np.concatenate(F))
    assert [p.kind for p in found.passes] == ["before", "scratch", "after"]
    assert found.by == "the force near zero"
    assert [p.origin for p in found.passes] == pytest.approx([0, WAY, 2 * WAY], abs=0.05 * WAY)


def test_a_column_says_it() -> None:
    x, F = (np.concatenate([rows(100, 0.5, True)[i]] * 2) for i in (0, 1))
    codes = np.repeat(np.array([0, 1], dtype=np.int16), 100)
    found = find_passes(x, F, codes, ("pre", "scratch"))
    assert [p.kind for p in found.passes] == ["before", "scratch"]
    assert found.by == "a column"


def test_one_pass_is_a_scratch_and_repeats_are_counted() -> None:
    assert find_passes(*rows(300, 0.5, True)).counted == "scratch"
    five = [rows(200, 0.1, False)] * 5
    found = find_passes(*(np.concatenate([p[i] for p in five]) for i in (0, 1)))
    assert found.counted == "5 scratch"


def test_an_order_that_does_not_fit_is_said() -> None:
    parts = [rows(200, 2e-3, False), rows(300, 0.5, True)]
    x, F = (np.concatenate([p[i] for p in parts]) for i in (0, 1))
    found = find_passes(x, F, order=("before", "scratch", "after"))
    assert [p.kind for p in found.passes] == ["before", "scratch"]
    assert "declares 3 passes" in found.remarks[0]
    found = find_passes(x, F, order=("leave out", "scratch"))
    assert [p.kind for p in found.passes] == ["scratch"]


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("pre-scratch scan", "before"),
        ("Scratch", "scratch"),
        ("after scratch", "after"),
        ("post", "after"),
        ("load", None),
    ],
)
def test_words_for_passes(word: str, kind: str | None) -> None:
    assert kind_of_word(word) == kind


def test_names_of_files() -> None:
    assert track_and_kind("B-01_pre") == ("B-01", "before")
    assert track_and_kind("B-01_scratch") == ("B-01", "scratch")
    assert track_and_kind("plain") == ("plain", None)
    assert track_and_kind("T7_2nd", {"scratch": "_2nd"}) == ("T7", "scratch")

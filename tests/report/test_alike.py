"""Sentences said together: nothing lost, nothing merged that differs in words."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from drypoint.report.alike import alike


def test_numbers_become_spans_and_names_stay_apart() -> None:
    found = alike(
        [
            "The depth jumps by 17.2 nm at 0.61 mN.",
            "The depth jumps by 3.1 nm at 0.61 mN.",
            "Test F-01 lies 3 µm away.",
            "Test F-02 lies 4 µm away.",
            "The rate is -2e-3 nm/s.",
            "The rate is −1 nm/s.",
        ]
    )
    assert found == [
        ("The depth jumps by 3.1 to 17.2 nm at 0.61 mN.", [0, 1]),
        ("Test F-01 lies 3 µm away.", [2]),
        ("Test F-02 lies 4 µm away.", [3]),
        ("The rate is −1 to -2e-3 nm/s.", [4, 5]),
    ]


@given(st.lists(st.tuples(st.floats(-1e3, 1e3).map(lambda x: f"{x:.3g}"), st.integers(0, 9))))
def test_every_sentence_is_in_one_group(pairs: list[tuple[str, int]]) -> None:
    sentences = [f"Jump of {x} nm in cycle {n}." for x, n in pairs]
    found = alike(sentences)
    assert sorted(k for _, members in found for k in members) == list(range(len(sentences)))
    assert len(found) == (1 if sentences else 0)

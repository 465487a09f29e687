"""The picture of a run of finite elements: same bytes, words with the right numbers."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pytest

import drypoint.stress as stress
from drypoint import figures
from drypoint.errors import StressError


@pytest.fixture(scope="module")
def run() -> stress.Solution:
    film = stress.Layer(stress.Material(100e9, 0.3, 2e9), 300e-9)
    stack = stress.Stack(stress.Material(170e9, 0.22, 6e9), (film,))
    protocol = stress.Protocol.to_depth(100e-9)
    return stress.solve(
        stack, stress.cone(1.2269), protocol, mesh=stress.Effort(5, 8, 5), errors=False
    )


def test_under_the_tip(run: stress.Solution) -> None:
    first, second = figures.under_the_tip(run), figures.under_the_tip(run)
    text = first.svg()
    assert text == first.svg() == second.svg()
    ElementTree.fromstring(text)
    assert first.caption.endswith(".") and first.alt.endswith(".")
    assert "100 nm" in first.alt and "yielded zone" in first.alt
    assert "nan" not in first.alt.lower()
    stress_axes, record, bar = first.axes
    assert "nm" in stress_axes.get_xlabel() and "mN" in record.get_ylabel()
    assert "GPa" in bar.get_ylabel()


def test_the_impression_left(run: stress.Solution) -> None:
    """At the last step there is no force, and stress is left."""
    left = figures.under_the_tip(run, -1)
    assert " 0 mN" in left.alt
    assert figures.under_the_tip(run, len(run.force) - 1).alt == left.alt


def test_without_fields_there_is_no_picture(run: stress.Solution) -> None:
    bare = stress.solve(
        run.stack, run.profile, stress.Protocol.to_depth(1e-8, unload=False),
        mesh=stress.Effort(4, 3, 3), errors=False, fields=False,
    )  # fmt: skip
    with pytest.raises(StressError, match="no fields"):
        figures.under_the_tip(bare)
    assert np.all(bare.force >= 0)

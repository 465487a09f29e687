"""Compiled medians against NumPy's, and the look at the heaps of an HDF5 file."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.medians import middle, middle_of_lowest
from drypoint.records import read
from drypoint.records.hdf5_heap import sound_heaps


@given(
    st.lists(st.floats(-1e6, 1e6) | st.integers(-3, 3).map(float), min_size=1, max_size=120),
    st.sampled_from([1.0, 1e-300, 1e250]),
    st.integers(1, 6),
)
def test_median(values: list[float], scale: float, times: int) -> None:
    """numpy.median is the outside value."""
    x = np.array(values * times) * scale
    assert middle(x) == pytest.approx(np.median(x), rel=1e-15, abs=0.0)
    n = 1 + len(x) // 3
    assert middle_of_lowest(x, n, np.empty(len(x))) == pytest.approx(
        np.median(np.sort(x)[:n]), rel=1e-15, abs=0.0
    )


@pytest.mark.parametrize("kind", ["equal", "two values", "rising", "one far off", "wide"])
def test_median_of_odd_arrays(kind: str) -> None:
    rng = np.random.default_rng(1)
    for n in (41, 500, 1001):
        x = {
            "equal": np.full(n, 0.1),
            "two values": rng.integers(0, 2, n).astype(float),
            "rising": np.arange(n, dtype=float),
            "one far off": np.concatenate([rng.standard_normal(n - 1), [1e300]]),
            "wide": 10.0 ** rng.uniform(-300, 300, n),
        }[kind]
        assert middle(x) == np.median(x)
        assert middle(-x) == np.median(-x)
    assert np.isnan(middle(np.array([1.0, np.nan, 2.0])))
    assert np.isnan(middle(np.array([1.0, np.inf, 2.0])))


def test_a_heap_that_leads_in_a_circle_is_refused(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Found by the fuzzer: the library walks such a heap for ever."""
    h5py = pytest.importorskip("h5py")
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        for name, unit in (("Time", "s"), ("Force", "mN"), ("Depth", "nm")):
            file.create_dataset(name, data=np.linspace(0, 1, 50)).attrs["unit"] = unit
    good = path.read_bytes()
    assert sound_heaps(path) and sound_heaps(good)
    heap = good.index(b"GCOL")
    # The entry behind the three words: the room that is left, its size made zero.
    at = heap + 16
    while good[at : at + 2] != b"\0\0":
        at += 16 + (int.from_bytes(good[at + 8 : at + 16], "little") + 7) // 8 * 8
    path.write_bytes(good[: at + 8] + bytes(8) + good[at + 16 :])
    assert not sound_heaps(path)
    assert "damaged" in read([path]).set_aside[0].reason

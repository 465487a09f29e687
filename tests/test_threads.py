"""Numbers do not depend on how many threads work on them, to the last bit."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from drypoint.records import read
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import reduce_batch
from drypoint.simulation import Creep, Law, Noise, Truth, simulate_batch, single, stepped
from drypoint.threads import in_stretches, one_in_algebra, threads, together
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame


def test_linear_algebra_is_held_at_one_thread_until_all_are_done() -> None:
    """Two that ask, in any order of leaving; then it is as before."""
    import scipy.linalg  # noqa: F401
    from threadpoolctl import threadpool_info

    def count() -> set[int]:
        return {one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"}

    before = count()
    first, second = one_in_algebra(), one_in_algebra()
    first.__enter__()
    second.__enter__()
    assert count() == {1}
    first.__exit__(None, None, None)
    assert count() == {1}
    second.__exit__(None, None, None)
    assert count() == before


def test_stretches_are_all_rows_in_their_order() -> None:
    for count in (1, 2, 3, 7):
        with threads(count):
            parts = in_stretches(100, lambda a, b: (np.arange(a, b),), least=1)
        assert len(parts) == count
        np.testing.assert_array_equal(together(parts)[0], np.arange(100))
    with threads(4):
        assert in_stretches(0, lambda a, b: (a, b)) == [(0, 0)]
        assert len(in_stretches(50, lambda a, b: b - a)) == 1


def test_threads_of_threads_work_alone() -> None:
    """Otherwise they would wait for each other for ever."""

    def outer(a: int, b: int) -> list[int]:
        return in_stretches(b - a, lambda c, d: d - c, least=1)

    with threads(8):
        parts = in_stretches(80, outer, least=1)
    assert [sum(p) for p in parts] == [10] * 8
    assert [len(p) for p in parts[1:]] == [1] * 7


def test_an_error_in_a_thread_is_raised() -> None:
    def bad(a: int, b: int) -> int:
        if b == 10:
            raise ValueError("the last row")
        return a

    with threads(2), pytest.raises(ValueError, match="the last row"):
        in_stretches(10, bad, least=1)


def _same(one: Any, two: Any, path: str = "") -> int:
    """Arrays compared, of which every bit is the same."""
    if isinstance(one, np.ndarray):
        assert one.dtype == two.dtype and one.shape == two.shape, path
        assert one.tobytes() == two.tobytes(), path
        return 1
    if is_dataclass(one) and not isinstance(one, type):
        names = [f.name for f in fields(one) if f.compare]
        return sum(_same(getattr(one, n), getattr(two, n), f"{path}.{n}") for n in names)
    if isinstance(one, dict):
        assert set(one) == set(two), path
        return sum(_same(one[k], two[k], f"{path}[{k!r}]") for k in one)
    if isinstance(one, tuple | list):
        assert len(one) == len(two), path
        return sum(_same(a, b, f"{path}[{i}]") for i, (a, b) in enumerate(zip(one, two)))  # noqa: B905
    assert one == two or one != one, path
    return 0


def test_a_reduction_is_the_same_with_any_number_of_threads() -> None:
    bench = Bench(blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B"), Frame())
    cycles = [single(5e-3, load=4.0), stepped(6e-3, steps=3)]
    truths = [
        Truth(
            tip=bench.tip, E=Law.constant(72e9), H=Law.constant(9e9), nu=0.17, name=f"T{i}",
            specimen="glass", m=1.3, creep=Creep(0.004), drift_rate=2e-11 * (i % 3),
            noise=Noise(force_white=0.3e-6, depth_white=0.15e-9),
        )
        for i in range(96)
    ]  # fmt: skip
    batch = simulate_batch(truths, [cycles[i % 2] for i in range(96)], 3)
    found = []
    for count in (1, 2, 3):
        with threads(count):
            found.append(reduce_batch(batch, bench, Options(), {"glass": (0.17, 0.02)}))
    assert np.all(np.isfinite(found[0].tests["E_IT"].u_random))
    for other in found[1:]:
        assert _same(found[0], other) > 100


def test_files_of_one_shape_read_with_any_number_of_threads(tmp_path: Path) -> None:
    """Each file gives what it gives alone, too: the parser of many is that of one."""
    rng = np.random.default_rng(5)
    paths = []
    for i in range(24):
        rows = rng.integers(0, 10**7, (20 + i, 3)) / 10.0 ** rng.integers(2, 5)
        rows[:, 0] = np.arange(len(rows)) / 10
        text = "Time (s),Force (mN),Depth (nm)\n"
        text += "".join(f"{a:.3f},{b!r},{c!r}\n" for a, b, c in rows.tolist())
        if i == 13:
            text = text.replace("\n", ";\n")  # of no known shape
        paths.append(tmp_path / f"T{i:02d}.csv")
        paths[-1].write_text(text)
    found = []
    for count in (1, 2, 3):
        with threads(count):
            found.append(read(paths, specimen="S"))
    for other in found[1:]:
        assert _same(found[0], other) > 2
    names = [t.name for t in found[0].batch.tests]
    for i in (0, 5, 23):
        alone = read(paths[i : i + 1], specimen="S").batch
        span = found[0].batch.span(names.index(f"T{i:02d}"))
        for name in ("time", "force", "depth"):
            got = getattr(found[0].batch, name)[span]
            assert got.tobytes() == getattr(alone, name).tobytes()

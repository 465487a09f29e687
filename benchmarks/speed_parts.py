"""The single measurements of bench_speed.py."""

from __future__ import annotations

import contextlib
import os
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import polars as pl
import speed_world as world
from numba import njit
from numpy.typing import NDArray
from scipy.optimize import curve_fit

from drypoint.records import read
from drypoint.records.chunks import read_in_chunks
from drypoint.records.segments import find_segments
from drypoint.reduction.correct import correct
from drypoint.reduction.cycles import read_cycles
from drypoint.reduction.inputs import systematic_inputs
from drypoint.reduction.power_law import fit_power_law
from drypoint.reduction.reduce import reduce_batch
from drypoint.reduction.unloading import fit_unloading
from drypoint.run.streaming import reduce_in_chunks

Floats = NDArray[np.float64]
COLUMNS = ("Test", "Time (s)", "Force (mN)", "Depth (nm)")


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    what: str
    measured: str
    floor: str
    met: bool | None = None
    how: str = ""

    @property
    def verdict(self) -> str:
        """In words."""
        return "" if self.met is None else "met" if self.met else "**missed**"


@dataclass(frozen=True)
class Size:
    """How many tests each part takes."""

    fits: int
    scipy: int
    parquet: int
    csv: int
    stream: tuple[int, int]

    @classmethod
    def of(cls, quick: bool, full: bool) -> Size:
        """For ``--quick``, ``--full``, or neither."""
        if quick:
            return cls(500, 60, 1_000, 100, (3_000, 9_000))
        return cls(4_000, 300, 20_000, 600, (3_000, 200_000 if full else 9_000))


def cpu(work: Callable[[], object], times: int = 3) -> float:
    """Least processor time of some tries, s; all threads count."""
    best = np.inf
    for _ in range(times):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return float(best)


@dataclass(frozen=True)
class Both:
    """Processor time of all threads, and time on the clock, s."""

    cpu: float
    wall: float

    def each(self, n: int) -> str:
        """For one of n, in words."""
        return f"{1e6 * self.wall / n:.0f} µs, {1e6 * self.cpu / n:.0f} µs of processor time"


def both(work: Callable[[], object], times: int = 3) -> Both:
    """Least of some tries, each of the two by itself."""
    spent, taken = [], []
    for _ in range(times):
        begun, start = time.perf_counter(), time.process_time()
        work()
        spent.append(time.process_time() - start)
        taken.append(time.perf_counter() - begun)
    return Both(min(spent), min(taken))


def facts() -> dict[str, str]:
    """The machine and the libraries; no names of hosts, no paths, no makers."""
    out = {
        "architecture": platform.machine(),
        "cores": str(os.cpu_count()),
        "Python": platform.python_version(),
    }
    if hasattr(os, "getloadavg"):  # above the cores: other work took its share of the clock
        out["load, mean of 5 minutes"] = f"{os.getloadavg()[1]:.1f}"
    return out | {n: version(n) for n in ("drypoint", "numpy", "scipy", "numba", "polars")}


@njit(cache=True)
def _all(x: Floats, y: Floats, offsets: NDArray[np.int64], start: Floats) -> Floats:
    out = np.empty((len(offsets) - 1, 3))
    free = np.ones(3)
    for i in range(len(out)):
        a, b = offsets[i], offsets[i + 1]
        out[i] = fit_power_law(x[a:b], y[a:b], start[i], free)[0]
    return out


def _law(x: Floats, a: float, length: float, m: float) -> Floats:
    return a * (1.0 + x / length) ** m


def fit(_: Path, size: Size) -> list[Row]:
    """Unloading fits in a batch against a loop of scipy.optimize.curve_fit."""
    b, bench, options = world.batch(size.fits), world.bench(), world.OPTIONS
    segments = find_segments(b)
    corrected = correct(b, segments, systematic_inputs(bench, options, world.NU), options)
    r = read_cycles(corrected, segments, options.analysis.hms_window)
    lo, hi = options.analysis.window
    xs, ys, starts = [], [], []
    for i in range(len(r.test)):
        f, h = (v[r.start[i] : r.stop[i]] / 1.0 for v in (corrected.force, corrected.depth))
        used = (f <= hi * r.F_max[i]) & (f >= lo * r.F_max[i])
        x = (h[used] - r.h_max[i]) / (h[used][0] - h[used][-1])
        xs.append(x)
        ys.append(f[used] / r.F_max[i])
        starts.append((1.0, 1.02 * max(0.8, -float(np.min(x))), 1.4))
    start = np.array(starts)
    offsets = np.concatenate([[0], np.cumsum([len(x) for x in xs])]).astype(np.int64)
    x, y = np.concatenate(xs), np.concatenate(ys)
    ours = _all(x, y, offsets, start)

    def scipy_loop() -> Floats:
        with np.errstate(all="ignore"):
            return np.array([curve_fit(_law, xs[i], ys[i], start[i])[0] for i in range(size.scipy)])

    theirs = scipy_loop()
    slope = [p[:, 2] * p[:, 0] / p[:, 1] for p in (ours[: size.scipy], theirs)]
    apart = float(np.max(np.abs(slope[0] / slope[1] - 1.0)))
    each = cpu(scipy_loop, 2) / size.scipy
    plain = cpu(lambda: _all(x, y, offsets, start)) / size.fits
    window = (lo, hi)
    args = (corrected.force, corrected.depth, corrected.time, r.start, r.stop, r.F_max, r.h_max)
    quiet = corrected.quiet_depth.of(r.test)
    fit_unloading(*args, window, quiet=quiet)
    whole = cpu(lambda: fit_unloading(*args, window, quiet=quiet)) / size.fits
    n = len(xs[0])
    return [
        Row(
            "unloading fits in a batch, without covariance",
            f"{each / plain:.0f} times curve_fit ({1e6 * plain:.1f} µs a fit)", "20 times",
            each / plain >= 20,
            f"a loop of `scipy.optimize.curve_fit` over the same {n} samples from the same start "
            f"({1e6 * each:.0f} µs a fit); both minimise in force.",
        ),
        Row("the same, largest difference in S", f"{apart:.1e}", "1e-6", apart <= 1e-6),
        Row(
            "unloading fits with bias taken out and covariance of coloured noise",
            f"{each / whole:.1f} times curve_fit ({1e6 * whole:.0f} µs a fit)", "none", None,
            "curve_fit gives a covariance for white noise, and the bias stays.",
        ),
    ]  # fmt: skip


def _parquet(path: Path, n: int) -> Path:
    """``n`` tests in one file, written a part at a time."""
    if not path.exists():
        path.mkdir()
        for k, first in enumerate(range(0, n, 1000)):
            count = min(1000, n - first)
            t, f, h = world.signals(count, seed=first)
            names = np.repeat([f"T{i:06d}" for i in range(first, first + count)], world.SAMPLES)
            table = dict(zip(COLUMNS, (names, t.ravel(), 1e3 * f.ravel(), 1e9 * h.ravel()),
                             strict=True))  # fmt: skip
            pl.DataFrame(table).write_parquet(path / f"{k:03d}.parquet")
    return path


def _stream(folder: Path) -> int:
    done = 0
    files = sorted(folder.glob("*.parquet"))
    for c in reduce_in_chunks(files, world.bench(), world.OPTIONS, world.NU, specimen="glass"):
        done += len(c.reduction)
    return done


def parquet(folder: Path, size: Size) -> list[Row]:
    """Whole reduction from Parquet against reading the same columns."""
    few = _parquet(folder / "few", 50)
    _stream(few)
    many = _parquet(folder / f"p{size.parquet}", size.parquet)
    files = sorted(many.glob("*.parquet"))
    n = size.parquet
    mere = both(lambda: [pl.read_parquet(f, columns=list(COLUMNS)) for f in files])
    read = both(lambda: [len(o.batch) for o in read_in_chunks(files, specimen="glass")], 2)
    whole = both(lambda: _stream(many), 2)
    times = whole.wall / mere.wall
    return [
        Row(
            f"{n:,} tests from Parquet, uncertainty included",
            f"{times:.0f} times a mere read ({whole.each(n)})", "2 times", times <= 2,
            f"`polars.read_parquet` of the same four columns of {world.SAMPLES} samples a test "
            f"({mere.each(n)}), both with all cores; in processor time "
            f"{whole.cpu / mere.cpu:.0f} times. Reading into records, with checks and hashes, "
            f"takes {read.each(n)} of it. The floor leaves less time a test than sorting its "
            "samples once. Tried: medians by selection, what a quiet stretch says of the noise "
            "worked out once for all fits, fewer passes over the samples, all cores. What is left: "
            "segments, the colour of the noise of nine fits, the fits and jumps themselves, and "
            "the derivatives by every input.",
        )
    ]  # fmt: skip


def csv(folder: Path, size: Size) -> list[Row]:
    """Whole reduction from CSV files against pandas.read_csv and curve_fit."""
    what = f"{size.csv} CSV files, one a test, uncertainty included"
    try:
        import pandas as pd
    except ModuleNotFoundError:
        return [Row(what, "not measured", "4 times", None,
                    "pandas is not installed; the extra `bench` brings it.")]  # fmt: skip
    place = folder / "csv"
    place.mkdir()
    t, f, h = world.signals(size.csv)
    for i in range(size.csv):
        rows = np.stack([t[i], f[i] * 1e3, h[i] * 1e9], axis=1)
        np.savetxt(place / f"T{i:04d}.csv", rows, "%.7g", ",", header=",".join(COLUMNS[1:]),
                   comments="")  # fmt: skip
    files = sorted(place.glob("*.csv"))

    def ours() -> None:
        reduce_batch(read(files, specimen="glass").batch, world.bench(), world.OPTIONS, world.NU)

    def usual() -> None:
        for path in files:
            _, force, depth = pd.read_csv(path).to_numpy().T
            top = int(np.argmax(force))
            down = slice(top, top + int(np.argmax(force[top:] < 0.2 * force[top])))
            y, x = force[down], depth[down] - depth[top]
            used = y < 0.98 * force[top]
            x, y = x[used] / (x[used][0] - x[used][-1]), y[used] / force[top]
            with np.errstate(all="ignore"), contextlib.suppress(RuntimeError):
                curve_fit(_law, x, y, (1.0, 1.02 * max(0.8, -float(np.min(x))), 1.4))

    ours()
    mine, theirs = both(ours), both(usual, 2)
    reading = both(lambda: read(files, specimen="glass"))
    times = theirs.wall / mine.wall
    return [
        Row(
            what, f"{times:.1f} times as fast ({mine.each(size.csv)} a file)", "4 times",
            times >= 4,
            "a loop of `pandas.read_csv`, the window of the unloading, and `curve_fit` "
            f"({theirs.each(size.csv)} a file): no zero, no drift, no uncertainty. In processor "
            f"time {theirs.cpu / mine.cpu:.1f} times as fast. Of ours, reading takes "
            f"{reading.each(size.csv)}: files of one shape are parsed together. The loop uses one "
            "core, ours all of them. The rest is the reduction, the same as from Parquet: what the "
            "loop does not do takes most of the time. Pandas is no dependency of Drypoint.",
        )
    ]  # fmt: skip


def _child(folder: Path) -> tuple[float, float]:
    """Seconds of processor time and GiB at the peak, in a process of its own."""
    code = "import sys, speed_parts as s; print(*s.streamed(sys.argv[1]))"
    out = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parent,
    ).stdout  # fmt: skip
    seconds, peak = map(float, out.split())
    return seconds, peak


def streamed(folder: str) -> tuple[float, float]:
    """What :func:`_child` measures: time of the stream alone, and memory."""
    _stream(Path(folder).parent / "few")
    taken = cpu(lambda: _stream(Path(folder)), 1)
    return taken, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def memory(folder: Path, size: Size) -> list[Row]:
    """Time a test and memory for few and for many."""
    _parquet(folder / "few", 50)
    found = []
    for n in size.stream:
        found.append(_child(_parquet(folder / f"p{n}", n)))
    small, large = size.stream
    each = [1e6 * s / n for (s, _), n in zip(found, size.stream, strict=True)]
    peaks = [p for _, p in found]
    at = peaks[1] + max(peaks[1] - peaks[0], 0.0) / (large - small) * max(200_000 - large, 0)
    said = "measured" if large >= 200_000 else "from the growth between the two"
    return [
        Row(
            f"time a test, {large:,} against {small:,} tests", f"{each[1] / each[0]:.2f} times",
            "flat", each[1] / each[0] <= 1.15,
            f"{each[0]:.0f} and {each[1]:.0f} µs of processor time a test, read in chunks.",
        ),
        Row(
            "memory for 200,000 tests", f"{at:.2f} GiB", "4 GiB", at <= 4.0,
            f"{said}: {peaks[0]:.2f} GiB at {small:,}, {peaks[1]:.2f} GiB at {large:,} tests.",
        ),
    ]  # fmt: skip


def _command(*words: str, times: int = 3) -> float:
    """Processor time of a command, s, least of some times. Code 3: some records set aside."""
    best = np.inf
    # As installed: Python keeps what it has compiled.
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(times):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            [sys.executable, "-c", "from drypoint.cli import main; main()", *words],
            capture_output=True, text=True, check=False, env=env,
        )  # fmt: skip
        if done.returncode not in (0, 3):
            raise RuntimeError(f"drypoint {words[0]}: {done.stderr}")
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        best = min(best, spent)
    return best


def start(folder: Path, _: Size) -> list[Row]:
    """The start of the program, and the demo again."""
    demo = folder / "demo"
    study = demo / "study.toml"
    _command("demo", str(demo), times=1)
    _command("calibrate", str(demo / "bench" / "bench.toml"), "--accept", "--who", "bench",
             "--ledger", str(demo / "ledger.sqlite"), times=1)  # fmt: skip
    _command("run", str(study), "--quiet", times=1)
    help_, again = _command("--help"), _command("run", str(study), "--quiet")
    return [
        Row("`drypoint --help`", f"{help_:.2f} s", "0.3 s", help_ < 0.3,
            "processor time; everything compiled before."),
        Row("the demo's second run", f"{again:.2f} s", "3 s", again < 3,
            "`drypoint run`, nothing changed since the first."),
    ]  # fmt: skip


Part = Callable[[Path, Size], list[Row]]
PARTS: dict[str, Part] = {
    "fit": fit, "parquet": parquet, "csv": csv, "memory": memory, "start": start,
}  # fmt: skip
__all__ = ["PARTS", "Row", "Size", "facts", "streamed"]

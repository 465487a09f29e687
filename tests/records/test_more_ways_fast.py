"""Files read together give what each gives alone, and every number is Python's own."""

from __future__ import annotations

import math
import random
import struct
from pathlib import Path

import numpy as np
import pytest
from invented_records import invented, lines_of, plain_file, save

from drypoint.records import Layout, check, read
from drypoint.records.check import Limits, _faults
from drypoint.records.doubt import doubts
from drypoint.records.floats import nearest
from drypoint.records.layout import SetAside


def texts_of_numbers(n: int, seed: int) -> list[str]:
    rng = random.Random(seed)
    out = []
    while len(out) < n:
        kind = rng.randrange(6)
        if kind == 0:
            x = struct.unpack("d", struct.pack("Q", rng.getrandbits(64)))[0]
            if math.isfinite(x):
                out.append(repr(x))
        elif kind == 1:
            out.append(f"{rng.gauss(0, 1) * 10 ** rng.randint(-12, 12):.{rng.randint(0, 20)}g}")
        elif kind == 2:  # half way between two neighbours, and a hair beside it
            m = rng.getrandbits(53) | 1 << 52
            out.append(f"{2 * m + 1}e{rng.randint(-3, 3)}")
            out.append(f"{2 * m + 1}{'0' * rng.randint(0, 20)}1e-5")
        elif kind == 3:
            out.append("".join(rng.choices("0123456789", k=rng.randint(1, 40))))
        elif kind == 4:
            out.append(f"0.{'0' * rng.randint(0, 30)}{rng.getrandbits(60)}")
        else:
            out.append(f"{rng.getrandbits(rng.randint(1, 64))}e{rng.randint(-340, 300)}")
    return out


def test_nearest_is_pythons_float() -> None:
    rng = random.Random(5)
    left = 0
    for _ in range(20_000):
        w, q = rng.getrandbits(rng.randint(1, 63)), rng.randint(-330, 300)
        found = nearest(np.uint64(w), q)
        if math.isnan(found):
            left += 1
        else:
            assert found == float(f"{w}e{q}"), (w, q)
    assert left < 1500


def test_numbers_in_files_read_together_are_pythons_own(tmp_path: Path) -> None:
    texts = [t for t in texts_of_numbers(6000, 3) if math.isfinite(float(t))]
    paths = []
    for k in range(10):
        part = texts[k * 600 : k * 600 + 600]
        rows = [f"{i};{t};{t}" for i, t in enumerate(part)]
        paths.append(save(tmp_path / f"a{k}.txt", ["Time (s);Force (N);Depth (m)", *rows]))
    outcome = read(paths)
    assert not outcome.set_aside, outcome.set_aside
    np.testing.assert_array_equal(outcome.batch.force, [float(t) for t in texts[:6000]])


def varied(tmp_path: Path) -> list[Path]:
    """Files of one shape, and among them files that only look like it."""
    rng = random.Random(8)
    names = "Time (s);Load (mN);Depth (nm);Segment"
    paths = []
    for k in range(60):
        r = invented(40, seed=k)
        words = ["load"] * 20 + ["hold"] * 6 + ["unload"] * 14
        rows = lines_of([r.time, r.force * 1e3, r.depth * 1e9, words], decimal=",")
        head = [f"Temperature: {20 + k % 3} °C", f"Operator: {rng.choice('AB')}", names]
        kind = k % 12 if k > 6 else 0
        if kind == 1:
            rows[9] = rows[9].replace(";", ";x", 1)
        elif kind == 2:
            rows = [s.replace(",", ".") for s in rows]
        elif kind == 3:
            head[2] = names.replace("mN", "µN")
        elif kind == 4:
            rows[5:5] = ["", "# remark"]
        elif kind == 5:
            rows = [s.replace("hold", "dwell") for s in rows]
        elif kind == 6:
            head.insert(1, "no pair at all")
        elif kind == 7:
            rows = [f"{i},125;1,{125 + k};2,125;load" for i in range(1, 40)]
        elif kind == 8:
            rows[9] = ";".join(rows[8].split(";")[:1] + rows[9].split(";")[1:3]) + ";load"
        elif kind == 9:
            rows = [f" {s.replace(';', ' ; ')} " for s in rows]
        end = "\r\n" if kind in (9, 10) else "\n"
        encoding = "cp1252" if kind == 11 else "utf-8"
        paths.append(
            save(tmp_path / f"v{k:02}.txt", [*head, *rows], newline=end, encoding=encoding,
                 end=k != 30)
        )  # fmt: skip
    return paths


@pytest.mark.parametrize("decimal", [None, ","])
def test_together_as_alone(tmp_path: Path, decimal: str | None) -> None:
    paths = varied(tmp_path)
    layout = Layout(decimal=decimal)
    together = read(paths, layout, root=tmp_path)
    alone = [read([p], layout, root=tmp_path) for p in paths]
    assert together.set_aside == tuple(s for o in alone for s in o.set_aside)
    notes = [n for o in alone for n in o.notes if "look at the unit" not in n]
    assert [n for n in together.notes if "look at the unit" not in n] == notes
    tests = [t for o in alone for t in o.batch.tests]
    assert list(together.batch.tests) == tests and 30 < len(tests) < 60
    for name in ("time", "force", "depth"):
        np.testing.assert_array_equal(
            getattr(together.batch, name), np.concatenate([getattr(o.batch, name) for o in alone])
        )
    labels = np.array([*together.batch.segment_labels, ""])
    for k, outcome in enumerate(o for o in alone if len(o.batch)):
        own = np.array([*outcome.batch.segment_labels, ""])
        span = together.batch.span(k)
        assert (labels[together.batch.segment[span]] == own[outcome.batch.segment]).all()


@pytest.mark.parametrize("kind", ["cut", "no end", "words"])
def test_a_file_given_up_leaves_the_others_alone(tmp_path: Path, kind: str) -> None:
    """The last file of a batch once wrote its cut row over the first number of another."""
    names = "Time (s);Load (mN);Depth (nm);Segment"
    paths = []
    for k in range(8):
        r = invented(40, seed=k)
        rows = lines_of([r.time, r.force * 1e3, r.depth * 1e9, ["a"] * 40], decimal=",")
        if k == 7:
            rows[-1] = {"cut": "38,15;2,5;7,", "no end": rows[-1], "words": "1,0;2,0;x;a"}[kind]
        paths.append(save(tmp_path / f"a{k}.txt", [names, *rows], end=k < 7 or kind == "words"))
    together = read(paths, root=tmp_path)
    alone = [read([p], root=tmp_path) for p in paths]
    assert together.set_aside == tuple(s for o in alone for s in o.set_aside)
    for name in ("time", "force", "depth", "segment"):
        np.testing.assert_array_equal(
            getattr(together.batch, name), np.concatenate([getattr(o.batch, name) for o in alone])
        )


def test_check_is_the_same_for_all(tmp_path: Path) -> None:
    rng = random.Random(3)
    paths = []
    for k in range(40):
        r = invented(60, seed=k)
        force, depth = r.force * 1e3, r.depth * 1e9
        kind = k % 8
        if kind == 1:
            force = np.minimum(force, 8.0)
        elif kind == 2:
            force = -force
        elif kind == 3:
            depth = -depth
        elif kind == 4:
            force, depth = force[:42], depth[:42]
        elif kind == 5:
            force, depth = force[:15], depth[:15]
        elif kind == 6:
            depth = depth * 10.0 ** rng.randint(-9, 9)
        time = r.time[: len(force)]
        rows = lines_of([time, force, depth])
        paths.append(save(tmp_path / f"c{k}.txt", ["Time (s);Load (mN);Depth (nm)", *rows]))
    batch = read(paths).batch
    good, aside = check(batch)
    limits = Limits()
    slow: list[SetAside] = []
    for i, t in enumerate(batch.tests):
        s = batch.span(i)
        faults = _faults(batch.time[s], batch.force[s], batch.depth[s], False, limits)
        if faults:
            what = " ".join(f.what for f in faults)
            remedy = " ".join(dict.fromkeys(f.remedy for f in faults))
            line = (t.source.first_line or 0) + faults[0].sample
            slow.append(SetAside(t.source.path, t.name, what, remedy, line=line, stage="checking"))
    assert aside == slow and len(good) + len(aside) == 40 and len(aside) > 10


@pytest.mark.parametrize(
    ("scales", "said"),
    [
        ((1, 1e-6, 1e-9), "as soft as a gel"), ((1, 1.0, 1e-9), "above any solid"),
        ((1e5, 1e-3, 1e-9), "the unit of time"), ((1e-3, 1e-3, 1e-9), "the unit of time"),
        ((1, 1e-3, 1e-9), ""),
    ],
)  # fmt: skip
def test_what_is_hard_to_believe_is_told(
    tmp_path: Path, scales: tuple[float, float, float], said: str
) -> None:
    r = invented()
    values = (r.time * scales[0], r.force * 1e3, r.depth * 1e9)
    unit = {1e-3: "mN", 1e-6: "µN", 1.0: "N"}[scales[1]]
    path = save(tmp_path / "a.txt", [f"Time (s);Load ({unit});Depth (nm)", *lines_of(values)])
    notes = read([path]).notes
    assert (said in " ".join(notes)) if said else notes == ()


def test_no_doubts_about_nothing(tmp_path: Path) -> None:
    assert doubts(read([plain_file(tmp_path / "a.txt", invented())]).batch) == ()
    assert doubts(read([]).batch) == ()


def test_an_approach_is_no_depth_in_the_solid(tmp_path: Path) -> None:
    """100 nm of contact after an approach of 3 µm: before, as soft as a gel."""
    n = 200
    approach = np.linspace(-3e-6, 0.0, n)
    h = np.concatenate([np.zeros(n), np.linspace(0.0, 100e-9, n)])
    depth = np.concatenate([approach, h[n:]])
    force = 1e-4 * (h / 100e-9) ** 2
    values = (np.arange(2 * n) * 0.05, force * 1e3, depth * 1e9)
    path = save(tmp_path / "a.txt", ["Time (s);Load (mN);Depth (nm)", *lines_of(values)])
    assert not [n for n in read([path]).notes if "gel" in n]

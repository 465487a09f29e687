"""Spoiled track files: nothing escapes, each is worked up, set aside, or said to be odd; changes
with a known right answer give it. Invented data.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from drypoint.errors import DrypointError
from drypoint.run import run_study
from drypoint.run.scratching import TrackResult

STUDY = """drypoint = 1
[study]
name = "spoiled"
invented = true
[specimens.coating]
nu = 0.25
[[tracks]]
files = ["raw/*.txt"]
specimen = "coating"
"""
NAMES = ["Pass", "Distance (µm)", "Normal force (mN)", "Lateral force (mN)", "Depth (nm)"]
LONGEST_S = 20.0
#: Load (mN) at which friction and depth change.
AT = 240.0

Table = list[tuple[str, np.ndarray]]


def passes(n: int = 700) -> Table:
    """A light scan, the scratch, a light scan: word and columns (µm, mN, mN, nm)."""
    rng = np.random.default_rng(4)
    x = np.linspace(0, 500, n)
    load = np.clip((x - 25) / 475, 0.004, 1) * 500
    mu, deep = np.where(load < AT, 0.15, 0.25), np.where(load < AT, 0.0, 150.0)
    light = np.full(n, 2.0)
    out = []
    for word, F, h, m in (
        ("pre", light, 0 * x, 0.15), ("scratch", load, 2 * load + deep, mu),
        ("post", light, load + deep, 0.15),
    ):  # fmt: skip
        columns = [x, F, m * F + rng.normal(0, 0.5, n), h + rng.normal(0, 3.0, n)]
        out.append((word, np.array(columns)))
    return out


def text_of(table: Table, names: list[str] = NAMES, decimal: str = ".") -> str:
    lines = ["\t".join(names)]
    for word, columns in table:
        for row in columns.T:
            cells = ["" if np.isnan(v) else f"{v:.4f}".replace(".", decimal) for v in row]
            lines.append("\t".join([word, *cells]))
    return "\n".join(lines) + "\n"


def tracks_of(folder: Path, text: str | bytes) -> tuple[TrackResult, ...]:
    (folder / "raw").mkdir(exist_ok=True)
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    (folder / "raw" / "t.txt").write_bytes(data)
    study = folder / "study.toml"
    study.write_text(STUDY, encoding="utf-8")
    found = run_study(study, use_cache=False, write=False).scratch
    return () if found is None else found.tracks


def numbers(t: TrackResult) -> np.ndarray:
    """Slope of friction, largest load, depths at the end, first candidate."""
    assert t.friction.slope is not None and t.candidates
    p = t.profile
    return np.array([t.friction.slope.mu.value, t.last_load, np.nanmax(p.h_load),
                     np.nanmax(p.h_residual), t.candidates[0].load])  # fmt: skip


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    (track,) = tracks_of(tmp_path_factory.mktemp("plain"), text_of(passes()))
    found = numbers(track)
    assert found[-1] * 1e3 == pytest.approx(AT, abs=12)
    return found


def scaled(*factors: float) -> Table:
    return [(w, c * np.array(factors)[:, None]) for w, c in passes()]


SAME: dict[str, Callable[[], str]] = {
    "depth in µm": lambda: text_of(scaled(1, 1, 1, 1e-3), [*NAMES[:4], "Depth (µm)"]),
    "forces in µN": lambda: text_of(
        scaled(1, 1e3, 1e3, 1), [*NAMES[:2], "Normal force (µN)", "Lateral force (µN)", NAMES[4]]
    ),
    "distance in mm": lambda: text_of(
        scaled(1e-3, 1, 1, 1), [NAMES[0], "Distance (mm)", *NAMES[2:]]
    ).replace("0.00", "0.00"),
    "decimal commas": lambda: text_of(passes(), decimal=","),
    "columns in another order": lambda: text_of(
        [(w, c[[3, 1, 0, 2]]) for w, c in passes()],
        [NAMES[0], NAMES[4], NAMES[2], NAMES[1], NAMES[3]],
    ),
    "the scan after, run backwards": lambda: text_of(
        [(w, c[:, ::-1] if w == "post" else c) for w, c in passes()]
    ),
    "a byte order mark and other ends of lines": lambda: "\ufeff"
    + text_of(passes()).replace("\n", "\r\n"),
    "some rows twice": lambda: text_of(
        [(w, np.repeat(c, np.where(np.arange(c.shape[1]) % 50 == 7, 2, 1), axis=1))
         for w, c in passes()]
    ),
    "one stretch of depth not read": lambda: text_of(
        [(w, np.where((np.arange(c.shape[1]) % 350 < 12) & (np.arange(4) == 3)[:, None], np.nan, c))
         for w, c in passes()]
    ),
}  # fmt: skip


@pytest.mark.parametrize("change", list(SAME))
def test_what_changes_nothing_gives_the_same(
    tmp_path: Path, plain: np.ndarray, change: str
) -> None:
    (track,) = tracks_of(tmp_path, SAME[change]())
    found = numbers(track)
    assert found == pytest.approx(plain, rel=0.03), change


def _without(word: str) -> Table:
    return [(w, c) for w, c in passes() if w != word]


SAID: dict[str, tuple[Callable[[], Table], str]] = {
    "no scan before": (lambda: _without("pre"), "no pass before"),
    "no scan after": (lambda: _without("post"), "no pass after"),
    "a scan that is too short": (
        lambda: [(w, c[:, :350] if w == "post" else c) for w, c in passes()], "after"),
    "lateral force at its limit": (
        lambda: [(w, np.where((np.arange(4) == 2)[:, None], np.minimum(c, 60.0), c))
                 for w, c in passes()], "limit"),
    "the tip lifted": (
        lambda: [(w, np.where((np.arange(4) == 1)[:, None] & (w == "scratch")
                              & (abs(np.arange(c.shape[1]) - 400) < 40), -1.0, c))
                 for w, c in passes()], "off the surface"),
}  # fmt: skip


@pytest.mark.parametrize("fault", list(SAID))
def test_what_is_wrong_is_said_and_the_rest_computed(
    tmp_path: Path, plain: np.ndarray, fault: str
) -> None:
    make, words = SAID[fault]
    (track,) = tracks_of(tmp_path, text_of(make()))
    said = " ".join([*(q.sentence for q in track.problems), *track.remarks]).lower()
    assert words in said, said
    assert track.last_load == pytest.approx(plain[1], rel=0.01)
    assert track.friction.slope is not None


def spoil(rng: random.Random, data: bytes) -> bytes:
    """One to three faults of a file."""
    for _ in range(rng.randint(1, 3)):
        lines = data.split(b"\n")
        i, j = sorted(rng.randrange(max(len(lines), 1)) for _ in range(2))
        what = rng.randrange(13)
        if what == 0:
            data = data[: rng.randrange(len(data) + 1)]
        elif what == 1:
            data = b"\n".join(lines[:i] + lines[j:])
        elif what == 2:
            data = b"\n".join(lines[:i] + lines[i:j][::-1] + lines[j:])
        elif what == 3:
            data = b"\n".join(lines[:j] + lines[i:])
        elif what == 4:
            data = data.replace(rng.choice([b"pre", b"post", b"scratch"]), b"", rng.randint(1, 900))
        elif what == 5:
            column = rng.randrange(5)
            word = rng.choice([b"", b"NaN", b"-1e999", b"1e308", b"x", b"0", b"-0.5"])
            for k in range(i, j):
                cells = lines[k].split(b"\t")
                if column < len(cells):
                    cells[column] = word
                lines[k] = b"\t".join(cells)
            data = b"\n".join(lines)
        elif what == 6:
            data = bytes(b if rng.random() > 2e-4 else rng.randrange(256) for b in data)
        elif what == 7:
            data = data.replace(b"\t", rng.choice([b",", b";", b" "]))
        elif what == 8:
            data = data.replace(b".", b",", rng.randint(1, 10**6))
        elif what == 9:
            data = b"\n".join(lines[1:])
        elif what == 10:
            data = data.replace(rng.choice([b"(mN)", b"(nm)", b"(\xc2\xb5m)"]), b"")
        elif what == 11:
            data = b"\n".join(b"\t".join(line.split(b"\t")[::-1]) for line in lines)
        else:
            k = rng.randint(2, 40)
            data = b"\n".join([lines[0], *lines[1::k]])
    return data


@pytest.mark.parametrize("block", range(6))
def test_nothing_escapes_from_a_spoiled_file(tmp_path: Path, block: int) -> None:
    good = text_of(passes(300)).encode("utf-8")
    for case in range(25):
        data = spoil(random.Random(1000 * block + case), good)
        begin = time.process_time()
        try:
            found = tracks_of(tmp_path, data)
        except DrypointError as error:
            assert str(error)
            continue
        finally:
            assert time.process_time() - begin < LONGEST_S, f"case {case} took too long"
        for t in found:
            assert t.passes and np.isfinite(t.length) and t.length >= 0, case

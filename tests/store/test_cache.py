"""The stage cache: kept, found, damaged, full."""

from __future__ import annotations

import stat
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from drypoint.store import Cache, cache_key
from drypoint.store.secret import secret_file, user_secret


@pytest.fixture
def cache(tmp_path: Path) -> Cache:
    """The cache beside a study."""
    return Cache.beside(tmp_path / "study.toml")


def entry_path(cache: Cache) -> Path:
    """The only entry's file."""
    (path,) = cache.folder.glob("*/*.npz")
    return path


def test_key_depends_on_each_part() -> None:
    """And on where one part ends and the next begins."""
    assert cache_key("ab", "c") != cache_key("a", "bc")
    assert cache_key("a", "b") == cache_key("a", "b")


def test_put_and_get(cache: Cache, tmp_path: Path) -> None:
    """Arrays of every kind come back as they were, to the bit; git does not see the folder."""
    key = cache_key("input", "options", "1.0")
    assert cache.get(key) is None
    arrays = {
        "x": np.array([1.0, np.nan, -0.0]),
        "name with / and ä": np.arange(6, dtype=np.int16).reshape(2, 3),
        "empty": np.empty((0, 4)),
        "words": np.array(["a", "bc"]),
        "flag": np.array([True]),
    }
    assert cache.put(key, arrays, {"flags": ["one"], "n": 1})
    found = cache.get(key)
    assert found is not None
    assert found.meta == {"flags": ["one"], "n": 1}
    assert found.arrays.keys() == arrays.keys()
    for name, array in arrays.items():
        assert found.arrays[name].dtype == array.dtype
        assert found.arrays[name].tobytes() == array.tobytes()
        assert found.arrays[name].shape == array.shape
    assert "*" in (tmp_path / ".drypoint-cache" / ".gitignore").read_text(encoding="utf-8")
    assert cache.notes == []
    first = entry_path(cache).read_bytes()
    cache.put(key, dict(reversed(arrays.items())), {"n": 1, "flags": ["one"]})
    assert entry_path(cache).read_bytes() == first


def test_damage_counts_as_missing(cache: Cache) -> None:
    """A changed, cut or emptied entry: no error, a note, and it can be put again."""
    key = cache_key("a")
    cache.put(key, {"x": np.arange(50.0)})
    whole = entry_path(cache).read_bytes()
    damages = [whole[:n] for n in range(0, len(whole), 40)]
    damages += [whole[:n] + bytes([whole[n] ^ 255]) + whole[n + 1 :] for n in range(0, 560, 40)]
    for n, damaged in enumerate(damages, start=1):
        entry_path_ = cache.folder / key[:2] / f"{key}.npz"
        entry_path_.write_bytes(damaged)
        assert cache.get(key) is None
        assert len(cache.notes) == n
        assert "is damaged" in cache.notes[-1]
    assert cache.put(key, {"x": np.arange(50.0)})
    assert cache.get(key) is not None


def test_an_entry_of_somebody_else_counts_as_missing(
    cache: Cache, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written with another secret, or moved to another key: computed again."""
    mine, other = cache_key("mine"), cache_key("other")
    assert cache.put(cache_key("first"), {})  # the secret is read now
    monkeypatch.setenv("DRYPOINT_SECRET", str(tmp_path / "forger" / "secret"))
    forged = Cache.beside(tmp_path / "study.toml")
    assert forged.put(mine, {"x": np.ones(3)}) and forged.get(mine) is not None
    assert cache.get(mine) is None and "not written by this user" in cache.notes[-1]
    assert cache.put(mine, {"x": np.zeros(3)})
    path = cache.folder / other[:2] / f"{other}.npz"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes((cache.folder / mine[:2] / f"{mine}.npz").read_bytes())
    assert cache.get(other) is None


def test_key_depends_on_program_libraries_and_processor(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another file, version or processor: another key."""
    from drypoint import version

    before = cache_key("a")
    for name, value in (
        ("program_sha256", "0" * 64),
        ("processor", "another"),
        ("libraries", {"numpy": "9.9"}),
    ):
        with monkeypatch.context() as changed:
            changed.setattr(version, name, lambda value=value: value)
            version.program_stamp.cache_clear()
            assert cache_key("a") != before
        version.program_stamp.cache_clear()
    assert cache_key("a") == before


@pytest.mark.skipif(sys.platform == "win32", reason="modes of files")
def test_the_secret_is_private_and_made_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Mode 0600, in the user's folder; with another mode nothing is taken from a cache."""
    monkeypatch.delenv("DRYPOINT_SECRET", raising=False)
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))
    with ThreadPoolExecutor(8) as pool:
        found = set(pool.map(lambda _: user_secret(), range(32)))
    assert len(found) == 1 and None not in found
    assert stat.S_IMODE(secret_file().stat().st_mode) == 0o600
    assert [p.name for p in secret_file().parent.iterdir()] == [secret_file().name]
    cache = Cache.beside(tmp_path / "study.toml")
    cache.put(cache_key("a"), {"x": np.zeros(3)})
    secret_file().chmod(0o644)
    opened = Cache.beside(tmp_path / "study.toml")
    assert opened.get(cache_key("a")) is None and not opened.put(cache_key("a"), {})
    assert not opened.has(cache_key("a"))
    assert len(opened.notes) == 1 and "is not used" in opened.notes[0]


def test_objects_are_refused(cache: Cache) -> None:
    """Nothing is kept that would need pickle."""
    with pytest.raises(ValueError, match="Object arrays"):
        cache.put(cache_key("a"), {"x": np.array([object()])})


def test_limit(tmp_path: Path) -> None:
    """The entries unused for longest go first."""
    cache = Cache(tmp_path / "c", limit=10_000)
    keys = [cache_key(str(i)) for i in range(6)]
    for key in keys[:3]:
        cache.put(key, {"x": np.zeros(300)})
    assert cache.get(keys[0]) is not None
    cache.put(keys[3], {"x": np.zeros(300)})
    kept = [cache.get(k) is not None for k in keys[:4]]
    assert kept == [True, False, True, True]
    assert sum(p.stat().st_size for p in (tmp_path / "c").glob("*/*.npz")) <= 10_000


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    """No error: the work goes on without a cache, and a note says so."""
    (tmp_path / "c").write_text("a file", encoding="utf-8")
    cache = Cache(tmp_path / "c")
    assert not cache.put(cache_key("a"), {"x": np.zeros(3)})
    assert "cannot be kept" in cache.notes[0]

"""Files that lead elsewhere, wait for ever, cannot be named, read or trusted: by the command line
and files only. Each is set aside with a reason; the sound records are reduced. Invented data."""

from __future__ import annotations

import ctypes
import hashlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from said import Cli, Said

from hostile_folder import (
    SECRET,
    STUDY,
    bytes_below,
    record_text,
    secret_record,
    spoil,
    write_study,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes, links and names of POSIX")

SERVER: list[subprocess.Popen[str]] = []


@pytest.fixture(scope="module", autouse=True)
def server() -> Iterator[None]:
    """A process that has loaded the libraries; each command is a fork of it."""
    with subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("command_server.py"))],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdin is not None and process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        SERVER[:] = [process]
        yield
        SERVER.clear()
        process.stdin.close()


#: Numbers of Linux for prctl, and of the rights that let root read what it may not.
_DROP, _RIGHTS = 24, (1, 2)


def drop_rights() -> None:
    """Let the command that follows have no right to read what its owner forbids."""
    if os.geteuid() == 0:
        libc = ctypes.CDLL(None, use_errno=True)
        for right in _RIGHTS:
            assert libc.prctl(_DROP, right, 0, 0, 0) == 0


def as_plain_user(*words: object) -> Said:
    """The command started anew, since rights are given up only there."""
    done = subprocess.run(
        [sys.executable, "-c", "from drypoint.cli import main; main()", *map(str, words)],
        capture_output=True, timeout=300, check=False, preexec_fn=drop_rights,
    )  # fmt: skip
    out, err = (b.decode("utf-8", "replace") for b in (done.stdout, done.stderr))
    assert "Traceback" not in err, err
    return Said(done.returncode, out, err)


def command(*words: object, seconds: float = 300.0) -> Said:
    """The command in a process of its own; one that waits for ever fails the test."""
    (process,) = SERVER
    assert process.stdin is not None and process.stdout is not None
    with tempfile.NamedTemporaryFile() as out, tempfile.NamedTemporaryFile() as err:
        asked = {"words": [*map(str, words)], "environment": dict(os.environ), "out": out.name,
                 "err": err.name}  # fmt: skip
        process.stdin.write(json.dumps(asked) + "\n")
        process.stdin.flush()
        late = threading.Timer(seconds, os.kill, (int(process.stdout.readline()), signal.SIGKILL))
        late.start()
        code = int(process.stdout.readline())
        late.cancel()
        said = Said(
            code, *(Path(f.name).read_bytes().decode("utf-8", "replace") for f in (out, err))
        )
    assert code >= 0, (words, code, said.err)
    assert "Traceback" not in said.err, said.err
    return said


def reasons(study: Path) -> dict[str, str]:
    summary = json.loads((study.parent / "results" / "summary.json").read_text("utf-8"))
    return {a["file"]: a["reason"] for a in summary["set_aside"]}


def test_odd_things_are_set_aside_each_with_its_reason(tmp_path: Path) -> None:
    (tmp_path / "outside").mkdir()
    study = write_study(tmp_path / "study")
    expected = spoil(study.parent / "raw", tmp_path / "outside")
    said = command("run", study)
    assert said.code == 3
    assert "3 tests reduced" in said.out
    found = reasons(study)
    assert set(found) == set(expected)
    for name, words in expected.items():
        assert words in found[name], name
    written = bytes_below(study.parent / "results")
    assert SECRET.encode() not in written + said.text.encode()
    # The plan opens nothing either, and a second run finds the same.
    assert command("run", study, "--dry-run").code == 0


def test_a_folder_is_read_without_what_leads_out_of_it(tmp_path: Path) -> None:
    (tmp_path / "outside").mkdir()
    study = write_study(tmp_path / "study", STUDY.replace("raw/**/*.csv", "raw"))
    spoil(study.parent / "raw", tmp_path / "outside")
    said = command("run", study)
    assert (said.code, "3 tests reduced" in said.out) == (3, True)
    assert {"raw/link.csv", "raw/pipe.csv", "raw/socket.csv"} <= set(reasons(study))
    looked = command("inspect", "--brief", study.parent / "raw")
    assert looked.code == 3
    assert SECRET not in looked.text + bytes_below(study.parent / "results").decode("latin-1")


@pytest.mark.parametrize("name", ["/dev/zero", "/dev/tty", "raw/pipe.csv", "raw/socket.csv"])
def test_what_is_named_and_is_no_file_is_never_opened(tmp_path: Path, name: str) -> None:
    (tmp_path / "outside").mkdir()
    text = STUDY.replace('["raw/**/*.csv"]', f'["raw/good_*.csv", "{name}"]')
    study = write_study(tmp_path / "study", text)
    spoil(study.parent / "raw", tmp_path / "outside")
    assert command("run", study).code == 3
    assert "not a file; it was not opened" in reasons(study)[name]
    assert command("inspect", study.parent / name).code == 3


def test_what_a_user_names_is_read_wherever_it_lies(tmp_path: Path) -> None:
    """Files beside the study, a link that is named, a folder that is a link: with own rights."""
    far = tmp_path / "far"
    far.mkdir()
    for n in range(2):
        (far / f"a{n}.csv").write_text(record_text(9.0 + n, 40 + n), encoding="utf-8")
    (far / "b.csv").write_text(record_text(9.5, 50), encoding="utf-8")
    text = STUDY.replace('["raw/**/*.csv"]', '["../far/a*.csv", "named.csv", "disk/good_*.csv"]')
    study = write_study(tmp_path / "study", text)
    (study.parent / "named.csv").symlink_to(far / "b.csv")
    (study.parent / "raw").rename(tmp_path / "disk")
    (study.parent / "disk").symlink_to(tmp_path / "disk", target_is_directory=True)
    said = command("run", study)
    assert (said.code, "6 tests reduced" in said.out) == (0, True)


def test_a_pipe_in_place_of_any_file_is_refused(tmp_path: Path) -> None:
    """Study, bench, area function, table of tests, decisions, signatures."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    study = write_study(tmp_path / "study")
    files = {
        "area.toml": STUDY.replace(
            'shape = "modified Berkovich"',
            'shape = "modified Berkovich"\narea = { file = "area.toml" }',
        ),
        "b1.toml": STUDY.replace(
            '[tips.B1]\nshape = "modified Berkovich"', '[benches.B1]\nfile = "b1.toml"'
        ),
        "table.csv": STUDY + '\n[tests_table]\nfile = "table.csv"\n',
        "study.decisions.jsonl": STUDY,
        "study.signatures.jsonl": STUDY,
        "study.toml": STUDY,
    }
    for name, text in files.items():
        if name != "study.toml":
            study.write_text(text, encoding="utf-8")
        place = study.parent / name
        place.unlink(missing_ok=True)
        pipe.rename(place)
        what = "check" if "signatures" in name else "run"
        said = command(what, study)
        assert said.code in (1, 2), name
        assert said.err.startswith("drypoint: "), name
        place.rename(pipe)


def test_a_file_without_the_right_to_read_sets_one_record_aside(tmp_path: Path) -> None:
    study = write_study(tmp_path / "study")
    locked = study.parent / "raw" / "good_1.csv"
    closed = study.parent / "raw" / "closed"
    closed.mkdir()
    (closed / "in.csv").write_text(record_text(8.0, 60), encoding="utf-8")
    locked.chmod(0)
    closed.chmod(0)
    try:
        said = as_plain_user("run", study)
        assert (said.code, "2 tests reduced" in said.out) == (3, True)
        found = reasons(study)
        assert "not readable (Permission denied)" in found["raw/good_1.csv"]
        assert "not readable (Permission denied)" in found["raw/closed"]
        assert set(found) == {"raw/good_1.csv", "raw/closed"}
    finally:
        locked.chmod(0o644)
        closed.chmod(0o755)
    # Signed with all rights, looked at without: what cannot be read is named, nothing breaks.
    assert command("run", study).code == 0
    assert command("sign", study, "--who", "A", "--why", "seen", "--no-ledger").code == 0
    locked.chmod(0)
    try:
        said = as_plain_user("check", study)
        assert (said.code, "good_1.csv cannot be read" in said.out) == (1, True)
    finally:
        locked.chmod(0o644)


@pytest.mark.parametrize("key", ["folder", "report_folder"])
@pytest.mark.parametrize("way", ["up", "absolute", "link", "link inside"])
def test_nothing_is_written_outside_the_folder_of_the_study(
    tmp_path: Path, key: str, way: str
) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    study = write_study(tmp_path / "study")
    name = {"up": "../outside", "absolute": str(outside), "link": "out", "link inside": "out/x"}
    study.write_text(f'{STUDY}\n[output]\n{key} = "{name[way]}"\n', encoding="utf-8")
    (study.parent / "out").symlink_to(outside, target_is_directory=True)
    for words in (("run",), ("report", "--no-pdf", "--no-figures")):
        said = command(words[0], study, *words[1:])
        assert said.code == 2
        assert f"output.{key}" in said.err
    assert list(outside.iterdir()) == []


def test_links_in_the_folders_of_outputs_lead_nowhere(tmp_path: Path) -> None:
    """Figures, what is signed, decisions and the cache are written where they seem to be."""
    outside = tmp_path / "outside"
    outside.mkdir()
    study = write_study(tmp_path / "study")
    assert command("run", study).code == 0
    folder = study.parent
    (folder / "report").mkdir()
    (folder / "report" / "figures").symlink_to(outside, target_is_directory=True)
    assert command("report", study, "--no-pdf").code == 2
    (folder / "study.signed").symlink_to(outside, target_is_directory=True)
    assert command("sign", study, "--who", "A", "--why", "seen", "--no-ledger").code == 2
    (folder / "study.decisions.jsonl").symlink_to(outside / "decisions.jsonl")
    why = ("--why", "a door was slammed", "--who", "A")
    assert command("exclude", study, "good_0", *why).code == 2
    (folder / "study.decisions.jsonl").unlink()
    cache = folder / ".drypoint-cache"
    cache.rename(folder / "old-cache")
    cache.symlink_to(outside, target_is_directory=True)
    assert command("run", study).code == 0
    assert list(outside.iterdir()) == []


def test_the_hash_is_that_of_the_bytes_that_were_read(cli: Cli, tmp_path: Path) -> None:
    """A file that is replaced all the time: the result is of the bytes that the manifest names,
    or the file is set aside."""
    study = write_study(tmp_path / "study", records=1)
    raw = study.parent / "raw" / "moving.csv"
    versions = [record_text(20.0, 70).encode(), record_text(30.0, 71).encode()]
    peak = {hashlib.sha256(v).hexdigest(): p for v, p in zip(versions, (20.0, 30.0), strict=True)}
    raw.write_bytes(versions[0])
    over = threading.Event()

    def write() -> None:
        n = 0
        while not over.is_set():
            n += 1
            partial = study.parent / "partial"
            partial.write_bytes(versions[n % 2])
            partial.replace(raw)

    writer = threading.Thread(target=write)
    writer.start()
    outcomes = set()
    try:
        for _ in range(15):
            said = cli("run", study, "--fresh", "--quiet")
            folder = study.parent / "results"
            inputs = json.loads((folder / "manifest.json").read_text("utf-8"))["inputs"]
            rows = (folder / "tests.csv").read_text("utf-8").splitlines()
            at = rows[0].split(",").index("F_max_mN")
            moving = [float(r.split(",")[at]) for r in rows[1:] if r.startswith("moving")]
            if moving:
                outcomes.add("read")
                assert moving[0] == pytest.approx(peak[inputs["raw/moving.csv"]], rel=0.01)
            else:
                outcomes.add("set aside")
                assert said.code == 3
                assert "changed while it was read" in reasons(study)["raw/moving.csv"]
    finally:
        over.set()
        writer.join()
    assert outcomes == {"read", "set aside"}


def h5_ways(folder: Path) -> list[Path]:
    """HDF5 files that lead to another one, each in its own way, beside a sound test."""
    h5py = pytest.importorskip("h5py")
    import numpy as np

    lines = record_text(10.0, 90).splitlines()[1:]
    columns = np.array([[float(v) for v in line.split(";")] for line in lines]).T
    names = dict(zip(("time", "force", "depth"), columns, strict=True))
    size = len(lines)
    units = {"time": "s", "force": "mN", "depth": "nm"}

    def fill(group: object, factor: float = 1.0, operator: str = "") -> None:
        for name, values in names.items():
            data = group.create_dataset(name, data=values * factor)
            data.attrs["units"] = units[name]
        if operator:
            group.attrs["operator"] = operator

    secret = folder / "secret.h5"
    with h5py.File(secret, "w") as file:
        fill(file.create_group("tests/stolen"), 3.0, SECRET)
        file.create_dataset("word", data=SECRET)
        file.attrs["operator"] = SECRET
    (folder / "secret.bin").write_bytes(np.full(size, 7.0).tobytes())
    out = []

    def new(name: str) -> object:
        path = folder / "raw" / f"{name}.h5"
        out.append(path)
        file = h5py.File(path, "w")
        fill(file.create_group("tests/own"))
        return file

    ext = h5py.ExternalLink
    soft = h5py.SoftLink
    for target in ("secret.h5", "../secret.h5", str(secret)):
        tag = f"{len(target)}"
        with new(f"group-{tag}") as f:
            f["tests/x"] = ext(target, "/tests/stolen")
        with new(f"root-{tag}") as f:
            f["tests/x"] = ext(target, "/")
        with new(f"soft-{tag}") as f:
            f["ext"] = ext(target, "/")
            f["tests/x"] = soft("/ext/tests/stolen")
        with new(f"relative-{tag}") as f:
            f["tests/ext"] = ext(target, "/tests")
            f["tests/x"] = soft("ext/stolen")
        with new(f"chain-{tag}") as f:
            f["ext"] = ext(target, "/tests")
            f["a"] = soft("/ext")
            f["b"] = soft("a")
            f["tests/x"] = soft("/b/stolen")
        with new(f"columns-{tag}") as f:
            f["ext"] = ext(target, "/tests/stolen")
            for name in names:
                f[f"tests/x/{name}"] = soft(f"/ext/{name}")
        with new(f"column-{tag}") as f:
            fill(f.create_group("tests/x"))
            del f["tests/x/depth"]
            f["tests/x/depth"] = ext(target, "/tests/stolen/depth")
        with new(f"word-{tag}") as f:
            f["tests/own/operator"] = ext(target, "/word")
        with new(f"softword-{tag}") as f:
            f["ext"] = ext(target, "/")
            f["tests/own/operator"] = soft("/ext/word")
    with new("virtual") as f:
        layout = h5py.VirtualLayout(shape=(size,), dtype="f8")
        layout[:] = h5py.VirtualSource(str(secret), "tests/stolen/depth", shape=(size,))
        fill(f.create_group("tests/x"))
        del f["tests/x/depth"]
        f.create_virtual_dataset("tests/x/depth", layout)
    with new("external") as f:
        fill(f.create_group("tests/x"))
        del f["tests/x/depth"]
        f.create_dataset(
            "tests/x/depth", (size,), "f8", external=[(str(folder / "secret.bin"), 0, 8 * size)]
        )
    with new("loop") as f:
        f["tests/x"] = soft("/tests/y")
        f["tests/y"] = soft("/tests/x")
    return out


def test_no_way_leads_out_of_an_hdf5_file(tmp_path: Path) -> None:
    """External links, soft links through them, virtual datasets, external storage: 30 files."""
    study = write_study(
        tmp_path / "study", STUDY.replace("raw/**/*.csv", "raw/*.h5") + 'inside = ["/tests/*"]\n', 0
    )
    ways = h5_ways(study.parent)
    assert len(ways) == 30
    said = command("run", study)
    assert said.code in (0, 3)
    results = study.parent / "results"
    rows = (results / "tests.csv").read_text("utf-8").splitlines()
    assert len(rows) == 1 + len({p.read_bytes() for p in ways})
    at = [rows[0].split(",").index(name) for name in ("F_max_mN", "h_max_nm")]
    for row in rows[1:]:  # what was stolen would have three times the force and depth
        force, depth = (float(row.split(",")[k]) for k in at)
        assert (force, depth) == (pytest.approx(10.0, rel=0.01), pytest.approx(400.0, rel=0.05))
    notes = json.loads((results / "summary.json").read_text("utf-8"))["notes"]
    assert sum("links into other files" in n for n in notes) >= 20
    looked = command("inspect", *ways)
    for named in ('inside = ["/tests/x"]', 'inside = ["/ext/tests/*"]', 'inside = ["/**"]'):
        study.write_text(
            study.read_text("utf-8").rpartition("inside")[0] + named + "\n", encoding="utf-8"
        )
        said = Said(0, said.out + command("run", study).text, "")
    whole = said.text + looked.text + bytes_below(study.parent / "results").decode("latin-1")
    assert SECRET not in whole
    assert "stolen" not in (results / "tests.csv").read_text("utf-8")


def test_a_column_may_be_named_by_a_way_inside_the_file_only(tmp_path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    import numpy as np

    columns = "".join(
        f'columns.{role} = {{ name = "{name}", unit = "{unit}" }}\n'
        for role, name, unit in (("time", "time", "s"), ("force", "force", "mN"),
                                 ("depth", "more/depth", "nm"))
    )  # fmt: skip
    study = write_study(
        tmp_path / "study",
        STUDY.replace("raw/**/*.csv", "raw/*.h5") + 'inside = ["/t"]\n' + columns, 0,
    )  # fmt: skip
    lines = record_text(10.0, 80).splitlines()[1:]
    t, F, h = np.array([[float(v) for v in line.split(";")] for line in lines]).T
    with h5py.File(tmp_path / "secret.h5", "w") as file:
        file["depth"] = h * 2
    for name in ("own", "other"):
        with h5py.File(study.parent / "raw" / f"{name}.h5", "w") as file:
            group = file.create_group("t")
            group["time"], group["force"] = t, F * (1.0 if name == "own" else 1.1)
            if name == "own":
                file["place/depth"] = h
                group["more"] = h5py.SoftLink("/place")
            else:
                group["more"] = h5py.ExternalLink(str(tmp_path / "secret.h5"), "/")
    said = command("run", study)
    assert (said.code, "1 tests reduced" in said.out) == (3, True)
    assert list(reasons(study)) == ["raw/other.h5!/t"] or "raw/other.h5" in str(reasons(study))


def test_a_secret_is_one(tmp_path: Path) -> None:
    """The record that must not be read can be read: the tests above would see it."""
    (tmp_path / "s.csv").write_text(secret_record(), encoding="utf-8")
    said = command("inspect", tmp_path / "s.csv")
    assert (said.code, SECRET in said.out) == (0, True)
